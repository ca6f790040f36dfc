"""Exposure over several steps together, with the time between them."""

from typing import Any

import pytest

from lots.core import judging
from lots.core.finding import Finding
from lots.core.judging import Earlier, Facts
from lots.core.limits import Limit, limit_from
from lots.core.series import Chunk
from lots.core.units import MS_PER_MIN
from tests.core.make import at, make_readings, make_step

DATA: dict[str, Any] = {
    "id": "exposure", "kind": "exposure", "of": "fish", "above": "50 °F", "up_to": "135 °F",
    "at_most": "2 h", "longest_gap": "30 min", "steps": ["brine", "dry", "hold"],
}  # fmt: skip
LIMIT = limit_from(DATA)


def load(step: str, *pages: str, before: tuple[Earlier, ...] = ()) -> Earlier:
    """A load of an earlier step; a page a probe."""
    probes = {f"fish {n}": make_readings(page) for n, page in enumerate(pages, 1) if page}
    return Earlier({"fish": probes}, make_step(step), before)


def found(step: str, page: str, *earlier: Earlier, limit: Limit = LIMIT, now: str = "") -> Finding:
    span = make_step(step)
    runs: dict[str, list[Chunk]] = {"fish 1": make_readings(page)} if page else {}
    states = judging.start(limit, {"fish": runs}, span, earlier=earlier)
    moment = at(now) if now else span.end
    assert moment is not None
    return judging.judge(limit, states, Facts(span), moment)


def exposed(finding: Finding) -> float:
    return finding.numbers["exposed_ms"] / MS_PER_MIN


BRINE = load("08:00 to 09:00", "08:00 60 F, 08:30 60 F, 09:00 60 F")
COLD_DRY = "09:00 50 F, 09:30 50 F, 10:00 50 F"


def dried(page: str = COLD_DRY, *before: Earlier) -> Earlier:
    return load("09:00 to 10:00", page, before=before or (BRINE,))


def test_the_steps_together_count_as_one() -> None:
    warm_dry = dried("09:00 60 F, 09:30 60 F, 10:00 50 F")
    held = found("10:00 to 11:00", "10:00 50 F, 10:30 50 F, 11:00 50 F", warm_dry)
    assert (held.verdict, exposed(held)) == ("MET", 120)
    # brine 60 min, dry 60 min, and a last minute in the cooler
    more = found("10:00 to 11:00", "10:00 50 F, 10:30 50 F, 10:59 50.1 F, 11:00 50 F", warm_dry)
    assert (more.verdict, exposed(more)) == ("DEVIATION", 150)
    alone = found("10:00 to 11:00", "10:00 50 F, 10:30 50 F, 11:00 50 F")
    assert exposed(alone) == 0


def test_the_time_between_the_steps_counts_where_the_fish_was_in_the_band() -> None:
    """Brined until 09:00 at 60 °F, in the dry room from 09:20: 20 min on the way."""
    dry = load("09:20 to 10:00", "09:20 50 F, 09:40 50 F, 10:00 50 F", before=(BRINE,))
    held = found("10:00 to 10:30", "10:00 50 F, 10:30 50 F", dry)
    assert (held.verdict, exposed(held)) == ("MET", 80)


def test_the_time_between_counts_whole_where_it_is_longer_than_the_longest_gap() -> None:
    cold = load("08:00 to 09:00", "08:00 40 F, 08:30 40 F, 09:00 40 F")
    near = found("09:30 to 10:00", "09:30 40 F, 10:00 40 F", cold)
    far = found("09:31 to 10:00", "09:31 40 F, 10:00 40 F", cold)
    assert (exposed(near), exposed(far)) == (0, 31)


def test_cold_on_both_sides_of_a_short_way_counts_nothing() -> None:
    dry = dried(COLD_DRY, load("08:00 to 08:50", "08:00 40 F, 08:30 40 F, 08:50 40 F"))
    assert exposed(found("10:00 to 10:30", "10:00 50 F, 10:30 50 F", dry)) == 0


@pytest.mark.parametrize(("until", "verdict"), [("11:00", "MET"), ("11:00.01", "DEVIATION")])
def test_it_breaks_in_the_later_step_by_what_the_earlier_ones_brought(
    until: str, verdict: str
) -> None:
    page = f"10:00 60 F, 10:30 60 F, 10:59 60 F, {until} 50 F, 11:20 50 F"
    told = found("10:00 to 11:20", page, dried())
    assert told.verdict == verdict
    if verdict == "DEVIATION":
        assert told.broke_at == at("11:00")


