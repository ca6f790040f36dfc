"""The fit of the lag model beside SciPy's, on exact and noisy readings; and when it cannot say."""

import random
from collections.abc import Sequence
from math import exp, inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit, least_squares
from scipy.special import jn_zeros

from lots.core.cooling import fit_lag
from lots.core.lag import (
    FORGET_MS,
    OUTER,
    POINTS,
    CannotSay,
    Curve,
    LagFit,
    Place,
    Readings,
    Reason,
    place_of,
    points_of,
    response,
    spread,
)
from lots.core.units import MS_PER_H, MS_PER_MIN, MS_PER_S, NINTHS_PER_C, NINTHS_PER_F

START = 1_780_000_000_000


def newton(
    air: float, away: float, tau: float, minutes: Sequence[float], noise: float = 0, seed: int = 1
) -> Readings:
    """Readings of air + away · e^(−m/τ), °C, with even noise of ± that many °C."""
    rng = random.Random(seed)
    return [
        (
            START + round(m * MS_PER_MIN),
            round(NINTHS_PER_C * (air + away * exp(-m / tau) + rng.uniform(-noise, noise))),
        )
        for m in minutes
    ]


def fitted(readings: Readings, place: Readings | int | None = None) -> LagFit:
    found = fit_lag([at for at, _ in readings], [v for _, v in readings], place)
    assert isinstance(found, LagFit), found
    return found


def reason(readings: Readings, place: Readings | None = None, now: int | None = None) -> Reason:
    found = fit_lag([at for at, _ in readings], [v for _, v in readings], place, now)
    assert isinstance(found, CannotSay), found
    assert found.why == found.reason.value
    return found.reason


def scipy_fit(readings: Readings) -> tuple[float, float, float]:
    """(air, away, tau) by SciPy, °C and minutes; the fresh count as `points_of` states it."""
    at = np.array([a for a, _ in readings], dtype=float)
    m, t = (at - at[0]) / MS_PER_MIN, np.array([v for _, v in readings]) / NINTHS_PER_C
    sigma = 0.5 ** (-(at[-1] - at) / FORGET_MS / 2)  # a weight of 1/2 is a deviation of √2
    guess = (t[-1] - (t[0] - t[-1]) / 4, t[0] - t[-1], m[-1] / 2)
    found, _ = curve_fit(
        lambda m, air, away, tau: air + away * np.exp(-m / tau), m, t, guess, sigma, maxfev=20_000
    )
    return float(found[0]), float(found[1]), float(found[2])


# --- beside SciPy ---------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(
    ("air", "away", "tau"), [(4, 56, 60), (2, 68, 110), (80, -70, 40), (85, -60, 25)]
)
def test_a_noisy_course_is_fitted_as_scipys_curve_fit_does(
    air: float, away: float, tau: float, seed: int
) -> None:
    readings = newton(air, away, tau, range(0, int(2.2 * tau), 5), noise=0.3, seed=seed)
    fit, (air_2, away_2, tau_2) = fitted(readings), scipy_fit(readings)
    assert fit.tau_ms / MS_PER_MIN == pytest.approx(tau_2, rel=0.005)
    assert fit.surroundings / NINTHS_PER_C == pytest.approx(air_2, abs=0.1)
    end = readings[-1][0] + tau * MS_PER_MIN
    ahead = air_2 + away_2 * exp(-((end - START) / MS_PER_MIN) / tau_2)
    best = Curve(fit.tau_ms, fit.surroundings, fit.amplitude)
    assert best.after(end - fit.at) / NINTHS_PER_C == pytest.approx(ahead, abs=0.05)
    truth = air + away * exp(-((end - START) / MS_PER_MIN) / tau)
    assert fit.temperature(round(end)) / NINTHS_PER_C == pytest.approx(truth, abs=1.5)


def test_a_loggers_readings_each_second_are_thinned_without_changing_the_fit() -> None:
    """SciPy gets all 7200 readings, the fit its forty means of them."""
    readings = newton(4, 56, 60, [s / 60 for s in range(7200)], noise=0.3)
    fit, (air, _, tau) = fitted(readings), scipy_fit(readings)
    assert fit.readings == POINTS
    assert fit.tau_ms / MS_PER_MIN == pytest.approx(tau, rel=0.005)
    assert fit.surroundings / NINTHS_PER_C == pytest.approx(air, abs=0.1)
    assert tau == pytest.approx(60, rel=0.02)


