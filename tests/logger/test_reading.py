from datetime import UTC, datetime, timedelta

from lots.logger.leaving import Why
from lots.logger.preview import ShownReading, preview
from tests.logger.files import BOUNDS, as_read, guess, make_file, moments, read, refusal_of

HEAD = "Date Time,Core,Event"
ROWS = ("03/13/2026 08:00,63.1,", "03/13/2026 08:05,64.0,", "03/13/2026 08:10,64.2,")


def at(text: str) -> int:
    return int(datetime.fromisoformat(text).timestamp() * 1000)


def left(data: bytes) -> list[tuple[Why, int, int]]:
    """Each reason with its count and the line of its first example."""
    return [(one.why, one.count, one.examples[0][0]) for one in read(data).left_out]


def test_readings_have_moment_value_text_and_line() -> None:
    (series,) = read(make_file("Unit No. 3", HEAD, *ROWS)).series
    assert series.readings[0] == (at("2026-03-13T08:00-04:00"), 155_500, "63.1", 3)
    assert [reading.line for reading in series.readings] == [3, 4, 5]


def test_a_file_without_a_last_line_end_is_read_whole() -> None:
    assert as_read(read(make_file(HEAD, *ROWS)[:-1])) == ["63.1", "64.0", "64.2"]


def test_events_without_a_temperature_are_left_out_counted_and_shown() -> None:
    data = make_file(
        HEAD, "03/13/2026 07:59,,Logger started", *ROWS, "03/13/2026 08:11,,USB connected"
    )
    assert as_read(read(data)) == ["63.1", "64.0", "64.2"]
    assert left(data) == [(Why.EVENT, 2, 2)]
    assert "USB connected" in read(data).left_out[0].examples[1][1]


def test_a_short_event_at_the_end_is_not_taken_for_a_cut() -> None:
    data = make_file(
        "Date Time,Event,Core", "03/13/2026 08:00,,63.1", "03/13/2026 08:05,USB connected"
    )
    assert as_read(read(data)) == ["63.1"]


def test_an_event_in_the_column_of_temperatures_is_left_out() -> None:
    data = make_file(
        "Date Time,Core", ROWS[0][:-1], "03/13/2026 08:03,Button pressed", ROWS[1][:-1]
    )
    assert left(data) == [(Why.EVENT, 1, 3)]


def test_error_codes_are_left_out_with_their_lines() -> None:
    codes = ("Err", "---", "-999", "3276.7", "E04")
    data = make_file("Date Time,Core", ROWS[0][:-1], *(f"03/13/2026 08:01,{c}" for c in codes))
    assert left(data) == [(Why.ERROR_CODE, 5, 3)]


def test_a_cell_empty_in_one_channel_is_left_out_of_that_channel_only() -> None:
    data = make_file(
        "Date Time,Core 1 °F,Core 2 °F", "03/13/2026 08:00,63.1,", "03/13/2026 08:05,64,65"
    )
    parsed = read(data)
    assert (as_read(parsed, 0), as_read(parsed, 1)) == (["63.1", "64"], ["65"])
    assert [(one.why, one.channel, one.count) for one in parsed.left_out] == [
        (Why.EMPTY, "Core 2 °F", 1)
    ]


def test_a_repeated_heading_is_left_out() -> None:
    assert left(make_file(HEAD, ROWS[0], HEAD, ROWS[1])) == [(Why.HEADING, 1, 3)]


def test_two_files_put_behind_one_another_are_read_as_one() -> None:
    data = make_file("Unit No.,7", HEAD, ROWS[0], "", "Unit No.,7", HEAD, ROWS[1])
    assert as_read(read(data)) == ["63.1", "64.0"]
    assert {one.why for one in read(data).left_out} == {Why.NO_MOMENT, Why.HEADING}


def test_a_summary_behind_the_readings_is_left_out() -> None:
    data = make_file(HEAD, *ROWS, "", "Highest,64.2", "Lowest,63.1", "13 readings,63.7")
    assert as_read(read(data)) == ["63.1", "64.0", "64.2"]
    assert left(data) == [(Why.SUMMARY, 3, 6)]


def test_a_summary_directly_behind_the_readings_is_no_cut() -> None:
    data = make_file(
        "No,Date Time,Core", "1,03/13/2026 08:00,63.1", "2,03/13/2026 08:05,64", "End of data"
    )
    assert left(data) == [(Why.SUMMARY, 1, 4)]


def test_a_summary_with_a_moment_is_no_reading_where_rows_are_numbered() -> None:
    data = make_file(
        "No,Date Time,Core", "1,03/13/2026 08:00,63.1", "Average,03/13/2026 08:00,70.0"
    )
    assert as_read(read(data)) == ["63.1"]
    assert left(data) == [(Why.SUMMARY, 1, 3)]


