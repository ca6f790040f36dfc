"""Equivalent minutes at a reference temperature, from readings of a core.

The lethal rate is 10^((T − T_ref) / z); equivalent minutes are its integral over time.  No float
decides: a rate is an integer number of billionths, cut downwards, one for each distinct temperature, and
the sum is of integers.  The estimate between readings is exact for straight lines.

Source of the formula: FDA Fish and Fishery Products Hazards and Controls Guidance, appendix 4, tables
A-3 and A-4 (minutes at T = minutes at T_ref / lethal rate).
"""

from collections.abc import Sequence
from decimal import ROUND_FLOOR, Context, Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Final

BILLIONTHS: Final = 1_000_000_000
DIGITS: Final = Context(prec=40, rounding=ROUND_FLOOR)
TEN: Final = Decimal(10)
RATES_KEPT: Final = 4096  # distinct temperatures of a few logger files


@lru_cache(maxsize=RATES_KEPT)
def lethal_rate(ninths: int, reference: int, z: int) -> int:
    """The lethal rate in billionths, cut downwards: in doubt against the processor.

    Args:
        ninths: the temperature, 1/9000 °C.
        reference: the reference temperature, 1/9000 °C.
        z: the difference in temperature that changes the rate tenfold, 1/9000 °C, above 0.
    Raises:
        ValueError: z is not above 0.
    """
    if z <= 0:
        raise ValueError("z must be a temperature difference above 0")
    power = DIGITS.divide(Decimal(ninths - reference), Decimal(z))
    rate = DIGITS.power(TEN, power)
    return int(DIGITS.multiply(rate, Decimal(BILLIONTHS)).to_integral_value(ROUND_FLOOR))


def equivalent_ms(
    at: Sequence[int],
    ninths: Sequence[int],
    reference: int,
    z: int,
    lowest: int | None = None,
    longest_gap_ms: int | None = None,
) -> Fraction:
    """Milliseconds at the reference temperature: the cooler end holds for the whole interval.

    Too long an interval counts nothing, nor does one whose cooler end is below `lowest`.

    Args:
        at: moments in order, ms.
        ninths: temperatures, as many, 1/9000 °C.
        reference, z: as for `lethal_rate`.
        lowest: below this nothing counts (the lowest temperature of the table cited), 1/9000 °C.
        longest_gap_ms: the longest interval that counts, ms; None: any.
    """
    total = 0
    for i in range(1, len(at)):
        cooler = min(ninths[i - 1], ninths[i])
        span = at[i] - at[i - 1]
        counts = lowest is None or cooler >= lowest
        if counts and (longest_gap_ms is None or span <= longest_gap_ms):
            total += span * lethal_rate(cooler, reference, z)
    return Fraction(total, BILLIONTHS)


def trapezoid_ms(at: Sequence[int], ninths: Sequence[int], reference: int, z: int) -> Fraction:
    """The same by the mean of the two ends' rates, as worked sheets add it up; errs to neither side."""
    total = 0
    for i in range(1, len(at)):
        ends = lethal_rate(ninths[i - 1], reference, z) + lethal_rate(ninths[i], reference, z)
        total += (at[i] - at[i - 1]) * ends
    return Fraction(total, 2 * BILLIONTHS)


def straight_ms(at: Sequence[int], ninths: Sequence[int], reference: int, z: int) -> Fraction:
    """The exact integral where the temperature runs straight between readings; an estimate alone.

    On a straight line the integral is Δt · (r₂ − r₁) / ln(r₂ / r₁), and Δt · r where the ends agree.
    """
    total = Decimal(0)
    for i in range(1, len(at)):
        first, second = (
            DIGITS.power(TEN, DIGITS.divide(Decimal(value - reference), Decimal(z)))
            for value in (ninths[i - 1], ninths[i])
        )
        mean = first
        if first != second:
            mean = DIGITS.divide(
                DIGITS.subtract(second, first), DIGITS.ln(DIGITS.divide(second, first))
            )
        total = DIGITS.add(total, DIGITS.multiply(Decimal(at[i] - at[i - 1]), mean))
    return Fraction(total)


def log_reduction(equivalent: Fraction | int, d_ms: Fraction | int) -> Fraction:
    """The number of tenfold reductions that an equivalent time at the reference temperature makes, exactly.

    As conservative as the equivalent time that it is given.

    Args:
        equivalent: time at the reference temperature, ms, not below 0.
        d_ms: the time there that leaves one in ten, ms, above 0.
    Raises:
        ValueError: D is not above 0.
    Source: log reduction = minutes / D at the reference temperature, the definition of D.
    """
    if d_ms <= 0:
        raise ValueError("D must be a time above 0")
    return Fraction(equivalent) / Fraction(d_ms)
