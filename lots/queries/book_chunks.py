"""The packed readings of a logger's file: each chunk's row, and the tree head over all their bytes.

One hash a chunk decides whether the file's head agrees.  Only where something does not is each chunk looked
at by itself, so that the very one is named: changed, gone, put in, or standing in another's place.
"""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from lots.core.merkle import leaf_hash, tree_head
from lots.models.reading import LoggerImport, PackedSeries
from lots.queries.book_lines import Fault, Told
from lots.queries.book_rows import PACKED, Span, digest_of, in_span, untold

CHUNKS_AT_ONCE: Final = 20  # so few that their bytes stay in the processor's cache
Order = Mapping[
    int, Mapping[int, str]
]  # line → its chunks as told: number → digest, in their order


def chunk_faults(told: Sequence[Told], span: Span) -> Iterator[Fault]:
    """What does not agree among the packed readings of the lines."""
    order = {one.line: {pk: d for name, pk, d in one.rows if name == PACKED} for one in told}
    line_of = {pk: line for line, chunks in order.items() for pk in chunks}
    leaves: dict[int, bytes] = {}
    doubtful: set[int] = set()
    columns = PackedSeries.covered_columns()
    rows = in_span(PackedSeries.objects.all(), span)
    for pk, line, data, *values in rows.values_list("pk", "line_id", "data", *columns).iterator(
        CHUNKS_AT_ONCE
    ):
        if line_of.get(pk) != line and line not in order:
            yield untold(line, pk, PACKED)
        elif line_of.get(pk) != line or digest_of(PackedSeries, values) != order[line][pk]:
            doubtful.add(line)
        leaves[pk] = leaf_hash(data)
    doubtful.update(line for pk, line in line_of.items() if pk not in leaves)
    doubtful.update(_wrong_heads(order, leaves, span))
    for line in sorted(doubtful):
        yield from _looked_at(line, order[line])


def _wrong_heads(order: Order, leaves: Mapping[int, bytes], span: Span) -> Iterator[int]:
    """Lines of which the head is not that of their chunks."""
    imports = in_span(LoggerImport.objects.all(), span).values_list("line_id", "root")
    roots = dict(imports)
    for line, chunks in order.items():
        own = [leaves[pk] for pk in chunks if pk in leaves]
        if (line in roots or own) and roots.get(line) != tree_head(own).hex():
            yield line


@dataclass(frozen=True, slots=True)
class _Chunk:
    """One chunk as it stands now."""

    line: int
    probe: str
    count: int
    row: str  # digest of its row
    said: str  # what the row says that its bytes hash to
    held: str  # what they do


def _chunks(line: int, told: Sequence[int]) -> dict[int, _Chunk]:
    """The chunks that stand under the line, and those that it tells of wherever they stand."""
    columns = PackedSeries.covered_columns()
    at = {name: columns.index(name) for name in ("probe", "count", "digest")}
    found: dict[int, _Chunk] = {}
    parts = [{"pk__in": told[n : n + 500]} for n in range(0, len(told), 500)]
    for which in (*parts, {"line_id": line}):
        rows = PackedSeries.objects.filter(**which).values_list("pk", "line_id", "data", *columns)
        for pk, under, data, *values in rows.iterator(CHUNKS_AT_ONCE):
            probe, count, said = (values[at[name]] for name in at)
            row, held = digest_of(PackedSeries, values), hashlib.sha256(data).hexdigest()
            found[pk] = _Chunk(under, probe, count, row, said, held)
    return found


def _looked_at(line: int, told: Mapping[int, str]) -> Iterator[Fault]:
    """What is wrong with a file's chunks, one by one."""
    found = _chunks(line, list(told))
    source = LoggerImport.objects.filter(line_id=line).select_related("place", "file").first()
    file = f"{source.place.name}'s file {source.file.name}" if source else "a logger's file"
    places = _Places(told, found, source.added if source else None)
    sound = True
    for number, (pk, digest) in enumerate(told.items(), 1):
        said = places.wrong(number, pk, digest)
        if said:
            sound = False
            readings = places.readings(number, pk)
            words = f"line {line}: chunk {number} of {len(told)} of {file}{readings}, {said}"
            yield Fault(line, words)
    for pk, chunk in found.items():
        if pk not in told:
            sound = False
            words = f"line {line}: a chunk of {chunk.count} readings was put into {file} (row {pk})"
            yield Fault(line, words)
    if sound and told:
        words = f"line {line}: the head of {file} is not that of its {len(told)} chunks"
        yield Fault(line, words)


class _Places:
    """Which chunk stands where in its file."""

    def __init__(
        self, told: Mapping[int, str], found: Mapping[int, _Chunk], added: int | None
    ) -> None:
        self.found = found
        self.by_row = {digest: n for n, digest in enumerate(told.values(), 1)}
        self.by_bytes = {found[pk].said: n for n, pk in enumerate(told, 1) if pk in found}
        counts = [found[pk].count if pk in found else None for pk in told]
        if added is not None and counts.count(None) == 1:  # the only one that is gone had the rest
            rest = added - sum(count or 0 for count in counts)
            counts = [rest if count is None else count for count in counts]
        self.counts = counts

    def wrong(self, number: int, pk: int, digest: str) -> str:
        """What is wrong with the chunk; empty where nothing is."""
        chunk = self.found.get(pk)
        if chunk is None:
            return "is gone"
        if chunk.row == digest and chunk.held == chunk.said:
            return ""
        same_bytes = self.by_bytes.get(chunk.held) if chunk.row == digest else None
        other = self.by_row.get(chunk.row) if chunk.held == chunk.said else same_bytes
        if other is not None and other != number:
            return f"was changed: it holds what chunk {other} held"
        return "was changed"

    def readings(self, number: int, pk: int) -> str:
        """The chunk's readings as counted through the file, and their probe, where they are known."""
        before, own = self.counts[: number - 1], self.counts[number - 1]
        chunk = self.found.get(pk)
        probe = f" ({chunk.probe})" if chunk and chunk.probe else ""
        if own is None or None in before or own < 1:
            return probe
        first = sum(count or 0 for count in before) + 1
        return f", readings {first} to {first + own - 1}{probe}"
