"""Laboratories through their entries: samples sent, reports, corrections, samples given up."""

import json
from collections.abc import Callable, Sequence

import pytest

from lots.entries.laboratory import (
    NewReport,
    PutRight,
    Sending,
    correct_report,
    enter_report,
    give_up_samples,
    send_samples,
)
from lots.entries.lot import void_lot
from lots.entries.refusals import Changed, NotAllowed, Refused, Unlikely
from lots.models.book import BookLine
from lots.models.deviation import Deviation
from lots.models.lot import LaboratoryResult, LaboratorySent, Lot
from lots.queries.evidence import laboratory_by_lot
from lots.queries.laboratory import (
    newest_reports,
    report_of,
    reports_of,
    verifications,
    waiting_of,
    waiting_samples,
)
from lots.queries.release import bars
from tests.make import Book, moment

AT = "07:30"
SALTS = {"salt": ["2.9", "3.1"], "moisture": ["62.1", "60.0"]}


@pytest.fixture
def lot(book: Book) -> Lot:
    return book.open_lot("TR-1")


def report(**figures: Sequence[str]) -> NewReport:
    by_quantity = {name.replace("_", " "): texts for name, texts in figures.items()}
    return NewReport(by_quantity, "Invented Bay Laboratory", "titration", "loin")


def enter(book: Book, lot: Lot, new: NewReport, at: str = AT) -> list[LaboratoryResult]:
    return enter_report(book.operator, lot, new, moment("07:10"), moment("07:20"), moment(at))


def values(row: LaboratoryResult) -> list[tuple[int, str, int]]:
    return [(one.number, one.as_read, one.value) for one in row.samples.order_by("number")]


def refused(entry: Callable[[], object], *fields: str) -> Refused:
    """The refusal; nothing was written."""
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        entry()
    assert set(refusal.value.fields) == set(fields)
    assert BookLine.objects.count() == before
    return refusal.value


def test_one_report_is_one_line_and_a_row_a_quantity(book: Book, lot: Lot) -> None:
    before = BookLine.objects.count()
    rows = enter(book, lot, report(salt=["2.9", "3.1"], histamine=["< 5", ""]))
    assert BookLine.objects.count() == before + 1
    assert [row.quantity for row in rows] == ["salt", "histamine"]
    assert values(rows[1]) == [(1, "< 5", 5_000_000)]
    line = BookLine.objects.get(number=rows[0].line_id)
    assert json.loads(line.content)["quantity"] == "salt, histamine"


def test_salt_and_moisture_give_each_samples_water_phase_salt(book: Book, lot: Lot) -> None:
    *_, ours = enter(book, lot, report(salt=["2.9", "", "3.1"], moisture=["62.1", "60", "60.0"]))
    assert ours.quantity == "water-phase salt"
    assert "computed" in ours.method
    # 290 ÷ 65.0 and 310 ÷ 63.1, cut downwards; the second sample has no salt
    assert values(ours) == [(1, "4.4615", 4_461_500), (3, "4.9128", 4_912_800)]
    found = laboratory_by_lot([lot])[lot.pk]["water-phase salt"]
    assert min(one.millionths for one in found) == 4_461_500


def test_one_that_is_printed_and_follows_is_not_computed_again(book: Book, lot: Lot) -> None:
    rows = enter(
        book, lot, report(salt=["2.9"], moisture=["62.1"], **{"water-phase salt": ["4.5"]})
    )
    assert [row.quantity for row in rows] == ["salt", "moisture", "water-phase salt"]


def test_one_that_does_not_follow_is_asked_about_and_both_are_kept(book: Book, lot: Lot) -> None:
    new = report(salt=["2.9"], moisture=["62.1"], **{"water-phase salt": ["5.4"]})
    asked = refused(lambda: enter(book, lot, new), "water-phase-salt-1")
    assert isinstance(asked, Unlikely)
    sure = NewReport(**{**new.__dict__, "sure": True})
    rows = enter(book, lot, sure)
    assert [values(row)[0][1] for row in rows if row.quantity == "water-phase salt"] == [
        "5.4",
        "4.4615",
    ]


@pytest.mark.parametrize(
    ("figures", "fields"),
    [
        ({}, ["figures"]),
        ({"salt": ["", " "]}, ["figures"]),
        ({"salt": ["low"]}, ["salt-1"]),
        ({"salt": ["3"], "moisture": ["97.1"]}, ["moisture-1"]),
        ({"salt": ["2", "3"], "moisture": ["60", "97.1"]}, ["moisture-2"]),
        ({"pH": ["15"], "water activity": ["0.9", "1.2"]}, ["pH-1", "water-activity-2"]),
    ],
)
def test_figures_that_cannot_be_are_refused(
    book: Book, lot: Lot, figures: dict[str, list[str]], fields: list[str]
) -> None:
    new = NewReport(figures, "Invented Bay Laboratory", sure=True)
    answer = refused(lambda: enter(book, lot, new), *fields)
    assert not isinstance(answer, Unlikely)


