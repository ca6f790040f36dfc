"""Forecasts of heat: when a core will have been hot for long enough, or have had its equivalent minutes.

Estimates from the curves of the lag model; they never decide.
"""

from collections.abc import Callable
from dataclasses import replace
from math import ceil, inf
from typing import Final

from lots.core.cooling import fit_lag
from lots.core.forecast import Forecast, Says, columns, crossing_ms, read_off
from lots.core.lag import HALF, CannotSay, Curve, Readings, Reason

LETHAL_STEPS: Final = 16  # in one time constant
LETHAL_SPANS: Final = 6  # time constants after which a curve has levelled out
TEN: Final = 10.0
SIMPSON: Final = (1 / 6, 4 / 6, 1 / 6)  # Simpson's rule


def forecast_heat(
    bound: int,
    for_ms: int,
    already_ms: int,
    readings: Readings,
    now: int,
    surroundings: Readings | int | None = None,
    deadline_at: int | None = None,
) -> Forecast:
    """When a core will have been at or above `bound` for `for_ms` unbroken.

    Readings far apart show the heat later than this says: what counts begins and ends with a reading.

    Args:
        bound: ninths.
        for_ms: how long, ms.
        already_ms: how long by the latest reading, unbroken, ms.
        readings, now, surroundings: as for `forecast_cooling`.
        deadline_at: when the step must be over, ms UTC; None: no such moment.
    """
    past = sorted(pair for pair in readings if pair[0] <= now)
    if already_ms >= for_ms:
        return Forecast(Says.REACHED, bound, deadline_at=deadline_at, for_ms=for_ms)
    hot = bool(past) and past[-1][1] >= bound
    need = for_ms - already_ms
    fit = fit_lag(*columns(past), surroundings, now)
    if isinstance(fit, CannotSay):
        found = _without_fit(fit, past, need if hot else inf, deadline_at)
        return replace(found, target=bound, for_ms=for_ms)

    def when(curve: Curve) -> float:
        if hot:
            return need if curve.after(need) >= bound else inf
        return crossing_ms(curve, bound, falling=False) + for_ms

    found = read_off(fit, when, now, deadline_at)
    return replace(found, target=bound, for_ms=for_ms, standing=None)


def _without_fit(fit: CannotSay, past: Readings, need: float, deadline: int | None) -> Forecast:
    """Readings that stand still say when what they already do will have been done long enough."""
    if fit.reason is not Reason.NO_TREND or need == inf:
        return Forecast(Says.CANNOT_SAY, deadline_at=deadline, why=fit.why)
    at = past[-1][0] + ceil(need)
    misses = deadline is not None and at > deadline
    says = Says.REACHES if deadline is None else Says.MISSES if misses else Says.MEETS
    return Forecast(says, None, at, at, at, deadline, miss_share=float(misses))


def forecast_lethality(
    reference: int,
    z: int,
    wanted_ms: int,
    have_ms: float,
    readings: Readings,
    now: int,
    surroundings: Readings | int | None = None,
    lowest: int | None = None,
    deadline_at: int | None = None,
) -> Forecast:
    """When the equivalent time at the reference temperature will be there, along the curves.

    Args:
        reference: ninths.
        z: a difference, ninths, above 0.
        wanted_ms, have_ms: equivalent time wanted, and had by the latest reading, ms.
        readings, now, surroundings, deadline_at: as for `forecast_heat`.
        lowest: below this nothing counts, ninths.
    Raises:
        ValueError: z is not above 0.
    """
    if z <= 0:
        raise ValueError("z must be a temperature difference above 0")
    if have_ms >= wanted_ms:
        return Forecast(Says.REACHED, deadline_at=deadline_at, for_ms=wanted_ms)

    def rate(ninths: float) -> float:
        if lowest is not None and ninths < lowest:
            return 0.0
        return float(TEN ** ((ninths - reference) / z))

    past = sorted(pair for pair in readings if pair[0] <= now)
    need = wanted_ms - have_ms
    fit = fit_lag(*columns(past), surroundings, now)
    if isinstance(fit, CannotSay):
        slowest = rate(past[-1][1]) if past else 0.0
        found = _without_fit(fit, past, need / slowest if slowest else inf, deadline_at)
        return replace(found, for_ms=wanted_ms)
    found = read_off(fit, lambda curve: _lethal(curve, rate, need), now, deadline_at)
    return replace(found, for_ms=wanted_ms, standing=None)


def _lethal(curve: Curve, rate: Callable[[float], float], need: float) -> float:
    """When the rate's integral along the curve comes to `need`, ms after the last reading."""
    step = curve.tau_ms / LETHAL_STEPS
    total = 0.0
    for i in range(LETHAL_STEPS * LETHAL_SPANS):
        ends = (rate(curve.after((i + part) * step)) for part in (0, HALF, 1))
        more = step * sum(x * y for x, y in zip(SIMPSON, ends, strict=True))
        if total + more >= need:
            return step * (i + (need - total) / more)
        total += more
    level = rate(curve.surroundings)
    return step * LETHAL_STEPS * LETHAL_SPANS + (need - total) / level if level else inf
