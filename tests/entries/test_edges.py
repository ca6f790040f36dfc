"""One table: what each kind of limit says on each edge, and why an edge does not apply where it does not.

A row is a scene in the fish of one load: a page a probe.  `late` and `corrected` scenes are judged twice,
with the entry and without it, and settled as the book settles them: before the records reviewer accepted the
entry, and after.
"""

from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import pytest

from lots.core import judging
from lots.core.finding import Finding, Span
from lots.core.judging import Checked, CureUse, Facts, Sample, Use, Went, settle
from lots.core.limits import KINDS, Limit, limit_from, waiting_for_files
from lots.core.series import Chunk, chunks
from lots.core.units import MILLIONTHS, MS_PER_MIN, read_difference, to_ninths
from tests.core.make import at as clock
from tests.core.make import make_facts

EXACT, BEYOND, NONE, ONE, GAP = "exactly on it", "one digit beyond", "no readings", "one reading", "a gap too long"  # fmt: skip
LATE, CORRECTED, PULLED = "a late reading", "a correction that turns it", "a probe pulled"
CHANGE, FAHRENHEIT = "the clock changes", "°F against a °C limit"
EDGES = (EXACT, BEYOND, NONE, ONE, GAP, LATE, CORRECTED, PULLED, CHANGE, FAHRENHEIT)

# The clock of Detroit goes back on 1 Nov 2026, 02:00 −04:00: the hour from 01:00 is had twice.
SUMMER, WINTER = "2026-11-01T{}-04:00", "2026-11-01T{}-05:00"


def moment(text: str) -> int:
    """ "08:10" on a plain day; "s01:30" and "w01:30" on the day of the change, before and after it."""
    if text[0] in "sw":
        wall = (SUMMER if text[0] == "s" else WINTER).format(text[1:])
        return round(datetime.fromisoformat(wall).timestamp() * 1000)
    return clock(text)


def page(text: str) -> list[Chunk]:
    """The readings of "08:00 63.1, 08:10 145 F"; °C where no unit is written."""
    rows: list[tuple[int, int, Any]] = []
    for entry in filter(None, map(str.strip, text.split(","))):
        when, figure, *unit = entry.split()
        rows.append((moment(when), to_ninths(figure, "F" if unit == ["F"] else "C"), (unit or ["C"])[0]))  # type: ignore[arg-type]  # fmt: skip
    return chunks(rows)


@dataclass(frozen=True)
class Scene:
    """What a limit is held against; `uses` as (instrument, first, last, ((check, off °F), …))."""

    pages: tuple[str, ...] = ()
    step: str = ""
    now: str = ""
    counted_end: str = ""
    measured: tuple[str, ...] | None = None
    observed: tuple[bool, ...] | None = None
    uses: tuple[tuple[str, str, str, tuple[tuple[str, str], ...]], ...] = ()
    left: str = ""  # when a person says that probe 2 left
    more: dict[str, Any] = field(default_factory=dict)  # facts by their names

    def span(self, step: str) -> Span:
        start, _, end = (self.step or step).partition(" ")
        counted = moment(self.counted_end) if self.counted_end else None
        return Span(moment(start), moment(end) if end else None, counted)


@dataclass(frozen=True)
class Row:
    """A scene and its verdict.  With `without` the scene is how the entry late or corrected makes it,
    `without` how it was, `expect` the verdict before the reviewer accepts and `accepted` after."""

    expect: str
    scene: Scene
    without: Scene | None = None
    accepted: str = ""
    limit: dict[str, Any] = field(default_factory=dict)


def row(expect: str, *pages: str, limit: dict[str, Any] | None = None, **scene: Any) -> Row:
    return Row(expect, Scene(pages, **scene), limit=limit or {})


def turned(expect: str, accepted: str, was: Scene, now: Scene) -> Row:
    return Row(expect, now, was, accepted)


def of(*pages: str, **more: Any) -> Scene:
    return Scene(pages, **more)


D, M, P = "DEVIATION", "MET", "PENDING"
NOT_READ = "does not apply: nothing is read, only the step's start and end count"
NO_TEMPERATURE = "does not apply: no temperature is entered"
NO_PROBE = "does not apply: no probe is in it"
NO_TIME = "does not apply: no length of time is asked"
EACH_ALONE = "does not apply: each reading stands for itself; that they follow is asked by “every”"
Cell = str | list[Row]

WARM_FISH = "08:00 39 F, 09:00 39 F, 10:00 39 F, 11:00 39 F, 12:00 39 F"
FELL_SILENT = "08:00 39 F, 09:00 39 F"
HEAT = "08:00 146 F, 08:10 146 F, 08:20 146 F, 08:30 146 F"
STEP = {
    "at most": "08:00 12:00", "at least": "08:00 12:00", "between": "08:00 12:00", "maintained": "08:00 12:00",
    "lethality": "08:00 12:00", "exposure": "08:00 12:00", "cooling": "08:00 12:00", "duration": "08:00 14:00",
    "every": "08:00 12:00", "measured": "08:00 12:00", "observed": "08:00 12:00", "accurate": "08:00 12:00",
    "declared": "08:00 12:00", "cure": "08:00 12:00", "followed": "08:00 09:00",
    "all of": "08:00 12:00", "any of": "08:00 12:00", "given": "08:00 12:01",
}  # fmt: skip