def test_a_course_in_air_that_is_read_is_fitted_as_scipys_least_squares_does() -> None:
    """In air that is steady and read exactly the distance from it is held near nothing, weighted."""
    readings = newton(4, 56, 60, range(0, 100, 5), noise=0.3, seed=3)
    fit = fitted(readings, 4 * NINTHS_PER_C)
    points = points_of(readings)
    start, last = points[0].t, readings[-1][0]
    prior = 1 / ((1.0 * NINTHS_PER_C) ** 2 + (0.04 * (points[0].value - 4 * NINTHS_PER_C)) ** 2)

    def misfit(x: Sequence[float]) -> list[float]:
        off, away, tau = x[0] * NINTHS_PER_C, x[1] * NINTHS_PER_C, x[2] * MS_PER_MIN
        rest = [
            (p.value - 4 * NINTHS_PER_C - off - away * exp(-(p.t - start) / tau)) * p.counts**0.5
            for p in points
        ]
        return [*rest, off * prior**0.5]

    off, _, tau = least_squares(misfit, (0, 50, 40), xtol=1e-12, ftol=1e-12).x
    assert fit.at == last
    assert fit.tau_ms / MS_PER_MIN == pytest.approx(tau, rel=0.001)
    assert fit.surroundings / NINTHS_PER_C == pytest.approx(4 + off, abs=0.01)


# --- exact courses --------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    st.integers(-5, 100),
    st.sampled_from([-1, 1]),
    st.integers(20, 70),
    st.integers(12, 200),
    st.floats(0.8, 3.0),
)
def test_an_exact_exponential_is_recovered(
    air: int, way: int, away: int, tau: int, spans: float
) -> None:
    last = min(spans * tau, 450)
    readings = newton(air, way * away, tau, [last * i / 24 for i in range(25)])
    fit = fitted(readings) if last >= 20 else None
    if fit is None:
        assert reason(readings) is Reason.TOO_SHORT
        return
    assert fit.tau_ms == pytest.approx(tau * MS_PER_MIN, rel=0.01)
    assert fit.surroundings == pytest.approx(air * NINTHS_PER_C, abs=0.2 * NINTHS_PER_C)
    assert fit.rising == (way < 0)
    assert fit.rms < 0.01 * NINTHS_PER_C
    assert fit.at == readings[-1][0]
    assert (fit.since, fit.readings) == (START, 25)


@settings(max_examples=25, deadline=None)
@given(st.randoms(use_true_random=False))
def test_the_order_of_the_readings_does_not_matter(rng: random.Random) -> None:
    readings = list(newton(4, 56, 60, range(0, 100, 5), noise=0.3))
    place = list(newton(4, 3, 40, range(0, 100, 5), noise=0.3))
    as_was = fitted(readings, place)
    rng.shuffle(readings)
    rng.shuffle(place)
    assert fitted(readings, place) == as_was


def test_the_bags_weights_add_to_one() -> None:
    fit = fitted(newton(4, 56, 60, range(0, 60, 5), noise=0.3))
    assert sum(curve.weight for curve in fit.curves) == pytest.approx(1)
    middle = fit.temperature(fit.at)
    warmer = sum(curve.weight for curve in fit.curves if curve.after(0) > middle)
    assert warmer == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("seed", range(4))
def test_more_readings_narrow_the_bag(seed: int) -> None:
    readings = newton(4, 56, 60, range(0, 181, 5), noise=0.3, seed=seed)
    end = readings[-1][0] + MS_PER_H
    early, late = fitted(readings[:10]), fitted(readings)
    widths = [fit.temperature(end, 0.95) - fit.temperature(end, 0.05) for fit in (early, late)]
    assert widths[1] < widths[0]


def test_what_is_likely_happens_as_often_as_it_is_said_to() -> None:
    """Of a hundred noisy coolings the span of nine in ten holds the truth an hour on in at least 80."""
    held = 0
    for seed in range(100):
        readings = newton(4, 56, 60, range(0, 60, 5), noise=0.28, seed=seed)
        fit, end = fitted(readings), readings[-1][0] + MS_PER_H
        truth = NINTHS_PER_C * (4 + 56 * exp(-(end - START) / MS_PER_MIN / 60))
        held += fit.temperature(end, 0.05) <= truth <= fit.temperature(end, 0.95)
    assert held >= 80


