"""The last day: a fire that died, a warm night, and what is in process at this moment."""

from lots.entries.deviation import Action, Decision, decide, take_action
from lots.entries.lot import merge_lots
from lots.management.demo.calendar import MINUTE
from lots.management.demo.curves import cooler_f, dying_fire, hot_smoke
from lots.management.demo.house import CHILLED, FROZEN
from lots.management.demo.salting import mixed, pieces
from lots.management.demo.script import Script
from lots.management.demo.steps import Tank, brine, cool, probes, smoke, stand
from lots.models.deviation import Deviation


def plan_present(s: Script) -> None:
    _fire_died(s)
    _warm_night(s)
    _now_smoking(s)
    _now_cooling(s)
    _now_in_brine(s)
    _just_received(s)


def _fire_died(s: Script) -> None:
    """A load that never reached its heat: held."""
    t = s.calendar.at
    s.receive(
        "D",
        t(-2, "07:20"),
        "TR",
        1,
        FROZEN,
        "TRR",
        "trout",
        "FS-2229",
        155,
        ("35.8", "36.4", "35.3"),
    )
    brine(s, "brine D", "Brine tank 1", ["D"], t(-2, "08:30"), t(-2, "11:30"))
    stand(s, "hold D", "hold", "Cooler", ["D"], t(-2, "11:40"), t(-1, "09:55"))
    stand(s, "dry D", "dry", "Dry room", ["D"], t(-1, "10:00"), t(-1, "11:35"))
    air = dying_fire("smoke D", 98)
    smoke(
        s,
        "smoke D",
        2,
        ["D"],
        t(-1, "11:40"),
        300,
        air,
        rounds=(4, 66, 128, 190, 250),
        note="Alder, damp",
    )
    stand(s, "hold D 2", "hold", "Cooler", ["D"], t(-1, "16:48"), 0, "Held apart, red tag")
    s.add(t(-1, "17:05"), lambda now: _act_on_fire(s, now))
    s.add(t(-1, "17:15"), lambda now: _hold(s, now))


def _act_on_fire(s: Script, now: int) -> None:
    deviation = Deviation.objects.get(lot__code=s.codes["D"], limit_id="smoke-heat")
    action = Action(
        False,
        "Taken out and chilled; nothing packed",
        "Fire box cleared and lit anew with dry wood; run empty for half an hour at 230 °F",
        "Damp wood; the fire went out behind a closed damper and nobody looked for an hour",
        "On the lowest rack of the cooler, red tag, whole lot",
        "Hazel Brinewater",
        "Hazel Brinewater",
        s.calendar.day(6).isoformat(),
    )
    take_action(s.hand(now), deviation, action, now, now)


def _hold(s: Script, now: int) -> None:
    lot = s.lot("D")
    deviation = Deviation.objects.get(lot=lot, limit_id="smoke-heat")
    why = "Waits for the trained person: heat again or destroy"
    decide(s.hand(now), deviation, Decision("hold", lot.quantity_g, why), now)


def _warm_night(s: Script) -> None:
    """Two tanks stood overnight in a brine room whose door was ajar; the logger tells in the morning."""
    t = s.calendar.at
    s.receive(
        "W1",
        t(-1, "15:20"),
        "WF",
        1,
        CHILLED,
        "WHL",
        "lake",
        "NB-0952",
        130,
        ("34.0", "34.8", "34.3"),
    )
    s.receive(
        "W2",
        t(-1, "15:45"),
        "TR",
        2,
        FROZEN,
        "TRR",
        "trout",
        "FS-2236",
        170,
        ("35.1", "35.7", "36.2"),
    )
    nights = {"W1": ("Brine tank 2", "17:00", "06:50"), "W2": ("Brine tank 1", "17:10", "06:55")}
    for key, (tank, began, ended) in nights.items():
        _overnight(s, key, tank, t(-1, began), t(0, ended))
    pieces(s, "W1", t(-1, "17:14"), ["1.1", "1.3", "1.0"], ["13.0", "15.5", "12.0"], "brine W1")
    stand(s, "hold W1", "hold", "Cooler", ["W1"], t(0, "07:18"), 0, "Held apart")
    stand(s, "hold W2", "hold", "Cooler", ["W2"], t(0, "07:20"), 0, "Held apart")
    s.at_place("Cooler", t(0, "07:24"), f"{cooler_f(t(0, '07:24')):.1f}")
    s.add(t(0, "08:20"), lambda now: _act_on_night(s, now))


def _overnight(s: Script, key: str, tank: str, start: int, end: int) -> None:
    mixed(s, f"brine {key}", [key], start, "mild", 2.5)
    s.start(f"brine {key}", start, "brine", tank, [key], "Overnight, mild brine", "long")
    liquid = Tank(start, 41.5)
    for minutes in (2, 105, 210):
        s.at_place(tank, start + minutes * MINUTE, liquid.read(start + minutes * MINUTE))
    s.end(f"brine {key}", end)
    every = 5 * MINUTE
    rows = range(start - start % every + every, end, every)
    name = f"{tank} overnight.csv"
    s.file_of_place(tank, end + 6 * MINUTE, name, "Brine room logger", liquid, rows)


