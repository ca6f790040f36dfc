"""An operating limit proposed from a critical limit: stricter by the accuracy of the thermometer.

A reading may be off by as much as its instrument's maker says.  The proposal is met only by readings
that would still meet the critical limit if each of them were off by so much to the wrong side.

Source of the rule: FSIS Cooking Guideline, Dec 2021, monitoring: to a lowest limit of 165 °F add the
device's error of ±1 °F, and monitor 166 °F.  For a highest limit it is taken away in the same way.
"""

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

from lots.core.lethality import BILLIONTHS, lethal_rate
from lots.core.limits import (
    Accurate,
    AllOf,
    AnyOf,
    BadLimit,
    Cooling,
    Cure,
    Declared,
    Duration,
    Every,
    Exposure,
    Followed,
    Given,
    Lethality,
    Limit,
    Maintained,
    Measured,
    NotJudged,
    Observed,
    Within,
    limit_from,
    looser,
)
from lots.core.plan_content import TO_CONFIRM, Content
from lots.core.units import (
    MS_PER_MIN,
    MS_PER_S,
    Bound,
    TempUnit,
    degrees,
    read_difference,
    show_number,
)

Data = dict[str, Any]
_PRINTED: Final = re.compile(r"°?\s*([CF])\b")
_STATED: Final = re.compile(r"(±|\+\s*/?\s*[-−])?\s*([\d.,]+)\s*°?\s*([CF])\b")
_TENTHS: Final = Fraction(10)
_RATE_DECIMALS: Final = 3


@dataclass(frozen=True, slots=True)
class NoProposal:
    """Why no operating limit is proposed."""

    reason: str


def accuracy_of(text: str) -> int | None:
    """How far off an instrument may be, in ninths, from its maker's words, e.g. "±2 °F", "0.5 °C".

    Of several figures those after a ± count, and of them the largest, in doubt against the processor;
    without any ± the first one.  None where there is no figure with its unit.
    """
    found = _STATED.findall(text)
    marked = [one for one in found if one[0]] or found[:1]
    sizes = []
    for _, figure, unit in marked:
        try:
            sizes.append(read_difference(f"{figure} °{unit}"))
        except ValueError:  # digits that are no number
            continue
    return max(sizes, default=None)


def propose(data: Content, accuracy: int, accuracy_words: str = "") -> Data | NoProposal:
    """The operating limit proposed for a critical limit, as its data, or why there is none.

    Never looser than the critical limit.  Where rounding to what a thermometer shows would make it
    so, it is rounded to the stricter side.

    Args:
        data: the critical limit as the plan states it; what it says about an operating limit is not
            looked at.
        accuracy: how far off the instrument may be, ninths (1/9000 °C), above 0.
        accuracy_words: the accuracy as the source of the proposal names it, e.g. "±2 °F".
    Returns:
        The figures, with `source` and `flag` ("to be confirmed").
    """
    bare = {key: value for key, value in data.items() if key != "operating"}
    if accuracy <= 0:
        return NoProposal("The thermometer's accuracy must be above 0.")
    try:
        limit = limit_from(bare)
        found = _proposed(limit, bare, accuracy)
        if isinstance(found, NoProposal):
            return found
        figures, how = found
        figures |= {"source": _source(accuracy_words, how), "flag": TO_CONFIRM}
        return _held(bare, figures)
    except (BadLimit, ValueError):
        return NoProposal(
            "Fill in the critical limit first: it cannot be read yet, and a proposal is made from it."
        )


def _source(words: str, how: str) -> str:
    source = "stricter than the critical limit by the thermometer's accuracy"
    source += f", {words}" if words else ""
    return f"{source}: {how}" if how else source


def _held(data: Data, figures: Data) -> Data | NoProposal:
    """The proposal once it has been read back and found no looser."""
    try:
        read = limit_from({**data, "operating": figures})
    except BadLimit:
        return NoProposal("So much stricter, its figures would leave nothing: type your own.")
    assert read.operating is not None
    if looser(read.rule, read.operating):
        return NoProposal("A figure that is stricter in every respect cannot be found: type it.")
    return figures


_Found = tuple[Data, str] | NoProposal


