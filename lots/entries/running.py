"""Running states: the folds of a load's limits so far, carried on reading by reading.

They are a cache that can be thrown away.  A reading that comes after all that went before is folded
onto them; one that comes earlier is folded from the last checkpoint before it; what moves the load's
time, or corrects, throws them away.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from lots.core import judging
from lots.core.folds import Span
from lots.core.judging import Series
from lots.core.limits import Limit
from lots.core.series import Chunk
from lots.core.units import MS_PER_H, MS_PER_MIN
from lots.core.watch import Picture, flats, pictured
from lots.entries.book import canonical
from lots.models.lot import Load, LoadPart, ProbeLeft
from lots.models.plan import PlanVersion
from lots.models.reading import Reading
from lots.models.scratch import Checkpoint, LoadPicture, RunningState
from lots.queries import evidence as seen
from lots.queries.house import rules
from lots.queries.judgements import limit_states
from lots.queries.kept_small import deflated, inflated, states_from, states_text
from lots.queries.plans import plan_value
from lots.queries.series_of import series_of, subject_of_row
from lots.queries.sight import Sight, spans_of

APART_MS: Final = 20 * MS_PER_MIN  # between checkpoints of a running load
BACK_MS: Final = (
    MS_PER_H + 5 * MS_PER_MIN
)  # a checkpoint at least so old is kept: an hour late is common
KEPT: Final = 6  # checkpoints of a load

Key = tuple[int, str]  # plan version, limit
States = dict[Key, dict[str, Any]]


@dataclass
class Running:
    """What is known of a load's limits after every reading so far."""

    states: States
    lasts: dict[str, int]  # "subject|probe" → its newest reading
    picture: Picture

    @property
    def newest(self) -> int | None:
        return max(self.lasts.values(), default=None)


def parts_in(load: Load) -> list[LoadPart]:
    """The lots' parts in a load, with what judging needs of them."""
    parts = LoadPart.objects.filter(load=load).select_related(
        "load__place__within", "lot__plan_version"
    )
    return list(parts.prefetch_related("load__moves", "load__ends__accepted").order_by("id"))


def limits_of(load: Load) -> dict[Key, tuple[PlanVersion, Limit]]:
    """Each limit that the load is held against, once a plan version."""
    return {
        (part.lot.plan_version_id, limit.id): (part.lot.plan_version, limit)
        for part in parts_in(load)
        for _, limit in plan_value(part.lot.plan_version).held_at(part.step)
    }


def forget_states(loads: Iterable[Load]) -> None:
    """Throws running states away; they are folded anew when next needed."""
    numbers = [load.pk for load in loads]
    for model in (RunningState, LoadPicture, Checkpoint):
        model.objects.filter(load__in=numbers).delete()


# --- reading and writing them ---------------------------------------------------------------------


def _stored(load: Load, limits: Mapping[Key, Any]) -> Running | None:
    """The running states as stored; None where one is missing."""
    states: States = {}
    lasts: dict[str, int] = {}
    for row in RunningState.objects.filter(load=load):
        states[row.plan_version_id, row.limit_id] = states_from(row.states)
        lasts = json.loads(row.last_at)
    picture = LoadPicture.objects.filter(load=load).values_list("picture", flat=True).first()
    if picture is None or not states.keys() >= limits.keys():
        return None
    return Running(states, lasts, inflated(picture))


def store(load: Load, running: Running) -> None:
    """Writes the states in place of those that stand."""
    RunningState.objects.filter(load=load).delete()
    lasts = canonical(running.lasts)
    RunningState.objects.bulk_create(
        RunningState(
            load=load,
            plan_version_id=version,
            limit_id=limit,
            states=states_text(one),
            last_at=lasts,
        )
        for (version, limit), one in running.states.items()
    )
    picture = deflated(running.picture)
    LoadPicture.objects.update_or_create(load=load, defaults={"picture": picture})


def _packed(running: Running) -> bytes:
    states = [[version, limit, one] for (version, limit), one in sorted(running.states.items())]
    return deflated({"states": states, "lasts": running.lasts, "picture": running.picture})


def _unpacked(content: bytes) -> Running:
    data = inflated(content)
    states = {(version, limit): one for version, limit, one in data["states"]}
    return Running(states, data["lasts"], data["picture"])


