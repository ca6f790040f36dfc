"""What bars a plan's limits from being published: unreadable, unsourced, looser, unwatched, contradicting."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from lots.core.cure import cure_rule, permitted_faults
from lots.core.lethality import BILLIONTHS, lethal_rate
from lots.core.limits import (
    SUBJECTS,
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
    Rule,
    Window,
    Within,
    asks_for_nitrite,
    cure_rows,
    demand,
    limit_from,
    looser,
    operating_demand,
)
from lots.core.plan_content import (
    BOTULINUM,
    FLAGS,
    NOT_BOTULINUM,
    PUBLISHED,
    REDUCED_OXYGEN,
    SALTING,
    TO_CONFIRM,
    Content,
    Fault,
    bad_id,
    join,
    missing,
    rows,
    said,
    twice,
)
from lots.core.units import Bound, show_minutes, show_span

_COMBINED: Final = ("all of", "any of")
# fields that a refusal calls by their name
_NAMED: Final = (
    "of",
    "probes",
    "window",
    "steps",
    "z",
    "at_least",
    "within",
    "tolerance",
    "longer_than",
    "verified_within",
    "when_sampled",
)
_OF_STAGE: Final = ("to", "within")
_NOT_READ: Final = ("id", "kind", "what", "source", "flag")


@dataclass(frozen=True, slots=True)
class Placed:
    """A limit with the path of the data that it was read from."""

    limit: Limit
    path: str


def limit_faults(content: Content) -> list[Fault]:
    """Everything about the limits that bars this plan from being published.

    Args:
        content: a plan's content of the right shape (`misshapen` finds nothing).
    """
    placed, unread = _read_limits(content)
    return [
        *unread,
        *_limit_ids(content),
        *_sources(content),
        *_looser(placed),
        *_by_step(content, placed),
        *_over_steps(content, placed),
        *_listeria_alone(content, placed),
        *_frozen(content, placed),
        *_cures(content, placed),
        *_nitrite_ways(content, placed),
        *_at_salting(content, placed),
        *_followed(content, placed),
        *_salt_of_packs(content, placed),
    ]


def _read_limits(content: Content) -> tuple[list[tuple[str, Placed]], list[Fault]]:
    """The limits that can be read, each with its step's id, and the faults of those that cannot."""
    good: list[tuple[str, Placed]] = []
    bad: list[Fault] = []
    for path, point in rows(content, "control_points"):
        for below, data in rows(point, "limits", path):
            unread = [*_unreadable(data, below)]
            bad += unread
            if not unread:
                good.append((said(point, "step"), Placed(limit_from(data), below)))
    return good, bad


def _parts(data: Content, path: str) -> list[tuple[str, Content]]:
    kind = said(data, "kind")
    if kind in _COMBINED:
        return rows(data, "limits", path)
    if kind == "given":
        return [(join(path, key), data[key]) for key in ("if", "then") if key in data]
    return []


def _unreadable(data: Content, path: str) -> Iterator[Fault]:
    inner = [fault for below, part in _parts(data, path) for fault in _unreadable(part, below)]
    if said(data, "kind") == "cure":
        inner = [Fault(join(path, below), text) for below, text in permitted_faults(data)]
    if inner:
        yield from inner
        return
    text = _refusal(data)
    if not text:
        yield from _no_gap(data, path)
    elif "operating" in data and not _refusal(_without_operating(data)):
        yield _beside_field(data["operating"], join(path, "operating"), text)
    else:
        yield _beside_field(data, path, text)


def _refusal(data: Content) -> str:
    """Why the limit cannot be read; "" where it can."""
    try:
        limit_from(data)
    except BadLimit as error:
        return str(error).removeprefix(f"{data.get('id', '?')}: ").rstrip(".")
    except ValueError:  # figures in digits of another script, or thousands of them
        return "A figure of this limit cannot be read: type it again"
    return ""


def _without_operating(data: Content) -> Content:
    return {key: value for key, value in data.items() if key != "operating"}


