"""Lots of the week that are about salt: cured sablefish, trout in a household brine, uneven sides of salmon;
and what weights, pieces and the laboratory said of the others."""

from lots.entries.deviation import Action, Decision, decide, take_action
from lots.management.demo.calendar import MINUTE
from lots.management.demo.curves import cooler_f
from lots.management.demo.house import FROZEN, VACUUM
from lots.management.demo.salting import (
    mix,
    pieces,
    point,
    read_strength,
    report,
    send,
    thaw,
    verify,
    weigh,
)
from lots.management.demo.script import Script
from lots.management.demo.steps import brine, cool, pack_frozen, smoke, stand
from lots.models.deviation import Deviation


def plan_salt(s: Script) -> None:
    _weights(s)
    _points(s)
    _verification(s)
    _cured_sablefish(s)
    _uneven_sides(s)
    _household_and_held(s)
    _household_today(s)


def _weights(s: Script) -> None:
    """The first lot weighed through its steps; a few of its packs thawed for the counter."""
    t = s.calendar.at
    pieces(
        s,
        "A",
        t(-7, "08:12"),
        ["0.9", "1.0", "0.95", "0.9", "1.0"],
        ["9.0", "10.5", "9.5", "9.0", "10.0"],
    )
    weigh(s, "A", t(-7, "08:17"), "trimmed", 0.9, "trim A")
    weigh(s, "A", t(-7, "11:37"), "brined", 0.89, "brine A")
    weigh(s, "A", t(-7, "16:43"), "smoked", 0.72, "smoke A")
    weigh(s, "B", t(-6, "11:20"), "brined", 0.91, "brine B")
    weigh(s, "B", t(-6, "16:42"), "smoked", 0.73, "smoke B C")
    thaw(s, "A", t(-2, "10:10"), 12, "For the counter of an invented shop")


# key, sampled, reported, thickest of the sample in inches, salt and moisture of it, left of the brined weight
POINTS = (
    ("A", (-6, "08:40"), (-5, "13:10"), "1.0", "1.19", "66.0", "81"),
    ("B", (-5, "08:50"), (-4, "13:30"), "0.9", "1.27", "65.5", "80"),
    ("C", (-5, "10:00"), (-4, "13:34"), "1.2", "1.01", "67.0", "82"),
    ("F", (-4, "09:00"), (-3, "13:20"), "0.95", "1.17", "66.0", "81"),
    ("J", (-2, "09:20"), (-1, "13:40"), "1.1", "1.14", "66.5", "82"),
)


def _points(s: Script) -> None:
    """What the laboratory found in finished fish, kept as points of the forecast of salt."""
    for key, sampled, reported, inches, salt, moisture, left in POINTS:
        at = s.calendar.at(*reported)
        send(s, key, s.calendar.at(*sampled), "salt", "moisture")
        report(s, key, at, {"salt": [salt], "moisture": [moisture]})
        point(s, key, at + 5 * MINUTE, inches, salt, moisture, left)


def _verification(s: Script) -> None:
    t = s.calendar.at
    figures = {"salt": ["2.6", "2.5", "2.7"], "moisture": ["65.1", "64.8", "65.4"]}
    verify(s, s.stage.plans[VACUUM], t(-6, "09:00"), t(-2, "14:10"), figures)


def _cured_sablefish(s: Script) -> None:
    """Cured to 150 ppm ingoing, as planned; waits in the freezer for the laboratory's nitrite."""
    t = s.calendar.at
    s.receive(
        "S", t(-4, "07:50"), "SB", 1, FROZEN, "SAB", "cod", "ND-0118", 120, ("34.2", "33.9", "34.8")
    )
    brine(s, "brine S", "Brine tank 2", ["S"], t(-4, "08:30"), t(-4, "12:00"), "cured", 2.0)
    pieces(s, "S", t(-4, "08:24"), ["1.1", "1.2", "1.15"], ["15.0", "17.5", "16.0"])
    weigh(s, "S", t(-4, "12:06"), "brined", 0.95, "brine S")
    stand(s, "hold S", "hold", "Cooler", ["S"], t(-4, "12:10"), t(-2, "07:10"))
    stand(s, "dry S", "dry", "Dry room", ["S"], t(-2, "07:15"), t(-2, "08:25"))
    smoke(s, "smoke S", 1, ["S"], t(-2, "08:30"), 240, note="Alder")
    weigh(s, "S", t(-2, "12:33"), "smoked", 0.76, "smoke S")
    cool(s, "cool S", "smoke S", ["S"], t(-2, "12:36"))
    stand(s, "hold S 2", "hold", "Cooler", ["S"], t(-2, "16:58"), t(-1, "08:10"))
    pack_frozen(s, "S", t(-1, "08:15"), 75, t(0, "08:00"))
    send(s, "S", t(-1, "09:00"), "sodium nitrite", "salt", "moisture")


