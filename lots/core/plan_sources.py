"""Figures of a plan's limits that were changed, and whether the source beside them is still the old one."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from lots.core.plan_content import PUBLISHED, Content, Fault, join, rows, said
from lots.core.units import read_number, read_span

_FIGURES: Final = (
    "quantity",
    "at_least",
    "at_most",
    "for",
    "from",
    "longer_than",
    "within",
    "reference",
    "z",
    "z_above",
    "lowest",
    "above",
    "up_to",
    "tolerance",
    "window",
    "probes",
    "by",
    "verified_within",
    "when_sampled",
)
_OF_STAGE: Final = ("to", "within", "counted_from")
_OF_ROW: Final = ("at_least", "at_most", "rule")
_EMPTY: Final = {"window": "every reading", "probes": "one probe"}  # what an empty field means
_DEGREES: Final = re.compile(r"([-−]?\d[\d.,]*)\s*°([CF])")


@dataclass(frozen=True, slots=True)
class Stated:
    """The figures of a limit, or of its operating limit or longest gap, with their source."""

    path: str
    point: str
    limit_id: str
    role: str
    inside: str
    kind: str
    figures: dict[str, str]
    source: str
    flag: str


@dataclass(frozen=True, slots=True)
class Change:
    """A figure that is not what it was; `same_source` where the source named is still the old one."""

    path: str
    point: str
    was: str
    now: str
    source: str
    flag: str
    same_source: bool

    @property
    def unsourced(self) -> bool:
        """Whether the figure is said to stand in a source that states another."""
        return self.same_source and self.flag == PUBLISHED

    @property
    def words(self) -> str:
        """What was changed, as the person who reads or signs is told."""
        said_now = f"You changed {self.was} to {self.now}"
        return f"{said_now}: the source named no longer states it" if self.same_source else said_now


def changes(content: Content, before: Sequence[Content]) -> list[Change]:
    """The figures that differ from those of the plans before, in the order of the page.

    Errs towards saying that a figure was changed.  A limit that no plan before has is no change.

    Args:
        content: a plan's content of the right shape (`misshapen` finds nothing).
        before: the contents that it may have been made from, the nearest first.
    """
    known = [one for each in before for one in _stated(each)]
    return [change for now in _stated(content) for change in _changed(now, known)]


def source_faults(content: Content, before: Sequence[Content]) -> list[Fault]:
    """A fault for each changed figure that is still said to be published in its old source."""
    more = "Set how firm it is to “to be confirmed”, or say where the new figure comes from."
    return [
        Fault(change.path, f"{change.words}. {more}")
        for change in changes(content, before)
        if change.unsourced
    ]


def _changed(now: Stated, known: list[Stated]) -> Iterator[Change]:
    alike = [one for one in known if (one.limit_id, one.role) == (now.limit_id, now.role)]
    cited = [one for one in alike if _letters(one.source) == _letters(now.source)]
    # a figure still to be confirmed is not vouched for by its source, so it cannot vouch for another
    cited = [one for one in cited if one.flag == PUBLISHED] or cited
    against = cited or alike
    if not against or any(not _differing(one, now) for one in against):
        return
    nearest = min(against, key=lambda one: (one.kind != now.kind, one.inside != now.inside))
    keys = _differing(nearest, now)
    yield Change(
        join(now.path, keys[0]),
        now.point,
        _words(nearest, keys),
        _words(now, keys),
        now.source,
        now.flag,
        bool(cited),
    )


def _letters(source: str) -> str:
    """A source without what does not make it another: blanks, stops, capitals."""
    return "".join(letter for letter in source.casefold() if letter.isalnum())


def _differing(one: Stated, other: Stated) -> list[str]:
    """The fields in which two differ; "kind" first where even that does."""
    keys = [key for key in {**one.figures, **other.figures} if not _same(one, other, key)]
    return ["kind", *keys] if one.kind != other.kind else keys


def _same(one: Stated, other: Stated, key: str) -> bool:
    first, second = _value(one.figures.get(key, "")), _value(other.figures.get(key, ""))
    if isinstance(first, frozenset) and isinstance(second, frozenset):
        return first <= second or second <= first  # 145 °F is what 145 °F (62.8 °C) says
    return first == second


def _value(text: str) -> object:
    """What a figure's text states, however it is written."""
    try:
        if degrees := _DEGREES.findall(text):
            found: frozenset[tuple[Fraction, str]] = frozenset(
                (read_number(figure), unit) for figure, unit in degrees
            )
            return found
        return read_span(text)
    except ValueError:  # not a figure, or one in digits that cannot be read
        return " ".join(text.replace(",", ".").split())


def _words(one: Stated, keys: list[str]) -> str:
    found = [one.kind] if "kind" in keys else []
    found += [
        one.figures.get(key) or _EMPTY.get(key.rpartition(".")[2], "nothing")
        for key in keys
        if key != "kind" and ("kind" not in keys or one.figures.get(key))
    ]
    return ", ".join(found)


def _stated(content: Content) -> Iterator[Stated]:
    for path, point in rows(content, "control_points"):
        for below, data in rows(point, "limits", path):
            blank = Stated(
                below, said(point, "name"), said(data, "id"), "limit", "", "", {}, "", ""
            )
            yield from _limit(data, blank)


def _limit(data: Content, around: Stated) -> Iterator[Stated]:
    """What a limit states, or what each limit inside it does; `around` holds the place and source."""
    here = replace(
        around,
        kind=said(data, "kind"),
        figures=_figures(data),
        source=said(data, "source") or around.source,
        flag=said(data, "flag") or around.flag,
    )
    parts = rows(data, "limits")
    parts += [(key, data[key]) for key in ("if", "then") if key in data]
    for below, part in parts:
        at = replace(here, path=join(here.path, below), inside=join(here.inside, below))
        yield from _limit(part, at)
    if not parts:
        yield here
        yield from _beside(data, here)


def _beside(data: Content, here: Stated) -> Iterator[Stated]:
    """The figures of a limit that have a source of their own: the longest gap, the operating limit."""
    if gap := said(data, "longest_gap"):
        yield replace(
            here,
            role="gap",
            figures={"longest_gap": gap},
            source=said(data, "longest_gap_source") or here.source,
            flag=said(data, "longest_gap_flag") or here.flag,
        )
    if operating := data.get("operating"):
        yield replace(
            here,
            path=join(here.path, "operating"),
            role="operating",
            figures=_figures(operating),
            source=said(operating, "source"),
            flag=said(operating, "flag"),
        )


def _figures(data: Content) -> dict[str, str]:
    """The texts that a limit is held to, by their paths inside it."""
    found = {key: str(data[key]).strip() for key in _FIGURES if data.get(key)}
    for path, stage in rows(data, "stages"):
        found |= {join(path, key): said(stage, key) for key in _OF_STAGE if said(stage, key)}
    for path, row in rows(data, "permitted"):
        found |= {join(path, key): said(row, key) for key in _OF_ROW if said(row, key)}
        found[join(path, "species")] = ", ".join(map(str, row.get("species", ())))
    return found
