"""Kept judgements held again under today's rules, each from what the book held then."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from lots.core import folds
from lots.core.finding import Finding, Span, State
from lots.core.limits import RULES, Verdict, Window, Within
from lots.entries import reading
from lots.entries.readings import Figure
from lots.models.book import BookLine
from lots.models.review import KeptJudgement
from lots.queries.rejudge import rejudged
from tests.entries.roads import finished
from tests.make import Book, seen


def told(*words: str) -> str:
    out = StringIO()
    call_command("rejudge", *words, stdout=out)
    return out.getvalue()


def test_under_the_same_rules_every_kept_judgement_is_found_again(book: Book) -> None:
    finished(book)
    found = rejudged(every=True)
    assert found.held == KeptJudgement.objects.count() > 0
    assert found.differing == []


def test_those_kept_under_todays_rules_are_held_only_when_asked_for(book: Book) -> None:
    finished(book)
    assert set(KeptJudgement.objects.values_list("rules", flat=True)) == {RULES}
    assert rejudged().held == 0


def test_what_was_read_later_does_not_count(book: Book) -> None:
    finished(book)
    warm = [Figure("60", "F", confirmed=True)]
    place = book.places["Freezer"]
    reading.enter_readings(
        book.operator, place, None, warm, seen("19:50", "21:00", "found on paper")
    )
    assert rejudged(every=True).differing == []


def stricter(
    rule: Within, window: Window, state: State, span: Span, at: int, then=folds.within_judge
) -> Finding:
    """As if a rule to come let nothing meet a bound."""
    found = then(rule, window, state, span, at)
    return Finding(Verdict.DEVIATION, found.figure, broke_at=at, last_broke_at=at, why="stricter")


def test_another_verdict_is_listed_and_nothing_is_changed(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = finished(book)
    before = (BookLine.objects.count(), list(KeptJudgement.objects.values()))
    monkeypatch.setattr(folds, "within_judge", stricter)
    differing = rejudged(every=True).differing
    assert differing
    verdicts = sum(each.verdict_differs for each in differing)
    assert verdicts
    text = told("--all")
    assert all(f"{one.code}, {each.kept.limit_id}" in text for each in differing)
    assert "deviation" in text
    assert f"with another verdict: {verdicts}" in text
    assert (BookLine.objects.count(), list(KeptJudgement.objects.values())) == before


def test_the_command_says_what_it_held_again(book: Book) -> None:
    finished(book)
    assert told("--all").startswith(f"Rules {RULES}. Judgements held again: ")
    assert "Nothing was changed." in told()


def test_an_unknown_lot_is_refused_in_words(book: Book) -> None:
    with pytest.raises(CommandError, match="There is no lot TR-9"):
        told("TR-9")


def test_a_lot_can_be_named(book: Book) -> None:
    finished(book, "TR-1")
    assert rejudged("TR-1", every=True).held == rejudged(every=True).held > 0