def _no_gap(data: Content, path: str) -> Iterator[Fault]:
    limit = limit_from(data)
    rule = limit.rule
    if isinstance(rule, Maintained | Lethality) and rule.longest_gap_ms is None:
        text = "Say how far apart two readings may be for the time between them to count."
        yield Fault(join(path, "longest_gap"), text)
    if isinstance(rule, Exposure) and rule.longest_gap_ms is None:
        text = "Say how far apart two readings may be before the time between them counts whole."
        yield Fault(join(path, "longest_gap"), text)
    if isinstance(rule, NotJudged):
        yield Fault(path, f"Fill in the figures of this limit ({rule.kind}).")
    if limit.operating is not None and isinstance(rule, AllOf | AnyOf | Given | Observed | Cure):
        text = "A combination has no operating limit of its own: give one to its parts."
        if isinstance(rule, Observed):
            text = "What is looked for is found so or not: it has no operating limit."
        if isinstance(rule, Cure):
            text = "Where nitrite may go is the law's to say: it has no operating limit."
        yield Fault(join(path, "operating"), text)


def _beside_field(data: Content, path: str, text: str) -> Fault:
    quoted = re.search("“(.*?)”", text)
    words = quoted[1] if quoted else ""
    if words and text.endswith("” is missing"):
        return Fault(join(path, _gap(data, words)), f"Fill in “{words.replace('_', ' ')}”.")
    if text.startswith("the kind “"):
        return Fault(join(path, "kind"), f"Check this limit: {text}.")
    if words in _NAMED and text.startswith("“"):
        return Fault(join(path, words), f"Check this limit: {text}.")
    named = next((key for key, value in _figures(data) if words and words in value), "")
    return Fault(join(path, named) if named else path, f"{text[:1].upper()}{text[1:]}.")


def _gap(data: Content, key: str) -> str:
    """Where the missing field is: in the limit, or in the first stage that lacks it."""
    stages = [path for path, stage in rows(data, "stages") if not said(stage, key)]
    return join(stages[0], key) if stages and key in _OF_STAGE else key


def _figures(data: Content) -> Iterator[tuple[str, str]]:
    """The texts that a limit is read from, with their paths, stages included."""
    for key, value in data.items():
        if isinstance(value, str) and key not in _NOT_READ:
            yield key, value
    for path, stage in rows(data, "stages"):
        yield from ((join(path, key), str(value)) for key, value in stage.items())


def _limit_ids(content: Content) -> Iterator[Fault]:
    found = [
        row
        for path, point in rows(content, "control_points")
        for row in rows(point, "limits", path)
    ]
    for path, row in found:
        yield from bad_id(row, path)
    yield from twice(found, "id", "limits")


def _sources(content: Content) -> Iterator[Fault]:
    for path, point in rows(content, "control_points"):
        for below, data in rows(point, "limits", path):
            yield from _unsourced(data, below, {})


def _unsourced(data: Content, path: str, above: Content) -> Iterator[Fault]:
    own = {key: said(data, key) or said(above, key) for key in ("source", "flag")}
    parts = _parts(data, path)
    for below, part in parts:
        yield from _unsourced(part, below, own)
    if not parts:
        yield from _no_source(own, path)
    operating = data.get("operating")
    if operating:
        yield from _no_source(operating, join(path, "operating"))


def _no_source(data: Content, path: str) -> Iterator[Fault]:
    yield from missing(data, path, {"source": "Say where this limit comes from."})
    if said(data, "flag") not in FLAGS:
        text = f"Say whether this limit is {PUBLISHED} or {TO_CONFIRM} by the trained person."
        yield Fault(join(path, "flag"), text)


def _nodes(placed: Placed) -> Iterator[Placed]:
    """The limit and all that it is combined from."""
    yield placed
    for part in _inner(placed):
        yield from _nodes(part)


