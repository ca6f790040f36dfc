"""A probe that left its load before the step was over: silent, said in time, said late, back again."""

from collections.abc import Iterable

import pytest

from lots.core.limits import Verdict
from lots.entries.load import say_probe_left
from lots.entries.reading import accept_late, enter_readings
from lots.entries.readings import Figure
from lots.entries.refusals import NotAllowed, Refused
from lots.models.book import BookLine
from lots.models.deviation import Deviation, DeviationNote
from lots.models.lot import Load, Lot, ProbeLeft
from lots.queries.judgements import Judged, judge_lot
from lots.queries.late_rows import late_rows, rows_named
from tests.entries.roads import csv, imported
from tests.make import Book, moment, seen

COLDEST, OTHERS = "fish 4", ("fish 1", "fish 2", "fish 3")
# rounds by hand: the others hold their heat from 11:00 to 11:45, the coldest is 10 °F behind
HEAT = {"10:05": 60.0, "10:25": 100.0, "10:45": 130.0, "11:00": 148.0, "11:15": 149.0, "11:30": 150.0,
        "11:45": 149.5}  # fmt: skip
PULLED = "11:05"  # half way: the last round with the coldest was at 11:00, at 138 °F
WHY = "slid out as the rack was turned"


class Smoke:
    """Four probes in the fish of a hot smoke."""

    def __init__(self, book: Book) -> None:
        self.book, self.lot = book, book.open_lot()
        self.load: Load = book.start("smoke", "Smokehouse 1", "10:00", self.lot)

    def round(self, at: str, figures: dict[str, float]) -> None:
        read = [Figure(f"{value:.1f}", "F", probe) for probe, value in figures.items()]
        enter_readings(self.book.operator, self.load.place, self.load, read, seen(at))

    def rounds(self, since: str = "10:00", until: str = "12:00", coldest: bool = False) -> None:
        for at, value in HEAT.items():
            if since <= at < until:
                behind = {COLDEST: value - 10} if coldest or at < PULLED else {}
                self.round(at, dict.fromkeys(OTHERS, value) | behind)

    def say(self, at: str, entered: str, probe: str = COLDEST, reason: str = WHY) -> ProbeLeft:
        return say_probe_left(self.book.operator, self.load, probe, seen(at, entered), reason)

    def end(self, at: str = "11:50") -> None:
        self.book.end(self.load, at)

    def accept(self, at: str) -> None:
        keys = [row.key for row in late_rows([self.lot.pk]) if row.kind == "left"]
        accept_late(self.book.reviewer, rows_named(keys), "two of us saw it", moment(at))

    def found(self, at: str) -> Judged:
        return self.book.judged(self.lot, "smoke", at)["smoke-heat"]


@pytest.fixture
def smoke(book: Book) -> Smoke:
    return Smoke(book)


def opened() -> list[str]:
    return list(Deviation.objects.filter(limit_id="smoke-heat").values_list("lot__code", flat=True))


def test_without_it_having_left_the_coldest_governs(smoke: Smoke) -> None:
    smoke.rounds(coldest=True)
    smoke.end()
    assert (smoke.found("11:51").verdict, smoke.found("11:51").finding.probe) == (
        Verdict.DEVIATION,
        COLDEST,
    )


def test_the_coldest_pulled_without_a_word_leaves_it_unshown_and_at_the_end_broken(
    smoke: Smoke,
) -> None:
    smoke.rounds()
    found = smoke.found("11:46")
    assert (found.verdict, found.finding.probe) == (Verdict.PENDING, COLDEST)
    assert opened() == []
    smoke.end()
    found = smoke.found("11:51")
    assert (found.verdict, found.finding.probe) == (Verdict.DEVIATION, COLDEST)
    assert opened() == ["TR-1"]


def test_once_it_is_said_in_time_the_others_govern(smoke: Smoke) -> None:
    smoke.rounds(until=PULLED)
    row = smoke.say(PULLED, "11:07")
    assert (row.probe, row.at, row.reason) == (COLDEST, moment(PULLED), WHY)
    assert smoke.found("11:08").verdict is Verdict.PENDING  # not one minute is given for it
    smoke.rounds(since=PULLED)
    found = smoke.found("11:46")
    assert found.verdict is Verdict.MET
    assert found.finding.probe in OTHERS
    assert not found.judgement.rests_on_late
    assert late_rows([smoke.lot.pk]) == []
    smoke.end()
    assert smoke.found("11:51").verdict is Verdict.MET
    assert opened() == []