def test_readings_after_the_moment_of_asking_are_not_looked_at() -> None:
    readings = newton(4, 56, 60, range(0, 100, 5), noise=0.3)
    now = readings[12][0]
    at, values = [a for a, _ in readings], [v for _, v in readings]
    assert fit_lag(at, values, None, now) == fit_lag(at[:13], values[:13], None, now)


def test_as_many_temperatures_as_moments_are_asked_for() -> None:
    with pytest.raises(ValueError):
        fit_lag([START], [1, 2])


# --- when it cannot say ---------------------------------------------------------------------------

COURSE = newton(4, 56, 60, range(0, 100, 5))


@pytest.mark.parametrize("count", range(4))
def test_fewer_than_four_readings_are_too_few(count: int) -> None:
    assert reason(COURSE[:count]) is Reason.TOO_FEW


@pytest.mark.parametrize(("last", "says"), [(20, None), (19, Reason.TOO_SHORT)])
def test_less_than_twenty_minutes_are_too_short(last: int, says: Reason | None) -> None:
    readings = newton(4, 56, 30, [last * i / 8 for i in range(9)])
    found = fit_lag([a for a, _ in readings], [v for _, v in readings])
    assert (found.reason if isinstance(found, CannotSay) else None) is says


@pytest.mark.parametrize(("after_min", "silent"), [(15, False), (15.1, True)])
def test_three_usual_gaps_without_a_reading_are_silence(after_min: float, silent: bool) -> None:
    now = COURSE[-1][0] + round(after_min * MS_PER_MIN)
    found = fit_lag([a for a, _ in COURSE], [v for _, v in COURSE], None, now)
    assert isinstance(found, LagFit) != silent
    assert not silent or reason(COURSE, None, now) is Reason.SILENT


def test_a_logger_is_not_silent_within_ten_minutes() -> None:
    readings = newton(4, 56, 60, [s / 60 for s in range(0, 3600, 10)])
    at, values = [a for a, _ in readings], [v for _, v in readings]
    assert isinstance(fit_lag(at, values, None, at[-1] + 10 * MS_PER_MIN), LagFit)
    assert reason(readings, None, at[-1] + 10 * MS_PER_MIN + MS_PER_S) is Reason.SILENT


def test_readings_that_noise_explains_show_no_trend() -> None:
    assert reason(newton(66, 0, 60, range(0, 60, 5), noise=0.28)) is Reason.NO_TREND


def test_readings_up_and_down_follow_no_course() -> None:
    wild = [(at, v + (i % 2) * 20 * NINTHS_PER_C) for i, (at, v) in enumerate(COURSE)]
    assert reason(wild) in (Reason.OFF_COURSE, Reason.DISTURBED)
    zigzag = [(START + i * 5 * MS_PER_MIN, v * NINTHS_PER_C) for i, v in enumerate(UNSTEADY)]
    assert reason(zigzag) is Reason.OFF_COURSE


UNSTEADY = (60, 40, 65, 30, 55, 20, 70, 25, 60, 35, 66, 22)


@pytest.mark.parametrize("way", [-1, 1])
@pytest.mark.parametrize("count", [7, 12, 20])
def test_a_latest_reading_far_off_the_course_is_a_disturbance(count: int, way: int) -> None:
    off = (COURSE[count - 1][0], COURSE[count - 1][1] + way * 8 * NINTHS_PER_F)
    assert reason([*COURSE[: count - 1], off]) is Reason.DISTURBED


def test_a_probe_quicker_than_a_fish_is_doubted() -> None:
    """While it falls, and when it has come to rest at what is round it."""
    readings = newton(20, 60, 4, range(0, 40, 2))
    assert reason(readings[:12]) is Reason.TOO_QUICK
    assert reason(readings) is Reason.TOO_QUICK
    assert isinstance(fitted(newton(20, 60, 8, range(0, 40, 2))), LagFit)


