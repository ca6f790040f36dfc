"""The kinds of limit, as values read from a plan's data, and what each demands in one sentence.

A limit is data in a plan version.  `limit_from` reads it, `lots.core.judging` holds it against
readings, `demand` says it back in words.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final

from lots.core.cure import NITRITE, BadCure, CureRule, cure_rules
from lots.core.units import (
    BadQuantity,
    Bound,
    read_difference,
    read_quantity,
    read_span,
    read_temperature,
    show_span,
)

RULES: Final = 2  # the number of the judging rules; raised whenever a verdict could differ


class Verdict(StrEnum):
    """What a limit's readings show, mildest first."""

    MET = "MET"
    ADJUST = "ADJUST"
    PENDING = "PENDING"
    DEVIATION = "DEVIATION"

    @property
    def rank(self) -> int:
        """0 for the mildest."""
        return list(Verdict).index(self)

    @property
    def words(self) -> str:
        """The verdict as the screen and the paper say it."""
        return VERDICT_WORDS[self]


VERDICT_WORDS: Final = {
    Verdict.MET: "within limits",
    Verdict.ADJUST: "adjust process",
    Verdict.PENDING: "not yet shown",
    Verdict.DEVIATION: "deviation",
}


def worst(verdicts: "list[Verdict]") -> Verdict:
    """The least favourable; MET of none."""
    return max(verdicts, key=lambda v: v.rank, default=Verdict.MET)


def mildest(verdicts: "list[Verdict]") -> Verdict:
    """The most favourable; DEVIATION of none."""
    return min(verdicts, key=lambda v: v.rank, default=Verdict.DEVIATION)


class BadLimit(ValueError):
    """A limit's data that cannot be read or that contradicts itself; the message says where."""


@dataclass(frozen=True, slots=True)
class Window:
    """Which readings a limit looks at: "whole step", "first reading", "last reading", or those
    from `after_ms` past the step's start on ("after")."""

    which: str = "whole step"
    after_ms: int = 0


@dataclass(frozen=True, slots=True)
class Within:
    """Each reading at least `low` and at most `high`; exactly on either meets it."""

    low: Bound | None
    high: Bound | None


@dataclass(frozen=True, slots=True)
class Maintained:
    """At or above `low` (heat), or at or below `high` (freezing), for `for_ms` unbroken."""

    low: Bound | None
    high: Bound | None
    for_ms: int
    longest_gap_ms: int | None


@dataclass(frozen=True, slots=True)
class Lethality:
    """At least `at_least_ms` equivalent at `reference` with `z` (`z_above` from the reference upwards,
    where the table cited has two); nothing counts below `lowest`.  Temperatures and the differences z
    in ninths, each for readings in °C and in °F."""

    at_least_ms: int
    reference: Bound
    z: int
    z_above: int
    lowest: Bound | None
    longest_gap_ms: int | None
    z_text: str


@dataclass(frozen=True, slots=True)
class Exposure:
    """Above `above` (and not above `up_to`, where there is one) for no more than `at_most_ms` in all,
    over the `steps` named (none: the step that it stands at) and the time between them."""

    above: Bound
    up_to: Bound | None
    at_most_ms: int
    longest_gap_ms: int | None
    steps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Accurate:
    """Each instrument that the readings were taken with was checked no longer than `within_ms` before
    and found no further off than `tolerance` (ninths; None: the tolerance that the check states)."""

    within_ms: int
    tolerance: int | None
    tolerance_text: str


@dataclass(frozen=True, slots=True)
class Stage:
    """Down to `to` within `within_ms`, counted from the clock's start or from the stage before."""

    to: Bound
    within_ms: int
    from_start: bool


@dataclass(frozen=True, slots=True)
class Cooling:
    """From `begin` (None: from the end of the step before) down through the stages."""

    begin: Bound | None
    stages: tuple[Stage, ...]


