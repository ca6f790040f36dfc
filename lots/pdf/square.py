"""The square code on the first page: what the print was made from, for a camera."""

from collections.abc import Iterator

from lots.core.record import LotRecord
from lots.pdf.shapes import Path

QUIET = 4
"""Modules left white around the code.  Source: ISO/IEC 18004, 9.1."""


def square_words(record: LotRecord, digest: str) -> str:
    """What the code says: the lot, the revision, and the digests that the file must show."""
    return (
        f"LOT {record.lot.code} RECORD {record.revision} SHA-256 {digest} "
        f"BOOK LINE {record.book.line} {record.book.digest}"
    )


def square(words: str, left: float, top: float, side: float) -> Iterator[Path]:
    """The code as black bars, each as long as its modules run, within a square of that side."""
    import segno

    rows = [bytes(row) for row in segno.make(words, error="m", micro=False).matrix]
    module = side / (len(rows) + 2 * QUIET)
    for number, row in enumerate(rows):
        low = top - (number + QUIET + 1) * module
        for first, last in _runs(row):
            x, end = left + (first + QUIET) * module, left + (last + QUIET) * module
            corners = [(x, low), (end, low), (end, low + module), (x, low + module)]
            yield Path(corners, closed=True, fill=0.0)


def _runs(row: bytes) -> Iterator[tuple[int, int]]:
    """From where to where modules of a row are black."""
    start: int | None = None
    for place, black in enumerate((*row, 0)):
        if black and start is None:
            start = place
        elif not black and start is not None:
            yield start, place
            start = None
