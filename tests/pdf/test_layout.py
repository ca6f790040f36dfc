"""The number of the layout stands for its words: a check holds every line of an old record against
today's only where the number is the same."""

import hashlib
import json
from pathlib import Path

import pytest

from lots.pdf.layout import PAPERS
from lots.pdf.printed import drawn_by
from lots.pdf.render import LAYOUT, lay_out
from tests.pdf.make import make_record
from tests.pdf.real import real_record

KEPT = Path(__file__).with_name("layouts.json")


def digest_of_pages() -> str:
    """Of everything that is drawn for two records on both papers, to a tenth of a point."""
    drawn = [
        (one.words, *(round(number, 1) for number in one.numbers))
        for record in (make_record(), real_record())
        for paper in PAPERS.values()
        for page in lay_out(record, paper, "ab" * 32)
        for one in drawn_by(page.marks)
    ]
    return hashlib.sha256(json.dumps(drawn).encode()).hexdigest()


def test_pages_that_are_set_otherwise_have_another_number() -> None:
    kept = json.loads(KEPT.read_text())
    assert kept.get(str(LAYOUT)) == digest_of_pages(), (
        "The pages are set otherwise than the kept digest of this layout says. Raise LAYOUT in "
        f"lots/pdf/render.py and add its digest to {KEPT.name}: records sealed before stay as they are."
    )


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_two_renders_are_the_same_bytes(paper: str) -> None:
    from lots.pdf.render import render

    page = "A4" if paper == "A4" else "letter"
    first = render(make_record(), page)  # type: ignore[arg-type]
    assert first == render(make_record(), page)  # type: ignore[arg-type]
