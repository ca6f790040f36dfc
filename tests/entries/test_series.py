"""A logger's rows put right or taken back: what is refused, what counts at once, what must be accepted."""

from collections.abc import Callable

import pytest

from lots.core.limits import Verdict
from lots.entries.reading import accept_late
from lots.entries.readings import Figure
from lots.entries.refusals import Changed, NotAllowed, Refused, Unlikely
from lots.entries.series import correct_series_reading, withdraw_import
from lots.models.book import BookLine
from lots.models.deviation import Deviation, DeviationNote
from lots.models.lot import Load, Lot
from lots.models.reading import LoggerImport, PackedSeries, SeriesCorrection, SeriesWithdrawn
from lots.queries.judgements import Judged
from lots.queries.late_rows import late_rows, rows_named
from tests.entries.roads import csv, imported
from tests.make import Book, moment, seen

PEAK = 10  # which reading of the file stands out
COLD = ["37"] * PEAK + ["37"] + ["37"] * 10
WARM = ["37"] * PEAK + ["55"] + ["37"] * 10


class Cooler:
    """A lot in the cooler, and the file of its logger: a reading a minute from 07:31."""

    def __init__(self, book: Book, figures: list[str]) -> None:
        self.book, self.data = book, csv("2026-03-04 07:31:00", 60, figures)
        self.lot: Lot = book.open_lot()
        self.load: Load = book.start("hold", "Cooler", "07:30", self.lot)
        row = imported(book, self.data, "08:00", self.load.place).row
        assert row is not None
        self.file: LoggerImport = row
        self.series: PackedSeries = row.series.get()

    def correct(self, at: str, figure: str | None, reason: str = "door open", sees: int = 0) -> int:
        right = None if figure is None else Figure(figure, "F")
        when = seen(at)
        done = correct_series_reading(
            self.book.operator, self.series, PEAK, right, reason, when, sees
        )
        return done.row.pk

    def withdraw(self, at: str) -> None:
        withdraw_import(self.book.operator, self.file, "of the other cooler", seen(at))

    def accept(self, at: str) -> None:
        keys = [row.key for row in late_rows([self.lot.pk])]
        reason = "agrees with the hand thermometer"
        accept_late(self.book.reviewer, rows_named(keys), reason, moment(at))

    def found(self, at: str) -> Judged:
        return self.book.judged(self.lot, "hold", at)["hold-cold"]


@pytest.fixture
def warm(book: Book) -> Cooler:
    return Cooler(book, WARM)


@pytest.fixture
def cold(book: Book) -> Cooler:
    return Cooler(book, COLD)


def rows() -> tuple[int, int, int]:
    return (
        BookLine.objects.count(),
        SeriesCorrection.objects.count(),
        SeriesWithdrawn.objects.count(),
    )


# --- one reading ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("index", "figure", "reason", "words"),
    [
        (PEAK, Figure("37", "F"), " ", "Say what was wrong"),
        (21, Figure("37", "F"), "x", "no such reading"),
        (-1, Figure("37", "F"), "x", "no such reading"),
        (PEAK, Figure("55", "F"), "x", "already stands"),
        (PEAK, Figure("55.00", "F"), "x", "already stands"),
        (PEAK, Figure("900", "F"), "x", ""),
        (PEAK, Figure("x", "F"), "x", ""),
        (PEAK, Figure("3", "C"), "x", "in °F, as the logger wrote it"),
    ],
)
def test_a_correction_that_cannot_be_writes_nothing(
    warm: Cooler, index: int, figure: Figure, reason: str, words: str
) -> None:
    before = rows()
    with pytest.raises(Refused) as refusal:
        correct_series_reading(
            warm.book.operator, warm.series, index, figure, reason, seen("08:05")
        )
    assert words in " ".join(refusal.value.fields.values()) + str(refusal.value)
    assert rows() == before
    assert warm.found("08:06").verdict is Verdict.DEVIATION


def test_an_unlikely_figure_is_asked_about_and_a_yes_takes_it(cold: Cooler) -> None:
    before = rows()
    with pytest.raises(Unlikely):
        cold.correct("08:05", "150")
    assert rows() == before
    yes = Figure("150", "F", confirmed=True)
    correct_series_reading(cold.book.operator, cold.series, PEAK, yes, "it did", seen("08:05"))
    assert cold.found("08:06").verdict is Verdict.DEVIATION


