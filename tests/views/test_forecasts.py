"""Forecasts and explanations as the people of the house see them."""

import html
import re
from collections.abc import Callable
from copy import deepcopy

import pytest
from django.test import Client
from django.urls import reverse

from lots.core.limits import Verdict
from lots.entries import plan
from lots.models.lot import Load
from lots.queries.plans import starting_plans
from tests.entries.roads import brined, smoking
from tests.make import FOUNDED, Book, moment
from tests.queries.test_forecasts import FISH, cold, heat, rounds
from tests.views.pages import as_person, lines, taken

Clock = Callable[[str], int]


def text(browser: Client, name: str, *args: object) -> str:
    answer = browser.get(reverse(name, args=args))
    assert answer.status_code == 200
    return " ".join(html.unescape(re.sub(r"<[^>]*>", "", answer.content.decode())).split())


@pytest.fixture
def slow(book: Book) -> Load:
    """A load that cools too slowly."""
    load = book.start("cool", "Cooler", "12:00", book.open_lot())
    book.at_place("Cooler", "12:01 37, 13:00 37")
    rounds(book, load, "12:00", range(2, 80, 12), {"fish 1": 150, "fish 2": 60}, cold)
    return load


def test_a_load_page_foretells_the_heat_and_says_that_a_forecast_never_decides(
    book: Book, olga: Client, clock: Clock
) -> None:
    load = book.start("smoke", "Smokehouse 1", "10:00", book.open_lot())
    rounds(book, load, "10:00", range(5, 85, 15), FISH, heat)
    clock("11:21")
    before = lines()
    page = text(olga, "load_show", load.pk)
    assert "At this course, 145 °F for 30 min: will reach at about 12:" in page
    assert "A forecast never decides" in page
    assert "not yet shown" in page
    assert lines() == before


def test_a_likely_miss_stands_with_the_plans_corrective_action(
    book: Book, slow: Load, olga: Client, clock: Clock
) -> None:
    clock("13:16")
    page = text(olga, "load_show", slow.pk)
    assert "At this course, 70 °F: likely to miss: at the deadline 14:02 it will stand" in page
    assert "What the plan says to do when it is missed: Hold the lot apart" in page
    assert "Spread the racks" in page


def test_a_load_that_cannot_be_foretold_says_why(book: Book, olga: Client, clock: Clock) -> None:
    load = book.start("smoke", "Smokehouse 1", "10:00", book.open_lot())
    clock("10:05")
    assert "cannot say: too few readings yet" in text(olga, "load_show", load.pk)


def test_a_step_without_heat_or_cooling_speaks_of_no_forecast(
    book: Book, olga: Client, clock: Clock
) -> None:
    load = book.start("hold", "Cooler", "07:30", book.open_lot())
    clock("07:40")
    page = text(olga, "load_show", load.pk)
    assert "forecast" not in page
    assert "At this course" not in page


def test_the_boards_tile_has_one_line_the_most_pressing(
    book: Book, slow: Load, olga: Client, clock: Clock
) -> None:
    clock("13:16")
    page = text(olga, "shift")
    assert "Likely to miss: 70 °F, due 14:02" in page
    shapes = olga.get(reverse("shift")).content.decode()
    assert re.findall(r'class="[^"]*\b(forecast-[a-z-]+)"', shapes) == ["forecast-likely-to-miss"]


def test_a_lot_page_explains_each_verdict_and_opens_what_is_not_met(
    book: Book, olga: Client, clock: Clock
) -> None:
    lot = book.open_lot()
    brined(book, lot)
    book.end(smoking(book, lot), "12:48")
    load = book.start("cool", "Cooler", "12:50", lot)
    book.fish(load, "12:52 141, 13:30 100")
    clock("13:40")
    answer = olga.get(reverse("lot_show", args=["TR-1"]))
    shown = [one for step in answer.context["steps"] for one in step.limits]
    page = answer.content.decode()
    assert page.count('<details class="why') == len(shown) > 5
    opened = [one.judged.limit.id for one in shown if one.judged.verdict is not Verdict.MET]
    assert page.count('<details class="why" open>') == len(opened)
    assert "cooling" in opened
    words = text(olga, "lot_show", "TR-1")
    assert "A reading at or below 70 °F (21 °C) by 14:52; later it is broken" in words
    assert "18 readings by hand, the first 10:50, the last 12:45" in words
    assert "held from 12:00" in words


def test_a_deviations_explanation_stands_open_with_what_ends_it(
    book: Book, olga: Client, clock: Clock
) -> None:
    book.start("hold", "Cooler", "07:30", book.open_lot())
    book.at_place("Cooler", "07:40 37.0, 08:00 41.2")
    clock("08:10")
    words = text(olga, "lot_show", "TR-1")
    assert "broken since 08:00" in words
    assert "It ends when the corrective action is written down" in words


def test_what_a_cooling_wants_next_is_what_its_slowest_fish_wants(
    book: Book, slow: Load, olga: Client, clock: Clock
) -> None:
    clock("13:16")
    words = text(olga, "lot_show", "TR-1")
    assert "A reading at or below 70 °F (21 °C) by 14:02; later it is broken" in words


@pytest.fixture
def hurried(book: Book) -> Load:
    """A cooling whose operating limit of one hour is over while its critical limit is not."""
    content = deepcopy(starting_plans()["hot-smoked-vacuum-frozen"])
    point = next(one for one in content["control_points"] if one["id"] == "cool")
    stages = deepcopy(point["limits"][0]["stages"])
    stages[0]["within"] = "1 h"
    point["limits"][0]["operating"] = {
        "stages": stages, "source": "invented for this test", "flag": "to be confirmed",
    }  # fmt: skip
    draft = plan.begin_draft(book.coordinator, "Hurried", content, None, moment(FOUNDED))
    version = plan.publish_plan(book.coordinator, draft, "", moment(FOUNDED))
    load = book.start("cool", "Cooler", "12:00", book.open_lot(version=version))
    rounds(book, load, "12:00", range(2, 80, 12), {"fish 1": 80}, cold)
    return load


def test_an_operating_limit_broken_before_the_critical_one_is_shown_asks_for_the_adjustment(
    book: Book, hurried: Load, olga: Client, clock: Clock
) -> None:
    clock("13:16")
    judged = book.judged(book.lots["TR-1"], "cool", "13:16")["cooling"]
    assert judged.verdict is Verdict.PENDING
    assert judged.finding.adjust
    url = f"{reverse('process_adjust', args=['TR-1'])}?limit=cooling&load={hurried.pk}"
    for name, arg in (("load_show", hurried.pk), ("lot_show", "TR-1")):
        shown = html.unescape(olga.get(reverse(name, args=[arg])).content.decode())
        assert url in shown, name
    inspected = as_person(book.inspector).get(reverse("load_show", args=[hurried.pk]))
    assert url not in html.unescape(inspected.content.decode())
    assert "adjust the process until it is back at" in text(olga, "lot_show", "TR-1")
    newest = hurried.readings.latest("id")
    answer = olga.get(reverse("reading_answer", args=[newest.pk]))
    assert "cooling" in [one.judged.limit.id for one in answer.context["act"]]
    taken(olga, url, {"limit_id": "cooling", "load": str(hurried.pk), "what": "more air"})
