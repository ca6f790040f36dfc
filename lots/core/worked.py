"""Published examples held against this logbook's own sums: a case in, what was expected and got out.

A case is data with a title, a source, the name of a sum, what is given and what is expected; see
fixtures/worked/README.md.  `run` never raises: a case that cannot be computed is off and says why.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

from lots.core.limits import VERDICT_WORDS, Verdict
from lots.core.units import DECIMALS_KEPT, show_number
from lots.core.worked_sums import SUMS, Case, Got
from lots.core.worked_text import BadCase, plain

BASES: Final = ("published", "independent library", "computed", "common practice", "memory")
OUTSIDE: Final = ("published", "independent library")  # bases that count as a check from outside
NOT_COMPUTED: Final = "this sum is not computed by this version"
CLOSEST_MIN: Final = Fraction("0.05")  # a time is never held more loosely than this unless told
SHOWN_DECIMALS: Final = 2 * DECIMALS_KEPT
_REMARKS: Final = ("note", "notes", "comment", "remark", "why", "source", "tolerance")


@dataclass(frozen=True, slots=True)
class Figure:
    """One thing expected: its name, what was expected, what came out, and whether they agree."""

    name: str
    expected: str
    got: str
    ok: bool


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a case; `problem` says why it could not be computed, or is empty."""

    title: str
    figures: tuple[Figure, ...] = ()
    problem: str = ""

    @property
    def ok(self) -> bool:
        """Whether all that was expected came out."""
        return not self.problem and bool(self.figures) and all(f.ok for f in self.figures)

    @property
    def expected(self) -> str:
        return ", ".join(f"{f.name} {f.expected}" for f in self.figures) or "–"

    @property
    def got(self) -> str:
        return self.problem or ", ".join(f"{f.name} {f.got}" for f in self.figures)


def run(case: Case) -> Outcome:
    """What the case expects beside what the sums of this version give.

    Args:
        case: as in a case's file: title, sum, given, expect; figures as whole numbers, exact decimals
            or text with unit.
    Returns:
        The outcome; what cannot be computed is off, never passed over.
    """
    title = str(case.get("title") or "a case without a title")
    name = str(case.get("sum", "")).strip()
    given, expect = case.get("given"), case.get("expect")
    if not name:
        return Outcome(title, problem="the case names no sum")
    if name not in SUMS:
        return Outcome(title, _wanted(expect), f"“{name}”: {NOT_COMPUTED}")
    try:
        if not isinstance(given, Mapping) or not isinstance(expect, Mapping):
            raise BadCase("the case needs [given] and [expect]")
        return Outcome(title, tuple(_held(expect, SUMS[name](given))))
    except (ValueError, TypeError, KeyError, AttributeError, ArithmeticError) as error:
        return Outcome(title, _wanted(expect), f"cannot be computed: {error}")


def _wanted(expect: object) -> tuple[Figure, ...]:
    if not isinstance(expect, Mapping):
        return ()
    return tuple(
        Figure(str(name), str(value), "", False)
        for name, value in expect.items()
        if name not in _REMARKS and "tolerance" not in name
    )


# --- expected beside got --------------------------------------------------------------------------


def _held(expect: Case, got: Got) -> Sequence[Figure]:
    figures = []
    for name, value in expect.items():
        if name in got:
            figures.append(_figure(name, value, got[name], expect))
        elif name not in _REMARKS and "tolerance" not in name:
            figures.append(Figure(name, str(value), "not a figure of this sum", False))
    if not figures:
        raise BadCase("nothing is expected of it")
    return figures


def _figure(name: str, value: Any, got: Verdict | Fraction, expect: Case) -> Figure:
    if isinstance(got, Verdict):
        wanted = _verdict(value)
        return Figure(name, wanted.value, got.value, wanted is got)
    text = value.get("value") if isinstance(value, Mapping) else value
    wanted_number, decimals = _number(text)
    within = _tolerance(name, value, expect)
    if within is None:
        within = Fraction(f"0.{'0' * decimals}5")  # half of the last place written
        within = min(within, CLOSEST_MIN) if name.endswith("_min") else within
    shown = show_number(got, SHOWN_DECIMALS)
    return Figure(name, str(text), shown, abs(got - wanted_number) <= within)


def _verdict(value: object) -> Verdict:
    text = " ".join(str(value).split()).lower()
    for verdict in Verdict:
        if text in (verdict.value.lower(), VERDICT_WORDS[verdict]):
            return verdict
    raise BadCase(f"“{value}” is not a verdict: write {', '.join(Verdict)}")


def _number(value: object) -> tuple[Fraction, int]:
    """The number that a figure begins with, and how many decimals it is written with."""
    found = re.match(r"\s*([-+]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][-+]?\d+)?)", plain(value))
    if found is None:
        raise BadCase(f"“{value}” is not a number")
    text = found[1].replace(",", ".")
    decimals = text.lower().partition("e")[0].partition(".")[2]
    return Fraction(text), len(decimals)


def _tolerance(name: str, value: Any, expect: Case) -> Fraction | None:
    """The tolerance stated with the figure, for the figure by name, or for all of them."""
    places: list[object] = [value.get("tolerance")] if isinstance(value, Mapping) else []
    common = expect.get("tolerance")
    places += [expect.get(f"{name}_tolerance"), expect.get(f"tolerance_{name}")]
    places.append(common.get(name) if isinstance(common, Mapping) else common)
    stated = next((place for place in places if place is not None), None)
    return None if stated is None else abs(_number(stated)[0])