def mark(load: Load, running: Running) -> None:
    """Keeps a checkpoint of the states, and of the older ones as many as a late reading may need."""
    at = running.newest
    if at is None:
        return
    rows = list(Checkpoint.objects.filter(load=load).order_by("at").values_list("pk", "at"))
    if rows and at - rows[-1][1] < APART_MS:
        return
    Checkpoint.objects.create(load=load, at=at, content=_packed(running))
    Checkpoint.objects.filter(pk__in=[pk for pk, _ in rows[: -(KEPT - 1)]]).delete()


# --- one reading more -----------------------------------------------------------------------------


def advance_states(load: Load, reading: Reading) -> None:
    """Carries the load's running states on by one reading."""
    limits = limits_of(load)
    if not limits:
        return
    running = _stored(load, limits)
    span, monitored_span, _ = spans_of(load)
    inside = span.start <= reading.observed_at <= span.until(reading.observed_at)
    gone = ProbeLeft.objects.filter(load=load).exists()
    if running is None or reading.corrects_id or span != monitored_span or not inside or gone:
        fold_states(load)
        return
    late = seen.is_late(reading, reading.observed_at)
    if late or not _follows(running, load, reading):
        if not _replay(load, reading, limits, span):
            fold_states(load)
        return
    mark(load, running)
    if not _carried_on(load, running, reading, limits, span):
        fold_states(load)


def _key(load: Load, reading: Reading) -> str:
    return f"{subject_of_row(load, reading.place_id, reading.load_id)}|{reading.probe}"


def _follows(running: Running, load: Load, reading: Reading) -> bool:
    """Whether the reading comes after all that is known of its probe, and the probe is in every side
    of the states already."""
    last = running.lasts.get(_key(load, reading))
    if last is None or last >= reading.observed_at:
        return False
    return all(_same_probes(one) for one in running.states.values())


def _same_probes(sides: Mapping[str, Any]) -> bool:
    if "monitored" not in sides:
        return True
    other = sides["monitored"]
    return all(set(probes) == set(other.get(name, {})) for name, probes in sides["known"].items())


def _carried_on(
    load: Load,
    running: Running,
    reading: Reading,
    limits: Mapping[Key, tuple[PlanVersion, Limit]],
    span: Span,
) -> bool:
    """Folds the reading onto the states; False where it shows that a probe lay flat, so that what was
    credited meanwhile must be taken back."""
    subject = subject_of_row(load, reading.place_id, reading.load_id)
    chunk = Chunk([reading.observed_at], [reading.value], "F" if reading.unit == "F" else "C")
    picture, flat = running.picture, {}
    if subject == "fish":
        picture = pictured(running.picture, reading.probe, chunk, rules().flat)
        flat = flats(picture, rules().flat)
        if _begun(flat) != _begun(flats(running.picture, rules().flat)):
            return False
    states = {
        key: {
            side: judging.advance(limits[key][1], one, subject, reading.probe, chunk, span, flat)
            for side, one in sides.items()
        }
        for key, sides in running.states.items()
        if key in limits
    }
    lasts = {**running.lasts, _key(load, reading): reading.observed_at}
    _update(load, running, Running(states, lasts, picture))
    return True


def _begun(flat: Mapping[str, Iterable[tuple[int, int]]]) -> list[tuple[str, int]]:
    return sorted((probe, since) for probe, runs in flat.items() for since, _ in runs)


def _update(load: Load, before: Running, after: Running) -> None:
    """Writes only what is no longer as it was."""
    rows = {
        (row.plan_version_id, row.limit_id): row for row in RunningState.objects.filter(load=load)
    }
    lasts = canonical(after.lasts)
    for key, row in rows.items():
        row.states, row.last_at = states_text(after.states[key]), lasts
    RunningState.objects.bulk_update(rows.values(), ["states", "last_at"])
    if after.picture != before.picture:
        LoadPicture.objects.filter(load=load).update(picture=deflated(after.picture))


# --- from a checkpoint ----------------------------------------------------------------------------


def _replay(
    load: Load, reading: Reading, limits: Mapping[Key, tuple[PlanVersion, Limit]], span: Span
) -> bool:
    """Folds the readings anew from the last checkpoint before this one; False where there is none to
    go on from."""
    Checkpoint.objects.filter(load=load, at__gte=reading.observed_at).delete()
    row = Checkpoint.objects.filter(load=load).order_by("-at").first()
    if row is None:
        return False
    running = _unpacked(row.content)
    if not running.states.keys() >= limits.keys():
        return False
    found = series_of(load, span, span, Sight(since=row.at))
    again = _from(running, limits, found.series, found.monitored, found.differs, span)
    if again is None:
        return False
    store(load, again)
    return True


