"""The thickness of a sample's pieces as readings of the loads that it speaks for.  Shared by the entries."""

from collections.abc import Iterable

from lots.core.pieces import Piece
from lots.entries.book import Act
from lots.entries.moments import Moments
from lots.entries.readings import Figure, write_reading
from lots.models.lot import Load, LoadPart
from lots.models.reading import Reading
from lots.models.salt import PieceSample
from lots.queries.pieces import THICKNESS, pieces_of, probe_of, root_of, speaking


def _when(row: PieceSample, at: int) -> Moments:
    return Moments(row.observed_at, row.entered_at, at, late_reason=row.reason)


def _figure(row: PieceSample, piece: Piece, probe: str) -> Figure:
    unit, sure = piece.thickness_unit, True  # what was odd was asked about with the sample
    return Figure(piece.thickness, unit, probe, THICKNESS, row.instrument, sure)


def write_pieces(writing: Act, row: PieceSample, load: Load, at: int) -> list[Reading]:
    """A reading of the load for each piece whose thickness was measured."""
    root = root_of(row)
    return [
        write_reading(
            writing, _figure(row, piece, probe_of(root, number)), load.place, load, _when(row, at)
        )
        for number, piece in enumerate(pieces_of(row), 1)
        if piece.um
    ]


def take_pieces_along(writing: Act, parts: Iterable[LoadPart], at: int) -> None:
    """A step begins: what its pieces measured before it is held against its limits from the first."""
    for part in parts:
        for row in speaking(part):
            write_pieces(writing, row, part.load, at)


def put_pieces_right(
    writing: Act, row: PieceSample, known: dict[str, Reading], load: Load, at: int
) -> None:
    """Corrects the load's readings to a sample that puts another right: each that is another now, those
    of pieces that are gone, and those that came."""
    root, reason = root_of(row), row.reason
    for number, piece in enumerate(pieces_of(row), 1):
        probe = probe_of(root, number)
        old = known.pop(probe, None)
        if piece.um and (old is None or old.withdrawn or _differs(old, piece)):
            figure = _figure(row, piece, probe)
            write_reading(writing, figure, load.place, load, _when(row, at), old, reason)
        elif not piece.um and old is not None:
            _take_back(writing, old, row, at)
    for old in known.values():
        _take_back(writing, old, row, at)


def _differs(old: Reading, piece: Piece) -> bool:
    return (old.as_read, old.unit) != (piece.thickness, piece.thickness_unit)


def _take_back(writing: Act, old: Reading, row: PieceSample, at: int) -> None:
    if old.withdrawn or old.load is None:
        return
    figure = Figure(old.as_read, old.unit, old.probe, THICKNESS, old.instrument)
    write_reading(
        writing, figure, old.place, old.load, _when(row, at), old, row.reason, withdrawn=True
    )
