"""The forecast of salt: water's viscosity as tabled, the published range, and what must hold of any brining."""

from fractions import Fraction
from math import log
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lots.core.salting import BadSalting, drying_to, equilibrium, water_phase_salt
from lots.core.sheet import fourier, fraction_in
from lots.core.units import NINTHS_PER_C
from lots.core.uptake import (
    AT_NINTHS,
    PLANNING,
    PUBLISHED,
    Brining,
    Diffusivity,
    Forecast,
    Standing,
    course,
    forecast,
    mobility,
    pieces,
    published,
    standing,
    thickest,
    time_to_reach,
)

HOUR = 3600
TARGET = Fraction("3.5")


def celsius(degrees: float) -> int:
    return round(degrees * NINTHS_PER_C)


def known(best: float = 2e-10, scatter: float = 0.1, weight: float = 2.0) -> Diffusivity:
    """As a fit of ten points with a scatter gives it; `weight`: what they know of it."""
    return Diffusivity(best, best * 0.8, best * 1.25, scatter, 2.262, weight, moves=True)


def brining(**change: Any) -> Brining:
    figures: dict[str, Any] = {
        "brine_pct": 15.0, "ratio": 2.0, "moisture_pct": 70.0, "temp_ninths": celsius(4), "open_faces": 1,
    }  # fmt: skip
    return Brining(**{**figures, **change})


BRININGS = st.builds(
    lambda strength, **rest: brining(brine_pct=strength[0], ratio=strength[1], **rest),
    strength=st.one_of(
        st.tuples(st.floats(2, 26), st.floats(0.5, 6)),
        st.tuples(st.just(100.0), st.floats(0.01, 0.15)),  # a dry salting
    ),
    moisture_pct=st.floats(55, 82),
    temp_ninths=st.integers(celsius(0), celsius(20)),
    open_faces=st.sampled_from([1, 2]),
    yield_pct=st.floats(70, 100),
)
KNOWN = st.one_of(
    st.builds(known, st.floats(5e-11, 8e-10), st.floats(0.02, 0.2)), st.just(published())
)
THICK = st.floats(0.004, 0.06)
SECONDS = st.floats(HOUR / 2, 96 * HOUR)


# --- diffusivity ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("degrees", "viscosity"), [(0, 1.787), (10, 1.307), (20, 1.002), (30, 0.798), (40, 0.653)]
)
def test_salt_moves_as_the_temperature_over_the_viscosity_of_water(
    degrees: int, viscosity: float
) -> None:
    """Dynamic viscosity of water in mPa·s, as engineering tables print it; at 5 °C 1.519."""
    expected = (degrees + 273.15) / viscosity / (278.15 / 1.519)
    assert mobility(celsius(degrees)) == pytest.approx(expected, rel=0.004)


def test_at_the_stated_temperature_nothing_changes() -> None:
    assert mobility(AT_NINTHS) == 1
    assert known().at(AT_NINTHS) == known()


def test_salt_in_water_itself_moves_so() -> None:
    """Salt in water without end: 1.61e-9 m²/s at 25 °C and 1.26e-9 at 15 °C or so (Robinson and Stokes,
    Electrolyte Solutions; from memory)."""
    ratio = mobility(celsius(25)) / mobility(celsius(15))
    assert ratio == pytest.approx(1.61 / 1.24, rel=0.05)


@pytest.mark.parametrize("degrees", [-5.1, 40.1])
def test_a_brine_that_is_frozen_or_hot_is_refused(degrees: float) -> None:
    with pytest.raises(BadSalting, match="between −5 °C and 40 °C"):
        mobility(celsius(degrees))


def test_the_published_range_spans_every_source_and_says_which_are_from_memory() -> None:
    """J. Cookery Sci. Jpn 25(4):283 (1992): 1e-7 to 1e-6 cm²/s on the flesh side; the others from memory."""
    band = published()
    assert (band.low, band.high) == (1e-7 / 1e4, 7e-10)
    assert all(band.low <= row.low < row.high <= band.high for row in PUBLISHED)
    assert band.low < band.best < band.high
    assert band.high / band.low >= 10  # a wide one
    for row in PUBLISHED:
        assert ("from memory" in row.source) == (row.flag == "to be confirmed")


def test_the_published_range_holds_at_any_temperature_and_a_fitted_one_moves() -> None:
    assert published().at(celsius(15)) == published()
    warmer = known().at(celsius(15))
    assert warmer.best / known().best == pytest.approx(mobility(celsius(15)))
    assert warmer.low / known().low == pytest.approx(mobility(celsius(15)))


# --- the brining ----------------------------------------------------------------------------------


@given(BRININGS)
def test_the_end_is_the_exact_equilibrium(found: Brining) -> None:
    strength, ratio = Fraction(found.brine_pct) / 100, Fraction(found.ratio)
    salt, water = (ratio * part * 1_000_000 for part in (strength, 1 - strength))
    exact = equilibrium(salt, water, 1000, Fraction(found.moisture_pct))
    assert 100 * found.end / (1 + found.end) == pytest.approx(float(exact), rel=1e-9)


