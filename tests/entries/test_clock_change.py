"""A night on which the clock goes back, by hand and by logger; cooling that begins in the smoker; a probe
pulled out of the coldest fish.

The clock of New York and Detroit goes back on 1 Nov 2026: 02:00 −04:00 is 01:00 −05:00, and the hour from
01:00 is had twice.  Below "s01:30" is its first half past one and "w01:30" its second, an hour later.
"""

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

import pytest
from django.urls import reverse

from lots.core.limits import Verdict
from lots.core.units import MS_PER_H, MS_PER_MIN
from lots.entries.load import Portion, end_load, say_probe_left, start_load
from lots.entries.moments import Moments
from lots.entries.reading import accept_late, enter_readings
from lots.entries.readings import Figure
from lots.models.deviation import Deviation
from lots.models.lot import Load, Lot, ProbeLeft
from lots.models.reading import Reading
from lots.queries.evidence import evidence
from lots.queries.judgements import Judged, judge_part
from tests.core.scenarios import EVERY_MIN, STAGES, fahrenheit, hot_smoke
from tests.entries.roads import imported
from tests.make import ZONE, Book, moment, seen
from tests.queries.test_record import paper, record_of
from tests.views.pages import as_person, beside, refused, taken

PROBES = 3


def wall(text: str) -> int:
    """ms UTC of "s01:30" or "w01:30" on the night of the change, or of a plain moment."""
    if text[0] not in "sw":
        return moment(text)
    offset = {"s": "-04:00", "w": "-05:00"}[text[0]]
    return round(datetime.fromisoformat(f"2026-11-01T{text[1:]}{offset}").timestamp() * 1000)


def now(text: str) -> Moments:
    at = wall(text)
    return Moments(at, at, at, 0)


def put(book: Book, lot: Lot, step: str, place: str, at: str) -> Load:
    return start_load(
        book.operator, book.place(place), [Portion(lot, step, lot.quantity_g)], now(at)
    )


def read(book: Book, load: Load, page: str) -> None:
    """Rounds of three fish by hand: "s01:30 148, w01:00 148.2"."""
    for entry in page.split(", "):
        at, figure = entry.split()
        figures = [Figure(figure, "F", f"fish {n + 1}") for n in range(PROBES)]
        enter_readings(book.operator, load.place, load, figures, now(at))


def found(lot: Lot, step: str, limit: str, at: str) -> Judged:
    part = lot.parts.select_related("load__place__within", "lot__plan_version").get(step=step)
    return next(one for one in judge_part(part, wall(at), anew=True) if one.limit.id == limit)


def minutes(judged: Judged, name: str) -> float:
    return judged.finding.numbers[name] / MS_PER_MIN


@pytest.fixture
def lot(book: Book) -> Lot:
    return book.open_lot(at="2026-10-31 20:00")


# --- by hand --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("page", "held", "verdict"),
    [
        # 01:30, 01:45 and then 01:00 by the wall: 30 min
        ("s00:10 60, s01:15 140, s01:30 148, s01:45 148, w01:00 148", 30, Verdict.MET),
        # 01:30 to 01:59 and again 01:15: 45 min, though the wall says it went back
        ("s00:10 60, s01:30 148, s01:45 148, w01:00 148, w01:15 148", 45, Verdict.MET),
        # 01:30 and 01:40 by the wall are 70 min apart: too long a gap counts nothing
        ("s00:10 60, s01:30 148, w01:40 148", 0, Verdict.PENDING),
        ("s00:10 60, s01:46 148, w01:00 148, w01:15 148", 29, Verdict.PENDING),
    ],
)
def test_heat_is_held_as_long_as_it_is_held_whatever_the_wall_says(
    book: Book, lot: Lot, page: str, held: float, verdict: Verdict
) -> None:
    load = put(book, lot, "smoke", "Smokehouse 1", "s00:00")
    read(book, load, page)
    judged = found(lot, "smoke", "smoke-heat", "w01:45")
    assert (judged.verdict, minutes(judged, "maintained_ms")) == (verdict, held)


def smoked(book: Book, lot: Lot, page: str, end: str) -> None:
    load = put(book, lot, "smoke", "Smokehouse 1", "s00:00")
    read(book, load, page)
    end_load(book.operator, load, now(end))


