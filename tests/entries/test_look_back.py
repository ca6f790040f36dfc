"""A failed accuracy check: what it opens, what it holds, and the recall of what has left."""

import json

import pytest

from lots.entries.deviation import Consignee, Decision, decide, take_action, tell_consignee
from lots.entries.lapses import notice_lapses
from lots.entries.refusals import Changed, Refused
from lots.entries.review import release_lot
from lots.models.book import BookLine, LineLot
from lots.models.deviation import Deviation, DeviationNote, Disposition, RecallConsignee
from lots.models.lot import Lot
from lots.models.reading import Reading
from lots.queries.deviation_page import consignees_of, deviation_page, open_deviations
from lots.queries.release import bars, deviation_state, in_question
from lots.queries.shift_review import lots_to_review, needs_an_eye
from tests.entries.failed_check import DONE, Scene, checked, open_with, read, scene
from tests.entries.test_deviation import refused
from tests.make import Book, moment
from tests.queries.test_record import paper, record_of

AT = "2026-03-06 12:00"
LATER = moment("2026-03-06 13:00")
SHOPS = (Consignee("Invented Inn", 10_000, moment("2026-03-06 12:40"), "by phone", 0),
         Consignee("Nowhere Market", 8_000, 0, "", 1))  # fmt: skip


@pytest.fixture
def then(book: Book) -> Scene:
    return scene(book)


def opened() -> dict[str, Deviation]:
    rows = Deviation.objects.filter(limit_id__startswith="accuracy-check-")
    return {row.lot.code: row for row in rows.select_related("lot").order_by("id")}


def act(then: Scene, row: Deviation) -> None:
    at = moment("2026-03-06 12:30")
    take_action(then.book.operator, row, DONE, at, at)


def test_the_failed_check_opens_a_deviation_on_each_lot_in_the_same_act(then: Scene) -> None:
    check = then.fail()
    rows = opened()
    assert list(rows) == ["B-GONE", "C-PACKED", "E-RUN", "F-CHILD"]
    assert {row.line_id for row in rows.values()} == {check.line_id}
    named = set(LineLot.objects.filter(line=check.line).values_list("lot__code", flat=True))
    assert named == set(rows)
    gone = rows["B-GONE"]
    assert gone.figure == "3.0 °F off at the ice point (reads high)"
    assert gone.demand == "Probe 7 reads within 2 °F"
    assert (gone.control_point, gone.load.place.name) == ("smoke", "Smokehouse 1")
    assert gone.broke_at == moment("2026-03-03 10:50")
    evidence = json.loads(gone.evidence)
    assert (evidence["check"], evidence["readings_in_all"]) == (check.pk, 18)
    assert set(evidence["readings"]) == set(
        Reading.objects.filter(load=gone.load).values_list("pk", flat=True)
    )


def test_a_check_within_tolerance_opens_nothing(then: Scene) -> None:
    then.fail("34")
    assert opened() == {}


def test_a_lot_with_it_is_not_released(then: Scene) -> None:
    check = then.fail()
    row = opened()["C-PACKED"]
    assert f"deviation {row.pk} is open" in bars(then.packed, LATER)
    with pytest.raises(Refused, match=f"deviation {row.pk} is open"):
        release_lot(then.book.reviewer, then.packed, {"release": 18_000}, "", LATER)
    assert not check.within


def test_judging_never_says_that_it_is_no_longer_reproduced(then: Scene) -> None:
    then.fail()
    smoke = then.running.parts.order_by("id").last()
    read(then.book, smoke.load, then.book.thermometer, "2026-03-06 12:12", "90")
    notice_lapses([then.running, then.packed], LATER)
    ours = DeviationNote.objects.filter(deviation__limit_id__startswith="accuracy-check-")
    assert not ours.exists()


def test_a_second_failed_check_opens_nothing_twice(then: Scene) -> None:
    then.fail()
    count = len(opened())
    again = then.fail("36", "2026-03-06 12:20")
    assert Deviation.objects.filter(limit_id__startswith="accuracy").count() == count
    named = LineLot.objects.filter(line=again.line).count()
    assert named == count  # but the act speaks of all of them


def test_a_failed_check_entered_late_opens_nothing_twice(then: Scene) -> None:
    then.fail()
    count = len(opened())
    checked(then.book, then.probe, "35.5", "2026-03-05 06:00", "2026-03-06 12:30")
    assert Deviation.objects.filter(limit_id__startswith="accuracy").count() == count


def test_a_good_check_afterwards_closes_nothing(then: Scene) -> None:
    then.fail()
    checked(then.book, then.probe, "32", "2026-03-06 12:30")
    assert len(opened()) == 4
    assert not any(deviation_state(row).ended for row in opened().values())


def test_what_is_read_with_it_later_is_held_by_the_book(then: Scene) -> None:
    then.fail()
    lot = open_with(then.book, "G-LATER", "2026-03-06 12:30", then.probe)
    assert lot.code not in opened()
    assert notice_lapses([], moment("2026-03-06 12:31")) == 1
    row = opened()[lot.code]
    assert (row.line.kind, row.line.person) == ("look-back noticed", None)
    lines = BookLine.objects.count()
    assert notice_lapses([], moment("2026-03-06 12:32")) == 0
    assert BookLine.objects.count() == lines


def test_a_child_and_its_parent_are_decided_about_each_for_its_own_fish(then: Scene) -> None:
    then.fail()
    rows = opened()
    assert in_question(rows["E-RUN"]) == 15_000
    assert in_question(rows["F-CHILD"]) == 5_000
    child = Lot.objects.get(code="F-CHILD")
    assert [words for words in bars(child, LATER) if words.startswith("deviation")] == [
        f"deviation {rows['F-CHILD'].pk} is open"
    ]