def test_said_in_time_after_the_others_had_shown_it_they_govern_at_once(smoke: Smoke) -> None:
    smoke.rounds()
    smoke.round("11:40", {COLDEST: 141.0})
    assert smoke.found("11:46").verdict is Verdict.PENDING
    smoke.say("11:44", "11:47")
    assert smoke.found("11:48").verdict is Verdict.MET


def test_said_late_it_stays_a_deviation_until_it_is_accepted(smoke: Smoke) -> None:
    smoke.rounds()
    smoke.end()
    smoke.say(PULLED, "12:10")
    found = smoke.found("12:11")
    assert (found.verdict, found.judgement.rests_on_late) == (Verdict.DEVIATION, True)
    assert opened() == ["TR-1"]
    assert not DeviationNote.objects.exists()
    (waiting,) = late_rows([smoke.lot.pk])
    assert (waiting.kind, waiting.why, waiting.late_ms) == ("left", WHY, 65 * 60_000)
    smoke.accept("12:20")
    found = smoke.found("12:21")
    assert (found.verdict, found.judgement.rests_on_late) == (Verdict.MET, False)
    assert DeviationNote.objects.get().kind == "not reproduced"


def test_said_late_while_the_smoke_goes_on_it_breaks_at_the_end_until_it_is_accepted(
    smoke: Smoke,
) -> None:
    smoke.rounds()
    smoke.say(PULLED, "11:47")
    assert smoke.found("11:48").judgement.rests_on_late
    smoke.end()
    found = smoke.found("11:51")
    assert (found.verdict, found.judgement.rests_on_late) == (Verdict.DEVIATION, True)
    assert opened() == ["TR-1"]
    smoke.accept("11:55")
    assert smoke.found("11:56").verdict is Verdict.MET


@pytest.mark.parametrize(("said", "waits"), [("11:20", []), ("11:21", ["left"])])
def test_a_quarter_of_an_hour_is_in_time_and_a_minute_more_is_late(
    smoke: Smoke, said: str, waits: list[str]
) -> None:
    smoke.rounds(until="11:16")
    smoke.say(PULLED, said)
    assert [row.kind for row in late_rows([smoke.lot.pk])] == waits
    smoke.rounds(since="11:22")
    smoke.end()
    verdict = Verdict.DEVIATION if waits else Verdict.MET
    assert smoke.found("11:51").verdict is verdict


@pytest.mark.parametrize("said", ["11:18", "11:30"])
def test_the_running_states_say_the_same_as_folding_anew_once_it_is_said(
    smoke: Smoke, said: str
) -> None:
    smoke.rounds(until="11:16")
    smoke.round("11:16", {COLDEST: 90.0})  # nobody had seen it hang in the air
    smoke.say(PULLED, said)
    at = moment(said)
    shown = [
        [(one.limit.id, one.judgement) for one in judge_lot(smoke.lot, at, anew)]
        for anew in (False, True)
    ]
    assert shown[0] == shown[1]


def test_what_saying_so_shows_is_told_in_the_same_act(smoke: Smoke) -> None:
    smoke.rounds()
    smoke.round("11:46", {COLDEST: 141.0})
    smoke.end("11:47")
    assert opened() == ["TR-1"]
    row = smoke.say("11:47", "11:48")
    assert DeviationNote.objects.get().line_id == row.line_id


def test_two_left_of_four_are_one_too_few(smoke: Smoke) -> None:
    smoke.rounds(until=PULLED)
    smoke.say(PULLED, "11:07")
    smoke.say(PULLED, "11:08", probe="fish 3")
    for at, value in HEAT.items():
        if at > PULLED:
            smoke.round(at, {"fish 1": value, "fish 2": value})
    smoke.end()
    found = smoke.found("11:51")
    assert found.verdict is Verdict.DEVIATION
    assert "2 of 3 probes" in found.finding.figure


# --- what it broke before -------------------------------------------------------------------------


def cooling(book: Book, pages: dict[str, str]) -> tuple[Lot, Load]:
    """A lot in the cooler: "14:05 141, 15:00 100" a probe."""
    lot = book.open_lot()
    load = book.start("cool", "Cooler", "14:00", lot)
    rounds: dict[str, list[Figure]] = {}
    for probe, page in pages.items():
        for entry in page.split(", "):
            at, figure = entry.split()
            rounds.setdefault(at, []).append(Figure(figure, "F", probe))
    for at in sorted(rounds):
        enter_readings(book.operator, load.place, load, rounds[at], seen(at))
    return lot, load


