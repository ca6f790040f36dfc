"""What is attached to a PDF, unpacked no further than a bound."""

import zlib
from typing import Any, Final

LARGEST: Final = 100_000_000
"""Bytes of all attachments unpacked, at most (common practice: far more than any record, far less than
what fills a machine)."""


class TooLarge(ValueError):
    """What is attached is larger than any record."""


def attachments(file: Any, most: int = LARGEST) -> dict[str, bytes]:
    """Name → bytes of all that is attached to an open pikepdf.Pdf.

    Raises:
        TooLarge: together they unpack to more than `most` bytes.
    """
    out: dict[str, bytes] = {}
    for name, spec in file.attachments.items():
        data = _unpacked(spec.get_file().obj, most)
        most -= len(data)
        out[name] = data
    return out


def _unpacked(stream: Any, most: int) -> bytes:
    raw = bytes(stream.read_raw_bytes())
    packed_by = str(stream.get("/Filter", ""))
    if packed_by in ("", "[]"):
        data, rest = raw, False
    elif packed_by == "/FlateDecode":
        unpacking = zlib.decompressobj()
        data = unpacking.decompress(raw, most + 1)
        rest = bool(unpacking.unconsumed_tail)
    else:
        raise TooLarge(
            f"something is attached that is packed by {packed_by}, which is not read here"
        )
    if rest or len(data) > most:
        raise TooLarge("what is attached unpacks to more than 100 MB, which no record does")
    return data
