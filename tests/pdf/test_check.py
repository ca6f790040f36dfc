import random
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from subprocess import run

import pytest

from lots.pdf.check import check, main
from lots.pdf.render import render
from lots.pdf.seal import load_sealer, make_seal_key, seal, trusted_certificates
from tests.pdf.real import real_record, unsealed

NOW = datetime(2026, 3, 6, 14, 10, tzinfo=UTC)
FLIPS = 60
PASSPHRASE = b"invented, of the tests"


def sealed_by(folder: Path, pdf: bytes) -> bytes:
    return seal(
        pdf, load_sealer(folder, PASSPHRASE), now=NOW, reason="Record of lot T-0304-1", location="Fictional Harbor, ME",
        name="Larkwater Smokehouse",
    )  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("keys") / "seal"
    make_seal_key(folder, "Larkwater Smokehouse", NOW, PASSPHRASE)
    return folder


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("other")
    make_seal_key(folder, "Larkwater Smokehouse", NOW, PASSPHRASE)
    return folder


@pytest.fixture(scope="module")
def sealed(folder: Path) -> bytes:
    return sealed_by(folder, unsealed())


def gap_of(data: bytes) -> tuple[int, int]:
    """Where the seal's hex begins and ends."""
    start = data.index(b"/Contents <", data.index(b"/ETSI.CAdES.detached") - 60_000) + 10
    return start, data.index(b">", start) + 1


def test_an_untouched_record_is_intact_and_trusted(sealed: bytes, folder: Path) -> None:
    result = check(sealed, trusted_certificates(folder))
    assert (result.outcome, result.exit_code) == ("intact", 0)
    assert "Larkwater Smokehouse" in result.signer
    assert result.sealed_at == "2026-03-06T14:10:00+00:00"


def test_the_sealing_certificate_itself_may_be_the_trusted_one(sealed: bytes, folder: Path) -> None:
    assert check(sealed, [(folder / "seal.pem").read_bytes()]).exit_code == 0


def test_a_seal_by_a_key_of_the_same_name_is_not_the_establishments(
    folder: Path, other: Path
) -> None:
    result = check(sealed_by(other, unsealed()), trusted_certificates(folder))
    assert (result.outcome, result.exit_code) == ("unknown", 3)
    assert result.fingerprint and result.fingerprint[:4] in " ".join(result.lines)


def test_with_nothing_trusted_the_fingerprint_is_what_remains(sealed: bytes) -> None:
    assert check(sealed, []).exit_code == 3


def test_a_byte_changed_anywhere_is_found(sealed: bytes, folder: Path) -> None:
    first, last = gap_of(sealed)
    outside = [i for i in range(len(sealed)) if not first <= i < last]
    places = [0, 5, first - 1, last, len(sealed) - 1, *random.Random(1).sample(outside, FLIPS)]
    assert unnoticed(sealed, places, folder) == []