def _inner(placed: Placed) -> list[Placed]:
    match placed.limit.rule:
        case AllOf(parts) | AnyOf(parts):
            at = join(placed.path, "limits")
            return [Placed(part, join(at, number)) for number, part in enumerate(parts)]
        case Given(condition, then):
            return [
                Placed(condition, join(placed.path, "if")),
                Placed(then, join(placed.path, "then")),
            ]
    return []


def _looser(placed: list[tuple[str, Placed]]) -> Iterator[Fault]:
    for _, whole in placed:
        for node in _nodes(whole):
            limit = node.limit
            if limit.operating and looser(limit.rule, limit.operating):
                yield Fault(
                    join(node.path, "operating"),
                    f"The operating limit ({operating_demand(limit)}) is looser than the critical "
                    f"limit ({demand(limit)}), or cannot be compared with it: make it stricter, or "
                    "leave it out.",
                )


@dataclass(frozen=True, slots=True)
class _Group:
    """Limits that bind at the same time: those new at this level, and all that bind with them."""

    new: list[Placed]
    together: list[Placed]
    condition: bool


def _groups(placed: list[Placed], outer: list[Placed], condition: bool = False) -> Iterator[_Group]:
    leaves: list[Placed] = []
    branches: list[tuple[Placed, bool]] = []
    todo = placed[::-1]
    while todo:
        one = todo.pop()
        match one.limit.rule:
            case AllOf():
                todo += _inner(one)[::-1]
            case AnyOf():
                branches += [(part, condition) for part in _inner(one)]
            case Given():
                first, then = _inner(one)
                branches += [(first, True), (then, condition)]
            case _:
                leaves.append(one)
    together = [*outer, *leaves]
    yield _Group(leaves, together, condition)
    for branch, is_condition in branches:
        yield from _groups([branch], together, is_condition)


def _by_step(content: Content, placed: list[tuple[str, Placed]]) -> Iterator[Fault]:
    kept_by_logger = {said(r, "id"): said(r, "logger") == "yes" for _, r in rows(content, "steps")}
    for step in Counter(name for name, _ in placed):
        for group in _groups([one for name, one in placed if name == step], []):
            yield from _not_watched(group)
            yield from _file_times(group, kept_by_logger.get(step))
            if not group.condition:
                yield from _contradictions(group)
                yield from _too_cool(group)


def _not_watched(group: _Group) -> Iterator[Fault]:
    watched = {one.limit.of for one in group.together if isinstance(one.limit.rule, Every)}
    for one in group.new:
        if (
            isinstance(one.limit.rule, Within | Maintained | Lethality | Exposure | Cooling)
            and one.limit.of not in watched
        ):
            yield Fault(
                one.path,
                f"Say how often this is read: add a limit of the kind “every” for the "
                f"{one.limit.of} at this step.",
            )


def _file_times(group: _Group, by_logger: bool | None) -> Iterator[Fault]:
    for one in group.new:
        if not isinstance(one.limit.rule, Every) or by_logger is None:
            continue
        waits = one.limit.rule.file_within_ms is not None
        if by_logger and not waits:
            text = "A data logger records this step: say how long after it the file may follow."
            yield Fault(join(one.path, "file_within"), text)
        if waits and not by_logger:
            text = "No data logger records this step: leave this empty, or say so at the step."
            yield Fault(join(one.path, "file_within"), text)


def _contradictions(group: _Group) -> Iterator[Fault]:
    everything = _with_operating(group.together)
    new = {one.path for one in _with_operating(group.new)}
    for number, one in enumerate(everything):
        if one.path not in new:
            continue
        other = next((o for o in everything[: number + 1] if _clash(o.limit, one.limit)), None)
        if other is not None:
            yield Fault(
                one.path,
                f"“{demand(other.limit)}” and “{demand(one.limit)}” cannot both hold: change one."
                if other.path != one.path
                else f"“{demand(one.limit)}” can never hold: change it.",
            )


def _with_operating(placed: list[Placed]) -> list[Placed]:
    out: list[Placed] = []
    for one in placed:
        out.append(one)
        if one.limit.operating:
            stricter = replace(one.limit, rule=one.limit.operating, operating=None)
            out.append(Placed(stricter, join(one.path, "operating")))
    return out


