"""Worked cases: those of the project come out, spoilt ones are off, and each says where it comes from."""

import os
import re
import subprocess
import sys
import tomllib
from collections import Counter
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from lots.core.units import MS_PER_DAY, MS_PER_H, MS_PER_MIN
from lots.core.worked import BASES, OUTSIDE, run
from lots.core.worked_sums import SUMS
from lots.core.worked_text import BadCase, moment, plain, span_ms, table

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted((ROOT / "fixtures" / "worked").rglob("*.toml"))


def load(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text("utf-8"), parse_float=Decimal)


def faults(case: dict[str, Any], folder: str) -> list[str]:
    """What a case's file lacks."""
    lacks = [
        key for key in ("title", "source", "basis", "sum", "given", "expect") if not case.get(key)
    ]
    if len(str(case.get("source", ""))) < 10:
        lacks.append("a source that can be looked up")
    if case.get("basis") not in BASES:
        lacks.append("a known basis")
    if case.get("sum") != folder:
        lacks.append("the folder of its sum")
    return lacks


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_a_case_of_the_project_comes_out_and_says_where_it_comes_from(path: Path) -> None:
    case = load(path)
    assert faults(case, path.parent.name) == []
    outcome = run(case)
    assert outcome.ok, f"expected {outcome.expected}; got {outcome.got}"


def test_a_file_without_source_or_basis_is_found_out() -> None:
    whole = load(FILES[0])
    folder = FILES[0].parent.name
    assert faults(whole, folder) == []
    for key in ("source", "basis", "title"):
        assert faults({k: v for k, v in whole.items() if k != key}, folder)
    assert faults({**whole, "basis": "hearsay"}, folder)
    assert faults({**whole, "source": "a book"}, folder)


def test_each_sum_has_cases_and_most_are_checks_from_outside() -> None:
    cases = [load(path) for path in FILES]
    assert set(Counter(case["sum"] for case in cases)) == set(SUMS)
    outside = [case for case in cases if case["basis"] in OUTSIDE]
    assert len(outside) >= 40
    assert "published" in {case["basis"] for case in outside}
    heads = {case["source"].partition(":")[0].partition(",")[0] for case in outside}
    assert len(heads) >= 8


def test_no_two_cases_have_one_title_in_one_sum() -> None:
    titles = Counter((load(path)["sum"], load(path)["title"]) for path in FILES)
    assert [title for title, times in titles.items() if times > 1] == []


HEAT = {
    "title": "heat",
    "sum": "maintained",
    "given": {
        "at_least": "145 °F (62.8 °C)",
        "for_min": 30,
        "longest_gap_min": Decimal("10.0"),
        "readings": "0 min 63 °C\n10 min 63 °C\n20 min 63 °C\n30 min 63 °C",
    },
    "expect": {"verdict": "MET", "maintained_min": Decimal("30.0"), "estimated_min": 30},
}


def changed(part: str, **data: Any) -> dict[str, Any]:
    return {**HEAT, part: {**HEAT[part], **data}}  # type: ignore[dict-item]


def test_a_case_that_comes_out_is_ok() -> None:
    outcome = run(HEAT)
    assert outcome.ok
    assert outcome.got == "verdict MET, maintained_min 30, estimated_min 30"


@pytest.mark.parametrize(
    "spoilt",
    [
        changed("expect", verdict="DEVIATION"),
        changed("expect", maintained_min=Decimal("29.9")),
        changed("expect", maintained_min=31),
        changed("expect", estimated_min=20),
        changed("given", for_min=Decimal("30.001")),
        changed("given", longest_gap_min=9),
        changed("given", readings="0 min 63 °C\n10 min 62.7 °C\n20 min 63 °C\n30 min 63 °C"),
    ],
)
def test_a_case_spoilt_by_hand_is_off(spoilt: dict[str, Any]) -> None:
    outcome = run(spoilt)
    assert not outcome.ok
    assert outcome.problem == ""


