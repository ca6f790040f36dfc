"""What the latest readings of a running load say of its limits to come: when the core will have had its
heat, and whether cooling will meet its stages.  A forecast never decides; verdicts rest on readings.

Only limits of the fish that are not shown yet are looked at.  Each probe is forecast on its own and the
least favourable governs; one that fell silent, lies flat or is missing makes the limit "cannot say".
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final
from zoneinfo import ZoneInfo

from lots.core import judging
from lots.core.folds import Span, State, settled, stage_clock
from lots.core.forecast import Forecast, Says, StageAhead, forecast_cooling, governing
from lots.core.forecast_heat import forecast_heat, forecast_lethality
from lots.core.forecast_words import forecast_words
from lots.core.judging import CARRIED
from lots.core.lag import PLACE_MS, Reason
from lots.core.lethality import BILLIONTHS
from lots.core.limits import Cooling, Given, Lethality, Limit, Maintained, Verdict
from lots.core.moments import show_moment
from lots.core.series import Chunk
from lots.core.units import MS_PER_H, MS_PER_MIN, TempUnit, degrees, show_number, show_span
from lots.models.lot import Load
from lots.queries.evidence import end_of
from lots.queries.house import establishment
from lots.queries.judgements import Judged, Sitting
from lots.queries.series_of import series_of
from lots.queries.sight import Sight, spans_of

LOOK_BACK_MS: Final = 8 * MS_PER_H  # as far as the fit looks
DENSE_MS: Final = 3 * MS_PER_H  # of a logger's series only the newest
DENSE: Final = 240  # readings of a probe from which it is a logger's
Show = Callable[[int], str]
Pairs = list[tuple[int, int]]

CAUTION: Final = "A forecast never decides; the readings do."
MARKS: Final = {
    Says.REACHED: "had",
    Says.MEETS: "on course",
    Says.REACHES: "on course",
    Says.CANNOT_SAY: "cannot say",
    Says.NEVER: "likely to miss",
    Says.MISSES: "likely to miss",
}


def clock_in(zone: ZoneInfo, now: int) -> Show:
    """How a moment is shown: 14:05 if it is today, otherwise 4 Mar 14:05."""
    today = show_moment(now, zone).split()[:3]

    def show(at: int) -> str:
        day, month, year, hour, _ = show_moment(at, zone).split()
        return hour if [day, month, year] == today else f"{day} {month} {hour}"

    return show


@dataclass(frozen=True)
class Foreseen:
    """The forecast of one limit or of one stage of it: of the probe that governs, with its words."""

    limit_id: str
    part_id: int
    found: Forecast
    probe: str
    words: str
    short: str
    act: str = ""  # the plan's corrective action, where the forecast is a miss

    @property
    def mark(self) -> str:
        """What it comes to, in one word or two."""
        return MARKS[self.found.says]

    @property
    def css(self) -> str:
        return self.mark.replace(" ", "-")

    @property
    def misses(self) -> bool:
        return self.found.misses

    @property
    def urgency(self) -> tuple[int, int]:
        """The most pressing sorts first: a miss, then what cannot be said, then the soonest."""
        order = ("likely to miss", "cannot say", "on course", "had")
        return order.index(self.mark), self.found.deadline_at or self.found.moment_at or 0


def foreseen(load: Load, judged: Sequence[Judged], sitting: Sitting, now: int) -> list[Foreseen]:
    """The forecasts of a running load's limits that are not shown yet, in the plan's order.

    Args:
        judged: the load's limits with their judgements at `now`.
        sitting: what they were judged from.
        now: ms UTC.
    """
    if end_of(load) is not None:
        return []
    ahead = [
        (one, leaf)
        for one in judged
        if one.verdict is Verdict.PENDING
        for leaf in _leaves(one.limit)
        if leaf.of == "fish" and _foretold(leaf)
    ]
    if not ahead:
        return []
    eyes = _Eyes(load, sitting, now)
    return [found for one, leaf in ahead for found in eyes.forecasts(one, leaf)]


def most_pressing(found: Iterable[Foreseen]) -> Foreseen | None:
    """The one line that a board has room for."""
    return min(found, key=lambda one: one.urgency, default=None)


def _leaves(limit: Limit) -> Iterator[Limit]:
    """The limits that must come true: no conditions."""
    match limit.rule:
        case Given(_, then):
            yield from _leaves(then)
        case _ if hasattr(limit.rule, "parts"):
            for part in limit.rule.parts:
                yield from _leaves(part)
        case _:
            yield limit


def _foretold(leaf: Limit) -> bool:
    heat = isinstance(leaf.rule, Maintained) and leaf.rule.low is not None
    return heat or isinstance(leaf.rule, Lethality | Cooling)


def _cannot(why: str, target: int | None = None, **more: Any) -> Forecast:
    return Forecast(Says.CANNOT_SAY, target, why=why, **more)


class _Eyes:
    """The latest readings of a load, read once for all its limits."""

    def __init__(self, load: Load, sitting: Sitting, now: int) -> None:
        house = establishment()
        zone = ZoneInfo(house.zone if house else "UTC")
        self.unit: TempUnit = "C" if house and house.temperature_unit == "C" else "F"
        self.now, self.sitting, self.show = now, sitting, clock_in(zone, now)
        self.facts = sitting.facts(load).facts
        span, monitored, _ = spans_of(load)
        self.span: Span = span
        series = series_of(load, span, monitored, Sight(since=now - LOOK_BACK_MS)).series
        self.fish = {name: _latest(runs, now) for name, runs in series.get("fish", {}).items()}
        self.units = {name: runs[-1].unit for name, runs in series.get("fish", {}).items()}
        places = [_latest(runs, now) for runs in series.get("place", {}).values()]
        self.places = [pairs for pairs in places if pairs]

    def forecasts(self, judged: Judged, leaf: Limit) -> list[Foreseen]:
        """Of one limit: one forecast, or one for each stage of cooling that is still to come."""
        states = self.sitting.states(judged.part, [judged.limit])[judged.limit.id]["known"]
        shown = judging.judge(replace(leaf, operating=None), states, self.facts, self.now)
        if shown.verdict is not Verdict.PENDING:
            return []
        probes = {k: v for k, v in states.get(leaf.id, {}).items() if k != CARRIED}
        probes = {k: v for k, v in probes.items() if not self._left(k, v)}
        if isinstance(leaf.rule, Cooling):
            each = self._stages(leaf, leaf.rule, probes)
        else:
            each = [self._govern(leaf, probes, lambda name: self._heat(leaf, name, probes))]
        return [self._said(judged, name, found) for name, found in each]

    def _left(self, name: str, state: State) -> bool:
        """Whether a person said that the probe left, and it gave no reading since."""
        left = self.facts.left.get(name)
        return left is not None and state.get("seen", self.span.start) <= left

    def _govern(
        self, leaf: Limit, probes: dict[str, State], say: Callable[[str], Forecast]
    ) -> tuple[str, Forecast]:
        """The least favourable of the probes; too few of them show nothing."""
        blank = self._blank(leaf)
        found = {name: self._believed(leaf, name, probes) or say(name) for name in probes}
        if len(found) < leaf.probes:
            said = f"{len(found)} of {leaf.probes} probes read" if found else Reason.TOO_FEW.value
            found[""] = replace(blank, why=said)
        filled = {n: replace(f, target=f.target or blank.target) for n, f in found.items()}
        return _governs(filled)

    def _blank(self, leaf: Limit) -> Forecast:
        """A forecast of the limit that says nothing yet."""
        match leaf.rule:
            case Maintained(low, _, for_ms) if low is not None:
                return _cannot("", low.for_unit(self.unit), for_ms=for_ms)
            case Lethality():
                return _cannot("", None, for_ms=leaf.rule.at_least_ms)
        return _cannot("")

    def _believed(self, leaf: Limit, name: str, probes: dict[str, State]) -> Forecast | None:
        """Why a probe's course is not believed: flat while another moves, silent while another goes
        on; None where it is."""
        if name in self.facts.flat:
            return _cannot(f"{name or 'the probe'} stays flat while another moves")
        seen = probes[name].get("seen", self.span.start)
        newest = max(state.get("seen", 0) for state in probes.values())
        silent = leaf.silent_ms is not None and newest - seen > leaf.silent_ms
        if silent or not self.fish.get(name):
            return _cannot(f"{name or 'a probe'} silent since {self.show(seen)}")
        return None

    def _place(self, name: str, coldest: bool) -> Pairs | None:
        """The readings of the place, of several thermometers the least favourable; none where they
        ended long before the probe's."""
        last = self.fish[name][-1][0]
        fresh = [pairs for pairs in self.places if last - pairs[-1][0] <= PLACE_MS]
        pick = min if coldest else max
        return pick(fresh, key=_of_late, default=None)

    def _heat(self, leaf: Limit, name: str, probes: dict[str, State]) -> Forecast:
        state, unit, pairs = probes[name], self.units[name], self.fish[name]
        place, now = self._place(name, coldest=True), self.now
        gap = getattr(leaf.rule, "longest_gap_ms", None)
        match leaf.rule:
            case Maintained(low, _, for_ms) if low is not None:
                bound, run = low.for_unit(unit), state["run"]
                if run is not None and gap is not None and now - state["last"] > gap:
                    why = f"no reading for longer than {show_span(gap)}, so the time starts anew"
                    return _cannot(why, bound, for_ms=for_ms)
                already = 0 if run is None else state["last"] - run
                return forecast_heat(bound, for_ms, already, pairs, now, place)
            case Lethality() as rule:
                lowest = rule.lowest.for_unit(unit) if rule.lowest else None
                reference, have = rule.reference.for_unit(unit), state["sum"] / BILLIONTHS
                each = [
                    forecast_lethality(
                        reference, z, rule.at_least_ms, have, pairs, now, place, lowest
                    )
                    for z in {rule.z, rule.z_above}  # of two the later: neither holds everywhere
                ]
                return _governs({str(n): one for n, one in enumerate(each)})[1]
        raise ValueError(leaf.kind)

    def _stages(
        self, leaf: Limit, rule: Cooling, probes: dict[str, State]
    ) -> list[tuple[str, Forecast]]:
        """For each stage that some probe has still to reach, the probe that governs."""
        each = {name: self._cooling(leaf, rule, name, probes) for name in probes}
        first = min((len(rule.stages) - len(found) for found in each.values()), default=0)
        out = []
        for index in range(first, len(rule.stages)):
            there = {
                name: found[index - len(rule.stages)]
                for name, found in each.items()
                if len(found) >= len(rule.stages) - index
            }
            if len(each) < leaf.probes:
                few = f"{len(each)} of {leaf.probes} probes read" if each else Reason.TOO_FEW.value
                there[""] = _cannot(few, rule.stages[index].to.for_unit(self.unit))
            if there:
                out.append(_governs(there))
        return out

    def _cooling(
        self, leaf: Limit, rule: Cooling, name: str, probes: dict[str, State]
    ) -> list[Forecast]:
        """The stages that this probe has still to reach."""
        state = settled(probes[name], self.span)
        # of fish that is still hot the clock starts at its last reading so far
        since = state["hot"] if state["clock"] is None else state["clock"]
        state["clock"] = self.span.start if since is None else since
        done = len(state["reached"])
        unit = self.units.get(name, self.unit)
        ahead = [
            StageAhead(
                stage.to.for_unit(unit),
                None if clock is None else clock + stage.within_ms,
                stage.within_ms,
            )
            for index, stage in enumerate(rule.stages[done:], done)
            for clock in (stage_clock(rule, state, index),)
        ]
        doubt = self._believed(leaf, name, probes)
        if doubt is not None:
            return [replace(doubt, target=s.to, deadline_at=s.deadline_at) for s in ahead]
        pairs = [pair for pair in self.fish[name] if pair[0] >= (since or 0)]
        return forecast_cooling(ahead, pairs, self.now, self._place(name, coldest=False))

    def _said(self, judged: Judged, name: str, found: Forecast) -> Foreseen:
        words = forecast_words(found, self.show, self.unit)
        several = name and len(self.fish) > 1
        return Foreseen(
            judged.limit.id,
            judged.part.pk,
            found,
            name,
            f"{words} ({name})" if several and name not in words else words,
            short_words(found, self.show, self.unit),
            judged.point.corrective_action if found.misses else "",
        )


