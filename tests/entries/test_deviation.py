"""Corrective action and disposition, through their entries; two people deciding at once."""

import threading
from collections.abc import Callable

import pytest
from django.db import connection

from lots.entries import deviation as entry
from lots.entries.book import row_digest
from lots.entries.deviation import Action, Decision, decide, take_action
from lots.entries.refusals import Changed, NotAllowed, Refused
from lots.models.book import BookLine
from lots.models.deviation import CorrectiveAction, Deviation, Disposition
from lots.models.people import Person
from tests.entries.roads import untrained_reviewer
from tests.make import Book, make_book, moment

DONE = Action(True, "heated on until it held", "more wood", "wet wood")


@pytest.fixture
def warm(book: Book) -> Deviation:
    return warm_brine(book)


def warm_brine(book: Book) -> Deviation:
    """A deviation: the brine began at 62 °F."""
    book.start("brine", "Brine tank 1", "07:30", book.open_lot())
    book.at_place("Brine tank 1", "07:30 62")
    return Deviation.objects.get()


def refused(attempt: Callable[[], object]) -> dict[str, str]:
    """What an entry refused, after making sure that it wrote nothing."""
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        attempt()
    assert BookLine.objects.count() == before
    return refusal.value.fields


def test_an_action_is_kept_with_what_was_done(book: Book, warm: Deviation) -> None:
    row = take_action(book.operator, warm, DONE, moment("07:35"), moment("07:40"))
    assert row.plan_followed
    assert row.line.person == book.operator
    assert row_digest(row) in row.line.content


@pytest.mark.parametrize("missing", ["fish", "control_restored", "cause"])
def test_an_action_says_what_was_done_what_restored_control_and_why(
    book: Book, warm: Deviation, missing: str
) -> None:
    typed = {"fish": "iced", "control_restored": "chilled", "cause": "pump", missing: " "}
    fields = refused(
        lambda: take_action(
            book.operator, warm, Action(True, **typed), moment("07:35"), moment("07:40")
        )
    )
    assert list(fields) == [missing]


def test_an_action_that_is_not_the_plans_asks_for_all_of_123_7_c(
    book: Book, warm: Deviation
) -> None:
    action = Action(False, "iced", "chilled", "pump")
    fields = refused(
        lambda: take_action(book.operator, warm, action, moment("07:35"), moment("07:40"))
    )
    assert set(fields) == {"segregated", "acceptability_by", "reassessment_by", "reassessment_due"}
    whole = Action(
        False, "iced", "chilled", "pump", "tub 3, red tape", "René Reviewer", "Cora Coordinator",
        "2026-03-11",
    )  # fmt: skip
    take_action(book.operator, warm, whole, moment("07:35"), moment("07:40"))
    assert CorrectiveAction.objects.get().reassessment_due == "2026-03-11"


def test_an_action_is_neither_before_the_break_nor_in_the_future(
    book: Book, warm: Deviation
) -> None:
    for at, words in (("07:29", "before the limit broke"), ("07:50", "still to come")):
        fields = refused(
            lambda at=at: take_action(book.operator, warm, DONE, moment(at), moment("07:40"))
        )
        assert words in fields["taken_at"]


def test_the_inspector_neither_acts_nor_decides(book: Book, warm: Deviation) -> None:
    with pytest.raises(NotAllowed):
        take_action(book.inspector, warm, DONE, moment("07:35"), moment("07:40"))
    with pytest.raises(NotAllowed):
        decide(book.inspector, warm, Decision("hold", 1, "x"), moment("07:40"))


def test_an_operator_holds_but_does_not_end(book: Book, warm: Deviation) -> None:
    take_action(book.operator, warm, DONE, moment("07:35"), moment("07:40"))
    assert (
        decide(book.operator, warm, Decision("hold", 20_000, "wait"), moment("07:41")).number == 1
    )
    with pytest.raises(NotAllowed):
        decide(book.operator, warm, Decision("destroy", 20_000, "warm", seen=1), moment("07:42"))