@dataclass(frozen=True, slots=True)
class Duration:
    """The step lasts at least, longer than, or at most so long; ms, None where not limited."""

    at_least_ms: int | None
    longer_than_ms: int | None
    at_most_ms: int | None


@dataclass(frozen=True, slots=True)
class Every:
    """No longer than `within_ms` between readings; on a step kept by a logger, the file may follow
    until `file_within_ms` after the step's end."""

    within_ms: int
    file_within_ms: int | None


@dataclass(frozen=True, slots=True)
class Measured:
    """A quantity exists and its least favourable sample meets the bound.  Only a laboratory's result
    may still be awaited once the step is over, and it bars release.

    `verified_within_ms`: a verification of the plan's process, no further from the step than that,
    speaks for lots without a result of their own; None: each lot needs one.  `when_sampled`: it is
    asked only of lots of which samples were taken.
    """

    quantity: str
    low: Bound | None
    high: Bound | None
    laboratory: bool
    verified_within_ms: int | None = None
    when_sampled: bool = False


@dataclass(frozen=True, slots=True)
class Observed:
    """A stated thing was looked for and found so."""

    what: str


@dataclass(frozen=True, slots=True)
class Declared:
    """A step that lasts longer than `longer_than_ms` was said at its start to be a long one."""

    longer_than_ms: int


@dataclass(frozen=True, slots=True)
class Cure:
    """Nitrite goes into fish on one of these rows only, and the finished fish keeps to its row; `rule` is
    the number of the rule that leaves out all other fish."""

    rows: tuple[CureRule, ...]
    rule: str = ""


@dataclass(frozen=True, slots=True)
class Followed:
    """All of the fish is in loads of the step `by` no later than `within_ms` after this step's start."""

    by: str
    within_ms: int


@dataclass(frozen=True, slots=True)
class AllOf:
    parts: "tuple[Limit, ...]"


@dataclass(frozen=True, slots=True)
class AnyOf:
    parts: "tuple[Limit, ...]"


@dataclass(frozen=True, slots=True)
class Given:
    """Binds only where the condition holds."""

    condition: "Limit"
    then: "Limit"


@dataclass(frozen=True, slots=True)
class NotJudged:
    """A limit of an older plan that names its kind without the kind's figures: kept and printed, not
    judged; it bars the release, and no new plan may have one."""

    kind: str


SeriesRule = Within | Maintained | Lethality | Exposure | Cooling | Every
FactRule = Duration | Measured | Observed | Accurate | Declared | Cure | Followed | NotJudged
Rule = SeriesRule | FactRule | AllOf | AnyOf | Given
SUBJECTS: Final = {
    "fish": "the fish",
    "place": "the place",
    "room": "the room that the place stands in",
    "lot": "the lot",
}


