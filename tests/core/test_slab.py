"""The one-term solution beside textbook figures, the equations that it solves, and SciPy."""

from math import cos, inf, pi, sin, tan

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import j0, j1, jn_zeros

from lots.core.slab import Shape, bessel, one_term

CENGEL = (
    """Cengel, Heat and Mass Transfer, table 4-2 (the standard table of λ1 and A1); from memory"""
)


@pytest.mark.parametrize(
    ("shape", "biot", "root", "coefficient"),
    [
        ("slab", 0.2, 0.4328, 1.0311),
        ("slab", 1.0, 0.8603, 1.1191),
        ("slab", 10.0, 1.4289, 1.2620),
        ("cylinder", 0.2, 0.6170, 1.0483),
        ("cylinder", 1.0, 1.2558, 1.2071),
        ("cylinder", 10.0, 2.1795, 1.5677),
        ("sphere", 0.2, 0.7593, 1.0592),
        ("sphere", 1.0, 1.5708, 1.2732),
        ("sphere", 10.0, 2.8363, 1.9249),
    ],
)
def test_the_figures_are_those_of_the_textbook(
    shape: str, biot: float, root: float, coefficient: float
) -> None:
    found = one_term(Shape(shape), biot)
    assert (round(found.root, 4), round(found.coefficient, 4)) == (root, coefficient), CENGEL


@pytest.mark.parametrize(
    ("shape", "root", "coefficient"),
    [
        (Shape.SLAB, pi / 2, 4 / pi),
        (Shape.CYLINDER, jn_zeros(0, 1)[0], 2 / (jn_zeros(0, 1)[0] * j1(jn_zeros(0, 1)[0]))),
        (Shape.SPHERE, pi, 2.0),
    ],
)
def test_an_infinite_biot_number_has_its_closed_form(
    shape: Shape, root: float, coefficient: float
) -> None:
    found = one_term(shape, inf)
    assert found.root == pytest.approx(root, rel=1e-9)
    assert found.coefficient == pytest.approx(coefficient, rel=1e-9)
    assert found.profile(1) == pytest.approx(0, abs=1e-8)


@given(st.floats(0.01, 1000))
def test_each_root_solves_its_equation(biot: float) -> None:
    slab, cylinder, sphere = (one_term(shape, biot).root for shape in Shape)
    assert slab * sin(slab) == pytest.approx(biot * cos(slab), rel=1e-6)
    assert cylinder * j1(cylinder) == pytest.approx(biot * j0(cylinder), rel=1e-6)
    assert 1 - sphere / tan(sphere) == pytest.approx(biot, rel=1e-6)


@given(st.floats(0.01, 100), st.sampled_from(Shape))
def test_a_larger_biot_number_cools_faster(biot: float, shape: Shape) -> None:
    less, more = one_term(shape, biot), one_term(shape, biot * 1.1)
    assert less.root < more.root < one_term(shape, inf).root
    assert 1 <= less.coefficient < more.coefficient


@given(st.floats(0.01, 100), st.sampled_from(Shape))
def test_the_middle_lags_the_surface(biot: float, shape: Shape) -> None:
    found = one_term(shape, biot)
    shares = [found.profile(place / 10) for place in range(11)]
    assert shares[0] == 1
    assert shares == sorted(shares, reverse=True)


@given(st.floats(0, 4))
def test_the_bessel_functions_are_scipys(x: float) -> None:
    assert bessel(0, x) == pytest.approx(j0(x), abs=1e-12)
    assert bessel(1, x) == pytest.approx(j1(x), abs=1e-12)


@pytest.mark.parametrize("biot", [0, -1, float("nan")])
def test_a_biot_number_of_nothing_is_refused(biot: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        one_term(Shape.SLAB, biot)