def test_only_an_operator_puts_a_row_right_or_takes_a_file_back(warm: Cooler) -> None:
    before = rows()
    for person in (warm.book.inspector, warm.book.reviewer, warm.book.coordinator):
        with pytest.raises(NotAllowed):
            correct_series_reading(person, warm.series, PEAK, Figure("37", "F"), "x", seen("08:05"))
        with pytest.raises(NotAllowed):
            withdraw_import(person, warm.file, "x", seen("08:05"))
    assert rows() == before


def test_a_correction_that_makes_it_milder_stays_a_deviation_until_it_is_accepted(
    warm: Cooler,
) -> None:
    opened = Deviation.objects.get(limit_id="hold-cold")
    number = warm.correct("08:05", "37.5")
    judged = warm.found("08:06")
    assert (judged.verdict, judged.judgement.rests_on_late) == (Verdict.DEVIATION, True)
    assert not DeviationNote.objects.exists()
    (waiting,) = late_rows([warm.lot.pk])
    assert waiting.key == f"logged-{number}"
    assert (waiting.old_figure, waiting.new_figure) == ("55.0 °F", "37.5 °F")
    assert (waiting.why, waiting.by, waiting.corrects) == ("door open", "OO", True)
    assert waiting.seen_at == moment("07:41")
    warm.accept("08:10")
    judged = warm.found("08:11")
    assert (judged.verdict, judged.judgement.rests_on_late) == (Verdict.MET, False)
    assert late_rows([warm.lot.pk]) == []
    assert DeviationNote.objects.get(deviation=opened).kind == "not reproduced"


def test_a_correction_that_makes_it_worse_counts_at_once(cold: Cooler) -> None:
    assert cold.found("08:01").verdict is Verdict.MET
    cold.correct("08:05", "44")
    assert cold.found("08:06").verdict is Verdict.DEVIATION
    opened = Deviation.objects.get(limit_id="hold-cold")
    assert (opened.lot, opened.broke_at) == (cold.lot, moment("07:41"))


def test_a_reading_taken_back_counts_until_it_is_accepted(warm: Cooler) -> None:
    warm.correct("08:05", None)
    assert warm.found("08:06").verdict is Verdict.DEVIATION
    before = rows()
    newest = SeriesCorrection.objects.get().pk
    with pytest.raises(Refused, match="already taken back"):
        warm.correct("08:06", None, sees=newest)
    assert rows() == before
    warm.accept("08:10")
    assert warm.found("08:11").verdict is Verdict.MET


def test_a_reading_taken_back_is_put_right_again_with_the_figure_that_it_had(cold: Cooler) -> None:
    first = cold.correct("08:05", None)
    cold.correct("08:06", "37", "it did measure", sees=first)
    assert cold.found("08:07").verdict is Verdict.MET
    assert SeriesCorrection.objects.count() == 2


def test_who_did_not_see_the_newest_correction_is_refused(warm: Cooler) -> None:
    first = warm.correct("08:05", "37.5")
    before = rows()
    for sees in (0, first + 1):
        with pytest.raises(Changed):
            warm.correct("08:06", "38", sees=sees)
    assert rows() == before
    second = warm.correct("08:06", "38", "read again", sees=first)
    assert [row.key for row in late_rows([warm.lot.pk])] == [f"logged-{second}"]


def test_a_correction_of_a_correction_counts_from_its_own_acceptance(warm: Cooler) -> None:
    first = warm.correct("08:05", "37.5")
    warm.accept("08:10")
    assert warm.found("08:11").verdict is Verdict.MET
    second = warm.correct("08:12", "44", "it was warm after all", sees=first)
    assert warm.found("08:13").verdict is Verdict.DEVIATION
    warm.correct("08:14", "37.2", "misread again", sees=second)
    # what was accepted is 37.5 and what is known is 37.2: both are within the limit
    assert warm.found("08:15").verdict is Verdict.MET


