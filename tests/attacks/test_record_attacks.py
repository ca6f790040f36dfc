"""Attacks on a sealed record.  Those made with the establishment's own key are the hard ones: the seal
then holds, and only the record's own contradictions tell."""

import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import pikepdf
import pytest

from lots.core.basis import RunFacts
from lots.core.record import LotRecord, canonical_bytes
from lots.pdf.archive import Attached, archived
from lots.pdf.check import CheckResult, check
from lots.pdf.layout import PAPERS
from lots.pdf.render import (
    ATTACHMENT,
    _attachments,
    _paint,
    _told,
    lay_out,
    render,
)
from lots.pdf.seal import load_sealer, make_seal_key, seal, trusted_certificates
from tests.attacks.table import NOT_FOUND, print_table
from tests.pdf.real import real_record, unsealed

NOW = datetime(2026, 3, 6, 17, 0, tzinfo=UTC)
FLIPS = 200
PASSPHRASE = b"invented, of the tests"
TABLE: list[tuple[str, str]] = []


@pytest.fixture(scope="module")
def ours(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("ours") / "keys"
    make_seal_key(folder, "Invented Creek Smokehouse", NOW, PASSPHRASE)
    return folder


@pytest.fixture(scope="module")
def theirs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("theirs") / "keys"
    make_seal_key(folder, "Invented Creek Smokehouse", NOW, PASSPHRASE)
    return folder


@pytest.fixture(scope="module", autouse=True)
def table() -> Iterator[None]:
    yield
    print_table("Attacks on a sealed record", TABLE)


def sealed_by(folder: Path, pdf: bytes) -> bytes:
    key = load_sealer(folder, PASSPHRASE)
    return seal(pdf, key, now=NOW, reason="Record", location="Nowhere", name="Invented Creek")


@pytest.fixture(scope="module")
def sealed(ours: Path) -> bytes:
    return sealed_by(ours, unsealed())


def gap_of(data: bytes) -> tuple[int, int]:
    start = data.index(b"/Contents <", data.index(b"/ETSI.CAdES.detached") - 60_000) + 10
    return start, data.index(b">", start) + 1


def caught(attack: str, result: CheckResult, exit_code: int, *words: str) -> None:
    said = " ".join(result.lines)
    TABLE.append((attack, f"check_record exits {result.exit_code}: {_first(result)}"))
    assert result.exit_code == exit_code, said
    for word in words:
        assert word in said, said


def _first(result: CheckResult) -> str:
    if result.exit_code == 3:
        return "whose seal it is could not be established"
    return NOT_FOUND if result.exit_code == 0 else result.lines[0]


def test_the_record_that_is_attacked_is_intact(ours: Path, sealed: bytes) -> None:
    result = check(sealed, trusted_certificates(ours))
    assert result.exit_code == 0, result.lines
    assert result.verdicts == len(real_record().verdicts) > 0
    TABLE.append(("none: the record as it was sealed", "check_record exits 0"))


@pytest.mark.parametrize("where", ["over the file", "inside the signature's gap"])
def test_byte_flips(ours: Path, sealed: bytes, where: str) -> None:
    first, last = gap_of(sealed)
    inside = where != "over the file"
    places = range(first, last) if inside else [
        i for i in range(len(sealed)) if not first <= i < last
    ]  # fmt: skip
    draw, missed = random.Random(where), []
    for place in draw.sample(list(places), FLIPS):
        bent = bytearray(sealed)
        bent[place] ^= 1 << draw.randrange(8)
        if check(bytes(bent), trusted_certificates(ours)).exit_code != 1:
            missed.append(place)
    words = f"check_record exits 1, {FLIPS - len(missed)} of {FLIPS}"
    TABLE.append((f"{FLIPS} byte flips {where}", words))
    assert missed == []


def test_a_revision_appended(ours: Path, sealed: bytes) -> None:
    from pyhanko.pdf_utils import generic
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

    writer = IncrementalPdfFileWriter(BytesIO(sealed))
    writer.root["/PageMode"] = generic.NameObject("/UseOutlines")
    writer.update_root()
    out = BytesIO()
    writer.write(out)
    result = check(out.getvalue(), trusted_certificates(ours))
    caught("a revision appended after the seal", result, 1, "added to the file")


def edited(change: Callable[[Any], None]) -> bytes:
    """The unsealed file with something in it changed by a PDF editor."""
    out = BytesIO()
    with pikepdf.open(BytesIO(unsealed())) as file:
        change(file)
        file.save(out)
    return out.getvalue()


def _page_replaced(file: Any) -> None:
    other = pikepdf.open(BytesIO(render(replace(real_record(), made_by="XX"), "A4")))
    file.pages[0] = other.pages[0]


def test_a_page_replaced_and_sealed_by_us(ours: Path) -> None:
    result = check(sealed_by(ours, edited(_page_replaced)), trusted_certificates(ours))
    caught("a page replaced, and the file sealed by us", result, 1, "page 1 prints")


def printed_otherwise(record: LotRecord, said: LotRecord) -> bytes:
    """Pages that print one record with another attached."""
    import hashlib

    data = canonical_bytes(said)
    pages = lay_out(record, PAPERS["letter"], hashlib.sha256(data).hexdigest())
    return archived(_paint(pages, PAPERS["letter"]), _told(said), _attachments(said, data))


def raised(record: LotRecord) -> LotRecord:
    """A reading typed higher than it was, in the list alone."""
    first = record.readings[0]
    readings = (replace(first, as_read="33.0"), *record.readings[1:])
    return replace(record, readings=readings)


def test_a_printed_reading_changed_and_sealed_by_us(ours: Path) -> None:
    pdf = printed_otherwise(raised(real_record()), real_record())
    result = check(sealed_by(ours, pdf), trusted_certificates(ours))
    caught("a printed reading changed, and the file sealed by us", result, 1, "prints “33.0")


def milder(record: LotRecord) -> LotRecord:
    verdicts = tuple(
        replace(one, verdict="MET") if one.verdict == "DEVIATION" else one
        for one in record.verdicts
    )
    assert verdicts != record.verdicts
    return replace(record, verdicts=verdicts)


def test_a_printed_verdict_changed_and_sealed_by_us(ours: Path) -> None:
    pdf = printed_otherwise(milder(real_record()), real_record())
    result = check(sealed_by(ours, pdf), trusted_certificates(ours))
    caught("a printed verdict changed, and the file sealed by us", result, 1, "within limits")


def test_a_logged_figure_changed_on_the_pages_and_sealed_by_us(ours: Path) -> None:
    record = real_record()
    series = record.series[0]
    colder = replace(series, ninths=tuple(n - 45_000 for n in series.ninths))
    bent = replace(record, series=(colder, *record.series[1:]))
    result = check(sealed_by(ours, printed_otherwise(bent, record)), trusted_certificates(ours))
    caught("a logger's printed figures changed, sealed by us", result, 1, "prints")


def test_a_verdict_changed_on_the_pages_and_in_the_attachment(ours: Path) -> None:
    result = check(sealed_by(ours, render(milder(real_record()))), trusted_certificates(ours))
    caught("a verdict changed on pages and attachment, sealed by us", result, 1, "verdict")


def test_a_figure_changed_on_the_pages_and_in_the_attachment(ours: Path) -> None:
    result = check(sealed_by(ours, render(raised_all(real_record()))), trusted_certificates(ours))
    caught("a reading changed on pages and list, not where judged", result, 1, "not listed")


def raised_all(record: LotRecord) -> LotRecord:
    """A reading changed wherever it is listed, but not among the runs that were judged."""
    used = {basis.load for basis in record.bases}
    at = next(i for i, one in enumerate(record.readings) if one.load in used)
    readings = list(record.readings)
    readings[at] = replace(readings[at], as_read="33.0", value=5_000)
    return replace(record, readings=tuple(readings))


def test_a_logger_reading_changed_wherever_it_is_but_not_its_verdict(ours: Path) -> None:
    record = real_record()
    colder = {
        run: RunFacts(run.unit, run.at, tuple(n - 45_000 for n in run.ninths))
        for run in record.runs
    }
    bent = replace(
        record,
        runs=tuple(colder.values()),
        series=tuple(replace(s, ninths=tuple(n - 45_000 for n in s.ninths)) for s in record.series),
        readings=tuple(replace(r, value=r.value - 45_000) for r in record.readings),
    )
    result = check(sealed_by(ours, render(bent)), trusted_certificates(ours))
    caught(
        "all readings lowered everywhere, verdicts left, sealed by us", result, 1, "is stated as"
    )


def test_everything_made_anew_and_sealed_by_us(ours: Path) -> None:
    """Whoever has the key and makes a whole, consistent record: the file itself cannot tell."""
    bent = replace(
        real_record(), establishment=replace(real_record().establishment, address="2 Else")
    )
    result = check(sealed_by(ours, render(bent)), trusted_certificates(ours))
    TABLE.append((
        "a whole other record, consistent in itself, sealed by us",
        f"{NOT_FOUND} in the file; the book's digest of the file issued (check_book) disagrees",
    ))  # fmt: skip
    assert result.exit_code == 0


def test_an_attachment_replaced_and_sealed_by_us(ours: Path) -> None:
    other = canonical_bytes(replace(real_record(), changed="Another"))

    def change(file: Any) -> None:
        file.attachments[ATTACHMENT] = pikepdf.AttachedFileSpec(file, other, filename=ATTACHMENT)

    result = check(sealed_by(ours, edited(change)), trusted_certificates(ours))
    caught("the attached record replaced, and the file sealed by us", result, 1, "page 1 prints")


def test_the_table_of_readings_replaced_and_sealed_by_us(ours: Path) -> None:
    def change(file: Any) -> None:
        name = "readings.csv"
        file.attachments[name] = pikepdf.AttachedFileSpec(file, b"kind\r\n", filename=name)

    result = check(sealed_by(ours, edited(change)), trusted_certificates(ours))
    caught("the attached table replaced, and the file sealed by us", result, 1, "table of readings")


def test_a_picture_laid_over_a_page_and_sealed_by_us(ours: Path) -> None:
    def change(file: Any) -> None:
        page = file.pages[0]
        page.contents_add(b"/Im1 Do", prepend=False)

    result = check(sealed_by(ours, edited(change)), trusted_certificates(ours))
    caught("a picture painted over a page, and the file sealed by us", result, 1, "painted with")


def test_a_note_laid_over_a_page_and_sealed_by_us(ours: Path) -> None:
    def change(file: Any) -> None:
        note = pikepdf.Dictionary(
            Type=pikepdf.Name.Annot, Subtype=pikepdf.Name.FreeText, Rect=[0, 0, 300, 300],
            Contents=pikepdf.String("within limits"),
        )  # fmt: skip
        file.pages[0].Annots = pikepdf.Array([file.make_indirect(note)])

    result = check(sealed_by(ours, edited(change)), trusted_certificates(ours))
    caught("a note laid over a page, and the file sealed by us", result, 1, "laid over page 1")


def test_white_laid_over_a_page_and_sealed_by_us(ours: Path) -> None:
    def change(file: Any) -> None:
        white = b"1 g n 0 0 m 600 0 l 600 800 l 0 800 l h f*"
        file.pages[0].contents_add(white, prepend=False)

    result = check(sealed_by(ours, edited(change)), trusted_certificates(ours))
    caught("white painted over a page, and the file sealed by us", result, 1, "lines and shapes")


def test_a_face_whose_letters_say_otherwise(ours: Path) -> None:
    def change(file: Any) -> None:
        font = next(iter(file.pages[0].Resources.Font.values()))
        told = font.ToUnicode.read_bytes().replace(b"<33> <0033>", b"<33> <0038>")
        font.ToUnicode = pikepdf.Stream(file, told)

    result = check(sealed_by(ours, edited(change)), trusted_certificates(ours))
    caught("a face's map bent so that 3 reads as 8, sealed by us", result, 1, "prints")


def test_resealed_by_another_key(ours: Path, theirs: Path) -> None:
    result = check(sealed_by(theirs, unsealed()), trusted_certificates(ours))
    caught("resealed by another key of the same name", result, 3, "could not be established")


def test_a_bomb_attached_is_not_unpacked(ours: Path) -> None:
    bomb = Attached(ATTACHMENT, "application/json", "a bomb", b"0" * 101_000_000)

    def change(file: Any) -> None:
        file.attachments[ATTACHMENT] = pikepdf.AttachedFileSpec(
            file, bomb.data, filename=ATTACHMENT
        )

    result = check(sealed_by(ours, edited(change)), trusted_certificates(ours))
    caught("an attachment of 101 MB that packs to little", result, 1, "more than 100 MB")
