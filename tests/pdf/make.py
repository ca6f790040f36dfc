"""A rich invented record: every section has something in it, nothing in it is real."""

from dataclasses import asdict, replace
from datetime import datetime
from math import exp, sin
from typing import Any
from zoneinfo import ZoneInfo

from lots.core.batch import Batch, Part
from lots.core.reckoned import batch_figures, use_figures
from lots.core.record import (
    FORM,
    Acceptance,
    ActionFacts,
    AdjustmentFacts,
    BookHead,
    CheckFacts,
    Consignee,
    ControlPoint,
    Destroyed,
    DeviationFacts,
    DispositionFacts,
    EndFacts,
    Establishment,
    FileTakenBack,
    HandReading,
    Identity,
    InstrumentFacts,
    JudgedLimit,
    Kin,
    LabResult,
    LimitFacts,
    LimitLine,
    LoadFacts,
    LoggedCorrection,
    LoggerSeries,
    LotRecord,
    MovedStart,
    NoteFacts,
    ObservationFacts,
    PersonFacts,
    PlanFacts,
    ProbeLeftFacts,
    ReleaseFacts,
    Remark,
    Sample,
    Share,
    Signature,
)
from lots.core.record_salt import (
    BatchCheckFacts,
    BatchFacts,
    BatchUseFacts,
    PackFacts,
    PartFacts,
    PieceFacts,
    PieceSampleFacts,
    Reckoned,
    SentFacts,
    ThawFacts,
    WeightFacts,
)

ZONE = ZoneInfo("America/New_York")
MIN = 60_000
APP_A = "Fish and Fishery Products Hazards and Controls Guidance, chapter 13"


def at(text: str) -> int:
    """ "4 Mar 14:05" of 2026 on the smokehouse's clock, in ms UTC."""
    moment = datetime.strptime(f"2026 {text}", "%Y %d %b %H:%M").replace(tzinfo=ZONE)
    return round(moment.timestamp()) * 1000


def fahrenheit(degrees: float) -> int:
    """Ninths of a reading in °F."""
    return round((degrees - 32) * 1000) * 5


