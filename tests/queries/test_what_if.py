"""Past lots held against a changed limit."""

import json
from copy import deepcopy
from typing import Any

from lots.core.limits import Verdict
from lots.entries import lot as lots
from lots.entries import plan as plans
from lots.models.book import BookLine
from lots.models.lot import Lot
from lots.models.plan import PlanVersion
from lots.queries import what_if as asked
from lots.queries.what_if import Outcome, WhatIf, what_if
from tests.entries.roads import brined, finished, smoking
from tests.make import Book, moment

AT = moment("2026-03-04 21:00")


def content(book: Book) -> dict[str, Any]:
    stated: dict[str, Any] = json.loads(book.version.content)
    return stated


def changed(book: Book, point: int = 3, limit: int = 0, **figures: str) -> dict[str, Any]:
    stated = deepcopy(content(book))
    stated["control_points"][point]["limits"][limit] |= figures
    return stated


def hotter(book: Book, least: str = "146 °F (63.4 °C)") -> dict[str, Any]:
    return changed(book, at_least=least)


def tried(book: Book, stated: dict[str, Any], since: int = 0) -> WhatIf:
    return what_if(book.version.plan, stated, AT, since)


def smoked(book: Book, code: str, hottest: str) -> Lot:
    one = book.open_lot(code)
    brined(book, one)
    book.end(smoking(book, one, hottest), "12:48")
    return one


def apart(book: Book) -> None:
    """Two lots in two smokehouses: one held 148 °F, the other 145.5 °F."""
    smoked(book, "HOT", "148")
    one = book.open_lot("BARE")
    load = book.start("smoke", "Smokehouse 2", "10:45", one)
    rounds = "10:50 60, 11:30 120, 12:00 145.5, 12:15 145.5, 12:30 145.5, 12:45 145.5"
    book.fish(load, rounds)
    book.end(load, "12:48")


def test_a_stricter_limit_fails_the_one_lot_of_two_that_only_just_met_it(book: Book) -> None:
    apart(book)
    found = tried(book, hotter(book))
    assert found.lots == 2 and not found.cut
    assert [(one.lot.code, one.outcome) for one in found.held] == [
        ("BARE", Outcome.FAILS),
        ("HOT", Outcome.SAME),
    ]
    worst = found.held[0]
    assert (worst.then, worst.would) == (Verdict.ADJUST, Verdict.DEVIATION)
    assert worst.would_figure and "146 °F" in worst.demand and not worst.kept
    assert found.failing_lots == 1


def test_nothing_is_written_by_trying(book: Book) -> None:
    apart(book)
    before = BookLine.objects.count(), PlanVersion.objects.count(), Lot.objects.count()
    pinned = list(Lot.objects.values_list("plan_version", flat=True))
    tried(book, hotter(book))
    assert (BookLine.objects.count(), PlanVersion.objects.count(), Lot.objects.count()) == before
    assert list(Lot.objects.values_list("plan_version", flat=True)) == pinned


def test_the_same_limits_hold_no_lot_again(book: Book) -> None:
    apart(book)
    found = tried(book, content(book))
    assert (found.held, found.changed, found.lots) == ((), (), 2)
    assert tried(book, changed(book, source="another source")).held == ()


def test_only_the_limit_that_changed_is_held(book: Book) -> None:
    apart(book)
    found = tried(book, hotter(book))
    assert len(found.changed) == 1
    assert "145 °F" in found.changed[0].before and "146 °F" in found.changed[0].now
    assert {one.step for one in found.held} == {found.changed[0].step}


def test_a_lot_that_is_not_so_far_cannot_be_told(book: Book) -> None:
    book.open_lot("NEW")
    (held,) = tried(book, hotter(book)).held
    assert (held.outcome, held.load, held.would) == (Outcome.UNTOLD, 0, None)
    assert held.why == "not yet begun"


def test_a_limit_of_a_step_that_is_not_over_is_not_called_failed(book: Book) -> None:
    one = book.open_lot("NOW")
    brined(book, one)
    load = book.start("smoke", "Smokehouse 1", "10:45", one)
    book.fish(load, "10:50 60, 11:30 120")
    held = what_if(book.version.plan, hotter(book), moment("11:31"), 0).held
    assert [(one.would, one.outcome) for one in held] == [(Verdict.PENDING, Outcome.UNTOLD)]


def test_a_milder_limit_shows_which_lot_would_no_longer_have_failed(book: Book) -> None:
    apart(book)
    firm = changed(book, at_least="146 °F (63.4 °C)", flag="to be confirmed")
    stricter = plans.begin_draft(book.coordinator, "x", firm, book.version, AT)
    second = plans.publish_plan(book.coordinator, stricter, "Hotter.", AT)
    one = book.open_lot("LATE", version=second)
    load = book.start("smoke", "Smokehouse 2", "14:45", one)
    rounds = "14:50 60, 15:30 120, 16:00 145.5, 16:15 145.5, 16:30 145.5, 16:45 145.5"
    book.fish(load, rounds)
    book.end(load, "16:48")
    found = tried(book, content(book))
    assert [(held.lot.code, held.outcome) for held in found.held] == [("LATE", Outcome.MENDED)]


def test_what_the_book_kept_is_what_it_showed_then(book: Book) -> None:
    finished(book)
    found = tried(book, hotter(book))
    assert [(one.kept, one.then) for one in found.held] == [(True, Verdict.MET)]


def test_lots_of_before_and_lots_that_are_void_are_left_out(book: Book) -> None:
    one = book.open_lot("VOID")
    lots.void_lot(book.operator, one, "typed twice", moment("07:10"))
    book.open_lot("OLD")
    assert tried(book, hotter(book)).lots == 1
    assert tried(book, hotter(book), since=moment("07:01")).lots == 0


def test_more_lots_than_can_be_shown_are_cut_and_it_is_said(book: Book, monkeypatch: Any) -> None:
    monkeypatch.setattr(asked, "MOST_LOTS", 1)
    book.open_lot("A-1")
    book.open_lot("A-2", at="07:30")
    found = tried(book, hotter(book))
    assert (found.lots, found.cut, [one.lot.code for one in found.held]) == (1, True, ["A-2"])


def test_a_plan_that_is_not_yet_published_has_no_past_lots(book: Book) -> None:
    book.open_lot()
    assert what_if(None, hotter(book), AT).lots == 0