@dataclass(frozen=True, slots=True)
class FileWait:
    """A logger's file that may follow until `until_ms` after the step's end; it has come once its
    readings reach to within `within_ms` of the end."""

    within_ms: int
    until_ms: int


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of a plan: the rule, what it is held against, and its operating limit."""

    id: str
    kind: str
    rule: Rule
    of: str = "place"
    probes: int = 1
    window: Window = Window()
    operating: Rule | None = None
    source: str = ""
    flag: str = ""
    file: FileWait | None = None
    silent_ms: int | None = None  # a probe without a reading for longer has fallen silent
    permitted: tuple[CureRule, ...] | None = None  # of the plan's `cure`; None: it has none

    def leaves(self) -> "Iterator[Limit]":
        """The limits that look at readings or facts themselves, conditions included."""
        match self.rule:
            case AllOf(parts) | AnyOf(parts):
                for part in parts:
                    yield from part.leaves()
            case Given(condition, then):
                yield from condition.leaves()
                yield from then.leaves()
            case _:
                yield self


def waiting_for_files(limits: "Iterable[Limit]") -> "tuple[Limit, ...]":
    """The limits of a control point, each leaf knowing of the logger's file that its subject waits for.

    A step kept by a logger has an `every` with a time for the file; the other limits of the same
    subject wait for the same file.  Its `every` (the shortest) also says when a probe has fallen silent.
    """
    limits = tuple(limits)
    everies = [
        (leaf.of, leaf.rule)
        for limit in limits
        for leaf in limit.leaves()
        if isinstance(leaf.rule, Every)
    ]
    waits = {
        of: FileWait(rule.within_ms, rule.file_within_ms)
        for of, rule in everies
        if rule.file_within_ms is not None
    }
    silent: dict[str, int] = {}
    for of, rule in everies:
        silent[of] = min(silent.get(of, rule.within_ms), rule.within_ms)
    return tuple(_waiting(limit, waits, silent) for limit in limits)


def _waiting(limit: Limit, waits: "Mapping[str, FileWait]", silent: "Mapping[str, int]") -> Limit:
    def told(leaf: Limit) -> Limit:
        return replace(leaf, file=waits.get(leaf.of), silent_ms=silent.get(leaf.of))

    return _with_leaves(limit, told)


def _with_leaves(limit: Limit, change: "Callable[[Limit], Limit]") -> Limit:
    """The limit with each of its leaves changed."""

    def inner(part: Limit) -> Limit:
        return _with_leaves(part, change)

    match limit.rule:
        case AllOf(parts):
            return replace(limit, rule=AllOf(tuple(map(inner, parts))))
        case AnyOf(parts):
            return replace(limit, rule=AnyOf(tuple(map(inner, parts))))
        case Given(condition, then):
            return replace(limit, rule=Given(inner(condition), inner(then)))
    return change(limit)


def cure_rows(limits: "Iterable[Limit]") -> tuple[CureRule, ...] | None:
    """The rows of a plan's `cure` limits; None where it has no such limit."""
    rules = [leaf.rule for limit in limits for leaf in limit.leaves()]
    cures = [rule for rule in rules if isinstance(rule, Cure)]
    return tuple(row for rule in cures for row in rule.rows) if cures else None


def asks_for_nitrite(rule: "Rule") -> bool:
    """Whether a rule wants nitrite in the finished fish, which only fish on a row may have."""
    return isinstance(rule, Measured) and rule.quantity == NITRITE and rule.low is not None


def knowing_cures(limit: Limit, rows: tuple[CureRule, ...] | None) -> Limit:
    """The limit, each leaf that wants nitrite in the fish knowing in which fish the plan permits it."""

    def told(leaf: Limit) -> Limit:
        return replace(leaf, permitted=rows) if asks_for_nitrite(leaf.rule) else leaf

    return limit if rows is None else _with_leaves(limit, told)


Data = Mapping[str, Any]


def limit_from(data: Data, of: str = "place", path: str = "") -> Limit:
    """The limit that a plan's data states.

    Args:
        data: as in a plan file: id, kind, of, and the kind's own keys; quantities as text with unit.
        of: what it is held against when the data does not say.
        path: id of the limit it is a part of.
    Raises:
        BadLimit: a key is missing, a figure cannot be read, or the bounds contradict each other.
    """
    name = f"{path}/{data.get('id', '?')}" if path else str(data.get("id", "?"))
    try:
        subject = str(data.get("of", of))
        if subject not in SUBJECTS:
            raise BadLimit(f"“of” must be one of {', '.join(SUBJECTS)}, not “{subject}”")
        return Limit(
            id=name,
            kind=_text(data, "kind"),
            rule=_rule(data, subject, name),
            of=subject,
            probes=_whole(data.get("probes", 1)),
            window=_window(str(data.get("window", "whole step")), _text(data, "kind")),
            operating=_operating(data, subject, name),
            source=str(data.get("source", "")),
            flag=str(data.get("flag", "")),
        )
    except BadQuantity as error:
        raise BadLimit(f"{name}: {error}") from error
    except BadLimit as error:
        raise BadLimit(str(error) if str(error).startswith(name) else f"{name}: {error}") from error


