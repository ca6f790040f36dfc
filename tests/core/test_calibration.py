"""The fitted diffusivity beside SciPy, how often its band holds the true one, and when nothing can be said."""

import random
from dataclasses import replace
from fractions import Fraction
from math import exp, log
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares
from scipy.stats import binom
from scipy.stats import t as student_t

from lots.core.calibration import (
    FEWEST,
    LEVEL,
    WIDEST,
    Calibration,
    CannotSay,
    Point,
    Why,
    calibrate,
    point_from,
    student,
)
from lots.core.salting import BadSalting
from lots.core.units import MILLIONTHS, MS_PER_H, NINTHS_PER_C
from lots.core.uptake import Brining, Diffusivity, forecast, mobility, published

TRUE = 2.5e-10  # m²/s at 5 °C, invented
HOUR = 3600
TRIALS = 200
SEED = 20
NOISE = 0.08  # of a result: piece from piece, and the laboratory


def found_in(
    brining: Brining, thick: float, seconds: float, noise: float = 1.0, true: float = TRUE
) -> Point:
    """What a laboratory would find in fish that takes up salt with the true diffusivity, dried to the
    brining's yield; `noise` multiplies the salt for one of water."""
    here = true * mobility(brining.temp_ninths)
    salt = brining.salt(here, thick, seconds) * noise
    water = brining.moisture_pct / 100
    weighs = (1 + salt * water) * brining.yield_pct / 100
    left = water - (1 + salt * water) * (1 - brining.yield_pct / 100)
    return Point(brining, thick, seconds, 100 * salt * water / weighs, 100 * left / weighs)


def results(rng: random.Random, count: int = 10, noise: float = NOISE) -> list[Point]:
    """Invented results of a house that brines now one way, now another."""
    out = []
    for _ in range(count):
        brining = Brining(
            brine_pct=rng.choice([10.0, 15.0, 20.0]),
            ratio=rng.choice([1.0, 2.0, 4.0]),
            moisture_pct=rng.uniform(68, 74),
            temp_ninths=round(rng.uniform(1, 8) * NINTHS_PER_C),
            open_faces=rng.choice([1, 2]),
            yield_pct=rng.uniform(75, 95),
        )
        thick, seconds = rng.uniform(0.012, 0.03), rng.uniform(4, 24) * HOUR
        out.append(found_in(brining, thick, seconds, exp(rng.gauss(0, noise))))
    return out


def fitted(points: list[Point], level: float = LEVEL) -> Calibration:
    found = calibrate(points, level)
    assert isinstance(found, Calibration), found
    return found


def reason(points: list[Point]) -> Why:
    found = calibrate(points)
    assert isinstance(found, CannotSay), found
    assert found.why == found.reason.value
    return found.reason


def brining(**change: Any) -> Brining:
    figures: dict[str, Any] = {
        "brine_pct": 15.0, "ratio": 2.0, "moisture_pct": 70.0, "temp_ninths": 5 * NINTHS_PER_C,
        "open_faces": 1, "yield_pct": 85.0,
    }  # fmt: skip
    return Brining(**{**figures, **change})


# --- how often the band holds the true one --------------------------------------------------------


def hits(level: float) -> tuple[int, int]:
    """How many of the trials' bands hold the true diffusivity, and how many of their forecasts the result
    of one more fish."""
    rng = random.Random(SEED)
    held = told = 0
    for _ in range(TRIALS):
        found, one = fitted(results(rng), level), results(rng, 1)[0]
        held += found.low <= TRUE <= found.high
        said = forecast(one.brining, found.diffusivity, one.thickness_m, one.seconds)
        told += said.low <= Fraction(one.as_found_pct(one.salt)) <= said.high
    return held, told


LOW, HIGH = (int(end) for end in binom.interval(0.999, TRIALS, LEVEL))


def test_the_band_holds_the_true_diffusivity_as_often_as_it_says() -> None:
    held, told = hits(LEVEL)
    assert LOW <= held <= HIGH, held
    assert LOW <= told <= HIGH, told


@pytest.mark.parametrize("level", [0.8, 0.9999])
def test_a_band_too_narrow_or_too_wide_is_found_out(level: float) -> None:
    held, _ = hits(level)
    assert not LOW <= held <= HIGH, held


def test_the_trials_have_room_on_both_sides() -> None:
    assert 0 < LOW < TRIALS * LEVEL < HIGH < TRIALS