@given(BRININGS, st.floats(0.005, 0.2))
def test_drying_concentrates_salt_as_the_exact_sum_does(found: Brining, salt: float) -> None:
    wet = 100 * salt / (1 + salt)
    dried = found.finished_pct(salt)
    assert dried >= wet - 1e-9
    exact = drying_to(Fraction(wet), Fraction(found.moisture_pct), Fraction(dried + 1e-9))
    assert exact is not None
    assert float(exact.yield_pct) == pytest.approx(found.yield_pct, abs=1e-4)


def test_salt_that_does_not_dissolve_does_not_go_in() -> None:
    heaped = brining(brine_pct=100.0, ratio=0.5)
    assert 100 * heaped.end / (1 + heaped.end) == pytest.approx(26.395)


def test_a_piece_holds_the_share_of_the_end_that_the_sheet_says() -> None:
    found = brining()
    number = fourier(2e-10, 12 * HOUR, 0.02, 1)
    assert found.salt(2e-10, 0.02, 12 * HOUR) == found.end * fraction_in(number, found.bath)
    assert found.bath == pytest.approx(1.7 / 0.7)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"brine_pct": 0}, "brine's strength"),
        ({"brine_pct": 101}, "brine's strength"),
        ({"ratio": 0}, "one part of fish"),
        ({"moisture_pct": 0}, "moisture of the raw fish"),
        ({"moisture_pct": 100}, "moisture of the raw fish"),
        ({"open_faces": 3}, "skin on"),
        ({"yield_pct": 0}, "yield"),
        ({"yield_pct": 101}, "yield"),
        ({"temp_ninths": celsius(60)}, "brine's temperature"),
    ],
)
def test_a_brining_that_cannot_be_is_refused(change: dict[str, Any], said: str) -> None:
    with pytest.raises(BadSalting, match=said):
        brining(**change)


def test_a_yield_that_leaves_no_water_is_refused() -> None:
    with pytest.raises(BadSalting, match="no water would be left"):
        forecast(brining(yield_pct=30), known(), 0.02, 24 * HOUR)


# --- the forecast ---------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(BRININGS, KNOWN, THICK, SECONDS)
def test_the_band_holds_the_best_and_keeps_below_the_end(
    found: Brining, what: Diffusivity, thick: float, seconds: float
) -> None:
    said = forecast(found, what, thick, seconds)
    assert 0 <= said.low <= said.best <= said.high
    assert float(said.high) <= found.finished_pct(found.end) + 1e-3


@settings(max_examples=60, deadline=None)
@given(BRININGS, KNOWN, THICK, SECONDS)
def test_longer_and_thinner_is_saltier(
    found: Brining, what: Diffusivity, thick: float, seconds: float
) -> None:
    here = forecast(found, what, thick, seconds)
    for more in (
        forecast(found, what, thick, seconds * 1.2),
        forecast(found, what, thick * 0.9, seconds),
    ):
        assert more.low >= here.low
        assert more.best >= here.best
        assert more.high >= here.high


def test_what_scatters_more_or_is_known_less_has_a_wider_band() -> None:
    def width(what: Diffusivity) -> Fraction:
        said = forecast(brining(), what, 0.03, 12 * HOUR)
        return said.high - said.low

    assert width(known(scatter=0.05)) < width(known(scatter=0.1)) < width(known(scatter=0.2))
    assert width(known(weight=20.0)) < width(known(weight=2.0)) < width(known(weight=0.5))
    assert width(published()) > width(known(scatter=0.1))


def test_the_band_is_students_widths_of_one_result_and_of_the_fit_together() -> None:
    """By hand, early in endless brine, where salt goes with the root of the diffusivity: 2.262 × 0.1 ×
    √(1 + 0.5² / 0.5) of the logarithm of salt for one of water."""
    endless = brining(brine_pct=10.0, ratio=1e9)
    said = forecast(endless, known(weight=0.5), 0.04, 4 * HOUR)
    low, best, high = (float(pct / (100 - pct)) for pct in (said.low, said.best, said.high))
    width = 2.262 * 0.1 * 1.5**0.5
    assert log(best / low) == pytest.approx(width, rel=0.005)
    assert log(high / best) == pytest.approx(width, rel=0.005)


def test_a_forecast_is_by_hand_what_the_sheet_gives() -> None:
    """Endless brine of 10 %, half in at Fo 0.19673: salt for one of water 0.5 × 1/9, 5.263 % of salt and water."""
    endless = brining(brine_pct=10.0, ratio=1e9, temp_ninths=AT_NINTHS)
    seconds = 0.19673 * 0.02**2 / 2e-10
    said = forecast(endless, known(), 0.02, seconds)
    assert said.best == Fraction("5.263")


