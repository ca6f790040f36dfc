"""The pages of the forecast of salt: the forecast itself, drawn; what it is begun with; its points."""

import html
import re

import pytest
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lots.core.uptake import Standing
from lots.models.lot import LaboratoryResult
from lots.models.salt import UptakePoint, UptakePointLeftOut
from tests.make import Book
from tests.points import a_point, kept, result_of, six_points
from tests.views.pages import as_person, beside, lines, refused, taken
from tests.views.pages import kept as typed_again

FORECAST = {
    "thickness": "60, 38, 25, 25, 12.8", "thickness_unit": "mm", "open_faces": "2", "method": "brine",
    "strength": "80", "strength_unit": "SAL", "ratio": "1.5", "time": "12 h", "temp": "38", "unit": "F",
    "moisture": "72", "yield_pct": "85", "target": "3.5",
}  # fmt: skip
POINT = {
    "thickness": "1.5", "thickness_unit": "in", "open_faces": "1", "method": "brine", "strength": "15.8",
    "strength_unit": "%", "ratio": "3", "time": "12 h", "temp": "41", "unit": "F", "moisture": "72",
    "yield_pct": "85", "salt": "2.6", "moisture_found": "68", "note": "",
}  # fmt: skip


def forecast(client: Client, **changes: str) -> HttpResponse:
    before = lines()
    answer = client.get(reverse("salt_forecast"), FORECAST | changes)
    assert answer.status_code == 200
    assert lines() == before
    return answer


def text(answer: HttpResponse) -> str:
    plain = re.sub(r"<svg.*?</svg>", " ", answer.content.decode(), flags=re.DOTALL)
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", plain)))


def pictures(answer: HttpResponse) -> list[str]:
    """The drawings for a wide page."""
    return re.findall(r'<svg class="chart-wide".*?</svg>', answer.content.decode(), re.DOTALL)


# --- the forecast ---------------------------------------------------------------------------------


def test_the_thickest_piece_stands_first_with_its_band_its_time_and_what_is_too_thick(
    olga: Client,
) -> None:
    answer = forecast(olga)
    found = answer.context["found"]
    thickest = found.rows[0]
    assert thickest.thickness == "60 mm (2.36 in)"
    one = thickest.piece.forecast
    assert one.low < one.best < one.high
    said = text(answer)
    for words in (thickest.best, thickest.band, found.how_long, found.how_thick, found.failing):
        assert words in said
    assert "planning aid" in said
    assert "published range" in said


def test_with_time_enough_a_thin_piece_comes_to_the_strength_of_brine_and_fish_together(
    olga: Client,
) -> None:
    """By hand: 1.5 of a brine of 20 % on 1 of fish with 72 % water: 0.3 ÷ (0.3 + 1.2 + 0.72) = 13.51 %."""
    answer = forecast(
        olga, thickness="6", time="59 days", strength="20", strength_unit="%", yield_pct="100"
    )
    assert answer.context["found"].rows[0].best == "13.51 %"
    assert answer.context["found"].rows[0].standing is Standing.REACHES


def test_of_uneven_pieces_the_thick_ones_fail_and_the_picture_shows_which(olga: Client) -> None:
    """A short time: even the quickest published diffusivity leaves the thickest short, even the slowest brings
    the thinnest there."""
    answer = forecast(olga, thickness="110, 30, 5", time="4 h", strength="95")
    rows = answer.context["found"].rows
    assert [row.shape for row in rows] == ["fail", "doubt", "reach"]
    assert [row.count for row in rows] == [1, 1, 1]
    over_thickness = pictures(answer)[1]
    marks = re.findall(r'<g class="piece".*?<title>(.*?)</title>', over_thickness)
    assert [one.split(": ")[-1] for one in marks] == [
        "likely to fail",
        "in doubt",
        "likely to reach it",
    ]
    assert "from 110 mm (4.33 in) on" in text(answer)
    ahead = re.search(
        r"<g class=\"piece\" transform=\"translate\(([\d.]+) ([\d.]+)\)\"", over_thickness
    )
    target = re.search(r'class="target"[^>]*y1="([\d.]+)"', over_thickness)
    assert ahead and target
    assert float(ahead[2]) > float(target[1])  # what fails hangs below the line of the target