@pytest.mark.parametrize(
    ("case", "said"),
    [
        ({}, "names no sum"),
        ({**HEAT, "sum": "weather"}, "this sum is not computed by this version"),
        ({**HEAT, "given": "nothing"}, "needs \\[given\\]"),
        ({**HEAT, "expect": {}}, "nothing is expected"),
        ({**HEAT, "expect": {"note": "none"}}, "nothing is expected"),
        (changed("expect", verdict="GREEN"), "not a verdict"),
        (changed("expect", maintained_min="half an hour"), "not a number"),
        (changed("given", at_least="hot"), "not a temperature"),
        (changed("given", at_most="70 °C"), "either at_least"),
        (changed("given", for_min=None), "for"),
        (changed("given", readings="0 min 63\n30 min 63"), "no unit"),
        (changed("given", readings="0 min 63 °C\n10 min warm"), "not a temperature"),
        (changed("given", readings="10 min 63 °C\n0 min 63 °C"), "go back"),
        (changed("given", readings=""), "no readings"),
        (changed("given", readings=7), "neither lines"),
    ],
)
def test_what_cannot_be_computed_is_off_and_says_why(case: dict[str, Any], said: str) -> None:
    outcome = run(case)
    assert not outcome.ok
    assert re.search(said, outcome.got), outcome.got


def test_a_figure_that_the_sum_does_not_give_is_off() -> None:
    outcome = run(changed("expect", exposed_min=3))
    assert not outcome.ok
    assert "exposed_min not a figure of this sum" in outcome.got


@pytest.mark.parametrize(
    "tolerance",
    [
        {"tolerance": Decimal("0.5")},
        {"maintained_min_tolerance": "0,5"},
        {"tolerance": {"maintained_min": Decimal("0.5")}},
        {"maintained_min": {"value": Decimal("30.4"), "tolerance": Decimal("0.5")}},
    ],
)
def test_a_tolerance_may_be_stated_for_all_figures_or_for_one(tolerance: dict[str, Any]) -> None:
    near = {"maintained_min": Decimal("30.4"), **tolerance}
    assert run({**HEAT, "expect": near}).ok
    assert not run({**HEAT, "expect": {"maintained_min": Decimal("30.4")}}).ok


@pytest.mark.parametrize(
    ("written", "got"),
    [("62.8", True), ("62.78", True), ("63", True), ("62.7", False), ("62.77", False)],
)
def test_without_a_tolerance_half_of_the_last_place_written_is_allowed(
    written: str, got: bool
) -> None:
    case = {"sum": "convert", "given": {"value": "145 °F", "to": "°C"}, "expect": {"value": Decimal(written)}}  # fmt: skip
    assert run(case).ok is got


# --- how readings and times may be written --------------------------------------------------------


@pytest.mark.parametrize(
    "readings",
    [
        "0 min 145 °F\n10 min 145.0 °F\n20 min 145 °F\n30 min 145 °F",
        "0 min 145ºF\n10min 145 ˚F\n20 min 145 ℉\n30 min 145 F",
        "0 min 62,8 °C\n10 min 62,8 °C\n20 min 62,8 °C\n30 min 62,8 °C",
        "0 145 °F\n10 145\n20 145\n30 145",
        "time   core °F\n08:00  145\n08:10  145\n08:20  145\n08:30  145",
        "| time | °F | °F |\n|---|---|---|\n| 0 min | 145 | 146 |\n| 10 min | 145 | 146 |\n| 20 min | 145 | 147 |\n| 30 min | 145 | 146 |",
        "0 min; 63,0 °C\n10 min; 63,0 °C\n20 min; 63,0 °C\n30 min; 63,0 °C",
        "0 min, 63.0 °C\n10 min, 63.0 °C\n20 min, 63.0 °C\n30 min, 63.0 °C # the end",
        "0 min\t63 °C\t64 °C\n10 min\t63 °C\t64 °C\n20 min\t63 °C\t64 °C\n30 min\t63 °C\t64 °C",
        "11:50 pm 63 °C\n12:00 am 63 °C\n12:10 am 63 °C\n12:20 a.m. 63 °C",
        "23:50 63 °C\n00:00 63 °C\n00:10 63 °C\n00:20 63 °C",
        "0 s 63 degrees C\n600 s 63 Celsius\n1200 seconds 63 deg C\n0.5 h 63 °C",
        "0 min 145 °F (62.8 °C)\n10 min 145 °F (62.8 °C)\n20 min 145 °F\n30 min 145 °F",
        ["0 min 63 °C", "10 min 63 °C", "20 min 63 °C", "30 min 63 °C"],
        [[0, "63 °C"], [10, "63 °C"], [20, "63 °C"], [30, "63 °C"]],
        {"one": "0 min 63 °C\n10 min 63 °C\n20 min 63 °C\n30 min 63 °C"},
        "day 1 23:50 63 °C\nday 2 00:00 63 °C\nday 2 00:10 63 °C\nday 2 00:20 63 °C",
        "4 Mar 2026 23:50 −05:00 63 °C\n5 Mar 2026 00:00 −05:00 63 °C\n2026-03-05T05:10Z 63 °C\n2026-03-05 00:20 -05:00 63 °C",
    ],
)  # fmt: skip
def test_readings_may_be_written_in_many_ways(readings: object) -> None:
    outcome = run(changed("given", readings=readings))
    assert outcome.ok, outcome.got