@pytest.mark.parametrize(
    ("sampled", "reported", "laboratory", "field"),
    [
        ("07:40", "07:40", "Bay", "sampled_at"),
        ("07:10", "07:40", "Bay", "reported_at"),
        ("07:20", "07:10", "Bay", "reported_at"),
        ("07:10", "07:20", "  ", "laboratory"),
    ],
)  # fmt: skip
def test_a_report_of_days_or_a_laboratory_that_cannot_be_is_refused(
    book: Book, lot: Lot, sampled: str, reported: str, laboratory: str, field: str
) -> None:
    fields = {"sampled_at", "reported_at"} if sampled == "07:40" else {field}
    new = NewReport(SALTS, laboratory)
    refused(
        lambda: enter_report(
            book.operator, lot, new, moment(sampled), moment(reported), moment(AT)
        ),
        *fields,
    )


def test_the_same_report_sent_twice_is_taken_once(book: Book, lot: Lot) -> None:
    at = moment(AT)
    first = enter_report(book.operator, lot, report(**SALTS), at, at, at, "key-1")
    again = enter_report(book.operator, lot, report(**SALTS), at, at, at, "key-1")
    assert [row.pk for row in first] == [row.pk for row in again]
    assert LaboratoryResult.objects.count() == 3


def test_a_voided_lot_takes_no_report_and_sends_no_samples(book: Book, lot: Lot) -> None:
    void_lot(book.operator, lot, "typed twice", moment(AT))
    refused(lambda: enter(book, lot, report(**SALTS)), "")
    new = Sending("Bay", ["histamine"])
    refused(lambda: send_samples(book.operator, lot, new, moment(AT), moment(AT)), "")


def test_the_inspector_sends_and_enters_nothing(book: Book, lot: Lot) -> None:
    at = moment(AT)
    for entry in (
        lambda: enter_report(book.inspector, lot, report(**SALTS), at, at, at),
        lambda: send_samples(book.inspector, lot, Sending("Bay", ["histamine"]), at, at),
    ):
        with pytest.raises(NotAllowed):
            entry()


def send(book: Book, of: object, *wanted: str, at: str = "07:10") -> LaboratorySent:
    new = Sending("Invented Bay Laboratory", wanted, "loin")
    return send_samples(book.operator, of, new, moment(at), moment(AT))  # type: ignore[arg-type]


def test_samples_wait_until_all_that_was_wanted_has_come(book: Book, lot: Lot) -> None:
    sent = send(book, lot, "histamine", "water-phase salt")
    assert [one.wanted for one in waiting_of(lot)] == [["histamine", "water-phase salt"]]
    new = NewReport({"histamine": ["3"]}, "Bay", sent=sent)
    enter(book, lot, new)
    assert [one.wanted for one in waiting_samples()] == [["water-phase salt"]]
    enter(book, lot, NewReport(SALTS, "Bay", sent=sent))
    assert waiting_of(lot) == []


def test_what_was_taken_back_is_waited_for_again(book: Book, lot: Lot) -> None:
    sent = send(book, lot, "histamine")
    rows = enter(book, lot, NewReport({"histamine": ["3"], "pH": ["6"]}, "Bay", sent=sent))
    assert waiting_of(lot) == []
    put_right(book, rows[0], histamine=["4"], pH=["6"])
    assert waiting_of(lot) == []
    assert not _held(lot)
    put_right(book, rows[0], histamine=[""], pH=["6"])
    assert [one.wanted for one in waiting_of(lot)] == [["histamine"]]
    assert _held(lot)


def _held(lot: Lot) -> bool:
    return any(words.startswith("sampled for histamine") for words in bars(lot, moment(AT)))


@pytest.mark.parametrize(
    ("new", "at", "fields"),
    [
        (Sending("Bay", []), "07:10", ["wanted"]),
        (Sending("Bay", ["taste"]), "07:10", ["wanted"]),
        (Sending(" ", ["histamine"]), "07:10", ["laboratory"]),
        (Sending("Bay", ["histamine"]), "07:31", ["sampled_at"]),
    ],
)
def test_a_sending_that_says_too_little_is_refused(
    book: Book, lot: Lot, new: Sending, at: str, fields: list[str]
) -> None:
    refused(lambda: send_samples(book.operator, lot, new, moment(at), moment(AT)), *fields)