COLD = {"kind": "at most", "at_most": "40 °F (4.4 °C)"}
OFTEN = {"kind": "every", "within": "2 h"}
LIMITS: dict[str, dict[str, Any]] = {
    "at most": COLD,
    "at least": {"kind": "at least", "at_least": "145 °F (62.8 °C)"},
    "between": {"kind": "between", "at_least": "50 °F (10 °C)", "at_most": "70 °F (21.1 °C)"},
    "maintained": {"kind": "maintained", "at_least": "145 °F (62.8 °C)", "for": "30 min", "longest_gap": "10 min"},
    "lethality": {"kind": "lethality", "reference": "70 °C", "z": "7.5 °C", "at_least": "2 min", "lowest": "63 °C",
                  "longest_gap": "10 min"},
    "exposure": {"kind": "exposure", "above": "50 °F (10 °C)", "up_to": "135 °F (57.2 °C)", "at_most": "2 h",
                 "longest_gap": "1 h"},
    "cooling": {"kind": "cooling", "from": "140 °F (60 °C)", "stages": [{"to": "70 °F (21 °C)", "within": "2 h"}]},
    "duration": {"kind": "duration", "at_least": "6 h"},
    "every": OFTEN,
    "measured": {"kind": "measured", "quantity": "water-phase salt", "at_least": "3.5 %"},
    "observed": {"kind": "observed", "what": "ice"},
    "accurate": {"kind": "accurate", "within": "24 h", "tolerance": "2 °F"},
    "declared": {"kind": "declared", "longer_than": "4 h"},
    "cure": {"kind": "cure", "permitted": [{"species": ["SAB"], "at_most": "200 ppm", "rule": "21 CFR 172.175(a)(2)"}]},
    "followed": {"kind": "followed", "by": "freeze", "within": "6 h"},
    "all of": {"kind": "all of", "limits": [COLD, OFTEN]},
    "any of": {"kind": "any of", "limits": [
        {"kind": "maintained", "at_least": "145 °F (62.8 °C)", "for": "30 min", "longest_gap": "10 min"},
        {"kind": "maintained", "at_least": "160 °F (71.1 °C)", "for": "5 min", "longest_gap": "10 min"}]},
    "given": {"kind": "given", "if": {"kind": "duration", "longer_than": "4 h"},
              "then": {"kind": "at most", "at_most": "38 °F (3.3 °C)"}},
}  # fmt: skip


def checked(*checks: tuple[str, str], first: str = "2/08:00", last: str = "2/12:00") -> Scene:
    return Scene(uses=(("thermometer 1", first, last, checks),), step="2/08:00 2/12:00")


