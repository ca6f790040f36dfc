"""What was read of a quantity in a load or by a laboratory, for figures in the unit of the reading."""

from lots.core import figures
from lots.core.figures import AsRead, rounded
from lots.core.units import QUANTITIES
from lots.models.lot import LaboratorySample
from lots.models.reading import Reading

__all__ = ["as_read_figure", "rounded"]


def as_read_figure(figure: str, load_id: int | None, lots: tuple[int, ...] = ()) -> str:
    """The figure with a quantity in the unit that it was read in: "thickness 1.2 in", not 30.48 mm.

    Args:
        figure: as the judging words it, in each quantity's first unit.
        load_id: the load whose readings may be meant.
        lots: numbers of the lots whose laboratory results may be meant.
    """
    for quantity in (name for name in QUANTITIES if figure.startswith(f"{name} ")):
        rows: list[Reading | LaboratorySample] = list(
            Reading.objects.filter(load=load_id, quantity=quantity).order_by("id")
            if load_id
            else []
        )
        found = LaboratorySample.objects.filter(result__lot__in=lots, result__quantity=quantity)
        rows += found.order_by("result_id", "id")
        written = [AsRead(quantity, row.value, row.as_read, row.unit) for row in rows]
        figure = figures.as_read_figure(figure, written)
    return figure