def _clash(one: Limit, other: Limit) -> bool:
    """Whether no readings could ever meet both."""
    return _excludes(one, other) or _excludes(other, one)


def _excludes(one: Limit, other: Limit) -> bool:
    first: Rule = one.rule
    match first, other.rule:
        case Duration(), Duration(at_most_ms=most):
            return _too_long(first, most)
        case Maintained(for_ms=for_ms), Duration(at_most_ms=most):
            return most is not None and for_ms > most
        case Measured(quantity=quantity, low=low), Measured(quantity=same, high=high):
            return quantity == same and _above(low, high)
    return one.of == other.of and _temperatures_exclude(one, other)


def _temperatures_exclude(one: Limit, other: Limit) -> bool:
    match one.rule, other.rule:
        case Within(low=low), Within(high=high):
            return _meet(one.window, other.window) and _above(low, high)
        case Maintained(low=warm, high=cold), Within(low=low, high=high):
            return other.window.which in ("whole step", "after") and (
                _above(warm, high) or _above(low, cold)
            )
        case Cooling(stages=stages), Within(low=low):
            return other.window.which in ("whole step", "last reading") and _above(
                low, stages[-1].to
            )
        case Lethality(lowest=lowest), Within(high=high):
            return other.window.which == "whole step" and _above(lowest, high)
        case Maintained(low=low, for_ms=for_ms), Exposure(above, None, most):
            return _above(low, above) and for_ms > most
    return False


def _too_cool(group: _Group) -> Iterator[Fault]:
    """Equivalent time that cannot be had within the warmest and the longest that the step may be."""
    longest = [
        rule.at_most_ms
        for one in group.together
        if isinstance(rule := one.limit.rule, Duration) and rule.at_most_ms is not None
    ]
    for one in group.new:
        rule, of = one.limit.rule, one.limit.of
        warmest = [
            limit.rule.high
            for limit in (other.limit for other in group.together)
            if isinstance(limit.rule, Within)
            and (limit.of, limit.window.which) == (of, "whole step")
            and limit.rule.high is not None
        ]
        if not isinstance(rule, Lethality) or not longest or not warmest:
            continue
        top = min(warmest, key=lambda bound: bound.f)
        most = Fraction(min(longest) * max(_rate(rule, top.f), _rate(rule, top.c)), BILLIONTHS)
        if most < rule.at_least_ms:
            yield Fault(
                join(one.path, "at_least"),
                f"Even {top.text} throughout {show_span(min(longest))} would be equivalent to only "
                f"{show_minutes(int(most))} at {rule.reference.text}: change one of the limits.",
            )


def _rate(rule: Lethality, ninths: int) -> int:
    """The rate at a temperature, in the processor's favour where a limit has two references."""
    reference = min(rule.reference.c, rule.reference.f)
    z = rule.z if ninths < reference else rule.z_above
    return lethal_rate(ninths, reference, z) + 1


def _over_steps(content: Content, placed: list[tuple[str, Placed]]) -> Iterator[Fault]:
    """Exposures over several steps: which steps these are, and whether each is read."""
    names = {said(row, "id"): said(row, "name") for _, row in rows(content, "steps")}
    watched = {
        (step, one.limit.of)
        for step in names
        for one in next(_groups([one for name, one in placed if name == step], [])).new
        if isinstance(one.limit.rule, Every)
    }
    for own, whole in placed:
        for node in _nodes(whole):
            rule = node.limit.rule
            if isinstance(rule, Exposure) and rule.steps:
                inside = node.limit is not whole.limit
                text = _wrong_steps(rule.steps, own, list(names), names, inside)
                text = text or _unread_step(rule.steps, own, node.limit.of, names, watched)
                if text:
                    yield Fault(join(node.path, "steps"), text)


