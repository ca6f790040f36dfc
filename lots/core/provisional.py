"""What a tablet may say by itself of one figure: a provisional verdict, or a doubt about what was typed.

The twin of static/js/beside/provisional.js: the same cases (fixtures/provisional.json) run in both, and
here also against the judging itself.  Integers only.  A provisional verdict decides nothing.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from lots.core.limits import Verdict, Within
from lots.core.rules import Range, SlipRule
from lots.core.units import BadQuantity, TempUnit, to_ninths

_WHOLE: Final = re.compile(r"([-−]?)(\d{3,4})")


@dataclass(frozen=True, slots=True)
class LastFigure:
    """The last reading of the same thing: ninths, and when, ms UTC."""

    value: int
    at: int


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a figure is asked about: "impossible", "unlikely" or "slip"; `meant` is what may have been
    meant, as it would be typed, or nothing."""

    kind: str
    meant: str = ""


def provisional_verdict(
    rule: Within, operating: Within | None, ninths: int, unit: TempUnit
) -> Verdict:
    """The verdict of one figure alone on a plain at most, at least or between; exactly on a bound meets
    it.

    Args:
        rule, operating: the critical limit and, if there is one, the operating limit.
        ninths: the figure, in 1/9000 °C; `unit`: the unit it was read in, whose printed bound governs.
    """
    if not _holds(rule, ninths, unit):
        return Verdict.DEVIATION
    return Verdict.MET if operating is None or _holds(operating, ninths, unit) else Verdict.ADJUST


def _holds(rule: Within, ninths: int, unit: TempUnit) -> bool:
    above = rule.low is None or ninths >= rule.low.for_unit(unit)
    return above and (rule.high is None or ninths <= rule.high.for_unit(unit))


def doubt(
    as_read: str,
    unit: TempUnit,
    likely: Range,
    possible: Range,
    last: LastFigure | None,
    slip: SlipRule,
    now: int,
) -> Doubt | None:
    """Why the figure should be asked about before it is stored; None where nothing speaks against it.

    A figure far from the last one of the same thing is a slip where a point or a minus set right would
    bring it near: 412 for 41.2, 7.0 for −7.0.  It errs on the side of asking.

    Args:
        as_read, unit: the figure as typed.
        likely, possible: what such a thing is likely to read, and what anything can.
        last: the last reading of the same thing; now: ms UTC.
    Raises:
        BadQuantity: the figure cannot be read at all.
    """
    value = to_ninths(as_read, unit)
    recent = last if last is not None and now - last.at <= slip.last_within_ms else None
    meant = next((text for text in _meant(as_read) if _fits(text, unit, likely, recent, slip)), "")
    if not possible.holds(value):
        return Doubt("impossible", meant)
    if not likely.holds(value):
        return Doubt("unlikely", meant)
    if recent is not None and meant and abs(value - recent.value) > slip.far:
        return Doubt("slip", meant)
    return None


def _meant(as_read: str) -> Iterator[str]:
    """What a finger that slipped may have meant: the point forgotten, the minus forgotten or added."""
    plain = as_read.strip()
    whole = _WHOLE.fullmatch(plain)
    if whole is not None:
        yield f"{whole[1]}{whole[2][:-1]}.{whole[2][-1]}"
    yield plain[1:] if plain[:1] in ("-", "−") else f"−{plain.removeprefix('+')}"


def _fits(
    text: str, unit: TempUnit, likely: Range, recent: LastFigure | None, slip: SlipRule
) -> bool:
    try:
        value = to_ninths(text, unit)
    except BadQuantity:
        return False
    near = recent is None or abs(value - recent.value) <= slip.near
    return near and likely.holds(value)