def _whole(value: object) -> int:
    text = str(value)
    if not text.isdigit() or int(text) < 1:
        raise BadLimit(f"“probes” must be a whole number of at least 1, not “{text}”")
    return int(text)


def _text(data: Data, key: str) -> str:
    value = data.get(key)
    if not isinstance(value, str) or not value.strip():
        raise BadLimit(f"“{key}” is missing")
    return value.strip()


def _operating(data: Data, of: str, name: str) -> Rule | None:
    stricter = data.get("operating")
    if not stricter:
        return None
    return _rule({**data, **stricter}, of, name)


_NEED_SEVERAL: Final = ("maintained", "lethality", "exposure", "cooling", "every")


def _window(text: str, kind: str) -> Window:
    if text in ("first reading", "last reading") and kind in _NEED_SEVERAL:
        raise BadLimit(
            f"“window” cannot be the {text} for “{kind}”: it needs more than one reading"
        )
    if text in ("whole step", "first reading", "last reading"):
        return Window(text)
    if text.startswith("after "):
        return Window("after", read_span(text.removeprefix("after ")))
    raise BadLimit(f"“window” must be whole step, first reading, last reading or after …: “{text}”")


def _rule(data: Data, of: str, name: str) -> Rule:
    kind = _text(data, "kind")
    read = _READERS.get(kind)
    if read is None:
        known = ", ".join(_READERS)
        raise BadLimit(f"the kind “{kind}” is not one of {known}")
    if kind in _ONCE_BARE and not any(data.get(key) for key in _ONCE_BARE[kind]):
        return NotJudged(kind)
    return read(data, of, name)


def _temperature(data: Data, key: str) -> Bound | None:
    return read_temperature(str(data[key])) if data.get(key) else None


def _at_most(data: Data, of: str, name: str) -> Rule:
    return Within(None, read_temperature(_text(data, "at_most")))


def _at_least(data: Data, of: str, name: str) -> Rule:
    return Within(read_temperature(_text(data, "at_least")), None)


def _between(data: Data, of: str, name: str) -> Rule:
    low = read_temperature(_text(data, "at_least"))
    high = read_temperature(_text(data, "at_most"))
    _ordered(low, high)
    return Within(low, high)


def _ordered(low: Bound | None, high: Bound | None) -> None:
    if low and high and (low.c > high.c or low.f > high.f):
        raise BadLimit(f"at least {low.text} and at most {high.text} cannot both hold")


def _maintained(data: Data, of: str, name: str) -> Rule:
    low, high = _temperature(data, "at_least"), _temperature(data, "at_most")
    if (low is None) == (high is None):
        raise BadLimit("“maintained” needs either at_least (heat) or at_most (freezing)")
    gap = read_span(str(data["longest_gap"])) if data.get("longest_gap") else None
    return Maintained(low, high, read_span(_text(data, "for")), gap)


def _gap_of(data: Data) -> int | None:
    return read_span(str(data["longest_gap"])) if data.get("longest_gap") else None


def _more_than_none(data: Data, key: str) -> int:
    span = read_span(_text(data, key))
    if span <= 0:
        raise BadLimit(f"“{key}” must be longer than nothing, not “{data[key]}”")
    return span


def _lethality(data: Data, of: str, name: str) -> Rule:
    z = _text(data, "z")
    above = str(data.get("z_above") or "")
    reference, lowest = read_temperature(_text(data, "reference")), _temperature(data, "lowest")
    small, large = read_difference(z), read_difference(above or z)
    if min(small, large) <= 0:
        raise BadLimit(f"“z” must be a temperature difference above 0, not “{z}”")
    text = f"{z} below the reference and {above} above it" if above and above != z else z
    least = _more_than_none(data, "at_least")
    return Lethality(least, reference, small, large, lowest, _gap_of(data), text)


