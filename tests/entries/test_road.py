"""One lot from receiving to its sealed record, through entries alone."""

import pytest

from lots.entries.lot import finish_lot
from lots.entries.record import issue_record, seal_folder
from lots.entries.refusals import Refused
from lots.entries.review import release_lot, sign_reviews
from lots.models.deviation import Deviation
from lots.models.lot import Lot
from lots.pdf.check import check
from lots.pdf.seal import trusted_certificates
from lots.queries.house import establishment, file_bytes
from lots.queries.release import bars, last_line
from tests.make import Book, moment, seen

LABEL = (
    "label names the species as an allergen and each ingredient and additive, and says “Keep frozen” "
    "and “Thaw under refrigeration immediately before use”"
)


def smoke_and_pack(book: Book, lot: Lot) -> None:
    """A whole day's work on a lot, every limit met."""
    brine = book.start("brine", "Brine tank 1", "07:30", lot)
    book.at_place("Brine tank 1", "07:31 44.2, 09:15 43.0, 10:30 42.1")
    book.end(brine, "11:00")
    smoke = book.start("smoke", "Smokehouse 1", "11:30", lot)
    book.fish(smoke, "11:35 41.0, 13:00 112.4, 14:00 147.3, 14:15 149.9, 14:30 151.2")
    book.end(smoke, "14:40")
    cool = book.start("cool", "Cooler", "14:45", lot)
    book.fish(cool, "14:50 146.0, 15:40 98.2, 16:30 66.0, 17:20 48.3, 18:10 38.9")
    book.end(cool, "18:15")
    pack = book.start("pack", "Table", "18:20", lot, kg=16)
    book.observe(pack, LABEL, True, "18:40")
    book.end(pack, "19:00")
    freeze = book.start("freeze", "Freezer", "19:05", lot, kg=16)
    book.at_place("Freezer", "19:10 -4.2, 23:50 -5.0")
    book.observe(freeze, "packs from the middle of the load frozen solid", True, "23:51")
    book.end(freeze, "23:52")
    finish_lot(book.operator, lot, 16_000, 40, seen("23:55"))


def test_a_lot_goes_the_whole_road_and_its_seal_is_intact(book: Book) -> None:
    lot = book.open_lot()
    smoke_and_pack(book, lot)
    assert not Deviation.objects.exists()
    at = moment("2026-03-05 09:00")
    assert bars(Lot.objects.get(pk=lot.pk), at) == ["its records are not reviewed"]
    line = last_line(lot)
    assert line is not None
    sign_reviews(book.reviewer, [(lot, line.number)], "", at)
    release_lot(book.reviewer, lot, {"release": 16_000}, "", at)
    house = establishment()
    assert house is not None
    row = issue_record(book.reviewer, lot, house, at)
    result = check(file_bytes(row.file), trusted_certificates(seal_folder()))
    assert result.exit_code == 0


def test_a_lot_that_is_not_finished_is_not_released(book: Book) -> None:
    lot = book.open_lot()
    with pytest.raises(Refused, match="Not released"):
        release_lot(book.reviewer, lot, {"release": 20_000}, "", moment("09:00"))
