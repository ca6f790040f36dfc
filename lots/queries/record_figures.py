"""Figures as paper shows them: in the unit that was read, and estimates without false precision."""

import re

from lots.core.units import MS_PER_MIN, MS_PER_S, QUANTITIES, read_span, show_quantity, show_span
from lots.models.lot import LaboratorySample
from lots.models.reading import Reading

_LONG = re.compile(r"(?:\d+ days )?(?:\d+ h )?(?:\d+ min )?\d+(?:\.\d+)? s\b")
EXACT_UNDER_MS = 2 * MS_PER_MIN  # under two minutes an estimate keeps its seconds


def as_read_figure(figure: str, load_id: int | None, lots: tuple[int, ...] = ()) -> str:
    """The figure with a quantity in the unit that it was read in: "thickness 1.2 in", not 30.48 mm.

    Args:
        figure: as the judging words it, in each quantity's first unit.
        load_id: the load whose readings may be meant.
        lots: numbers of the lots whose laboratory results may be meant.
    """
    for quantity in (name for name in QUANTITIES if figure.startswith(f"{name} ")):
        rows: list[Reading | LaboratorySample] = list(
            Reading.objects.filter(load=load_id, quantity=quantity) if load_id else []
        )
        rows += LaboratorySample.objects.filter(result__lot__in=lots, result__quantity=quantity)
        for row in rows:
            if row.unit != next(iter(QUANTITIES[quantity])):
                ours = re.escape(f"{quantity} {show_quantity(row.value, quantity)}")
                words = f"{quantity} {row.as_read} {row.unit}"
                figure = re.sub(rf"{ours}(?![\w.])", lambda _, words=words: words, figure)
    return figure


def rounded(estimate: str) -> str:
    """The estimate with lengths of time to the whole minute (under two minutes, to the second)."""

    def short(found: re.Match[str]) -> str:
        span = read_span(found[0])
        step = MS_PER_S if span < EXACT_UNDER_MS else MS_PER_MIN
        return show_span(round(span / step) * step)

    return _LONG.sub(short, estimate)