def test_how_a_forecast_stands_to_a_target() -> None:
    said = Forecast(Fraction(3), Fraction(4), Fraction(5))
    assert standing(said, Fraction(3)) is Standing.REACHES
    assert standing(said, Fraction("3.001")) is Standing.IN_DOUBT
    assert standing(said, Fraction(5)) is Standing.IN_DOUBT
    assert standing(said, Fraction("5.001")) is Standing.FAILS


# --- how long, how thick --------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(BRININGS, KNOWN, THICK, st.floats(1, 6))
def test_at_the_moment_said_the_target_is_reached_and_not_before(
    found: Brining, what: Diffusivity, thick: float, target: float
) -> None:
    wanted = Fraction(round(target * 1000), 1000)
    reach = time_to_reach(found, what, thick, wanted)
    for at, of in ((reach.sure, "low"), (reach.best, "best"), (reach.hopeful, "high")):
        if at is None:
            end = forecast(found, what, thick, 60 * 24 * HOUR)
            assert getattr(end, of) < wanted
            continue
        assert getattr(forecast(found, what, thick, float(at)), of) >= wanted
        if at > 2:
            assert getattr(forecast(found, what, thick, float(at - 1) * 0.999), of) <= wanted
    moments = [at for at in (reach.hopeful, reach.best, reach.sure) if at is not None]
    assert moments == sorted(moments)


@settings(max_examples=40, deadline=None)
@given(BRININGS, KNOWN, SECONDS, st.floats(1, 6))
def test_a_piece_as_thick_as_said_reaches_and_a_thicker_one_does_not(
    found: Brining, what: Diffusivity, seconds: float, target: float
) -> None:
    wanted = Fraction(round(target * 1000), 1000)
    reach = thickest(found, what, seconds, wanted)
    for mm, of in ((reach.sure, "low"), (reach.best, "best"), (reach.hopeful, "high")):
        if mm is None:
            assert getattr(forecast(found, what, 0.0001, seconds), of) < wanted
            continue
        assert getattr(forecast(found, what, float(mm) / 1000, seconds), of) >= wanted
        assert (
            getattr(forecast(found, what, float(mm) / 1000 * 1.02, seconds), of) <= wanted
            or mm > 490
        )


def test_a_brine_too_weak_never_brings_it_there() -> None:
    weak = brining(brine_pct=3.0, ratio=1.0)
    reach = time_to_reach(weak, known(), 0.01, TARGET)
    assert (reach.sure, reach.best, reach.hopeful) == (None, None, None)
    assert thickest(weak, known(), 96 * HOUR, TARGET).hopeful is None


def test_what_is_told_of_time_and_thickness_fits_together() -> None:
    reach = time_to_reach(brining(), known(), 0.02, TARGET)
    assert reach.sure is not None
    back = thickest(brining(), known(), float(reach.sure), TARGET)
    assert back.sure is not None
    assert float(back.sure) == pytest.approx(20, abs=0.01)


def test_of_uneven_pieces_the_thick_ones_fail_and_those_between_are_in_doubt() -> None:
    limits = thickest(brining(), known(), 8 * HOUR, TARGET)
    assert limits.sure is not None
    assert limits.hopeful is not None
    thin, thick = limits.sure, limits.hopeful
    found = pieces(
        brining(), known(), 8 * HOUR,
        [thin - 2, thin, thin + Fraction(1, 10), thick - Fraction(1, 10), thick + Fraction(1, 10), thick + 9],
        TARGET,
    )  # fmt: skip
    said = [piece.standing for piece in found]
    assert said == [Standing.REACHES] * 2 + [Standing.IN_DOUBT] * 2 + [Standing.FAILS] * 2


# --- the picture ----------------------------------------------------------------------------------


@settings(max_examples=20, deadline=None)
@given(BRININGS, KNOWN, THICK)
def test_the_course_rises_from_nothing_to_what_is_forecast(
    found: Brining, what: Diffusivity, thick: float
) -> None:
    points = course(found, what, thick, 24 * HOUR)
    assert points[0] == (0, Forecast(Fraction(0), Fraction(0), Fraction(0)))
    assert points[-1] == (24 * HOUR, forecast(found, what, thick, 24 * HOUR))
    best = [said.best for _, said in points]
    assert best == sorted(best)
    assert [at for at, _ in points] == sorted({at for at, _ in points})


def test_of_a_short_course_no_moment_is_told_twice() -> None:
    assert [at for at, _ in course(brining(), known(), 0.02, 3)] == [0, 1, 2, 3]


# --- said -----------------------------------------------------------------------------------------


def test_it_says_that_it_is_a_planning_aid() -> None:
    assert "laboratory" in PLANNING
    assert "no proof" in PLANNING
    assert "safe" not in PLANNING


def test_water_phase_salt_of_the_finished_fish_is_the_exact_sum() -> None:
    """By hand: 70 g of water and 3.5 g of salt in 103.5 g; dried to 80 % it is 82.8 g with 49.3 g of water."""
    found = brining(yield_pct=80.0)
    assert found.finished_pct(0.05) == pytest.approx(float(water_phase_salt(Fraction("3.5"), Fraction("49.3"))))  # fmt: skip
