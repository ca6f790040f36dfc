"""A figure as read: what is refused about it, and the row that keeps it.  Shared by the entries."""

from collections.abc import Iterable
from dataclasses import dataclass

from lots.core.pieces import odd_thickness, piece_from
from lots.core.units import (
    MS_PER_DAY,
    QUANTITIES,
    BadQuantity,
    show_temperature,
    to_millionths,
    to_ninths,
)
from lots.entries.book import Act
from lots.entries.moments import Moments
from lots.entries.refusals import Refused, Unlikely
from lots.models.house import Instrument, Place
from lots.models.lot import Load
from lots.models.reading import Reading
from lots.queries.evidence import end_of, started_at
from lots.queries.house import rules

LARGEST = 10**15  # millionths: a thousand million of any unit was mistyped; any database keeps it


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
        wrong_unit = figure.unit not in QUANTITIES.get(figure.quantity, {figure.unit: None})
        raise Refused({"unit" if wrong_unit else "as_read": str(error)}) from error


def check_figure(figure: Figure, place: Place, subject: str) -> int:
    """The figure's value, unless it is impossible, or unlikely and not confirmed."""
    value = figure_value(figure)
    if figure.quantity != "temperature":
        if value < 0 and figure.quantity in QUANTITIES:
            raise Refused({"as_read": f"{figure.quantity} cannot be below nothing."})
        if value > LARGEST:
            raise Refused({"as_read": f"“{figure.as_read.strip()}” is too much. Check the figure."})
        if (odd := _odd(figure, value)) and not figure.confirmed:
            raise Unlikely({"as_read": odd})
        return value
    unit = "F" if figure.unit == "F" else "C"
    shown = show_temperature(value, "F" if unit == "F" else "C")
    if not rules().possible.holds(value):
        raise Refused(
            {"as_read": f"{shown}: no fish or oven can have this. Check the figure and the unit."}
        )
    if _unlikely(value, place, subject) and not figure.confirmed:
        raise Unlikely(
            {"as_read": f"{shown} is unlikely here. Check it; if it does read so, say so."}
        )
    return value


def _odd(figure: Figure, value: int) -> str:
    """What is asked about a quantity that no piece of fish is likely to have: a thickness in the wrong
    unit."""
    if figure.quantity != "thickness" or not value:
        return ""
    return odd_thickness(piece_from(figure.as_read, figure.unit, "", ""), rules().pieces)


def _unlikely(value: int, place: Place, subject: str) -> bool:
    return not rules().likely_for(subject, place.kind).holds(value)


def subject_of(figure: Figure, load: Load | None) -> str:
    """What is read: a load's fish, or the place."""
    return "fish" if load is not None and figure.quantity == "temperature" else "place"


def field_of(figure: Figure) -> str:
    """The name that a refusal of the figure goes by: its fish's or probe's, if it has one."""
    return f"read_{figure.probe}" if figure.probe else "as_read"


def check_figures(figures: Iterable[Figure], place: Place, subject: str) -> None:
    """Checks a round: what is impossible is refused first, then what is unlikely is asked about, each
    figure under its own name."""
    refused: dict[str, str] = {}
    unlikely: dict[str, str] = {}
    for figure in figures:
        try:
            check_figure(figure, place, subject)
        except Unlikely as refusal:
            unlikely[field_of(figure)] = refusal.fields["as_read"]
        except Refused as refusal:
            refused |= {
                (field_of(figure) if name == "as_read" else name): text
                for name, text in refusal.fields.items()
            }
    if refused:
        raise Refused(refused)
    if unlikely:
        raise Unlikely(unlikely)


def check_in_time(load: Load, when: Moments, measured: bool) -> None:
    """Refuses a moment at which nothing of the load's fish can have been read."""
    first = min(started_at(load), load.started_at)
    day_before = first - MS_PER_DAY
    if when.observed_at < day_before:
        raise Refused({"observed_at": "This is more than a day before the load began."})
    end = end_of(load)
    if end is not None and when.observed_at > end.ended_at and not measured:
        raise Refused(
            {"observed_at": "The load had ended by then. If the end was wrong, put it right first."}
        )


def write_reading(
    writing: Act,
    figure: Figure,
    place: Place,
    load: Load | None,
    when: Moments,
    corrects: Reading | None = None,
    reason: str = "",
    withdrawn: bool = False,
    from_paper: bool = False,
) -> Reading:
    """Appends the figure's row; a yes to an unlikely figure is kept only where it was one."""
    value = figure_value(figure)
    if figure.quantity == "temperature":
        asked = _unlikely(value, place, subject_of(figure, load))
    else:
        asked = bool(_odd(figure, value))
    return writing.write(
        Reading(
            place=place,
            load=load,
            probe=figure.probe,
            quantity=figure.quantity,
            as_read=figure.as_read.strip(),
            unit=figure.unit,
            value=value,
            instrument=figure.instrument,
            observed_at=when.observed_at,
            entered_at=when.entered_at,
            device_offset_ms=when.device_offset_ms,
            late_reason=when.late_reason.strip(),
            from_paper=from_paper,
            unlikely_confirmed=figure.confirmed and asked,
            note=figure.note.strip(),
            corrects=corrects,
            correction_reason=reason.strip(),
            withdrawn=withdrawn,
        )
    )
