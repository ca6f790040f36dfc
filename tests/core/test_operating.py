"""Operating limits proposed from critical limits and a thermometer's accuracy."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lots.core.limits import Lethality, limit_from, looser
from lots.core.operating import NoProposal, accuracy_of, propose
from lots.core.units import NINTHS_PER_C, NINTHS_PER_F, read_span
from tests.core.make import held, make_limit

TWO_F = 2 * NINTHS_PER_F
SOURCED = {"source": "invented", "flag": "to be confirmed"}
HEAT = {
    "kind": "maintained",
    "at_least": "145 °F (62.8 °C)",
    "for": "30 min",
    "longest_gap": "10 min",
}
LISTERIA = {
    "kind": "lethality", "at_least": "2 min", "reference": "70 °C", "z": "7.5 °C",
    "lowest": "145 °F (63 °C)", "longest_gap": "10 min",
}  # fmt: skip
BAND = {"kind": "exposure", "above": "50 °F (10 °C)", "at_most": "4 h", "longest_gap": "30 min"}
STAGES = [
    {"to": "70 °F (21 °C)", "within": "2 h", "counted_from": "the start"},
    {"to": "40 °F (4 °C)", "within": "4 h", "counted_from": "the stage before"},
]


def figures(accuracy: int = TWO_F, **data: Any) -> dict[str, Any]:
    found = propose({"id": "x", **data}, accuracy, "±2 °F")
    assert isinstance(found, dict), found
    return {key: value for key, value in found.items() if key not in SOURCED}


def test_a_lowest_limit_gets_the_device_s_error_added() -> None:
    # FSIS Cooking Guideline, Dec 2021, monitoring: a 165 °F limit with a ±1 °F device → 166 °F
    found = figures(NINTHS_PER_F, kind="at least", of="fish", at_least="165 °F")
    assert found == {"at_least": "166 °F"}


@pytest.mark.parametrize(
    ("data", "proposed"),
    [
        ({"kind": "at most", "at_most": "40 °F (4.4 °C)"}, {"at_most": "38 °F (3.3 °C)"}),
        ({"kind": "at most", "at_most": "4.4 °C"}, {"at_most": "3.3 °C"}),
        ({"kind": "at least", "at_least": "145 °F (62.8 °C)"}, {"at_least": "147 °F (63.9 °C)"}),
        (
            {"kind": "between", "at_least": "50 °F", "at_most": "70 °F"},
            {"at_least": "52 °F", "at_most": "68 °F"},
        ),
        (HEAT, {"at_least": "147 °F (63.9 °C)"}),
        (
            {"kind": "maintained", "at_most": "−4 °F (−20 °C)", "for": "168 h", "longest_gap": "26 h"},
            {"at_most": "−6 °F (−21.1 °C)"},
        ),
        (BAND | {"up_to": "135 °F"}, {"above": "48 °F (8.9 °C)", "up_to": "137 °F"}),
        (LISTERIA, {"at_least": "2.9 min", "lowest": "147 °F (64.1 °C)"}),
        (LISTERIA | {"at_least": "20 s", "lowest": ""}, {"at_least": "29 s"}),
    ],
)  # fmt: skip
def test_a_limit_is_moved_to_its_stricter_side(
    data: dict[str, Any], proposed: dict[str, Any]
) -> None:
    assert figures(**data) == proposed


def test_each_stage_of_cooling_goes_lower_and_keeps_its_time() -> None:
    found = figures(kind="cooling", of="fish", **{"from": "140 °F"}, stages=STAGES)
    assert [stage["to"] for stage in found["stages"]] == ["68 °F (19.9 °C)", "38 °F (2.9 °C)"]
    assert [stage["within"] for stage in found["stages"]] == ["2 h", "4 h"]


def test_the_source_says_how_it_was_got_and_that_it_is_to_be_confirmed() -> None:
    found = propose({"id": "x", "kind": "at most", "at_most": "40 °F"}, TWO_F, "±2 °F")
    assert isinstance(found, dict)
    words = "stricter than the critical limit by the thermometer's accuracy, ±2 °F"
    assert (found["source"], found["flag"]) == (words, "to be confirmed")
    longer = propose({"id": "x", **LISTERIA}, TWO_F, "±2 °F")
    assert isinstance(longer, dict)
    # 10^(2 °F ÷ 13.5 °F) = 1.4065, and 2 min × 1.4065 = 2.813 min: computed
    assert f"{words}: the time × 1.407, which is 10 to the power of" in longer["source"]


def test_the_longer_time_is_met_even_with_every_reading_lowered_by_the_accuracy() -> None:
    longer = read_span(str(figures(**LISTERIA)["at_least"])) / 60_000
    critical = make_limit(of="fish", **LISTERIA)
    # at 71 °C as read, exactly so long; then the same pieces, 2 °F (1.111 °C) cooler than read
    rate = 10 ** ((71 - 70) / 7.5)
    minutes = longer / rate
    page, lower = (f"00:00 {c}, 00:{minutes:.9f} {c}" for c in ("71", "69.889"))
    assert held(make_limit(of="fish", **LISTERIA), "00:00 to 01:00", page).verdict == "MET"
    assert held(critical, "00:00 to 01:00", lower).verdict == "MET"


REASONS = {
    "every": ({"kind": "every", "within": "2 h"}, "how often it is read"),
    "duration": ({"kind": "duration", "at_most": "2 h"}, "clock's error"),
    "accurate": ({"kind": "accurate", "within": "24 h"}, "is what this limit looks at"),
    "measured": ({"kind": "measured", "quantity": "salt", "at_least": "3 %"}, "has no part in this"),
    "observed": ({"kind": "observed", "what": "ice"}, "no operating limit"),
    "a combination": (
        {"kind": "any of", "limits": [{"kind": "observed", "what": "a"}, {"kind": "observed", "what": "b"}]},
        "propose one for its parts"),
    "figures not stated": ({"kind": "lethality"}, "Fill in the critical limit first"),
    "a figure that cannot be read": ({"kind": "at most", "at_most": "cold"}, "cannot be read yet"),
    "a band as narrow as the accuracy": (
        {"kind": "between", "at_least": "40 °F", "at_most": "42 °F"}, "leave nothing"),
}  # fmt: skip


@pytest.mark.parametrize("case", REASONS)
def test_where_nothing_is_proposed_the_reason_is_said(case: str) -> None:
    data, words = REASONS[case]
    found = propose({"id": "x", **data}, TWO_F)
    assert isinstance(found, NoProposal)
    assert words in found.reason


def test_no_accuracy_is_no_proposal() -> None:
    assert isinstance(propose({"id": "x", "kind": "at most", "at_most": "4 °C"}, 0), NoProposal)


@pytest.mark.parametrize(
    ("text", "ninths"),
    [
        ("±2 °F", TWO_F),
        ("±1 °C", NINTHS_PER_C),
        ("+/- 0.5 °C (0.9 °F)", 4500),
        ("±1 °F from 32 °F to 212 °F", NINTHS_PER_F),
        ("±1 °F, above 200 °F ±2 °F", TWO_F),  # in doubt against the processor
        ("2 °F at 32 °F", TWO_F),
        ("±0,5 °C", 4500),
        ("1 % of span", None),
        ("", None),
    ],
)
def test_the_accuracy_is_read_from_the_maker_s_words(text: str, ninths: int | None) -> None:
    assert accuracy_of(text) == ninths


tenths = st.integers(-300, 2500).map(lambda n: f"{n / 10:g}".replace("-", "−"))
temperatures = st.builds(lambda n, unit: f"{n} °{unit}", tenths, st.sampled_from("CF"))
both = st.integers(-40, 250).map(
    lambda f: f"{f} °F ({round((f - 32) * 5 / 9, 1):g} °C)".replace("-", "−")
)
bounds = temperatures | both
spans = st.integers(1, 600).map(lambda n: f"{n} min") | st.integers(1, 100).map(lambda n: f"{n} s")
zs = st.integers(10, 200).map(lambda n: f"{n / 10:g} °C")
limits = st.one_of(
    st.builds(lambda t: {"kind": "at most", "at_most": t}, bounds),
    st.builds(lambda t: {"kind": "at least", "at_least": t}, bounds),
    st.builds(lambda a, b: {"kind": "between", "at_least": a, "at_most": b}, bounds, bounds),
    st.builds(lambda t, n: {"kind": "maintained", "at_least": t, "for": n}, bounds, spans),
    st.builds(lambda t, n: {"kind": "maintained", "at_most": t, "for": n}, bounds, spans),
    st.builds(
        lambda n, t, z, w, low: {
            "kind": "lethality", "at_least": n, "reference": t, "z": z, "z_above": w, "lowest": low},
        spans, bounds, zs, zs | st.just(""), bounds | st.just("")),
    st.builds(
        lambda t, u, n: {"kind": "exposure", "above": t, "up_to": u, "at_most": n},
        bounds, bounds | st.just(""), spans),
    st.builds(
        lambda a, b, n, m: {
            "kind": "cooling", "from": "end of the step before", "stages": [
                {"to": a, "within": n, "counted_from": "the stage before"},
                {"to": b, "within": m, "counted_from": "the stage before"}]},
        bounds, bounds, spans, spans),
)  # fmt: skip


@given(limits, st.integers(1, 5 * NINTHS_PER_C))
@settings(max_examples=400, deadline=None)
def test_a_proposal_is_never_looser_than_its_critical_limit(
    data: dict[str, Any], accuracy: int
) -> None:
    found = propose({"id": "x", **data}, accuracy)
    if isinstance(found, NoProposal):
        assert found.reason
        return
    limit = limit_from({"id": "x", **data, "operating": found})
    assert limit.operating is not None
    assert not looser(limit.rule, limit.operating)


@given(st.integers(1, 20_000), zs, st.integers(1, 3 * NINTHS_PER_C))
@settings(max_examples=200, deadline=None)
def test_a_longer_equivalent_time_covers_the_accuracy(seconds: int, z: str, accuracy: int) -> None:
    data = {"kind": "lethality", "at_least": f"{seconds} s", "reference": "70 °C", "z": z}
    found = propose({"id": "x", **data}, accuracy)
    assert isinstance(found, dict)
    limit = limit_from({"id": "x", **data, "operating": found})
    assert isinstance(limit.rule, Lethality) and isinstance(limit.operating, Lethality)
    least = limit.rule.at_least_ms * 10 ** (accuracy / limit.rule.z)
    assert limit.operating.at_least_ms >= least * (1 - 1e-9)
