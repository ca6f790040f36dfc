"""Salt in water beside an independent library, the CRC Handbook and salometer tables; edges and refusals."""

from fractions import Fraction
from itertools import pairwise

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from lots.core import salt_water as water
from lots.core.salt_water import (
    COLDEST,
    EUTECTIC,
    SATURATED,
    SIXTY_F,
    WARMEST,
    density_kg_m3,
    freezing,
    grams_per_litre_of_water,
    most_salt_pct,
    pct_of_salometer,
    pounds_per_us_gallon_of_water,
    refractometer,
    salometer_deg,
    salometer_reading,
    salt_pct,
    specific_gravity,
    true_salometer,
)
from lots.core.units import BadQuantity, degrees, to_ninths

# The library's sodium chloride (INCOMP::MNA, after Melinder) runs to 23 % and, here, to 40 °C.
LIBRARY_PCTS = [Fraction(n, 2) for n in range(1, 47)]
LIBRARY_TEMPS = [-15, -10, -5, -2, 0, 2, 4, 8, 10, 12, 15, 18, 20, 25, 30, 35, 40]

temps = st.integers(COLDEST, WARMEST)
pcts = st.fractions(0, 26, max_denominator=10_000)


def c(celsius: float) -> int:
    return to_ninths(str(celsius), "C")


def f(fahrenheit: float) -> int:
    return to_ninths(str(fahrenheit), "F")


def library_freezes(pct: Fraction) -> float:
    return PropsSI("T_freeze", "T", 300, "P", 101325, f"INCOMP::MNA[{float(pct) / 100}]") - 273.15


def library_density(pct: Fraction, celsius: float) -> float:
    at = 273.15 + celsius
    return PropsSI("D", "T", at, "P", 101325, f"INCOMP::MNA[{float(pct) / 100}]")


# --- beside others --------------------------------------------------------------------------------


def test_the_density_is_the_librarys_within_0_4_kg_m3_over_its_range() -> None:
    off, compared = [], 0
    for pct in LIBRARY_PCTS:
        point = library_freezes(pct)
        for celsius in LIBRARY_TEMPS:
            if celsius > point:  # the library answers for liquid only
                compared += 1
                away = float(density_kg_m3(pct, c(celsius))) - library_density(pct, celsius)
                if abs(away) > 0.4:
                    off.append((float(pct), celsius, away))
    assert off == []
    assert compared > 600


def test_water_is_as_dense_as_the_librarys_water_within_0_03_kg_m3() -> None:
    for celsius in (0.01, 2, 4, 7, 10, 13, 16, 20, 24, 30, 38, 45, 52, 60):
        library = PropsSI("D", "T", 273.15 + celsius, "P", 101325, "Water")
        assert float(density_kg_m3(Fraction(0), c(celsius))) == pytest.approx(library, abs=0.03)


def test_the_freezing_point_is_the_librarys_within_0_25_c_and_0_1_c_up_to_22_pct() -> None:
    for pct in LIBRARY_PCTS:
        point = freezing(pct)
        assert point is not None
        away = abs(float(degrees(point, "C")) - library_freezes(pct))
        assert away < (0.1 if pct <= 22 else 0.25), (float(pct), away)


# CRC Handbook, 102nd ed., Concentrative Properties of Aqueous Solutions: %, kg/m³ at 20 °C, depression °C.
CRC = [
    ("1", "1005.3", "0.59"),
    ("3", "1019.6", "1.79"),
    ("5", "1034.0", "3.05"),
    ("7", "1048.6", "4.38"),
    ("9", "1063.3", "5.81"),
    ("11", "1078.1", "7.35"),
    ("13", "1093.2", "9.04"),
    ("15", "1108.5", "10.89"),
    ("17", "1124.0", "12.94"),
    ("19", "1139.8", "15.22"),
    ("21", "1155.8", "17.78"),
    ("23", "1172.1", "20.67"),
    ("24", "1180.4", ""),
    ("25", "1188.7", ""),
]


@pytest.mark.parametrize(("pct", "density", "depression"), CRC)
def test_density_and_freezing_point_are_the_crcs(pct: str, density: str, depression: str) -> None:
    at = Fraction(pct)
    assert abs(density_kg_m3(at, c(20)) - Fraction(density)) <= Fraction("0.25")
    point = freezing(at)
    if depression:
        assert point is not None
        assert abs(degrees(point, "C") + Fraction(depression)) <= Fraction("0.05")
    else:
        assert point is None


