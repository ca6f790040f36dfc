"""Forecasts in words: one for each saying."""

import pytest

from lots.core.forecast import OVER, TOO_CLOSE, Forecast, Says
from lots.core.forecast_words import forecast_words
from lots.core.units import MS_PER_DAY, MS_PER_H, MS_PER_MIN, TempUnit, to_ninths

DAY = 20_516 * MS_PER_DAY


def at(clock: str) -> int:
    hours, minutes, *seconds = map(int, clock.split(":"))
    return DAY + hours * MS_PER_H + minutes * MS_PER_MIN + sum(seconds) * 1000


def show(moment: int) -> str:
    minutes = (moment - DAY) // MS_PER_MIN
    assert (moment - DAY) % MS_PER_MIN == 0, "no more than minutes are shown"
    return f"{minutes // 60:02}:{minutes % 60:02}"


def f(figure: str) -> int:
    return to_ninths(figure, "F")


SPAN = (at("14:20:20"), at("14:05:50"), at("14:39:10"))


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (
            Forecast(Says.REACHED, f("70"), at("14:20"), at("14:20"), at("14:20")),
            "70 °F: reached at 14:20",
        ),
        (Forecast(Says.REACHED, f("145"), for_ms=30 * MS_PER_MIN), "145 °F for 30 min: reached"),
        (
            Forecast(Says.MEETS, f("70"), *SPAN, at("15:00")),
            "70 °F: will meet at about 14:20 (14:05 to 14:40); the deadline is 15:00",
        ),
        (
            Forecast(Says.REACHES, f("70"), *SPAN),
            "70 °F: will reach at about 14:20 (14:05 to 14:40)",
        ),
        (
            Forecast(Says.REACHES, f("145"), *SPAN, for_ms=30 * MS_PER_MIN),
            "145 °F for 30 min: will reach at about 14:20 (14:05 to 14:40)",
        ),
        (
            Forecast(Says.REACHES, None, *SPAN, for_ms=2 * MS_PER_MIN),
            "2 min at the reference temperature: will reach at about 14:20 (14:05 to 14:40)",
        ),
        (
            Forecast(Says.CANNOT_SAY, f("40"), why=TOO_CLOSE),
            f"40 °F: cannot say: {TOO_CLOSE}",
        ),
        (
            Forecast(Says.NEVER, f("40"), level=f("44.3")),
            "40 °F: never at the present course: it levels out at about 44 °F",
        ),
        (Forecast(Says.NEVER, f("145")), "145 °F: never at the present course"),
        (
            Forecast(Says.MISSES, f("70"), None, None, None, at("15:00"), f("78.6")),
            "70 °F: likely to miss: at the deadline 15:00 it will stand at about 79 °F",
        ),
        (
            Forecast(Says.MISSES, f("70"), *SPAN, at("14:00"), f("78.6")),
            "70 °F: likely to miss: at the deadline 14:00 it will stand at about 79 °F; "
            "about 14:20 (14:05 to 14:40)",
        ),
        (Forecast(Says.MISSES, f("70"), why=OVER), f"70 °F: likely to miss: {OVER}"),
        (
            Forecast(Says.MISSES, f("145"), *SPAN, at("14:00"), for_ms=30 * MS_PER_MIN),
            "145 °F for 30 min: likely to miss: the deadline is 14:00; about 14:20 (14:05 to 14:40)",
        ),
        (
            Forecast(Says.REACHES, f("70"), at("14:20"), at("14:05"), None),
            "70 °F: will reach at about 14:20 (14:05 or later)",
        ),
    ],
)
def test_a_forecast_reads_as_people_say_it(found: Forecast, words: str) -> None:
    assert forecast_words(found, show, "F") == words


@pytest.mark.parametrize("says", Says)
def test_every_saying_has_its_words(says: Says) -> None:
    words = forecast_words(Forecast(says, f("70"), *SPAN, at("15:00"), why="why"), show, "F")
    assert words.startswith(f"70 °F: {says.value}")
    assert "None" not in words


@pytest.mark.parametrize(("unit", "words"), [("F", "145 °F: reached"), ("C", "62.8 °C: reached")])
def test_temperatures_are_told_in_the_unit_asked_for(unit: TempUnit, words: str) -> None:
    assert forecast_words(Forecast(Says.REACHED, f("145")), show, unit) == words


def test_a_span_is_never_told_narrower_than_it_is() -> None:
    found = Forecast(Says.REACHES, f("70"), at("14:20:31"), at("14:05:59"), at("14:39:01"))
    assert forecast_words(found, show, "F").endswith("about 14:21 (14:05 to 14:40)")


def test_no_words_say_that_fish_is_safe() -> None:
    for says in Says:
        assert "safe" not in forecast_words(Forecast(says, f("70")), show, "F")
