"""Probes in the fish: silent, flat, pulled, back again; three asked for and one left."""

from typing import Any

import pytest

from lots.core import judging
from lots.core.finding import Finding
from lots.core.judging import Facts
from lots.core.limits import Limit, limit_from, waiting_for_files
from lots.core.series import Chunk
from lots.core.units import MS_PER_MIN, read_difference
from lots.core.watch import FlatRule, flat_now, flats, pictured
from tests.core.make import at, make_readings, make_step

HEAT = {
    "kind": "maintained",
    "at_least": "145 °F (62.8 °C)",
    "for": "30 min",
    "longest_gap": "20 min",
}
KINDS: dict[str, dict[str, Any]] = {
    "at most": {"kind": "at most", "at_most": "160 °F"},
    "at least": {"kind": "at least", "at_least": "40 °F"},
    "between": {"kind": "between", "at_least": "40 °F", "at_most": "160 °F"},
    "maintained": HEAT,
    "lethality": {"kind": "lethality", "reference": "145 °F", "z": "13.5 °F", "at_least": "30 min"},
    "exposure": {"kind": "exposure", "above": "150 °F", "at_most": "8 h", "longest_gap": "8 h"},
}  # fmt: skip
GOES_ON = "08:00 60 F, 08:30 148 F, 08:45 148 F, 09:00 147 F, 09:15 146 F, 09:30 146 F, 10:00 146 F"
COLDER = "08:00 60 F, 08:30 146 F, 08:45 147 F"  # and then nothing more

# as in fixtures/rules.toml: 15 min, 1 h, 0.2 °F, 10 °F
FLAT = FlatRule(15 * MS_PER_MIN, 4, read_difference("0.2 °F"), read_difference("10 °F"))


def of_fish(data: dict[str, Any], often: str = "30 min") -> Limit:
    asked = {"id": "read", "kind": "every", "of": "fish", "within": often}
    limit, _ = waiting_for_files(
        [limit_from({"id": "limit", "of": "fish", **data}), limit_from(asked)]
    )
    return limit


def found(
    limit: Limit,
    pages: dict[str, str],
    now: str,
    step: str = "08:00 on",
    left: dict[str, str] | None = None,
) -> Finding:
    """What is found with the flat probes noticed as the book notices them."""
    span = make_step(step)
    runs = {probe: make_readings(page) for probe, page in pages.items()}
    picture: dict[str, dict[str, list[int]]] = {}
    for probe, parts in runs.items():
        for part in parts:
            picture = pictured(picture, probe, part, FLAT)
    states = judging.start(limit, {"fish": runs}, span, flats=flats(picture, FLAT))
    gone = {probe: at(when) for probe, when in (left or {}).items()}
    facts = Facts(span, left=gone, flat=flat_now(picture, FLAT))
    return judging.judge(limit, states, facts, at(now))


# --- silent ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_a_limit_is_not_met_on_the_others_alone_once_a_probe_has_fallen_silent(kind: str) -> None:
    limit = of_fish(KINDS[kind])
    alone = found(limit, {"a": GOES_ON}, "10:00", "08:00 to 10:00")
    assert alone.verdict == "MET", alone
    both = {"a": GOES_ON, "b": COLDER}
    running = found(limit, both, "09:59")
    assert running.verdict == "PENDING", running
    over = found(limit, both, "10:00", "08:00 to 10:00")
    assert (over.verdict, over.probe) == ("DEVIATION", "b")


@pytest.mark.parametrize("kind", KINDS)
def test_once_a_person_says_why_it_left_the_others_govern(kind: str) -> None:
    both = {"a": GOES_ON, "b": COLDER}
    limit = of_fish(KINDS[kind])
    said = found(limit, both, "10:00", "08:00 to 10:00", left={"b": "08:50"})
    assert said.verdict == "MET", said