# --- beside SciPy ---------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(5))
def test_the_best_is_that_of_scipys_least_squares(seed: int) -> None:
    points = results(random.Random(seed))

    def misfit(x: np.ndarray) -> list[float]:
        out = []
        for point in points:
            here = exp(x[0]) * mobility(point.brining.temp_ninths)
            out.append(log(point.salt / point.brining.salt(here, point.thickness_m, point.seconds)))
        return out

    scipy = least_squares(misfit, [log(1e-10)], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    found = fitted(points)
    assert found.best == pytest.approx(exp(scipy.x[0]), rel=1e-5)
    free = len(points) - 1
    scatter = (2 * scipy.cost / free) ** 0.5
    assert found.diffusivity.scatter == pytest.approx(scatter, rel=1e-6)
    width = student_t.ppf(0.975, free) * scatter / float(np.linalg.norm(scipy.jac))
    assert log(found.high / found.best) == pytest.approx(width, rel=0.15)
    assert log(found.best / found.low) == pytest.approx(width, rel=0.15)
    for end in (found.low, found.high):  # where the misfit is what Student's t allows
        allowed = 2 * scipy.cost * (1 + student_t.ppf(0.975, free) ** 2 / free)
        assert sum(x**2 for x in misfit(np.array([log(end)]))) == pytest.approx(allowed, rel=1e-6)


@pytest.mark.parametrize("level", [0.5, 0.8, 0.95, 0.999])
@pytest.mark.parametrize("free", [1, 2, 3, 4, 9, 30, 101])
def test_students_t_is_scipys(level: float, free: int) -> None:
    assert student(level, free) == pytest.approx(student_t.ppf((1 + level) / 2, free), rel=1e-9)


# --- exact points ---------------------------------------------------------------------------------


@settings(max_examples=30, deadline=None)
@given(st.floats(3e-11, 8e-10), st.integers(0, 10_000), st.integers(FEWEST, 8))
def test_points_without_noise_give_their_diffusivity_back(
    true: float, seed: int, count: int
) -> None:
    shapes = results(random.Random(seed), count)
    points = [found_in(p.brining, p.thickness_m, p.seconds, true=true) for p in shapes]
    found = calibrate(points)
    if isinstance(
        found, CannotSay
    ):  # thin pieces, long in the brine: they had all come to its strength
        assert found.reason is Why.AT_END
        return
    assert found.best == pytest.approx(true, rel=1e-4)
    assert found.low <= true * 1.0001
    assert found.high >= true / 1.0001
    assert all(each.off_pct == 0 for each in found.residuals)


def test_the_order_of_the_points_changes_nothing() -> None:
    points = results(random.Random(3))
    there, back = fitted(points), fitted(points[::-1])
    assert back.best == pytest.approx(there.best, rel=1e-7)
    assert back.residuals == there.residuals[::-1]


def test_more_points_make_the_band_narrower() -> None:
    points = results(random.Random(4), 40)
    few, many = fitted(points[:5]), fitted(points)
    assert many.high / many.low < few.high / few.low
    assert (few.n, many.n) == (5, 40)


# --- a point --------------------------------------------------------------------------------------


@given(st.floats(0.01, 0.2), st.floats(60, 100), st.floats(55, 80))
def test_salt_found_in_the_dried_fish_is_put_back_on_the_brined(
    salt: float, share: float, moisture: float
) -> None:
    brined = brining(yield_pct=share, moisture_pct=moisture)
    water = moisture / 100
    weighs = (1 + salt * water) * share / 100
    left = water - (1 + salt * water) * (1 - share / 100)
    if left <= 0.01:
        return
    point = Point(brined, 0.02, HOUR, 100 * salt * water / weighs, 100 * left / weighs)
    assert point.salt == pytest.approx(salt, rel=1e-9)
    assert point.as_found_pct(salt) == pytest.approx(brined.finished_pct(salt), rel=1e-9)


def test_a_point_put_back_by_hand() -> None:
    """3.2 % salt and 62 % moisture at a yield of 80 %: 2.56 g of salt, 49.6 + 20 g of water."""
    point = Point(brining(yield_pct=80.0), 0.02, HOUR, 3.2, 62.0)
    assert point.salt == pytest.approx(2.56 / 69.6)
    assert point.as_found_pct(point.salt) == pytest.approx(100 * 3.2 / 65.2)


def test_a_point_is_read_from_figures_as_they_are_kept() -> None:
    point = point_from(
        thickness_um=22_000, open_faces=1, brined_ms=12 * MS_PER_H, brine_temp=4 * NINTHS_PER_C,
        brine_salt=15 * MILLIONTHS, ratio=2 * MILLIONTHS, raw_moisture=70 * MILLIONTHS,
        salt=3_200_000, moisture=62 * MILLIONTHS, yield_share=80 * MILLIONTHS,
    )  # fmt: skip
    assert point == Point(
        brining(temp_ninths=4 * NINTHS_PER_C, yield_pct=80.0), 0.022, 12 * HOUR, 3.2, 62.0
    )


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"thickness_m": 0}, "how thick"),
        ({"thickness_m": 20}, "0.1 mm to 500 mm"),
        ({"thickness_m": 0.00002}, "0.1 mm to 500 mm"),
        ({"seconds": 0}, "how long"),
        ({"salt_pct": -1}, "the laboratory found"),
        ({"moisture_pct": 0}, "the laboratory found"),
        ({"salt_pct": 40, "moisture_pct": 61}, "over 100 %"),
    ],
)
def test_a_point_that_cannot_be_is_refused(change: dict[str, Any], said: str) -> None:
    figures = {"thickness_m": 0.02, "seconds": HOUR, "salt_pct": 3.2, "moisture_pct": 62.0}
    with pytest.raises(BadSalting, match=said):
        Point(brining(), **{**figures, **change})


