"""The pages of the sums: figures with how they were got, what is asked about, what is refused; nothing is kept."""

import html
import re
from collections.abc import Callable
from urllib.parse import urlencode

import pytest
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests.make import Book, make_book
from tests.views.pages import as_person, beside, kept, lines

BRINE = {"temp": "38", "unit": "F"}
READING = {
    "means": "salometer",
    "reading": "60",
    "temp": "38",
    "unit": "F",
    "reference": "60",
    "full_scale": "26.395",
}
NITRITE = {
    "method": "equilibrium",
    "fish": "20 kg",
    "brine": "20 kg",
    "nitrite": "6.25 %",
    "species": "SAB",
}
SCALE = {"method": "brine", "water": "10 L", "salt": "1.8 kg", "temp": "38", "unit": "F"}
AHEAD = {
    "method": "brine",
    "water": "10 L",
    "salt": "400 g",
    "fish": "10 kg",
    "moisture": "72",
    "target": "3.5",
    "unit": "F",
    "temp": "38",
}


def asked(client: Client, name: str, typed: dict[str, str]) -> HttpResponse:
    before = lines()
    answer = client.get(reverse(name), typed)
    assert answer.status_code == 200
    assert lines() == before  # nothing typed here is kept
    return answer


def words(answer: HttpResponse) -> str:
    """The answer's text without its marks; empty where there is none."""
    found = re.search(r'<section class="answer".*?</section>', answer.content.decode(), re.DOTALL)
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", found[0]))) if found else ""


