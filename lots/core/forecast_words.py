"""Forecasts in words, made from their values in one place."""

from collections.abc import Callable
from math import ceil, floor

from lots.core.forecast import Forecast, Says
from lots.core.units import MS_PER_MIN, TempUnit, degrees, show_number, show_span

Show = Callable[[int], str]


def forecast_words(found: Forecast, show: Show, unit: TempUnit) -> str:
    """The forecast in words for people, e.g. "70 °F: will meet at about 14:20 (14:05 to 14:40)".

    Args:
        show: shows a moment, ms UTC, in the establishment's zone.
        unit: of the temperatures shown.
    """
    parts = {
        Says.CANNOT_SAY: [found.why],
        Says.REACHED: [_when(found, show)],
        Says.MEETS: [_when(found, show), _by(found, show)],
        Says.REACHES: [_when(found, show)],
        Says.NEVER: [_level(found, unit)],
        Says.MISSES: [found.why or _standing(found, show, unit), _when(found, show)],
    }[found.says]
    said = "; ".join(filter(None, parts))
    return f"{_what(found, unit)}: {found.says.value}{_joint(found.says) if said else ''}{said}"


def _joint(says: Says) -> str:
    """What stands between the saying and the figures."""
    return " at " if says in (Says.REACHED, Says.MEETS, Says.REACHES) else ": "


def _what(found: Forecast, unit: TempUnit) -> str:
    if found.target is None:
        return f"{show_span(found.for_ms)} at the reference temperature"
    held = f" for {show_span(found.for_ms)}" if found.for_ms else ""
    return f"{show_number(degrees(found.target, unit), 1)} °{unit}{held}"


def _about(ninths: int, unit: TempUnit) -> str:
    return f"about {show_number(degrees(ninths, unit), 0)} °{unit}"


def _by(found: Forecast, show: Show) -> str:
    return "" if found.deadline_at is None else f"the deadline is {show(found.deadline_at)}"


def _level(found: Forecast, unit: TempUnit) -> str:
    return "" if found.level is None else f"it levels out at {_about(found.level, unit)}"


def _standing(found: Forecast, show: Show, unit: TempUnit) -> str:
    if found.standing is None or found.deadline_at is None:
        return _by(found, show)
    return (
        f"at the deadline {show(found.deadline_at)} it will stand at {_about(found.standing, unit)}"
    )


def _when(found: Forecast, show: Show) -> str:
    """The moment with its span: the earliest cut down, the latest up, to the minute."""
    if found.moment_at is None:
        return ""
    middle = _minute(found.moment_at, round)
    early = middle if found.earliest_at is None else _minute(found.earliest_at, floor)
    late = None if found.latest_at is None else _minute(found.latest_at, ceil)
    if found.earliest_at == found.latest_at:
        return show(middle)
    span = f"{show(early)} or later" if late is None else f"{show(early)} to {show(late)}"
    return f"about {show(middle)} ({span})"


def _minute(at: int, rounded: Callable[[float], int]) -> int:
    return rounded(at / MS_PER_MIN) * MS_PER_MIN
