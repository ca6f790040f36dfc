"""How long the records of a lot are kept: 21 CFR 123.9(b), and 1.1455(d) where it applies."""

import copy
from datetime import date

import pytest

from lots.core.retention import Keep
from lots.entries.note import write_note
from lots.entries.plan import begin_draft, publish_plan, withdraw_plan
from lots.entries.record import issue_record
from lots.models.lot import Lot
from lots.models.plan import PlanVersion
from lots.queries.house import establishment
from lots.queries.plans import starting_plans
from lots.queries.retention import STUDY, keep_until
from tests.entries.roads import finished
from tests.make import Book, make_book, moment, seen

FROZEN, CHILLED = "hot-smoked-vacuum-frozen", "hot-smoked-air-chilled"


def rules_of(lot: Lot) -> dict[str, Keep]:
    """The rules on the lot by their source."""
    house = establishment()
    assert house is not None
    return {one.source: one for one in keep_until(Lot.objects.get(pk=lot.pk), house).rules}


def longest(lot: Lot) -> date:
    house = establishment()
    assert house is not None
    return keep_until(Lot.objects.get(pk=lot.pk), house).day


@pytest.mark.parametrize(
    ("stem", "received", "by_storage", "by_traceability"),
    [
        (FROZEN, "2026-03-04 23:30", "2028-03-04", "2028-03-04"),
        (CHILLED, "2026-03-04 23:30", "2027-03-04", "2028-03-04"),
        (CHILLED, "2027-02-28 07:00", "2028-02-28", "2029-02-28"),
        (CHILLED, "2028-02-29 07:00", "2029-03-01", "2030-03-01"),
        (FROZEN, "2028-02-29 07:00", "2030-03-01", "2030-03-01"),
        (CHILLED, "2028-03-01 07:00", "2029-03-01", "2030-03-01"),
        (CHILLED, "2027-12-31 23:59", "2028-12-31", "2029-12-31"),
    ],
)
@pytest.mark.django_db
def test_the_days_until_which_a_lot_is_kept(
    stem: str, received: str, by_storage: str, by_traceability: str
) -> None:
    lot = make_book(stem).open_lot(at=received)
    found = rules_of(lot)
    assert found["21 CFR 123.9(b)(1)"].day == date.fromisoformat(by_storage)
    assert found["21 CFR 1.1455(d)"].day == date.fromisoformat(by_traceability)
    assert longest(lot) == max(one.day for one in found.values())


def test_what_is_entered_later_is_kept_as_long_from_its_own_day(book: Book) -> None:
    lot = finished(book)
    assert longest(lot) == date(2028, 3, 4)
    write_note(book.operator, None, lot, "A pack was torn.", seen("2026-05-20 10:00"))
    assert longest(lot) == date(2028, 5, 20)
    assert rules_of(lot)["21 CFR 123.9(b)(1)"].counted_from == "the last entry about it"


def test_a_record_printed_again_makes_nothing_younger(book: Book) -> None:
    lot = finished(book)
    house = establishment()
    assert house is not None
    issue_record(book.reviewer, lot, house, moment("2027-01-10 10:00"))
    assert longest(lot) == date(2028, 3, 4)


def test_whether_the_traceability_rule_applies_is_said_to_be_open(book: Book) -> None:
    note = rules_of(book.open_lot())["21 CFR 1.1455(d)"].note
    assert "to be confirmed" in note


def with_study(book: Book, words: str, at: str = "2026-03-01 12:00") -> PlanVersion:
    content = copy.deepcopy(starting_plans()[CHILLED])
    content["title"] = "Chilled with a study (invented)"
    content["product"]["process_study"] = words
    draft = begin_draft(book.coordinator, content["title"], content, None, moment(at))
    return publish_plan(book.coordinator, draft, "another study", moment(at))


def test_a_plan_without_a_study_asks_nothing_about_one(book: Book) -> None:
    assert "21 CFR 123.9(b)(2)" not in rules_of(book.open_lot())


def test_a_study_is_kept_two_years_from_the_last_lot_that_used_it(book: Book) -> None:
    book.version = with_study(book, "Invented study 7")
    first = book.open_lot("ST-1", at="2026-03-04 07:00")
    assert rules_of(first)["21 CFR 123.9(b)(2)"].day == date(2028, 3, 4)
    book.open_lot("ST-2", at="2026-09-30 07:00")
    kept = rules_of(first)["21 CFR 123.9(b)(2)"]
    assert (kept.day, kept.what) == (date(2028, 9, 30), STUDY)
    assert "moves on" in kept.note
    assert longest(first) == date(2028, 9, 30)


def test_another_study_does_not_lengthen_the_first(book: Book) -> None:
    book.version = with_study(book, "Invented study 7")
    first = book.open_lot("ST-1", at="2026-03-04 07:00")
    book.version = with_study(book, "Invented study 8", "2026-06-01 12:00")
    book.open_lot("ST-2", at="2026-09-30 07:00")
    kept = rules_of(first)["21 CFR 123.9(b)(2)"]
    assert (kept.day, kept.note) == (date(2028, 3, 4), "")


def test_the_study_of_a_withdrawn_plan_is_not_in_use(book: Book) -> None:
    book.version = with_study(book, "Invented study 7")
    lot = book.open_lot("ST-1", at="2026-03-04 07:00")
    withdraw_plan(book.coordinator, book.version.plan, "no more", moment("2026-04-01 09:00"))
    assert rules_of(lot)["21 CFR 123.9(b)(2)"].note == ""