def test_a_correction_in_the_fish_is_judged_on_its_own_load(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("smoke", "Smokehouse 1", "10:00", lot)
    columns = [["148"] * 8 for _ in range(3)]
    columns[1][4] = "140"
    data = csv("2026-03-04 10:05:00", 300, *columns)
    names = {1: "tail", 2: "middle", 3: "head"}
    done = imported(book, data, "10:45", load.place, load, names)
    book.end(load, "10:46")
    assert done.row is not None

    def heat(at: str) -> Verdict:
        return book.judged(lot, "smoke", at)["smoke-heat"].verdict

    assert heat("10:47") is Verdict.DEVIATION
    row = done.row.series.get(probe="middle")
    correct_series_reading(
        book.operator, row, 4, Figure("148", "F"), "the plug was loose", seen("10:50")
    )
    assert heat("10:51") is Verdict.DEVIATION
    keys = [one.key for one in late_rows([lot.pk])]
    accept_late(book.reviewer, rows_named(keys), "both neighbours agree", moment("10:55"))
    assert heat("10:56") is Verdict.MET


# --- a whole file ---------------------------------------------------------------------------------


def test_a_withdrawal_without_a_reason_writes_nothing(warm: Cooler) -> None:
    before = rows()
    with pytest.raises(Refused) as refusal:
        withdraw_import(warm.book.operator, warm.file, "  ", seen("08:05"))
    assert "Say why" in refusal.value.fields["reason"]
    assert rows() == before


def test_a_file_taken_back_stays_a_deviation_until_it_is_accepted(warm: Cooler) -> None:
    warm.book.at_place("Cooler", "08:02 37")
    warm.withdraw("08:05")
    judged = warm.found("08:06")
    assert (judged.verdict, judged.judgement.rests_on_late) == (Verdict.DEVIATION, True)
    (waiting,) = late_rows([warm.lot.pk])
    assert (waiting.kind, waiting.why) == ("file", "of the other cooler")
    warm.accept("08:10")
    assert warm.found("08:11").verdict is Verdict.MET
    assert PackedSeries.objects.filter(source=warm.file).exists()  # nothing is deleted


@pytest.mark.parametrize(
    "again",
    [
        lambda cooler: cooler.withdraw("08:06"),
        lambda cooler: cooler.correct("08:06", "37.5"),
    ],
)
def test_a_file_taken_back_is_neither_taken_back_nor_put_right_again(
    warm: Cooler, again: Callable[[Cooler], object]
) -> None:
    warm.withdraw("08:05")
    before = rows()
    with pytest.raises(Changed, match="taken back"):
        again(warm)
    assert rows() == before


def test_what_a_file_showed_is_missing_at_once_when_it_is_taken_back(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("smoke", "Smokehouse 1", "10:00", lot)
    data = csv("2026-03-04 10:05:00", 300, *[["148"] * 8 for _ in range(3)])
    done = imported(book, data, "10:45", load.place, load, {1: "a", 2: "b", 3: "c"})
    book.end(load, "10:46")
    assert done.row is not None
    assert book.judged(lot, "smoke", "10:47")["smoke-heat"].verdict is Verdict.MET
    withdraw_import(book.operator, done.row, "of the other smokehouse", seen("10:50"))
    assert book.judged(lot, "smoke", "10:51")["smoke-heat"].verdict is Verdict.DEVIATION
    assert Deviation.objects.filter(limit_id="smoke-heat", lot=lot).exists()


@pytest.mark.parametrize("accepted", [False, True])
def test_the_same_file_sent_again_after_its_withdrawal_counts_anew(
    warm: Cooler, accepted: bool
) -> None:
    warm.withdraw("08:05")
    if accepted:
        warm.accept("08:10")
        assert warm.found("08:11").verdict is not Verdict.DEVIATION
    again = imported(warm.book, warm.data, "08:20", warm.load.place)
    assert (again.added, again.seen_before) == (21, 0)
    assert warm.found("08:21").verdict is Verdict.DEVIATION
    twice = imported(warm.book, warm.data, "08:25", warm.load.place)
    assert (twice.added, twice.row) == (0, None)


def test_what_was_put_right_in_a_file_taken_back_is_not_put_right_in_the_file_sent_again(
    warm: Cooler,
) -> None:
    warm.correct("08:05", "37.5")
    warm.accept("08:06")
    assert warm.found("08:07").verdict is Verdict.MET
    warm.withdraw("08:08")
    warm.accept("08:09")
    imported(warm.book, warm.data, "08:20", warm.load.place)
    assert warm.found("08:21").verdict is Verdict.DEVIATION


def test_a_place_s_file_taken_back_is_judged_anew_on_every_lot_that_stood_there(
    book: Book,
) -> None:
    lots = [book.open_lot(code) for code in ("TR-1", "TR-2")]
    for lot in lots:
        book.start("hold", "Cooler", "07:30", lot)
    done = imported(book, csv("2026-03-04 07:31:00", 60, WARM), "08:00", book.place("Cooler"))
    assert done.row is not None
    answer = withdraw_import(book.operator, done.row, "of the other cooler", seen("08:05"))
    assert {one.part.lot.code for one in answer.judged} == {"TR-1", "TR-2"}
    line = BookLine.objects.get(kind="logger file withdrawn")
    assert set(line.lots.values_list("lot__code", flat=True)) == {"TR-1", "TR-2"}
