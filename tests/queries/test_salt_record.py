"""The record of a lot whose pieces were measured before its step, and whose laboratory was put right."""

import pytest

from lots.core.recomputed import recomputed
from lots.core.record import LotRecord, canonical_bytes, record_from
from lots.entries.laboratory import (
    NewReport,
    PutRight,
    Sending,
    correct_report,
    enter_report,
    give_up_samples,
    send_samples,
)
from lots.entries.pieces import TypedPieces, correct_pieces, measure_pieces
from lots.entries.weights import correct_weight, weigh_stage
from lots.models.lot import Lot
from lots.queries.book_check import book_faults
from tests.make import Book, make_book, moment, seen
from tests.queries.test_record import paper, record_of

AT = "2026-03-06 10:00"


@pytest.fixture
def chilled(db: None) -> Book:
    return make_book("hot-smoked-air-chilled")


@pytest.fixture
def lot(chilled: Book) -> Lot:
    return chilled.open_lot("TR-1")


def read_back(book: Book, lot: Lot) -> LotRecord:
    return record_from(canonical_bytes(record_of(book, lot)))


def test_pieces_measured_before_their_step_are_listed_judged_and_computed_again(
    chilled: Book, lot: Lot
) -> None:
    typed = TypedPieces(["1.2", "1.3"], [], "in", "oz")
    row = measure_pieces(chilled.operator, lot, typed, seen("07:10"))
    chilled.end(chilled.start("brine", "Brine tank 1", "07:20", lot), "13:30")
    correct_pieces(
        chilled.operator, row, TypedPieces(["1.2", "1.4"], [], "in"), "misread", seen("13:40")
    )
    record = read_back(chilled, lot)
    assert recomputed(record).differences == ()
    figure = next(one.figure for one in record.verdicts if "thickness" in one.figure)
    assert figure.startswith("thickness 1.4 in")
    listed = [(one.as_read, one.probe) for one in record.readings if one.quantity == "thickness"]
    assert listed == [
        ("1.2", f"piece 1 of sample {row.pk}"),
        ("1.3", f"piece 2 of sample {row.pk}"),
        ("1.4", f"piece 2 of sample {row.pk}"),
    ]


def test_a_report_put_right_and_one_that_will_not_come_are_printed(chilled: Book, lot: Lot) -> None:
    at = moment(AT)
    sent = send_samples(chilled.operator, lot, Sending("Bay", ["Listeria"]), at, at)
    report = NewReport({"salt": ["2.9"], "moisture": ["62.1"]}, "Bay")
    rows = enter_report(chilled.operator, lot, report, at, at, at)
    right = PutRight({"salt": ["2.4"], "moisture": ["62.1"]}, "wrong line")
    correct_report(chilled.reviewer, rows[0].line_id, right, at)
    give_up_samples(chilled.reviewer, sent, "lost in the post", at)
    record = read_back(chilled, lot)
    said = [(one.quantity, [s.figure for s in one.samples], one.corrects) for one in record.results]
    salt, _, ours = (row.pk for row in rows)
    assert said == [
        ("salt", ["2.9 %"], 0),
        ("moisture", ["62.1 %"], 0),
        ("water-phase salt", ["4.4615 %"], 0),
        ("salt", ["2.4 %"], salt),
        ("water-phase salt", ["3.7209 %"], ours),
        ("Listeria", [], 0),
    ]
    pages = paper(record)
    assert "computed from the salt and" in pages
    assert "no result will come of these samples: lost in the post" in pages
    assert recomputed(record).differences == ()


def test_the_walk_finds_every_new_kind_of_act_as_it_was_written(chilled: Book, lot: Lot) -> None:
    at = moment(AT)
    sent = send_samples(chilled.operator, lot, Sending("Bay", ["salt"]), at, at)
    report = NewReport({"salt": ["2.9"]}, "Bay", sent=sent)
    rows = enter_report(chilled.operator, lot, report, at, at, at)
    correct_report(chilled.reviewer, rows[0].line_id, PutRight({"salt": [""]}, "not ours"), at)
    give_up_samples(chilled.reviewer, sent, "lost in the post", at)
    enter_report(
        chilled.coordinator, lot.plan_version.plan, NewReport({"pH": ["6"]}, "Bay"), at, at, at
    )
    row = measure_pieces(chilled.operator, lot, TypedPieces(["30"], ["200"]), seen("07:10"))
    correct_pieces(chilled.operator, row, None, "of another lot", seen("07:20"))
    weight = weigh_stage(chilled.operator, lot, "trimmed", "15", "kg", seen("07:30"))
    correct_weight(chilled.operator, weight, "14", "kg", "with the tub", seen("07:40"))
    assert list(book_faults()) == []