TABLE: dict[str, dict[str, Cell]] = {
    "at most": {
        EXACT: [row(M, "08:30 40 F"), row(M, "08:30 4.4")],
        BEYOND: [row(D, "08:30 40.1 F"), row(D, "08:30 4.5")],
        NONE: [row(D), row(P, step="08:00", now="12:00")],
        ONE: [row(M, "08:30 39 F")],
        GAP: EACH_ALONE,
        LATE: [
            turned(D, M, of(), of("08:30 39 F")),
            turned(D, D, of("08:30 39 F"), of("08:30 39 F, 09:00 45 F")),
        ],
        CORRECTED: [
            turned(D, M, of("08:30 45 F"), of("08:30 39 F")),
            turned(D, D, of("08:30 39 F"), of("08:30 45 F")),
        ],
        PULLED: [
            row(D, WARM_FISH, FELL_SILENT),
            row(P, WARM_FISH, FELL_SILENT, step="08:00", now="12:00"),
            row(M, WARM_FISH, FELL_SILENT, left="09:05"),
            row(D, WARM_FISH, "08:00 39 F, 09:00 41 F", left="09:05"),
        ],
        # three hours after the start the clock on the wall shows two
        CHANGE: [
            row(D, "s00:00 50 F, w02:00 45 F", step="s00:00 w04:00", limit={"window": "after 3 h"}),
            row(M, "s00:00 50 F, w01:59 45 F, w02:00 39 F", step="s00:00 w04:00", limit={"window": "after 3 h"}),
        ],
        FAHRENHEIT: [
            row(M, "08:30 39.92 F", limit={"at_most": "4.4 °C"}),
            row(D, "08:30 40 F", limit={"at_most": "4.4 °C"}),
        ],
    },
    "at least": {
        EXACT: [row(M, "08:30 145 F"), row(M, "08:30 62.8")],
        BEYOND: [row(D, "08:30 144.9 F"), row(D, "08:30 62.7")],
        NONE: [row(D), row(P, step="08:00", now="12:00")],
        ONE: [row(M, "08:30 146 F")],
        GAP: EACH_ALONE,
        LATE: [
            turned(D, M, of(), of("08:30 146 F")),
            turned(D, D, of("08:30 146 F"), of("08:30 146 F, 09:00 140 F")),
        ],
        CORRECTED: [
            turned(D, M, of("08:30 140 F"), of("08:30 146 F")),
            turned(D, D, of("08:30 146 F"), of("08:30 140 F")),
        ],
        PULLED: [
            row(D, "08:00 146 F, 09:00 146 F, 12:00 146 F", "08:00 146 F"),
            row(P, "08:00 146 F, 09:00 146 F, 12:00 146 F", "08:00 146 F", step="08:00", now="12:00"),
            row(M, "08:00 146 F, 09:00 146 F, 12:00 146 F", "08:00 146 F", left="08:05"),
        ],
        CHANGE: [
            row(D, "s00:00 150 F, w02:00 140 F", step="s00:00 w04:00", limit={"window": "after 3 h"}),
            row(M, "s00:00 90 F, w01:59 140 F, w02:00 146 F", step="s00:00 w04:00", limit={"window": "after 3 h"}),
        ],
        FAHRENHEIT: [
            row(M, "08:30 145.04 F", limit={"at_least": "62.8 °C"}),
            row(D, "08:30 145 F", limit={"at_least": "62.8 °C"}),
        ],
    },
    "between": {
        EXACT: [row(M, "08:30 50 F, 09:00 70 F"), row(M, "08:30 10, 09:00 21.1")],
        BEYOND: [row(D, "08:30 49.9 F"), row(D, "08:30 70.1 F"), row(D, "08:30 9.9"), row(D, "08:30 21.2")],
        NONE: [row(D), row(P, step="08:00", now="12:00")],
        ONE: [row(M, "08:30 60 F")],
        GAP: EACH_ALONE,
        LATE: [
            turned(D, M, of(), of("08:30 60 F")),
            turned(D, D, of("08:30 60 F"), of("08:30 60 F, 09:00 45 F")),
        ],
        CORRECTED: [
            turned(D, M, of("08:30 45 F"), of("08:30 60 F")),
            turned(D, D, of("08:30 60 F"), of("08:30 75 F")),
        ],
        PULLED: [
            row(D, "08:00 60 F, 10:00 60 F, 12:00 60 F", "08:00 60 F"),
            row(P, "08:00 60 F, 10:00 60 F, 12:00 60 F", "08:00 60 F", step="08:00", now="12:00"),
            row(M, "08:00 60 F, 10:00 60 F, 12:00 60 F", "08:00 60 F", left="08:05"),
        ],
        CHANGE: [
            row(D, "s00:00 80 F, w02:00 71 F", step="s00:00 w04:00", limit={"window": "after 3 h"}),
            row(M, "s00:00 80 F, w01:59 71 F, w02:00 70 F", step="s00:00 w04:00", limit={"window": "after 3 h"}),
        ],
        FAHRENHEIT: [
            row(M, "08:30 50 F, 09:00 69.98 F", limit={"at_least": "10 °C", "at_most": "21.1 °C"}),
            row(D, "08:30 50 F, 09:00 70 F", limit={"at_least": "10 °C", "at_most": "21.1 °C"}),
        ],
    },
    "maintained": {
        EXACT: [
            row(M, "08:00 145 F, 08:10 145 F, 08:20 145 F, 08:30 145 F"),
            row(M, "08:00 62.8, 08:10 62.8, 08:20 62.8, 08:30 62.8"),
        ],
        BEYOND: [
            row(D, "08:00 145 F, 08:10 145 F, 08:20 145 F, 08:30 144.9 F"),
            row(D, "08:00 62.8, 08:10 62.8, 08:20 62.8, 08:30 62.7"),
            row(D, "08:00 145 F, 08:10 145 F, 08:20 145 F, 08:29.99 145 F"),
        ],
        NONE: [row(D), row(P, step="08:00", now="12:00")],
        ONE: [row(D, "08:00 146 F"), row(P, "08:00 146 F", step="08:00", now="12:00")],
        GAP: [row(D, "08:00 146 F, 08:10 146 F, 08:20.02 146 F, 08:30 146 F")],
        LATE: [
            turned(D, M, of("08:00 146 F, 08:10 146 F, 08:30 146 F"), of(HEAT)),
            turned(D, D, of(HEAT), of("08:00 146 F, 08:10 146 F, 08:15 140 F, 08:20 146 F, 08:30 146 F")),
        ],
        CORRECTED: [
            turned(D, M, of("08:00 146 F, 08:10 46 F, 08:20 146 F, 08:30 146 F"), of(HEAT)),
            turned(D, D, of(HEAT), of("08:00 146 F, 08:10 136 F, 08:20 146 F, 08:30 146 F")),
        ],
        PULLED: [
            row(D, HEAT, "08:00 145 F, 08:10 145 F"),
            row(P, HEAT, "08:00 145 F, 08:10 145 F", step="08:00", now="08:40"),
            row(M, HEAT, "08:00 145 F, 08:10 145 F", left="08:12"),
        ],
        CHANGE: [
            row(M, "s01:50 145 F, w01:00 145 F, w01:10 145 F, w01:20 145 F", step="s01:00 w03:00"),
            row(D, "s01:50 145 F, w01:50 145 F, w02:00 145 F, w02:10 145 F", step="s01:00 w03:00"),
        ],
        FAHRENHEIT: [
            row(M, HEAT.replace("146", "145.04"), limit={"at_least": "62.8 °C"}),
            row(D, HEAT.replace("146", "145"), limit={"at_least": "62.8 °C"}),
        ],
    },
    "lethality": {
        EXACT: [row(M, "08:00 70, 08:02 70"), row(M, "08:00 63, 08:09 63, 08:17.154 63")],
        BEYOND: [row(D, "08:00 70, 08:02 69.9"), row(D, "08:00 70, 08:01.99 70"), row(D, "08:00 62.9, 08:10 62.9, 08:20 62.9")],
        NONE: [row(D), row(P, step="08:00", now="12:00")],
        ONE: [row(D, "08:00 90"), row(P, "08:00 90", step="08:00", now="12:00")],
        GAP: [row(D, "08:00 80, 08:10.01 80"), row(M, "08:00 80, 08:10 80"), row(M, "08:00 70, 08:10 70, 08:30 70")],
        LATE: [
            turned(D, M, of("08:00 75, 08:12 75"), of("08:00 75, 08:06 75, 08:12 75")),
            turned(D, D, of("08:00 70, 08:02 70"), of("08:00 70, 08:01 66, 08:02 70")),
        ],
        CORRECTED: [
            turned(D, M, of("08:00 70, 08:02 60"), of("08:00 70, 08:02 70")),
            turned(D, D, of("08:00 70, 08:02 70"), of("08:00 70, 08:02 60")),
        ],
        PULLED: [
            row(D, "08:00 70, 08:02 70, 08:12 70", "08:00 70, 08:01 70"),
            row(P, "08:00 70, 08:02 70, 08:12 70", "08:00 70, 08:01 70", step="08:00", now="08:20"),
            row(M, "08:00 70, 08:02 70, 08:12 70", "08:00 70, 08:01 70", left="08:01.5"),
        ],
        CHANGE: [
            row(M, "s01:59 70, w01:01 70", step="s01:00 w03:00"),
            row(D, "s01:58 80, w01:59 80", step="s01:00 w03:00"),
        ],
        FAHRENHEIT: [row(M, "08:00 158 F, 08:02 158 F"), row(D, "08:00 158 F, 08:02 157.9 F")],
    },
    "exposure": {
        EXACT: [
            row(M, "08:00 50 F, 09:00 50 F, 10:00 60 F, 11:00 50 F, 12:00 50 F"),
            row(M, "08:00 10, 09:00 10, 10:00 10.1, 11:00 10, 12:00 10"),
        ],
        BEYOND: [
            row(D, "08:00 50 F, 09:00 50.1 F, 10:00 60 F, 11:00 50 F, 12:00 50 F"),
            row(D, "08:00 10, 09:00 10, 10:00 10.1, 11:00 10.1, 12:00 10"),
            row(D, "08:00 50 F, 09:00 50 F, 10:00 60 F, 11:00 60 F, 11:00.01 50 F, 12:00 50 F"),
        ],
        NONE: [row(D), row(P, step="08:00", now="12:00")],
        ONE: [row(D, "10:00 38 F"), row(M, "08:30 38 F", step="08:00 09:30")],
        GAP: [
            row(D, "08:00 38 F, 10:01 38 F, 11:00 38 F, 12:00 38 F"),
            row(M, "08:00 38 F, 09:00 38 F, 10:00 38 F, 11:00 38 F, 12:00 38 F"),
        ],
        LATE: [
            turned(D, M, of("08:00 38 F, 10:01 38 F, 11:00 38 F, 12:00 38 F"),
                   of("08:00 38 F, 09:00 38 F, 10:01 38 F, 11:00 38 F, 12:00 38 F")),
            turned(D, D, of("08:00 38 F, 09:00 60 F, 10:00 38 F, 11:00 38 F, 12:00 38 F"),
                   of("08:00 38 F, 09:00 60 F, 10:00 38 F, 10:30 60 F, 11:00 38 F, 12:00 38 F")),
        ],
        CORRECTED: [
            turned(D, M, of("08:00 38 F, 09:00 60 F, 10:00 60 F, 11:00 38 F, 12:00 38 F"),
                   of("08:00 38 F, 09:00 60 F, 10:00 40 F, 11:00 38 F, 12:00 38 F")),
            turned(D, D, of("08:00 38 F, 09:00 60 F, 10:00 40 F, 11:00 38 F, 12:00 38 F"),
                   of("08:00 38 F, 09:00 60 F, 10:00 60 F, 11:00 38 F, 12:00 38 F")),
        ],
        PULLED: [
            row(D, WARM_FISH, "08:00 39 F"),
            row(M, WARM_FISH, "08:00 39 F", left="08:05"),
            row(D, WARM_FISH, "08:00 39 F, 08:50 60 F, 09:40 60 F, 10:30 60 F, 10:55 60 F", left="11:00"),
        ],
        CHANGE: [
            row(M, "s00:30 60 F, s01:30 60 F, w01:30 50 F, w02:30 50 F", step="s00:30 w02:30"),
            row(D, "s00:30 60 F, s01:30 60 F, w01:30 50.1 F, w01:31 50 F, w02:30 50 F", step="s00:30 w02:30"),
        ],
        FAHRENHEIT: [
            row(M, WARM_FISH.replace("39", "39.92"), limit={"above": "4.4 °C"}),
            row(D, WARM_FISH.replace("39", "40"), limit={"above": "4.4 °C"}),
        ],
    },
    "cooling": {
        EXACT: [
            row(M, "08:00 140 F, 10:00 70 F"),
            row(M, "08:00 60, 10:00 21"),
            row(M, "08:00 150 F, 08:10 140 F, 10:10 70 F"),
        ],
        BEYOND: [
            row(D, "08:00 140 F, 10:00 70.1 F, 10:05 69 F"),
            row(D, "08:00 60, 10:00 21.1, 10:05 20"),
            row(D, "08:00 140 F, 10:00.01 70 F"),
            row(D, "08:00 150 F, 08:10 139.9 F, 10:10 70 F"),
        ],
        NONE: [row(D), row(P, step="08:00", now="09:00"), row(D, step="08:00", now="10:01")],
        ONE: [row(D, "08:00 140 F"), row(P, "08:00 140 F", step="08:00", now="10:00")],
        GAP: [row(D, "08:00 140 F, 10:05 40 F")],
        LATE: [
            turned(D, M, of("08:00 140 F, 10:05 60 F"), of("08:00 140 F, 09:50 69 F, 10:05 60 F")),
            turned(D, D, of("08:00 140 F, 10:00 70 F"), of("07:50 140 F, 08:00 130 F, 10:00 70 F", step="07:50 12:00")),
        ],
        CORRECTED: [
            turned(D, M, of("08:00 140 F, 09:50 96 F, 10:05 60 F"), of("08:00 140 F, 09:50 69 F, 10:05 60 F")),
            turned(D, D, of("08:00 140 F, 09:50 69 F, 10:05 60 F"), of("08:00 140 F, 09:50 96 F, 10:05 60 F")),
        ],
        PULLED: [
            row(D, "08:00 140 F, 09:30 70 F, 11:00 41 F", "08:00 140 F, 09:00 90 F", step="08:00", now="11:00"),
            row(P, "08:00 140 F, 09:30 70 F", "08:00 140 F, 09:00 90 F", step="08:00", now="09:30"),
            row(M, "08:00 140 F, 09:30 70 F, 11:00 41 F", "08:00 140 F, 09:00 90 F", left="09:05"),
        ],
        CHANGE: [
            row(M, "s00:30 140 F, w01:30 70 F", step="s00:30 w03:00"),
            row(D, "s00:30 140 F, w01:31 70 F", step="s00:30 w03:00"),
        ],
        FAHRENHEIT: [
            row(M, "08:00 140 F, 10:00 69.8 F", limit={"from": "60 °C", "stages": [{"to": "21 °C", "within": "2 h"}]}),
            row(D, "08:00 140 F, 10:00 70 F", limit={"from": "60 °C", "stages": [{"to": "21 °C", "within": "2 h"}]}),
        ],
    },
    "duration": {
        EXACT: [
            row(M, step="08:00 14:00"),
            row(M, step="08:00 14:00", limit={"at_least": "", "at_most": "6 h"}),
            row(M, step="08:00 14:00", limit={"at_most": "6 h"}),
        ],
        BEYOND: [
            row(D, step="08:00 13:59.99"),
            row(P, step="08:00", now="13:59"),
            row(D, step="08:00 14:00.01", limit={"at_least": "", "at_most": "6 h"}),
            row(D, step="08:00 14:00", limit={"at_least": "", "longer_than": "6 h"}),
        ],
        NONE: NOT_READ,
        ONE: NOT_READ,
        GAP: NOT_READ,
        # an end entered late counts to the last reading only
        LATE: [turned(D, M, of(counted_end="13:00"), of())],
        CORRECTED: [turned(D, M, of(step="08:00 13:00"), of()), turned(D, D, of(), of(step="08:00 13:00"))],
        PULLED: NO_PROBE,
        CHANGE: [
            row(M, step="s00:30 w05:30"),
            row(D, step="s00:30 w05:29"),
        ],
        FAHRENHEIT: NO_TEMPERATURE,
    },
    "every": {
        EXACT: [row(M, "10:00 39 F"), row(M, "08:00 39 F, 10:00 39 F, 12:00 39 F")],
        BEYOND: [row(D, "10:00.01 39 F"), row(D, "08:00 39 F, 09:59.99 39 F")],
        NONE: [row(D), row(D, step="08:00", now="10:01"), row(M, step="08:00", now="10:00")],
        ONE: [row(M, "10:00 39 F"), row(D, "09:30 39 F")],
        GAP: [row(D, "09:00 39 F, 11:01 39 F")],
        LATE: [turned(D, M, of("08:00 39 F"), of("08:00 39 F, 10:00 39 F"))],
        # a correction that takes a reading back altogether; one of its figure alone turns nothing
        CORRECTED: [turned(D, D, of("08:00 39 F, 10:00 39 F"), of("08:00 39 F"))],
        PULLED: [row(D, WARM_FISH, "08:00 39 F, 09:00 39 F"), row(M, WARM_FISH, "08:00 39 F, 09:00 39 F", left="09:05")],
        CHANGE: [
            row(M, "s00:30 39 F, w01:30 39 F", step="s00:30 w03:30"),
            row(D, "s00:30 39 F, w01:31 39 F", step="s00:30 w03:30"),
        ],
        FAHRENHEIT: NO_TEMPERATURE,
    },
    "measured": {
        EXACT: [row(M, measured=("3.5",))],
        BEYOND: [row(D, measured=("3.4",))],
        NONE: [row(D, measured=()), row(P, measured=(), step="08:00", now="09:00")],
        ONE: [row(M, measured=("3.6",))],
        GAP: NO_TIME,
        LATE: [
            turned(D, M, of(measured=()), of(measured=("3.6",))),
            turned(D, D, of(measured=("3.6",)), of(measured=("3.6", "3.1"))),
        ],
        CORRECTED: [
            turned(D, M, of(measured=("3.1",)), of(measured=("3.6",))),
            turned(D, D, of(measured=("3.6",)), of(measured=("3.1",))),
        ],
        PULLED: NO_PROBE,
        CHANGE: NO_TIME,
        FAHRENHEIT: NO_TEMPERATURE,
    },
    "observed": {
        EXACT: [row(M, observed=(True,))],
        BEYOND: [row(D, observed=(False,)), row(D, observed=(True, False))],
        NONE: [row(D, observed=()), row(P, observed=(), step="08:00", now="09:00")],
        ONE: [row(M, observed=(True,))],
        GAP: NO_TIME,
        LATE: [
            turned(D, M, of(observed=()), of(observed=(True,))),
            turned(D, D, of(observed=(True,)), of(observed=(True, False))),
        ],
        CORRECTED: [
            turned(D, M, of(observed=(False,)), of(observed=(True,))),
            turned(D, D, of(observed=(True,)), of(observed=(False,))),
        ],
        PULLED: NO_PROBE,
        CHANGE: NO_TIME,
        FAHRENHEIT: NO_TEMPERATURE,
    },
    "accurate": {
        EXACT: [Row(M, checked(("12:00", "2"))), Row(M, checked(("12:00", "-2")))],
        BEYOND: [Row(D, checked(("12:00", "2.1"))), Row(D, checked(("11:59.99", "0")))],
        NONE: [row(D), row(P, step="08:00", now="09:00")],
        ONE: [Row(M, checked(("2/08:00", "0"), last="2/08:00")), Row(D, checked(last="2/08:00"))],
        GAP: [
            Row(D, checked(("08:00", "0"), ("2/09:00", "0"))),
            Row(M, checked(("08:00", "0"), ("2/08:00", "0"))),
        ],
        LATE: [
            turned(D, M, checked(), checked(("2/07:00", "0"))),
            turned(D, D, checked(("2/07:00", "0")), checked(("2/07:00", "0"), ("2/10:00", "3"))),
        ],
        CORRECTED: [
            turned(D, M, checked(("2/07:00", "12")), checked(("2/07:00", "1.2"))),
            turned(D, D, checked(("2/07:00", "1.2")), checked(("2/07:00", "12"))),
        ],
        PULLED: "does not apply: an instrument's check holds for what it read, wherever its probe is",
        # twelve to twelve is 25 hours on this day
        CHANGE: [
            Row(M, Scene(uses=(("thermometer 1", "w01:00", "w11:00", (("s-12:00", "0"),)),), step="w01:00 w12:00")),
            Row(D, Scene(uses=(("thermometer 1", "w01:00", "w12:00", (("s-12:00", "0"),)),), step="w01:00 w12:00")),
        ],
        FAHRENHEIT: [
            Row(M, checked(("2/07:00", "1.8")), limit={"tolerance": "1 °C"}),
            Row(D, checked(("2/07:00", "1.9")), limit={"tolerance": "1 °C"}),
        ],
    },
    "all of": {
        EXACT: [row(M, "10:00 40 F"), row(M, "10:00 4.4")],
        BEYOND: [row(D, "10:00 40.1 F"), row(D, "10:00.01 40 F")],
        NONE: [row(D), row(P, step="08:00", now="09:00")],
        ONE: [row(M, "10:00 39 F"), row(D, "08:30 39 F")],
        GAP: [row(D, "08:00 39 F, 10:01 39 F, 12:00 39 F")],
        LATE: [
            turned(D, M, of("08:00 39 F"), of("08:00 39 F, 10:00 39 F")),
            turned(D, D, of("10:00 39 F"), of("10:00 39 F, 11:00 45 F")),
        ],
        CORRECTED: [
            turned(D, M, of("10:00 45 F"), of("10:00 39 F")),
            turned(D, D, of("10:00 39 F"), of("10:00 45 F")),
        ],
        PULLED: [row(D, WARM_FISH, FELL_SILENT), row(M, WARM_FISH, FELL_SILENT, left="09:05")],
        CHANGE: [
            row(M, "s00:30 39 F, w01:30 39 F", step="s00:30 w03:30"),
            row(D, "s00:30 39 F, w01:31 39 F", step="s00:30 w03:30"),
        ],
        FAHRENHEIT: [
            row(M, "10:00 39.92 F", limit={"limits": [{"kind": "at most", "at_most": "4.4 °C"}, OFTEN]}),
            row(D, "10:00 40 F", limit={"limits": [{"kind": "at most", "at_most": "4.4 °C"}, OFTEN]}),
        ],
    },
    "any of": {
        EXACT: [row(M, "08:00 160 F, 08:05 160 F"), row(M, HEAT.replace("146", "145"))],
        BEYOND: [row(D, "08:00 160 F, 08:05 159.9 F"), row(D, "08:00 160 F, 08:04.99 160 F")],
        NONE: [row(D), row(P, step="08:00", now="12:00")],
        ONE: [row(D, "08:00 170 F")],
        GAP: [row(D, "08:00 160 F, 08:10.01 160 F"), row(M, "08:00 160 F, 08:10 160 F")],
        LATE: [
            turned(D, M, of("08:00 160 F, 08:12 160 F"), of("08:00 160 F, 08:06 160 F, 08:12 160 F")),
            turned(D, D, of("08:00 160 F, 08:05 160 F"), of("08:00 160 F, 08:03 140 F, 08:05 160 F")),
        ],
        CORRECTED: [
            turned(D, M, of("08:00 160 F, 08:05 60 F"), of("08:00 160 F, 08:05 160 F")),
            turned(D, D, of("08:00 160 F, 08:05 160 F"), of("08:00 160 F, 08:05 60 F")),
        ],
        PULLED: [
            row(D, "08:00 160 F, 08:05 160 F, 08:40 160 F", "08:00 160 F, 08:02 160 F"),
            row(M, "08:00 160 F, 08:05 160 F, 08:40 160 F", "08:00 160 F, 08:02 160 F", left="08:03"),
        ],
        CHANGE: [
            row(M, "s01:57 160 F, w01:02 160 F", step="s01:00 w03:00"),
            row(D, "s01:57 160 F, w01:58 160 F", step="s01:00 w03:00"),
        ],
        FAHRENHEIT: [
            row(M, "08:00 159.98 F, 08:05 159.98 F", limit={"limits": [
                {"kind": "maintained", "at_least": "71.1 °C", "for": "5 min", "longest_gap": "10 min"},
                {"kind": "at least", "at_least": "100 °C"}]}),
            row(D, "08:00 159.9 F, 08:05 159.9 F", limit={"limits": [
                {"kind": "maintained", "at_least": "71.1 °C", "for": "5 min", "longest_gap": "10 min"},
                {"kind": "at least", "at_least": "100 °C"}]}),
        ],
    },
    "given": {
        EXACT: [row(M, "08:00 50 F", step="08:00 12:00"), row(M, "08:00 38 F"), row(M, "08:00 3.3")],
        BEYOND: [row(D, "08:00 50 F", step="08:00 12:00.01"), row(D, "08:00 38.1 F"), row(D, "08:00 3.4")],
        NONE: [row(D), row(P, step="08:00", now="11:00"), row(M, step="08:00 12:00")],
        ONE: [row(M, "08:30 37 F")],
        GAP: EACH_ALONE,
        LATE: [
            turned(D, M, of(), of("08:30 37 F")),
            turned(D, D, of("08:30 37 F"), of("08:30 37 F, 09:00 45 F")),
        ],
        CORRECTED: [
            turned(D, M, of("08:30 45 F"), of("08:30 37 F")),
            turned(D, D, of("08:30 37 F"), of("08:30 45 F")),
        ],
        PULLED: [
            row(D, WARM_FISH.replace("39", "37"), "08:00 37 F"),
            row(M, WARM_FISH.replace("39", "37"), "08:00 37 F", left="08:05"),
        ],
        # from half past midnight to half past three by the wall is exactly 4 h
        CHANGE: [row(M, "s00:30 50 F", step="s00:30 w03:30"), row(D, "s00:30 50 F", step="s00:30 w03:31")],
        FAHRENHEIT: [
            row(M, "08:00 37.94 F", limit={"then": {"kind": "at most", "at_most": "3.3 °C"}}),
            row(D, "08:00 38 F", limit={"then": {"kind": "at most", "at_most": "3.3 °C"}}),
        ],
    },
}  # fmt: skip

