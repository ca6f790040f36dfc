"""Review and release: what bars a release, one by one, and what a review names."""

from collections.abc import Callable

import pytest

from lots.core.limits import RULES
from lots.entries import people, plan
from lots.entries.deviation import Action, Decision, decide, take_action
from lots.entries.lot import finish_lot, void_lot
from lots.entries.refusals import Changed, NotAllowed, Refused
from lots.entries.review import release_lot, sign_reviews
from lots.models.book import BookLine
from lots.models.deviation import Deviation
from lots.models.lot import Lot
from lots.models.review import KeptJudgement, Release, Review
from lots.queries.plans import starting_plans
from lots.queries.release import bars, last_line, unreviewed
from tests.entries.roads import (
    brined,
    cooled,
    finished,
    freezing,
    packed,
    smoking,
    untrained_reviewer,
)
from tests.laboratory import NewResult, enter_laboratory_result
from tests.make import Book, moment, seen

DONE = Action(True, "held apart", "more wood", "wet wood")


def reviewed(book: Book, lot: Lot, at: str = "20:30") -> Review:
    last = last_line(lot)
    assert last is not None
    return sign_reviews(book.reviewer, [(lot, last.number)], "", moment(at))[0]


def release(book: Book, lot: Lot, at: str = "20:40", **quantities: int) -> Release:
    return release_lot(
        book.reviewer, lot, quantities or {"release": 18_000}, "", moment(at), "Keep frozen"
    )


def refusal_of(attempt: Callable[[], object]) -> str:
    """What was refused, after making sure that nothing was written."""
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        attempt()
    assert BookLine.objects.count() == before
    return str(refusal.value)


def test_a_lot_without_anything_against_it_is_released(book: Book) -> None:
    lot = finished(book)
    assert not Deviation.objects.exists()
    reviewed(book, lot)
    assert bars(lot, moment("20:40")) == []
    made = release(book, lot)
    assert made.storage == "Keep frozen"
    assert made.signature.person == book.reviewer
    assert {q.kind: q.grams for q in made.quantities.all()} == {"release": 18_000}
    assert "safe" not in made.signature.meaning
    kept = KeptJudgement.objects.filter(line=made.line)
    assert set(kept.values_list("verdict", flat=True)) <= {"MET", "ADJUST"}


def test_a_step_that_runs_bars_the_release(book: Book) -> None:
    lot = book.open_lot()
    brined(book, lot)
    smoking(book, lot)
    reviewed(book, lot, "12:46")
    words = refusal_of(lambda: release(book, lot, "12:47"))
    assert "Hot smoke is still running" in words
    assert "Cool has not been" in words


def test_a_lot_not_finished_is_not_released(book: Book) -> None:
    lot = book.open_lot()
    brined(book, lot)
    book.end(smoking(book, lot), "12:48")
    cooled(book, lot)
    packed(book, lot)
    book.end(freezing(book, lot), "20:05")
    reviewed(book, lot)
    assert "not finished" in refusal_of(lambda: release(book, lot))


def test_an_open_deviation_bars_the_release_and_hold_keeps_it_open(book: Book) -> None:
    lot = finished(book, hottest="140")
    deviation = Deviation.objects.get(limit_id="smoke-heat")
    take_action(book.operator, deviation, DONE, moment("20:11"), moment("20:12"))
    reviewed(book, lot)
    assert f"deviation {deviation.pk} is open" in refusal_of(lambda: release(book, lot))
    decide(book.operator, deviation, Decision("hold", 18_000, "wait"), moment("20:45"))
    reviewed(book, lot, "20:50")
    assert f"deviation {deviation.pk} is open" in refusal_of(lambda: release(book, lot, "20:55"))
    ended = Decision("release", 18_000, "study of the house", "held 140 °F for an hour", 1)
    decide(book.reviewer, deviation, ended, moment("21:00"))
    reviewed(book, lot, "21:05")
    release(book, lot, "21:10")


def test_records_that_nobody_reviewed_bar_the_release(book: Book) -> None:
    lot = finished(book)
    assert "its records are not reviewed" in refusal_of(lambda: release(book, lot))


def test_anything_entered_after_the_review_bars_the_release(book: Book) -> None:
    lot = finished(book)
    review = reviewed(book, lot)
    assert review.up_to == last_line(lot)
    load = lot.parts.get(step="freeze").load
    book.observe(load, "packs look dry", True, "20:35")
    assert [line.kind for line in unreviewed(lot)] == ["observation entered"]
    assert "entered after its review" in refusal_of(lambda: release(book, lot))
    reviewed(book, lot, "20:36")
    release(book, lot)