def test_a_repeated_row_adds_nothing() -> None:
    data = make_file(HEAD, *ROWS, *ROWS)
    assert as_read(read(data)) == ["63.1", "64.0", "64.2"]
    assert left(data) == [(Why.REPEATED, 3, 5)]


def test_two_values_of_one_moment_are_both_kept_and_said() -> None:
    parsed = read(make_file(HEAD, ROWS[0], "03/13/2026 08:00,70.0,"))
    assert as_read(parsed) == ["63.1", "70.0"]
    assert "1 readings differ" in parsed.notes[0]


def test_rows_out_of_order_are_put_in_order_and_said() -> None:
    parsed = read(make_file(HEAD, ROWS[0], ROWS[2], ROWS[1], "03/13/2026 08:15,65.0,"))
    assert as_read(parsed) == ["63.1", "64.0", "64.2", "65.0"]
    assert "put in order" in parsed.notes[0]


def test_newest_first_is_turned_round_and_said() -> None:
    parsed = read(make_file(HEAD, *reversed(ROWS)))
    assert as_read(parsed) == ["63.1", "64.0", "64.2"]
    assert "newest rows first" in parsed.notes[0]


def test_the_doubled_hour_is_resolved_by_the_order_of_the_rows() -> None:
    times = ("00:30", "01:00", "01:30", "01:00", "01:30", "02:00")
    data = make_file("Date Time,Core", *(f"2025-11-02 {t},{n}" for n, t in enumerate(times)))
    start = at("2025-11-02T00:30-04:00")
    for one in (data, make_file("Date Time,Core", *reversed(data.decode().splitlines()[1:]))):
        assert moments(read(one)) == [start + n * 1_800_000 for n in range(6)]


def test_a_doubled_hour_seen_once_is_said() -> None:
    parsed = read(make_file("Date Time,Core", "2025-11-02 01:30,63.1", "2025-11-02 02:00,63.1"))
    assert moments(parsed) == [at("2025-11-02T01:30-04:00"), at("2025-11-02T02:00-05:00")]
    assert "doubled hour" in parsed.notes[0]


def test_more_than_three_decimals_are_rounded_and_said() -> None:
    parsed = read(make_file("Date Time,Core °C", "03/13/2026 08:00,23.4500007629"))
    assert [r.ninths for r in parsed.series[0].readings] == [23_450 * 9]
    assert "rounded" in parsed.notes[0]


def test_a_stray_quotation_mark_swallows_no_rows() -> None:
    assert len(as_read(read(make_file('Probe 4" long', HEAD, *ROWS)))) == 3


def test_a_hundred_thousand_rows_are_read_right() -> None:
    start = datetime(2025, 4, 1, tzinfo=UTC)
    lines = []
    for n in range(100_000):
        local = (start + timedelta(minutes=5 * n)) - timedelta(hours=5)
        lines.append(f"{n + 1},{local:%m/%d/%Y %I:%M:%S %p},{n % 1500 / 10}")
    head = ("Unit No.: 4", "", '#,"Date Time, GMT-05:00","Core, °F"')
    data = make_file(*head, *lines, end="\r\n")
    readings = read(data).series[0].readings
    assert len(readings) == 100_000
    for n, reading in enumerate(readings):
        assert reading.observed_at == int(start.timestamp() * 1000) + n * 300_000
        assert reading.ninths == (n % 1500 * 100 - 32_000) * 5


def test_the_preview_shows_both_ends_as_understood() -> None:
    data = make_file(HEAD, *(f"03/13/2026 08:{n:02d},{n}.5," for n in range(60)))
    (shown,) = preview(data, guess(data), BOUNDS, show=2).series
    assert (shown.count, len(shown.first), len(shown.last)) == (60, 2, 2)
    assert shown.first[0] == ShownReading(2, "13 Mar 2026 08:00 −04:00", "0.5", "F")
    assert shown.last[1].moment == "13 Mar 2026 08:59 −04:00"


def test_the_preview_of_a_short_file_shows_no_row_twice() -> None:
    data = make_file(HEAD, *ROWS)
    (shown,) = preview(data, guess(data), BOUNDS, show=2).series
    assert [r.line for r in (*shown.first, *shown.last)] == [2, 3, 4]


def test_the_preview_of_a_refused_file_shows_its_rows_and_why() -> None:
    data = make_file("Date Time,Core", "03/04/2026 08:00,63.1")
    seen = preview(data, guess(data), BOUNDS)
    assert seen.refusal is not None
    assert seen.refusal.message == refusal_of(data).message
    assert seen.raw[0] == (2, ("03/04/2026 08:00", "63.1"))
