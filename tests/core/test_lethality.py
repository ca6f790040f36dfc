"""Equivalent minutes: published tables stand in fixtures/worked/lethality; here are the edges."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lots.core.lethality import BILLIONTHS, equivalent_ms, lethal_rate, straight_ms, trapezoid_ms
from lots.core.units import MS_PER_MIN, to_ninths

REFERENCE, Z = to_ninths("70", "C"), 67_500  # 70 °C, z 7.5 °C


def c(figure: str) -> int:
    return to_ninths(figure, "C")


@pytest.mark.parametrize(
    ("celsius", "rate"), [("70", 1), ("77.5", 10), ("62.5", Fraction(1, 10)), ("85", 100)]
)
def test_a_rate_changes_tenfold_with_z(celsius: str, rate: Fraction) -> None:
    assert lethal_rate(c(celsius), REFERENCE, Z) == rate * BILLIONTHS


def test_z_is_a_difference_and_not_a_temperature() -> None:
    assert lethal_rate(to_ninths("145", "F"), to_ninths("158", "F"), 13_500 * 5) == lethal_rate(
        c("70") - 13 * 5000, REFERENCE, Z
    )


def test_the_cooler_end_holds_for_the_whole_interval() -> None:
    at, values = [0, MS_PER_MIN], [c("62.5"), c("77.5")]
    assert equivalent_ms(at, values, REFERENCE, Z) == Fraction(MS_PER_MIN, 10)


def test_an_interval_longer_than_the_longest_gap_counts_nothing() -> None:
    at, values = [0, 5 * MS_PER_MIN, 11 * MS_PER_MIN], [c("70")] * 3
    assert equivalent_ms(at, values, REFERENCE, Z, longest_gap_ms=5 * MS_PER_MIN) == 5 * MS_PER_MIN


@pytest.mark.parametrize(("lowest", "counted"), [("70", 2), ("70.1", 0)])
def test_nothing_counts_below_the_lowest_temperature_of_the_table(
    lowest: str, counted: int
) -> None:
    at, values = [0, 2 * MS_PER_MIN], [c("70"), c("71")]
    assert equivalent_ms(at, values, REFERENCE, Z, lowest=c(lowest)) == counted * MS_PER_MIN


@pytest.mark.parametrize("count", [0, 1])
def test_fewer_than_two_readings_show_nothing(count: int) -> None:
    assert equivalent_ms([0] * count, [c("90")] * count, REFERENCE, Z) == 0


def test_a_z_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        lethal_rate(c("70"), REFERENCE, 0)


def test_a_straight_rise_by_one_z_is_its_exact_integral() -> None:
    """∫ 10^x dx from 0 to 1 is 9 / ln 10 = 3.9086503371292667 (Abramowitz and Stegun, 4.2.48)."""
    got = straight_ms([0, MS_PER_MIN], [c("70"), c("77.5")], REFERENCE, Z) / MS_PER_MIN
    assert abs(float(got) - 3.9086503371292667) < 1e-12


series = st.lists(
    st.tuples(st.integers(1, 20 * MS_PER_MIN), st.integers(c("0"), c("95"))),
    min_size=2,
    max_size=12,
)


@given(series)
def test_the_conservative_figure_is_never_above_the_estimate(steps: list[tuple[int, int]]) -> None:
    at = [sum(gap for gap, _ in steps[: i + 1]) for i in range(len(steps))]
    values = [value for _, value in steps]
    low = equivalent_ms(at, values, REFERENCE, Z)
    straight = straight_ms(at, values, REFERENCE, Z)
    assert low <= straight <= trapezoid_ms(at, values, REFERENCE, Z) + len(at) * at[-1]


@given(series, st.integers(0, 100), st.integers(0, c("3")))
def test_a_reading_at_least_as_warm_as_its_cooler_neighbour_never_lowers_it(
    steps: list[tuple[int, int]], share: int, warmer: int
) -> None:
    at = [sum(gap for gap, _ in steps[: i + 1]) for i in range(len(steps))]
    values = [value for _, value in steps]
    before = equivalent_ms(at, values, REFERENCE, Z)
    middle = at[0] + (at[1] - at[0]) * share // 100
    more_at = [at[0], middle, *at[1:]]
    more = [values[0], min(values[0], values[1]) + warmer, *values[1:]]
    assert equivalent_ms(more_at, more, REFERENCE, Z) >= before
