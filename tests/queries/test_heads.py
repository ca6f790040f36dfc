"""A chain recomputed from end to end agrees with itself, and with no seal."""

import base64
import json
import re
from collections.abc import Callable
from pathlib import Path
from subprocess import run
from typing import Any

import pytest
from django.conf import settings
from django.db import connection

from lots.entries.head import seal_head
from lots.entries.record import issue_record
from lots.models.book import BookLine
from lots.models.house import Establishment
from lots.models.lot import Lot
from lots.models.review import HeadSealed, RecordIssued
from lots.models.sealing import SealKey
from lots.models.triggers import lift_triggers
from lots.queries.book_check import book_faults
from lots.queries.digests import canonical, line_digest, row_digest
from lots.queries.heads import head_faults, known_certificates, record_head_faults
from lots.queries.house import establishment
from tests.make import Book, moment

AT = moment("09:00")


def house() -> Establishment:
    found = establishment()
    assert found is not None
    return found


@pytest.fixture
def sealed(book: Book, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Book:
    """A book with a lot, its record and two sealed heads; keys and files of the test's own."""
    monkeypatch.setattr(settings, "KEYS_DIR", tmp_path / "keys")
    monkeypatch.setattr(settings, "FILES_DIR", tmp_path / "files")
    lot = book.open_lot()
    seal_head(house(), AT)
    issue_record(book.reviewer, lot, house(), AT)
    seal_head(house(), AT)
    return book


def _raw(sql: str, *values: object) -> None:
    if connection.vendor == "postgresql":  # it names the same function otherwise
        other = r"jsonb_set(seal::jsonb, '{\1}', '\2'::jsonb)::text"
        sql = re.sub(r"json_set\(seal, '\$\.(\w+)', '?([^')]*)'?\)", _as_jsonb(other), sql)
    with connection.cursor() as cursor:
        cursor.execute(sql, values or None)


def _as_jsonb(other: str) -> Callable[[re.Match[str]], str]:
    def write(found: re.Match[str]) -> str:
        value = found[2] if found[2].isdigit() else json.dumps(found[2])
        return other.replace("\\1", found[1]).replace("\\2", value)

    return write


def recompute() -> None:
    """What somebody with the database and time does: every digest anew, from the first line on."""
    prev = "0" * 64
    for line in BookLine.objects.order_by("number"):
        content = json.loads(line.content)
        for told in content["rows"]:
            told[2] = row_digest(_row(*told[:2]))
        line.content, line.prev = canonical(content), prev
        prev = line.digest = line_digest(line)
        _raw(
            "UPDATE lots_bookline SET content = %s, prev = %s, digest = %s WHERE number = %s",
            line.content, line.prev, line.digest, line.number,
        )  # fmt: skip


def _row(name: str, pk: int) -> Any:
    from django.apps import apps

    return apps.get_model("lots", name).objects.get(pk=pk)


def test_sealed_heads_and_records_of_an_untouched_book_agree(sealed: Book) -> None:
    assert HeadSealed.objects.count() == 2
    assert list(head_faults()) == []
    assert list(record_head_faults()) == []
    assert list(book_faults()) == []


def test_a_head_is_sealed_over_the_line_before_it(sealed: Book) -> None:
    for row in HeadSealed.objects.all():
        assert (row.head_id, row.line.kind) == (row.line_id - 1, "head sealed")
        assert row.head_digest == row.head.digest


def test_openssl_accepts_the_seal_over_a_head(sealed: Book, tmp_path: Path) -> None:
    row = HeadSealed.objects.order_by("id").last()
    assert row is not None
    stated = json.loads(row.seal)
    (tmp_path / "signature").write_bytes(base64.b64decode(stated.pop("signature")))
    (tmp_path / "content").write_text(canonical(stated))
    public = run(
        ["openssl", "x509", "-in", str(tmp_path / "keys" / "seal.pem"), "-noout", "-pubkey"],
        capture_output=True,
    ).stdout
    (tmp_path / "public").write_bytes(public)
    done = run(
        ["openssl", "dgst", "-sha256", "-verify", "public", "-signature", "signature", "content"],
        cwd=tmp_path, capture_output=True, text=True,
    )  # fmt: skip
    assert done.stdout.strip() == "Verified OK", done.stderr


def test_a_recomputed_chain_agrees_with_itself_and_disagrees_with_every_seal(sealed: Book) -> None:
    first = HeadSealed.objects.order_by("id").first()
    assert first is not None
    lift_triggers()
    _raw("UPDATE lots_reading SET value = value + 5000")
    recompute()
    assert [one for one in book_faults() if one.line] == []  # but for the triggers that were lifted
    heads, records = list(head_faults()), list(record_head_faults())
    assert [line for line, _ in heads] == [row.line_id for row in HeadSealed.objects.order_by("id")]
    assert all("the chain was recomputed" in words for _, words in heads)
    assert f"digest of line {first.head_id} " in heads[0][1]
    assert len(records) == 1
    assert "printed in it is not the chain's" in records[0][1]


def test_heads_told_anew_with_the_chain_are_betrayed_by_their_seals(sealed: Book) -> None:
    """The digest beside the seal, and in what was signed, is put right; the signature cannot be."""
    lift_triggers()
    _raw("UPDATE lots_reading SET value = value + 5000")
    for _ in range(2):  # each head's own row is told of further on in the chain
        recompute()
        for row in HeadSealed.objects.select_related("head"):
            told = json.loads(row.seal) | {"digest": row.head.digest}
            _raw(
                "UPDATE lots_headsealed SET head_digest = %s, seal = %s WHERE id = %s",
                row.head.digest, canonical(told), row.pk,
            )  # fmt: skip
    assert all("does not hold" in words or "recomputed" in words for _, words in head_faults())
    assert "does not hold" in next(iter(head_faults()))[1]
    assert len(list(head_faults())) == 2


SPOILT: dict[str, tuple[str, str]] = {
    "the seal": ("UPDATE lots_headsealed SET seal = 'x'", "cannot be read"),
    "the signature": (
        "UPDATE lots_headsealed SET seal = json_set(seal, '$.signature', '')",
        "does not hold",
    ),
    "the signature's letters": (
        "UPDATE lots_headsealed SET seal = json_set(seal, '$.signature', '!!')",
        "cannot be read",
    ),
    "the moment in it": (
        "UPDATE lots_headsealed SET seal = json_set(seal, '$.at', 1)",
        "does not hold",
    ),
    "the house in it": (
        "UPDATE lots_headsealed SET seal = json_set(seal, '$.establishment', 'x')",
        "does not hold",
    ),
    "the line": ("UPDATE lots_headsealed SET head_id = 1", "another head than line 1"),
    "the key": (
        "UPDATE lots_headsealed SET seal = json_set(seal, '$.key', 'x')",
        "a key that the book does not know",
    ),
    "a list": ("UPDATE lots_headsealed SET seal = '[]'", "cannot be read"),
    "the certificate": (
        "UPDATE lots_sealkey SET fingerprint = 'x'",
        "the sealing certificate is not what it was",
    ),
    "the certificate's text": (
        "UPDATE lots_sealkey SET certificate = 'x'",
        "the sealing certificate is not what it was",
    ),
}


@pytest.mark.parametrize(("sql", "words"), SPOILT.values(), ids=SPOILT.keys())
def test_what_was_changed_of_a_sealed_head_is_named(sql: str, words: str, sealed: Book) -> None:
    lift_triggers()
    _raw(sql)
    assert words in next(iter(head_faults()))[1]


def the_record() -> tuple[RecordIssued, Path]:
    row = RecordIssued.objects.select_related("file").get()
    return row, Path(settings.FILES_DIR) / row.file.sha256


def test_a_record_whose_file_is_gone_or_another_is_named(sealed: Book) -> None:
    row, file = the_record()
    data = file.read_bytes()
    file.write_bytes(data + b"\n")
    assert list(record_head_faults()) == [
        (row.line_id, f"line {row.line_id}: record of lot TR-1, revision 1: its file is not the one "
         "that was kept")
    ]  # fmt: skip
    file.unlink()
    assert "its file is gone" in next(iter(record_head_faults()))[1]


def keep_instead(data: bytes) -> None:
    """Puts another file in the record's place, as somebody with database and folder would."""
    import hashlib

    row, _ = the_record()
    digest = hashlib.sha256(data).hexdigest()
    (Path(settings.FILES_DIR) / digest).write_bytes(data)
    lift_triggers()
    _raw("UPDATE lots_keptfile SET sha256 = %s WHERE id = %s", digest, row.file_id)


def test_a_record_with_another_head_printed_in_it_is_named_by_its_seal(sealed: Book) -> None:
    row, file = the_record()
    data = bytearray(file.read_bytes())
    data[len(data) // 3] ^= 1
    keep_instead(bytes(data))
    assert "its seal does not hold" in next(iter(record_head_faults()))[1]
    assert row.line_id == next(iter(record_head_faults()))[0]


def test_a_record_sealed_by_somebody_elses_key_is_named(sealed: Book, tmp_path: Path) -> None:
    from datetime import UTC, datetime

    from lots.pdf.key import load_sealer
    from lots.pdf.own_authority import make_seal_key
    from lots.pdf.seal import seal
    from tests.pdf.test_check import unsealed

    now = datetime(2026, 3, 4, 14, tzinfo=UTC)
    make_seal_key(tmp_path / "theirs", house().name, now, b"theirs")
    theirs = load_sealer(tmp_path / "theirs", b"theirs")
    keep_instead(seal(unsealed(), theirs, now=now, reason="", location="", name=house().name))
    assert "a key that the book does not know" in next(iter(record_head_faults()))[1]


def test_another_lots_record_in_its_place_is_named_by_its_head(sealed: Book) -> None:
    second = sealed.open_lot("TR-2")
    issue_record(sealed.reviewer, second, house(), AT)
    rows = list(RecordIssued.objects.order_by("id"))
    lift_triggers()
    _raw("UPDATE lots_recordissued SET file_id = %s WHERE id = %s", rows[1].file_id, rows[0].pk)
    assert Lot.objects.count() == 2
    (fault,) = record_head_faults()
    assert f"where the book says line {rows[0].head_id}" in fault[1]


def test_records_of_a_key_replaced_since_are_still_the_houses_own(sealed: Book) -> None:
    from datetime import UTC, datetime

    from lots.entries.keys import replace_key
    from lots.pdf.own_authority import new_key

    new = new_key(house().name, datetime.fromtimestamp(AT / 1000, UTC), b"invented, of the tests")
    replace_key(sealed.keeper, new, "exposed", AT)
    seal_head(house(), AT)
    assert SealKey.objects.count() == len(known_certificates()) == 2
    assert list(head_faults()) == []
    assert list(record_head_faults()) == []
