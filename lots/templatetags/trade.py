"""How figures, weights and moments are shown: in the house's zone and units."""

from typing import Any
from zoneinfo import ZoneInfo

from django import template

from lots.core.moments import MONTHS, show_moment
from lots.core.pieces import show_mg, show_um
from lots.core.units import (
    GRAMS_PER_LB,
    GRAMS_PER_OZ,
    MG_PER_G,
    MILLIONTHS,
    Fraction,
    show_both,
    show_number,
    show_quantity,
    show_span,
    show_temperature,
)
from lots.queries.record_loads import initials_of

register = template.Library()
register.filter("initials", initials_of)  # of a line of the book, and how the entry came: OT (PIN)


def _zone(context: template.Context) -> ZoneInfo:
    return ZoneInfo(context["establishment"].zone)


@register.simple_tag(takes_context=True)
def moment(context: template.Context, at_ms: int | None) -> str:
    """4 Mar 2026 14:05 −05:00"""
    return show_moment(at_ms, _zone(context)) if at_ms else "—"


@register.simple_tag(takes_context=True)
def clock(context: template.Context, at_ms: int | None) -> str:
    """14:05 if it is today, otherwise 4 Mar 14:05."""
    if not at_ms:
        return "—"
    zone = _zone(context)
    day, month, year, hour, _ = show_moment(at_ms, zone).split()
    today = show_moment(context.get("now_ms") or at_ms, zone).split()[:3]
    return hour if [day, month, year] == today else f"{day} {month} {hour}"


@register.simple_tag(takes_context=True)
def hour(context: template.Context, at_ms: int) -> str:
    """14:05, whatever the day."""
    return show_moment(at_ms, _zone(context)).split()[3]


@register.simple_tag(takes_context=True)
def other_day(context: template.Context, at_ms: int) -> str:
    """The day of a moment that is not today's: "26 Nov"; nothing of today's."""
    return clock(context, at_ms).removesuffix(hour(context, at_ms)).strip()


@register.simple_tag(takes_context=True)
def lasted(context: template.Context, since_ms: int) -> str:
    """How long it has lasted till now: 2 h 15 min."""
    return show_span(max(0, context["now_ms"] - since_ms) // 60000 * 60000)


@register.simple_tag(takes_context=True)
def weight(context: template.Context, grams: int | None) -> str:
    """20.5 kg or 45.2 lb, as the house weighs."""
    if grams is None:
        return "—"
    if context["establishment"].weight_unit == "lb":
        return f"{show_number(Fraction(grams) / GRAMS_PER_LB, 2)} lb"
    return f"{show_number(Fraction(grams, 1000), 3)} kg"


@register.simple_tag(takes_context=True)
def small_weight(context: template.Context, mg: int | Fraction) -> str:
    """What goes into a batch, as the house weighs: 850 g, 12.5 kg; 3.2 oz, 14.25 lb."""
    if context["establishment"].weight_unit == "lb":
        pounds = Fraction(mg, MG_PER_G) / GRAMS_PER_LB
        if pounds >= 1:
            return f"{show_number(pounds, 2)} lb"
        return f"{show_number(pounds * GRAMS_PER_LB / GRAMS_PER_OZ, 3)} oz"
    grams = Fraction(mg, MG_PER_G)
    return f"{show_number(grams / 1000, 3)} kg" if grams >= 1000 else f"{show_number(grams, 2)} g"


@register.filter
def exact(value: Fraction | int, decimals: int = 1) -> str:
    """A computed figure with so many decimals, rounded the same on every machine."""
    return show_number(Fraction(value), int(decimals))


@register.filter
def millionths(value: int, decimals: int = 1) -> str:
    """A figure kept in millionths, as people read it."""
    return show_number(Fraction(value, MILLIONTHS), int(decimals))


@register.filter
def both_units(ninths: int) -> str:
    """A temperature in both units: 60.0 °F (15.6 °C)."""
    return show_both(ninths)


@register.filter
def per_cent(share: Fraction | None) -> str:
    """A share as people say it: "78.5 %"; a dash where it cannot be said."""
    return "—" if share is None else f"{show_number(share * 100, 1)} %"


@register.filter
def times(value: Fraction | None) -> str:
    """How many times one figure is another: "1.72"."""
    return "—" if value is None else show_number(value, 2)


@register.filter
def thick(um: Any) -> str:
    """A thickness kept in micrometres: "25.4 mm (1 in)"."""
    return show_um(um)


@register.filter
def piece_weight(mg: Any) -> str:
    """A piece's weight kept in milligrams: "227 g (8 oz)"."""
    return show_mg(mg)


@register.filter
def figure(row: Any) -> str:
    """The figure as it was read, with a decimal point and a true minus sign."""
    return str(row.as_read).replace(",", ".").replace("-", "−")


@register.filter
def reading(row: Any) -> str:
    """A reading as it was read, with its unit."""
    if row.quantity == "temperature":
        return f"{figure(row)} °{row.unit}"
    return f"{figure(row)} {row.unit}".replace(" :1", " : 1")


@register.filter
def canonical(row: Any) -> str:
    """A reading's canonical value in its own unit."""
    if row.quantity == "temperature":
        return show_temperature(row.value, row.unit)
    return show_quantity(row.value, row.quantity)


@register.filter
def span(span_ms: int | None) -> str:
    """30 min, 2 h 15 min."""
    return "—" if span_ms is None else show_span(int(span_ms) // 60000 * 60000)


@register.filter
def day(iso: str) -> str:
    """A day kept as 2026-12-01, unmistakably: "1 Dec 2026"."""
    year, _, rest = iso.partition("-")
    month, _, date = rest.partition("-")
    if not (year.isdigit() and month.isdigit() and date.isdigit()):
        return iso
    return f"{int(date)} {MONTHS[int(month) - 1]} {year}"