def _exposure(data: Data, of: str, name: str) -> Rule:
    above, up_to = read_temperature(_text(data, "above")), _temperature(data, "up_to")
    if up_to and (up_to.c <= above.c or up_to.f <= above.f):
        raise BadLimit(f"above {above.text} and up to {up_to.text} leaves nothing between")
    steps = data.get("steps") or ()
    if isinstance(steps, str):
        steps = [step.strip() for step in steps.split(",") if step.strip()]
    if len(set(steps)) != len(steps):
        raise BadLimit("“steps” names a step twice")
    most = read_span(_text(data, "at_most"))
    return Exposure(above, up_to, most, _gap_of(data), tuple(map(str, steps)))


def _accurate(data: Data, of: str, name: str) -> Rule:
    text = str(data.get("tolerance") or "")
    tolerance = read_difference(text) if text else None
    if tolerance is not None and tolerance < 0:
        raise BadLimit(f"“tolerance” must not be below 0, as “{text}” is")
    return Accurate(_more_than_none(data, "within"), tolerance, text)


def _cooling(data: Data, of: str, name: str) -> Rule:
    start = _text(data, "from")
    begin = None if start == "end of the step before" else read_temperature(start)
    stages = tuple(
        Stage(
            read_temperature(_text(stage, "to")),
            read_span(_text(stage, "within")),
            stage.get("counted_from", "the start") == "the start",
        )
        for stage in data.get("stages", ())
    )
    if not stages:
        raise BadLimit("“cooling” needs at least one stage")
    _falling(begin, stages)
    return Cooling(begin, stages)


def _falling(begin: Bound | None, stages: tuple[Stage, ...]) -> None:
    above = begin
    from_start = 0
    for stage in stages:
        if above and (stage.to.c >= above.c or stage.to.f >= above.f):
            raise BadLimit(f"cooling from {above.text} to {stage.to.text} does not go down")
        if stage.from_start and stage.within_ms <= from_start:
            raise BadLimit("a later stage counted from the start needs a longer time")
        from_start = max(from_start, stage.within_ms) if stage.from_start else from_start
        above = stage.to


def _spans(data: Data, *keys: str) -> list[int | None]:
    return [read_span(str(data[key])) if data.get(key) else None for key in keys]


def _duration(data: Data, of: str, name: str) -> Rule:
    least, longer, most = _spans(data, "at_least", "longer_than", "at_most")
    floor = max((span for span in (least, longer) if span is not None), default=None)
    if floor is None and most is None:
        raise BadLimit("“duration” needs at_least, longer_than or at_most")
    if floor is not None and most is not None and floor > most:
        raise BadLimit(
            f"at least {show_span(floor)} and at most {show_span(most)} cannot both hold"
        )
    return Duration(least, longer, most)


def _every(data: Data, of: str, name: str) -> Rule:
    within, file_within = _spans(data, "within", "file_within")
    if not within:
        raise BadLimit("“every” needs “within”, the longest time between readings")
    return Every(within, file_within)


def _measured(data: Data, of: str, name: str) -> Rule:
    quantity = _text(data, "quantity")
    low, high = (
        read_quantity(str(data[key]), quantity) if data.get(key) else None
        for key in ("at_least", "at_most")
    )
    if low is None and high is None:
        raise BadLimit("“measured” needs at_least, at_most or both")
    _ordered(low, high)
    laboratory, sampled = _yes(data, "laboratory"), _yes(data, "when_sampled")
    verified = _more_than_none(data, "verified_within") if data.get("verified_within") else None
    if (sampled or verified) and not laboratory:
        key = "when_sampled" if sampled else "verified_within"
        raise BadLimit(f"“{key}” is of what a laboratory finds: say that it is by a laboratory")
    if sampled and verified:
        raise BadLimit("“when_sampled” and a verification of the process exclude each other")
    return Measured(quantity, low, high, laboratory, verified, sampled)


def _yes(data: Data, key: str) -> bool:
    return str(data.get(key, "")) in ("yes", "True", "1")