def _governs(found: dict[str, Forecast]) -> tuple[str, Forecast]:
    """The name of the least favourable forecast, and it."""
    names = list(found)
    marks = {name: ((index, 0),) for index, name in enumerate(names)}
    return governing(marks, lambda mark: found[names[mark[0][0]]])


def _of_late(pairs: Pairs) -> float:
    """The mean of the last hour."""
    late = [value for at, value in pairs if pairs[-1][0] - at <= PLACE_MS]
    return sum(late) / len(late)


def _latest(runs: Sequence[Chunk], now: int) -> Pairs:
    """The readings of a probe, as many as a fit needs: moments and ninths."""
    count = sum(map(len, runs))
    since = now - (DENSE_MS if count > DENSE else LOOK_BACK_MS)
    pairs = [
        pair
        for run in runs
        for part in (run.between(since, now),)
        for pair in zip(part.at, part.value, strict=True)
    ]
    stride = -(-len(pairs) // DENSE) or 1
    return pairs[::-1][::stride][::-1]  # the newest stays


def short_words(found: Forecast, show: Show, unit: TempUnit) -> str:
    """The forecast in one short line."""
    if found.target is None:
        what = f"equivalent {show_span(found.for_ms)}"
    else:
        what = f"{show_number(degrees(found.target, unit), 1)} °{unit}"
        what += f" for {show_span(found.for_ms)}" if found.for_ms else ""
    if found.says is Says.CANNOT_SAY:
        return f"{found.why} ({what})"
    if found.says is Says.NEVER:
        return f"{what} is not reached at this course"
    if found.says is Says.MISSES:
        return f"{what}, due {show(found.deadline_at)}" if found.deadline_at else what
    if found.moment_at is None:
        return what
    return f"{what} at about {show(round(found.moment_at / MS_PER_MIN) * MS_PER_MIN)}"