# What each page must say, and where the figure comes from.
SAID: list[tuple[str, dict[str, str], tuple[str, ...]]] = [
    # Salometer tables (Salt Institute and others): 60 °SAL is 15.837 % salt, specific gravity 1.118, and takes
    # 1.568 lb of salt to the gallon of water (by hand: 8.34 × 15.837 ÷ 84.163 = 1.569).
    ("sum_brine", BRINE | {"salometer": "60"}, ("60.0 °SAL", "15.84 %", "1.118", "1.569 lb")),
    ("sum_brine", BRINE | {"salt_pct": "15.837"}, ("60.0 °SAL",)),
    # by hand: 2.5 ÷ (2.5 + 10) = 20 %; CRC Handbook: a solution of 20 % begins to freeze at −16.46 °C
    ("sum_brine", BRINE | {"salt": "2.5 kg", "water": "10 kg"}, ("20.0 %", "−16.5 °C", "100 × salt ÷ (salt + water)")),
    # the trade's rule for a cold brine: a salometer made for 60 °F shows too much in one at 38 °F
    ("sum_reading", READING, ("57.7 °SAL", "−2.3 °SAL", "read 60 in brine at 38.0 °F")),
    ("sum_reading", READING | {"temp": "60"}, ("60.0 °SAL", "0.0 °SAL")),
    # a quarter scale: 100 stands for 25 %, so 60 stands for 15 % and 56.8 °SAL (by hand: 1500 ÷ 26.395)
    ("sum_reading", READING | {"temp": "60", "full_scale": "25"}, ("56.8 °SAL", "15.0 %")),
    ("sum_reading", READING | {"means": "refractometer", "reading": "15", "temp": "61"}, ("15.0 %", "taken as read")),
    # by hand: 96 g × 6.25 % = 6 g, over 20 kg of fish and 20.096 kg of brine: 149.6 ppm
    ("sum_nitrite", NITRITE | {"cure": "96 g"}, ("150 ppm", "6 g", "90 g", "planning figure", "21 CFR 172.175(a)(2)")),
    # by hand: 40 kg × 150 ppm ÷ (62,500 − 150 ppm) = 96.23 g
    ("sum_nitrite", NITRITE | {"wanted": "150"}, ("96.2 g", "90.22 g", "only a laboratory finds them")),
    # by hand, dry: 10 kg × 200 ppm ÷ 6.25 % = 32 g
    ("sum_nitrite", NITRITE | {"method": "dry", "fish": "10 kg", "brine": "", "wanted": "200"}, ("32 g", "30 g")),
    # by hand, pick-up: 10 kg of brine with 100 g of curing salt: 6.25 g ÷ 10.1 kg × 10 % = 62 ppm
    ("sum_nitrite", NITRITE | {"method": "pick-up", "fish": "", "brine": "10 kg", "pick_up": "10", "cure": "100 g"}, ("62 ppm",)),
    ("sum_nitrite", NITRITE | {"wanted": "150", "species": "TRR"}, ("Not permitted", "21 CFR 172.175", "not in Rainbow trout")),
    ("sum_nitrite", NITRITE | {"wanted": "250"}, ("above what the finished fish may hold, at most 200 ppm",)),
    ("sum_nitrite", NITRITE | {"wanted": "50", "species": "CIS"}, ("below what the finished fish must hold, 100 ppm to 200 ppm",)),
    # by hand: 10 kg and 1.8 kg are 11.8 kg; twice that
    ("sum_scale", SCALE | {"weight": "23.6 kg"}, ("23.6 kg", "20 kg", "3.6 kg", "× 2")),
    # by hand: 15 kg of it are 15 ÷ 11.8 of the batch
    ("sum_scale", SCALE | {"fish": "10 kg", "ratio": "1.5"}, ("15 kg", "12.712 kg", "2.288 kg")),
    ("sum_scale", SCALE | {"volume": "20 L"}, ("20 L (5.28 US gal)",)),
    # by hand: 3 cups of salt at 290 g are 870 g; brine of 10.87 kg to 21.74 kg
    ("sum_scale", SCALE | {"salt": "3 cup at 290 g", "weight": "21.74 kg"}, ("1.74 kg", "870 g")),
    # by hand: 2.6 ÷ 70.6 = 3.68 %
    ("sum_water_phase", {"salt_pct": "2.6", "moisture": "68"}, ("3.68 %", "the lowest governs")),
    # by hand: 0.4 ÷ (0.4 + 10 + 7.2) = 2.27 %; a brine for 3.5 %: 0.035 × (1.04 + 0.72) ÷ 1.04 = 5.92 %
    ("sum_ahead", AHEAD, ("2.27 %", "cannot be reached", "60.8 % moisture", "22.5 °SAL (5.93 %)", "Dry salting", "keep the packs frozen", "Neither figure is proof")),
    # by hand: 300 g of salt on 10 kg: 0.3 ÷ (0.3 + 7.2) = 4 %
    ("sum_ahead", AHEAD | {"method": "dry salt", "water": "", "salt": "300 g"}, ("4.0 %", "can be reached in it, given time enough")),
]  # fmt: skip


@pytest.mark.parametrize(("name", "typed", "said"), SAID)
def test_a_sum_says_its_figures_and_how_they_were_got(
    name: str, typed: dict[str, str], said: tuple[str, ...], olga: Client
) -> None:
    answer = asked(olga, name, typed)
    assert answer.context["form"].errors == {}
    shown = words(answer)
    assert [one for one in said if one not in shown] == [], shown
    assert kept(answer, typed) == []


