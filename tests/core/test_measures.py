"""What of a finding is drawn: its figure in the unit of the drawing, and the bound it must keep to."""

from fractions import Fraction

import pytest

from lots.core.finding import Finding
from lots.core.limits import Limit, Verdict, limit_from
from lots.core.measures import Measure, measures
from lots.core.units import MS_PER_H, MS_PER_MIN, NINTHS_PER_F


def limit(**data: object) -> Limit:
    return limit_from({"id": "one", "of": "fish", "source": "s", "flag": "published"} | data)


def found(**numbers: int) -> Finding:
    return Finding(Verdict.MET, "figure", numbers=numbers)


COLD = {"kind": "at most", "at_most": "40 °F"}
WARM = {"kind": "at least", "at_least": "28 °F"}
BAND = {"kind": "between", "at_least": "28 °F", "at_most": "40 °F"}


@pytest.mark.parametrize(
    ("data", "margin_f", "measure"),
    [
        (COLD, 3, Measure(Fraction(37), None, Fraction(40), "°F")),
        (COLD, -6, Measure(Fraction(46), None, Fraction(40), "°F")),
        (WARM, 2, Measure(Fraction(30), Fraction(28), None, "°F")),
        (WARM, -2, Measure(Fraction(26), Fraction(28), None, "°F")),
        (BAND, 4, Measure(Fraction(4), Fraction(0), None, "°F", "how far inside its two bounds")),
        (BAND, -1, Measure(Fraction(-1), Fraction(0), None, "°F", "how far inside its two bounds")),
    ],
)
def test_a_reading_is_drawn_on_its_side_of_the_bound(
    data: dict[str, str], margin_f: int, measure: Measure
) -> None:
    assert list(measures(limit(**data), found(margin=margin_f * NINTHS_PER_F), "F")) == [measure]


@pytest.mark.parametrize(
    ("data", "numbers", "measure"),
    [
        ({"kind": "every", "within": "2 h"}, {"gap_ms": 95 * MS_PER_MIN},
         Measure(Fraction(95), None, Fraction(120), "min")),
        ({"kind": "every", "within": "16 h"}, {"gap_ms": 12 * MS_PER_H},
         Measure(Fraction(12), None, Fraction(16), "h")),
        ({"kind": "maintained", "at_least": "145 °F", "for": "30 min"},
         {"maintained_ms": 45 * MS_PER_MIN, "estimated_ms": 50 * MS_PER_MIN},
         Measure(Fraction(45), Fraction(30), None, "min")),
        ({"kind": "duration", "at_most": "2 h"}, {"lasted_ms": 60 * MS_PER_MIN},
         Measure(Fraction(60), None, Fraction(120), "min")),
        ({"kind": "duration", "at_least": "6 h"}, {"lasted_ms": 7 * MS_PER_H},
         Measure(Fraction(7), Fraction(6), None, "h")),
    ],
)  # fmt: skip
def test_a_time_is_drawn_in_minutes_or_hours_by_its_bound(
    data: dict[str, str], numbers: dict[str, int], measure: Measure
) -> None:
    assert list(measures(limit(**data), found(**numbers), "F")) == [measure]


def test_each_stage_of_a_cooling_that_was_reached_is_drawn() -> None:
    cooling = limit(
        kind="cooling",
        **{"from": "140 °F"},
        stages=[
            {"to": "70 °F", "within": "2 h"},
            {"to": "40 °F", "within": "4 h", "counted_from": "the stage before"},
        ],
    )
    both = found(stage_1_ms=MS_PER_H, stage_2_ms=3 * MS_PER_H)
    drawn = list(measures(cooling, both, "F"))
    assert [(one.value, one.high, one.unit) for one in drawn] == [
        (Fraction(60), Fraction(120), "min"),
        (Fraction(3), Fraction(4), "h"),
    ]
    assert len(list(measures(cooling, found(stage_1_ms=MS_PER_H), "F"))) == 1


@pytest.mark.parametrize("data", [COLD, {"kind": "every", "within": "2 h"}])
def test_where_nothing_was_read_nothing_is_drawn(data: dict[str, str]) -> None:
    assert list(measures(limit(**data), found(), "F")) == []