def _uneven_sides(s: Script) -> None:
    """Sides of very different thickness in one brine, meant for a chilled vacuum pack."""
    t = s.calendar.at
    s.receive(
        "U",
        t(-2, "07:40"),
        "SA",
        1,
        VACUUM,
        "SAL",
        "salmon",
        "FP-5527",
        140,
        ("34.0", "33.6", "34.5"),
    )
    brine(s, "brine U", "Brine tank 2", ["U"], t(-2, "08:50"), t(-2, "15:20"), "strong", 2.4)
    inches = ["0.6", "1.4", "0.8", "1.3", "0.7", "1.0"]
    pieces(s, "U", t(-2, "08:44"), inches, ["18.0", "41.0", "23.5", "38.0", "20.0", "29.5"])
    s.at_place("Brine room", t(-2, "08:54"), "36.0")
    weigh(s, "U", t(-2, "15:26"), "brined", 0.97, "brine U")
    stand(s, "hold U", "hold", "Cooler", ["U"], t(-2, "15:30"), 0, "Waits for a smokehouse")


def _household_and_held(s: Script) -> None:
    """Trout for a chilled vacuum pack that went into a household brine anyway: held."""
    t = s.calendar.at
    s.receive(
        "V",
        t(-3, "07:35"),
        "TR",
        1,
        VACUUM,
        "TRR",
        "trout",
        "FS-2224",
        95,
        ("35.5", "35.0", "36.1"),
    )
    brine(s, "brine V", "Brine tank 1", ["V"], t(-3, "08:20"), t(-3, "14:40"), "household", 2.2)
    pieces(s, "V", t(-3, "08:14"), ["0.9", "1.0", "0.9"], ["9.0", "10.0", "9.5"])
    s.at_place("Brine room", t(-3, "08:24"), "36.1")
    stand(s, "hold V", "hold", "Cooler", ["V"], t(-3, "14:50"), 0, "Held apart, red tag")
    s.add(t(-3, "15:00"), lambda now: _act_on_household(s, now))
    s.add(t(-3, "15:10"), lambda now: _hold_household(s, now))


def _household_deviation(s: Script) -> Deviation:
    return Deviation.objects.get(lot__code=s.codes["V"], limit_id="brine-strength")


def _act_on_household(s: Script, now: int) -> None:
    action = Action(
        False,
        "Taken out of the weak brine, drained and chilled; not smoked",
        "The bucket recipe taken off the wall; batches are weighed to the plan's strength",
        "The words at the start were read and the brine used all the same",
        "On the lowest rack of the cooler, red tag, whole lot",
        "Hazel Brinewater",
        "Hazel Brinewater",
        s.calendar.day(4).isoformat(),
    )
    take_action(s.hand(now), _household_deviation(s), action, now, now)


def _hold_household(s: Script, now: int) -> None:
    why = "Waits for the trained person: fresh brine of full strength, keep frozen, or destroy"
    decide(s.hand(now), _household_deviation(s), Decision("hold", s.lot("V").quantity_g, why), now)


def _household_today(s: Script) -> None:
    """The same mistake about to be made: the brine is made, the fish waits beside it in the cooler."""
    now = s.calendar.now
    s.receive(
        "T",
        now - 85 * MINUTE,
        "TR",
        3,
        VACUUM,
        "TRR",
        "trout",
        "FS-2243",
        90,
        ("35.3", "35.8", "34.9"),
    )
    at = now - 70 * MINUTE
    stand(s, "hold T", "hold", "Cooler", ["T"], at, now - 3 * MINUTE, "Ready for the brine")
    s.at_place("Cooler", at + 2 * MINUTE, f"{cooler_f(at + 2 * MINUTE):.1f}")
    mix(s, "household", ["T"], now - 40 * MINUTE, "household")
    read_strength(s, "household", now - 25 * MINUTE)
