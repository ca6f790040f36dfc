"""A logger's file into the book, through its entry."""

import hashlib

import pytest

from lots.core.series import unpack
from lots.entries import logger
from lots.entries.load import Portion, start_load
from lots.entries.logger import merkle_root
from lots.entries.refusals import NotAllowed, Refused
from lots.models.book import BookLine, LineLot
from lots.models.deviation import Deviation
from lots.models.lot import Lot
from lots.models.reading import LoggerImport, PackedSeries
from lots.models.scratch import StagedFile
from lots.queries.evidence import evidence
from tests.entries.roads import csv, imported, staged
from tests.make import Book, moment, seen

DAY_2 = "2026-03-05 11:50"
WARM = range(60_000, 61_000)  # seconds after 08:00: 00:40 to 00:56


def a_day(rows: int = 100_000, warm: range = WARM) -> bytes:
    """A cooler's logger, a reading a second from 08:00, warm for a while in the night."""
    figures = ["42.1" if n in warm else f"36.{n % 10}" for n in range(rows)]
    return csv("2026-03-04 08:00:00", 1, figures)


def in_cooler(book: Book, code: str, at: str, until: str | None = None) -> Lot:
    lot = book.open_lot(code)
    load = start_load(
        book.operator, book.place("Cooler"), [Portion(lot, "hold", lot.quantity_g)], seen(at)
    )
    if until:
        book.end(load, until)
    return lot


@pytest.fixture
def three_lots(book: Book) -> tuple[Lot, Lot, Lot]:
    """Three lots in one cooler: two through the night, one that left in the evening."""
    lots = (
        in_cooler(book, "TR-1", "08:00"),
        in_cooler(book, "TR-2", "09:00"),
        in_cooler(book, "TR-3", "09:30"),
    )
    book.at_place("Cooler", "20:00 36.2")
    book.end(lots[2].parts.get(step="hold").load, "21:00")
    return lots


def test_100_000_rows_go_in_and_judge_every_lot_that_was_there(
    book: Book, three_lots: tuple[Lot, Lot, Lot]
) -> None:
    data = a_day()
    done = imported(book, data, DAY_2, book.place("Cooler"))
    assert done.added == 100_000
    assert done.seen_before == 0
    judged = {one.part.lot.code for one in done.judged}
    assert judged == {"TR-1", "TR-2", "TR-3"}
    broken = {(d.lot.code, d.limit_id, d.broke_at) for d in Deviation.objects.all()}
    warm_at = moment("08:00") + WARM[0] * 1000
    assert broken == {("TR-1", "hold-cold", warm_at), ("TR-2", "hold-cold", warm_at)}
    assert {d.last_broke_at for d in Deviation.objects.all()} == {moment("08:00") + WARM[-1] * 1000}
    line = BookLine.objects.get(kind="logger file imported")
    spoken = set(LineLot.objects.filter(line=line).values_list("lot__code", flat=True))
    assert spoken == {"TR-1", "TR-2", "TR-3"}


def test_the_same_file_sent_again_adds_nothing_and_writes_no_line(book: Book) -> None:
    in_cooler(book, "TR-1", "08:00")
    data = a_day(5_000)
    imported(book, data, "10:00", book.place("Cooler"))
    before = BookLine.objects.count()
    again = imported(book, data, "10:05", book.place("Cooler"))
    assert (again.added, again.seen_before, again.row) == (0, 5_000, None)
    assert BookLine.objects.count() == before
    assert PackedSeries.objects.count() == 5
    assert not StagedFile.objects.exists()


def test_a_longer_file_adds_only_the_rest(book: Book) -> None:
    imported(book, a_day(5_000), "12:00", book.place("Cooler"))
    done = imported(book, a_day(7_500), "12:01", book.place("Cooler"))
    assert (done.added, done.seen_before) == (2_500, 5_000)
    stored = [at for row in PackedSeries.objects.all() for at in unpack(bytes(row.data)).at]
    assert sorted(stored) == [moment("08:00") + n * 1000 for n in range(7_500)]


def test_two_files_that_overlap_hold_each_reading_once(book: Book) -> None:
    first = csv("2026-03-04 08:00:00", 60, ["36.1"] * 60)
    second = csv("2026-03-04 08:30:00", 60, ["36.1"] * 60)
    imported(book, first, "11:00", book.place("Cooler"))
    done = imported(book, second, "11:01", book.place("Cooler"))
    assert (done.added, done.seen_before) == (30, 30)
    stored = [at for row in PackedSeries.objects.all() for at in unpack(bytes(row.data)).at]
    assert sorted(stored) == [moment("08:00") + n * 60_000 for n in range(90)]


def test_another_value_at_the_same_moment_is_kept_beside_the_first(book: Book) -> None:
    imported(book, csv("2026-03-04 08:00:00", 60, ["36.1"] * 3), "09:00", book.place("Cooler"))
    other = csv("2026-03-04 08:00:00", 60, ["36.1", "37.5", "36.1"])
    assert imported(book, other, "09:01", book.place("Cooler")).added == 1


