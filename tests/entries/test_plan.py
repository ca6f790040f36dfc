"""Drafts and versions of a plan, through the entries."""

import json
from typing import Any

import pytest

from lots.entries import plan as entries
from lots.entries.book import act, canonical, sha256
from lots.entries.refusals import Changed, NotAllowed, Refused
from lots.models.book import BookLine
from lots.models.people import RightGiven
from lots.models.plan import Plan, PlanVersion
from lots.models.scratch import PlanDraft
from lots.queries.plans import LONGEST_TITLE, bars, goes_to, newest_versions, starting_plans
from tests.make import Book, moment

NOW = moment("2026-03-04 10:00")


def content_of(title: str = "Trial", **changes: Any) -> dict[str, Any]:
    return {**starting_plans()["hot-smoked-vacuum-frozen"], "title": title, **changes}


def begun(book: Book, content: dict[str, Any]) -> PlanDraft:
    return entries.begin_draft(book.coordinator, content["title"], content, None, NOW)


def written() -> tuple[int, int, int]:
    return BookLine.objects.count(), Plan.objects.count(), PlanVersion.objects.count()


def test_a_draft_is_no_line_of_the_book(book: Book) -> None:
    before = written()
    draft = begun(book, content_of())
    entries.save_draft(book.coordinator, draft, "Trial", content_of(species=[]), NOW)
    entries.drop_draft(book.coordinator, draft)
    assert written() == before


def test_a_draft_keeps_what_has_faults(book: Book) -> None:
    draft = begun(book, content_of())
    wrong = content_of(species=[{"code": "??", "name": ""}])
    entries.save_draft(book.coordinator, draft, "Trial", wrong, NOW)
    assert json.loads(PlanDraft.objects.get().content) == wrong


def test_a_plan_with_faults_is_refused_beside_each_field(book: Book) -> None:
    draft = begun(book, content_of(species=[]))
    before = written()
    with pytest.raises(Refused) as refusal:
        entries.publish_plan(book.coordinator, draft, "", NOW)
    assert "species" in refusal.value.fields
    assert written() == before


def test_a_title_too_long_to_sign_is_refused(book: Book) -> None:
    draft = begun(book, content_of("x" * LONGEST_TITLE))
    assert entries.publish_plan(book.coordinator, draft, "", NOW).number == 1
    draft = begun(book, content_of("x" * (LONGEST_TITLE + 1)))
    with pytest.raises(Refused) as refusal:
        entries.publish_plan(book.coordinator, draft, "", NOW)
    assert list(refusal.value.fields) == ["title"]


@pytest.mark.parametrize(
    ("path", "longest"),
    [
        ("product.name", 200),
        ("species.0.name", 120),
        ("steps.0.id", 60),
        ("control_points.0.id", 60),
        ("control_points.0.limits.0.id", 120),
        ("control_points.0.limits.0.what", 200),
    ],
)
def test_a_text_too_long_for_the_rows_that_name_it_is_refused(
    path: str, longest: int, book: Book
) -> None:
    """SQLite would keep it; PostgreSQL would fail at the first lot."""

    def barred(letters: int) -> bool:
        content = json.loads(json.dumps(content_of()))
        row: Any = content
        *way, last = path.split(".")
        for key in way:
            row = row[int(key)] if key.isdigit() else row[key]
        row[last] = "x" * letters
        return any(fault.text == f"Keep this within {longest} letters." for fault in bars(content))

    assert barred(longest + 1)
    assert not barred(longest)


def test_a_version_holds_the_bytes_that_were_signed(book: Book) -> None:
    content = content_of()
    version = entries.publish_plan(book.coordinator, begun(book, content), "", NOW)
    assert version.content == canonical(content)
    assert version.content_sha256 == sha256(canonical(content))
    assert version.signature.what == "plan Trial, version 1"


def test_a_plan_of_the_same_title_becomes_the_next_version(book: Book) -> None:
    title = book.version.plan.title
    draft = begun(book, content_of(title))
    assert goes_to(draft) == (book.version.plan, 2)
    with pytest.raises(Refused) as refusal:
        entries.publish_plan(book.coordinator, draft, " ", NOW)
    assert list(refusal.value.fields) == ["change"]
    version = entries.publish_plan(book.coordinator, draft, "Begun anew.", NOW)
    assert (version.number, version.signature.meaning) == (2, "accepted as changed")
    assert version in newest_versions() and book.version not in newest_versions()


