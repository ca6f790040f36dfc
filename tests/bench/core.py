"""A plan of fifteen limits, each kind among them, against 100,000 readings: times a bare loop's sum.

    SMOKEHOUSE_DATA=/tmp/bench .venv/bin/python -m tests.bench.core

No Django and no rows: series of 1,000 as unpacked, folded and judged.  Each limit is held against the
series that it is made for; beside it stands what the worst of all three series costs, which is told
and not held to.
"""

import json
import statistics
from collections.abc import Sequence
from typing import Any, Final

from lots.core import judging
from lots.core.folds import Span
from lots.core.judging import Facts, Sample, Series, Sighting
from lots.core.limits import Limit, NotJudged, Verdict, limit_from
from lots.core.series import PACK_ROWS, Chunk, pack, unpack
from lots.core.units import MS_PER_S, to_ninths
from tests.bench.curves import COOLED_S, HELD_S, SMOKED_S, cooled, heated, held, read
from tests.bench.rounds import Verdicts, in_turn, took_ms

PROBES, EACH = 4, 25_000
START: Final = 1_772_640_000_000
ROUNDS = 7
ALL_AT_MOST, ONE_AT_MOST = 30, 8
STATE_AT_MOST = 4_000  # bytes
CURVES: Final = {
    "heated": (heated, SMOKED_S),
    "cooled": (cooled, COOLED_S),
    "held": (held, HELD_S),
}
EVERY_HOUR = {"kind": "every", "within": "1 h"}
COLD = {"kind": "at most", "at_most": "40 °F (4.4 °C)", "operating": {"at_most": "38 °F (3.3 °C)"}}
HEAT = {
    "kind": "maintained", "at_least": "145 °F (62.8 °C)", "for": "30 min", "longest_gap": "20 min",
    "operating": {"at_least": "147 °F (63.9 °C)"},
}  # fmt: skip
PLAN: Final[dict[str, tuple[str, dict[str, Any]]]] = {
    "at most": ("held", COLD),
    "at least": ("heated", {"kind": "at least", "at_least": "120 °F (48.9 °C)", "window": "after 2 h"}),
    "between": ("held", {"kind": "between", "at_least": "28 °F (−2.2 °C)", "at_most": "42 °F (5.6 °C)"}),
    "maintained": ("heated", {**HEAT, "probes": 3}),
    "lethality": ("heated", {
        "kind": "lethality", "at_least": "2 min", "reference": "70 °C", "z": "7.5 °C",
        "lowest": "60 °C", "longest_gap": "10 min",
    }),
    "exposure": ("cooled", {
        "kind": "exposure", "above": "50 °F (10 °C)", "at_most": "5 h", "longest_gap": "30 min",
    }),
    "cooling": ("cooled", {
        "kind": "cooling", "from": "140 °F (60 °C)", "stages": [
            {"to": "70 °F (21.1 °C)", "within": "2 h"},
            {"to": "40 °F (4.4 °C)", "within": "6 h"},
        ],
    }),
    "duration": ("heated", {"kind": "duration", "at_least": "4 h"}),
    "every": ("heated", {"kind": "every", "within": "2 h"}),
    "measured": ("held", {"kind": "measured", "quantity": "water-phase salt", "at_least": "3.5 %"}),
    "observed": ("held", {"kind": "observed", "what": "ice round every fish"}),
    "accurate": ("heated", {"kind": "accurate", "within": "1 day", "tolerance": "2 °F"}),
    "all of": ("held", {"kind": "all of", "limits": [COLD, EVERY_HOUR]}),
    "any of": ("heated", {"kind": "any of", "limits": [
        HEAT, {**HEAT, "at_least": "150 °F (65.6 °C)", "for": "10 min", "operating": None},
    ]}),
    "given": ("held", {
        "kind": "given", "if": {"kind": "duration", "longer_than": "4 h"},
        "then": {"kind": "all of", "limits": [
            {"kind": "at most", "at_most": "38 °F (3.3 °C)"}, {"kind": "every", "within": "2 h"},
        ]},
    }),
}  # fmt: skip


def packed_series(name: str) -> dict[str, list[bytes]]:
    """The readings of four probes, packed as the book keeps them."""
    curve, seconds = CURVES[name]
    step = seconds * MS_PER_S // EACH
    out: dict[str, list[bytes]] = {}
    for probe in range(1, PROBES + 1):
        values = [to_ninths(f"{v:.1f}", "F") for v in read(curve, seconds, EACH, probe)]
        moments = [START + number * step for number in range(EACH)]
        out[f"fish {probe}"] = [
            pack(Chunk(moments[i : i + PACK_ROWS], values[i : i + PACK_ROWS], "F"))
            for i in range(0, EACH, PACK_ROWS)
        ]
    return out