SILENT = {
    "maintained": "20 min", "lethality": "10 min", "any of": "20 min",
}  # fmt: skip


def said(declared: str, step: str) -> Scene:
    return of(step=step, more={"declared": declared})


def cured(*found: str, species: str = "SAB", ppm: int = 150) -> Scene:
    """Fish in a batch of so many ppm ingoing, with what the laboratory found of nitrite in it."""
    use = CureUse("B-7", ppm * MILLIONTHS, moment("08:00"))
    samples = [Sample(round(float(one) * MILLIONTHS), moment("11:00"), True) for one in found]
    facts = {"species": species, "cures": (use,), "measured": {"sodium nitrite": samples}}
    return of(more=facts)


def frozen(*rows: str, now: str, step: str = "") -> Scene:
    """20 kg packed, and what of it went into the freezer: "14:00 20"."""
    went = [Went(moment(when), int(kg) * 1000) for when, kg in map(str.split, rows)]
    return of(step=step, now=now, more={"grams": 20_000, "followed": {"freeze": went}})


def scene(expect: str, one: Scene) -> Row:
    return Row(expect, one)


# Figures of nitrite: 21 CFR 172.175(a)(2) (2006), 200 ppm in sablefish.
TABLE |= {
    "declared": {
        EXACT: [scene(M, said("", "08:00 12:00")), scene(M, said("short", "08:00 12:00")),
                scene(M, said("long", "08:00 20:00"))],
        BEYOND: [scene(D, said("short", "08:00 12:01")), scene(D, said("", "08:00 12:01"))],
        NONE: NOT_READ,
        ONE: NOT_READ,
        GAP: NOT_READ,
        LATE: [turned(D, M, said("", "08:00 13:00"), said("long", "08:00 13:00"))],
        CORRECTED: [turned(D, M, said("short", "08:00 12:30"), said("short", "08:00 11:50"))],
        PULLED: NO_PROBE,
        CHANGE: [scene(M, said("", "s00:30 w03:30")), scene(D, said("", "s00:30 w03:31"))],
        FAHRENHEIT: NO_TEMPERATURE,
    },
    "cure": {
        EXACT: [scene(M, cured("200")), scene(M, cured(ppm=0, species="TRR"))],
        BEYOND: [scene(D, cured("200.000001")), scene(D, cured(species="TRR", ppm=1))],
        NONE: [scene(P, cured())],
        ONE: [scene(M, cured("150"))],
        GAP: NO_TIME,
        LATE: [turned(M, M, cured(), cured("150")),
               turned(D, M, cured(species="TRR", ppm=1), cured(species="TRR", ppm=0))],
        CORRECTED: [turned(D, M, cured("210"), cured("190"))],
        PULLED: NO_PROBE,
        CHANGE: NO_TIME,
        FAHRENHEIT: NO_TEMPERATURE,
    },
    "followed": {
        EXACT: [scene(M, frozen("14:00 20", now="15:00"))],
        BEYOND: [scene(D, frozen("14:01 20", now="15:00")), scene(D, frozen("10:00 19", now="14:01"))],
        NONE: [scene(P, frozen(now="14:00")), scene(D, frozen(now="14:01"))],
        ONE: [scene(M, frozen("09:00 20", now="09:00"))],
        GAP: NOT_READ,
        LATE: [turned(D, M, frozen("15:00 20", now="15:00"), frozen("13:00 20", now="15:00"))],
        CORRECTED: [turned(D, M, frozen("14:30 20", now="15:00"), frozen("13:30 20", now="15:00"))],
        PULLED: NO_PROBE,
        CHANGE: [scene(M, frozen("w06:00 20", now="w06:00", step="s01:00 w01:30")),
                 scene(D, frozen("w06:01 20", now="w06:01", step="s01:00 w01:30"))],
        FAHRENHEIT: NO_TEMPERATURE,
    },
}  # fmt: skip