@pytest.mark.parametrize(
    "bound", ["−4 °F (−20 °C)", "-4 °F", "–4 ºF", "-20 °C", "−20,0 °C", "-4 degrees Fahrenheit"]
)
def test_a_bound_may_be_written_in_many_ways(bound: str) -> None:
    given = {"at_most": bound, "for_min": 60, "readings": "0 min −20.0 °C\n1 h −4 °F"}
    expect = {"verdict": "within limits", "maintained_min": 60}
    assert run({"sum": "maintained", "given": given, "expect": expect}).ok


def test_a_dash_or_nothing_is_a_probe_without_a_reading() -> None:
    found = table("0 min 63 °C 64 °C 65 °C\n10 min - 64.5 °C\n20 min 63 °C – 66 °C")
    assert {probe: len(rows) for probe, rows in found.rows.items()} == {"1": 2, "2": 2, "3": 2}
    blank = table("0 min | 63 °C | 64 °C\n10 min | | 64 °C")
    assert {probe: len(rows) for probe, rows in blank.rows.items()} == {"1": 1, "2": 2}


def test_the_step_ends_with_the_last_line_though_a_probe_has_no_reading_there() -> None:
    given = {"start": "08:00", "limit": "30 min", "readings": "08:00 3 °C 3 °C\n08:30 3 °C 3 °C\n09:00 3 °C 3 °C\n09:40 - -"}  # fmt: skip
    expect = {"verdict": "DEVIATION", "gap_min": 40}
    assert run({"sum": "every", "given": given, "expect": expect}).ok


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        ("0 min", 0),
        ("17.1539 min", 1_029_234),
        ("1 h 30 min", 90 * MS_PER_MIN),
        ("90 s", 90_000),
        ("08:00", 8 * MS_PER_H),
        ("8:00 pm", 20 * MS_PER_H),
        ("day 3 01:00", 2 * MS_PER_DAY + MS_PER_H),
        ("30", 30 * MS_PER_MIN),
    ],
)
def test_a_moment_is_read_in_milliseconds(text: str, ms: int) -> None:
    assert moment(text) == ms


def test_a_moment_with_its_offset_is_the_same_moment_anywhere() -> None:
    assert moment("2026-11-01 17:00 -05:00") - moment("31 Oct 2026 22:00 −04:00") == 20 * MS_PER_H
    assert moment("2026-11-01T22:00:00Z") == moment("2026-11-01 17:00 -05:00")


@pytest.mark.parametrize(
    "text", ["", "noon", "25:61 o'clock", "31 Foo 2026 10:00", "1,440 min", "26:00"]
)
def test_what_is_not_a_moment_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        moment(text)


def test_a_span_needs_its_unit_unless_its_name_gives_one() -> None:
    assert span_ms("30", MS_PER_MIN) == span_ms("30 min") == span_ms(Decimal("0.5"), MS_PER_H)
    with pytest.raises(BadCase):
        span_ms("30")


def test_text_is_given_one_sort_of_degree_and_minus() -> None:
    assert plain("−4 ºF, 20 degrees C, −18,5 ˚C") == "-4 °F, 20 °C, -18,5 °C"


@pytest.mark.parametrize(
    ("stages", "verdict"),
    [
        (["135 °F to 70 °F within 120 min", "135 °F to 41 °F within 360 min"], "MET"),
        (["from 135 °F to 70 °F within 2 h", "70 °F to 41 °F within 360 min"], "MET"),
        (["135 °F to 70 °F within 120 min", "70 °F to 41 °F within 240 min"], "DEVIATION"),
        (["135 °F to 70 °F in 2 h", "70 °F to 41 °F within 240 min more"], "MET"),
        (["135 °F to 70 °F in 2 h", "70 °F to 41 °F within 239 min from the stage before"], "DEVIATION"),
        (["135 °F (57 °C) to 70 °F (21 °C) within 119 minutes"], "DEVIATION"),
        (["end of smoking to 41 °F within 6 h"], "MET"),
        ([{"from": "135 °F", "to": "70 °F", "within_min": 120}], "MET"),
    ],
)  # fmt: skip
def test_each_stage_of_cooling_runs_from_the_start_unless_it_says_otherwise(
    stages: list[Any], verdict: str
) -> None:
    readings = "0 min 135 °F\n120 min 70 °F\n360 min 41 °F"
    case = {"sum": "cooling", "given": {"stages": stages, "readings": readings}}
    outcome = run({**case, "expect": {"verdict": verdict}})
    assert outcome.ok, outcome.got


