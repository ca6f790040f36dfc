"""The check of a seal with a time stamp: what it tells, and that no bit of it can be turned."""

import random

from lots.pdf.check import check
from lots.pdf.key import pem
from tests.pdf.authority import authority
from tests.pdf.test_check import gap_of
from tests.pdf.test_stamp import sealer, stamped

CHANGED = 120


def own() -> list[bytes]:
    return [pem(sealer().certificate)]


def test_a_stamped_seal_is_intact_and_tells_its_stamp() -> None:
    holder = authority()
    pdf = stamped(holder)
    result = check(pdf, own(), [holder.pem])
    assert (result.exit_code, result.stamp and result.stamp.trusted) == (0, True)
    assert any("Time stamp" in line and "Invented Time" in line for line in result.lines)
    stranger = check(pdf, own())
    assert (stranger.exit_code, stranger.stamp and stranger.stamp.trusted) == (0, False)


def test_each_digit_of_a_stamped_seal_replaced_by_another_hex_digit_is_found() -> None:
    pdf = stamped(authority())
    first, last = gap_of(pdf)
    used = first + len(pdf[first:last].rstrip(b"0>"))
    missed = []
    for place in random.Random(4).sample(range(first + 1, used), CHANGED):
        changed = bytearray(pdf)
        changed[place] = ord("1") if changed[place] != ord("1") else ord("E")
        if check(bytes(changed), own()).exit_code != 1:
            missed.append(place - first)
    assert missed == []


def test_a_stamp_moved_from_another_seal_is_found() -> None:
    pdf, other = stamped(authority()), stamped(authority(), what="another record")
    moved = with_stamp_of(pdf, other)
    result = check(moved, own())
    assert result.exit_code == 1
    assert "over something else than this seal’s signature" in result.lines[0]


def test_a_stamp_taken_away_leaves_an_intact_seal_that_says_it_has_none() -> None:
    """Beside the signature, not under it: what is gone the file cannot tell; the book's line can."""
    result = check(with_stamp_of(stamped(authority()), None), own())
    assert (result.exit_code, result.stamp) == (0, None)
    assert any("carries no time stamp" in line for line in result.lines)


def with_stamp_of(pdf: bytes, other: bytes | None) -> bytes:
    """The sealed file with the stamp of another, or none, in the place of its own."""
    from io import BytesIO

    from asn1crypto import cms
    from pyhanko.pdf_utils.reader import PdfFileReader

    def signed(data: bytes):  # type: ignore[no-untyped-def]
        (one,) = PdfFileReader(BytesIO(data)).embedded_signatures
        return one.signed_data

    content = signed(pdf).copy()
    signer = content["signer_infos"][0]
    if other is None:
        del signer["unsigned_attrs"]
    else:
        signer["unsigned_attrs"] = signed(other)["signer_infos"][0]["unsigned_attrs"]
    der = cms.ContentInfo({"content_type": "signed_data", "content": content}).dump(force=True)
    first, last = gap_of(pdf)
    text = der.hex().upper().encode()
    return pdf[: first + 1] + text + b"0" * (last - first - 2 - len(text)) + pdf[last - 1 :]
