"""An inspector's visit in the book: opened, begun once, looked at, ended."""

import json
from collections.abc import Callable

import pytest

from lots.entries import visit as entries
from lots.entries.refusals import NotAllowed, Refused
from lots.entries.visit import (
    NewVisit,
    begin_visit,
    end_visit,
    end_visits_past_their_time,
    holds_key,
    leave_visit,
    open_visit,
    renew_code,
    see,
)
from lots.models.book import BookLine, LineLot
from lots.models.lot import Lot
from lots.models.scratch import VisitKey
from lots.models.visit import Visit, VisitEnded, VisitSeen
from lots.queries.book_check import book_faults
from lots.queries.release import unreviewed
from lots.queries.visit import get_visit, is_open
from tests.make import Book, moment


def new(*lots: Lot, **changes: object) -> NewVisit:
    return NewVisit(
        **{
            "inspector": "Nora Nobody (invented)",
            "agency": "Invented Agency",
            "starts_at": moment("09:00"),
            "ends_at": moment("17:00"),
            "lots": lots,
            "chosen": "one by one",
        }
        | changes  # type: ignore[arg-type]
    )


@pytest.fixture
def lot(book: Book) -> Lot:
    return book.open_lot()


@pytest.fixture
def opened(book: Book, lot: Lot) -> tuple[Visit, str]:
    return open_visit(book.keeper, new(lot), moment("09:00"))


def refusal(attempt: Callable[[], object]) -> dict[str, str]:
    """What was refused, after making sure that nothing was written."""
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refused:
        attempt()
    assert BookLine.objects.count() == before
    return refused.value.fields


def kinds() -> list[str]:
    return [kind for kind in BookLine.objects.values_list("kind", flat=True) if "visit" in kind]


def test_keeper_and_coordinator_open_a_visit_and_nobody_else(book: Book, lot: Lot) -> None:
    for person in (book.operator, book.reviewer, book.inspector):
        with pytest.raises(NotAllowed):
            open_visit(person, new(lot), moment("09:00"))
    for person in (book.keeper, book.coordinator):
        open_visit(person, new(lot), moment("09:00"))
    assert kinds() == ["visit opened", "visit opened"]


@pytest.mark.parametrize(
    ("field", "change"),
    [
        ("inspector", {"inspector": "  "}),
        ("agency", {"agency": ""}),
        ("ends_at", {"ends_at": moment("09:00")}),
        ("ends_at", {"starts_at": moment("07:00"), "ends_at": moment("08:59")}),
        ("ends_at", {"ends_at": moment("2026-03-07 09:01")}),
    ],
)
def test_a_visit_that_cannot_be_is_refused_beside_its_field(
    field: str, change: dict[str, object], book: Book, lot: Lot
) -> None:
    refused = refusal(lambda: open_visit(book.keeper, new(lot, **change), moment("09:00")))
    assert list(refused) == [field]


def test_the_longest_visit_is_still_opened(book: Book, lot: Lot) -> None:
    open_visit(book.keeper, new(lot, ends_at=moment("2026-03-07 09:00")), moment("09:00"))


def test_a_visit_to_no_lot_is_refused(book: Book) -> None:
    assert list(refusal(lambda: open_visit(book.keeper, new(), moment("09:00")))) == ["lots"]


def test_the_code_is_kept_as_its_digest_and_stands_in_no_line(opened: tuple[Visit, str]) -> None:
    plain = opened[1].replace("-", "")
    row = VisitKey.objects.get()
    assert plain not in (row.code_sha256, row.session_sha256)
    assert len(row.code_sha256) == 64
    for line in BookLine.objects.values_list("content", flat=True):
        assert plain not in line and opened[1] not in line


def test_the_code_begins_the_visit_once(opened: tuple[Visit, str]) -> None:
    visit, code = opened
    begun, key = begin_visit(f" {code.lower().replace('-', ' ')} ", moment("09:10"))
    assert begun == visit and holds_key(visit, key)
    assert "visit_code" in refusal(lambda: begin_visit(code, moment("09:11")))


@pytest.mark.parametrize("code", ["ABCD-EFGH-JKLM-NPQR", "", "   ", "-"])
def test_a_code_that_was_never_given_out_begins_nothing(
    code: str, opened: tuple[Visit, str]
) -> None:
    assert "visit_code" in refusal(lambda: begin_visit(code, moment("09:10")))


def test_a_used_code_leaves_no_empty_code_that_opens(opened: tuple[Visit, str]) -> None:
    begin_visit(opened[1], moment("09:10"))
    assert "visit_code" in refusal(lambda: begin_visit("", moment("09:10")))