def the_limit(kind: str, more: dict[str, Any]) -> Limit:
    """The kind's limit on the fish, which knows how often a reading is asked: so that silence shows."""
    data = {"id": "limit", "of": "fish", **LIMITS[kind], **more}
    asked = {"id": "read", "kind": "every", "of": "fish", "within": SILENT.get(kind, "2 h")}
    limit, _ = waiting_for_files([limit_from(data), limit_from(asked)])
    return limit


def facts_of(scene: Scene, span: Span) -> Facts:
    found = make_facts(
        span,
        measured={"water-phase salt": scene.measured} if scene.measured is not None else {},
        observed={"ice": scene.observed} if scene.observed is not None else {},
    )
    uses = [
        Use(name, moment(first), moment(last), tuple(sorted(map(check_of, checks), key=lambda c: c.at)))
        for name, first, last, checks in scene.uses
    ]  # fmt: skip
    left = {"probe 2": moment(scene.left)} if scene.left else {}
    return replace(found, uses={"fish": uses} if uses else {}, left=left, **scene.more)


def check_of(check: tuple[str, str]) -> Checked:
    when, off = check
    # "s-12:00": noon of the day before the change
    at = moment("s12:00") - 24 * 60 * MS_PER_MIN if when == "s-12:00" else moment(when)
    return Checked(at, read_difference(f"{off} °F"), within=True)