def test_no_course_within_what_air_can_be_is_too_wide(monkeypatch: pytest.MonkeyPatch) -> None:
    """A rise ever steeper has no surroundings: what fits best lies outside of any smokehouse's air."""
    straight = [(START + i * 5 * MS_PER_MIN, (20 + 8 * i) * NINTHS_PER_C) for i in range(12)]
    found = fit_lag([a for a, _ in straight], [v for _, v in straight])
    if isinstance(found, LagFit):
        assert all(one.surroundings >= -40 * NINTHS_PER_C for one in found.curves)
        assert all(one.surroundings <= 150 * NINTHS_PER_C for one in found.curves)
    monkeypatch.setattr("lots.core.cooling.HOTTEST", 30.0 * NINTHS_PER_C)
    assert reason(straight) is Reason.TOO_WIDE


# --- parts ----------------------------------------------------------------------------------------


def test_points_are_means_that_keep_every_reading() -> None:
    readings = newton(4, 56, 60, [s / 60 for s in range(3600)], noise=0.3)
    points = points_of(readings)
    assert len(points) == POINTS
    assert [p.t for p in points] == sorted(p.t for p in points)
    mean = sum(v for _, v in readings) / len(readings)
    assert sum(p.value for p in points) / POINTS == pytest.approx(mean, rel=1e-3)


def test_a_reading_three_hours_older_counts_half() -> None:
    old, new = points_of([(START, 0), (START + 3 * MS_PER_H, 0)])
    assert (old.fresh, new.fresh) == (0.5, 1)
    assert old.counts == pytest.approx(new.counts / 2)


def test_a_spread_reads_shares_off_weighted_figures() -> None:
    figures = [(3.0, 0.25), (1.0, 0.25), (inf, 0.5)]
    assert spread(figures, 0.25) == 1
    assert spread(figures, 0.5) == 3
    assert spread(figures, 0.375) == 2
    assert spread(figures, 0.51) == inf


def test_the_place_is_read_between_its_readings_and_held_beyond() -> None:
    minute = MS_PER_MIN
    place = place_of([(START, 0), (START + 10 * minute, 10_000)], START + 10 * minute)
    assert place.at(-5 * minute) == 5_000
    assert (place.at(-20 * minute), place.at(minute)) == (0, 10_000)


def test_a_place_that_changed_lately_is_taken_at_its_latest_level() -> None:
    change = [
        (START + m * MS_PER_MIN, (50 if m < 30 else 80) * NINTHS_PER_C) for m in range(0, 60, 5)
    ]
    place = place_of(change, change[-1][0])
    assert place.level == 80 * NINTHS_PER_C


def test_the_middles_response_is_that_of_two_lags_in_a_row() -> None:
    """Beside the two equations stepped by the second, air that rises from 20 to 80 °C and stays."""
    end, tau = 60 * MS_PER_MIN, 30.0 * MS_PER_MIN
    place = Place((-float(end), -float(end) / 2), (20.0, 80.0), 80.0, 0.0)
    points = points_of([(START, 0), (START + end // 2, 0), (START + end, 0)])
    got, outer_away = response(place, place.steps(points), -end, tau)
    outer = middle = 20.0
    stepped = [middle]
    for second in range(3600):
        for _ in range(4):
            outer += (place.at(-end + second * 1000 + 500) - outer) * 250 / (OUTER * tau)
            middle += (outer - middle) * 250 / tau
        if second in (1799, 3599):
            stepped.append(middle)
    assert got[2] == pytest.approx(stepped[2], abs=1.5)
    assert outer_away == pytest.approx(outer - 80, abs=0.5)


def test_the_outer_layers_lag_lies_between_a_slabs_and_a_cylinders() -> None:
    """The second of their time constants as a share of the first, surface at the surroundings: roots
    (2n + 1) π/2, and zeros of J0 from SciPy."""
    first, second = jn_zeros(0, 2)
    assert (1 / 3) ** 2 <= OUTER <= (first / second) ** 2


def test_a_place_that_has_moved_of_late_leaves_more_open() -> None:
    readings = newton(4, 56, 60, range(0, 100, 5))
    end = readings[-1][0] + 4 * MS_PER_H

    def width(late: int) -> float:
        steady = [(at, 4 * NINTHS_PER_C) for at, _ in readings]
        moved = [(at, v + late * NINTHS_PER_C) for at, v in steady[-6:]]
        fit = fitted(readings, [*steady[:-6], *moved])
        return fit.temperature(end, 0.95) - fit.temperature(end, 0.05)

    assert width(2) > width(0) + NINTHS_PER_C
