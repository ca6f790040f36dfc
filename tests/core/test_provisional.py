"""What the tablet says by itself, on the same cases as the tablet runs; and its verdicts against the judging."""

import json
from pathlib import Path
from typing import Any

import pytest

from lots.core import judging
from lots.core.finding import Span
from lots.core.judging import Facts
from lots.core.limits import Verdict, Within, limit_from
from lots.core.provisional import Doubt, LastFigure, doubt, provisional_verdict
from lots.core.rules import Range, SlipRule
from lots.core.series import Chunk
from lots.core.units import BadQuantity, Bound, to_ninths

CASES: dict[str, Any] = json.loads(
    (Path(__file__).parents[2] / "fixtures" / "provisional.json").read_text()
)


def test_there_are_enough_cases() -> None:
    assert sum(len(CASES[name]) for name in ("ninths", "verdicts", "doubts")) >= 120
    assert {one["expect"] for one in CASES["verdicts"]} == {"MET", "ADJUST", "DEVIATION"}


@pytest.mark.parametrize(("text", "unit", "expected"), CASES["ninths"])
def test_a_figure_is_read_as_the_tablet_reads_it(
    text: str, unit: Any, expected: int | None
) -> None:
    if expected is None:
        with pytest.raises(BadQuantity):
            to_ninths(text, unit)
    else:
        assert to_ninths(text, unit) == expected


def _bound(said: dict[str, int] | None) -> Bound | None:
    return None if said is None else Bound(said["C"], said["F"], "")


def _same(rule: Within, low: Any, high: Any) -> bool:
    def ends(bound: Bound | None) -> tuple[int, int] | None:
        return None if bound is None else (bound.c, bound.f)

    return (ends(rule.low), ends(rule.high)) == (ends(_bound(low)), ends(_bound(high)))


@pytest.mark.parametrize(
    "case", CASES["verdicts"], ids=lambda one: f"{one['limit']['id']} {one['text']}"
)
def test_a_provisional_verdict_is_that_of_the_judging_on_the_one_figure(
    case: dict[str, Any],
) -> None:
    limit, said, unit = limit_from(case["limit"]), case["judge"], case["unit"]
    rule, stricter = limit.rule, limit.operating
    assert isinstance(rule, Within)
    assert _same(rule, said["low"], said["high"])
    assert stricter is None or (
        isinstance(stricter, Within) and _same(stricter, said["op_low"], said["op_high"])
    )
    value = to_ninths(case["text"], unit)
    assert provisional_verdict(rule, stricter, value, unit) is Verdict(case["expect"])
    series = {limit.of: {"one": [Chunk((1000,), (value,), unit)]}}
    span = Span(0)
    states = judging.start(limit, series, span, {}, {}, ())
    judged = judging.judge(limit, states, Facts(span), 2000)
    assert judged.verdict is Verdict(case["expect"])


@pytest.mark.parametrize("case", CASES["doubts"], ids=lambda one: f"{one['text']} {one['expect']}")
def test_a_doubt_is_asked_about_as_the_tablet_asks(case: dict[str, Any]) -> None:
    likely, possible = (
        Range(case[name]["low"], case[name]["high"]) for name in ("likely", "possible")
    )
    last = case["last"] and LastFigure(case["last"]["value"], case["last"]["at"])
    slip = SlipRule(**case["slip"])
    found = doubt(case["text"], case["unit"], likely, possible, last, slip, case["now"])
    wanted = case["expect"] and Doubt(case["expect"]["kind"], case["expect"]["meant"])
    assert found == wanted