# (page, what is typed, the field that it is said at, the words)
WRONG: list[tuple[str, dict[str, str], str, str]] = [
    ("sum_brine", BRINE | {"salometer": "110"}, "salometer", "runs from 0 to 100"),
    ("sum_brine", BRINE | {"salt_pct": "110"}, "salt_pct", "from 0 to 100"),
    ("sum_brine", BRINE | {"salt_pct": "30"}, "salt_pct", "at most 26.33 % salt dissolves"),
    ("sum_brine", BRINE | {"salt_pct": "10", "salometer": "60"}, "salometer", "Type one of them"),
    ("sum_brine", BRINE, "salt_pct", "Type one of them"),
    ("sum_brine", BRINE | {"salt": "2.5 kg"}, "water", "Type the water as well"),
    ("sum_brine", BRINE | {"salt": "2.5", "water": "10 L"}, "salt", "Add the unit"),
    ("sum_brine", BRINE | {"salt": "2 cups", "water": "10 L"}, "salt", "weighs what?"),
    ("sum_brine", BRINE | {"salt_pct": "x"}, "salt_pct", "is not a number"),
    ("sum_brine", BRINE | {"salt_pct": "10", "temp": "400"}, "temp", "not at"),
    ("sum_brine", BRINE | {"salt_pct": "10", "temp": ""}, "temp", "Fill this in"),
    ("sum_reading", READING | {"reading": "104"}, "reading", "0 to 100"),
    ("sum_reading", READING | {"temp": "300"}, "temp", "outside what the density"),
    ("sum_reading", READING | {"means": "refractometer", "reading": "15"}, "temp", "does not correct itself"),
    ("sum_reading", READING | {"means": "refractometer", "reading": "60"}, "reading", "at most 28.29 % dissolves"),
    ("sum_nitrite", NITRITE | {"nitrite": "6.25", "wanted": "150"}, "nitrite", "Type 6.25 % or 0.0625"),
    ("sum_nitrite", NITRITE | {"nitrite": "100 %", "wanted": "150"}, "nitrite", "is no share"),
    ("sum_nitrite", NITRITE | {"cure": "2 cups"}, "cure", "weighed, never measured"),
    ("sum_nitrite", NITRITE | {"cure": "96 g", "wanted": "150"}, "cure", "one of the two"),
    ("sum_nitrite", NITRITE, "cure", "one of the two"),
    ("sum_nitrite", NITRITE | {"fish": "", "wanted": "150"}, "fish", "what the fish weighs"),
    ("sum_nitrite", NITRITE | {"method": "pick-up", "wanted": "150"}, "pick_up", "Type the pick-up"),
    ("sum_nitrite", NITRITE | {"wanted": "70000"}, "wanted", "No amount of this curing salt"),
    ("sum_scale", SCALE, "volume", "Say one of them"),
    ("sum_scale", SCALE | {"volume": "20 kg"}, "volume", "in L or US gal"),
    ("sum_scale", SCALE | {"fish": "10 kg"}, "ratio", "to 1 of fish"),
    ("sum_scale", SCALE | {"fish": "10 kg", "ratio": "0.3"}, "ratio", "cannot cover the fish"),
    ("sum_scale", SCALE | {"salt": "", "weight": "20 kg"}, "salt", "no salt"),
    ("sum_scale", SCALE | {"cure": "100 g", "nitrite": "6.25", "weight": "20 kg"}, "cure", "6.25 %"),
    ("sum_scale", SCALE | {"method": "dry salt", "water": "", "volume": "20 L"}, "volume", "for a weight instead"),
    ("sum_water_phase", {"salt_pct": "40", "moisture": "70"}, "moisture", "over 100 % together"),
    ("sum_water_phase", {"salt_pct": "0", "moisture": "0"}, "moisture", "both nothing"),
    ("sum_ahead", AHEAD | {"fish": "30 kg"}, "fish", "cannot cover the fish"),
    ("sum_ahead", AHEAD | {"moisture": "0"}, "moisture", "above 0 and below 100"),
    ("sum_ahead", AHEAD | {"moisture": "99", "fish_salt": "3"}, "moisture", "over 100 % together"),
    ("sum_ahead", AHEAD | {"water": ""}, "water", "A brine has water in it"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "typed", "field", "said"), WRONG)
def test_what_cannot_be_is_refused_at_its_field_and_nothing_typed_is_lost(
    name: str, typed: dict[str, str], field: str, said: str, olga: Client
) -> None:
    answer = asked(olga, name, typed)
    assert said in beside(answer, field), answer.context["form"].errors
    assert words(answer) == ""
    assert kept(answer, typed) == []