def test_of_two_ways_that_the_fish_may_have_come_the_warmer_counts() -> None:
    other = load("08:00 to 09:00", "08:00 60 F, 08:30 50 F, 09:00 50 F")
    page = "09:00 50 F, 09:30 50 F"
    assert exposed(found("09:00 to 09:30", page, BRINE)) == 60
    assert exposed(found("09:00 to 09:30", page, other)) == 30
    assert exposed(found("09:00 to 09:30", page, BRINE, other)) == 60
    assert exposed(found("09:00 to 09:30", page, other, BRINE)) == 60


def test_of_two_ways_the_one_that_ended_earlier_leaves_the_longer_time_between() -> None:
    short = load("08:00 to 08:40", "08:00 50 F, 08:20 50 F, 08:40 60 F")  # 20 min, then on the way
    told = found("09:10 to 09:30", "09:10 50 F, 09:30 50 F", BRINE, short)
    # at the worst 60 min brined, and from 08:40 to 09:10 on the way
    assert exposed(told) == 90


def test_of_several_fish_of_one_load_the_warmest_hands_on() -> None:
    two = load(
        "08:00 to 09:00", "08:00 50 F, 08:30 50 F, 09:00 50 F", "08:00 60 F, 08:30 60 F, 09:00 60 F"
    )
    assert exposed(found("09:00 to 09:30", "09:00 50 F, 09:30 50 F", two)) == 60


def test_a_step_without_readings_counts_whole_by_the_gap_that_it_leaves() -> None:
    """Brined to 09:00 and read again at 10:00: an hour unread, in a dry room or not."""
    unread = dried("")
    told = found("10:00 to 10:30", "10:00 50 F, 10:30 50 F", unread)
    assert (told.verdict, exposed(told)) == ("MET", 120)
    more = found("10:00 to 10:30", "10:01 50 F, 10:30 50 F", unread)
    assert (more.verdict, exposed(more)) == ("DEVIATION", 121)


def test_a_first_step_without_readings_counts_from_its_start() -> None:
    unread = load("08:00 to 09:00", "")
    assert exposed(found("09:00 to 09:30", "09:00 50 F, 09:30 50 F", unread)) == 60


def test_this_step_without_readings_is_pending_and_then_a_deviation() -> None:
    assert found("10:00 on", "", dried(), now="10:30").verdict == "PENDING"
    assert found("10:00 to 10:30", "", dried()).verdict == "DEVIATION"


def test_a_limit_that_names_no_steps_looks_at_its_own_alone() -> None:
    alone = limit_from({**DATA, "steps": []})
    page = "10:00 50 F, 10:30 50 F"
    assert exposed(found("10:00 to 10:30", page, dried(), limit=alone)) == 0


def test_a_stricter_time_is_broken_in_an_earlier_step_already() -> None:
    strict = limit_from({**DATA, "at_most": "30 min"})
    told = found("10:00 to 10:30", "10:00 50 F, 10:30 50 F", dried(), limit=strict)
    assert told.verdict == "DEVIATION"


def test_a_probe_that_comes_later_begins_with_what_was_brought_along() -> None:
    span = make_step("10:00 on")
    states = judging.start(LIMIT, {"fish": {}}, span, earlier=(dried(),))
    for clock in ("10:00", "10:30", "11:00", "11:01"):
        for part in make_readings(f"{clock} 60 F"):
            states = judging.advance(LIMIT, states, "fish", "late fish", part, span)
    told = judging.judge(LIMIT, states, Facts(span), at("11:01"))
    assert (told.verdict, told.broke_at) == ("DEVIATION", at("11:00"))
    page = "10:00 60 F, 10:30 60 F, 11:00 60 F, 11:01 60 F"
    assert told.numbers == found("10:00 on", page, dried(), now="11:01").numbers


def test_steps_folded_one_by_one_are_those_folded_at_once() -> None:
    """The same readings as one long step with the same times, and as three."""
    pages = (
        "08:00 60 F, 08:30 60 F, 09:00 40 F",
        "09:00 40 F, 09:30 55 F, 10:00 40 F",
        "10:00 40 F, 10:30 40 F",
    )
    brine = load("08:00 to 09:00", pages[0])
    parts = found("10:00 to 10:30", pages[2], load("09:00 to 10:00", pages[1], before=(brine,)))
    whole = found("08:00 to 10:30", ", ".join(pages))
    assert exposed(parts) == exposed(whole) == 120
