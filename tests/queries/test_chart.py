"""The temperature strip: what is drawn where, and what is not drawn at all."""

from itertools import pairwise

import pytest

from lots.entries.reading import enter_readings
from lots.entries.readings import Figure
from lots.models.lot import Lot
from lots.queries.chart import Chart, draw
from lots.queries.lineage import parts_of
from lots.queries.lot_page import lot_page
from tests.entries.roads import csv, imported
from tests.make import ZONE, Book, moment, seen


def charts(lot: Lot, at: str, unit: str = "F") -> list[Chart]:
    return draw(parts_of(lot), lot.deviations.all(), "C" if unit == "C" else "F", ZONE, moment(at))


def wide(lot: Lot, at: str) -> Chart:
    return charts(lot, at)[0]


@pytest.fixture
def lot(book: Book) -> Lot:
    return book.open_lot("TR-1", figures=())


def test_a_lot_without_readings_has_no_chart(lot: Lot) -> None:
    assert charts(lot, "08:00") == []


def test_there_is_a_wide_and_a_narrow_drawing_of_the_same_steps(book: Book, lot: Lot) -> None:
    book.start("hold", "Cooler", "07:30", lot)
    book.at_place("Cooler", "07:40 37.0, 08:10 38.0")
    large, small = charts(lot, "08:30")
    assert (large.css, small.css) == ("chart-wide", "chart-narrow")
    assert (large.width, small.width) == (760, 360)
    assert [part.name for part in large.segments] == [part.name for part in small.segments]
    assert "lot TR-1 through 1 step" in large.label


def test_steps_stand_side_by_side_in_order_and_fill_the_width(book: Book, lot: Lot) -> None:
    book.end(book.start("hold", "Cooler", "07:30", lot), "08:00")
    book.at_place("Cooler", "07:40 37.0")
    book.start("brine", "Brine tank 1", "08:05", lot)
    book.at_place("Brine tank 1", "08:06 44.0")
    chart = wide(lot, "09:00")
    first, second = chart.segments
    assert (first.name, second.name) == ("Refrigerated holding", "Brine")
    assert first.x == chart.left
    assert first.x2 == pytest.approx(second.x, abs=0.2)
    assert second.x2 == pytest.approx(chart.right, abs=0.2)


def test_warmer_is_higher_and_later_is_further_right(book: Book, lot: Lot) -> None:
    book.start("hold", "Cooler", "07:30", lot)
    book.at_place("Cooler", "07:40 36.0, 08:10 39.0")
    (part,) = wide(lot, "08:30").segments
    (x1, y1), (x2, y2) = part.lines[0].points
    assert x1 < x2
    assert y1 > y2


def test_a_limit_stands_at_its_figure_with_its_words(book: Book, lot: Lot) -> None:
    book.start("hold", "Cooler", "07:30", lot)
    book.at_place("Cooler", "07:40 40.0, 08:10 38.0")
    (part,) = wide(lot, "08:30").segments
    lines = {line.css: line for line in part.limits}
    assert (lines["limit"].text, lines["operating"].text) == ("≤ 40 °F", "≤ 38 °F")
    assert lines["limit"].y == part.lines[0].points[0][1]  # the reading of 40 °F stands on it
    assert lines["operating"].y == part.lines[0].points[1][1]
    assert lines["limit"].label == "≤ 40"


def test_a_limit_of_what_was_not_read_is_not_drawn(book: Book, lot: Lot) -> None:
    book.start("brine", "Brine tank 1", "07:30", lot)
    book.at_place("Brine tank 1", "07:31 44.0")
    (part,) = wide(lot, "08:00").segments
    assert [line.text for line in part.limits] == ["≤ 60 °F"]  # not the brine room's 38 °F
    book.at_place("Brine room", "07:45 36.0")
    (part,) = wide(lot, "08:00").segments
    assert [line.text for line in part.limits] == ["≤ 60 °F", "≤ 38 °F"]