def _wrong_steps(
    steps: tuple[str, ...], own: str, order: list[str], names: Mapping[str, str], inside: bool
) -> str:
    """What is wrong with the steps of an exposure; one inside a combination is judged at its own step
    alone, so that nothing may come after it."""
    unknown = [step for step in steps if step not in names]
    if unknown:
        return f"There is no step “{unknown[0]}”: choose steps of the plan."
    if own not in names:
        return ""  # the control point's own fault says so
    if own not in steps:
        return f"Its own step, “{names[own]}”, must be one of these steps: add it."
    at = sorted(order.index(step) for step in steps)
    missing_one = next((n for n in range(at[0], at[-1]) if n not in at), None)
    if missing_one is not None:
        return (
            f"The steps must stand next to one another in the plan: “{names[order[missing_one]]}” "
            "is left out between them."
        )
    if inside and order[at[-1]] != own:
        return (
            f"Inside a combination it is judged at its own step, “{names[own]}”, with those before it: "
            f"leave out “{names[order[at[-1]]]}”, or give it a limit of its own."
        )
    return ""


def _unread_step(
    steps: tuple[str, ...],
    own: str,
    of: str,
    names: Mapping[str, str],
    watched: set[tuple[str, str]],
) -> str:
    unread = [names[step] for step in steps if step != own and (step, of) not in watched]
    if not unread:
        return ""
    return (
        f"Nobody has to read {SUBJECTS[of]} at “{unread[0]}”: add a control point there with a limit "
        f"of the kind “every” for the {of}, or leave the step out."
    )


def _listeria_alone(content: Content, placed: list[tuple[str, Placed]]) -> Iterator[Fault]:
    """Equivalent time as the only heat where smoking is to control C. botulinum."""
    kinds = {said(row, "id"): said(row, "hazard") for _, row in rows(content, "hazards")}
    smoking = {said(r, "id") for _, r in rows(content, "steps") if said(r, "kind") == "smoke"}
    for path, point in rows(content, "control_points"):
        named = {kinds.get(name) for name in point.get("hazards", [])}
        step = said(point, "step")
        if step not in smoking or BOTULINUM not in named:
            continue
        always = _always(step, placed)
        if any(isinstance(o.limit.rule, Maintained) and o.limit.rule.low for o in always):
            continue
        here = [one for _, one in placed if one.path.startswith(f"{path}.")]
        for node in (node for one in here for node in _nodes(one)):
            if isinstance(node.limit.rule, Lethality):
                yield Fault(node.path, f"{NOT_BOTULINUM} Add that heat as a limit of its own.")
                break


def _meet(one: Window, other: Window) -> bool:
    return one.which == other.which or "whole step" in (one.which, other.which)


def _above(low: Bound | None, high: Bound | None) -> bool:
    return bool(low and high and (low.c > high.c or low.f > high.f))


def _too_long(rule: Duration, most: int | None) -> bool:
    if most is None:
        return False
    least, longer = rule.at_least_ms, rule.longer_than_ms
    return (least is not None and least > most) or (longer is not None and longer >= most)


def _frozen(content: Content, placed: list[tuple[str, Placed]]) -> Iterator[Fault]:
    if said(content.get("product", {}), "storage") != "frozen":
        return
    for path, step in rows(content, "steps"):
        if said(step, "kind") == "storage" and not _below_freezing(said(step, "id"), placed):
            yield Fault(
                path,
                "The product is kept frozen, but no control point holds this step below freezing: add "
                "a limit such as at most 0 °F (−18 °C) for the place.",
            )


def _below_freezing(step: str, placed: list[tuple[str, Placed]]) -> bool:
    here = _always(step, placed)
    return any(
        isinstance(one.limit.rule, Within)
        and one.limit.rule.high is not None
        and one.limit.rule.high.c < 0
        and one.limit.window.which == "whole step"
        for one in here
    )


def _always(step: str, placed: list[tuple[str, Placed]]) -> list[Placed]:
    """The limits of a step that bind whatever else holds."""
    return next(_groups([one for name, one in placed if name == step], [])).new


# --- what goes into the fish, and where it goes ----------------------------------------------------