@pytest.mark.parametrize(
    ("limit", "verdict"),
    [
        ("at least 6 h", "MET"),
        ("at least 361 min", "DEVIATION"),
        ("at most 6 h", "MET"),
        ("no longer than 5 h 59 min", "DEVIATION"),
        ("no more than 6 h", "MET"),
        ("longer than 6 h", "DEVIATION"),
        ("more than 5 h", "MET"),
        ("at least 2 h and at most 5 h", "DEVIATION"),
        ("between 2 h and 6 hours", "MET"),
        ("≤ 6 h", "MET"),
        ("≥ 6,5 h", "DEVIATION"),
    ],
)
def test_a_limit_on_a_duration_is_read_from_its_words(limit: str, verdict: str) -> None:
    given = {"start": "08:00", "end": "14:00", "limit": limit}
    outcome = run({"sum": "duration", "given": given, "expect": {"verdict": verdict}})
    assert outcome.ok, outcome.got


@pytest.mark.parametrize(
    "limit", ["6", "about 6 h", "at least six hours", "", "at least 6 h or so"]
)
def test_a_limit_on_a_duration_that_cannot_be_read_is_off(limit: str) -> None:
    given = {"start": "08:00", "end": "14:00", "limit": limit}
    assert not run({"sum": "duration", "given": given, "expect": {"verdict": "MET"}}).ok


@pytest.mark.parametrize(
    "limit", ["30 min", "every 30 min", "at least every 30 min", "no longer than 30 min", "30 min between readings", "a reading at least once every 0.5 h", "at most 30 minutes"]
)  # fmt: skip
def test_a_limit_on_the_time_between_readings_is_read_from_its_words(limit: str) -> None:
    given = {"start": "0 min", "end": "60 min", "limit": limit, "readings": "30 min 5 °C"}
    assert run({"sum": "every", "given": given, "expect": {"verdict": "MET"}}).ok
    assert not run({"sum": "every", "given": {**given, "end": "61 min"}, "expect": {"verdict": "MET"}}).ok  # fmt: skip


# --- the command ----------------------------------------------------------------------------------


def worked(data: Path, *paths: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", "worked", *map(str, paths)],
        cwd=ROOT,
        env={**os.environ, "SMOKEHOUSE_DATA": str(data), "DJANGO_SETTINGS_MODULE": "smokehouse.settings"},
        capture_output=True,
        text=True,
        timeout=60,
    )  # fmt: skip


def test_the_command_runs_the_cases_of_the_project_without_a_database(tmp_path: Path) -> None:
    done = worked(tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    assert f"Cases: {len(FILES)}, ok: {len(FILES)}, off: 0." in done.stdout
    assert "ok   exactly 145 °F for exactly 30 min" in done.stdout
    assert not list(tmp_path.glob("*.sqlite3"))


def test_the_command_ends_with_1_where_a_case_is_off_or_cannot_be_read(tmp_path: Path) -> None:
    good = FILES[0]
    spoilt = tmp_path / "spoilt.toml"
    spoilt.write_text(
        'title = "spoilt"\nsum = "convert"\n[given]\nvalue = "145 °F"\nto = "°C"\n[expect]\nvalue = 62.7\n',
        "utf-8",
    )
    broken = tmp_path / "broken.toml"
    broken.write_text("title = ", "utf-8")
    (tmp_path / "empty").mkdir()
    done = worked(tmp_path, good, spoilt, broken, tmp_path / "none.toml", tmp_path / "empty")
    assert done.returncode == 1
    assert "off  spoilt" in done.stdout
    assert "expected: value 62.7" in done.stdout
    assert "got:      value 62.777778" in done.stdout
    assert done.stdout.count("cannot be read") == 2
    assert "holds no case" in done.stdout
    assert "Cases: 5, ok: 1, off: 4." in done.stdout