def test_each_picture_has_band_best_line_target_with_its_word_and_a_mark(olga: Client) -> None:
    drawn = pictures(forecast(olga))
    assert len(drawn) == 2
    for one in drawn:
        assert (
            one.count('class="band"')
            == one.count('class="line"')
            == one.count('class="target"')
            == 1
        )
        assert "target 3.5 %" in one
    assert drawn[0].count('class="piece"') == 1  # the thickest, at the time asked about
    assert drawn[1].count('class="piece"') == 4  # each thickness once
    assert "25 × 2" in drawn[1]


def test_the_band_on_the_picture_holds_the_best_figure_everywhere(olga: Client) -> None:
    for one in pictures(forecast(olga)):
        band = re.search(r'class="band" d="M(.*?) Z"', one)
        line = re.search(r'class="line" d="M(.*?)"', one)
        assert band and line
        edge = [tuple(map(float, pair.split())) for pair in band[1].split(" L")]
        best = [tuple(map(float, pair.split())) for pair in line[1].split(" L")]
        upper, lower = edge[: len(best)], edge[len(best) :][::-1]
        for (_, top), (_, mid), (_, low) in zip(upper, best, lower, strict=True):
            assert top <= mid <= low  # y grows downwards


def test_thicknesses_typed_in_inches_are_shown_in_inches(olga: Client) -> None:
    answer = forecast(olga, thickness="1.5, 2 in, 38 mm", thickness_unit="in")
    names = [row.thickness for row in answer.context["found"].rows]
    assert names == ["2 in (50.8 mm)", "1.5 in (38.1 mm)", "1.5 in (38 mm)"]
    assert " in</text>" in pictures(answer)[1]


def test_a_dry_salting_needs_no_strength(olga: Client) -> None:
    answer = forecast(olga, method="dry salt", strength="", ratio="0.05")
    assert "dry: the face of the fish" in text(answer)


WRONG: list[tuple[dict[str, str], str, str]] = [
    ({"thickness": "38", "thickness_unit": "in"}, "thickness", "965.2 mm: no piece of fish is"),
    ({"thickness": ""}, "thickness", "Fill this in"),
    ({"thickness": "thick"}, "thickness", "is no thickness"),
    ({"thickness": "38,32"}, "thickness", "can be read two ways. Type 38.32, or 38, 32 with a space"),
    ({"thickness": " ".join(["20"] * 41)}, "thickness", "at most 40 pieces"),
    ({"strength": "110"}, "strength", "from 0 to 100"),
    ({"strength": "30", "strength_unit": "%"}, "strength", "at most 26.33 % salt dissolves"),
    ({"strength": ""}, "strength", "how strong"),
    ({"strength": "0"}, "strength", "Type it again"),
    ({"time": "12"}, "time", "not a length of time"),
    ({"time": "90 days"}, "time", "at most 60 days"),
    ({"temp": "150"}, "temp", "between −5 °C and 40 °C"),
    ({"ratio": "0"}, "ratio", "above 0"),
    ({"moisture": "0"}, "moisture", "above 0"),
    ({"moisture": "104"}, "moisture", "from 0 to 100"),
    ({"yield_pct": "20"}, "yield_pct", "no water would be left"),
    ({"target": "0"}, "target", "above 0"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "field", "said"), WRONG)
def test_what_cannot_be_forecast_is_refused_at_its_field(
    changes: dict[str, str], field: str, said: str, olga: Client
) -> None:
    answer = forecast(olga, **changes)
    assert said in beside(answer, field), answer.context["form"].errors
    assert "found" not in answer.context
    assert typed_again(answer, FORECAST | changes) == []


# (what is typed, the field that it is asked at, the words, a figure as odd)
ODD: list[tuple[dict[str, str], str, str, str]] = [
    ({"thickness": "1.5"}, "thickness", "1.5 mm (0.06 in): is that how thick a piece is?", "1.6"),
    ({"thickness": "250"}, "thickness", "Look at the unit", "240"),
    ({"ratio": "0.3"}, "ratio", "does not cover the fish", "0.31"),
]