def test_a_draft_stored_by_somebody_else_is_not_written_over(book: Book) -> None:
    draft = begun(book, content_of())
    other = PlanDraft.objects.get(pk=draft.pk)
    entries.save_draft(book.coordinator, other, "Trial", content_of(species=[]), NOW)
    with pytest.raises(Changed):
        entries.save_draft(book.coordinator, draft, "Trial", content_of(steps=[]), NOW)
    assert json.loads(PlanDraft.objects.get().content)["species"] == []


def test_a_draft_changed_after_it_was_read_is_not_signed(book: Book) -> None:
    draft = begun(book, content_of())
    other = PlanDraft.objects.get(pk=draft.pk)
    changed = content_of()
    changed["product"] = {**changed["product"], "name": "Another name"}
    entries.save_draft(book.coordinator, other, "Trial", changed, NOW)
    before = written()
    with pytest.raises(Changed):
        entries.publish_plan(book.coordinator, draft, "", NOW)
    assert written() == before


def test_a_draft_is_published_once(book: Book) -> None:
    draft = begun(book, content_of())
    again = PlanDraft.objects.get(pk=draft.pk)
    entries.publish_plan(book.coordinator, draft, "", NOW)
    before = written()
    with pytest.raises(Changed):
        entries.publish_plan(book.coordinator, again, "", NOW)
    assert written() == before


def test_a_coordinator_without_training_cannot_sign_and_no_plan_is_left(book: Book) -> None:
    with act("right given", book.keeper, NOW) as writing:  # as an older book might hold it
        writing.write(RightGiven(person=book.operator, right="coordinator"))
    draft = entries.begin_draft(book.operator, "Trial", content_of(), None, NOW)
    before = written()
    with pytest.raises(Refused, match=r"21 CFR 123\.10"):
        entries.publish_plan(book.operator, draft, "", NOW)
    assert written() == before


@pytest.mark.parametrize("who", ["operator", "reviewer", "inspector", "keeper"])
def test_only_a_coordinator_writes_plans(who: str, book: Book) -> None:
    person, draft = getattr(book, who), begun(book, content_of())
    before = written()
    with pytest.raises(NotAllowed):
        entries.begin_draft(person, "Mine", content_of(), None, NOW)
    with pytest.raises(NotAllowed):
        entries.save_draft(person, draft, "Mine", content_of(), NOW)
    with pytest.raises(NotAllowed):
        entries.publish_plan(person, draft, "", NOW)
    with pytest.raises(NotAllowed):
        entries.drop_draft(person, draft)
    with pytest.raises(NotAllowed):
        entries.withdraw_plan(person, book.version.plan, "Because.", NOW)
    assert (written(), PlanDraft.objects.count()) == (before, 1)


def test_a_withdrawn_plan_takes_no_new_version_and_is_not_withdrawn_twice(book: Book) -> None:
    entries.withdraw_plan(book.coordinator, book.version.plan, "Given up.", NOW)
    assert book.version not in newest_versions()
    before = written()
    with pytest.raises(Refused, match="already withdrawn"):
        entries.withdraw_plan(book.coordinator, book.version.plan, "Again.", NOW)
    content = json.loads(book.version.content)
    draft = entries.begin_draft(book.coordinator, "x", content, book.version, NOW)
    with pytest.raises(Refused, match="withdrawn"):
        entries.publish_plan(book.coordinator, draft, "A change.", NOW)
    assert written() == before


def test_withdrawing_asks_for_a_reason(book: Book) -> None:
    with pytest.raises(Refused) as refusal:
        entries.withdraw_plan(book.coordinator, book.version.plan, "  ", NOW)
    assert list(refusal.value.fields) == ["reason"]


def test_a_species_on_no_list_bars_publishing(book: Book) -> None:
    content = content_of()
    content["species"] = [{**content["species"][0], "code": "ZZZ"}]
    with pytest.raises(Refused) as refusal:
        entries.publish_plan(book.coordinator, begun(book, content), "", NOW)
    assert list(refusal.value.fields) == ["species.0.code"]