def _proposed(limit: Limit, data: Data, accuracy: int) -> _Found:
    match limit.rule:
        case Within(low, high) | Maintained(low, high, _, _):
            return _bounds(low, high, accuracy), ""
        case Cooling(_, stages):
            rows = [
                {**row, "to": _moved(stage.to, -accuracy)}
                for row, stage in zip(data.get("stages", ()), stages, strict=True)
            ]
            return {"stages": rows}, "each stage down to a temperature lower by as much"
        case Lethality():
            return _lethality(limit.rule, accuracy)
        case Exposure():
            return _exposure(limit.rule, accuracy)
    return NoProposal(_REASONS[type(limit.rule)])


_REASONS: Final = {
    Accurate: "The thermometer's accuracy is what this limit looks at: type a shorter time, or leave it.",
    Duration: "A clock's error does not matter here: type a stricter time, or leave it.",
    Declared: "A clock's error does not matter here: type a shorter time, or leave it.",
    Followed: "A clock's error does not matter here: type a shorter time, or leave it.",
    Cure: "Where nitrite may go is the law's to say: it has no operating limit.",
    Every: "A thermometer's accuracy has no part in how often it is read: type a shorter time, or "
    "leave it.",
    Measured: "A thermometer's accuracy has no part in this: type a stricter figure, or leave it.",
    Observed: "What is looked for is found so or not: it has no operating limit.",
    AllOf: "A combination has no operating limit of its own: propose one for its parts.",
    AnyOf: "A combination has no operating limit of its own: propose one for its parts.",
    Given: "A combination has no operating limit of its own: propose one for its parts.",
    NotJudged: "Fill in the critical limit first: a proposal is made from its figures.",
}


def _bounds(low: Bound | None, high: Bound | None, accuracy: int) -> Data:
    figures: Data = {"at_least": _moved(low, accuracy)} if low else {}
    return figures | ({"at_most": _moved(high, -accuracy)} if high else {})


def _exposure(rule: Exposure, accuracy: int) -> _Found:
    figures: Data = {"above": _moved(rule.above, -accuracy)}
    if rule.up_to:
        figures["up_to"] = _moved(rule.up_to, accuracy)
    return figures, "the band wider by as much, the time as it is"


def _lethality(rule: Lethality, accuracy: int) -> _Found:
    """A longer time, such that it suffices even if every reading is too high by the accuracy."""
    slower = lethal_rate(accuracy, 0, min(rule.z, rule.z_above)) + 1  # billionths, cut downwards
    exact = Fraction(rule.at_least_ms * slower, BILLIONTHS)
    figures: Data = {"at_least": _longer(exact)}
    if rule.lowest:
        figures["lowest"] = _moved(rule.lowest, accuracy)
    times = show_number(Fraction(slower, BILLIONTHS), _RATE_DECIMALS)
    z = rule.z_text if rule.z == rule.z_above else f"the smaller z of {rule.z_text}"
    how = f"the time × {times}, which is 10 to the power of the accuracy ÷ {z}"
    how += ", and nothing counted below a temperature higher by as much" if rule.lowest else ""
    return figures, f"{how}; it is then met even if every reading is too high by so much"


def _longer(span_ms: Fraction) -> str:
    """A time rounded up to a tenth of a minute, or to a whole second below one minute."""
    if span_ms < MS_PER_MIN:
        return f"{_up(span_ms / MS_PER_S)} s"
    return f"{show_number(_up(span_ms / MS_PER_MIN * _TENTHS) / _TENTHS, 1)} min"


def _up(value: Fraction) -> Fraction:
    return Fraction(-(-value.numerator // value.denominator))


def _moved(bound: Bound, by: int) -> str:
    """A bound's text with each figure moved by so many ninths, to the tenth that thermometers show."""
    units: list[TempUnit] = ["F" if unit == "F" else "C" for unit in _PRINTED.findall(bound.text)]
    figures = [f"{_figure(bound.for_unit(unit), unit, by)} °{unit}" for unit in units]
    return figures[0] + (f" ({figures[1]})" if len(figures) > 1 else "")


def _figure(critical: int, unit: TempUnit, by: int) -> str:
    here, exact = degrees(critical, unit), degrees(critical + by, unit)
    text = show_number(exact, 1)
    near = Fraction(text.replace("−", "-"))
    if (near > here) if by > 0 else (near < here):
        return text
    tenths = _up(exact * _TENTHS) if by > 0 else -_up(-exact * _TENTHS)
    return show_number(tenths / _TENTHS, 1)