def _act_on_night(s: Script, now: int) -> None:
    deviation = Deviation.objects.get(lot__code=s.codes["W1"], limit_id="brine-room")
    action = Action(
        True,
        "Held apart in the cooler, below 40 °F; the trained person judges the time it was warm",
        "Door shut and its latch tied; the room was back below 38 °F before seven",
        "The door of the brine room stood ajar from about ten in the evening",
    )
    take_action(s.hand(now), deviation, action, now, now)


def _now_smoking(s: Script) -> None:
    """Two lots in one load, two and a half hours in."""
    t, now = s.calendar.at, s.calendar.now
    s.receive(
        "P1",
        t(-1, "07:25"),
        "TR",
        1,
        FROZEN,
        "TRR",
        "trout",
        "FS-2233",
        145,
        ("35.4", "35.0", "36.2"),
    )
    s.receive(
        "P2",
        t(-1, "07:35"),
        "SA",
        1,
        FROZEN,
        "SAL",
        "salmon",
        "FP-5531",
        190,
        ("34.3", "33.7", "34.9"),
    )
    brine(s, "brine P", "Brine tank 1", ["P1", "P2"], t(-1, "09:00"), t(-1, "12:00"))
    start = now - 165 * MINUTE
    stand(s, "hold P", "hold", "Cooler", ["P1", "P2"], t(-1, "12:10"), start - 115 * MINUTE)
    stand(s, "dry P", "dry", "Dry room", ["P1", "P2"], start - 110 * MINUTE, start - 6 * MINUTE)
    s.curves["smoke P"] = probes(
        "smoke P", start, 180, (38.2, 37.6, 38.9), hot_smoke("smoke P"), 96
    )
    s.start("smoke P", start, "smoke", "Smokehouse 1", ["P1", "P2"], "Alder and apple")
    for minute in (4, 78):
        s.round("smoke P", start + minute * MINUTE)
    read_out = start + 82 * MINUTE
    s.file_of_load(
        "smoke P", read_out + MINUTE, read_out, "Smokehouse 1 probes.csv", "Smoke probes 1"
    )


def _now_cooling(s: Script) -> None:
    """Two small deliveries made into one lot, out of the smoke since two hours and a half."""
    t, now = s.calendar.at, s.calendar.now
    s.receive(
        "Q1",
        t(-1, "07:45"),
        "CI",
        1,
        FROZEN,
        "CIS",
        "lake",
        "NB-0948",
        60,
        ("34.6", "35.2", "34.1"),
    )
    s.receive(
        "Q2",
        t(-1, "07:55"),
        "CI",
        2,
        FROZEN,
        "CIS",
        "lake",
        "NB-0949",
        75,
        ("35.0", "34.4", "35.5"),
    )
    s.codes["Q"] = s.calendar.code("CI", t(-1, "08:15"), 3)
    s.add(t(-1, "08:15"), lambda at: _merge(s, at))
    brine(s, "brine Q", "Brine tank 2", ["Q"], t(-1, "08:30"), t(-1, "11:30"))
    out = now - 150 * MINUTE
    start = out - 240 * MINUTE
    stand(s, "hold Q", "hold", "Cooler", ["Q"], t(-1, "11:40"), start - 62 * MINUTE)
    stand(s, "dry Q", "dry", "Dry room", ["Q"], start - 60 * MINUTE, start - 5 * MINUTE)
    smoke(s, "smoke Q", 2, ["Q"], start, 240, note="Apple")
    cool(s, "cool Q", "smoke Q", ["Q"], out + 4 * MINUTE, rounds=(3, 50, 100), ends=False)


def _merge(s: Script, at: int) -> None:
    lots = [s.lot(key) for key in ("Q1", "Q2")]
    portions = [(lot, lot.quantity_g) for lot in lots]
    merge_lots(s.hand(at), portions, s.codes["Q"], "Two small deliveries, one tank", at)


def _now_in_brine(s: Script) -> None:
    """In the tank for under two hours."""
    now = s.calendar.now
    s.receive(
        "R",
        now - 190 * MINUTE,
        "TR",
        1,
        FROZEN,
        "TRR",
        "trout",
        "FS-2240",
        160,
        ("35.9", "35.2", "36.6"),
    )
    start = now - 110 * MINUTE
    stand(s, "trim R", "trim", "Trimming table", ["R"], now - 178 * MINUTE, start - 6 * MINUTE)
    liquid = Tank(start, 44.2)
    mixed(s, "brine R", ["R"], start)
    s.start("brine R", start, "brine", "Brine tank 1", ["R"])
    for minute in (1, 12):
        s.at_place("Brine tank 1", start + minute * MINUTE, liquid.read(start + minute * MINUTE))


def _just_received(s: Script) -> None:
    """Came in within the hour."""
    now = s.calendar.now
    s.receive(
        "N", now - 55 * MINUTE, "WF", 1, CHILLED, "WHL", "lake", "NB-0957", 110,
        ("34.5", "35.1", "34.2"), "Two boxes with broken ice on top",
    )  # fmt: skip
