"""The lots of the days gone by: released, reviewed, waiting, one of them with a reading missed."""

from lots.entries.deviation import Action, Decision, decide, take_action
from lots.entries.lapses import notice_lapses
from lots.entries.lot import split_lot
from lots.entries.moments import moments
from lots.entries.reading import adjust_process, correct_reading
from lots.entries.readings import Figure
from lots.management.demo.calendar import MINUTE
from lots.management.demo.house import CHILLED, FROZEN
from lots.management.demo.salting import mixed, pieces
from lots.management.demo.script import PROBES, Script
from lots.management.demo.steps import brine, cool, pack_chilled, pack_frozen, smoke, stand
from lots.models.deviation import Deviation


def plan_past(s: Script) -> None:
    _first_trout(s)
    _two_in_one_load(s)
    _missed_reading(s)
    _chilled(s)
    _split_salmon(s)


def _first_trout(s: Script) -> None:
    """The week's first lot goes the whole road."""
    t = s.calendar.at
    s.receive(
        "A",
        t(-7, "07:20"),
        "TR",
        1,
        FROZEN,
        "TRR",
        "trout",
        "FS-2207",
        180,
        ("35.2", "34.8", "35.9"),
    )
    stand(s, "trim A", "trim", "Trimming table", ["A"], t(-7, "07:30"), t(-7, "08:15"))
    brine(s, "brine A", "Brine tank 1", ["A"], t(-7, "08:20"), t(-7, "11:20"))
    stand(s, "rinse A", "rinse", "Trimming table", ["A"], t(-7, "11:22"), t(-7, "11:35"))
    stand(s, "dry A", "dry", "Dry room", ["A"], t(-7, "11:40"), t(-7, "12:35"))
    smoke(s, "smoke A", 1, ["A"], t(-7, "12:40"), 240, note="Alder and apple")
    cool(s, "cool A", "smoke A", ["A"], t(-7, "16:45"))
    stand(s, "hold A", "hold", "Cooler", ["A"], t(-7, "21:06"), t(-6, "08:00"))
    pack_frozen(s, "A", t(-6, "08:05"), 80, t(-5, "08:05"))


def _two_in_one_load(s: Script) -> None:
    """Trout and whitefish brined apart and smoked together; a slip of the pen put right."""
    t = s.calendar.at
    s.receive(
        "B",
        t(-6, "07:25"),
        "TR",
        1,
        FROZEN,
        "TRR",
        "trout",
        "FS-2211",
        150,
        ("35.6", "36.1", "35.0"),
    )
    s.receive(
        "C",
        t(-6, "07:40"),
        "WF",
        1,
        FROZEN,
        "WHL",
        "lake",
        "NB-0931",
        120,
        ("34.4", "33.9", "34.7"),
    )
    brine(s, "brine B", "Brine tank 1", ["B"], t(-6, "08:10"), t(-6, "11:10"))
    brine(s, "brine C", "Brine tank 2", ["C"], t(-6, "08:15"), t(-6, "11:15"))
    stand(s, "dry B C", "dry", "Dry room", ["B", "C"], t(-6, "11:25"), t(-6, "12:35"))
    smoke(s, "smoke B C", 1, ["B", "C"], t(-6, "12:40"), 236, note="Apple")
    start = t(-6, "16:45")
    slip, at = "101.7", start + 55 * MINUTE
    cool(s, "cool B C", "smoke B C", ["B", "C"], start, wrong={55: {1: slip}})

    def put_right(now: int) -> None:
        row = s.rows[f"cool B C {at}"][1]
        right = Figure(s.curves["cool B C"][1].read(at), "F", PROBES[1])
        why = "Misread the display: probe 2, not 1, was shown"
        correct_reading(s.hand(now), row, right, why, moments(at, now))

    s.add(at + 6 * MINUTE, put_right)
    stand(s, "hold B C", "hold", "Cooler", ["B", "C"], t(-6, "21:06"), t(-5, "08:00"))
    pack_frozen(s, "B", t(-5, "08:05"), 65, t(-4, "08:00"))
    pack_frozen(s, "C", t(-5, "09:20"), 60, t(-4, "08:03"))


def _missed_reading(s: Script) -> None:
    """A brine reading entered late, and a round of the cooling that nobody walked."""
    t = s.calendar.at
    s.receive(
        "F",
        t(-5, "07:30"),
        "TR",
        2,
        FROZEN,
        "TRR",
        "trout",
        "FS-2216",
        165,
        ("36.0", "35.5", "36.3"),
    )
    start, end = t(-5, "08:20"), t(-5, "11:20")
    mixed(s, "brine F", ["F"], start)
    s.start("brine F", start, "brine", "Brine tank 2", ["F"])
    s.at_place("Brine tank 2", start + MINUTE, "43.8")
    s.at_place(
        "Brine tank 2", t(-5, "09:42"), "42.3", t(-5, "09:10"),
        "Read at 9:10 and noted on the door; hands were full with a delivery",
    )  # fmt: skip
    s.at_place("Brine tank 2", t(-5, "10:12"), "41.4")
    s.at_place("Brine tank 2", end - 3 * MINUTE, "40.6")
    s.end("brine F", end)
    stand(s, "dry F", "dry", "Dry room", ["F"], t(-5, "11:30"), t(-5, "12:35"))
    smoke(s, "smoke F", 1, ["F"], t(-5, "12:40"), 242, note="Alder")
    start = t(-5, "16:45")
    cool(s, "cool F", "smoke F", ["F"], start, rounds=(3, 55, 105, 190, 222, 252))
    s.add(start + 167 * MINUTE, lambda now: notice_lapses([s.lot("F")], now))
    s.add(start + 196 * MINUTE, lambda now: _act_on_missed(s, now))
    s.add(t(-4, "15:20"), lambda now: _decide_missed(s, now))
    stand(s, "hold F", "hold", "Cooler", ["F"], t(-5, "21:06"), t(-4, "08:10"))
    pack_frozen(s, "F", t(-4, "08:15"), 75, t(-3, "08:00"))