def test_a_byte_changed_in_the_seals_own_gap_is_found(sealed: bytes, folder: Path) -> None:
    first, last = gap_of(sealed)
    places = [first, first + 1, last - 2, last - 1]
    used = first + len(sealed[first:last].rstrip(b"0>"))
    places += random.Random(2).sample(range(first, used), FLIPS // 2)
    places += random.Random(3).sample(range(used, last), FLIPS // 2)
    assert unnoticed(sealed, places, folder) == []


def unnoticed(sealed: bytes, places: list[int], folder: Path) -> list[int]:
    """The places whose lowest bit, or letter case, can be turned without the check saying 1."""
    trusted, missed = trusted_certificates(folder), []
    for place in places:
        changed = bytearray(sealed)
        changed[place] ^= 32 if chr(changed[place]).isalpha() else 1
        if check(bytes(changed), trusted).exit_code != 1:
            missed.append(place)
    return missed


def test_each_digit_of_the_seal_replaced_by_another_hex_digit_is_found(
    sealed: bytes, folder: Path
) -> None:
    """Still valid hex, so the parser is content: every fortieth digit of the signature."""
    first, _ = gap_of(sealed)
    trusted, missed = trusted_certificates(folder), []
    used = len(sealed[first:].split(b">")[0].rstrip(b"0"))
    for place in range(first + 1, first + used, 40):
        changed = bytearray(sealed)
        changed[place] = ord("1") if changed[place] != ord("1") else ord("E")
        if check(bytes(changed), trusted).exit_code != 1:
            missed.append(place - first)
    assert missed == []


def test_a_revision_appended_is_found(sealed: bytes, folder: Path) -> None:
    from io import BytesIO

    from pyhanko.pdf_utils import generic
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

    writer = IncrementalPdfFileWriter(BytesIO(sealed))
    writer.root["/PageMode"] = generic.NameObject("/UseOutlines")
    writer.update_root()
    out = BytesIO()
    writer.write(out)
    result = check(out.getvalue(), trusted_certificates(folder))
    assert result.exit_code == 1
    assert "added" in result.lines[0]


@pytest.mark.parametrize("tail", [b"\n", b" ", b"%%EOF\n", b"0" * 40])
def test_bytes_appended_are_found(sealed: bytes, folder: Path, tail: bytes) -> None:
    assert check(sealed + tail, trusted_certificates(folder)).exit_code == 1


def test_a_file_cut_short_is_found(sealed: bytes, folder: Path) -> None:
    assert check(sealed[:-200], trusted_certificates(folder)).exit_code == 1


def test_a_seal_moved_onto_another_record_is_found(sealed: bytes, folder: Path) -> None:
    another = sealed_by(folder, render(replace(real_record(), changed="Something else")))
    (a, b), (c, d) = gap_of(sealed), gap_of(another)
    moved = another[:c] + sealed[a:b] + another[d:]
    assert b - a == d - c
    assert check(moved, trusted_certificates(folder)).exit_code == 1


@pytest.mark.parametrize(
    ("data", "word"),
    [(b"", "empty"), (b"Lot;code\n1;2\n", "not a PDF"), (b"%PDF-1.7\nnothing", "damaged")],
)
def test_what_is_no_sealed_record_is_said_plainly(data: bytes, word: str) -> None:
    result = check(data, [])
    assert result.exit_code == 1
    assert word in result.lines[0]


def test_a_pdf_without_a_seal_is_said_plainly() -> None:
    result = check(unsealed(), [])
    assert (result.exit_code, result.lines) == (1, ("This PDF carries no seal.",))


def test_the_command_exits_as_the_check_says(
    sealed: bytes, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "record.pdf"
    file.write_bytes(sealed)
    assert main([str(file), "--trust", str(folder / "seal-ca.pem")]) == 0
    assert main([str(file)]) == 3
    file.write_bytes(sealed.replace(b"Larkwater", b"Barkwater", 1))
    assert main([str(file)]) == 1
    assert "Altered" in capsys.readouterr().out


def test_the_check_reaches_for_no_network(
    sealed: bytes, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import socket

    def refuse(*arguments: object, **named: object) -> None:
        raise AssertionError("the check opened a connection")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    assert check(sealed, trusted_certificates(folder)).exit_code == 0


def test_poppler_accepts_the_seal(sealed: bytes, tmp_path: Path) -> None:
    file = tmp_path / "record.pdf"
    file.write_bytes(sealed)
    said = run(["pdfsig", "-nocert", str(file)], capture_output=True, text=True).stdout
    for words in ("Signature is Valid", "Total document signed", "ETSI.CAdES.detached", "SHA-256"):
        assert words in said


def test_pyhanko_accepts_the_seal(sealed: bytes, folder: Path) -> None:
    from io import BytesIO

    from asn1crypto import pem, x509
    from pyhanko.pdf_utils.reader import PdfFileReader
    from pyhanko.sign.validation import validate_pdf_signature
    from pyhanko_certvalidator import ValidationContext

    authority = x509.Certificate.load(pem.unarmor(trusted_certificates(folder)[0])[2])
    context = ValidationContext(trust_roots=[authority], allow_fetching=False, moment=NOW)
    (one,) = PdfFileReader(BytesIO(sealed)).embedded_signatures
    status = validate_pdf_signature(one, context)
    assert (status.bottom_line, status.coverage.name) == (True, "ENTIRE_FILE")


def test_openssl_accepts_the_seal(sealed: bytes, folder: Path, tmp_path: Path) -> None:
    """`openssl cms -verify` over the covered bytes, with the authority as the only trust."""
    first, last = gap_of(sealed)
    (tmp_path / "covered").write_bytes(sealed[:first] + sealed[last:])
    (tmp_path / "seal.der").write_bytes(bytes.fromhex(sealed[first + 1 : last - 1].decode()))
    done = run(
        ["openssl", "cms", "-verify", "-binary", "-inform", "DER", "-in", "seal.der", "-content",
         "covered", "-CAfile", str(folder / "seal-ca.pem"), "-purpose", "any", "-out", "out",
         "-attime", str(round(NOW.timestamp()))],
        cwd=tmp_path, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_sealing_works_where_an_event_loop_is_already_running(folder: Path) -> None:
    import asyncio

    async def inside() -> bytes:
        return sealed_by(folder, unsealed())

    assert check(asyncio.run(inside()), trusted_certificates(folder)).exit_code == 0


def test_the_key_is_for_its_owner_only_and_the_authoritys_is_not_kept(folder: Path) -> None:
    assert (folder / "seal-key.pem").stat().st_mode & 0o777 == 0o600
    assert not (folder / "seal-ca-key.pem").exists()  # what is not kept cannot be stolen


def test_a_key_is_never_written_over(folder: Path) -> None:
    before = (folder / "seal-key.pem").read_bytes()
    with pytest.raises(FileExistsError):
        make_seal_key(folder, "Another", NOW, PASSPHRASE)
    assert (folder / "seal-key.pem").read_bytes() == before