@pytest.mark.parametrize(
    ("quantities", "words"),
    [
        ({"release": 17_000}, "add up to 17 kg, but 18 kg was packed"),
        ({"release": 17_000, "destroy": 2_000}, "add up to 19 kg"),
        ({"destroy": 18_000}, "Nothing would be released"),
        ({"release": 19_000, "destroy": -1_000}, "below nothing"),
    ],
)
def test_quantities_that_do_not_add_up_are_refused(
    book: Book, quantities: dict[str, int], words: str
) -> None:
    lot = finished(book)
    reviewed(book, lot)
    assert words in refusal_of(lambda: release(book, lot, **quantities))


def test_what_a_deviation_decided_otherwise_is_not_released(book: Book) -> None:
    lot = finished(book, hottest="140")
    deviation = Deviation.objects.get(limit_id="smoke-heat")
    take_action(book.operator, deviation, DONE, moment("20:11"), moment("20:12"))
    decide(book.reviewer, deviation, Decision("destroy", 5_000, "the cold rack"), moment("20:15"))
    reviewed(book, lot)
    assert f"deviation {deviation.pk} is open" in refusal_of(lambda: release(book, lot))
    rest = Decision("release", 13_000, "the warm racks", "Their own probes held 145 °F", seen=1)
    decide(book.reviewer, deviation, rest, moment("20:40"))
    reviewed(book, lot, "20:45")
    assert "let go 13 kg at most" in refusal_of(lambda: release(book, lot, "20:50"))
    assert "ended in destroy of 5 kg" in refusal_of(
        lambda: release(book, lot, "20:50", release=13_000, divert=5_000)
    )
    release(book, lot, "20:50", release=13_000, destroy=5_000)


