"""What must stand on a lot's packs: storage with its reason, statement, allergens, additives, the freezer."""

import pytest

from lots.entries.lot import merge_lots, split_lot
from lots.models.lot import Lot
from lots.queries.judgements import judge_lot
from lots.queries.pack import PackSheet, pack_bars, pack_sheet
from lots.queries.release import bars
from tests.entries.roads import finished
from tests.laboratory import NewResult, enter_laboratory_result
from tests.make import Book, moment
from tests.packs import AIR, BRINE, CHILLED, CURE, FROZEN, PEPPER, batch, brined, part, under

NOON = "2026-03-06 12:00"
SALMON = {"species": "SAL", "origin": "farmed"}


def sheet(lot: Lot, at: str = NOON) -> PackSheet:
    return pack_sheet(Lot.objects.get(pk=lot.pk), moment(at))


def chilled(book: Book, **product: str) -> Lot:
    """A lot under a plan for chilled vacuum packs, at the table."""
    under(book, CHILLED, **({"process_study": "Invented study 7"} | product))
    lot = book.open_lot(**SALMON)
    book.start("pack", "Table", "10:00", lot)
    return lot


def salt(book: Book, lot: Lot, *figures: str) -> None:
    result = NewResult("water-phase salt", "%", figures, "Invented Laboratory")
    sampled, at = moment("2026-03-05 09:00"), moment("2026-03-06 09:00")
    enter_laboratory_result(book.operator, lot, result, sampled, at, at)


def barred(lot: Lot) -> list[str]:
    at = moment(NOON)
    return pack_bars(lot, at, judge_lot(lot, at))


# --- storage --------------------------------------------------------------------------------------


def test_what_the_plan_keeps_frozen_is_kept_frozen_and_bars_nothing(book: Book) -> None:
    lot = finished(book)
    found = sheet(lot).storage
    assert found.kind == "frozen" and "nothing rests on its salt" in found.why
    assert barred(lot) == []


def test_a_pack_that_lets_air_through_is_kept_as_the_plan_says(book: Book) -> None:
    under(book, AIR)
    lot = book.open_lot()
    found = sheet(lot).storage
    assert found.kind == "chilled" and "lets air through" in found.why
    assert barred(lot) == []


def test_a_chilled_vacuum_pack_is_kept_frozen_until_a_laboratory_has_shown_its_salt(
    book: Book,
) -> None:
    lot = chilled(book)
    found = sheet(lot).storage
    assert found.kind == "frozen"
    assert len(found.wanting) == 1 and "water-phase salt" in found.wanting[0]
    assert any("may not go out: water-phase salt" in words for words in barred(lot))
    assert any("may not go out: water-phase salt" in words for words in bars(lot, moment(NOON)))
    salt(book, lot, "3.9", "3.6")
    found = sheet(lot).storage
    assert (found.kind, found.wanting) == ("chilled", ())
    assert "Invented study 7" in found.why and "3.6" in found.why
    assert barred(lot) == []


def test_the_least_salted_sample_decides(book: Book) -> None:
    lot = chilled(book)
    salt(book, lot, "4.2", "3.49")
    assert sheet(lot).storage.kind == "frozen"
    assert len(barred(lot)) == 1


def test_exactly_the_limit_is_enough(book: Book) -> None:
    lot = chilled(book)
    salt(book, lot, "3.5")
    assert barred(lot) == []