def test_a_cooling_is_not_shown_by_the_others_once_a_probe_has_fallen_silent() -> None:
    limit = of_fish(
        {"kind": "cooling", "from": "60 °C", "stages": [{"to": "21 °C", "within": "2 h"}]}
    )
    pages = {"a": "08:00 61, 08:30 40, 09:00 30, 09:30 20, 09:50 15", "b": "08:00 61, 08:30 50"}
    running = found(limit, pages, "09:50")
    assert (running.verdict, "b silent" in running.why) == ("PENDING", True)
    assert found(limit, pages, "10:01").verdict == "DEVIATION"
    assert found(limit, pages, "09:50", "08:00 to 09:50").verdict == "DEVIATION"
    assert found(limit, pages, "09:50", "08:00 to 09:50", left={"b": "08:40"}).verdict == "MET"


@pytest.mark.parametrize(
    ("last", "verdict"), [("08:30", "MET"), ("08:29.99", "DEVIATION"), ("08:45", "MET")]
)
def test_silence_begins_when_another_is_read_longer_after_than_readings_are_asked(
    last: str, verdict: str
) -> None:
    limit = of_fish(KINDS["at most"])
    pages = {"a": "08:00 60 F, 09:00 60 F", "b": f"08:00 60 F, {last} 60 F"}
    assert found(limit, pages, "09:00", "08:00 to 09:00").verdict == verdict


def test_all_silent_together_is_no_silence_of_one() -> None:
    """What is missing then is asked by “every”."""
    pages = {"a": "08:00 60 F, 08:30 60 F", "b": "08:00 60 F, 08:30 60 F"}
    assert found(of_fish(KINDS["at most"]), pages, "12:00", "08:00 to 12:00").verdict == "MET"
    every = of_fish({"kind": "every", "within": "30 min"})
    assert found(every, pages, "12:00", "08:00 to 12:00").verdict == "DEVIATION"


def test_what_a_probe_showed_before_it_fell_silent_stays_shown() -> None:
    held = "08:00 60 F, 08:15 146 F, 08:30 146 F, 08:45 146 F"
    pages = {"a": GOES_ON, "b": held}
    assert found(of_fish(HEAT), pages, "10:00", "08:00 to 10:00").verdict == "MET"


def test_a_silent_probe_says_that_it_is_and_what_to_do() -> None:
    running = found(of_fish(HEAT), {"a": GOES_ON, "b": COLDER}, "10:00")
    assert "b silent for 75 min while another goes on: say why it left" in running.why


def test_a_first_reading_asks_nothing_of_a_probe_afterwards() -> None:
    limit = of_fish({"kind": "at most", "at_most": "60 °F", "window": "first reading"})
    pages = {"a": GOES_ON, "b": COLDER}
    assert found(limit, pages, "10:00", "08:00 to 10:00").verdict == "MET"


# --- left -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "page"),
    [
        ("at most", "08:00 60 F, 08:30 161 F, 08:45 146 F"),
        ("at least", "08:00 39 F, 08:30 146 F"),
        ("between", "08:00 39 F, 08:30 146 F"),
    ],
)
def test_a_probe_that_left_after_it_broke_the_limit_leaves_it_broken(kind: str, page: str) -> None:
    pages = {"a": GOES_ON, "b": page}
    said = found(of_fish(KINDS[kind]), pages, "10:00", "08:00 to 10:00", left={"b": "08:50"})
    assert (said.verdict, said.probe) == ("DEVIATION", "b")


def test_a_cooling_that_broke_before_the_probe_left_stays_broken() -> None:
    limit = of_fish(
        {"kind": "cooling", "from": "60 °C", "stages": [{"to": "21 °C", "within": "2 h"}]}, "1 h"
    )
    pages = {
        "a": "08:00 61, 09:00 40, 10:00 21, 11:00 10",
        "b": "08:00 61, 09:00 50, 10:00 40, 10:30 30",
    }
    broken = found(limit, pages, "11:00", "08:00 to 11:00", left={"b": "10:31"})
    assert (broken.verdict, broken.broke_at) == ("DEVIATION", at("10:00"))
    unbroken = found(
        limit, pages | {"b": "08:00 61, 09:00 50"}, "11:00", "08:00 to 11:00", left={"b": "09:05"}
    )
    assert unbroken.verdict == "MET"