PACKED: Final = {name: packed_series(name) for name in CURVES}


def unpacked(name: str) -> Series:
    """Fresh chunks, of which nothing is known yet; every subject has the same probes."""
    probes = {probe: [unpack(data) for data in rows] for probe, rows in PACKED[name].items()}
    return {"fish": probes}


def span_of(name: str) -> Span:
    return Span(START, START + CURVES[name][1] * MS_PER_S)


def facts_of(name: str) -> Facts:
    span = span_of(name)
    salt = [Sample(3_600_000 + n, span.start + n) for n in range(3)]
    return Facts(
        span, {"water-phase salt": salt}, {"ice round every fish": [Sighting(True, START)]}
    )


def limits() -> dict[str, Limit]:
    return {
        name: limit_from({"id": name.replace(" ", "-"), "of": "fish", **data})
        for name, (_, data) in PLAN.items()
    }


def judged(limit: Limit, series: Series, name: str) -> tuple[Any, Any]:
    """The states of a limit over the whole series, and what they show when the step is over."""
    span = span_of(name)
    states = judging.start(limit, series, span)
    assert span.end is not None
    return states, judging.judge(limit, states, facts_of(name), span.end)


def bare(series: Series) -> int:
    """The sum of the same numbers in a bare loop."""
    total = 0
    for runs in series["fish"].values():
        for run in runs:
            for value in run.value:
                total += value
    return total


def is_judged(limit: Limit, name: str) -> bool:
    """Whether the core judges this kind by now."""
    if isinstance(limit.rule, NotJudged):
        return False
    first = {"fish": {probe: runs[:1] for probe, runs in unpacked(name)["fish"].items()}}
    try:
        states, finding = judged(limit, first, name)
    except (TypeError, AttributeError, NotImplementedError):
        return False
    folded = all(state is not None for probes in states.values() for state in probes.values())
    return folded and isinstance(getattr(finding, "verdict", None), Verdict)


def one_ratio(limit: Limit, name: str, rounds: int = ROUNDS) -> float:
    """The limit alone over fresh chunks, in turn with the bare loop."""
    times: dict[str, list[float]] = {"judged": [], "bare": []}
    for _ in range(rounds):
        series = unpacked(name)
        times["bare"].append(took_ms(lambda s=series: bare(s)))
        times["judged"].append(took_ms(lambda s=series: judged(limit, s, name)))
    return statistics.median(times["judged"]) / statistics.median(times["bare"])


def whole_ratio(each: dict[str, Limit]) -> float:
    """All limits, each over its own series; those of one series share its chunks, as a load's do."""

    def plan(all_series: dict[str, Series]) -> None:
        for name, limit in each.items():
            judged(limit, all_series[PLAN[name][0]], PLAN[name][0])

    fresh = [{name: unpacked(name) for name in CURVES} for _ in range(ROUNDS + 1)]
    waiting = iter(fresh)
    took = in_turn(
        {"plan": lambda: plan(next(waiting)), "bare": lambda: bare(fresh[0]["heated"])}, ROUNDS
    )
    print(f"{took['plan']:10.2f} ms     all limits; a bare loop {took['bare']:.2f} ms")
    return took["plan"] / took["bare"]


def state_bytes(limit: Limit, name: str) -> int:
    states, _ = judged(limit, unpacked(name), name)
    return len(json.dumps(states, separators=(",", ":")))


def not_yet(missing: Sequence[str]) -> None:
    for name in missing:
        print(f"!!!!!!!!!! NOT MEASURED: the core does not judge “{name}” yet")


def main() -> None:
    held_to = Verdicts()
    known = {name: limit for name, limit in limits().items() if is_judged(limit, PLAN[name][0])}
    not_yet([name for name in PLAN if name not in known])
    print(
        "Times a bare loop that sums the same 100,000 numbers; in brackets over the worst series."
    )
    for name, limit in known.items():
        own = PLAN[name][0]
        _, finding = judged(limit, unpacked(own), own)
        worst = max(one_ratio(limit, other, 3) for other in CURVES)
        what = (
            f"{name} ({worst:.1f}), {own}: {finding.verdict.value}, {state_bytes(limit, own)} bytes"
        )
        held_to.hold(what, one_ratio(limit, own), ONE_AT_MOST)
    held_to.hold(f"the plan of {len(known)} limits", whole_ratio(known), ALL_AT_MOST)
    largest = max(state_bytes(limit, PLAN[name][0]) for name, limit in known.items())
    held_to.hold("the largest state of a limit", largest, STATE_AT_MOST, "bytes")
    held_to.leave()


if __name__ == "__main__":
    main()
