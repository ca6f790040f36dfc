"""Figures as paper shows them: in the unit that was read, and estimates without false precision."""

import re
from collections.abc import Iterable
from typing import Final, NamedTuple

from lots.core.units import MS_PER_MIN, MS_PER_S, QUANTITIES, read_span, show_quantity, show_span

_LONG = re.compile(r"(?:\d+ days )?(?:\d+ h )?(?:\d+ min )?\d+(?:\.\d+)? s\b")
EXACT_UNDER_MS: Final = 2 * MS_PER_MIN  # under two minutes an estimate keeps its seconds


class AsRead(NamedTuple):
    """A quantity as it was written down: "1.2" of unit "in", and its value in the first unit."""

    quantity: str
    value: int
    as_read: str
    unit: str


def as_read_figure(figure: str, written: Iterable[AsRead]) -> str:
    """The figure with a quantity in the unit that it was read in: "thickness 1.2 in", not 30.48 mm.

    Args:
        figure: as the judging words it, in each quantity's first unit.
        written: what was read, in the order of the book.
    """
    for one in written:
        if one.quantity not in QUANTITIES or not figure.startswith(f"{one.quantity} "):
            continue
        if one.unit != next(iter(QUANTITIES[one.quantity])):
            ours = re.escape(f"{one.quantity} {show_quantity(one.value, one.quantity)}")
            words = f"{one.quantity} {one.as_read} {one.unit}".replace("\\", r"\\")
            figure = re.sub(rf"{ours}(?![\w.])", words, figure)
    return figure


def rounded(estimate: str) -> str:
    """The estimate with lengths of time to the whole minute (under two minutes, to the second)."""

    def short(found: re.Match[str]) -> str:
        span = read_span(found[0])
        step = MS_PER_S if span < EXACT_UNDER_MS else MS_PER_MIN
        return show_span(round(span / step) * step)

    return _LONG.sub(short, estimate)