@pytest.mark.parametrize(
    ("down", "verdict", "took"),
    [("w02:00", Verdict.MET, 120), ("w02:01", Verdict.DEVIATION, 121)],
)
def test_a_cooling_over_the_change_takes_an_hour_longer_than_the_wall_says(
    book: Book, lot: Lot, down: str, verdict: Verdict, took: int
) -> None:
    smoked(book, lot, "s00:10 60, s00:15 148, s00:30 148, s00:45 148, s01:00 148", "s01:05")
    load = put(book, lot, "cool", "Cooler", "s01:05")
    read(book, load, f"s01:10 130, w01:00 96, {down} 70, w03:00 60, w04:00 50, w05:00 40")
    judged = found(lot, "cool", "cooling", "w05:01")
    assert (judged.verdict, minutes(judged, "stage_1_ms")) == (verdict, took)
    if verdict is Verdict.DEVIATION:
        assert Deviation.objects.get(limit_id="cooling").broke_at == wall("s01:00") + 2 * MS_PER_H


@pytest.mark.parametrize(
    ("down", "verdict"), [("w02:45", Verdict.MET), ("w02:46", Verdict.DEVIATION)]
)
def test_a_cooling_that_begins_in_the_smoker_counts_from_the_last_hot_reading_there(
    book: Book, lot: Lot, down: str, verdict: Verdict
) -> None:
    """Hot at 00:45 −05:00, which is 01:45 −04:00, and below 140 °F before it left the smoker."""
    smoked(book, lot, "s00:10 60, s01:15 148, s01:30 148, s01:45 148, w01:00 131", "w01:10")
    load = put(book, lot, "cool", "Cooler", "w01:15")
    read(book, load, f"w01:20 120, w02:00 90, {down} 70, w03:30 60, w04:30 50, w05:30 40")
    # two hours from s01:45 end at w02:45
    assert found(lot, "cool", "cooling", "w05:31").verdict is verdict


def test_a_touched_probe_that_jumps_above_the_beginning_restarts_nothing(
    book: Book, lot: Lot
) -> None:
    smoked(book, lot, "s00:10 60, s01:15 148, s01:30 148, s01:45 148", "s01:50")
    load = put(book, lot, "cool", "Cooler", "s01:50")
    # the jump is at 01:30 −05:00; from there 70 °F at 03:00 would be in time, from s01:45 it is not
    read(book, load, "s01:55 130, w01:25 110, w01:30 151, w01:35 109, w02:30 80, w03:00 70")
    judged = found(lot, "cool", "cooling", "w03:01")
    assert judged.verdict is Verdict.DEVIATION
    assert judged.finding.broke_at == wall("s01:45") + 2 * MS_PER_H
    assert minutes(judged, "stage_1_ms") == 135


def test_the_time_between_readings_counts_the_hour_that_is_had_twice(book: Book, lot: Lot) -> None:
    load = put(book, lot, "smoke", "Smokehouse 1", "s00:30")
    read(book, load, "s00:35 60, s01:00 70, w02:01 80")  # 61 min by the wall, 121 in truth
    judged = found(lot, "smoke", "smoke-read", "w02:02")
    assert (judged.verdict, minutes(judged, "gap_ms")) == (Verdict.DEVIATION, 121)


@pytest.mark.parametrize(
    ("end", "verdict"), [("w02:00", Verdict.MET), ("w02:01", Verdict.DEVIATION)]
)
def test_a_step_over_the_change_lasts_as_long_as_it_lasts(
    book: Book, lot: Lot, end: str, verdict: Verdict
) -> None:
    load = put(book, lot, "pack", "Table", "s01:00")
    end_load(book.operator, load, now(end))
    assert found(lot, "pack", "pack-to-freezer", "w03:00").verdict is verdict


def test_the_form_asks_which_of_the_two_hours_is_meant_and_keeps_the_right_one(
    book: Book, lot: Lot, monkeypatch: pytest.MonkeyPatch
) -> None:
    load = put(book, lot, "smoke", "Smokehouse 1", "s00:00")
    read(book, load, "s00:10 60, s01:15 148, s01:30 148")
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: wall("w01:50"))
    olga, url = as_person(book.operator), reverse("reading_load", args=[load.pk])
    typed = {f"read_fish {n + 1}": "148" for n in range(PROBES)}
    typed |= {"unit": "F", "note": ""}
    asked = {**typed, "observed_at": "1 Nov 2026 01:45", "late_reason": "busy"}
    answer = refused(olga, url, asked, "observed_at", "existed twice")
    assert "−04:00 or −05:00" in beside(answer, "observed_at")
    taken(olga, url, {**typed, "observed_at": "1 Nov 2026 01:45 −04:00", "late_reason": "busy"})
    taken(olga, url, {**typed, "observed_at": "1 Nov 2026 01:05 −05:00", "late_reason": "busy"})
    kept = set(Reading.objects.filter(load=load).values_list("observed_at", flat=True))
    assert {wall("s01:45"), wall("w01:05")} <= kept
    # 01:15, 01:30, 01:45 and then 01:05, by the wall
    judged = found(lot, "smoke", "smoke-heat", "w01:50")
    assert (judged.verdict, minutes(judged, "maintained_ms")) == (Verdict.MET, 50)
    assert judged.judgement.rests_on_late