def test_a_hot_brine_is_as_dense_as_the_critical_tables_have_it() -> None:
    # International Critical Tables III, 79 (as Perry's Handbook prints them), 60 °C; from memory
    recalled = {4: 1010.3, 8: 1038.1, 12: 1066.7, 16: 1096.2, 20: 1126.8, 24: 1158.4, 26: 1174.7}
    for pct, density in recalled.items():
        assert float(density_kg_m3(Fraction(pct), c(60))) == pytest.approx(density, abs=0.25), pct


def test_the_freezing_point_errs_to_the_cold_side_of_the_crcs() -> None:
    for pct, _, depression in CRC[:-2]:
        point = freezing(Fraction(pct))
        assert point is not None and degrees(point, "C") <= -Fraction(depression)


# Salt Institute, Solubility of Salt at Various Temperatures: °F, % salt; each row below 220 °F.
SALT_INSTITUTE = {
    "-6": "23.31",
    "0": "23.83",
    "10": "24.7",
    "20": "25.53",
    "30": "26.16",
    "32": "26.29",
    "32.2": "26.31",
    "40": "26.33",
    "50": "26.36",
    "60": "26.395",
    "70": "26.45",
    "80": "26.52",
    "100": "26.68",
    "125": "26.92",
    "150": "27.21",
    "175": "27.62",
    "200": "27.91",
    "212": "28.12",
    "220": "28.29",
}


def test_what_dissolves_is_what_the_salt_institute_prints_within_0_03_pct() -> None:
    for fahrenheit, pct in SALT_INSTITUTE.items():
        away = most_salt_pct(to_ninths(fahrenheit, "F")) - Fraction(pct)
        assert Fraction("-0.005") <= away <= Fraction("0.03"), fahrenheit


@pytest.mark.parametrize(
    ("deg", "brine_f", "add"),
    # CoolProp's densities, the glass's own shrinking left out; a rule of thumb says 1 for each 10 °F
    [
        (20, 40, "-1.23"),
        (20, 80, "1.72"),
        (40, 50, "-0.93"),
        (40, 70, "1.01"),
        (60, 40, "-2.15"),
        (60, 80, "2.36"),
        (80, 50, "-1.20"),
        (80, 80, "2.52"),
    ],
)
def test_what_a_float_shows_away_from_60_f_is_the_librarys(
    deg: int, brine_f: int, add: str
) -> None:
    shown = salometer_reading(pct_of_salometer(Fraction(deg)), f(brine_f))
    assert abs(deg - shown - Fraction(add)) <= Fraction("0.1")


def test_a_float_made_for_38_f_and_one_made_for_60_f_tell_of_one_brine() -> None:
    # at 38 °F both float at one depth; the scale for 38 °F is true, the other shows too much
    cold = f(38)
    pct = Fraction(15)
    own = salometer_reading(pct, cold, reference_temp=cold)
    other = salometer_reading(pct, cold, reference_temp=SIXTY_F)
    assert own == salometer_deg(pct)
    assert 2 < other - own < 3  # 22 °F away: about a degree for each 10 °F
    assert true_salometer(other, cold) == true_salometer(own, cold, cold)


# --- one value ------------------------------------------------------------------------------------


def test_strength_is_salt_over_salt_and_water() -> None:
    assert salt_pct(1, 4) == 20
    assert salt_pct(0, 7) == 0
    assert salt_pct(3, 0) == 100


@pytest.mark.parametrize(("salt", "water"), [(-1, 4), (1, -4), (0, 0)])
def test_weights_that_cannot_be_have_no_strength(salt: int, water: int) -> None:
    with pytest.raises(BadQuantity, match="more than nothing"):
        salt_pct(salt, water)


def test_a_hundred_degrees_are_saturated_and_nought_is_water() -> None:
    assert salometer_deg(SATURATED) == 100
    assert salometer_deg(Fraction(0)) == 0
    assert pct_of_salometer(Fraction(100)) == SATURATED
    assert pct_of_salometer(Fraction(80), Fraction(25)) == 20  # the scale that ends at 25 %


