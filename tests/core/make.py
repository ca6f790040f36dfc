"""Readings and limits for tests, written as a page of the book would have them."""

import re
from typing import Any

from lots.core import judging
from lots.core.folds import Finding, Span
from lots.core.judging import Facts, Sample, Sighting
from lots.core.limits import Limit, limit_from
from lots.core.series import Chunk, chunks
from lots.core.units import MS_PER_DAY, MS_PER_H, MS_PER_MIN, TempUnit, to_ninths

DAY = 20_516 * MS_PER_DAY  # 4 Mar 2026, 00:00 UTC


def at(clock: str) -> int:
    """The moment of "08:10", or of "2/08:10" on the second day."""
    day, _, time = clock.rpartition("/")
    hours, minutes = time.split(":")
    day_ms = (int(day) - 1) * MS_PER_DAY if day else 0
    return DAY + day_ms + int(hours) * MS_PER_H + int(float(minutes) * MS_PER_MIN)


def make_rows(page: str, unit: TempUnit = "C") -> list[tuple[int, int, TempUnit]]:
    """The readings of a page such as "08:00 63.1, 08:10 145 F": moment, ninths, unit."""
    rows: list[tuple[int, int, TempUnit]] = []
    for entry in filter(None, map(str.strip, page.split(","))):
        clock, figure, *rest = entry.split()
        own: TempUnit = "F" if rest == ["F"] else "C" if rest == ["C"] else unit
        rows.append((at(clock), to_ninths(figure, own), own))
    return rows


def make_readings(page: str, unit: TempUnit = "C") -> list[Chunk]:
    """The page's readings as chunks in order of time."""
    return chunks(make_rows(page, unit))


def make_step(times: str, **more: Any) -> Span:
    """The step of "08:00 to 09:00", or of "08:00 on" while it runs."""
    start, end = re.fullmatch(r"(\S+) (?:to (\S+)|on)", times).groups()  # type: ignore[union-attr]
    return Span(at(start), at(end) if end else None, **more)


def make_limit(kind: str, **data: Any) -> Limit:
    """A limit as a plan states it; `for_` stands for "for", `from_` for "from", `if_` for "if"."""
    return limit_from({"id": "limit", "kind": kind, **{k.rstrip("_"): v for k, v in data.items()}})


def held(
    limit: Limit,
    step: str | Span,
    *pages: str,
    now: str = "",
    unit: TempUnit = "C",
    before: str = "",
    **facts: Any,
) -> Finding:
    """What a limit finds, a page a probe; judged at the step's end, or at `now`."""
    span = make_step(step) if isinstance(step, str) else step
    probes = {f"probe {n}": make_readings(page, unit) for n, page in enumerate(pages, 1) if page}
    earlier = {limit.of: {"probe 1": make_readings(before, unit)}} if before else None
    states = judging.start(limit, {limit.of: probes}, span, earlier)
    moment = at(now) if now else span.end
    assert moment is not None, "a step that runs is judged at a moment"
    return judging.judge(limit, states, make_facts(span, **facts), moment)


def make_facts(span: Span, **facts: Any) -> Facts:
    """What was measured and seen: measured={"salt": ["3.1"]}, laboratory=…, observed={"ice": [True]}."""
    measured: dict[str, list[Sample]] = {}
    for name in ("measured", "laboratory"):
        for quantity, figures in facts.get(name, {}).items():
            samples = [
                Sample(round(float(f) * 1_000_000), span.start + n, name == "laboratory")
                for n, f in enumerate(figures)
            ]
            measured.setdefault(quantity, []).extend(samples)
    seen = {
        what: [Sighting(found, span.start + n) for n, found in enumerate(founds)]
        for what, founds in facts.get("observed", {}).items()
    }
    return Facts(span, measured, seen)