@pytest.mark.parametrize(("changes", "field", "question", "as_odd"), ODD)
def test_what_is_odd_is_asked_about_and_forecast_when_it_is_so(
    changes: dict[str, str], field: str, question: str, as_odd: str, olga: Client
) -> None:
    answer = forecast(olga, **changes)
    assert question in beside(answer, field)
    assert "found" not in answer.context
    box = re.search(r'name="confirmed" value="([^"]*)"', answer.content.decode())
    assert box
    yes = forecast(olga, **changes, confirmed=html.unescape(box[1]))
    assert "found" in yes.context, yes.context["form"].errors
    other = forecast(olga, **changes | {field: as_odd}, confirmed=html.unescape(box[1]))
    assert "found" not in other.context
    assert other.context["form"].errors[field]


def test_a_lot_that_there_is_not_has_no_forecast(olga: Client) -> None:
    assert olga.get(reverse("salt_forecast"), {"lot": "NONE"}).status_code == 404


def test_the_forecast_says_that_it_uses_the_houses_own_fit(book: Book, olga: Client) -> None:
    wide = forecast(olga).context["found"].rows[0].piece.forecast
    six_points(book)
    answer = forecast(olga)
    narrow = answer.context["found"].rows[0].piece.forecast
    assert "Fitted to 6 of this house's own laboratory results" in text(answer)
    assert (narrow.high - narrow.low) * 3 < wide.high - wide.low


def test_what_a_laboratory_found_in_the_lot_stands_above_its_forecast(
    book: Book, olga: Client
) -> None:
    result_of(book, book.open_lot(), "2.6", "68", "3.68")
    for answer in (
        olga.get(reverse("salt_forecast"), {"lot": "TR-1"}),
        forecast(olga, lot="TR-1"),
    ):
        said = text(answer)
        assert "found 3.68 % water-phase salt in lot TR-1" in said
        assert "stands above every forecast" in said
    assert "stands above every forecast" not in text(forecast(olga))


# --- points ---------------------------------------------------------------------------------------


def test_before_any_result_the_page_says_so_and_shows_the_published_range_with_its_sources(
    olga: Client,
) -> None:
    said = text(olga.get(reverse("salt_points")))
    assert "No result has been kept yet" in said
    for words in (
        "rainbow trout in brine",
        "1.0 × 10⁻¹⁰ m²/s to 6.0 × 10⁻¹⁰ m²/s",
        "from memory",
        "to be confirmed",
    ):
        assert words in said


def test_one_point_gives_no_fit_in_words(book: Book, olga: Client) -> None:
    kept(book, "TR-1", a_point())
    answer = olga.get(reverse("salt_points"))
    assert "One result can be met by a diffusivity of its own" in text(answer)
    assert answer.context["drawings"] == []


def test_the_fit_shows_its_figure_band_level_number_and_residuals(book: Book, olga: Client) -> None:
    six_points(book)
    answer = olga.get(reverse("salt_points"))
    said = text(answer)
    own = answer.context["known"].own
    assert own.n == 6
    assert f"{answer.context['band'].capitalize()}, at a level of 95 %, from 6 results" in said
    assert own.residuals[0].off_pct > 0  # made 6 % quicker than the rest
    for one in answer.context["rows"]:
        assert one.fitted in said
        assert one.off in said
    assert pictures(answer)[0].count('class="piece"') == 6


@pytest.fixture
def result(book: Book) -> LaboratoryResult:
    return result_of(book, book.open_lot(), "2.6", "68", "3.68")


def test_a_point_is_begun_with_the_laboratorys_own_figures(
    result: LaboratoryResult, olga: Client
) -> None:
    form = olga.get(reverse("salt_point_keep", args=[result.pk])).context["form"]
    assert (form["salt"].value(), form["moisture_found"].value()) == ("2.6", "68")


