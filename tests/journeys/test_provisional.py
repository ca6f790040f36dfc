"""The tablet's own sums, on the cases that Python runs (tests/core/test_provisional.py), in chromium."""

import json
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
CASES = json.loads((ROOT / "fixtures" / "provisional.json").read_text())
MODULE = (ROOT / "static" / "js" / "beside" / "provisional.js").read_text()
pytestmark = pytest.mark.journey

RUN = """async ([source, cases]) => {
    const own = await import(URL.createObjectURL(new Blob([source], {type: 'text/javascript'})));
    return {
        ninths: cases.ninths.map(([text, unit]) => own.ninths(text, unit)),
        verdicts: cases.verdicts.map(one => own.verdict(one.judge, own.ninths(one.text, one.unit), one.unit)),
        doubts: cases.doubts.map(own.doubt),
    };
}"""


def test_the_tablet_reads_judges_and_doubts_as_python_does(browser: Any) -> None:
    page = browser.new_page()
    page.goto("about:blank")
    found = page.evaluate(RUN, [MODULE, CASES])
    page.close()
    assert found["ninths"] == [expected for _, _, expected in CASES["ninths"]]
    assert found["verdicts"] == [one["expect"] for one in CASES["verdicts"]]
    assert found["doubts"] == [one["expect"] for one in CASES["doubts"]]