def _from(
    running: Running,
    limits: Mapping[Key, tuple[PlanVersion, Limit]],
    series: Series,
    monitored: Series,
    differs: bool,
    span: Span,
) -> Running | None:
    """The states after these readings too; None where they cannot be had by going on, as with a probe
    not seen before: a cooling's clock looks back into the step before for it."""
    limited = ((limit, running.states[key]) for key, (_, limit) in limits.items())
    if not all(_knows(limit, sides, series, monitored) for limit, sides in limited):
        return None
    if (
        not {f"{of}|{probe}" for of, each in series.items() for probe in each}
        <= running.lasts.keys()
    ):
        return None
    picture = running.picture
    for probe, runs in series.get("fish", {}).items():
        for run in runs:
            picture = pictured(picture, probe, run, rules().flat)
    flat = flats(picture, rules().flat)
    if _begun(flat) != _begun(flats(running.picture, rules().flat)):
        return None
    states = {}
    for key, (_, limit) in limits.items():
        sides = running.states[key]
        states[key] = {"known": _folded(limit, sides["known"], series, span, flat)}
        if differs or "monitored" in sides:
            before = sides.get("monitored", sides["known"])
            states[key]["monitored"] = _folded(limit, before, monitored, span, flat)
    lasts = {**running.lasts, **_lasts(series)}
    return Running(states, lasts, picture)


def _knows(limit: Limit, sides: Mapping[str, Any], series: Series, monitored: Series) -> bool:
    """Whether each probe that the limit looks at has been seen on its side."""
    for states, each in (
        (sides["known"], series),
        (sides.get("monitored", sides["known"]), monitored),
    ):
        for leaf in limit.leaves():
            if leaf.id in states and not each.get(leaf.of, {}).keys() <= states[leaf.id].keys():
                return False
    return True


def _folded(
    limit: Limit, states: judging.States, series: Series, span: Span, flat: judging.Flats
) -> judging.States:
    for of, probes in series.items():
        for probe, runs in probes.items():
            for run in runs:
                states = judging.advance(limit, states, of, probe, run, span, flat)
    return states


def _lasts(series: Series) -> dict[str, int]:
    return {
        f"{of}|{probe}": runs[-1].at[-1]
        for of, probes in series.items()
        for probe, runs in probes.items()
        if runs
    }


# --- from the beginning ---------------------------------------------------------------------------


def folded(load: Load, found: seen.LoadEvidence) -> tuple[Running, Running | None]:
    """The load's running states from all its readings, and those of an hour before the newest."""
    limits = limits_of(load)
    newest = max(_lasts(found.series).values(), default=None)
    earlier = None if newest is None else _all_states(limits, _cut(found, None, newest - BACK_MS))
    if earlier is not None and earlier.newest is not None:
        since = earlier.newest + 1
        rest = _cut(found, since, None)
        whole = _from(
            earlier, limits, rest.series, rest.monitored_series, found.differs, found.span
        )
        if whole is not None:
            return whole, earlier
    return _all_states(limits, found), None


def _all_states(
    limits: Mapping[Key, tuple[PlanVersion, Limit]], found: seen.LoadEvidence
) -> Running:
    states = {key: limit_states(limit, found) for key, (_, limit) in limits.items()}
    return Running(states, _lasts(found.series), found.picture)


def _cut(found: seen.LoadEvidence, since: int | None, until: int | None) -> seen.LoadEvidence:
    """The evidence with only the readings from a moment on, or up to one."""

    def part(series: Series) -> dict[str, dict[str, list[Chunk]]]:
        return {
            of: {
                probe: kept
                for probe, runs in probes.items()
                if (kept := [cut for run in runs if len(cut := run.between(since, until))])
            }
            for of, probes in series.items()
        }

    return replace(found, series=part(found.series), monitored_series=part(found.monitored_series))


def fold_states(load: Load, found: seen.LoadEvidence | None = None) -> None:
    """Folds the load's running states anew, from all its readings."""
    if not limits_of(load):
        return
    put_running(load, *folded(load, seen.evidence(load) if found is None else found))


def put_running(load: Load, running: Running, earlier: Running | None) -> None:
    """Writes states folded anew, and the checkpoint before them."""
    Checkpoint.objects.filter(load=load).delete()
    store(load, running)
    mark(load, running if earlier is None else earlier)