def recall(
    then: Scene, consignees: tuple[Consignee, ...] = SHOPS, grams: int = 18_000
) -> Disposition:
    row = opened()["B-GONE"]
    wanted = Decision("recall", grams, "may have been 143 °F", consignees=consignees)
    return decide(then.book.reviewer, row, wanted, LATER)


def test_a_recall_is_kept_with_everybody_who_had_the_fish(then: Scene) -> None:
    then.fail()
    act(then, opened()["B-GONE"])
    made = recall(then)
    assert deviation_state(opened()["B-GONE"]).ended
    kept = [(row.consignee, row.grams, bool(row.told_at)) for row in made.consignees.order_by("id")]
    assert kept == [("Invented Inn", 10_000, True), ("Nowhere Market", 8_000, False)]


@pytest.mark.parametrize(
    ("consignees", "field", "words"),
    [
        ((), "who_0", "Name everybody"),
        (SHOPS[:1], "grams", "had 10 kg together, but 18 kg is recalled"),
        ((*SHOPS, Consignee("Third", 500, 0, "", 2)), "grams", "must agree"),
        ((SHOPS[0], Consignee("invented inn", 8_000, 0, "", 3)), "who_3", "stands here twice"),
        ((SHOPS[0], Consignee(" ", 8_000, 0, "", 1)), "who_1", "Say who had it"),
        ((SHOPS[0], Consignee("Nowhere Market", 0, 0, "", 1)), "had_1", "how much they had"),
        ((SHOPS[0], Consignee("X", 8_000, LATER + 600_000, "", 1)), "told_1", "still to come"),
    ],
)
def test_a_recall_that_does_not_say_who_had_how_much_is_refused(
    then: Scene, consignees: tuple[Consignee, ...], field: str, words: str
) -> None:
    then.fail()
    act(then, opened()["B-GONE"])
    fields = refused(lambda: recall(then, consignees))
    assert words in fields[field]
    assert not RecallConsignee.objects.exists()


def test_what_has_not_left_is_not_recalled(then: Scene) -> None:
    then.fail()
    for code in ("C-PACKED", "E-RUN", "F-CHILD"):
        row = opened()[code]
        act(then, row)
        wanted = Decision("recall", in_question(row), "x", consignees=SHOPS)
        assert (
            "left the house"
            in refused(
                lambda row=row, wanted=wanted: decide(then.book.reviewer, row, wanted, LATER)
            )["kind"]
        )


def test_a_part_recalled_leaves_the_rest_open_and_in_sight(then: Scene) -> None:
    then.fail()
    row = opened()["B-GONE"]
    act(then, row)
    recall(then, SHOPS[:1], 10_000)
    assert row.pk in open_deviations().values_list("pk", flat=True)
    review = "the 8 kg left were eaten by nobody: sent back unopened, core 150 °F by data logger"
    decide(then.book.reviewer, row, Decision("release", 8_000, "logger", review, seen=1), LATER)
    assert row.pk not in open_deviations().values_list("pk", flat=True)


def test_somebody_told_later_is_a_later_row_and_that_governs(then: Scene) -> None:
    then.fail()
    act(then, opened()["B-GONE"])
    made = recall(then)
    row = made.consignees.get(consignee="Nowhere Market")
    at = moment("2026-03-06 14:00")
    tell_consignee(then.book.operator, row, at, "spoke to the owner", at)
    assert RecallConsignee.objects.count() == 3
    told = {one.consignee: one.told_at for one in consignees_of([made])[made.pk]}
    assert told["Nowhere Market"] == at
    with pytest.raises(Changed, match="already kept as told"):
        tell_consignee(then.book.operator, row, at, "", at)


def test_what_has_left_is_asked_about_until_it_is_decided(then: Scene) -> None:
    from lots.entries.review import sign_reviews

    then.fail()
    row = opened()["B-GONE"]
    waiting = {one.lot.pk: one.seen for one in lots_to_review(LATER)}
    sign_reviews(then.book.reviewer, [(then.gone, waiting[then.gone.pk])], "", LATER)
    eye = needs_an_eye(lots_to_review(LATER), LATER)
    assert row.pk in {one.pk for one in eye.deviations}
    assert next(one for one in eye.deviations if one.pk == row.pk).released
    act(then, row)
    recall(then)
    waiting = {one.lot.pk: one.seen for one in lots_to_review(LATER)}
    sign_reviews(then.book.reviewer, [(then.gone, waiting[then.gone.pk])], "", LATER)
    eye = needs_an_eye(lots_to_review(LATER), LATER)
    assert row.pk not in {one.pk for one in eye.deviations}


def test_the_page_of_such_a_deviation_has_no_limit_of_the_plan_to_show(then: Scene) -> None:
    then.fail()
    found = deviation_page(opened()["B-GONE"], LATER)
    assert found.point is None and found.now is None
    assert found.has_left
    assert {one.lot.code for one in found.beside} == {"C-PACKED", "E-RUN", "F-CHILD"}


def test_the_record_tells_of_the_check_and_its_readings(then: Scene) -> None:
    check = then.fail()
    record = record_of(then.book, then.packed, "2026-03-06 13:00")
    told = record.deviations[0]
    assert f"accuracy check {check.pk}, readings " in told.evidence
    assert told.evidence.endswith("(18)")
    assert "3.0 °F off at the ice point" in paper(record)
    assert "Probe 7 reads within 2 °F" in paper(record)