def _act_on_missed(s: Script, now: int) -> None:
    deviation = Deviation.objects.get(lot__code=s.codes["F"])
    action = Action(
        True,
        "Rack marked and held apart in the cooler until the next two rounds were read",
        "Round walked as soon as it was noticed; the next ones set on the kitchen timer",
        "One person on the evening shift, called away to a delivery van",
    )
    take_action(s.hand(now), deviation, action, now, now)


def _decide_missed(s: Script, now: int) -> None:
    lot = s.lot("F")
    review = (
        "The rounds before and after show 70 °F and 40 °F reached within their times; the round "
        "missed lies between two readings that both fall"
    )
    decision = Decision("release", lot.quantity_g, "The cooling itself was within limits", review)
    decide(s.stage.people["rowena"], Deviation.objects.get(lot=lot), decision, now)


def _chilled(s: Script) -> None:
    """Whitefish in a film that breathes; the laboratory's figure has not come yet."""
    t = s.calendar.at
    s.receive(
        "G",
        t(-5, "07:10"),
        "WF",
        1,
        CHILLED,
        "WHL",
        "lake",
        "NB-0936",
        140,
        ("34.9", "34.2", "35.4"),
    )
    brine(
        s,
        "brine G",
        "Brine tank 1",
        ["G"],
        t(-5, "07:40"),
        t(-5, "14:15"),
        "strong",
        2.4,
    )
    s.at_place("Brine room", t(-5, "07:44"), "36.2")
    pieces(s, "G", t(-5, "07:46"), ["1.0", "1.2", "1.1"], ["11.5", "14.0", "12.5"], "brine G")
    stand(s, "hold G", "hold", "Cooler", ["G"], t(-5, "14:25"), t(-4, "07:12"))
    stand(s, "dry G", "dry", "Dry room", ["G"], t(-4, "07:18"), t(-4, "08:15"))
    smoke(s, "smoke G", 2, ["G"], t(-4, "08:20"), 238, note="Hickory")
    cool(s, "cool G", "smoke G", ["G"], t(-4, "12:25"))
    stand(s, "hold G 2", "hold", "Cooler", ["G"], t(-4, "16:50"), t(-3, "08:00"))
    pack_chilled(s, "G", t(-3, "08:05"), 75)


def _split_salmon(s: Script) -> None:
    """A large lot split over both smokehouses; the cooler ran warm when the racks came in."""
    t = s.calendar.at
    s.receive(
        "J",
        t(-4, "07:25"),
        "SO",
        1,
        FROZEN,
        "SOC",
        "salmon",
        "FP-5520",
        420,
        ("33.8", "34.6", "34.1"),
    )
    stand(s, "trim J", "trim", "Trimming table", ["J"], t(-4, "07:40"), t(-4, "09:40"))
    brine(s, "brine J", "Brine tank 1", ["J"], t(-4, "09:50"), t(-4, "13:20"))
    s.codes["J2"] = s.codes["J"] + "S"
    s.add(t(-4, "13:28"), lambda now: _split(s, now))
    for key in ("J", "J2"):
        stand(s, f"hold {key}", "hold", "Cooler", [key], t(-4, "13:35"), t(-3, "07:15"))
    stand(s, "dry J", "dry", "Dry room", ["J"], t(-3, "07:20"), t(-3, "08:35"))
    stand(s, "dry J2", "dry", "Dry room", ["J2"], t(-3, "07:25"), t(-3, "09:35"))
    smoke(s, "smoke J", 1, ["J"], t(-3, "08:40"), 247, note="Alder")
    smoke(s, "smoke J2", 2, ["J2"], t(-3, "09:40"), 240, note="Alder")
    cool(s, "cool J", "smoke J", ["J"], t(-3, "12:50"))
    cool(s, "cool J2", "smoke J2", ["J2"], t(-3, "13:45"))
    stand(s, "hold J 2", "hold", "Cooler", ["J"], t(-3, "17:12"), t(-2, "08:00"))
    stand(s, "hold J2 2", "hold", "Cooler", ["J2"], t(-3, "18:06"), t(-2, "08:05"))
    s.add(t(-3, "17:42"), lambda now: _cooler_set_right(s, now))
    pack_frozen(s, "J", t(-2, "08:15"), 85, t(-1, "08:00"))
    pack_frozen(s, "J2", t(-2, "09:45"), 60, t(-1, "08:04"))


def _split(s: Script, now: int) -> None:
    lot = s.lot("J")
    part = round(lot.quantity_g * 0.4)
    split_lot(s.hand(now), lot, s.codes["J2"], part, "Thin sides, smoked apart", now)


def _cooler_set_right(s: Script, now: int) -> None:
    limits = {
        "J": ("hold J 2", "hold-cold"),
        "G": ("store G", "storage-cold"),
        "S": ("hold S", "hold-cold"),
        "V": ("hold V", "hold-cold"),
    }
    what = "Fan turned up, hot racks moved away from its draft, door kept shut"
    for key, (load, limit) in limits.items():
        adjust_process(s.hand(now), s.lot(key), s.loads[load], limit, "38.6 °F", what, now)