def found(kind: str, scene: Scene, more: dict[str, Any]) -> Finding:
    limit, span = the_limit(kind, more), scene.span(STEP[kind])
    series = {"fish": {f"probe {n}": page(text) for n, text in enumerate(scene.pages, 1)}}
    states = judging.start(limit, series, span)
    at = moment(scene.now) if scene.now else span.end
    assert at is not None, "a step that runs is judged at a moment"
    return judging.judge(limit, states, facts_of(scene, span), at)


ROWS = [
    pytest.param(kind, one, id=f"{kind}-{edge}-{number}")
    for kind, edges in TABLE.items()
    for edge, rows in edges.items()
    if not isinstance(rows, str)
    for number, one in enumerate(rows, 1)
]


@pytest.mark.parametrize(("kind", "one"), ROWS)
def test_the_verdict_on_the_edge_is_the_one_in_the_table(kind: str, one: Row) -> None:
    known = found(kind, one.scene, one.limit)
    if one.without is None:
        assert known.verdict == one.expect, known
        return
    monitored = found(kind, one.without, one.limit)
    before = settle("limit", known, monitored, accepted=False)
    assert before.verdict == one.expect, before
    assert before.rests_on_late
    assert settle("limit", known, monitored, accepted=True).verdict == one.accepted


# --- the table itself -----------------------------------------------------------------------------