@pytest.mark.parametrize("at", ["08:59", "17:00", "17:01"])
def test_the_code_begins_nothing_before_or_after_the_visits_time(
    at: str, opened: tuple[Visit, str]
) -> None:
    assert "visit_code" in refusal(lambda: begin_visit(opened[1], moment(at)))


def test_a_new_code_shuts_out_the_session_of_the_old(book: Book, opened: tuple[Visit, str]) -> None:
    visit, code = opened
    _, key = begin_visit(code, moment("09:10"))
    again = renew_code(book.coordinator, visit, moment("09:20"))
    assert not holds_key(visit, key)
    assert "visit_code" in refusal(lambda: begin_visit(code, moment("09:21")))
    assert holds_key(visit, begin_visit(again, moment("09:22"))[1])


def test_no_code_is_given_for_a_visit_that_is_over(book: Book, opened: tuple[Visit, str]) -> None:
    refusal(lambda: renew_code(book.keeper, opened[0], moment("17:00")))


def test_a_key_of_another_visit_opens_nothing(book: Book, lot: Lot) -> None:
    first, code = open_visit(book.keeper, new(lot), moment("09:00"))
    second, _ = open_visit(book.keeper, new(lot), moment("09:00"))
    _, key = begin_visit(code, moment("09:10"))
    assert holds_key(first, key) and not holds_key(second, key)
    assert not holds_key(second, "")


def test_ended_by_the_house_it_is_over_at_once(book: Book, opened: tuple[Visit, str]) -> None:
    visit, code = opened
    _, key = begin_visit(code, moment("09:10"))
    end_visit(book.keeper, visit, "ended by the house", moment("10:00"))
    after = get_visit(visit.pk)
    assert after is not None and not is_open(after, moment("10:00"))
    assert not holds_key(visit, key)
    refusal(lambda: end_visit(book.keeper, visit, "again", moment("10:01")))
    with pytest.raises(NotAllowed):
        end_visit(book.operator, visit, "", moment("10:01"))


def test_its_time_over_it_is_shut_before_anybody_writes_so(opened: tuple[Visit, str]) -> None:
    visit, _ = opened
    assert is_open(visit, moment("16:59")) and not is_open(visit, moment("17:00"))
    assert end_visits_past_their_time(moment("16:59")) == 0
    assert end_visits_past_their_time(moment("18:30")) == 1
    ended = VisitEnded.objects.get()
    assert (ended.ended_at, ended.line.person) == (moment("17:00"), None)
    assert end_visits_past_their_time(moment("18:31")) == 0
    assert kinds() == ["visit opened", "visit ended"]


def test_the_inspector_may_leave(opened: tuple[Visit, str]) -> None:
    leave_visit(opened[0], moment("11:00"))
    leave_visit(opened[0], moment("11:01"))
    assert [row.why for row in VisitEnded.objects.all()] == [entries.BY_INSPECTOR]


def test_only_the_first_look_at_a_page_is_kept(opened: tuple[Visit, str]) -> None:
    visit, _ = opened
    for minute in range(3):
        see(visit, "Lot TR-1", "/visit/lots/TR-1/", moment(f"09:1{minute}"))
    see(visit, "The plan", "/visit/plans/1/", moment("09:20"))
    rows = VisitSeen.objects.order_by("pk")
    assert [(row.what, row.at) for row in rows] == [
        ("Lot TR-1", moment("09:10")),
        ("The plan", moment("09:20")),
    ]
    assert kinds() == ["visit opened", "visit saw", "visit saw"]


def test_a_visit_adds_nothing_that_a_review_would_have_to_see(
    book: Book, lot: Lot, opened: tuple[Visit, str]
) -> None:
    waiting = len(unreviewed(lot))
    about = LineLot.objects.count()
    begin_visit(opened[1], moment("09:10"))
    see(opened[0], "Lot TR-1", "/visit/lots/TR-1/", moment("09:11"))
    leave_visit(opened[0], moment("09:12"))
    assert (len(unreviewed(lot)), LineLot.objects.count()) == (waiting, about)


def test_the_line_names_the_lots_and_the_book_agrees_with_itself(
    opened: tuple[Visit, str],
) -> None:
    line = BookLine.objects.get(kind="visit opened")
    assert json.loads(line.content)["codes"] == ["TR-1"]
    begin_visit(opened[1], moment("09:10"))
    see(opened[0], "Lot TR-1", "/visit/lots/TR-1/", moment("09:11"))
    leave_visit(opened[0], moment("09:12"))
    assert list(book_faults()) == []