def test_a_report_does_not_answer_samples_of_another_lot(book: Book, lot: Lot) -> None:
    other = send(book, book.open_lot("TR-2"), "histamine")
    refused(lambda: enter(book, lot, NewReport(SALTS, "Bay", sent=other)), "sent")


def test_samples_that_bring_no_result_are_given_up_by_a_trained_person(
    book: Book, lot: Lot
) -> None:
    sent = send(book, lot, "histamine", "Listeria")
    enter(book, lot, NewReport({"histamine": ["3"]}, "Bay", sent=sent))
    with pytest.raises(NotAllowed):
        give_up_samples(book.operator, sent, "lost in the post", moment(AT))
    refused(lambda: give_up_samples(book.reviewer, sent, " ", moment(AT)), "reason")
    (row,) = give_up_samples(book.reviewer, sent, "lost in the post", moment(AT))
    assert (row.quantity, row.reason, row.samples.count()) == ("Listeria", "lost in the post", 0)
    assert waiting_samples() == []
    assert reports_of(lot)[0].given_up
    fresh = LaboratorySent.objects.get(pk=sent.pk)
    with pytest.raises(Changed):
        give_up_samples(book.reviewer, fresh, "again", moment(AT))


def put_right(book: Book, row: LaboratoryResult, sure: bool = False, **figures: object) -> object:
    new = PutRight(figures, "read from the wrong line", sure)  # type: ignore[arg-type]
    return correct_report(book.reviewer, row.line_id, new, moment("07:40"))


def test_a_report_is_put_right_by_new_rows_and_both_stay(book: Book, lot: Lot) -> None:
    rows = enter(book, lot, report(**SALTS))
    put_right(book, rows[0], salt=["2.4", "3.1"], moisture=SALTS["moisture"])
    one = report_of(rows[0].line_id)
    assert [(row.quantity, values(row)[0][1]) for row in one.results] == [
        ("water-phase salt", "3.7209"),  # 240 ÷ 64.5
        ("salt", "2.4"),
        ("moisture", "62.1"),
    ]
    assert [row.quantity for row in one.past] == ["water-phase salt", "salt"]
    assert {row.reason for row in one.results} == {"read from the wrong line", None}
    found = laboratory_by_lot([lot])[lot.pk]
    assert [sample.millionths for sample in found["salt"]] == [2_400_000, 3_100_000]
    assert [one.number for one in newest_reports()] == [rows[0].line_id]


def test_a_quantity_that_was_forgotten_is_added_to_its_report(book: Book, lot: Lot) -> None:
    rows = enter(book, lot, report(salt=["2.9"]))
    put_right(book, rows[0], salt=["2.9"], moisture=["62.1"])
    one = report_of(rows[0].line_id)
    assert [row.quantity for row in one.results] == ["water-phase salt", "salt", "moisture"]
    assert one.past == []


def test_a_quantity_without_figures_is_taken_back(book: Book, lot: Lot) -> None:
    rows = enter(book, lot, report(salt=["2.9"], histamine=["300"]))
    put_right(book, rows[0], salt=["2.9"], histamine=[""])
    assert "histamine" not in laboratory_by_lot([lot])[lot.pk]
    assert values(report_of(rows[0].line_id).past[0]) == [(1, "300", 300_000_000)]


def test_what_cannot_put_a_report_right_is_refused(book: Book, lot: Lot) -> None:
    rows = enter(book, lot, report(salt=["2.9"], moisture=["62.1"]))
    refused(lambda: put_right(book, rows[0], salt=["2.9"], moisture=["62.1"]), "figures")
    refused(lambda: put_right(book, rows[0], salt=["50"], moisture=["62.1"]), "moisture-1")
    new = PutRight({"salt": ["2.4"]}, " ")
    refused(lambda: correct_report(book.reviewer, rows[0].line_id, new, moment(AT)), "reason")
    with pytest.raises(NotAllowed):
        correct_report(book.operator, rows[0].line_id, PutRight({}, "x"), moment(AT))
    old = PutRight({"salt": ["2.4"]}, "x", seen=[1])
    with pytest.raises(Changed):
        correct_report(book.reviewer, rows[0].line_id, old, moment(AT))


def test_a_verification_is_of_a_plans_process_and_of_no_lot(book: Book, lot: Lot) -> None:
    plan = book.version.plan
    at = moment(AT)
    rows = enter_report(book.coordinator, plan, report(**SALTS), moment("07:10"), at, at)
    assert {(row.lot, row.plan) for row in rows} == {(None, plan)}
    assert laboratory_by_lot([lot]) == {}
    assert not Deviation.objects.exists()
    (found,) = verifications()
    assert ("water-phase salt", moment("07:10")) in [
        (row.quantity, row.sampled_at) for row in found.rows
    ]