def test_a_limit_without_its_figures_is_not_judged_and_bars_the_release(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = starting_plans()["hot-smoked-vacuum-frozen"]
    point = next(p for p in content["control_points"] if p["id"] == "smoke")
    # as a plan of rules 1 could name it: a kind without its figures
    bare = {"id": "smoke-kill", "kind": "lethality", "of": "fish", "source": "a test"}
    point["limits"].append(bare | {"flag": "to be confirmed"})
    draft = plan.begin_draft(book.coordinator, "With lethality", content, None, moment("06:00"))
    monkeypatch.setattr(plan, "bars", lambda content: [])
    book.version = plan.publish_plan(book.coordinator, draft, "", moment("06:00"))
    lot = finished(book)
    reviewed(book, lot)
    assert "not judged" in refusal_of(lambda: release(book, lot))


def with_salt(book: Book) -> None:
    """Lots from now on wait for the laboratory's water-phase salt."""
    content = starting_plans()["hot-smoked-vacuum-frozen"]
    point = next(p for p in content["control_points"] if p["id"] == "pack")
    salt = {"id": "salt", "kind": "measured", "of": "lot", "quantity": "water-phase salt"}
    salt |= {"at_least": "3.5 %", "laboratory": "yes", "source": "a test"}
    point["limits"].append(salt | {"flag": "to be confirmed"})
    draft = plan.begin_draft(book.coordinator, "With salt", content, None, moment("06:00"))
    book.version = plan.publish_plan(book.coordinator, draft, "", moment("06:00"))


def test_a_laboratory_result_awaited_bars_the_release_and_a_good_one_frees_it(book: Book) -> None:
    with_salt(book)
    lot = finished(book)
    reviewed(book, lot)
    assert "waits for the laboratory" in refusal_of(lambda: release(book, lot))
    good = NewResult("water-phase salt", "%", ["3.9", "3.6"], "Invented Laboratory")
    enter_laboratory_result(
        book.operator, lot, good, moment("16:30"), moment("20:45"), moment("20:50")
    )
    reviewed(book, lot, "20:55")
    release(book, lot, "21:00")


def test_a_bad_laboratory_result_is_a_deviation(book: Book) -> None:
    with_salt(book)
    lot = finished(book)
    low = NewResult("water-phase salt", "%", ["3.9", "3.4"], "Invented Laboratory")
    enter_laboratory_result(
        book.operator, lot, low, moment("16:30"), moment("20:45"), moment("20:50")
    )
    assert Deviation.objects.get().limit_id == "salt"


def test_a_voided_lot_is_not_released(book: Book) -> None:
    lot = book.open_lot()
    void_lot(book.operator, lot, "opened twice", moment("07:10"))
    reviewed(book, lot, "07:20")
    assert "voided" in refusal_of(lambda: release(book, lot, "07:25"))


def test_a_lot_is_released_once(book: Book) -> None:
    lot = finished(book)
    reviewed(book, lot)
    release(book, lot)
    with pytest.raises(Changed):
        release(book, lot, "20:41")


def test_only_a_trained_reviewer_reviews_and_releases(book: Book) -> None:
    lot = finished(book)
    last = last_line(lot)
    assert last is not None
    with pytest.raises(NotAllowed):
        sign_reviews(book.operator, [(lot, last.number)], "", moment("20:30"))
    untrained_reviewer(book, book.operator)
    words = refusal_of(
        lambda: sign_reviews(book.operator, [(lot, last.number)], "", moment("20:32"))
    )
    assert "123.10" in words
    assert "123.10" in refusal_of(
        lambda: release_lot(book.operator, lot, {"release": 18_000}, "", moment("20:33"))
    )


def test_a_review_names_the_last_line_that_was_seen(book: Book) -> None:
    lot = book.open_lot()
    seen_line = last_line(lot)
    assert seen_line is not None
    brined(book, lot)
    with pytest.raises(Changed) as changed:
        sign_reviews(book.reviewer, [(lot, seen_line.number)], "", moment("10:40"))
    assert "since this page was shown" in str(changed.value)
    assert not Review.objects.exists()


def test_a_review_of_several_lots_is_all_or_nothing(book: Book) -> None:
    one, other = book.open_lot("TR-1"), book.open_lot("TR-2")
    lines = {lot: last_line(lot) for lot in (one, other)}
    with pytest.raises(Changed):
        sign_reviews(book.reviewer, [(one, lines[one].number), (other, 1)], "", moment("07:10"))
    assert not Review.objects.exists()
    made = sign_reviews(
        book.reviewer, [(lot, line.number) for lot, line in lines.items()], "", moment("07:12")
    )
    assert {review.lot for review in made} == {one, other}
    assert len({review.line_id for review in made}) == 1


def test_a_review_says_that_the_reviewer_also_logged(book: Book) -> None:
    people.give_right(book.keeper, book.reviewer, people.Grant("operator"), moment("06:00"))
    mine, theirs = book.open_lot("TR-1"), book.open_lot("TR-2")
    operator, book.operator = book.operator, book.reviewer
    book.end(book.start("hold", "Cooler", "07:10", mine), "07:20")
    book.operator = operator
    assert reviewed(book, mine, "07:30").also_logged
    assert not reviewed(book, theirs, "07:31").also_logged


def test_a_later_storage_deviation_opens_on_the_released_lot(book: Book) -> None:
    lot = finished(book)
    reviewed(book, lot)
    release(book, lot)
    book.start("storage", "Freezer", "21:00", lot, kg=18)
    book.at_place("Freezer", "21:05 -2, 22:00 12")
    deviation = Deviation.objects.get()
    assert (deviation.lot, deviation.limit_id) == (lot, "storage-frozen")
    assert deviation.broke_at == moment("22:00")
    assert deviation.line_id > lot.release.line_id
    assert unreviewed(lot)


def test_a_released_lot_out_of_the_freezer_is_not_touched(book: Book) -> None:
    lot = finished(book)
    reviewed(book, lot)
    release(book, lot)
    book.at_place("Freezer", "22:00 12")
    assert not Deviation.objects.exists()


def test_the_review_keeps_the_judgements_it_rested_on(book: Book) -> None:
    lot = finished(book, hottest="140")
    review = reviewed(book, lot)
    kept = KeptJudgement.objects.get(line=review.line, limit_id="smoke-heat")
    assert (kept.verdict, kept.rules) == ("DEVIATION", RULES)


def test_finishing_with_more_than_went_in_is_refused(book: Book) -> None:
    lot = book.open_lot()
    brined(book, lot)
    book.end(smoking(book, lot), "12:48")
    cooled(book, lot)
    packed(book, lot)
    book.end(freezing(book, lot), "20:05")
    words = refusal_of(lambda: finish_lot(book.operator, lot, 20_001, 90, seen("20:10")))
    assert "More comes out than went in" in words