def test_a_reviewer_without_training_does_not_end_a_deviation(book: Book, warm: Deviation) -> None:
    untrained_reviewer(book, book.operator)
    take_action(book.operator, warm, DONE, moment("07:35"), moment("07:40"))
    fields = refused(
        lambda: decide(book.operator, warm, Decision("destroy", 20_000, "warm"), moment("07:42"))
    )
    assert "123.10" in fields[""]


def test_hold_stays_open_and_a_final_decision_ends_it(book: Book, warm: Deviation) -> None:
    take_action(book.operator, warm, DONE, moment("07:35"), moment("07:40"))
    decide(
        book.reviewer,
        warm,
        Decision("hold", 20_000, "wait for the trained person"),
        moment("07:41"),
    )
    decide(
        book.reviewer, warm, Decision("destroy", 20_000, "too long warm", seen=1), moment("07:50")
    )
    assert [(d.number, d.kind) for d in Disposition.objects.order_by("number")] == [
        (1, "hold"),
        (2, "destroy"),
    ]
    with pytest.raises(Changed) as changed:
        decide(book.reviewer, warm, Decision("divert", 20_000, "bait", seen=2), moment("07:55"))
    assert "already ended" in str(changed.value)


def test_a_final_decision_waits_for_the_corrective_action(book: Book, warm: Deviation) -> None:
    fields = refused(
        lambda: decide(book.reviewer, warm, Decision("destroy", 20_000, "warm"), moment("07:41"))
    )
    assert "corrective action first" in fields[""]


def test_release_after_a_deviation_needs_the_written_review(book: Book, warm: Deviation) -> None:
    take_action(book.operator, warm, DONE, moment("07:35"), moment("07:40"))
    fields = refused(
        lambda: decide(book.reviewer, warm, Decision("release", 20_000, "short"), moment("07:41"))
    )
    assert list(fields) == ["acceptability_review"]


@pytest.mark.parametrize("grams", [0, -5, 20_001])
def test_no_more_is_decided_about_than_there_is(book: Book, warm: Deviation, grams: int) -> None:
    fields = refused(
        lambda: decide(book.reviewer, warm, Decision("hold", grams, "wait"), moment("07:41"))
    )
    assert "at most 20 kg" in fields["grams"]


def test_who_decides_on_an_old_page_is_told_who_was_quicker(book: Book, warm: Deviation) -> None:
    decide(book.operator, warm, Decision("hold", 20_000, "wait"), moment("07:41"))
    with pytest.raises(Changed) as changed:
        decide(book.reviewer, warm, Decision("hold", 20_000, "wait too"), moment("07:42"))
    assert "Olga Operator has just decided “hold”" in str(changed.value)


@pytest.mark.django_db(transaction=True)
def test_of_two_deciding_at_once_one_decides_and_the_other_is_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    book = make_book()
    warm = warm_brine(book)
    take_action(book.operator, warm, DONE, moment("07:35"), moment("07:40"))
    both_checked = threading.Barrier(2, timeout=20)
    monkeypatch.setattr(entry, "notice_lapses", lambda lots, at: both_checked.wait())
    came: dict[str, object] = {}

    def person(name: str, who: Person, kind: str) -> None:
        try:
            came[name] = decide(
                who, warm, Decision(kind, 20_000, "mine", "written"), moment("07:45")
            )
        except Changed as changed:
            came[name] = changed
        finally:
            connection.close()

    threads = [
        threading.Thread(target=person, args=("reviewer", book.reviewer, "destroy")),
        threading.Thread(target=person, args=("operator", book.operator, "hold")),
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert sorted(type(one).__name__ for one in came.values()) == ["Changed", "Disposition"]
    assert Disposition.objects.count() == 1
    assert BookLine.objects.filter(kind="disposition decided").count() == 1