def _declared(data: Data, of: str, name: str) -> Rule:
    return Declared(_more_than_none(data, "longer_than"))


def _cure(data: Data, of: str, name: str) -> Rule:
    try:
        return Cure(cure_rules(data), str(data.get("rule") or ""))
    except BadCure as error:
        raise BadLimit(str(error)) from error


def _followed(data: Data, of: str, name: str) -> Rule:
    return Followed(_text(data, "by"), _more_than_none(data, "within"))


def _observed(data: Data, of: str, name: str) -> Rule:
    return Observed(_text(data, "what"))


def _parts(data: Data, of: str, name: str) -> tuple[Limit, ...]:
    parts = tuple(
        limit_from({"id": str(number), **part}, of, name)
        for number, part in enumerate(data.get("limits", ()), 1)
    )
    if len(parts) < len(("one", "other")):
        raise BadLimit(f"“{data['kind']}” needs at least two limits")
    if len({part.id for part in parts}) != len(parts):
        raise BadLimit("two of its limits have the same id")
    return parts


def _all_of(data: Data, of: str, name: str) -> Rule:
    return AllOf(_parts(data, of, name))


def _any_of(data: Data, of: str, name: str) -> Rule:
    return AnyOf(_parts(data, of, name))


def _given(data: Data, of: str, name: str) -> Rule:
    if not isinstance(data.get("if"), Mapping) or not isinstance(data.get("then"), Mapping):
        raise BadLimit("“given” needs “if” and “then”, each a limit")
    return Given(
        limit_from({"id": "if", **data["if"]}, of, name),
        limit_from({"id": "then", **data["then"]}, of, name),
    )


_READERS: Final = {
    "at most": _at_most,
    "at least": _at_least,
    "between": _between,
    "maintained": _maintained,
    "lethality": _lethality,
    "exposure": _exposure,
    "cooling": _cooling,
    "duration": _duration,
    "every": _every,
    "measured": _measured,
    "observed": _observed,
    "accurate": _accurate,
    "declared": _declared,
    "cure": _cure,
    "followed": _followed,
    "all of": _all_of,
    "any of": _any_of,
    "given": _given,
}
KINDS: Final = tuple(_READERS)
# kinds that plans of rules 1 could name without figures, with the keys of these
_ONCE_BARE: Final = {
    "lethality": ("at_least", "reference", "z"),
    "exposure": ("above", "at_most"),
    "accurate": ("within",),
}


def _bounds_looser(critical: Any, operating: Any) -> bool:
    low, high = critical.low, critical.high
    return bool(
        (low and (not operating.low or operating.low.c < low.c or operating.low.f < low.f))
        or (high and (not operating.high or operating.high.c > high.c or operating.high.f > high.f))
    )


def _fewer(operating: int | None, critical: int | None) -> bool:
    return critical is not None and (operating is None or operating < critical)


def _more(operating: int | None, critical: int | None) -> bool:
    return critical is not None and (operating is None or operating > critical)


def looser(critical: Rule, operating: Rule) -> bool:
    """Whether an operating limit asks for less than its critical limit, in any respect.

    In doubt (another kind, or a combination whose parts do not pair) it counts as looser.
    """
    match critical, operating:
        case (Within(), Within()):
            return _bounds_looser(critical, operating)
        case (Measured(), Measured()):
            return (
                critical.quantity != operating.quantity
                or _bounds_looser(critical, operating)
                or _asked_less(critical, operating)
            )
        case (Declared(), Declared()):
            return operating.longer_than_ms > critical.longer_than_ms
        case (Followed(), Followed()):
            return operating.by != critical.by or operating.within_ms > critical.within_ms
        case (Maintained(), Maintained()):
            return (
                _bounds_looser(critical, operating)
                or operating.for_ms < critical.for_ms
                or _more(operating.longest_gap_ms, critical.longest_gap_ms)
            )
        case (Cooling(), Cooling()):
            return len(critical.stages) != len(operating.stages) or any(
                ours.to.c > theirs.to.c
                or ours.to.f > theirs.to.f
                or ours.within_ms > theirs.within_ms
                or ours.from_start != theirs.from_start
                for theirs, ours in zip(critical.stages, operating.stages, strict=True)
            )
        case (Duration(), Duration()):
            return (
                _fewer(operating.at_least_ms, critical.at_least_ms)
                or _fewer(operating.longer_than_ms, critical.longer_than_ms)
                or _more(operating.at_most_ms, critical.at_most_ms)
            )
        case (Every(), Every()):
            return operating.within_ms > critical.within_ms
        case (Lethality(), Lethality()):
            return _less_lethal(critical, operating)
        case (Exposure(), Exposure()):
            return _more_exposed(critical, operating)
        case (Accurate(), Accurate()):
            return operating.within_ms > critical.within_ms or _more(
                operating.tolerance, critical.tolerance
            )
    return True


