"""How figures, moments and verdicts are written on paper."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

from lots.core.record import Acceptance, LotRecord
from lots.core.units import GRAMS_PER_LB, show_number, show_temperature

NONE = "—"
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

VERDICTS = {
    "MET": "within limits",
    "ADJUST": "adjust process",
    "PENDING": "not yet shown",
    "DEVIATION": "deviation",
}
"""Mildest first."""


def worst(verdicts: list[str]) -> str:
    """The worst of the verdicts; "PENDING" if there are none."""
    order = list(VERDICTS)
    return max(verdicts, key=order.index, default="PENDING")


@dataclass(frozen=True, slots=True)
class Shown:
    """The units and the zone that a record's figures are shown in."""

    zone: ZoneInfo
    temperature_unit: str
    weight_unit: str

    def local(self, moment_at: int) -> datetime:
        """The moment on the establishment's wall clock."""
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=moment_at)
        return moment.astimezone(self.zone)

    def moment(self, moment_at: int) -> str:
        """The moment, e.g. "4 Mar 2026 14:05 −05:00"; a dash for none."""
        if not moment_at:
            return NONE
        at = self.local(moment_at)
        return f"{day(at)} {at:%H:%M} {offset(at)}"

    def temperature(self, ninths: int) -> str:
        """The temperature in the establishment's unit, e.g. "40.1 °F"."""
        return show_temperature(ninths, "F" if self.temperature_unit == "F" else "C")

    def weight(self, amount_g: int) -> str:
        """The weight in the establishment's unit: kg exact, lb to the nearest tenth."""
        if self.weight_unit == "lb":
            return f"{show_number(amount_g / GRAMS_PER_LB, 1, 1)} lb"
        return f"{show_number(Fraction(amount_g, 1000), 3, 1)} kg"


def shown_in(record: LotRecord) -> Shown:
    """How this record's figures are shown."""
    place = record.establishment
    return Shown(ZoneInfo(place.zone), place.temperature_unit, place.weight_unit)


def day(at: date) -> str:
    """The day, e.g. "4 Mar 2026"."""
    return f"{at.day} {MONTHS[at.month - 1]} {at.year}"


def day_of(text: str) -> str:
    """A day typed as "2026-03-11" as paper shows it, e.g. "11 Mar 2026"; other text as it is."""
    try:
        return day(date.fromisoformat(text))
    except ValueError:
        return text


def accepted_words(accepted: tuple[Acceptance, ...], shown: Shown) -> str:
    """Who accepted a late or corrected entry, when and why; "" where nobody has."""
    return "; ".join(
        f"Accepted {shown.moment(one.at)} by {one.initials}: {one.reason}" for one in accepted
    )


def limit_number(record: LotRecord, point: str, limit: str) -> str:
    """A limit's number on paper, e.g. "CCP 2.3": its control point's, and its place there."""
    mine = [one.limits for one in record.control_points if one.id == point]
    ids = [one.id for limits in mine for one in limits]
    return f"{point}.{ids.index(limit) + 1}" if limit in ids else point


def point_name(record: LotRecord, point: str) -> str:
    """The name of a control point."""
    return next((one.name for one in record.control_points if one.id == point), "")


def offset(at: datetime) -> str:
    """The clock's distance from UTC, e.g. "−05:00"."""
    minutes = round((at.utcoffset() or timedelta()).total_seconds()) // 60
    return f"{'−' if minutes < 0 else '+'}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"


def span(span_ms: int) -> str:
    """A span in words, e.g. "1 h 30 min"."""
    minutes, seconds = divmod(round(span_ms / 1000), 60)
    hours, minutes = divmod(minutes, 60)
    parts = [(hours, "h"), (minutes, "min"), (seconds, "s")]
    return " ".join(f"{n} {word}" for n, word in parts if n) or "0 min"


def sentence(*parts: str, joint: str = " · ") -> str:
    """The parts that are not empty, joined."""
    return joint.join(part for part in parts if part)