def test_the_same_rows_in_another_place_are_other_readings(book: Book) -> None:
    data = csv("2026-03-04 08:00:00", 60, ["36.1"] * 3)
    imported(book, data, "09:00", book.place("Cooler"))
    assert imported(book, data, "09:01", book.place("Brine room")).added == 3


def test_each_of_two_probes_is_a_series_of_its_own(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("smoke", "Smokehouse 1", "10:45", lot)
    data = csv("2026-03-04 10:45:00", 300, ["140.1"] * 12, ["146.3"] * 12)
    imported(book, data, "11:45", load.place, load, {1: "tail", 2: "head"})
    found = evidence(load).series["fish"]
    assert {probe: len(runs[0]) for probe, runs in found.items()} == {"tail": 12, "head": 12}
    heat = book.judged(lot, "smoke", "11:45")["smoke-heat"]
    assert heat.verdict.value == "PENDING"  # the cooler probe governs, and three are asked for


def test_two_columns_under_one_probe_are_refused_and_nothing_is_written(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("smoke", "Smokehouse 1", "10:45", lot)
    data = csv("2026-03-04 10:45:00", 300, ["140"] * 3, ["146"] * 3)
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        imported(book, data, "11:45", load.place, load, {1: "tail", 2: "tail"})
    assert "its own probe" in refusal.value.fields["probes"]
    assert BookLine.objects.count() == before


def test_probes_in_fish_must_be_named(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("smoke", "Smokehouse 1", "10:45", lot)
    data = csv("2026-03-04 10:45:00", 300, ["140"] * 3)
    with pytest.raises(Refused) as refusal:
        imported(book, data, "11:45", load.place, load)
    assert "Name the probe" in refusal.value.fields["probes"]


def test_packed_bytes_are_kept_under_their_sha256_and_the_root_covers_them(book: Book) -> None:
    done = imported(book, a_day(2_500), "12:00", book.place("Cooler"))
    rows = list(PackedSeries.objects.order_by("id"))
    assert [row.count for row in rows] == [1000, 1000, 500]
    for row in rows:
        assert row.digest == hashlib.sha256(bytes(row.data)).hexdigest()
    assert done.row is not None
    assert done.row.root == merkle_root([bytes(row.data) for row in rows])
    assert f'"root":"{done.row.root}"' in done.row.line.content


# The tree heads over the first leaves of the reference vectors for RFC 6962 section 2.1 (from memory).
LEAVES = [
    bytes.fromhex(text)
    for text in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657",
                 "606162636465666768696a6b6c6d6e6f")
]  # fmt: skip
HEADS = {
    0: "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    2: "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    4: "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    5: "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}


@pytest.mark.parametrize("count", HEADS)
def test_the_root_agrees_with_the_published_tree_heads(count: int) -> None:
    assert merkle_root(LEAVES[:count]) == HEADS[count]


def test_the_root_of_three_leaves_by_hand() -> None:
    def leaf(data: bytes) -> bytes:
        return hashlib.sha256(b"\x00" + data).digest()

    def node(left: bytes, right: bytes) -> bytes:
        return hashlib.sha256(b"\x01" + left + right).digest()

    by_hand = node(node(leaf(b"a"), leaf(b"b")), leaf(b"c")).hex()
    assert merkle_root([b"a", b"b", b"c"]) == by_hand


def test_what_somebody_else_took_in_meanwhile_is_not_added_twice(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = csv("2026-03-04 08:00:00", 60, ["36.1"] * 20)
    mine = staged(book, data, "09:00", book.place("Cooler"))
    whole = logger.notice_lapses
    others: list[object] = []

    def meanwhile(lots: list[Lot], at: int) -> int:
        if not others:
            others.append("begun")
            others.append(imported(book, data, "09:00", book.place("Cooler")))
        return whole(lots, at)

    monkeypatch.setattr(logger, "notice_lapses", meanwhile)
    house = logger.Establishment.objects.get()
    done = logger.import_file(
        book.operator, mine, logger.Choices(), {}, None, house, moment("09:01")
    )
    assert (done.added, done.row) == (0, None)
    assert LoggerImport.objects.count() == 1
    assert BookLine.objects.filter(kind="logger file imported").count() == 1


def test_a_file_of_50_mb_and_more_is_refused_before_it_is_read(book: Book) -> None:
    with pytest.raises(Refused) as refusal:
        staged(book, b"x" * 50_000_001, "09:00", book.place("Cooler"))
    assert "50 MB" in refusal.value.fields["file"]
    assert not StagedFile.objects.exists()


def test_a_file_that_does_not_tell_its_dates_apart_writes_nothing(book: Book) -> None:
    lines = "Date,Temp (F)\n" + "".join(f"03/04/2026 0{n}:00,36.1\n" for n in range(5))
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        imported(book, lines.encode(), "12:00", book.place("Cooler"))
    assert "more than one way" in refusal.value.fields["file"]
    assert BookLine.objects.count() == before
    assert not PackedSeries.objects.exists()


def test_only_an_operator_takes_a_file_in(book: Book) -> None:
    data = csv("2026-03-04 08:00:00", 60, ["36.1"])
    with pytest.raises(NotAllowed):
        logger.stage_file(
            book.inspector,
            book.place("Cooler"),
            None,
            logger.Upload("x.csv", data),
            moment("09:00"),
        )