def _asked_less(critical: Measured, operating: Measured) -> bool:
    """Whether the operating limit is content with less than a laboratory's result, or with an older one."""
    return (
        (critical.laboratory and not operating.laboratory)
        or (operating.when_sampled and not critical.when_sampled)
        or _later_will_do(operating.verified_within_ms, critical.verified_within_ms)
    )


def _later_will_do(operating: int | None, critical: int | None) -> bool:
    return operating is not None and (critical is None or operating > critical)


def _less_lethal(critical: Lethality, operating: Lethality) -> bool:
    """Another reference or z counts as looser: the two cannot be compared in general."""
    same = (operating.reference, operating.z, operating.z_above) == (
        critical.reference,
        critical.z,
        critical.z_above,
    )
    lowest = critical.lowest is not None and (
        operating.lowest is None
        or operating.lowest.c < critical.lowest.c
        or operating.lowest.f < critical.lowest.f
    )
    gap = _more(operating.longest_gap_ms, critical.longest_gap_ms)
    return not same or lowest or gap or operating.at_least_ms < critical.at_least_ms


def _more_exposed(critical: Exposure, operating: Exposure) -> bool:
    narrower = (
        operating.above.c > critical.above.c
        or operating.above.f > critical.above.f
        or (
            operating.up_to is not None
            and (
                critical.up_to is None
                or operating.up_to.c < critical.up_to.c
                or operating.up_to.f < critical.up_to.f
            )
        )
    )
    gap = _more(operating.longest_gap_ms, critical.longest_gap_ms)
    fewer = not set(critical.steps) <= set(operating.steps)
    return narrower or gap or fewer or operating.at_most_ms > critical.at_most_ms


def _bounds_words(low: Bound | None, high: Bound | None) -> str:
    words = [f"at least {low.text}"] if low else []
    words += [f"at most {high.text}"] if high else []
    return " and ".join(words)


def _stage_words(stage: Stage) -> str:
    counted = "from the start" if stage.from_start else "from the stage before"
    return f"to {stage.to.text} within {show_span(stage.within_ms)} counted {counted}"