def make_series(
    probe: str, start: str, minutes: int, shape: Any, load: int = 3, place: str = "Smokehouse 1",
    step_ms: int = 30_000, hole: tuple[int, int] = (0, 0),
) -> LoggerSeries:  # fmt: skip
    """A logger's series whose readings are shape(minute), to a tenth of a degree F."""
    first = at(start)
    moments = [first + i * step_ms for i in range(minutes * MIN // step_ms)]
    moments = [m for m in moments if not hole[0] * MIN <= m - first < hole[1] * MIN]
    ninths = [fahrenheit(round(shape((m - first) / MIN), 1)) for m in moments]
    return LoggerSeries(
        f"{place} {probe}".strip(), place, probe, load, "Logger L-2", "smoke-march-5.csv", "5e" * 32, "F",
        len(moments), moments[0], moments[-1], "TQ", moments[-1] + 9 * MIN, "a1" * 32, 5 * MIN,
        tuple(moments), tuple(ninths),
    )  # fmt: skip


def core(lag: float, top: float) -> Any:
    """A fish's core warming towards the oven, with a probe's small unrest."""
    return lambda m: top - (top - 44) * exp(-m / lag) + 0.3 * sin(m / 3.1) + 0.2 * sin(m * 1.7)


def room(m: float) -> float:
    """A brine room that warms overnight."""
    return 37.0 + 0.5 * sin(m / 17) + (6.5 * exp(-(((m - 430) / 70) ** 2)))


def limit(
    id: str, sentence: str, source: str = APP_A, operating: str = "", *lines: LimitLine
) -> LimitFacts:
    return LimitFacts(id, sentence, operating, source, "published", '{"kind":"at most"}', lines)


def line(side: str, degrees: float, word: str = "critical") -> LimitLine:
    return LimitLine(word, side, fahrenheit(degrees), "F")


def make_points() -> tuple[ControlPoint, ...]:
    return (
        ControlPoint(
            "CCP1", "Receiving", "receiving", "C. botulinum growth", "internal temperature of the fish",
            "digital thermometer, 12 fish a delivery", "every delivery", "receiving operator",
            "Reject the delivery, or chill and hold until its history is known.",
            (limit("R1", "Fish at most 40 °F (4.4 °C) at each reading", APP_A, "at most 38 °F",
                   line("at most", 40), line("at most", 38, "operating")),),
        ),
        ControlPoint(
            "CCP2", "Brining", "brine", "C. botulinum toxin formation", "brine strength, time, room",
            "salometer; continuous logger in the brine room", "start of each brine; every 15 minutes",
            "brine operator",
            "Keep the fish in brine longer; chill the room; hold and have the lot evaluated.",
            (limit("B1", "Brine at least 60 °SAL at the start"),
             limit("B2", "Given brining over 4 h, the brining area at most 38 °F", APP_A, "at most 36 °F",
                   line("at most", 38), line("at most", 36, "operating")),
             limit("B3", "In brine at least 6 h")),
        ),
        ControlPoint(
            "CCP3", "Hot smoking", "smoke", "C. botulinum survival; Listeria monocytogenes",
            "core temperature in the three slowest fish", "logger with three probes", "every 30 seconds",
            "smokehouse operator",
            "Go on until the limit is met; if it cannot be met, hold the load, recook or destroy it.",
            (limit("S1", "Core at or above 145 °F (62.8 °C) for 30 minutes unbroken, in each of three fish",
                   APP_A, "at least 148 °F", line("at least", 145), line("at least", 148, "operating")),),
        ),
        ControlPoint(
            "CCP4", "Finished product", "pack", "C. botulinum growth in the pack", "water-phase salt",
            "laboratory, three samples", "each lot", "records reviewer",
            "Hold the lot; freeze it and relabel, or destroy it.",
            (limit("W1", "Water-phase salt at least 3.5 %, or at least 3.0 % with nitrite at least 100 ppm"),),
        ),
    )  # fmt: skip


def judged(
    point: str, limit_id: str, load: int, verdict: str, figure: str, bound: str, **more: Any
) -> JudgedLimit:
    base = {"estimate": "", "why": "", "rests_on": (), "broke_at": 0, "rules": 1}
    return JudgedLimit(point, limit_id, load, verdict, figure, bound, **(base | more))


def make_verdicts() -> tuple[JudgedLimit, ...]:
    return (
        judged("CCP1", "R1", 1, "ADJUST", "39.2 °F, the warmest of 4 fish", "at most 40 °F; operating 38 °F",
               why="Every reading meets the critical limit; fish 3 passed the operating limit.",
               rests_on=("reading 1", "reading 2", "reading 3", "reading 5")),
        judged("CCP2", "B1", 2, "MET", "62 °SAL", "at least 60 °SAL", rests_on=("reading 6",)),
        judged("CCP2", "B2", 2, "DEVIATION", "43.4 °F, the highest", "at most 38 °F", estimate="43.4 °F",
               why="Brining took 10 h, so the room’s limit binds; the room was above 38 °F for 3 h 10 min.",
               rests_on=("series Brine room",), broke_at=at("5 Mar 00:21")),
        judged("CCP2", "B3", 2, "MET", "10 h", "at least 6 h", rests_on=("load 2",)),
        judged("CCP3", "S1", 3, "MET", "41 min, the slowest fish", "30 min at or above 145 °F",
               estimate="41 min 20 s", why="Fish 2 governs; the other two held longer.",
               rests_on=("series fish 1", "series fish 2", "series fish 3")),
        judged("CCP4", "W1", 0, "MET", "3.6 %, the least favourable of 2", "at least 3.5 %", rests_on=("laboratory result 1",)),
    )  # fmt: skip


def hand(
    number: int, load: int, place: str, probe: str, read: str, when: str, **more: Any
) -> HandReading:
    moment = at(when)
    base: dict[str, Any] = {
        "quantity": "temperature", "unit": "F", "instrument": "Thermometer T-4", "entered_at": moment + 20_000,
        "recorded_at": moment + 21_000, "initials": "TQ",
    }  # fmt: skip
    value = more.pop("value", None) or fahrenheit(float(read))
    return HandReading(
        number, load, place, probe, as_read=read, value=value, observed_at=moment, **(base | more)
    )


def make_readings() -> tuple[HandReading, ...]:
    return (
        hand(1, 1, "Receiving dock", "fish 1", "37.4", "4 Mar 09:12"),
        hand(2, 1, "Receiving dock", "fish 2", "36.9", "4 Mar 09:14"),
        hand(3, 1, "Receiving dock", "fish 3", "39.2", "4 Mar 09:15"),
        hand(4, 1, "Receiving dock", "fish 4", "83.5", "4 Mar 09:17", corrected_by=5),
        hand(5, 1, "Receiving dock", "fish 4", "38.5", "4 Mar 09:17", corrects=4, entered_at=at("4 Mar 09:21"),
             recorded_at=at("4 Mar 09:21"), reason="digits swapped when keyed; the display still showed 38.5",
             accepted=(Acceptance("MO", at("5 Mar 17:40"), "seen on the thermometer’s own memory"),)),
        hand(6, 2, "Brine tank 2", "", "62", "4 Mar 17:00", quantity="brine strength", unit="°SAL",
             value=62_000_000, instrument="Salometer S-1"),
        hand(7, 2, "Brine tank 2", "", "37.8", "4 Mar 17:02"),
        hand(8, 2, "Brine tank 2", "", "38.0", "5 Mar 01:30", entered_at=at("5 Mar 06:10"),
             recorded_at=at("5 Mar 06:10"), late=1, reason="tablet was left in the office overnight",
             initials="JW"),
        hand(9, 3, "Smokehouse 1", "fish 2", "146.3", "5 Mar 09:40", note="beside the logger’s probe"),
        hand(10, 4, "Freezer 1", "", "-11.2", "5 Mar 15:00", instrument="Thermometer T-5"),
    )  # fmt: skip


def make_deviations() -> tuple[DeviationFacts, ...]:
    action = ActionFacts(
        0, "yes, 6 racks tagged and moved to the holding cooler", "Marit Oakhollow",
        "Marit Oakhollow", "2026-03-12", "Held in brine tank 2, iced at once, then smoked to the full limit",
        "Compressor breaker reset; room back at 37 °F by 03:40", "Compressor breaker tripped at midnight",
        "JW", at("5 Mar 06:30"),
    )  # fmt: skip
    held = DispositionFacts("hold", 120_000, "JW", at("5 Mar 06:35"), "until the review", 0)
    freed = DispositionFacts(
        "release", 112_000, "MO", at("5 Mar 17:45"), "fish stayed cold throughout", 1,
        "The brine surrounded the fish and was read at 38.0 °F at the worst hour; growth is not reasonably "
        "likely. Written by Marit Oakhollow.",
    )  # fmt: skip
    gone = DispositionFacts(
        "recall", 8_000, "MO", at("5 Mar 17:46"), "top rack stood out of the brine", 1, "",
        (
            Consignee("Harbor Kitchen (invented)", 5_000, at("5 Mar 18:20"), "MO", "by telephone, Ms Invented"),
            Consignee("Quay Market (invented)", 3_000, 0, "MO", ""),
        ),
    )  # fmt: skip
    notes = (
        NoteFacts("extended", "43.9 °F", "outside the bound", at("5 Mar 06:20"), at("5 Mar 03:30"), "JW"),
        NoteFacts("not reproduced", "37.9 °F", "now within limits", at("5 Mar 08:15"), 0, "book"),
    )  # fmt: skip
    first = DeviationFacts(
        1, "CCP2", "B2", 2, "DEVIATION", "43.4 °F",
        at("5 Mar 00:21"), at("5 Mar 06:05"), "Series Brine room, 381 readings above 38 °F, highest 43.4 °F at "
        "5 Mar 2026 03:09 −05:00", 1, "Given brining over 4 h, the brining area at most 38 °F", "T-0304-0", 12_000, notes,
        (action,), (held, freed, gone),
    )  # fmt: skip
    plan = replace(
        action,
        plan_followed=1,
        fish="Nothing: the fish was not affected",
        taken_at=at("4 Mar 09:25"),
        restored="Correct figure entered",
        cause="Digits swapped when keyed",
        initials="TQ",
    )
    second = DeviationFacts(
        2, "CCP1", "R1", 1, "DEVIATION", "83.5 °F", at("4 Mar 09:17"), at("4 Mar 09:17"),
        "Reading 4, 83.5 °F by Thermometer T-4", 0, "Fish at most 40 °F (4.4 °C) at each reading", "", 0, (), (plan,),
        (DispositionFacts("release", 120_000, "MO", at("5 Mar 17:41"), "reading was keyed wrongly", 1,
                          "Display photographed; 38.5 °F. Written by Marit Oakhollow."),),
    )  # fmt: skip
    return first, second


def make_loads() -> tuple[LoadFacts, ...]:
    mine, other = Share("T-0304-1", 120_000), Share("T-0304-2", 45_000)
    moved = MovedStart(
        at("4 Mar 09:30"), at("4 Mar 09:10"), "fish was probed on the truck first", "TQ"
    )
    ends = (
        EndFacts(at("5 Mar 02:00"), at("5 Mar 06:12"), at("5 Mar 06:12"), "JW", 1, "asleep at the desk"),
        EndFacts(at("5 Mar 03:00"), at("5 Mar 06:40"), at("5 Mar 06:40"), "JW", 0, "read the clock wrongly",
                 "seen by TQ too", 1, (Acceptance("MO", at("5 Mar 17:42"), "the tank’s own log agrees"),)),
    )  # fmt: skip
    left = ProbeLeftFacts("fish 2", at("5 Mar 11:10"), "JW", "fell out when the rack was turned")
    return (
        LoadFacts(1, "receiving", "Receiving dock", at("4 Mar 09:10"), at("4 Mar 09:45"), "TQ", "TQ", (mine,), (moved,), "T-0304-0"),
        LoadFacts(2, "brine", "Brine tank 2", at("4 Mar 17:00"), at("5 Mar 03:00"), "TQ", "JW", (mine, other), ends=ends,
                  note="tank was filled before the phone was at hand", entered_at=at("4 Mar 18:20"), late=1),
        LoadFacts(3, "smoke", "Smokehouse 1", at("5 Mar 07:00"), at("5 Mar 12:00"), "JW", "TQ", (mine, other), note="alder",
                  probes_left=(left,)),
        LoadFacts(4, "storage", "Freezer 1", at("5 Mar 14:30"), 0, "TQ", "", (Share("T-0304-1", 108_000),)),
    )  # fmt: skip


def make_signatures() -> tuple[Signature, ...]:
    base = Signature(
        "Marit Oakhollow", "MO", "records reviewer", "Seafood HACCP, three days", "12 May 2024", "SH-0042-X",
        at("5 Mar 17:50"), "I reviewed these records for completeness and against the plan",
        "lot T-0304-1 as far as book line 212", "also took readings of this lot",
    )  # fmt: skip
    return base, replace(
        base,
        signed_at=at("6 Mar 09:05"),
        meaning="I release the quantities named",
        note="",
        signed="release of 108 kg",
        kind="release",
    )


def make_observations() -> tuple[ObservationFacts, ...]:
    a, b = at("4 Mar 09:20"), at("4 Mar 09:22")
    seen = (Acceptance("MO", at("5 Mar 17:43"), "delivery note says iced"),)
    return (
        ObservationFacts(1, 1, "Ice all round the fish", "no", a, a, a + 900, "TQ", corrected_by=3),
        ObservationFacts(3, 1, "Ice all round the fish", "yes", a, b, b + 900, "TQ", reason="ticked the wrong box",
                         corrects=1, accepted=seen),
        ObservationFacts(2, 1, "Supplier’s letter on aquaculture drugs", "yes", b, b, b + 800, "TQ",
                         "letter covers this delivery", "letter.jpg", "7c" * 32),
    )  # fmt: skip


def make_record(**changes: Any) -> LotRecord:
    """The record, with any of its fields changed."""
    place = Establishment(
        "Larkwater Smokehouse",
        "9 Invented Quay, Fictional Harbor, ME",
        "sells wholesale",
        "America/New_York",
        "F",
        "kg",
        1,
    )
    lot = Identity(
        "T-0304-1", "Hot-smoked trout, vacuum-packed, kept frozen", "TRR", "rainbow trout", "farmed",
        "Quillback Farm (invented)", "QF-881", at("4 Mar 09:10"), at("4 Mar 09:08"), "TQ", "released", 120_000,
        108_000, "432 packs of 250 g", "", 0, "", "", at("5 Mar 16:30"), "TQ", "two packs short of a case",
        (Destroyed(3_000, at("5 Mar 13:10"), "JW", "fell on the floor"),), (Share("released", 108_000), Share("destroyed", 8_000), Share("loss in process", 4_000)),
        (Kin("T-0304-0", "split", 120_000, at("4 Mar 09:50"), "TQ", "thin sides smoked apart", (1, 8)),),
        (Kin("T-0304-1R", "rework", 2_000, at("5 Mar 16:00"), "JW", "torn packs"),),
    )  # fmt: skip
    plan = PlanFacts(
        "Hot-smoked trout, vacuum-packed, kept frozen", 3, at("2 Feb 10:00"), "Marit Oakhollow",
        "ready to eat, general public", "vacuum pack, 250 g", "frozen at or below 0 °F until sold",
        "12 months frozen; to be thawed in a refrigerator, out of its pack", "",
        (replace(make_signatures()[0], kind="plan", right="HACCP coordinator", meaning="accepted for use",
                 signed="plan, version 3", signed_at=at("2 Feb 10:00"), course_date="2024-05-12", note=""),),
    )  # fmt: skip
    series = (
        make_series("", "4 Mar 17:00", 660, room, 2, "Brine room", 60_000),
        make_series("fish 1", "5 Mar 07:00", 300, core(52, 152.0)),
        make_series("fish 2", "5 Mar 07:00", 300, core(70, 151.0), hole=(150, 163)),
        make_series("fish 3", "5 Mar 07:00", 300, core(61, 151.5)),
    )  # fmt: skip
    result = LabResult(
        "water-phase salt", (Sample("3.7 %", "loin, fish 4"), Sample("3.6 %", "belly, fish 9")), "Invented Lab, Ltd.",
        "vacuum oven; chloride titration", at("5 Mar 13:00"), at("6 Mar 08:30"), "lab-77.pdf", "9d" * 32, "MO", 2, "second report", 1,
    )  # fmt: skip
    checked = InstrumentFacts(
        "Thermometer T-4",
        "digital, tip probe",
        at("2 Mar 08:00"),
        "ice slurry",
        "32.1 °F at 32 °F",
        "JW",
        (
            CheckFacts(at("2 Mar 08:00"), "ice slurry", "32.1 °F at 32 °F", "JW", 1),
            CheckFacts(at("23 Feb 08:05"), "ice slurry", "32.4 °F at 32 °F", "TQ", 1),
        ),
    )
    wrong = replace(result, number=1, note="figures of another lot", corrects=0, corrected_by=2)
    adjusted = AdjustmentFacts(
        "CCP1", "R1", 1, "39.2 °F", "more ice on the truck’s last box", at("4 Mar 09:30"), "TQ"
    )
    record = LotRecord(
        FORM, 2, at("6 Mar 09:10"), "MO", place, lot, plan, make_points(), make_verdicts(), make_loads(), make_readings(),
        make_observations(), series, (wrong, result), (checked, replace(checked, name="Logger L-2", checked_at=0, method="", result="", checked_by="", checks=())),
        make_deviations(), make_signatures(),
        ReleaseFacts(at("6 Mar 09:05"), "MO", (Share("released", 108_000),), "Storage limit met so far, to 6 Mar 2026 09:05 −05:00",
                     "frozen, top shelf", "buyer collects on Monday"),
        BookHead(219, "c0ffee" + "42" * 29),
        (PersonFacts("TQ", "Tobias Quince"), PersonFacts("JW", "Ji-woo Wren"), PersonFacts("MO", "Marit Oakhollow")),
        ("lethality",), (adjusted,), 3, "record 1", "The laboratory’s result was added.",
        kept_until="2028-03-05", **make_said(), **make_salt(),
    )  # fmt: skip
    return replace(record, **changes)


def make_said() -> dict[str, Any]:
    """What form 2 adds: notes, logger readings put right, a file taken back."""
    seen = (Acceptance("MO", at("5 Mar 17:44"), "the door’s own switch tells the same"),)
    a, b = at("5 Mar 09:40"), at("5 Mar 09:58")
    return {
        "remarks": (
            Remark(3, "Wood changed to dry alder; damper half shut.", a, a, a + 800, "TQ (PIN)"),
            Remark(0, "Two boxes of this lot carry the wrong label: set apart, labelled anew.", b, b, b + 900, "JW"),
        ),
        "logged_corrections": (
            LoggedCorrection("smoke-march-5.csv", "fish 2", 3, at("5 Mar 09:31"), fahrenheit(61.0), fahrenheit(141.2),
                             "F", 0, "the plug had slipped; T-4 beside it said 141.2", b, "TQ", seen),
            LoggedCorrection("smoke-march-5.csv", "fish 3", 3, at("5 Mar 09:32"), fahrenheit(-40.0), 0, "F", 1,
                             "no fish has this", b, "TQ"),
        ),
        "taken_back": (FileTakenBack("smoke-march-4.csv", "6f" * 32, 1_204, "of another load", b, "JW"),),
    }  # fmt: skip


def make_salt() -> dict[str, Any]:
    """What form 3 adds: a brine, a dry salting, pieces, weights, samples sent, the pack."""
    began = at("4 Mar 16:10")
    parts = (
        PartFacts("water", "", "12", "L", 12_000_000, 1_000_000, 0),
        PartFacts("salt", "sea salt", "2250", "g", 2_250_000, 0, 0),
        PartFacts("sugar", "sugar", "620", "g", 620_000, 0, 0),
        PartFacts("curing salt", "curing salt no. 1", "160", "g", 160_000, 0, 62_500),
    )
    rub = (PartFacts("salt", "", "2", "cup", 546_000, 273_000, 0),)
    wet, dry = (
        Batch(method, tuple(Part(**asdict(one)) for one in each))
        for method, each in (("brine", parts), ("dry salt", rub))
    )
    used = BatchUseFacts(
        2, 0, 7_500, 72_000_000, "long", "", use_figures(wet, None, 7_500, 72_000_000)
    )
    check = BatchCheckFacts(
        4, began + 20 * MIN, began + 21 * MIN, "TQ", "salometer", "Salometer S-1", "61.5 °SAL", "50.0 °F",
        "reads true at 60 °F", "26.395 %", 60_400_000, "60.4 °SAL", "stirred twice",
    )  # fmt: skip
    brine = BatchFacts(
        "B-0304", "brine", began, began, "TQ", fahrenheit(50.0), 1, parts, batch_figures(wet, fahrenheit(50.0)),
        (replace(check, number=3, as_read="16.5 °SAL", found="15.9 °SAL", corrected_by=4), replace(check, corrects=3)),
        (used,), 2, at("5 Mar 09:00"), "JW", "two loads were enough", "made in the white tub",
    )  # fmt: skip
    rubbed = BatchFacts(
        "S-0304", "dry salt", began, began + 60 * MIN, "JW", 0, 0, rub, batch_figures(dry, None), (),
        (BatchUseFacts(8, 0, 15_000, 0, "", "the fish lay in it already when it was entered", use_figures(dry, None, 15_000)),),
    )  # fmt: skip
    pieces = PieceSampleFacts(
        1, 2, began, began, "JW", "Calliper C-1",
        (PieceFacts("28 mm", "412 g", 28_000, 412_000), PieceFacts("1.4 in", "", 35_560, 0)),
        (Reckoned("thickest", "35.6 mm"), Reckoned("spread", "7.6 mm")), "tail ends left out",
    )  # fmt: skip
    trimmed = WeightFacts(1, 0, "trimmed", "94.2", "kg", 94_200, began, began, "TQ")
    return {
        "batches": (brine, rubbed),
        "pieces": (pieces,),
        "weights": (trimmed, replace(trimmed, number=2, load=3, stage="smoked", as_read="172", unit="lb", grams=78_018,
                                     reason="typed from the scale’s slip", entered_at=began + 90 * MIN)),
        "yields": (Reckoned("trimmed", "78.5 %", "94.2 kg of 120 kg received"),),
        "sent": (SentFacts(7, "", "Invented Lab, Ltd.", "loin, fish 4", ("salt", "moisture", "sodium nitrite"), began, began, "TQ", ""),),
        "salt": (Reckoned("forecast for the thickest piece", "3.1 to 4.4 %", "published range of diffusivity; no result of the house yet"),),
        "pack": (
            PackFacts(
                "frozen", "no laboratory has shown its salt", "Keep frozen. Thaw under refrigeration immediately before use.",
                "guidance, from memory", ("fish (rainbow trout)",), ("salt", "sugar", "sodium nitrite"),
                (Reckoned("use by", "5 Sep 2026", "6 months from 5 Mar 2026, the first packing"),),
                (ThawFacts(10_000, at("6 Mar 08:00"), at("6 Mar 08:00"), "JW", "ordered fresh"),),
            ),
        ),
    }  # fmt: skip


LONG = (
    "Ὀρφεὺς Ψαράς καὶ Ἀδελφοί Ἀνώνυμος Ἑταιρεία · Копчёная рыба Щукиных и сыновей «Жемчужина» · "
    * 2
)


def make_long_record() -> LotRecord:
    """The same with names as long as anybody could type them, in Greek and Cyrillic too."""
    record = make_record()
    word = "Donaudampfschifffahrtsgesellschaftskapitänsräucherofen" * 2
    lot = replace(
        record.lot,
        product=LONG,
        supplier=LONG,
        supplier_lot=word,
        code="LOT-" + "0123456789" * 5,
        species=LONG,
        packs=LONG,
        quantities=tuple(Share(LONG[:60], 10**9) for _ in range(6)),
    )
    readings = tuple(
        replace(r, place=word, probe="ψάρι № 1 στο κάτω ράφι", instrument=word, initials="ЩЖΨ", note=LONG)
        for r in record.readings
    )  # fmt: skip
    loads = tuple(replace(one, place=word, step=one.step, started_by="ЩЖΨ") for one in record.loads)
    points = tuple(
        replace(p, name=LONG, hazard=LONG * 3, corrective_action=LONG * 30)
        for p in record.control_points
    )
    verdicts = tuple(replace(v, figure=LONG[:120], why=LONG * 2) for v in record.verdicts)
    deviations = tuple(replace(d, bound=LONG, evidence=LONG * 4) for d in record.deviations)
    people = tuple(replace(p, printed_name=LONG) for p in record.people)
    return replace(
        record, establishment=replace(record.establishment, name=LONG, address=LONG), lot=lot, readings=readings,
        loads=loads, control_points=points, verdicts=verdicts, deviations=deviations, people=people,
        series=tuple(replace(s, place=word, name=word, file=word + ".csv", probe=LONG[:70]) for s in record.series),
        signatures=tuple(replace(s, printed_name=LONG, meaning=LONG) for s in record.signatures),
    )  # fmt: skip
