"""How often and how long a batch of brine may be used again, and which species lie in it alone.

A plan states it in its table `brining`; a plan without one says nothing of it.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from lots.core.plan_content import (
    FLAGS,
    YES_NO,
    Content,
    Fault,
    join,
    missing,
    not_one_of,
    rows,
    said,
)
from lots.core.units import BadQuantity, read_span, show_span

TABLE: Final = "brining"
_WHOLE: Final = re.compile(r"[1-9][0-9]{0,2}", re.ASCII)
_SPAN: Final = "Write a time with its unit, such as 4 h."


@dataclass(frozen=True, slots=True)
class Brining:
    """What a plan says of using a batch again; None where it says nothing.  `most_age_ms` counts from
    the batch's first load; `filtering_lifts` where a filtered batch may go on beyond it."""

    most_loads: int | None
    most_age_ms: int | None
    filtering_lifts: bool
    apart: tuple[str, ...]
    source: str
    flag: str

    @property
    def words(self) -> str:
        """The rule as a plan's page prints it; "" where nothing is limited."""
        said_so = []
        if self.most_loads is not None:
            said_so.append(f"a batch is used for at most {self.most_loads} loads")
        if self.most_age_ms is not None:
            longer = ", longer if it is filtered first" if self.filtering_lifts else ""
            span = show_span(self.most_age_ms)
            said_so.append(f"a load begins at most {span} after the batch's first{longer}")
        if self.apart:
            said_so.append(f"{', '.join(self.apart)} shares a batch with no other species")
        return "; ".join(said_so)


@dataclass(frozen=True, slots=True)
class Use:
    """A load that a batch was or is to be used for: when it began (ms UTC) and its species' codes."""

    at: int
    species: frozenset[str]


def brining_from(content: Content) -> Brining | None:
    """What a plan's content says of using a batch again; None where it has no such table.

    Args:
        content: a plan's content; a figure that cannot be read reads as none, `brining_faults` names it.
    """
    data = content.get(TABLE)
    if not isinstance(data, Mapping) or not any(data.values()):
        return None
    most = _text(data, "most_loads")
    return Brining(
        most_loads=int(most) if _WHOLE.fullmatch(most) else None,
        most_age_ms=_age(said(data, "most_age")),
        filtering_lifts=said(data, "filtering_lifts") == "yes",
        apart=tuple(str(code) for code in data.get("apart", ())),
        source=said(data, "source"),
        flag=said(data, "flag"),
    )


def _text(data: Content, key: str) -> str:
    value = data.get(key, "")
    return "" if isinstance(value, bool) else str(value).strip()


def _age(text: str) -> int | None:
    try:
        return read_span(text)
    except BadQuantity:
        return None


def brining_faults(content: Content) -> Iterator[Fault]:
    """What bars publishing in the table: a figure that cannot be read, one without its source, a
    species that the plan does not cover."""
    data = content.get(TABLE, {})
    if not isinstance(data, Mapping):
        yield Fault(TABLE, f"“{TABLE}” must be a table of fields.")
        return
    if not any(data.values()):
        return
    most, age = _text(data, "most_loads"), said(data, "most_age")
    if most and not _WHOLE.fullmatch(most):
        yield Fault(join(TABLE, "most_loads"), "Write how many loads as a whole number, such as 3.")
    if age and not _age(age):
        yield Fault(join(TABLE, "most_age"), _SPAN)
    if said(data, "filtering_lifts"):
        yield from not_one_of(data, TABLE, "filtering_lifts", YES_NO)
    if most or age:
        wanted = {"source": "Say where the figures for using a batch again come from."}
        yield from missing(data, TABLE, wanted)
        yield from not_one_of(data, TABLE, "flag", FLAGS)
    yield from _not_covered(content, data.get("apart", []))


def _not_covered(content: Content, apart: object) -> Iterator[Fault]:
    if not isinstance(apart, list) or not all(isinstance(code, str) for code in apart):
        yield Fault(join(TABLE, "apart"), "“apart” must be a list of species' codes.")
        return
    covered = {said(row, "code") for _, row in rows(content, "species")}
    for code in apart:
        if code not in covered:
            text = f"“{code}” is no species of this plan: take it off the list."
            yield Fault(join(TABLE, "apart"), text)


def bars_use(brining: Brining, before: Sequence[Use], now: Use, filtered: bool) -> list[str]:
    """Why the batch may not take this load by the plan, in words; none where it may.

    Errs against using it: the age counts whole from the first load, and fish of a species that lies
    alone is held apart from every other that was ever in the batch.

    Args:
        before: the loads that the batch was used for, in any order.
        now: the load that is to begin.
        filtered: whether the brine was filtered since its last load.
    """
    found: list[str] = []
    if brining.most_loads is not None and len(before) >= brining.most_loads:
        had = "1 load" if len(before) == 1 else f"{len(before)} loads"
        found.append(
            f"It has been used for {had}; the plan lets a batch be used for {brining.most_loads}. "
            "Make a new batch."
        )
    found += _too_old(brining, before, now, filtered)
    found += _not_alone(brining, before, now)
    return found


def _too_old(brining: Brining, before: Sequence[Use], now: Use, filtered: bool) -> Iterator[str]:
    first = min((use.at for use in before), default=now.at)
    age = now.at - first
    if brining.most_age_ms is None or age <= brining.most_age_ms:
        return
    if filtered and brining.filtering_lifts:
        return
    unless = " unless it is filtered first" if brining.filtering_lifts else ""
    yield (
        f"Its first load began more than {show_span(brining.most_age_ms)} before this one, and the plan lets "
        f"a batch be used again for no longer{unless}."
    )


def _not_alone(brining: Brining, before: Sequence[Use], now: Use) -> Iterator[str]:
    all_species = now.species.union(*(use.species for use in before))
    alone = sorted(all_species & set(brining.apart))
    if not alone or len(all_species) == 1:
        return
    others = sorted(all_species - {alone[0]})
    yield (
        f"{alone[0]} shares a batch with no other species by the plan, and here would be "
        f"{', '.join(others)} with it, at once or one after the other."
    )