def rule_words(rule: Rule) -> str:
    """What a rule demands, without its subject, e.g. "at least 145 °F (62.8 °C) for 30 min"."""
    match rule:
        case Within(low, high):
            return _bounds_words(low, high)
        case Maintained(low, high, for_ms, gap):
            tail = f", readings no more than {show_span(gap)} apart" if gap else ""
            return f"{_bounds_words(low, high)} for {show_span(for_ms)} without a break{tail}"
        case Cooling(begin, stages):
            start = f"from {begin.text}" if begin else "from the end of the step before"
            return f"cooled {start} " + ", then ".join(map(_stage_words, stages))
        case Duration(least, longer, most):
            words = [f"at least {show_span(least)}"] if least is not None else []
            words += [f"longer than {show_span(longer)}"] if longer is not None else []
            words += [f"at most {show_span(most)}"] if most is not None else []
            return " and ".join(words)
        case Every(within, file_within):
            tail = (
                f"; a logger's file within {show_span(file_within)} of the end"
                if file_within
                else ""
            )
            return f"a reading at least every {show_span(within)}{tail}"
        case Measured():
            return _measured_words(rule)
        case Declared(longer):
            return f"declared at its start, where it lasts longer than {show_span(longer)}"
        case Cure(rows, number):
            return _cure_words(rows, number)
        case Followed(by, within):
            return f"all of it in a load of {by} within {show_span(within)} of the start"
        case Observed(what):
            return f"looked for and found so: {what}"
        case AllOf(parts):
            return "; and ".join(demand(part) for part in parts)
        case AnyOf(parts):
            return "either " + ", or ".join(demand(part) for part in parts)
        case Given(condition, then):
            return f"where {demand(condition)}: {demand(then)}"
        case NotJudged(kind):
            return f"{kind}: its figures are not stated, so it is kept and printed, not judged"
        case Lethality():
            return _lethality_words(rule)
        case Exposure():
            return _exposure_words(rule)
        case Accurate(within, _, text):
            off = f"no further off than {text}" if text else "within its tolerance"
            return (
                f"each instrument used checked no longer than {show_span(within)} before, and {off}"
            )


def _measured_words(rule: Measured) -> str:
    by = " by the laboratory" if rule.laboratory else ""
    words = f"{rule.quantity} {_bounds_words(rule.low, rule.high)}, measured{by}"
    if rule.verified_within_ms is not None:
        span = show_span(rule.verified_within_ms)
        words += f" in the lot, or in a verification of the process within {span} of it"
    return f"{words}, where the lot was sampled for it" if rule.when_sampled else words


def _cure_words(rows: tuple[CureRule, ...], number: str) -> str:
    tail = f" ({number})" if number else ""
    if not rows:
        return f"{NITRITE} goes into no fish{tail}"
    each = "; ".join(f"{row.words}, {row.bounds} by {row.rule}" for row in rows)
    return f"{NITRITE} goes into no fish but {each}, as the laboratory finds it{tail}"


def _gap_words(gap: int | None) -> str:
    return f", readings no more than {show_span(gap)} apart" if gap else ""


def _lethality_words(rule: Lethality) -> str:
    tail = f", nothing below {rule.lowest.text} counted" if rule.lowest else ""
    return (
        f"heat equivalent to at least {show_span(rule.at_least_ms)} at {rule.reference.text} "
        f"(z {rule.z_text}){tail}{_gap_words(rule.longest_gap_ms)}"
    )


def _exposure_words(rule: Exposure) -> str:
    band = f"above {rule.above.text}" + (f" up to {rule.up_to.text}" if rule.up_to else "")
    over = f", over {', '.join(rule.steps)} and the time between together" if rule.steps else ""
    most = show_span(rule.at_most_ms)
    return f"{band} for no more than {most} in all{over}{_gap_words(rule.longest_gap_ms)}"


def _window_words(window: Window) -> str:
    match window.which:
        case "first reading":
            return " at the first reading"
        case "last reading":
            return " at the last reading"
        case "after":
            return f" from {show_span(window.after_ms)} after the start on"
    return ""


def demand(limit: Limit) -> str:
    """What the limit demands, in one plain sentence without a full stop."""
    rule = limit.rule
    words = rule_words(rule) + _window_words(limit.window)
    if isinstance(rule, Duration):
        return f"the step lasts {words}"
    if isinstance(rule, Declared):
        return f"the step is {words}"
    if isinstance(rule, Within | Maintained | Lethality | Exposure | Cooling | Every):
        probes = f" (at least {limit.probes} of them)" if limit.probes > 1 else ""
        return f"{SUBJECTS[limit.of]}{probes}: {words}"
    return words


def operating_demand(limit: Limit) -> str:
    """What the operating limit asks, or "" where there is none."""
    return rule_words(limit.operating) if limit.operating else ""