def test_a_point_is_kept_from_the_page(result: LaboratoryResult, olga: Client) -> None:
    taken(olga, reverse("salt_point_keep", args=[result.pk]), POINT)
    row = UptakePoint.objects.get()
    assert (row.thickness_um, row.brined_ms, row.brine_temp) == (38_100, 12 * 3_600_000, 45_000)
    assert (row.brine_salt, row.ratio, row.yield_share) == (15_800_000, 3_000_000, 85_000_000)


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"thickness": "38"}, "thickness", "no piece of fish is"),
        ({"thickness": "1.5, 2"}, "thickness", "Type one thickness"),
        ({"salt": ""}, "salt", "Fill this in"),
        ({"salt": "40", "moisture_found": "70"}, "moisture_found", "over 100 % together"),
        ({"yield_pct": "20"}, "yield_pct", "no water would be left"),
        ({"thickness": "1.5", "thickness_unit": "mm"}, "thickness", "Is the unit right?"),
        ({"moisture_found": "60"}, "moisture_found", "Are they of the same sample?"),
        ({"ratio": "0.3"}, "ratio", "does not cover"),
    ],
)  # fmt: skip
def test_a_point_that_cannot_be_or_is_odd_comes_back_as_it_was_typed(
    changes: dict[str, str], field: str, words: str, result: LaboratoryResult, olga: Client
) -> None:
    refused(olga, reverse("salt_point_keep", args=[result.pk]), POINT | changes, field, words)
    assert not UptakePoint.objects.exists()


def test_an_odd_point_is_kept_once_the_box_is_ticked(
    result: LaboratoryResult, olga: Client
) -> None:
    address = reverse("salt_point_keep", args=[result.pk])
    odd = POINT | {"thickness": "2", "thickness_unit": "mm"}
    answer = refused(olga, address, odd, "thickness", "Is the unit right?")
    box = re.search(r'name="confirmed" value="([^"]*)"', answer.content.decode())
    assert box
    yes = odd | {"confirmed": html.unescape(box[1])}
    refused(olga, address, yes | {"thickness": "2.5"}, "thickness", "Is the unit right?")
    taken(olga, address, yes)
    assert UptakePoint.objects.get().thickness_um == 2_000


def test_a_second_point_of_a_result_is_refused(result: LaboratoryResult, olga: Client) -> None:
    address = reverse("salt_point_keep", args=[result.pk])
    taken(olga, address, POINT)
    refused(olga, address, POINT, None, "kept already")


def test_a_point_is_left_out_with_its_reason_and_shown_so(book: Book, olga: Client) -> None:
    point = kept(book, "TR-1", a_point())
    address = reverse("salt_point_leave_out", args=[point.pk])
    refused(olga, address, {"reason": ""}, "reason", "Fill this in")
    answer = taken(olga, address, {"reason": "a wrong piece"})
    assert UptakePointLeftOut.objects.get().point == point
    assert "left out : a wrong piece" in text(answer)
    assert "Leave it out" not in text(answer)


def test_who_only_reads_is_led_to_no_keeping(
    book: Book, result: LaboratoryResult, clock: object
) -> None:
    page = as_person(book.inspector).get(reverse("salt_points"))
    assert page.status_code == 200
    assert reverse("salt_point_keep", args=[result.pk]) not in page.content.decode()
    assert (
        as_person(book.operator)
        .get(reverse("salt_points"))
        .content.decode()
        .count("Keep a point of lot")
        == 1
    )


def test_the_forecast_asks_the_book_for_its_points_alone(book: Book, olga: Client) -> None:
    six_points(book)
    bare = asks(olga, reverse("sums"))
    assert asks(olga, reverse("salt_forecast"), FORECAST) <= bare + 1
    assert asks(olga, reverse("salt_points")) <= bare + 2  # and for results without a point


def asks(client: Client, address: str, typed: dict[str, str] | None = None) -> int:
    """How often a page reads from the database; the pen's own writing is left out."""
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address, typed or {}).status_code == 200
    return sum(one["sql"].startswith("SELECT") for one in asked.captured_queries)
