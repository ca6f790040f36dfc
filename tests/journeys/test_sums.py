"""The sums as a person uses them: from the menu, mistyped and put right, drawn; looked at by day and by night."""

from typing import Any

import pytest
from django.urls import reverse
from pytest_django.live_server_helper import LiveServer

from tests.journeys.browser import Clock, Visitor
from tests.journeys.looked_at import faults, told
from tests.make import PASSWORD, make_book, moment
from tests.points import six_points

pytestmark = pytest.mark.journey


@pytest.fixture
def olga(browser: Any, live_server: LiveServer, clock: Clock) -> Visitor:
    """The operator at a window whose scripts do not run."""
    clock.ms = moment("14:00")
    six_points(make_book())
    visitor = Visitor(browser.new_context(java_script_enabled=False).new_page(), live_server.url)
    visitor.log_in("olga", PASSWORD)
    return visitor


@pytest.mark.django_db(transaction=True)
def test_a_share_mistyped_is_put_right_and_a_fish_outside_the_law_is_told(olga: Visitor) -> None:
    olga.page.click(".more summary")
    olga.page.click(".more a:has-text('Sums')")
    olga.follow("Nitrite")
    olga.type(fish="20 kg", brine="20 kg", nitrite="6.25", cure="96 g")
    olga.press("Reckon")
    assert olga.sees("Type 6.25 % or 0.0625")
    assert not olga.sees("Ingoing sodium nitrite\n")
    olga.type(nitrite="6.25 %")
    olga.press("Reckon")
    assert olga.sees("150 ppm")
    olga.pick("species", "Rainbow trout (TRR)")
    olga.press("Reckon")
    assert olga.sees("Not permitted")
    assert olga.sees("21 CFR 172.175")


@pytest.mark.django_db(transaction=True)
def test_uneven_pieces_are_drawn_with_the_one_that_fails(olga: Visitor) -> None:
    olga.go(reverse("salt_forecast"))
    olga.type(
        thickness="38, 20, 12", strength="60", ratio="1.5", time="12 h", temp="38", moisture="72",
        yield_pct="85", target="3.5",
    )  # fmt: skip
    olga.page.select_option("[name=thickness_unit]", "mm")
    olga.press("Reckon")
    assert olga.sees("1 likely to reach it, 1 in doubt, 1 likely to fail, from 38 mm (1.5 in) on")
    marks = olga.page.locator("figure:nth-of-type(2) svg.chart-wide .piece")
    assert marks.count() == 3
    target = olga.page.locator("figure:nth-of-type(2) svg.chart-wide .target").bounding_box()
    first = marks.first.bounding_box()
    assert first["y"] > target["y"]  # the thickest hangs below the line


@pytest.mark.django_db(transaction=True)
def test_results_and_refusals_of_the_sums_are_fit_to_be_read_and_tapped(
    browser: Any, live_server: LiveServer, clock: Clock
) -> None:
    clock.ms = moment("14:00")
    six_points(make_book())
    visitor = Visitor(browser.new_context().new_page(), live_server.url)
    visitor.log_in("olga", PASSWORD)
    found = []
    for where in LOOKED_AT:
        visitor.go(where)
        found += faults(visitor.page, where)
    assert not found, told(found)


FORECAST = (
    "thickness_unit=mm&open_faces=1&method=brine&strength=60&strength_unit=SAL&ratio=1.5&time=12+h&temp=38&unit=F"
    "&moisture=72&yield_pct=85&target=3.5"
)
LOOKED_AT = (
    "/sums/",
    "/sums/brine/?salometer=60&temp=38&unit=F",
    "/sums/nitrite/?method=equilibrium&fish=20+kg&brine=20+kg&nitrite=6.25+%25&cure=96+g&species=TRR",
    "/sums/nitrite/?method=equilibrium&fish=20+kg&brine=20+kg&nitrite=6.25&cure=96+g",
    "/sums/scale/?method=brine&water=10+L&salt=1.8+kg&temp=38&unit=F&volume=20+L",
    "/sums/ahead/?method=brine&water=10+L&salt=400+g&fish=10+kg&moisture=72&target=3.5&temp=38&unit=F",
    f"/sums/salt/?thickness=38,+20,+12&{FORECAST}",
    f"/sums/salt/?thickness=1.5&{FORECAST}",
    "/sums/salt/points/",
)