# --- by the logger's file -------------------------------------------------------------------------


def file_of(start: str, step_min: int, figures: Iterable[float], probes: int = PROBES) -> bytes:
    """A file whose times are the wall's, without offset: only the order of its rows tells the hours."""
    heads = ", ".join(f"Probe {n + 1} (°F)" for n in range(probes))
    lines = [f"Date and time, {heads}"]
    for number, figure in enumerate(figures):
        at = wall(start) + number * step_min * MS_PER_MIN
        local = datetime.fromtimestamp(at / 1000, ZONE)
        lines.append(f"{local:%Y-%m-%d %H:%M:%S}, " + ", ".join([str(figure)] * probes))
    return ("\n".join(lines) + "\n").encode()


NAMES = {n + 1: f"fish {n + 1}" for n in range(PROBES)}


def test_a_file_over_the_change_is_told_apart_by_the_order_of_its_rows(
    book: Book, lot: Lot
) -> None:
    load = put(book, lot, "smoke", "Smokehouse 1", "s00:00")
    # 00:00 to 01:40 −04:00 too cool, then 30 min at 148 °F over the change, then cool again
    figures = [*[100.1] * 10, *[148.1] * 4, *[120.1] * 10]
    data = file_of("s00:00", 10, figures)
    assert data.count(b"2026-11-01 01:30:00") == 2
    imported(book, data, "2026-11-01 04:00", load.place, load, NAMES)
    (run,) = evidence(load).series["fish"]["fish 1"]
    assert list(run.at) == [wall("s00:00") + n * 10 * MS_PER_MIN for n in range(len(figures))]
    judged = found(lot, "smoke", "smoke-heat", "2026-11-01 04:01")
    assert (judged.verdict, minutes(judged, "maintained_ms")) == (Verdict.MET, 30)


@pytest.mark.parametrize(
    ("hot", "verdict"), [(1, Verdict.MET), (2, Verdict.MET), (0, Verdict.DEVIATION)]
)
def test_a_cooling_by_file_over_the_change_takes_as_long_as_it_takes(
    book: Book, lot: Lot, hot: int, verdict: Verdict
) -> None:
    """Every 10 min from 00:40 −04:00, cooled at 02:00 −05:00: 2 h 20 min after the first row."""
    smoked(book, lot, "s00:05 146, s00:20 148, s00:38 141", "s00:39")
    load = put(book, lot, "cool", "Cooler", "s00:40")
    warm = {0: [130.1] * 3, 1: [141.1, 141.1, 141.1], 2: [145.1, 141.1, 141.1]}[hot]
    figures = [*warm, *[100.1] * 11, *[70.0] * 12, *[40.0] * 3]
    imported(book, file_of("s00:40", 10, figures), "2026-11-01 06:00", load.place, load, NAMES)
    judged = found(lot, "cool", "cooling", "2026-11-01 06:01")
    assert judged.verdict is verdict
    begun = wall("s01:00") if hot else wall("s00:38")
    assert judged.finding.numbers["stage_1_ms"] == wall("w02:00") - begun


# --- a hot smoke whose coldest probe is pulled ----------------------------------------------------

PULLED_MIN = STAGES[-1][0] + 40
FIRST = "08:00"
LAST_MIN = 330


@pytest.fixture(scope="module")
def smoke() -> Any:
    return hot_smoke(pulled=True)


def at_minute(minute: int) -> str:
    hour, rest = divmod(8 * 60 + minute, 60)
    return f"{hour:02}:{rest:02}"


def coldest(smoke: Any) -> str:
    return min(smoke.cores, key=lambda name: smoke.cores[name][PULLED_MIN])