@pytest.mark.parametrize("deg", ["100.01", "-0.5", "1118"])
def test_a_degree_off_the_scale_is_refused(deg: str) -> None:
    with pytest.raises(BadQuantity, match="runs from 0 to 100"):
        pct_of_salometer(Fraction(deg))
    with pytest.raises(BadQuantity, match="runs from 0 to 100"):
        true_salometer(Fraction(deg), SIXTY_F)


@pytest.mark.parametrize("full", ["0", "-25", "28.3", "100"])
def test_a_scale_that_cannot_be_is_refused(full: str) -> None:
    with pytest.raises(BadQuantity, match="100 cannot stand for"):
        true_salometer(Fraction(50), SIXTY_F, SIXTY_F, Fraction(full))
    with pytest.raises(BadQuantity, match="100 cannot stand for"):
        salometer_reading(Fraction(15), SIXTY_F, SIXTY_F, Fraction(full))


def test_salt_to_a_litre_and_to_a_gallon_are_one_figure() -> None:
    # 188.0 g/L and 1.568 lb/US gal at 60°: salometer table at 60 °F
    pct = pct_of_salometer(Fraction(60))
    assert abs(grams_per_litre_of_water(pct) - 188) < Fraction("0.05")
    assert abs(pounds_per_us_gallon_of_water(pct) - Fraction("1.568")) < Fraction("0.001")
    assert grams_per_litre_of_water(Fraction(0)) == 0


@pytest.mark.parametrize("pct", ["-0.1", "100", "120"])
def test_a_strength_that_cannot_be_is_refused(pct: str) -> None:
    for figure in (salometer_deg, grams_per_litre_of_water, freezing):
        with pytest.raises(BadQuantity, match="cannot be"):
            figure(Fraction(pct))


def test_beyond_the_eutectic_there_is_no_freezing_point() -> None:
    point = freezing(EUTECTIC)
    assert point == c(-21.11)
    assert freezing(EUTECTIC + Fraction("0.001")) is None
    assert freezing(Fraction(0)) == 0


def test_what_dissolves_ends_where_its_table_ends() -> None:
    assert most_salt_pct(f(-6)) == Fraction("23.31")
    assert most_salt_pct(f(220)) == Fraction("28.29")
    assert most_salt_pct(SIXTY_F) == SATURATED
    for temp in (f(-6) - 1, f(220) + 1):
        with pytest.raises(BadQuantity, match=r"is known from −6\.0 °F \(−21\.1 °C\) to 220\.0 °F"):
            most_salt_pct(temp)


def test_density_ends_where_its_table_ends() -> None:
    for temp in (COLDEST, WARMEST):
        assert density_kg_m3(Fraction(20), temp) > 1100
    for temp in (COLDEST - 1, WARMEST + 1):
        with pytest.raises(BadQuantity, match=r"5\.0 °F \(−15\.0 °C\) to 140\.0 °F \(60\.0 °C\)"):
            density_kg_m3(Fraction(20), temp)
    with pytest.raises(BadQuantity, match="No brine has 30 % salt"):
        density_kg_m3(Fraction(30), SIXTY_F)
    with pytest.raises(BadQuantity, match="No brine has −1 % salt"):
        density_kg_m3(Fraction(-1), SIXTY_F)


def test_specific_gravity_is_one_for_water() -> None:
    assert specific_gravity(Fraction(0)) == 1


def test_a_reading_of_nought_in_a_warm_brine_is_a_little_salt_and_in_a_cold_one_cannot_be() -> None:
    assert 0 < true_salometer(Fraction(0), f(90)) < 3
    assert true_salometer(Fraction(0), f(40)) < 0


def test_a_reading_of_100_in_a_warm_brine_is_more_than_dissolves() -> None:
    true = true_salometer(Fraction(100), f(80))
    assert true * SATURATED / 100 > most_salt_pct(f(80))


def test_a_float_for_25_pct_has_its_reading_said_in_degrees_of_26_395() -> None:
    assert true_salometer(Fraction(100), SIXTY_F, SIXTY_F, Fraction(25)) == 2500 / SATURATED


# --- refractometer --------------------------------------------------------------------------------

ROOM = to_ninths("20", "C")


