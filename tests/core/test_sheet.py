"""The plane sheet beside the library polykin, finite differences of our own, and roots as printed."""

import csv
from math import inf, pi, sqrt

import numpy as np
import polykin.hmt.diffusion as polykin
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from lots.core.sheet import (
    EARLY,
    _roots,
    fourier,
    fourier_for,
    fraction_in,
    profile,
    seconds_for,
    thickness_for,
)

CELLS = 160
FOURIER = st.floats(0.0005, 4)
BATHS = st.one_of(st.floats(0.05, 50), st.just(inf))

# Crank, The Mathematics of Diffusion, 2nd edition, 1975: the sheet whose faces are held at one strength, by
# its series: Fourier number, share taken up, strength in the middle.
TABLE = """
0.001   0.035682 0
0.01    0.112838 0.0
0.03    0.195441 0.000089
0.08    0.319154 0.024839
0.125   0.398928 0.091001
0.19673 0.499999 0.221768
0.25    0.562234 0.314554
0.4     0.697882 0.525513
0.5     0.76395  0.629223
0.7     0.855893 0.773637
0.84808 0.899999 0.842918
1.12901 0.95     0.921461
1.78129 0.99     0.984292
3       0.999506 0.999223
"""
ROWS = [tuple(map(float, row)) for row in csv.reader(TABLE.split("\n"), delimiter=" ", skipinitialspace=True) if row]  # fmt: skip


@pytest.mark.parametrize(("number", "fraction", "middle"), ROWS)
def test_the_share_and_the_middle_are_those_of_cranks_series(
    number: float, fraction: float, middle: float
) -> None:
    assert fraction_in(number) == pytest.approx(fraction, abs=6e-7)
    assert profile(0, number) == pytest.approx(middle, abs=6e-7)


# --- beside polykin -------------------------------------------------------------------------------


@pytest.mark.parametrize("number", np.geomspace(0.0004, 6, 40))
def test_the_share_is_polykins(number: float) -> None:
    assert fraction_in(number) == pytest.approx(polykin.uptake_constc_sheet(number), abs=2e-9)


@pytest.mark.parametrize("place", np.linspace(0, 1, 11))
@pytest.mark.parametrize("number", [0.004, 0.02, 0.049, 0.051, 0.1, 0.3, 1.0])
def test_the_profile_is_polykins(number: float, place: float) -> None:
    assert profile(place, number) == pytest.approx(
        polykin.profile_constc_sheet(number, place), abs=2e-9
    )


# --- beside finite differences --------------------------------------------------------------------


def by_differences(number: float, bath: float) -> tuple[float, np.ndarray]:
    """Share taken up and strengths in the cells from the middle to the face, as shares of the final ones:
    cells of one width, a bath that loses what the face lets in, exact in time."""
    width = 1 / CELLS
    rates = np.zeros((CELLS + 1, CELLS + 1))  # the last row is the bath
    for cell in range(CELLS):
        for other in (cell - 1, cell + 1):
            if other < 0:
                continue
            apart = width if other < CELLS else width / 2  # the bath is half a cell away
            rates[cell, other] += 1 / (apart * width)
            rates[cell, cell] -= 1 / (apart * width)
    if bath != inf:
        rates[CELLS, CELLS - 1] = 2 / width / bath
        rates[CELLS, CELLS] = -2 / width / bath
    begin = np.zeros(CELLS + 1)
    begin[CELLS] = 1.0
    final = 1.0 if bath == inf else bath / (1 + bath)
    strengths = expm(rates * number) @ begin / final
    return float(strengths[:CELLS].mean()), strengths[:CELLS]


@pytest.mark.parametrize("bath", [0.2, 0.7, 1.4, 3.0, 20.0, inf])
@pytest.mark.parametrize("number", [0.01, 0.04, 0.06, 0.2, 0.6])
def test_share_and_profile_are_those_of_finite_differences(number: float, bath: float) -> None:
    fraction, strengths = by_differences(number, bath)
    assert fraction_in(number, bath) == pytest.approx(fraction, abs=5e-4)
    for cell in (0, CELLS // 2, CELLS - 10):
        place = (cell + 0.5) / CELLS
        assert profile(place, number, bath) == pytest.approx(strengths[cell], abs=1e-3)


def test_the_finite_differences_see_a_wrong_bath() -> None:
    fraction, _ = by_differences(0.06, 1.4)
    assert abs(fraction_in(0.06, inf) - fraction) > 0.1
    assert abs(fraction_in(0.06, 2.0) - fraction) > 0.01


# --- roots and moments as printed -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("bath", "roots"),
    [
        (1.0, (2.0288, 4.9132, 7.9787)),
        (1 / 9, (2.8363, 5.7172, 8.6587)),
        (inf, (pi / 2, 3 * pi / 2, 5 * pi / 2)),
    ],
)
def test_the_roots_are_those_printed(bath: float, roots: tuple[float, ...]) -> None:
    """Carslaw and Jaeger, Conduction of Heat in Solids, appendix IV, table III (from memory)."""
    assert _roots(bath)[:3] == pytest.approx(roots, abs=6e-5)


def test_half_is_in_at_the_half_time_that_crank_prints() -> None:
    """Crank: t D / l² = 0.04919 for the whole thickness l, both faces open, by the first terms alone."""
    assert fourier_for(0.5) / 4 == pytest.approx(0.04919, abs=1e-5)
    assert seconds_for(0.5, 1e-10, 0.02, 2) == pytest.approx(0.04919 * 0.02**2 / 1e-10, rel=2e-4)


