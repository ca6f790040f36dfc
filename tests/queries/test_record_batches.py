"""The record of a lot's batches, pieces, weights, samples and pack: what the rows said, and what follows."""

from dataclasses import replace

import pytest

from lots.core.recomputed import recomputed
from lots.core.record import LotRecord, canonical_bytes, record_from
from lots.entries.batch import NewBatch, Strength, Typed, check_batch, make_batch
from lots.entries.laboratory import NewReport, Sending, enter_report, send_samples
from lots.entries.lot import finish_lot
from lots.entries.pack import thaw_packs
from lots.entries.pieces import TypedPieces, measure_pieces
from lots.entries.weights import correct_weight, weigh_stage
from lots.models.lot import Lot
from tests.entries.roads import cooled, freezing, packed, smoking
from tests.make import Book, moment, seen
from tests.queries.test_record import paper, record_of

CURED = (
    Typed(1, "water", "", "12", "kg"),
    Typed(2, "salt", "sea salt", "3", "kg"),
    Typed(3, "curing salt", "curing salt no. 1", "96", "g", nitrite="6.25 %"),
)


@pytest.fixture
def lot(book: Book) -> Lot:
    """20 kg of sablefish through every step, in a cured brine of which all was poured on it."""
    row = make_batch(book.operator, NewBatch("B-7", "brine", CURED, "39", "F"), seen("06:30"))
    # 15.096 kg with 6 g of nitrite; a float made for 60 °F rides higher in cold brine
    strength = Strength("salometer", "77", "40", "F", reference="60 °F", full_scale="26.395 %")
    check_batch(book.operator, row, strength, seen("07:10"))
    one = book.open_lot("SB-1", species="SAB", origin="wild")
    measure_pieces(book.operator, one, TypedPieces(["28", "34"], ["410", ""]), seen("07:12"))
    trimmed = weigh_stage(book.operator, one, "trimmed", "18", "kg", seen("07:14"))
    correct_weight(book.operator, trimmed, "17.5", "kg", "misread", seen("07:16"))
    tank = book.start("brine", "Brine tank 1", "07:30", one, brine_batch=row, declared="short")
    book.at_place("Brine tank 1", "07:30 38, 09:00 38.5, 10:20 39")
    book.end(tank, "10:30")
    book.end(smoking(book, one), "12:48")
    cooled(book, one)
    packed(book, one)
    book.end(freezing(book, one), "20:05")
    finish_lot(book.operator, one, 12_000, 60, seen("20:10"))
    return one


def figures(found: object) -> dict[str, str]:
    return {one.name: one.figure for one in found}  # type: ignore[attr-defined]


def test_the_record_tells_what_went_into_the_batch_and_what_follows(book: Book, lot: Lot) -> None:
    record = record_of(book, lot)
    [one] = record.batches
    assert (one.code, one.made_by, one.method) == ("B-7", "OO", "brine")
    assert [(part.kind, part.as_read, part.unit) for part in one.parts] == [
        ("water", "12", "kg"), ("salt", "3", "kg"), ("curing salt", "96", "g"),
    ]  # fmt: skip
    assert figures(one.figures)["sodium nitrite in the brine"] == "397 ppm"  # 6 g in 15.096 kg
    [use] = one.uses
    assert (use.fish_g, use.declared) == (20_000, "short")
    assert figures(use.figures)["ingoing sodium nitrite"] == "171 ppm"  # 6 g over 35.096 kg
    [check] = one.checks
    assert check.as_read == "77 °SAL" or check.as_read.startswith("77")
    assert check.value < 77_000_000
    [load] = [load for load in record.loads if load.batch]
    assert (load.batch, load.declared) == ("B-7", "short")


def test_pieces_and_weights_are_told_with_what_was_put_right(book: Book, lot: Lot) -> None:
    record = record_of(book, lot)
    [sample] = record.pieces
    assert [one.thickness for one in sample.pieces] == ["28 mm", "34 mm"]
    assert figures(sample.figures)["thickness"].startswith("28 mm (1.1 in) to 34 mm (1.34 in)")
    first, second = record.weights
    assert (first.corrected_by, second.corrects, second.reason) == (
        second.number,
        first.number,
        "misread",
    )
    said = figures(record.yields)
    assert said["trimmed"] == "87.5 %"
    assert said["lost in the work"] == "8 kg"


def test_the_pack_is_told_frozen_with_its_additives_and_its_day(book: Book, lot: Lot) -> None:
    thaw_packs(book.operator, lot, 2_000, "ordered fresh", seen("2026-03-05 08:00"))
    [pack] = record_of(book, lot).pack
    assert pack.storage == "frozen"
    assert pack.allergens[0] == f"fish ({lot.species_name})"
    assert any(one.startswith("sodium nitrite") for one in pack.additives)
    assert figures(pack.use_by)["use by"] == "4 Sep 2026"  # six months from packing
    [thawed] = pack.thawed
    assert (thawed.amount_g, thawed.reason) == (2_000, "ordered fresh")


def test_a_lot_that_is_not_packed_has_no_pack_to_tell_of(book: Book) -> None:
    record = record_of(book, book.open_lot("TR-1"))
    assert (record.pack, record.batches, record.yields) == ((), (), ())


def test_samples_sent_are_told_until_and_after_their_result_came(book: Book, lot: Lot) -> None:
    wanted = ["salt", "moisture", "sodium nitrite"]
    sending = Sending("Invented Bay Laboratory", wanted, "loin")
    at = moment("2026-03-05 08:00")
    row = send_samples(book.operator, lot, sending, at, at)
    [waits] = record_of(book, lot).sent
    assert (waits.wanted, waits.answered) == (tuple(wanted), "")
    report = NewReport({"salt": ["2.9"], "moisture": ["60"]}, "Invented Bay Laboratory", sent=row)
    enter_report(book.operator, lot, report, at, at, at)
    [partly] = record_of(book, lot).sent
    assert partly.answered == "not yet: sodium nitrite"
    report = NewReport({"sodium nitrite": ["120"]}, "Invented Bay Laboratory", sent=row)
    enter_report(book.operator, lot, report, at, at, at)
    record = record_of(book, lot)
    assert record.sent[0].answered == "has come"
    assert "salt, moisture, sodium nitrite" in paper(record)


def differences(record: LotRecord) -> list[str]:
    return [f"{one.what}: {one.stated} | {one.found}" for one in recomputed(record).differences]


def test_such_a_record_bears_itself_out_and_a_bent_batch_does_not(book: Book, lot: Lot) -> None:
    record = record_of(book, lot)
    assert record_from(canonical_bytes(record)) == record
    assert differences(record) == []
    one = record.batches[0]
    less = replace(one.parts[2], mg=one.parts[2].mg // 2)
    bent = replace(record, batches=(replace(one, parts=(*one.parts[:2], less)),))
    assert any(words.startswith("batch B-7") for words in differences(bent))