@pytest.mark.parametrize(
    ("temp", "corrects"),
    [(c(20), False), (c(22), False), (c(18), False), (c(10), True), (c(30), True)],
)
def test_a_refractometer_is_taken_as_read_where_it_reads_true(temp: int, corrects: bool) -> None:
    assert refractometer(Fraction("15.5"), temp, ROOM, corrects) == Fraction("15.5")


@pytest.mark.parametrize("temp", [c(22) + 1, c(18) - 1, c(4)])
def test_one_that_does_not_correct_itself_is_refused_away_from_its_reference(temp: int) -> None:
    with pytest.raises(
        BadQuantity, match=r"only within 3\.6 °F of 68\.0 °F \(20\.0 °C\).*salometer"
    ):
        refractometer(Fraction(15), temp, ROOM, corrects_itself=False)


@pytest.mark.parametrize("temp", [c(10) - 1, c(30) + 1])
def test_one_that_corrects_itself_is_refused_beyond_what_it_corrects(temp: int) -> None:
    with pytest.raises(BadQuantity, match="Let the drop stand on the prism"):
        refractometer(Fraction(15), temp, ROOM, corrects_itself=True)


@pytest.mark.parametrize("reading", ["-0.1", "28.3", "60"])
def test_more_salt_than_can_be_is_refused_of_a_refractometer(reading: str) -> None:
    with pytest.raises(BadQuantity, match="on the scale for salt"):
        refractometer(Fraction(reading), ROOM, ROOM, corrects_itself=True)


# --- for every brine ------------------------------------------------------------------------------


@given(pcts)
def test_degrees_and_per_cent_go_there_and_back(pct: Fraction) -> None:
    assert pct_of_salometer(salometer_deg(pct)) == pct


@given(
    st.fractions(0, 100, max_denominator=1000),
    temps,
    temps,
    st.sampled_from([SATURATED, Fraction(25)]),
)
def test_a_reading_and_its_true_degree_go_there_and_back(
    reading: Fraction, temp: int, reference: int, full: Fraction
) -> None:
    true = true_salometer(reading, temp, reference, full)
    pct = true * SATURATED / 100
    if 0 <= pct <= 28:
        assert salometer_reading(pct, temp, reference, full) == reading


@given(pcts, pcts, temps)
def test_more_salt_is_denser_and_freezes_later(one: Fraction, other: Fraction, temp: int) -> None:
    weak, strong = sorted((one, other))
    if weak < strong:
        assert density_kg_m3(weak, temp) < density_kg_m3(strong, temp)
        assert grams_per_litre_of_water(weak) < grams_per_litre_of_water(strong)
        first, second = freezing(weak), freezing(strong)
        if first is not None and second is not None:
            assert first >= second


@given(temps, temps)
def test_a_warmer_strong_brine_is_lighter_and_dissolves_no_less(one: int, other: int) -> None:
    cold, warm = sorted((one, other))
    if cold < warm:
        assert density_kg_m3(Fraction(20), cold) > density_kg_m3(Fraction(20), warm)
        assert most_salt_pct(cold) <= most_salt_pct(warm)


@given(st.fractions(5, 95, max_denominator=1000), temps, temps)
def test_the_warmer_the_brine_the_more_is_added(reading: Fraction, one: int, other: int) -> None:
    cold, warm = sorted((one, other))
    floor = c(5)  # below some 4 °C weak brines hardly change, and water turns lighter again
    if floor <= cold < warm:
        assert true_salometer(reading, cold) < true_salometer(reading, warm)


def test_the_tables_rise_from_point_to_point() -> None:
    for table in (water._SOLUBILITY, water._DEPRESSION):
        assert [x for x, _ in table] == sorted({x for x, _ in table})
        assert [y for _, y in table] == sorted({y for _, y in table})
    for row in water._ROWS.values():
        assert list(row) == sorted(row)


def test_no_density_of_the_table_stands_out_from_its_neighbours() -> None:
    """A figure set wrong by 0.3 kg/m³ bends the course along the temperature visibly."""
    for strength in zip(*water._ROWS.values(), strict=True):
        bends = [
            a - 2 * b + c for a, b, c in zip(strength, strength[1:], strength[2:], strict=False)
        ]
        assert all(-Fraction("1.4") < bend < 0 for bend in bends)
        assert max(abs(a - b) for a, b in pairwise(bends)) < Fraction("0.35")