def _cures(content: Content, placed: list[tuple[str, Placed]]) -> Iterator[Fault]:
    """Steps at which nitrite could go in without anything being held against it."""
    stated = {  # whether it can be read or not: of one that cannot, its own faults tell
        said(point, "step")
        for _, point in rows(content, "control_points")
        if any(said(data, "kind") == "cure" for _, data in rows(point, "limits"))
    }
    for path, step in rows(content, "steps"):
        if said(step, "kind") not in SALTING or said(step, "id") in stated:
            continue
        if not any(isinstance(one.limit.rule, Cure) for one in _always(said(step, "id"), placed)):
            yield Fault(
                path,
                f"Nothing says in which fish nitrite may go at “{said(step, 'name')}”: add a limit of "
                "the kind “cure” to a control point there; without rows it permits nitrite in none.",
            )


def _nitrite_ways(content: Content, placed: list[tuple[str, Placed]]) -> Iterator[Fault]:
    """Limits that want nitrite in the finished fish where the plan permits it in none of its fish."""
    permitted = cure_rows(one.limit for _, one in placed)
    codes = [said(row, "code") for _, row in rows(content, "species")]
    if permitted is None or any(cure_rule(code, permitted) for code in codes):
        return
    for _, whole in placed:
        for node in _nodes(whole):
            if asks_for_nitrite(node.limit.rule):
                yield Fault(
                    node.path,
                    "This way needs nitrite in the fish, and no row of the limit “cure” permits it in "
                    "any of the plan's species: take this way out, or enter the rule that permits it.",
                )


def _at_salting(content: Content, placed: list[tuple[str, Placed]]) -> Iterator[Fault]:
    kinds = {said(row, "id"): said(row, "kind") for _, row in rows(content, "steps")}
    for step, whole in placed:
        for node in _nodes(whole):
            wrong = isinstance(node.limit.rule, Cure | Declared)
            if wrong and step in kinds and kinds[step] not in SALTING:
                yield Fault(
                    join(node.path, "kind"),
                    "Only of brining and dry-salting is this said and known: set it at such a step.",
                )


def _followed(content: Content, placed: list[tuple[str, Placed]]) -> Iterator[Fault]:
    order = [said(row, "id") for _, row in rows(content, "steps")]
    names = {said(row, "id"): said(row, "name") for _, row in rows(content, "steps")}
    for own, whole in placed:
        for node in _nodes(whole):
            rule = node.limit.rule
            if not isinstance(rule, Followed) or own not in names:
                continue
            if rule.by not in names:
                text = f"There is no step “{rule.by}”: choose one of the plan's steps."
                yield Fault(join(node.path, "by"), text)
            elif order.index(rule.by) <= order.index(own):
                text = (
                    f"“{names[rule.by]}” does not come after “{names[own]}”: choose a later step."
                )
                yield Fault(join(node.path, "by"), text)


def _salt_of_packs(content: Content, placed: list[tuple[str, Placed]]) -> Iterator[Fault]:
    """A pack without air that is kept chilled, and whose salt no laboratory has to show."""
    product = content.get("product", {})
    if said(product, "pack") not in REDUCED_OXYGEN or said(product, "storage") != "chilled":
        return
    if not any(shows_salt(one.limit) for _, one in placed):
        yield Fault(
            "control_points",
            "A chilled reduced-oxygen pack rests on its salt: add a limit on water-phase salt, at least "
            "so much, by a laboratory, that no other way goes round; or set storage to frozen.",
        )


WATER_PHASE_SALT: Final = "water-phase salt"


def shows_salt(limit: Limit) -> bool:
    """Whether the limit cannot be met without water-phase salt that a laboratory found."""
    match limit.rule:
        case AllOf(parts):
            return any(shows_salt(part) for part in parts)
        case AnyOf(parts):
            return all(shows_salt(part) for part in parts)
        case Measured(quantity, low, _, laboratory) as rule:
            asked = laboratory and low is not None and not rule.when_sampled
            return asked and quantity == WATER_PHASE_SALT
    return False