def test_every_kind_has_every_edge() -> None:
    assert set(TABLE) == set(LIMITS) == set(STEP) == set(KINDS)
    assert {kind: set(edges) for kind, edges in TABLE.items()} == {
        kind: set(EDGES) for kind in KINDS
    }
    assert all(rows for edges in TABLE.values() for rows in edges.values())


def test_the_edges_that_do_not_apply_are_these_and_each_says_why() -> None:
    absent = {
        (kind, edge): rows
        for kind, edges in TABLE.items()
        for edge, rows in edges.items()
        if isinstance(rows, str)
    }
    assert len(absent) == 31
    assert all(why.startswith("does not apply: ") for why in absent.values())
    # lateness and corrections apply to every kind, as do the edge itself and what is beyond it
    assert not {edge for _, edge in absent} & {EXACT, BEYOND, LATE, CORRECTED}


@pytest.mark.parametrize("kind", KINDS)
def test_one_digit_beyond_the_edge_turns_the_verdict(kind: str) -> None:
    on, beyond = TABLE[kind][EXACT], TABLE[kind][BEYOND]
    assert {one.expect for one in on if isinstance(one, Row)} == {M}
    assert M not in {one.expect for one in beyond if isinstance(one, Row)}


@pytest.mark.parametrize("kind", KINDS)
def test_a_late_entry_makes_a_deviation_milder_only_once_it_is_accepted(kind: str) -> None:
    rows = TABLE[kind][LATE]
    assert any(isinstance(one, Row) and (one.expect, one.accepted) == (D, M) for one in rows)


@pytest.mark.parametrize("kind", KINDS)
def test_an_edge_that_applies_shows_both_verdicts_where_it_can(kind: str) -> None:
    """On the day of the change, and in °F against °C, one row holds and one does not."""
    for edge in (CHANGE, FAHRENHEIT):
        rows = TABLE[kind][edge]
        assert isinstance(rows, str) or {one.expect for one in rows} == {M, D}, edge