# (page, what is typed, the field that it is asked at, the words, what is then said, a figure as odd)
ODD: list[tuple[str, dict[str, str], str, str, str, str]] = [
    # at 38 °F no more than 26.33 % dissolves; 5 kg in 10 kg of water would be 33 %
    ("sum_brine", BRINE | {"salt": "5 kg", "water": "10 L"}, "salt", "undissolved at the bottom", "About 1.4", "5.5 kg"),
    # 96 oz for 96 g of curing salt
    ("sum_nitrite", NITRITE | {"cure": "96 oz"}, "cure", "With 96 g for 96 oz", "ppm", "95 oz"),
    # by hand: 9 g × 62.5 % over 40.009 kg
    ("sum_nitrite", NITRITE | {"cure": "9 g", "nitrite": "62.5 %"}, "cure", "far more than curing salts have", "141 ppm", "8 g"),
    ("sum_scale", SCALE | {"fish": "10 kg", "ratio": "0.8"}, "ratio", "Does it cover all of the fish?", "8 kg", "0.7"),
    ("sum_ahead", AHEAD | {"fish": "15 kg"}, "fish", "Does it cover all of the fish?", "1.89 %", "14 kg"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "typed", "field", "question", "said", "as_odd"), ODD)
def test_what_is_odd_is_asked_about_once_and_taken_when_it_is_so(
    name: str,
    typed: dict[str, str],
    field: str,
    question: str,
    said: str,
    as_odd: str,
    olga: Client,
) -> None:
    answer = asked(olga, name, typed)
    assert question in beside(answer, field), answer.context["form"].errors
    assert words(answer) == ""
    assert kept(answer, typed) == []
    box = re.search(r'name="confirmed" value="([^"]*)"', answer.content.decode())
    assert box, "no box to confirm it with"
    yes = typed | {"confirmed": html.unescape(box[1])}
    taken = asked(olga, name, yes)
    assert said in words(taken), (words(taken), taken.context["form"].errors)
    assert "Asked and said to be so" in words(taken)
    other = asked(olga, name, yes | {field: as_odd})  # a yes to one figure is none to another
    assert other.context["form"].errors[field]
    assert words(other) == ""


def test_a_result_can_be_bookmarked(olga: Client, book: Book) -> None:
    address = f"{reverse('sum_brine')}?{urlencode(BRINE | {'salometer': '60'})}"
    other = as_person(book.inspector)
    assert words(olga.get(address)) == words(other.get(address)) != ""


def test_every_page_of_sums_says_that_it_is_a_planning_aid(olga: Client) -> None:
    names = [one.name for one in olga.get(reverse("sums")).context["sums"]]
    assert len(names) == 8
    for name in ["sums", *names]:
        assert "Planning aid" in olga.get(reverse(name)).content.decode(), name


def test_the_menu_leads_to_the_sums(olga: Client) -> None:
    assert f'href="{reverse("sums")}"' in olga.get(reverse("shift")).content.decode()


def test_a_house_in_celsius_is_asked_in_celsius(db: None, clock: Callable[[str], int]) -> None:
    form = as_person(make_book(unit="C").operator).get(reverse("sum_reading")).context["form"]
    assert (form["unit"].value(), form["reference"].value()) == ("C", "15.6")


@pytest.mark.parametrize(("name", "typed", "said"), SAID)
def test_a_sum_asks_the_book_nothing_of_its_own(
    name: str, typed: dict[str, str], said: tuple[str, ...], olga: Client
) -> None:
    bare = asks(olga, reverse("sums"), {})
    assert asks(olga, reverse(name), typed) <= bare


def asks(client: Client, address: str, typed: dict[str, str]) -> int:
    """How often a page reads from the database; the pen's own writing is left out."""
    with CaptureQueriesContext(connection) as found:
        assert client.get(address, typed).status_code == 200
    return sum(one["sql"].startswith("SELECT") for one in found.captured_queries)