def test_what_is_left_over_of_a_point_is_told() -> None:
    points = results(random.Random(6))
    found = fitted(points)
    for point, left in zip(points, found.residuals, strict=True):
        said = 100 * point.salt_pct / (point.salt_pct + point.moisture_pct)
        assert float(left.found_pct) == pytest.approx(said, abs=6e-4)
        as_forecast = forecast(point.brining, found.diffusivity, point.thickness_m, point.seconds)
        assert float(left.fitted_pct) == pytest.approx(float(as_forecast.best), rel=0.02)
        assert left.off_pct == left.found_pct - left.fitted_pct
    assert any(left.off_pct > 0 for left in found.residuals)
    assert any(left.off_pct < 0 for left in found.residuals)


# --- when nothing can be said ---------------------------------------------------------------------


def test_before_any_result_the_published_range_holds() -> None:
    assert reason([]) is Why.NONE
    assert "published range" in Why.NONE.value
    assert published().high / published().low > WIDEST


def test_one_result_or_two_give_no_fit() -> None:
    points = results(random.Random(1), 3)
    assert reason(points[:1]) is Why.ONE
    assert reason(points[:2]) is Why.TWO
    assert fitted(points).n == 3


def test_pieces_that_had_all_come_to_their_brine_give_no_fit() -> None:
    rng = random.Random(2)
    ended = [found_in(brining(), 0.003, 72 * HOUR, exp(rng.gauss(0, 0.03))) for _ in range(10)]
    assert reason(ended) is Why.AT_END
    nearly = [found_in(brining(), 0.008, 96 * HOUR, exp(rng.gauss(0, 0.05))) for _ in range(10)]
    assert reason(nearly) is Why.AT_END


def test_results_that_contradict_each_other_give_no_fit() -> None:
    twice = [found_in(brining(), 0.02, 12 * HOUR, noise) for noise in (0.6, 0.6, 1.5, 1.5)]
    assert reason(twice) is Why.APART
    point = found_in(brining(), 0.02, 12 * HOUR)
    one_wrong = [*[point] * 3, replace(point, thickness_m=0.2)]  # thickness off by a figure
    assert calibrate(one_wrong) == CannotSay(Why.APART, 3)
    assert calibrate(one_wrong[::-1]) == CannotSay(Why.APART, 0)


def test_a_thickness_in_inches_taken_for_centimetres_is_told() -> None:
    rng = random.Random(7)
    shapes = results(rng, 6, 0.03)
    thick = [replace(p, thickness_m=p.thickness_m * 2.54) for p in shapes]
    assert reason(thick) is Why.TOO_QUICK
    thin = [replace(p, thickness_m=p.thickness_m / 100) for p in shapes]
    assert reason(thin) in (Why.TOO_SLOW, Why.APART)


def test_salt_that_hardly_went_in_is_told() -> None:
    slow = [found_in(brining(), 0.01, h * HOUR, true=1e-14) for h in (4, 8, 16, 24)]
    assert reason(slow) is Why.TOO_SLOW


def test_more_salt_than_the_brine_could_give_is_told() -> None:
    point = found_in(brining(), 0.006, 60 * HOUR)
    salty = [replace(point, salt_pct=point.salt_pct * more) for more in (1.3, 1.35, 1.4, 1.32)]
    assert reason(salty) is Why.ABOVE_END


def test_a_result_without_salt_is_told() -> None:
    points = results(random.Random(8), 4)
    assert reason([*points, replace(points[0], salt_pct=0.0)]) is Why.NO_SALT


def test_results_that_leave_it_wide_open_are_told() -> None:
    """Three results that scatter by a fifth, of pieces near the strength of their brine."""
    points = [
        found_in(brining(), thick, 30 * HOUR, noise)
        for thick, noise in ((0.009, 0.8), (0.0085, 1.0), (0.0095, 1.15))
    ]
    assert reason(points) is Why.TOO_WIDE


@pytest.mark.parametrize("why", list(Why))
def test_each_reason_says_what_to_do_and_calls_nothing_safe(why: Why) -> None:
    assert why.value.endswith(".")
    assert "safe" not in why.value
    assert any(word in why.value.lower() for word in ("keep", "look", "leave", "holds"))


# --- the rest -------------------------------------------------------------------------------------


def test_a_fit_says_more_than_the_published_range() -> None:
    found = fitted(results(random.Random(10)))
    assert isinstance(found.diffusivity, Diffusivity)
    assert found.diffusivity.moves
    assert found.high / found.low < published().high / published().low
    assert (found.n, found.level) == (10, LEVEL)
