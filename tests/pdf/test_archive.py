"""The file as an archive knows it.  No checker of PDF/A-3 is in Debian; one of PDF/A-1b is, so the same
pages are written as 1b, before anything is attached, and given to it."""

from io import BytesIO
from pathlib import Path
from subprocess import run

import pikepdf
import pytest

from lots.core.readings_csv import readings_csv
from lots.core.record import canonical_bytes
from lots.pdf.archive import archived, grey_profile
from lots.pdf.attached import attachments
from lots.pdf.layout import PAPERS
from lots.pdf.render import ATTACHMENT, TABLE, _paint, _told, lay_out, render
from lots.pdf.square import square_words
from tests.pdf.make import make_record
from tests.pdf.real import real_record, unsealed

JARS = (
    "preflight",
    "pdfbox2",
    "xmpbox",
    "fontbox2",
    "commons-logging",
    "javax.activation",
    "jaxb-api",
)
CLASSPATH = ":".join(f"/usr/share/java/{jar}.jar" for jar in JARS)


def as_1b() -> bytes:
    pages = lay_out(make_record(), PAPERS["letter"], "ab" * 32)
    return archived(_paint(pages, PAPERS["letter"]), _told(make_record()), [], part=1)


def preflight(pdf: bytes, folder: Path) -> str:
    (folder / "record.pdf").write_bytes(pdf)
    checker = "org.apache.pdfbox.preflight.Validator_A1b"
    done = run(
        ["java", "-cp", CLASSPATH, checker, "record.pdf"],
        cwd=folder,
        capture_output=True,
        text=True,
    )
    return done.stdout + done.stderr


def test_the_pages_are_valid_pdf_a_1b_before_anything_is_attached(tmp_path: Path) -> None:
    assert "is a valid PDF/A-1b file" in preflight(as_1b(), tmp_path)


@pytest.mark.parametrize("gone", ["/OutputIntents", "/Metadata"])
def test_the_checker_notices_what_is_missing(tmp_path: Path, gone: str) -> None:
    out = BytesIO()
    with pikepdf.open(BytesIO(as_1b())) as file:
        del file.Root[gone]
        file.save(out, object_stream_mode=pikepdf.ObjectStreamMode.disable, force_version="1.4")
    assert "is not a valid" in preflight(out.getvalue(), tmp_path)


def test_every_face_is_embedded_and_nothing_else_is_used(tmp_path: Path) -> None:
    (tmp_path / "record.pdf").write_bytes(unsealed())
    said = run(["pdffonts", "record.pdf"], cwd=tmp_path, capture_output=True, text=True).stdout
    faces = said.splitlines()[2:]
    assert faces and all("DejaVu" in face for face in faces)
    assert all(" yes yes yes " in face for face in faces)  # embedded, subset, mapped to Unicode


def test_the_file_says_what_it_is() -> None:
    with pikepdf.open(BytesIO(unsealed())) as file:
        said = file.Root.Metadata.read_bytes().decode()
        assert "<pdfaid:part>3</pdfaid:part>" in said
        assert str(file.docinfo["/Title"]) in said
        assert str(file.Root.Lang) == "en-US"
        assert file.Root.OutputIntents[0].DestOutputProfile.read_bytes() == grey_profile()
        assert [str(one.AFRelationship) for one in file.Root.AF] == ["/Data", "/Data"]


def test_what_is_attached_is_the_record_and_its_table(tmp_path: Path) -> None:
    with pikepdf.open(BytesIO(unsealed())) as file:
        held = attachments(file)
    assert held == {
        ATTACHMENT: canonical_bytes(real_record()),
        TABLE: readings_csv(real_record()),
    }
    (tmp_path / "record.pdf").write_bytes(unsealed())
    words = ["qpdf", "--list-attachments", "record.pdf"]
    said = run(words, cwd=tmp_path, capture_output=True, text=True, check=True).stdout
    assert ATTACHMENT in said and TABLE in said
    assert run(["qpdf", "--check", "record.pdf"], cwd=tmp_path, capture_output=True).returncode == 0


@pytest.mark.parametrize("page", ["letter", "A4"])
def test_a_camera_reads_the_square_code(tmp_path: Path, page: str) -> None:
    import zxingcpp
    from PIL import Image

    (tmp_path / "record.pdf").write_bytes(render(real_record(), page))  # type: ignore[arg-type]
    run(["pdftoppm", "-r", "110", "-png", "-f", "1", "-l", "1", "record.pdf", "p"], cwd=tmp_path)
    (picture,) = tmp_path.glob("p-*.png")
    import hashlib

    digest = hashlib.sha256(canonical_bytes(real_record())).hexdigest()
    read = [one.text for one in zxingcpp.read_barcodes(Image.open(picture))]
    assert read == [square_words(real_record(), digest)]