def test_what_it_had_broken_before_it_left_stays_broken(book: Book) -> None:
    quick = "14:05 141, 15:00 100, 15:50 69, 16:10 60"
    slow = "14:05 141, 15:00 120, 15:50 100, 16:10 98"
    lot, load = cooling(book, dict.fromkeys(OTHERS, quick) | {COLDEST: slow})
    assert book.judged(lot, "cool", "16:11")["cooling"].verdict is Verdict.DEVIATION
    say_probe_left(book.operator, load, COLDEST, seen("16:12"), WHY)
    judged = book.judged(lot, "cool", "16:13")["cooling"]
    assert (judged.verdict, judged.finding.probe) == (Verdict.DEVIATION, COLDEST)
    assert not DeviationNote.objects.exists()


def test_what_it_had_not_broken_when_it_left_is_not_broken_by_its_leaving(book: Book) -> None:
    quick = "14:05 141, 15:00 100, 15:50 69, 16:10 60"
    lot, load = cooling(book, dict.fromkeys(OTHERS, quick) | {COLDEST: "14:05 141, 15:00 120"})
    assert book.judged(lot, "cool", "16:11")["cooling"].verdict is Verdict.DEVIATION
    say_probe_left(book.operator, load, COLDEST, seen("15:10", "16:12"), WHY)
    assert book.judged(lot, "cool", "16:13")["cooling"].verdict is Verdict.DEVIATION  # said late
    rows = rows_named([row.key for row in late_rows([lot.pk])])
    accept_late(book.reviewer, rows, "two of us saw it", moment("16:14"))
    assert book.judged(lot, "cool", "16:15")["cooling"].verdict is Verdict.PENDING


# --- refused --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("probe", "at", "entered", "reason", "field", "words"),
    [
        (COLDEST, "11:05", "11:07", " ", "reason", "Say why"),
        ("fish 9", "11:05", "11:07", WHY, "probe", "No reading of “fish 9”"),
        ("", "11:05", "11:07", WHY, "probe", "No reading"),
        (COLDEST, "10:04", "11:51", WHY, "observed_at", "had not been read by then"),
        (COLDEST, "11:51", "11:55", WHY, "observed_at", "had ended by then"),
        (COLDEST, "12:30", "11:55", WHY, "observed_at", ""),
    ],
)
def test_what_cannot_be_is_refused_and_writes_nothing(
    smoke: Smoke, probe: str, at: str, entered: str, reason: str, field: str, words: str
) -> None:
    smoke.rounds()
    smoke.end()
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        smoke.say(at, entered, probe, reason)
    assert words in refusal.value.fields[field]
    assert (BookLine.objects.count(), ProbeLeft.objects.count()) == (before, 0)
    assert smoke.found("12:00").verdict is Verdict.DEVIATION


def test_a_probe_leaves_at_its_first_reading_or_at_the_end_at_the_earliest_and_latest(
    smoke: Smoke,
) -> None:
    smoke.rounds()
    smoke.end()
    smoke.say("10:05", "11:55")
    smoke.say("11:50", "11:55", probe="fish 1")
    assert ProbeLeft.objects.count() == 2


def test_it_is_said_once(smoke: Smoke) -> None:
    smoke.rounds(until=PULLED)
    smoke.say(PULLED, "11:07")
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        smoke.say(PULLED, "11:08", reason="fell out")
    assert WHY in refusal.value.fields["probe"]
    assert BookLine.objects.count() == before


def test_only_an_operator_says_it(smoke: Smoke) -> None:
    smoke.rounds(until=PULLED)
    for person in (smoke.book.reviewer, smoke.book.coordinator, smoke.book.inspector):
        with pytest.raises(NotAllowed):
            say_probe_left(person, smoke.load, COLDEST, seen(PULLED, "11:07"), WHY)
    assert not ProbeLeft.objects.exists()


# --- its logger goes on ---------------------------------------------------------------------------

MINUTES = 101  # a reading a minute from 10:05 to 11:45
NAMES = {1: "fish 1", 2: "fish 2", 3: "fish 3", 4: COLDEST}


def core(minute: int, behind: float = 0) -> float:
    """The middle of a fish: 60 °F at 10:05, 149 °F and more from 11:00 on, always rising a little."""
    return min(60 + minute * 89 / 55, 149 + (minute - 55) * 0.05) - behind


def logged(until: int, *columns: Iterable[float], since: int = 0) -> bytes:
    shown = [[f"{value:.2f}" for value in column][since:until] for column in columns]
    return csv(f"2026-03-04 {10 + (5 + since) // 60}:{(5 + since) % 60:02d}:00", 60, *shown)


def fell(air: float, behind: float = 10) -> list[float]:
    """A probe in the coldest fish until 11:05, then in air that drifts a little."""
    return [core(n, behind) if n < 60 else air + (n % 7) * 0.3 for n in range(MINUTES)]


