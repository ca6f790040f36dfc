"""The reassessment of a plan: due, asked for, signed."""

import json

import pytest

from lots.core.units import MS_PER_DAY
from lots.entries import deviation as deviations
from lots.entries import plan as plans
from lots.entries.reassess import CAUSES, ask_reassessment, sign_reassessment
from lots.entries.refusals import Changed, NotAllowed, Refused
from lots.models.book import BookLine
from lots.models.deviation import Deviation
from lots.models.plan import PlanVersion
from lots.queries.reassess import Standing, standing
from tests.entries.roads import brined, smoking
from tests.make import Book, moment

NOW = moment("2026-03-05 10:00")
YEAR = 365 * MS_PER_DAY


def stands(book: Book, now: int = NOW) -> Standing:
    return standing(book.version.plan, now)


def ask(book: Book, at: int = NOW) -> None:
    ask_reassessment(book.operator, book.version.plan, "material", "Trout of another farm.", at)


def sign(book: Book, outcome: str = "no change", at: int = NOW) -> None:
    sign_reassessment(book.coordinator, book.version, outcome, "All of it.", at)


def second(book: Book) -> PlanVersion:
    content = json.loads(book.version.content)
    draft = plans.begin_draft(book.coordinator, "x", content, book.version, NOW)
    return plans.publish_plan(book.coordinator, draft, "Looked at anew.", NOW)


def test_a_plan_is_due_a_year_after_its_version_was_signed(book: Book) -> None:
    signed = book.version.signature.at
    assert stands(book).due.at == signed + YEAR
    assert stands(book, signed + YEAR).state == "later"
    assert stands(book, signed + YEAR + 1).state == "overdue"


def test_signing_it_without_a_change_begins_the_year_anew(book: Book) -> None:
    sign(book)
    found = stands(book, NOW + YEAR)
    assert (found.state, found.due.at) == ("later", NOW + YEAR)
    assert found.signature.what.startswith("reassessment of plan")
    assert found.signature.printed_name == "Cora Coordinator"
    assert "INV-CC" in found.signature.training


def test_a_change_asks_for_it_at_once_until_it_is_signed(book: Book) -> None:
    ask(book)
    found = stands(book)
    assert (found.state, [one.what for one in found.asked]) == ("asked", ["Trout of another farm."])
    sign(book)
    assert (stands(book).state, stands(book).asked) == ("later", [])
    ask(book)  # the same moment as the signing, but after it in the book
    assert stands(book).state == "asked"


def test_publishing_a_version_counts_as_reassessed(book: Book) -> None:
    ask(book)
    version = second(book)
    found = stands(book)
    assert (found.state, found.newest, found.due.at) == ("later", version, NOW + YEAR)


def test_a_plan_found_wanting_is_to_be_changed_until_the_next_version_is_signed(book: Book) -> None:
    sign(book, "change")
    assert stands(book).state == "to change" and stands(book).wanted
    second(book)
    assert stands(book).state == "later"


def test_a_corrective_action_that_names_a_reassessment_is_listed_until_it_is_signed(
    book: Book,
) -> None:
    one = book.open_lot()
    brined(book, one)
    book.end(smoking(book, one, "140"), "12:48")
    found = Deviation.objects.first()
    assert found is not None
    action = deviations.Action(
        plan_followed=False, fish="held", control_restored="mended", cause="burner",
        segregated="freezer", acceptability_by="CC", reassessment_by="CC",
        reassessment_due="2026-03-20",
    )  # fmt: skip
    deviations.take_action(book.reviewer, found, action, moment("13:00"), moment("13:00"))
    assert [each.reassessment_due for each in stands(book).actions] == ["2026-03-20"]
    sign(book)
    assert stands(book).actions == []


@pytest.mark.parametrize(
    ("typed", "field"),
    [(("weather", "x"), "cause"), (("pack", "  "), "what")],
)
def test_a_request_without_a_cause_or_words_is_refused(
    book: Book, typed: tuple[str, str], field: str
) -> None:
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        ask_reassessment(book.reviewer, book.version.plan, *typed, NOW)
    assert list(refusal.value.fields) == [field]
    assert BookLine.objects.count() == before


def test_material_method_pack_and_use_can_be_named() -> None:
    assert {"material", "method", "pack", "use"} <= set(CAUSES)


def test_an_inspector_asks_for_nothing_and_only_the_coordinator_signs(book: Book) -> None:
    with pytest.raises(NotAllowed):
        ask_reassessment(book.inspector, book.version.plan, "pack", "x", NOW)
    for person in (book.operator, book.reviewer, book.keeper):
        with pytest.raises(NotAllowed):
            sign_reassessment(person, book.version, "no change", "x", NOW)


@pytest.mark.parametrize(
    ("typed", "field"),
    [(("perhaps", "x"), "outcome"), (("change", " "), "considered")],
)
def test_a_reassessment_without_outcome_or_ground_is_refused(
    book: Book, typed: tuple[str, str], field: str
) -> None:
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        sign_reassessment(book.coordinator, book.version, *typed, NOW)
    assert list(refusal.value.fields) == [field]
    assert BookLine.objects.count() == before


def test_only_the_newest_version_of_a_standing_plan_is_reassessed(book: Book) -> None:
    version = second(book)
    with pytest.raises(Changed):
        sign(book)
    plans.withdraw_plan(book.coordinator, version.plan, "Not made any more.", NOW)
    with pytest.raises(Refused, match="withdrawn"):
        sign_reassessment(book.coordinator, version, "no change", "x", NOW)
    with pytest.raises(Refused, match="withdrawn"):
        ask(book)


def test_a_supplier_that_is_new_since_the_signing_is_named(book: Book) -> None:
    book.open_lot("TR-1")
    assert stands(book).suppliers == []  # nothing was made before: there is nothing to compare
    sign(book)
    book.open_lot("TR-2", at="2026-03-06 07:00")
    book.open_lot("TR-3", at="2026-03-06 08:00", supplier="Invented Hollow Farm")
    book.open_lot("TR-4", at="2026-03-06 09:00", supplier="Invented Hollow Farm")
    assert [one.code for one in stands(book).suppliers] == ["TR-3"]
    sign(book, at=moment("2026-03-06 10:00"))
    assert stands(book).suppliers == []
