"""Probes that lie flat while another of the load moves: noticed from a coarse picture of each series.

A picture is the lowest and highest reading in each stretch of time of one width, and the moment of its
first; it does not depend on
the order in which readings arrive.  Steady ice, brine and freezers are not flat: nothing moves there.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from lots.core.series import Chunk

Picture = dict[str, dict[str, list[int]]]  # probe → stretch's number → lowest, highest, first


@dataclass(frozen=True, slots=True)
class FlatRule:
    """A probe lies flat once it has stayed `within` for `stretches` stretches of `width_ms` in a row
    while another moved by `moves`; temperatures are differences in ninths."""

    width_ms: int
    stretches: int
    within: int
    moves: int


def pictured(picture: Picture, probe: str, chunk: Chunk, rule: FlatRule) -> Picture:
    """The picture with more readings of a probe, in any order."""
    own = dict(picture.get(probe, {}))
    for number, low, high, first in _stretches(chunk, rule.width_ms):
        known = own.get(str(number), [low, high, first])
        own[str(number)] = [min(low, known[0]), max(high, known[1]), min(first, known[2])]
    return {**picture, probe: own}


def _stretches(chunk: Chunk, width: int) -> Iterable[tuple[int, int, int, int]]:
    """(number, lowest, highest, first moment) of each stretch that the chunk has readings in."""
    index = 0
    while index < len(chunk):
        number = chunk.at[index] // width
        part = chunk.between(chunk.at[index], (number + 1) * width - 1)
        yield number, min(part.value), max(part.value), part.at[0]
        index += len(part)


def flats(picture: Picture, rule: FlatRule) -> dict[str, list[tuple[int, int]]]:
    """By probe, from when to when it lay flat, ms UTC, both included: from after the reading by which it
    had come to where it then stayed, which is still believed."""
    if len(picture) < len(("one", "another")):
        return {}
    numbered = {
        probe: {int(number): (low, high) for number, (low, high, _) in own.items()}
        for probe, own in picture.items()
    }
    found = {
        probe: [
            (picture[probe][str(number)][2] + 1, until)
            for number, until in _flats(probe, numbered, rule)
        ]
        for probe in numbered
    }
    return {probe: runs for probe, runs in found.items() if runs}


def _flats(
    probe: str, all_of: Mapping[str, Mapping[int, tuple[int, int]]], rule: FlatRule
) -> list[tuple[int, int]]:
    """(number of its first stretch, last moment) of each time that the probe lay flat."""
    own = all_of[probe]
    numbers = sorted(own)
    out: list[tuple[int, int]] = []
    index = 0
    while index < len(numbers):
        window = numbers[index : index + rule.stretches]
        if not _is_flat(probe, window, all_of, rule):
            index += 1
            continue
        end = _until(own, numbers, index, rule)
        out.append((numbers[index], (numbers[end] + 1) * rule.width_ms - 1))
        index = end + 1
    return out


def _is_flat(
    probe: str,
    window: list[int],
    all_of: Mapping[str, Mapping[int, tuple[int, int]]],
    rule: FlatRule,
) -> bool:
    if len(window) < rule.stretches or window[-1] - window[0] > 2 * rule.stretches:
        return False
    if _range(all_of[probe], window[0], window[-1]) > rule.within:
        return False
    return any(
        _range(other, window[0], window[-1]) >= rule.moves
        for name, other in all_of.items()
        if name != probe
    )


def _range(own: Mapping[int, tuple[int, int]], first: int, last: int) -> int:
    both = [own[number] for number in range(first, last + 1) if number in own]
    if not both:
        return 0
    return max(high for _, high in both) - min(low for low, _ in both)


def _until(
    own: Mapping[int, tuple[int, int]], numbers: list[int], index: int, rule: FlatRule
) -> int:
    """The last stretch to which the probe stayed where it was, whether the others move on or not."""
    low, high = own[numbers[index]]
    end = index
    for number in range(index, len(numbers)):
        low, high = min(low, own[numbers[number]][0]), max(high, own[numbers[number]][1])
        if high - low > rule.within:
            break
        end = number
    return end


def flat_now(picture: Picture, rule: FlatRule) -> dict[str, int]:
    """The probes that lie flat at their last reading, and since when."""
    out = {}
    for probe, runs in flats(picture, rule).items():
        newest = max(map(int, picture[probe]))
        since, until = runs[-1]
        if until >= newest * rule.width_ms:
            out[probe] = since
    return out