def fish(behind: float = 0) -> list[float]:
    return [core(n, behind) for n in range(MINUTES)]


@pytest.mark.parametrize("air", [70.0, 183.0])
def test_air_that_its_logger_wrote_until_it_was_said_counts_neither_for_nor_against(
    smoke: Smoke, air: float
) -> None:
    columns = fish(), fish(0.2), fish(0.4), fell(air)
    imported(smoke.book, logged(MINUTES, *columns), "11:46", smoke.load.place, smoke.load, NAMES)
    smoke.say(PULLED, "11:47")
    smoke.accept("11:48")
    found = smoke.found("11:49")
    assert found.verdict is Verdict.MET
    assert found.finding.probe in OTHERS
    smoke.end()
    assert smoke.found("11:51").verdict is Verdict.MET


def test_hot_air_gives_no_credit_and_that_counts_at_once_however_late_it_is_said(
    smoke: Smoke,
) -> None:
    columns = fish(), fish(0.2), fell(183)
    imported(smoke.book, logged(MINUTES, *columns), "11:46", smoke.load.place, smoke.load, NAMES)
    smoke.end()
    smoke.say(PULLED, "12:10", probe="fish 3")
    found = smoke.found("12:11")
    assert found.verdict is Verdict.DEVIATION
    assert "2 of 3 probes" in found.finding.figure
    assert opened() == ["TR-1"]


def test_hot_air_in_a_file_that_comes_after_it_was_said_gives_no_credit(smoke: Smoke) -> None:
    columns = fish(), fish(0.2), fell(183)
    names = {1: "fish 1", 2: "fish 2", 3: "fish 3"}
    place = smoke.load.place
    imported(smoke.book, logged(61, *columns), "11:06", place, smoke.load, names)
    smoke.say(PULLED, "11:07", probe="fish 3")
    imported(smoke.book, logged(MINUTES, *columns), "11:46", place, smoke.load, names)
    assert smoke.found("11:47").verdict is Verdict.PENDING
    smoke.end()
    assert smoke.found("11:51").verdict is Verdict.DEVIATION


def test_cold_air_in_a_file_that_comes_after_it_was_said_is_explained_by_saying_it_again(
    smoke: Smoke,
) -> None:
    columns = fish(), fish(0.2), fish(0.4), fell(70)
    place = smoke.load.place
    imported(smoke.book, logged(61, *columns), "11:06", place, smoke.load, NAMES)
    smoke.say(PULLED, "11:07")
    imported(smoke.book, logged(MINUTES, *columns), "11:46", place, smoke.load, NAMES)
    smoke.end()
    assert smoke.found("11:51").verdict is Verdict.DEVIATION
    smoke.say(PULLED, "11:55", reason="its logger went on in the air")
    assert smoke.found("11:56").verdict is Verdict.DEVIATION  # the second word came late
    smoke.accept("11:58")
    assert smoke.found("11:59").verdict is Verdict.MET


# --- back again -----------------------------------------------------------------------------------


def test_a_reading_after_it_was_said_means_that_it_is_back_and_it_is_asked_of_it_again(
    smoke: Smoke,
) -> None:
    smoke.rounds(until=PULLED)
    smoke.say(PULLED, "11:07")
    smoke.round("11:10", {COLDEST: 139.0})
    smoke.rounds(since=PULLED)
    found = smoke.found("11:46")
    assert (found.verdict, found.finding.probe) == (Verdict.PENDING, COLDEST)
    smoke.end()
    assert smoke.found("11:51").verdict is Verdict.DEVIATION
    assert opened() == ["TR-1"]


def test_back_again_nothing_that_it_reads_is_to_its_credit(smoke: Smoke) -> None:
    smoke.rounds(until=PULLED)
    smoke.say(PULLED, "11:07")
    for at, value in HEAT.items():
        if at > PULLED:  # as hot as the others, or hot air: nobody can tell the two apart
            smoke.round(at, dict.fromkeys((*OTHERS, COLDEST), value))
    found = smoke.found("11:46")
    assert (found.verdict, found.finding.probe) == (Verdict.PENDING, COLDEST)
    smoke.end()
    assert smoke.found("11:51").verdict is Verdict.DEVIATION


def test_back_again_it_leaves_again(smoke: Smoke) -> None:
    smoke.rounds(until=PULLED)
    smoke.say(PULLED, "11:07")
    smoke.round("11:10", {COLDEST: 139.0})
    smoke.say("11:12", "11:13", reason="out again")
    smoke.rounds(since=PULLED)
    assert smoke.found("11:46").verdict is Verdict.MET
    smoke.end()
    assert smoke.found("11:51").verdict is Verdict.MET
