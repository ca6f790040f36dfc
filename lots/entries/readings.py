"""A figure as read: what is refused about it, and the row that keeps it.  Shared by the entries."""

from dataclasses import dataclass

from lots.core.units import QUANTITIES, BadQuantity, show_temperature, to_millionths, to_ninths
from lots.entries.book import Act
from lots.entries.moments import Moments
from lots.entries.refusals import Refused, Unlikely
from lots.models.house import Instrument, Place
from lots.models.lot import Load
from lots.models.reading import Reading
from lots.queries.house import rules


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure as a person read it."""

    as_read: str
    unit: str
    probe: str = ""
    quantity: str = "temperature"
    instrument: Instrument | None = None
    confirmed: bool = False
    note: str = ""


def figure_value(figure: Figure) -> int:
    """The figure in its canonical unit (ninths, or millionths of the quantity's first unit).

    Raises:
        Refused: it is not a number, or not in a unit of the quantity.
    """
    try:
        if figure.quantity == "temperature":
            if figure.unit not in ("C", "F"):
                raise Refused({"unit": "Choose °C or °F."})
            return to_ninths(figure.as_read, "F" if figure.unit == "F" else "C")
        return to_millionths(figure.as_read, figure.quantity, figure.unit)
    except BadQuantity as error:
        raise Refused({"as_read": str(error)}) from error


def check_figure(figure: Figure, place: Place, subject: str) -> int:
    """The figure's value, unless it is impossible, or unlikely and not confirmed."""
    value = figure_value(figure)
    if figure.quantity != "temperature":
        if value < 0 and figure.quantity in QUANTITIES:
            raise Refused({"as_read": f"{figure.quantity} cannot be below nothing."})
        return value
    unit = "F" if figure.unit == "F" else "C"
    shown = show_temperature(value, "F" if unit == "F" else "C")
    if not rules().possible.holds(value):
        raise Refused(
            {"as_read": f"{shown}: no fish or oven can have this. Check the figure and the unit."}
        )
    if not rules().likely_for(subject, place.kind).holds(value) and not figure.confirmed:
        raise Unlikely(
            {"as_read": f"{shown} is unlikely here. Check it; if it does read so, say so."}
        )
    return value


def write_reading(
    writing: Act,
    figure: Figure,
    place: Place,
    load: Load | None,
    when: Moments,
    corrects: Reading | None = None,
    reason: str = "",
    withdrawn: bool = False,
) -> Reading:
    """Appends the figure's row."""
    return writing.write(
        Reading(
            place=place,
            load=load,
            probe=figure.probe,
            quantity=figure.quantity,
            as_read=figure.as_read.strip(),
            unit=figure.unit,
            value=figure_value(figure),
            instrument=figure.instrument,
            observed_at=when.observed_at,
            entered_at=when.entered_at,
            device_offset_ms=when.device_offset_ms,
            late_reason=when.late_reason.strip(),
            unlikely_confirmed=figure.confirmed,
            note=figure.note.strip(),
            corrects=corrects,
            correction_reason=reason.strip(),
            withdrawn=withdrawn,
        )
    )
