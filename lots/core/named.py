"""A limit with the names of a plan's steps in place of their ids, so that it is said in the plan's words."""

from collections.abc import Mapping
from dataclasses import replace

from lots.core.limits import AllOf, AnyOf, Exposure, Followed, Given, Limit, Rule


def named(limit: Limit, names: Mapping[str, str]) -> Limit:
    """The limit to be said in words; it is not for judging.

    Args:
        names: step id → the step's name; an id that is not there stays.
    """
    operating = limit.operating
    return replace(
        limit,
        rule=_named(limit.rule, names),
        operating=None if operating is None else _named(operating, names),
    )


def _named(rule: Rule, names: Mapping[str, str]) -> Rule:
    match rule:
        case Exposure(steps=steps):
            return replace(rule, steps=tuple(f"“{names.get(one) or one}”" for one in steps))
        case Followed(by=by):
            return replace(rule, by=f"“{names.get(by) or by}”")
        case AllOf(parts):
            return AllOf(tuple(named(part, names) for part in parts))
        case AnyOf(parts):
            return AnyOf(tuple(named(part, names) for part in parts))
        case Given(condition, then):
            return Given(named(condition, names), named(then, names))
    return rule
