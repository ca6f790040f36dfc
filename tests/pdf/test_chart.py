from dataclasses import replace

from lots.core.record import LimitLine, LoggerSeries, LotRecord
from lots.pdf.chart import Chart, hand_mark, limit_lines, longest_gap, windows
from lots.pdf.faces import load_faces
from lots.pdf.layout import PAPERS, Sheet, Text
from lots.pdf.shapes import Path
from lots.pdf.words import shown_in
from tests.pdf.make import MIN, at, fahrenheit, make_record, make_series

RICH = make_record()


def chart_of(record: LotRecord, load: int) -> Chart:
    """The drawn chart of a load."""
    load_faces()
    window = next(w for w in windows(record) if [one.number for one in w.loads] == [load])
    chart = Chart(Sheet(PAPERS["letter"]), record, window, shown_in(record), 215)
    chart.draw()
    return chart


def with_series(series: LoggerSeries) -> LotRecord:
    kept = tuple(r for r in RICH.readings if r.load != 3)
    return replace(RICH, series=(series,), readings=kept)


def series_paths(chart: Chart) -> list[Path]:
    return [m for m in chart.sheet.marks if isinstance(m, Path) and m.thick == 0.75]


def texts(chart: Chart) -> list[str]:
    return [m.text for m in chart.sheet.marks if isinstance(m, Text)]


def test_a_gap_stays_open() -> None:
    whole = with_series(make_series("fish 1", "5 Mar 07:00", 300, lambda m: 40 + m / 3))
    holed = with_series(
        make_series("fish 1", "5 Mar 07:00", 300, lambda m: 40 + m / 3, hole=(100, 120))
    )
    legend = 1
    assert len(series_paths(chart_of(whole, 3))) - legend == 1
    first, second = series_paths(chart_of(holed, 3))[:2]
    assert second.points[0][0] - first.points[-1][0] > 20


def test_a_line_ends_where_its_readings_do() -> None:
    chart = chart_of(with_series(make_series("fish 1", "5 Mar 07:00", 60, lambda m: 40.0)), 3)
    assert series_paths(chart)[0].points[-1][0] < chart.left + (chart.right - chart.left) / 4


def test_lowest_and_highest_survive_thinning() -> None:
    spike = make_series("fish 1", "5 Mar 07:00", 300, lambda m: 180.0 if m == 77.5 else 40.0)
    chart = chart_of(with_series(spike), 3)
    ys = [y for path in series_paths(chart) for _, y in path.points]
    assert max(ys) == chart.y(fahrenheit(180.0))


def test_each_limit_is_drawn_at_its_level_and_named() -> None:
    chart = chart_of(RICH, 3)
    levels = {m.points[0][1] for m in chart.sheet.marks if isinstance(m, Path) and m.thick == 1.6}
    assert {chart.y(fahrenheit(145)), chart.y(fahrenheit(148))} <= levels
    assert {"≥ 145.0 °F critical", "≥ 148.0 °F operating"} <= set(texts(chart))


def test_a_limit_belongs_to_its_own_step() -> None:
    assert limit_lines(RICH, "smoke") == [
        LimitLine("critical", "at least", fahrenheit(145), "F"),
        LimitLine("operating", "at least", fahrenheit(148), "F"),
    ]
    assert limit_lines(RICH, "storage") == []


def test_a_deviation_is_marked_when_it_broke() -> None:
    chart = chart_of(RICH, 2)
    (label,) = [m for m in chart.sheet.marks if isinstance(m, Text) and m.text == "D1"]
    assert abs(label.x - 6 - chart.x(at("5 Mar 00:21"))) < 0.01


def test_deviations_too_near_to_tell_apart_share_a_shape() -> None:
    near = tuple(
        replace(RICH.deviations[0], number=i, load=3, broke_at=at("5 Mar 08:00") + i * 4 * MIN)
        for i in range(1, 8)
    )
    labels = [t for t in texts(chart_of(replace(RICH, deviations=near), 3)) if t.startswith("D")]
    assert labels == ["D1 to D7"]


def test_a_limit_is_named_in_the_unit_of_the_plan() -> None:
    place = replace(RICH.establishment, temperature_unit="C")
    assert "≥ 145.0 °F critical" in texts(chart_of(replace(RICH, establishment=place), 3))


def test_a_corrected_reading_is_not_drawn() -> None:
    window = next(w for w in windows(RICH) if [one.number for one in w.loads] == [1])
    assert [r.number for r in window.readings] == [1, 2, 3, 5]


def test_the_whole_lot_comes_first_where_there_are_several_loads() -> None:
    assert windows(RICH)[0].title == "The whole lot"
    assert len(windows(RICH)) == 1 + len(RICH.loads)
    single = replace(RICH, loads=RICH.loads[:1])
    assert [w.title for w in windows(single)] == ["Load 1 · receiving · Receiving dock"]


def test_a_day_on_which_the_clock_changes_shows_the_clock_of_the_place() -> None:
    start = at("8 Mar 00:00")
    load = replace(RICH.loads[2], started_at=start, ended_at=start + 5 * 60 * MIN)
    series = make_series("fish 1", "8 Mar 00:00", 300, lambda m: 40.0)
    record = replace(with_series(series), loads=(load,))
    labels = [t for t in texts(chart_of(record, 3)) if t[2:3] == ":"]
    assert labels == ["00:00", "01:00", "03:00", "04:00", "05:00", "06:00"]


def test_without_a_stated_gap_three_usual_steps_are_one() -> None:
    series = make_series("fish 1", "5 Mar 07:00", 10, lambda m: 40.0)
    assert longest_gap(series) == 5 * MIN
    assert longest_gap(replace(series, gap_ms=0)) == 90_000


def test_marks_by_hand_differ() -> None:
    drawn = {repr(hand_mark(kind, 0.0, 0.0)) for kind in range(10)}
    assert len(drawn) == 10