def test_an_exposure_that_broke_before_the_probe_left_stays_broken() -> None:
    limit = of_fish(
        {"kind": "exposure", "above": "50 °F", "at_most": "1 h", "longest_gap": "30 min"}
    )
    cold = "08:00 40 F, 08:30 40 F, 09:00 40 F, 09:30 40 F, 10:00 40 F"
    warm = "08:00 60 F, 08:30 60 F, 09:00 60 F, 09:10 60 F"
    said = found(limit, {"a": cold, "b": warm}, "10:00", "08:00 to 10:00", left={"b": "09:12"})
    assert (said.verdict, said.probe, said.broke_at) == ("DEVIATION", "b", at("09:00"))


def test_a_probe_is_not_judged_as_left_before_it_did() -> None:
    pages = {"a": "08:00 60 F, 08:30 146 F", "b": "08:00 60 F, 08:30 140 F"}
    limit = of_fish(HEAT)
    early = found(limit, pages, "08:40", left={"b": "08:35"})
    assert early.verdict == "PENDING"


def test_a_probe_back_again_after_it_left_is_demanded_again() -> None:
    back = COLDER + ", 09:30 140 F, 10:00 141 F"
    limit = of_fish(HEAT, "1 h")
    said = found(limit, {"a": GOES_ON, "b": back}, "10:00", "08:00 to 10:00", left={"b": "08:50"})
    assert (said.verdict, said.probe) == ("DEVIATION", "b")
    warm = COLDER + ", 09:00 147 F, 09:15 147 F, 09:30 147 F"
    again = found(limit, {"a": GOES_ON, "b": warm}, "10:00", "08:00 to 10:00", left={"b": "08:50"})
    assert again.verdict == "MET"


def test_three_asked_for_and_one_left_is_one_too_few() -> None:
    limit = of_fish({**HEAT, "probes": 3})
    three = {"a": GOES_ON, "b": COLDER, "c": GOES_ON}
    said = found(limit, three, "10:00", "08:00 to 10:00", left={"b": "08:50"})
    assert (said.verdict, said.figure) == ("DEVIATION", "2 of 3 probes")
    four = three | {"d": GOES_ON}
    assert found(limit, four, "10:00", "08:00 to 10:00", left={"b": "08:50"}).verdict == "MET"
    assert found(limit, three, "09:59", left={"b": "08:50"}).verdict == "PENDING"


def test_one_that_left_when_it_had_shown_its_heat_counts_among_the_three() -> None:
    limit = of_fish({**HEAT, "probes": 3})
    shown = "08:00 60 F, 08:15 146 F, 08:30 146 F, 08:45 146 F"
    three = {"a": GOES_ON, "b": shown, "c": GOES_ON}
    said = found(limit, three, "10:00", "08:00 to 10:00", left={"b": "08:50"})
    assert said.verdict == "MET"


def test_all_left_shows_nothing() -> None:
    limit = of_fish(HEAT)
    both = {"a": COLDER, "b": COLDER}
    gone = {"a": "08:50", "b": "08:50"}
    assert found(limit, both, "10:00", "08:00 to 10:00", left=gone).verdict == "DEVIATION"
    assert found(limit, both, "09:00", left=gone).verdict == "PENDING"


# --- flat -----------------------------------------------------------------------------------------


