"""What of a finding can be drawn against its limit: one figure, and the bound that it must keep to."""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from lots.core.finding import Finding
from lots.core.limits import (
    Cooling,
    Declared,
    Duration,
    Every,
    Exposure,
    Followed,
    Lethality,
    Limit,
    Maintained,
    Within,
)
from lots.core.units import MS_PER_H, MS_PER_MIN, NINTHS_PER_C, NINTHS_PER_F, TempUnit, degrees

LONG: Final = 3 * MS_PER_H  # from here on times are drawn in hours


@dataclass(frozen=True, slots=True)
class Measure:
    """A figure in `unit`, at least `low` and at most `high` (None: not bounded on that side).

    `what` says what is measured where it is not the limit's own figure, "" otherwise.
    """

    value: Fraction
    low: Fraction | None
    high: Fraction | None
    unit: str
    what: str = ""


def measures(limit: Limit, finding: Finding, unit: TempUnit) -> Iterator[Measure]:
    """The figures of a finding that can be drawn: none of what was looked for, of combinations, of
    laboratory results, nor where nothing was read.

    Args:
        unit: in which temperatures are drawn; how the limit was judged does not depend on it.
    """
    numbers, rule = finding.numbers, limit.rule
    match rule:
        case Within() if numbers.get("margin") is not None:
            yield _within(rule, numbers["margin"], unit)
        case Maintained(_, _, for_ms, _) if "maintained_ms" in numbers:
            yield _time(numbers["maintained_ms"], for_ms, None)
        case Lethality() if "equivalent_ms" in numbers:
            yield _time(numbers["equivalent_ms"], rule.at_least_ms, None)
        case Exposure() if "exposed_ms" in numbers:
            yield _time(numbers["exposed_ms"], None, rule.at_most_ms)
        case Every(within_ms, _) if "gap_ms" in numbers:
            yield _time(numbers["gap_ms"], None, within_ms)
        case Duration(least, longer, most) if "lasted_ms" in numbers:
            yield _time(numbers["lasted_ms"], least if least is not None else longer, most)
        case Declared(longer) if "lasted_ms" in numbers:
            yield _time(numbers["lasted_ms"], None, longer)
        case Followed(_, within_ms) if "took_ms" in numbers:
            yield _time(numbers["took_ms"], None, within_ms)
        case Cooling(_, stages):
            for number, stage in enumerate(stages, 1):
                if (took := numbers.get(f"stage_{number}_ms")) is not None:
                    yield _time(took, None, stage.within_ms, f"down to {stage.to.text}")


def _within(rule: Within, margin: int, unit: TempUnit) -> Measure:
    """The reading nearest its bound; with a bound on both sides, how far inside it was."""
    size = NINTHS_PER_F if unit == "F" else NINTHS_PER_C
    if rule.low and rule.high:
        inside = Fraction(margin, size)
        return Measure(inside, Fraction(0), None, f"°{unit}", "how far inside its two bounds")
    bound = rule.low or rule.high
    assert bound is not None
    there = bound.for_unit(unit)
    value = degrees(there + margin if rule.low else there - margin, unit)
    line = degrees(there, unit)
    low, high = (line, None) if rule.low else (None, line)
    return Measure(value, low, high, f"°{unit}")


def _time(value: int, low: int | None, high: int | None, what: str = "") -> Measure:
    longest = max(bound for bound in (low, high, 0) if bound is not None)
    size, unit = (MS_PER_H, "h") if longest >= LONG else (MS_PER_MIN, "min")

    def share(ms: int | None) -> Fraction | None:
        return None if ms is None else Fraction(ms, size)

    return Measure(Fraction(value, size), share(low), share(high), unit, what)