def test_words_of_limits_never_stand_on_each_other_or_on_a_reading(book: Book, lot: Lot) -> None:
    book.start("smoke", "Smokehouse 1", "07:30", lot)
    book.fish(lot.parts.last().load, "07:35 41, 08:00 120, 08:20 146, 08:35 147, 08:50 148")
    for chart in charts(lot, "09:00"):
        (part,) = chart.segments
        spots = [line.label_y for line in part.limits if line.label]
        assert all(abs(a - b) >= 15 for i, a in enumerate(spots) for b in spots[i + 1 :])
        for line in part.limits:
            if line.label:
                reach = len(line.label) * 11
                left = line.label_x - (reach if line.anchor == "end" else 0)
                for x, y in part.lines[0].points:
                    assert not (left < x < left + reach and line.label_y - 18 < y < line.label_y)


def test_a_silence_longer_than_the_plan_lets_pass_is_a_gap_in_line_and_ground(
    book: Book, lot: Lot
) -> None:
    book.start("brine", "Brine tank 1", "07:30", lot)
    book.at_place("Brine tank 1", "07:31 44.0, 09:31 44.0, 11:32 43.0")  # every 2 h is asked
    (part,) = wide(lot, "11:35").segments
    points = part.lines[0].points
    assert part.lines[0].path.count("M") == 2
    ((x, width),) = part.gaps
    assert x == points[1][0]
    assert x + width == pytest.approx(points[2][0], abs=0.2)


def test_a_gap_that_another_probe_covers_is_none(book: Book, lot: Lot) -> None:
    book.start("hold", "Cooler", "07:30", lot)
    imported(book, csv("2026-03-04 07:31:00", 60, ["37.0"] * 60), "08:35", book.place("Cooler"))
    (part,) = wide(lot, "08:36").segments
    assert part.gaps == []


def test_a_deviation_is_marked_when_and_where_it_broke(book: Book, lot: Lot) -> None:
    book.start("hold", "Cooler", "07:30", lot)
    book.at_place("Cooler", "07:40 37.0, 08:00 41.0, 08:20 37.5")
    (part,) = wide(lot, "08:30").segments
    (mark,) = part.breaches
    assert mark.x == part.lines[0].points[1][0]
    assert mark.y == next(line.y for line in part.limits if line.css == "limit")
    assert mark.text == f"deviation {lot.deviations.get().pk}"


def test_a_deviation_without_a_figure_is_marked_at_the_floor(book: Book, lot: Lot) -> None:
    load = book.start("pack", "Table", "07:30", lot)
    book.fish(load, "07:35 37.0", probes=1)
    from tests.entries.test_road import LABEL

    book.observe(load, LABEL, False, "07:40")
    chart = wide(lot, "08:00")
    (mark,) = chart.segments[0].breaches
    assert mark.y == chart.floor - 18


def test_lines_of_a_step_have_patterns_of_their_own_and_stand_in_the_legend(
    book: Book, lot: Lot
) -> None:
    smoke = book.start("smoke", "Smokehouse 1", "07:30", lot)
    book.fish(smoke, "07:35 41.0, 08:00 90.0")
    chart = wide(lot, "08:10")
    styles = [line.style for line in chart.segments[0].lines]
    assert len(set(styles)) == 3
    assert chart.legend == [(1, "fish 1"), (2, "fish 2"), (3, "fish 3")]


def test_a_long_series_keeps_its_highest_and_lowest(book: Book, lot: Lot) -> None:
    book.start("hold", "Cooler", "07:30", lot)
    figures = ["37.0"] * 20_000
    figures[9_000], figures[12_000] = "39.9", "30.1"
    data = csv("2026-03-04 07:31:00", 1, figures)
    imported(book, data, "13:10", book.place("Cooler"))
    large, small = charts(lot, "13:11")
    for chart in (large, small):
        (part,) = chart.segments
        (line,) = part.lines
        ys = [float(step.split()[1]) for step in line.path.replace("M", "L").split("L")[1:]]
        on_40 = next(limit.y for limit in part.limits if limit.text == "≤ 40 °F")
        assert min(ys) == pytest.approx(on_40, abs=3)  # 39.9 °F is drawn just below 40 °F
        assert max(ys) - min(ys) > 100
        assert len(ys) < 2 * chart.width + 2
        assert line.dots == []