def quarters(start: str, *figures: float) -> str:
    begin = at(start)
    clock = [(begin - at("00:00")) // MS_PER_MIN + 15 * n for n in range(len(figures))]
    return ", ".join(f"{m // 60:02}:{m % 60:02} {f} F" for m, f in zip(clock, figures, strict=True))


MOVES = quarters("08:00", 60, 80, 100, 120, 135, 146, 148, 148, 148, 148)
STAYS = quarters("08:00", 146, 146.1, 146, 146.2, 146, 146, 146.1, 146, 146.2, 146)


def series(**pages: str) -> dict[str, dict[str, list[int]]]:
    picture: dict[str, dict[str, list[int]]] = {}
    for probe, page in pages.items():
        for chunk in make_readings(page):
            picture = pictured(picture, probe, chunk, FLAT)
    return picture


def test_a_probe_that_stays_while_another_moves_is_flat_from_after_its_first_reading() -> None:
    assert flat_now(series(a=MOVES, b=STAYS), FLAT) == {"b": at("08:00") + 1}


def test_heat_read_by_a_flat_probe_is_not_credited() -> None:
    limit = of_fish(HEAT)
    both = found(limit, {"a": MOVES, "b": STAYS}, "10:15", "08:00 to 10:15")
    assert (both.verdict, both.probe) == ("DEVIATION", "b")
    running = found(limit, {"a": MOVES, "b": STAYS}, "10:15")
    assert running.verdict == "PENDING"
    assert "b stays flat while another moves" in running.why
    alone = found(limit, {"b": STAYS}, "10:15", "08:00 to 10:15")
    assert alone.verdict == "MET"


@pytest.mark.parametrize("kind", ["at most", "at least", "between", "exposure"])
def test_a_flat_probe_shows_nothing_to_be_met(kind: str) -> None:
    limit = of_fish(KINDS[kind])
    both = {"a": MOVES, "b": STAYS}
    assert found(limit, both, "10:15", "08:00 to 10:15").verdict == "DEVIATION"
    said = found(limit, both, "10:15", "08:00 to 10:15", left={"b": "08:05"})
    assert said.verdict == "MET", said


def test_what_a_flat_probe_read_outside_still_counts_against_the_fish() -> None:
    limit = of_fish({"kind": "at most", "at_most": "140 °F"})
    said = found(
        limit,
        {"a": quarters("08:00", 60, 80, 100, 120, 130, 130), "b": STAYS},
        "10:15",
        "08:00 to 10:15",
    )
    assert (said.verdict, said.broke_at) == ("DEVIATION", at("08:00"))


@pytest.mark.parametrize(
    ("a", "b", "flat"),
    [
        (quarters("08:00", *[32.0] * 9), quarters("08:00", *[32.1] * 9), False),  # steady ice
        (quarters("08:00", *[-4.0] * 9), quarters("08:00", *[-3.9, -4.0] * 4), False),  # a freezer
        (quarters("08:00", 60, 63, 66, 69.9), quarters("08:00", *[50.0] * 4), False),  # 9.9 °F
        (quarters("08:00", 60, 63, 66, 70), quarters("08:00", *[50.0] * 4), True),  # 10 °F
        (quarters("08:00", 60, 70, 80), quarters("08:00", *[50.0] * 3), False),  # three stretches
        (quarters("08:00", 60, 70, 80, 90), quarters("08:00", 50, 50.2, 50, 50.1), True),  # 0.2 °F
        (quarters("08:00", 60, 70, 80, 90), quarters("08:00", 50, 50.3, 50, 50.1), False),  # 0.3 °F
    ],
)  # fmt: skip
def test_flat_is_still_while_another_moves_for_long_enough(a: str, b: str, flat: bool) -> None:
    assert ("b" in flats(series(a=a, b=b), FLAT)) is flat


def test_a_probe_alone_is_never_flat() -> None:
    assert flats(series(b=STAYS), FLAT) == {}


def test_a_probe_that_moves_again_is_flat_no_longer_but_gets_no_credit_for_the_time_it_was() -> (
    None
):
    woke = STAYS + ", 10:30 120 F, 10:45 130 F, 11:00 140 F"
    on = MOVES + ", 10:30 147 F, 10:45 150 F, 11:00 147 F"
    picture = series(a=on, b=woke)
    assert flat_now(picture, FLAT) == {}
    assert flats(picture, FLAT)["b"][0][0] == at("08:00") + 1
    said = found(of_fish(HEAT), {"a": on, "b": woke}, "11:00", "08:00 to 11:00")
    assert (said.verdict, said.probe) == ("DEVIATION", "b")


def test_the_picture_does_not_depend_on_the_order_in_which_readings_came() -> None:
    (whole,) = make_readings(MOVES)
    parts = [whole.between(whole.at[n], whole.at[n]) for n in range(len(whole))]
    forth: dict[str, dict[str, list[int]]] = {}
    back: dict[str, dict[str, list[int]]] = {}
    for part in parts:
        forth = pictured(forth, "a", part, FLAT)
    for part in reversed(parts):
        back = pictured(back, "a", part, FLAT)
    assert forth == back == pictured({}, "a", Chunk(whole.at, whole.value, whole.unit), FLAT)