def test_both_ways_of_reckoning_meet_where_one_gives_way_to_the_other() -> None:
    for bath in (0.05, 0.5, 1.4, 30.0, inf):
        before, after = fraction_in(EARLY * (1 - 1e-12), bath), fraction_in(EARLY, bath)
        assert before == pytest.approx(after, abs=1e-9)
        for place in (0.0, 0.5, 1.0):
            before, after = profile(place, EARLY * (1 - 1e-12), bath), profile(place, EARLY, bath)
            assert before == pytest.approx(after, abs=1e-8)


# --- what must hold of any ------------------------------------------------------------------------


@given(FOURIER, BATHS)
def test_more_time_takes_up_more_and_never_more_than_all(number: float, bath: float) -> None:
    sooner, later = fraction_in(number, bath), fraction_in(number * 1.1, bath)
    assert 0 < sooner <= later <= 1
    assert sooner < later or sooner == pytest.approx(
        1, abs=1e-12
    )  # all is in, to the last digit held


@given(FOURIER, st.floats(0.05, 40))
def test_in_a_small_bath_the_last_part_comes_sooner(number: float, bath: float) -> None:
    """The brine is strongest while the fish is empty, so that a share of less is reached before."""
    assert (
        fraction_in(number, bath) >= fraction_in(number, bath * 1.5) >= fraction_in(number) - 1e-9
    )


@settings(max_examples=40, deadline=None)
@given(FOURIER, BATHS)
def test_the_profile_adds_up_to_what_is_in(number: float, bath: float) -> None:
    at = (np.arange(300) + 0.5) / 300
    mean = np.mean([profile(float(place), number, bath) for place in at])
    assert mean == pytest.approx(fraction_in(number, bath), abs=1e-3)


@given(st.floats(0.001, 0.995), BATHS)
def test_the_fourier_number_of_a_share_gives_that_share(fraction: float, bath: float) -> None:
    assert fraction_in(fourier_for(fraction, bath), bath) == pytest.approx(fraction, abs=1e-9)


@given(
    st.floats(0.01, 0.99), st.floats(1e-11, 1e-9), st.floats(600, 2e6), st.sampled_from([1, 2]), BATHS
)  # fmt: skip
def test_the_thickness_of_a_share_takes_up_that_share(
    fraction: float, diffusivity: float, seconds: float, faces: int, bath: float
) -> None:
    thick = thickness_for(fraction, diffusivity, seconds, faces, bath)
    number = fourier(diffusivity, seconds, thick, faces)
    assert fraction_in(number, bath) == pytest.approx(fraction, abs=1e-8)
    again = seconds_for(fraction, diffusivity, thick, faces, bath)
    assert again == pytest.approx(seconds, rel=1e-6)


def test_a_piece_with_one_open_face_is_half_of_one_twice_as_thick() -> None:
    assert fourier(1e-10, 3600, 0.01, 1) == fourier(1e-10, 3600, 0.02, 2)
    assert thickness_for(0.5, 1e-10, 3600, 2) == 2 * thickness_for(0.5, 1e-10, 3600, 1)


@pytest.mark.parametrize("bath", [0.02, 1.0, inf])
def test_at_no_time_nothing_is_in_and_in_the_end_all(bath: float) -> None:
    assert fraction_in(0, bath) == 0
    assert profile(0, 0, bath) == 0
    assert fraction_in(900, bath) == pytest.approx(1)
    assert profile(0.3, 900, bath) == pytest.approx(1)
    assert fourier_for(1, bath) == inf
    assert fourier_for(0, bath) == pytest.approx(0, abs=1e-9)


def test_the_face_of_a_small_bath_begins_at_the_strength_of_the_brine() -> None:
    """Brine of one part of water for one in the fish: its strength is twice the final one."""
    assert profile(1, 0, 1.0) == 2
    assert profile(1, 1e-7, 1.0) == pytest.approx(2, abs=1e-3)
    assert profile(1, 0, inf) == 1


def test_a_bath_of_next_to_nothing_does_not_overflow() -> None:
    assert 0 < fraction_in(0.04, 0.001) < 1
    assert fraction_in(0.01, 0.002) == pytest.approx(
        (1 + 0.002) * (1 - 0.002 / sqrt(pi * 0.01)), rel=1e-3
    )


@pytest.mark.parametrize(
    "figures", [(-1e-10, 1, 1, 1), (1e-10, -1, 1, 1), (1e-10, 1, 0, 1), (1e-10, 1, 1, 3), (1e-10, 1, 1, 0)]
)  # fmt: skip
def test_a_piece_that_cannot_be_is_refused(figures: tuple[float, float, float, int]) -> None:
    with pytest.raises(ValueError, match=r"above nothing|one face or two"):
        fourier(*figures)


def test_shares_places_and_baths_that_cannot_be_are_refused() -> None:
    for refused in (
        lambda: fraction_in(-0.1),
        lambda: fraction_in(0.1, 0),
        lambda: profile(1.1, 0.1),
        lambda: profile(-0.1, 0.1),
        lambda: fourier_for(1.1),
        lambda: fourier_for(-0.1),
        lambda: seconds_for(0.5, 0, 0.01, 1),
        lambda: thickness_for(0, 1e-10, 3600, 1),
        lambda: thickness_for(0.5, 1e-10, 3600, 3),
    ):
        with pytest.raises(ValueError):
            refused()
