"""Sheets of paper: printed blank, entered later in one go with their picture."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from lots.models.book import BookLine
from lots.models.lot import Load
from lots.models.reading import Attachment, Observation, Reading
from lots.queries.judgements import judge_parts
from lots.queries.late_rows import late_rows
from tests.make import Book, moment
from tests.views.pages import beside, kept, lines

Clock = Callable[[str], int]
PNG = b"\x89PNG\r\n\x1a\n" + b"0" * 40


def picture() -> SimpleUploadedFile:
    return SimpleUploadedFile("sheet.png", PNG, "image/png")


def sheet(*rows: tuple[str, ...], **changes: Any) -> dict[str, Any]:
    """A sheet as typed: each line a time and its fish."""
    typed = {
        "day": "4 Mar 2026", "unit": "F", "written_by": "OO", "late_reason": "from paper: the tablet was dead",
        "picture": picture(), "client_key": "f" * 32, "lines": "10",
    }  # fmt: skip
    for number, (at, *fish) in enumerate(rows):
        typed[f"row_{number}_at"] = at
        typed |= {f"row_{number}_fish_{n}": text for n, text in enumerate(fish)}
    return typed | changes


def send(browser: Client, load: Load, typed: dict[str, Any]) -> HttpResponse:
    return browser.post(reverse("paper_enter", args=[load.pk]), typed)


def refused(
    browser: Client, load: Load, typed: dict[str, Any], field: str, words: str
) -> HttpResponse:
    """Refused beside the field, all that was typed still there, nothing written."""
    before = lines()
    answer = send(browser, load, typed)
    assert (answer.status_code, lines()) == (200, before)
    assert words in beside(answer, field), answer.context["form"].errors
    typed = {name: text for name, text in typed.items() if name not in ("picture", "lines")}
    assert kept(answer, typed) == []
    return answer


@pytest.fixture
def smoke(book: Book) -> Load:
    return book.start("smoke", "Smokehouse 1", "08:00", book.open_lot("TR-1"))


def test_a_whole_sheet_is_one_line_of_the_book_and_every_reading_says_that_it_comes_from_paper(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    clock("11:00")
    before = lines()
    answer = send(
        olga, smoke, sheet(("08:10", "61", "60.5", "62"), ("09:40", "120.5", "119", "121"))
    )
    assert answer.status_code == 302, answer.context["form"].errors
    new = list(BookLine.objects.filter(number__gt=before).exclude(person=None))
    assert [line.kind for line in new] == ["entered from paper"]
    assert json.loads(new[0].content)["by"] == "paper"
    rows = list(Reading.objects.filter(line=new[0]).order_by("id"))
    assert [row.as_read for row in rows] == ["61", "60.5", "62", "120.5", "119", "121"]
    assert {row.observed_at for row in rows} == {moment("08:10"), moment("09:40")}
    assert all(row.from_paper and row.late_reason and row.load_id == smoke.pk for row in rows)
    assert Attachment.objects.get(load=smoke).file.name == "sheet.png"
    part = smoke.parts.get()
    assert len(late_rows([part.lot_id])) >= 6


def test_the_readings_are_judged_together(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    clock("11:00")
    hot = [(f"10:{minute:02}", "150", "151", "149") for minute in (0, 15, 30)]
    assert send(olga, smoke, sheet(*hot)).status_code == 302
    part = smoke.parts.select_related("load__place__within", "lot__plan_version").get()
    judged = {one.limit.id: one for one in judge_parts([(part, ())], moment("11:00"))}
    heat = judged["smoke-heat"].finding
    assert heat.numbers["maintained_ms"] == 30 * 60_000


def test_the_same_sheet_sent_again_is_taken_once(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    clock("11:00")
    assert send(olga, smoke, sheet(("08:10", "61"))).status_code == 302
    before = lines()
    assert send(olga, smoke, sheet(("08:10", "61"))).status_code == 302
    assert lines() == before


def test_a_line_whose_time_is_earlier_is_of_the_next_day(
    book: Book, olga: Client, clock: Clock
) -> None:
    cool = book.start("cool", "Cooler", "23:00", book.open_lot("TR-1"))
    clock("2026-03-05 06:00")
    answer = send(olga, cool, sheet(("23:10", "140"), ("00:20", "90"), ("01:10", "60")))
    assert answer.status_code == 302, answer.context["form"].errors
    seen = list(
        Reading.objects.filter(load=cool).order_by("id").values_list("observed_at", flat=True)
    )
    assert seen == [moment("23:10"), moment("2026-03-05 00:20"), moment("2026-03-05 01:10")]


def test_what_was_looked_for_goes_along(book: Book, olga: Client, clock: Clock) -> None:
    pack = book.start("pack", "Table", "09:00", book.open_lot("TR-1"))
    clock("11:00")
    page = olga.get(reverse("paper_enter", args=[pack.pk]))
    assert page.context["form"].looks
    answer = send(olga, pack, sheet(look_0="yes", looked_at="09:30"))
    assert answer.status_code == 302, answer.context["form"].errors
    seen = Observation.objects.get(load=pack)
    assert (seen.found, seen.observed_at) == (True, moment("09:30"))


@pytest.mark.parametrize(
    ("rows", "changes", "field", "words"),
    [
        ((("08:10", "61"),), {"picture": ""}, "picture", "Choose the picture"),
        (
            (("08:10", "61"),),
            {"picture": SimpleUploadedFile("x.txt", b"hello")},
            "picture",
            "photo",
        ),
        ((("08:10", "61"),), {"late_reason": ""}, "late_reason", "Fill this in"),
        ((("08:10", "61"),), {"written_by": ""}, "written_by", "Fill this in"),
        ((), {}, "row_0_at", "at least one line"),
        ((("", "61"),), {}, "row_0_at", "Type the time"),
        ((("08:10",),), {}, "row_0_at", "without a figure"),
        ((("8 o'clock", "61"),), {}, "row_0_at", "is not a time"),
        ((("08:10", "61"),), {"day": "4 Mrz 2026"}, "row_0_at", "is not a"),
        ((("10:30", "61"), ("12:00", "70")), {}, "row_1_at", "still to come"),
        ((("08:10", "61", "6x", "62"),), {}, "row_0_fish_1", "is not a number"),
        ((("08:10", "61"), ("08:20", "999")), {}, "row_1_fish_0", "no fish or oven"),
        ((("08:10", "61"),), {"day": "1 Mar 2026"}, "row_0_at", "more than a day before"),
    ],
)
def test_a_line_that_cannot_be_is_refused_beside_it(
    book: Book, olga: Client, clock: Clock, smoke: Load,
    rows: Any, changes: dict[str, Any], field: str, words: str,
) -> None:  # fmt: skip
    clock("11:00")
    if changes.get("picture"):
        changes["picture"].seek(0)
    refused(olga, smoke, sheet(*rows, **changes), field, words)


def test_all_that_is_wrong_is_said_at_once(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    clock("11:00")
    answer = send(olga, smoke, sheet(("08:10", "999"), ("08:20", "61", "998"), picture=""))
    for field in ("row_0_fish_0", "row_1_fish_1", "picture"):
        assert beside(answer, field)


def test_an_unlikely_figure_is_asked_about_and_taken_once_confirmed(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    clock("11:00")
    typed = sheet(("08:10", "61"), ("08:20", "390", "62"))
    answer = refused(olga, smoke, typed, "row_1_fish_0", "unlikely")
    box = answer.context["form"].fields["confirmed"].widget.attrs["value"]
    again = sheet(("08:10", "61"), ("08:20", "390", "62"), confirmed=box)
    assert send(olga, smoke, again).status_code == 302
    assert Reading.objects.get(as_read="390").unlikely_confirmed


def test_more_lines_keep_what_was_typed(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    clock("11:00")
    before = lines()
    answer = send(olga, smoke, sheet(("08:10", "61"), more="1"))
    assert lines() == before
    assert answer.context["lines"] == 20
    assert answer.context["form"]["row_0_fish_0"].value() == "61"


def test_a_blank_sheet_names_the_load_its_fish_its_limits_and_what_to_do(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    clock("09:00")
    text = olga.get(reverse("load_sheet", args=[smoke.pk])).content.decode()
    for words in (
        "Smokehouse 1",
        "TR-1",
        "Fish 3, °F",
        "145 °F",
        "If a limit is not met",
        f"load {smoke.pk}",
    ):
        assert words in text
    book.start("hold", "Cooler", "08:30", book.open_lot("TR-2", at="07:05"))
    both = olga.get(reverse("sheets")).content.decode()
    assert both.count('<article class="paper-sheet">') >= 2
