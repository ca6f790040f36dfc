"""What a lot's limits showed, and what they would have shown had the instrument been off all along."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from lots.core import judging
from lots.core.finding import Finding
from lots.core.judging import SERIES_RULES, Series
from lots.core.limits import Every, Limit, Verdict, demand
from lots.core.plan import ControlPoint
from lots.core.series import Chunk
from lots.models.house import AccuracyCheck
from lots.models.lot import Load, LoadPart
from lots.queries.accuracy_checks import off_by
from lots.queries.evidence import LoadEvidence, evidence, load_facts
from lots.queries.instrument_in_doubt import Used, subject_in
from lots.queries.judgements import limit_states
from lots.queries.look_back import Relied
from lots.queries.plans import plan_value

Seen = set[tuple[str, int, int]]  # subject, moment, ninths: the instrument's readings


@dataclass(frozen=True)
class Effect:
    """A limit that looks at readings of the instrument: what it shows as read, and what it would show
    were each of these readings off by as much as the check found."""

    part: LoadPart
    used: Used
    point: ControlPoint
    limit: Limit
    as_read: Finding
    if_off: Finding

    @property
    def demand(self) -> str:
        return demand(self.limit)

    @property
    def worse(self) -> bool:
        """Whether the critical limit would not be met: the error could matter."""
        worse = self.if_off.verdict.rank > self.as_read.verdict.rank
        return worse and self.if_off.verdict is not Verdict.ADJUST


class Effects:
    """Reads each load once for all the lots that stood there."""

    def __init__(self, check: AccuracyCheck, at: int) -> None:
        self.off = off_by(check)
        self.at = at
        self._found: dict[int, tuple[LoadEvidence, LoadEvidence]] = {}
        self._effects: dict[tuple[int, int, str], tuple[Finding, Finding]] = {}

    def of(self, lot: Relied) -> list[Effect]:
        """Every limit of the lot that looks at what the instrument read, in order of the loads."""
        return [
            Effect(part, used, point, limit, *self._both(part, used, limit))
            for part, used in lot.uses
            for point, limit in plan_value(part.lot.plan_version).held_at(part.step)
            if _looks(limit, used)
        ]

    def _both(self, part: LoadPart, used: Used, limit: Limit) -> tuple[Finding, Finding]:
        key = part.load_id, part.lot.plan_version_id, limit.id
        if key not in self._effects:
            as_read, if_off = self._evidence(used)
            self._effects[key] = self._judge(limit, as_read), self._judge(limit, if_off)
        return self._effects[key]

    def _judge(self, limit: Limit, found: LoadEvidence) -> Finding:
        states = limit_states(limit, found)["known"]
        return judging.judge(limit, states, load_facts(found.load).facts, self.at)

    def _evidence(self, used: Used) -> tuple[LoadEvidence, LoadEvidence]:
        if used.load.pk not in self._found:
            found = evidence(used.load)
            seen = _seen(used)
            shifted = replace(
                found,
                series=_shifted(found.series, seen, self.off),
                monitored_series=_shifted(found.monitored_series, seen, self.off),
            )
            self._found[used.load.pk] = found, shifted
        return self._found[used.load.pk]


def _looks(limit: Limit, used: Used) -> bool:
    """Whether a part of the limit looks at how warm it was where the instrument read."""
    return any(
        isinstance(leaf.rule, SERIES_RULES)
        and not isinstance(leaf.rule, Every)
        and leaf.of in used.subjects
        for leaf in limit.leaves()
    )


def _seen(used: Used) -> Seen:
    load: Load = used.load
    found = {
        (subject_in(load, row.place_id, row.load_id), row.observed_at, row.value)
        for row in used.hand
    }
    for row, run in used.packed:
        subject = subject_in(load, row.place_id, row.load_id)
        found |= {(subject, at, value) for at, value in zip(run.at, run.value, strict=True)}
    return found


def _shifted(series: Series, seen: Seen, off: int) -> Series:
    """The series with the instrument's readings as they would be without its error."""
    out: dict[str, Mapping[str, list[Chunk]]] = {}
    for subject, probes in series.items():
        out[subject] = {
            probe: [_moved(run, subject, seen, off) for run in runs]
            for probe, runs in probes.items()
        }
    return out


def _moved(run: Chunk, subject: str, seen: Seen, off: int) -> Chunk:
    values = [
        value - off if (subject, at, value) in seen else value
        for at, value in zip(run.at, run.value, strict=True)
    ]
    return Chunk(run.at, values, run.unit)
