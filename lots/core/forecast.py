"""When a limit will be met or missed at the present course: forecasts from the lag model's curves.

A forecast never decides; verdicts rest on readings alone.  Each figure is read off a bag of curves: the
moment that half of them agree on, and the span of nine in ten.  Where they part too far, or there is no
fit, the forecast says that it cannot say and why.  Errs against the processor where it must choose: a
probe that cannot be forecast, or the slowest, speaks for all.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import takewhile
from math import inf, log
from typing import Final

from lots.core.cooling import fit_lag
from lots.core.lag import HALF, CannotSay, Curve, LagFit, Readings, Reason, spread
from lots.core.units import MS_PER_H, MS_PER_MIN

EARLIEST, LATEST = 0.05, 0.95  # nine in ten curves lie between
# The share of curves that must miss before the forecast says so: half of them when the deadline is near,
# nearly all while it is far off and the readings are few.  Chosen on made-up coolings, to tell of a miss
# in time in 95 of 100 with no more than 10 false alarms in 100.
NEAR_MS, FAR_MS = 90 * MS_PER_MIN, 210 * MS_PER_MIN
MISS_NEAR, MISS_FAR = 0.5, 0.98
MAY_MISS: Final = 0.25  # up to this share the forecast says that the limit will be met
WIDE_MS: Final = 45 * MS_PER_MIN  # a span of moments that is never too wide
HORIZON_MS: Final = 48 * MS_PER_H  # later than this is never
BISECTIONS: Final = 40
TOO_CLOSE: Final = "too close to call yet"
OVER: Final = "the time is over"
WAITS: Final = "the stage before cannot be forecast"


class Says(StrEnum):
    """What a forecast says, mildest first."""

    REACHED = "reached"
    MEETS = "will meet"
    REACHES = "will reach"
    CANNOT_SAY = "cannot say"
    NEVER = "never at the present course"
    MISSES = "likely to miss"


@dataclass(frozen=True, slots=True)
class Forecast:
    """A forecast of one target: `moment_at` with its span (None: not seen to come), ms UTC.

    target: the temperature, ninths (None: lethality); for_ms: how long it must be held, or the minutes
    wanted; standing: where it will be at the deadline, level: where it levels out short of the target, both
    ninths; miss_share: of the curves, 0 to 1, that are not there at the deadline; why: in words, where it
    cannot say.  The deadline of a stage that waits for the stage before is itself a forecast.
    """

    says: Says
    target: int | None = None
    moment_at: int | None = None
    earliest_at: int | None = None
    latest_at: int | None = None
    deadline_at: int | None = None
    standing: int | None = None
    level: int | None = None
    miss_share: float | None = None
    for_ms: int = 0
    why: str = ""

    @property
    def misses(self) -> bool:
        """Whether it says that the target will not be had in time."""
        return self.says in (Says.MISSES, Says.NEVER)


# --- one target -----------------------------------------------------------------------------------


def crossing_ms(curve: Curve, target: float, falling: bool) -> float:
    """When the curve is first at the target or past it, ms after the last reading; never: infinity."""
    sign = 1 if falling else -1
    if sign * (curve.after(0) - target) <= 0:
        return 0.0
    left = sign * (target - curve.surroundings)
    if left <= 0:
        return inf
    high = curve.tau_ms * log(max((abs(curve.amplitude) + abs(curve.outer)) / left, 1.0))
    if not curve.outer:
        return high
    low = 0.0
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        low, high = (middle, high) if sign * (curve.after(middle) - target) > 0 else (low, middle)
    return high


def _enough_to_miss(left_ms: int) -> float:
    """The share of curves that makes a likely miss, so long before the deadline."""
    far = min(max((left_ms - NEAR_MS) / (FAR_MS - NEAR_MS), 0.0), 1.0)
    return MISS_NEAR + far * (MISS_FAR - MISS_NEAR)


def read_off(
    fit: LagFit, when: Callable[[Curve], float], now: int, deadline_at: int | None
) -> Forecast:
    """The forecast from the moment that each curve gives, ms after the last reading."""
    times = [(t if t <= HORIZON_MS else inf, c.weight) for c in fit.curves for t in (when(c),)]

    def at(share: float) -> int | None:
        ms = spread(times, share)
        return None if ms == inf else fit.at + round(ms)

    middle, early, late = at(HALF), at(EARLIEST), at(LATEST)
    found = Forecast(Says.REACHES, None, middle, early, late, deadline_at)
    if deadline_at is not None:
        share = sum(weight for t, weight in times if fit.at + t > deadline_at)
        standing = round(fit.temperature(deadline_at))
        says = Says.MEETS if share <= MAY_MISS else Says.CANNOT_SAY
        says = Says.MISSES if share >= _enough_to_miss(deadline_at - now) else says
        why = TOO_CLOSE if says is Says.CANNOT_SAY else ""
        return replace(found, says=says, standing=standing, miss_share=share, why=why)
    if early is None:
        level = round(spread(((c.surroundings, c.weight) for c in fit.curves), HALF))
        return replace(found, says=Says.NEVER, level=level)
    if middle is None or late is None or late - early > max(WIDE_MS, middle - fit.at):
        return replace(found, says=Says.CANNOT_SAY, why=Reason.TOO_WIDE.value)
    return found


def forecast_reach(
    fit: LagFit | CannotSay,
    target: int,
    now: int,
    deadline_at: int | None = None,
    falling: bool | None = None,
) -> Forecast:
    """When the course reaches a temperature, falling or rising.

    Args:
        fit: from `fit_lag`.
        target: ninths.
        now: the moment of asking, ms UTC.
        deadline_at: the moment by which it must be there, ms UTC; None: no such moment.
        falling: whether it must come down to the target; None: as it stands to the latest course.
    Returns:
        With a deadline MEETS, MISSES or CANNOT_SAY, else REACHES, NEVER or CANNOT_SAY.
    """
    if deadline_at is not None and now > deadline_at:
        return Forecast(Says.MISSES, target, deadline_at=deadline_at, miss_share=1.0, why=OVER)
    if isinstance(fit, CannotSay):
        return Forecast(Says.CANNOT_SAY, target, deadline_at=deadline_at, why=fit.why)
    down = fit.temperature(fit.at) > target if falling is None else falling
    found = read_off(fit, lambda curve: crossing_ms(curve, target, down), now, deadline_at)
    return replace(found, target=target)


# --- cooling --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class StageAhead:
    """A stage of cooling: down to `to` (ninths) by `deadline_at`, or, where that is None, within
    `within_ms` of the last reading at or above where the stage before ended."""

    to: int
    deadline_at: int | None
    within_ms: int = 0


def forecast_cooling(
    stages: Sequence[StageAhead],
    readings: Readings,
    now: int,
    surroundings: Readings | int | None = None,
) -> list[Forecast]:
    """Whether each stage of cooling will be met, a forecast a stage.

    A stage is reached at its first reading at or below its figure; a later rise restarts nothing.  A
    stage whose clock waits for the stage before counts from the moment that is forecast for it.

    Args:
        stages: in order, warmest first.
        readings: (moment, ninths) of one probe, in any order; those after `now` are not looked at.
        now: ms UTC.
        surroundings: as for `fit_lag`.
    """
    past = sorted(pair for pair in readings if pair[0] <= now)
    fit = fit_lag(*columns(past), surroundings, now)
    out: list[Forecast] = []
    clock: int | None = None  # of a stage that waits for the stage before
    for stage in stages:
        deadline = stage.deadline_at
        if deadline is None and clock is not None:
            deadline = clock + stage.within_ms
        found, clock = _stage_forecast(stage.to, deadline, past, fit, now)
        if out and deadline is None and found.says is Says.REACHES:
            found = replace(found, says=Says.CANNOT_SAY, why=WAITS)
        out.append(found)
    return out


def _stage_forecast(
    to: int, deadline: int | None, past: Readings, fit: LagFit | CannotSay, now: int
) -> tuple[Forecast, int | None]:
    """The stage's forecast, and the moment from which a stage that waits for it counts."""
    above = [at for at, _ in takewhile(lambda pair: pair[1] > to, past)]
    if len(above) == len(past):
        found = forecast_reach(fit, to, now, deadline, falling=True)
        return found, found.moment_at
    reached, value = past[len(above)]
    clock = reached if value == to or not above else above[-1]
    late = deadline is not None and reached > deadline
    says = Says.MISSES if late else Says.REACHED
    return Forecast(says, to, reached, reached, reached, deadline, miss_share=float(late)), clock


# --- several probes -------------------------------------------------------------------------------


def governing(
    probes: Mapping[str, Readings], forecast: Callable[[Readings], Forecast]
) -> tuple[str, Forecast]:
    """The name of the probe that governs, and its forecast: a miss before all, then one that cannot be
    said, then the latest.

    Raises:
        ValueError: no probes.
    """
    each = {name: forecast(readings) for name, readings in sorted(probes.items())}
    name = max(each, key=lambda name: _weight(each[name]))
    return name, each[name]


def _weight(found: Forecast) -> tuple[int, float, float]:
    ahead = (Says.REACHED, Says.MEETS, Says.CANNOT_SAY, Says.MISSES)
    same = {Says.REACHES: Says.MEETS, Says.NEVER: Says.MISSES}
    late = inf if found.latest_at is None else found.latest_at
    return ahead.index(same.get(found.says, found.says)), found.miss_share or 0.0, late


def columns(readings: Readings) -> tuple[list[int], list[int]]:
    """The moments, and the temperatures."""
    return [at for at, _ in readings], [ninths for _, ninths in readings]