Each = Callable[[int], None]


def smoke_on(
    book: Book, load: Load, smoke: Any, without: str = "", after: int = 0, each: Each | None = None
) -> None:
    """Every quarter hour's round, by hand; of `without` only what was read before minute `after`."""
    for index, minute in enumerate(range(0, LAST_MIN + 1, EVERY_MIN)):
        figures = [
            Figure(f"{fahrenheit(rows[index][1]):.1f}", "F", name, confirmed=True)
            for name, rows in smoke.probes.items()
            if name != without or minute < after
        ]
        when = seen(at_minute(minute))
        enter_readings(book.operator, load.place, load, figures, when)
        if each is not None:
            each(minute)


def heat(book: Book, lot: Lot, minute: int) -> Judged:
    return book.judged(lot, "smoke", at_minute(minute))["smoke-heat"]


def begun(book: Book) -> tuple[Lot, Load]:
    lot = book.open_lot()
    return lot, book.start("smoke", "Smokehouse 1", FIRST, lot)


@pytest.mark.parametrize("silent", [True, False], ids=["it falls silent", "it reads the air"])
def test_a_probe_pulled_from_the_coldest_fish_makes_nothing_milder(
    book: Book, smoke: Any, silent: bool
) -> None:
    lot, load = begun(book)
    gone = coldest(smoke)
    seen_so_far: dict[int, Judged] = {}

    def note(minute: int) -> None:
        seen_so_far[minute] = heat(book, lot, minute)

    smoke_on(book, load, smoke, gone if silent else "", PULLED_MIN, note)
    before = [one for minute, one in seen_so_far.items() if minute < PULLED_MIN]
    after = [one for minute, one in seen_so_far.items() if minute >= PULLED_MIN]
    assert {one.verdict for one in before} == {Verdict.PENDING}
    assert len(after) > 5
    held = before[-1].finding.numbers["maintained_ms"]
    for one in after:
        assert one.verdict.rank >= before[-1].verdict.rank
        assert one.finding.numbers["maintained_ms"] <= held
    book.end(load, at_minute(LAST_MIN + 5))
    over = heat(book, lot, LAST_MIN + 6)
    assert over.verdict is Verdict.DEVIATION
    assert over.finding.probe == gone
    assert Deviation.objects.get(limit_id="smoke-heat").lot == lot


def test_once_a_person_says_why_it_left_the_others_govern_and_it_is_printed(
    book: Book, smoke: Any
) -> None:
    lot, load = begun(book)
    gone = coldest(smoke)

    def say(minute: int) -> None:
        if minute - EVERY_MIN < PULLED_MIN <= minute:
            when = seen(at_minute(minute), at_minute(minute + 2))
            say_probe_left(book.operator, load, gone, when, "slid out as the rack was turned")

    smoke_on(book, load, smoke, gone, PULLED_MIN, say)
    judged = heat(book, lot, LAST_MIN)
    assert judged.verdict.rank < Verdict.PENDING.rank, judged.finding
    assert judged.finding.probe != gone
    assert not judged.judgement.rests_on_late
    book.end(load, at_minute(LAST_MIN + 5))
    assert heat(book, lot, LAST_MIN + 6).verdict is not Verdict.DEVIATION
    assert not Deviation.objects.filter(limit_id="smoke-heat").exists()
    said = f"{gone} left at 4 Mar 2026 {at_minute(195)} −05:00 (OO, said "
    assert said in paper(record_of(book, lot))


def test_what_is_said_of_a_probe_late_counts_once_it_is_accepted(book: Book, smoke: Any) -> None:
    lot, load = begun(book)
    gone = coldest(smoke)
    smoke_on(book, load, smoke, gone, PULLED_MIN)
    book.end(load, at_minute(LAST_MIN + 5))
    assert heat(book, lot, LAST_MIN + 6).verdict is Verdict.DEVIATION
    when = seen(at_minute(PULLED_MIN), at_minute(LAST_MIN + 20), "forgotten")
    say_probe_left(book.operator, load, gone, when, "slid out as the rack was turned")
    judged = heat(book, lot, LAST_MIN + 21)
    assert (judged.verdict, judged.judgement.rests_on_late) == (Verdict.DEVIATION, True)
    accept_late(book.reviewer, [ProbeLeft.objects.get()], "two saw it", moment(at_minute(360)))
    assert heat(book, lot, 361).verdict is not Verdict.DEVIATION