def test_salt_alone_is_not_enough_without_a_process_study(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    # no such plan can be published any more; one may have been signed before
    monkeypatch.setattr("lots.entries.plan.bars", lambda content: [])
    lot = chilled(book, process_study="")
    salt(book, lot, "3.9")
    assert barred(lot) == [
        "a chilled pack without air may not go out: the plan names no process study"
    ]
    assert sheet(lot).storage.kind == "frozen"


def test_salt_that_nobody_has_asked_a_laboratory_for_is_not_shown(book: Book) -> None:
    under(book, CHILLED, process_study="Invented study 7")
    lot = book.open_lot(**SALMON)  # not at the table yet, where the plan's limit stands
    assert sheet(lot).storage.wanting == ("water-phase salt is not yet shown",)


# --- statement ------------------------------------------------------------------------------------


def test_the_statement_is_the_plans_where_the_packs_are_kept_as_it_says(book: Book) -> None:
    said = sheet(finished(book)).statement
    assert said.text == "Keep frozen. Thaw under refrigeration immediately before use."
    assert said.asked is not None and "ch. 13 (from memory)" in said.asked.source
    assert said.note == ""


def test_where_chilled_packs_must_be_frozen_the_statement_of_frozen_ones_stands_there(
    book: Book,
) -> None:
    said = sheet(chilled(book)).statement
    assert said.text == "Keep frozen. Thaw under refrigeration immediately before use."
    assert "is for packs that are kept chilled" in said.note


def test_a_statement_that_differs_from_what_is_asked_says_why(book: Book) -> None:
    under(
        book,
        AIR,
        statement="Keep cold.",
        statement_why="the market's own rule",
        shelf_life="14 days",
    )
    said = sheet(book.open_lot()).statement
    assert said.text == "Keep cold."
    assert "Keep refrigerated at 38 °F or below" in said.note
    assert "the market's own rule" in said.note


# --- what went in ---------------------------------------------------------------------------------


def named(found: PackSheet) -> dict[str, tuple[str, ...]]:
    return {one.name: one.batches for one in found.ingredients}


def test_the_list_of_the_plan_comes_first_and_each_thing_names_its_batch(book: Book) -> None:
    lot = book.open_lot()
    brined(book, lot, batch(book, "B-1", *BRINE), "08:00", "12:00")
    found = sheet(lot)
    assert named(found) == {"salt": ("B-1",), "brown sugar": (), "natural wood smoke": ()}
    assert found.unnamed == ()


def test_nitrite_of_a_curing_salt_is_named_though_the_plan_does_not_list_it(book: Book) -> None:
    lot = book.open_lot()
    brined(book, lot, batch(book, "B-1", *BRINE, CURE, PEPPER), "08:00", "12:00")
    found = sheet(lot)
    assert [one.name for one in found.unnamed] == ["sodium nitrite", "black pepper"]
    assert named(found)["sodium nitrite"] == ("B-1",)
    assert "water" not in named(found)


def test_nitrite_that_the_plan_lists_is_not_told_as_missing(book: Book) -> None:
    under(book, FROZEN, ingredients="salt, sodium nitrite (preservative), pepper, black")
    lot = book.open_lot()
    brined(book, lot, batch(book, "B-1", *BRINE, CURE), "08:00", "12:00")
    found = sheet(lot)
    assert named(found)["sodium nitrite (preservative)"] == ("B-1",)
    assert found.unnamed == ()


def test_allergens_are_found_in_the_names_of_what_went_in(book: Book) -> None:
    lot = book.open_lot()
    row = batch(book, "B-1", *BRINE, part("other", "soy sauce, mustard seed", 500))
    brined(book, lot, row, "08:00", "12:00")
    found = sheet(lot)
    assert found.allergens[:2] == ("soybeans", "wheat")
    assert found.allergens[2].startswith("mustard")
    assert [one.name for one in found.unnamed] == ["soy sauce", "mustard seed"]


def test_a_salting_of_which_the_book_knows_no_batch_is_told(book: Book) -> None:
    lot = book.open_lot()
    load = brined(book, lot, None, "08:00", "12:00")
    assert [one.load for one in sheet(lot).unknown] == [load]


def test_of_a_merged_lot_the_batches_of_all_its_fish_count(book: Book) -> None:
    one, other = book.open_lot("TR-1"), book.open_lot("TR-2", at="07:10")
    brined(book, one, batch(book, "B-1", *BRINE), "08:00", "12:00")
    brined(book, other, batch(book, "B-2", *BRINE, CURE), "08:10", "12:00")
    at = moment("13:00")
    both = merge_lots(book.operator, [(one, 9_000), (other, 1_000)], "TR-12", "one rack", at)
    found = sheet(both)
    assert named(found)["salt"] == ("B-1", "B-2")
    assert named(found)["sodium nitrite"] == ("B-2",)
    assert "sodium nitrite" not in named(sheet(one))


def test_a_portion_split_off_before_the_brine_does_not_inherit_its_additives(book: Book) -> None:
    lot = book.open_lot()
    new = split_lot(book.operator, lot, "TR-1b", 5_000, "", moment("07:30"))
    load = book.start(
        "brine", "Brine tank 1", "08:00", lot, kg=15, brine_batch=batch(book, "B-1", *BRINE, CURE)
    )
    book.end(load, "12:00")
    assert "sodium nitrite" in named(sheet(lot))
    assert "sodium nitrite" not in named(sheet(new))


# --- to the freezer -------------------------------------------------------------------------------


def test_the_hours_from_the_start_of_packing_to_each_load_in_the_freezer(book: Book) -> None:
    lot = book.open_lot()
    assert sheet(lot).to_freezer is None
    book.end(book.start("pack", "Table", "10:00", lot), "11:00")
    way = sheet(lot).to_freezer
    assert way is not None and (way.longest_ms, way.missing) == (None, 20_000)
    book.start("freeze", "Freezer", "11:30", lot, kg=15)
    book.start("freeze", "Freezer", "16:10", lot, kg=4)
    way = sheet(lot).to_freezer
    assert way is not None
    assert [one.after_ms for one in way.loads] == [90 * 60_000, 370 * 60_000]
    assert (way.longest_ms, way.grams, way.missing) == (370 * 60_000, 19_000, 1_000)


def test_a_plan_that_freezes_nothing_has_no_way_to_the_freezer(book: Book) -> None:
    under(book, AIR)
    lot = book.open_lot()
    book.start("pack", "Table", "10:00", lot)
    assert sheet(lot).to_freezer is None
