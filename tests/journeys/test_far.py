"""What stands on the opening page to be read from two metres, measured on an upright tablet."""

from typing import Any

import pytest

from tests.journeys.browser import Visitor
from tests.journeys.looked_at import UPRIGHT
from tests.journeys.served import Served

pytestmark = pytest.mark.journey

LEAST_CAPITAL_PX = 56
CAPITALS = """() => {
    const brush = document.createElement('canvas').getContext('2d');
    return [...document.querySelectorAll('.far')].map(one => {
        const look = getComputedStyle(one);
        brush.font = `${look.fontWeight} ${look.fontSize} ${look.fontFamily}`;
        return [one.innerText.trim().slice(0, 30), brush.measureText('H').actualBoundingBoxAscent];
    });
}"""


def test_places_verdicts_figures_and_moments_have_capitals_of_56_px(
    browser: Any, served: Served
) -> None:
    visitor = Visitor(browser.new_context(viewport=UPRIGHT).new_page(), served.base)
    visitor.log_in("olive", served.passwords["olive"])
    visitor.go("/")
    measured = visitor.page.evaluate(CAPITALS)
    small = [(words, height) for words, height in measured if height < LEAST_CAPITAL_PX]
    tiles = visitor.page.locator(".load").count()
    assert len(measured) >= 3 * tiles > 0
    assert small == []
    words = " ".join(words for words, _ in measured)
    for shown in ("Smokehouse 1", "not yet shown", "within limits", "°F"):
        assert shown in words