def test_the_same_load_of_two_merged_lots_is_drawn_once(book: Book, lot: Lot) -> None:
    from lots.entries.lot import merge_lots

    other = book.open_lot("TR-2", figures=())
    book.end(book.start("hold", "Cooler", "07:30", lot, other), "08:00")
    book.at_place("Cooler", "07:40 37.0")
    new = merge_lots(book.operator, [(lot, 5_000), (other, 5_000)], "TR-12", "", moment("08:10"))
    assert len(wide(new, "08:20").segments) == 1


def test_degrees_are_the_houses(book: Book, lot: Lot) -> None:
    book.start("hold", "Cooler", "07:30", lot)
    book.at_place("Cooler", "07:40 37.0")
    chart = charts(lot, "08:00", "C")[0]
    assert chart.unit == "°C"
    assert {line.text for line in chart.segments[0].limits} == {"≤ 4.4 °C", "≤ 3.3 °C"}
    where = {text: y for y, text in chart.ticks}
    assert set(where) <= {f"{n}" for n in range(-20, 40)} | {f"−{n}" for n in range(20)}


def test_the_lots_page_has_both_drawings(book: Book, lot: Lot) -> None:
    book.start("hold", "Cooler", "07:30", lot)
    book.at_place("Cooler", "07:40 37.0")
    page = lot_page(Lot.objects.get(pk=lot.pk), "F", ZONE, moment("08:00"))
    assert len(page["charts"]) == 2


def alone(lot: Lot, at: str, step: int) -> Chart:
    return draw(parts_of(lot), lot.deviations.all(), "F", ZONE, moment(at), step)[0]


def test_one_step_is_drawn_large_under_its_own_number_with_its_clock_along_the_floor(
    book: Book, lot: Lot
) -> None:
    book.end(book.start("hold", "Cooler", "07:30", lot), "08:00")
    book.at_place("Cooler", "07:40 37.0")
    book.start("brine", "Brine tank 1", "08:05", lot)
    book.at_place("Brine tank 1", "08:06 44.0, 10:00 43.0")
    chart = alone(lot, "10:10", 2)
    (part,) = chart.segments
    assert (chart.alone, part.number, part.name) == (True, 2, "Brine")
    assert (part.x, part.x2) == (chart.left, pytest.approx(chart.right, abs=0.2))
    shown = [text for _, text in part.clocks]
    assert (shown[0], shown[-1], len(shown)) == ("08:15", "10:00", 8)
    places = [x for x, _ in part.clocks]
    assert places == sorted(places)
    assert part.begin == ""


@pytest.mark.parametrize("step", [0, 7, 999])
def test_a_step_that_there_is_not_shows_the_whole_strip(book: Book, lot: Lot, step: int) -> None:
    book.start("hold", "Cooler", "07:30", lot)
    book.at_place("Cooler", "07:40 37.0")
    assert not alone(lot, "08:30", step).alone


def test_the_clock_of_the_night_it_is_put_back_goes_on_by_full_hours(book: Book) -> None:
    lot = book.open_lot("TR-9", at="2026-10-31 21:30", figures=())
    book.start("hold", "Cooler", "2026-10-31 22:00", lot)
    for text in ("2026-10-31 22:10", "2026-11-01 03:50"):
        enter_readings(book.operator, book.place("Cooler"), None, [Figure("37", "F")], seen(text))
    (part,) = alone(lot, "2026-11-01 04:00", 1).segments
    assert [text for _, text in part.clocks] == [
        "23:00",
        "00:00",
        "01:00",
        "01:00",
        "02:00",
        "03:00",
    ]


def test_each_line_of_a_step_has_its_name_at_its_end_and_none_covers_another(
    book: Book, lot: Lot
) -> None:
    smoke = book.start("smoke", "Smokehouse 1", "08:00", lot)
    book.fish(smoke, "08:10 60.0, 09:00 100.0, 09:50 140.0")
    book.at_place("Smokehouse 1", "08:10 180, 09:50 220")
    (part,) = alone(lot, "10:00", 1).segments
    named = [(line.at_line, line.at_y) for line in part.lines if line.at_line]
    assert {name for name, _ in named} >= {"1", "2", "3"}
    heights = sorted(y for _, y in named)
    assert all(b - a >= 16 for a, b in pairwise(heights))
    assert len({line.style for line in part.lines}) == len(part.lines)
