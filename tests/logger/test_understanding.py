import pytest

from lots.logger.choices import Choices, choices_from
from lots.logger.errors import Code, LoggerFileError
from lots.logger.reading import rows
from lots.logger.understanding import Understanding, understand, with_choices
from tests.logger.files import BOUNDS, ZONE, as_read, guess, make_file, read

PREAMBLE = ("Unit No.: A-0417", "Start: 03/13/2026 08:00", "Interval: 5 min", "")
ROWS = ("03/13/2026 08:00,63.1", "03/13/2026 08:05,64.0", "03/13/2026 08:10,64.2")


def units(understanding: Understanding) -> list[tuple[str, str, bool]]:
    return [(c.unit, c.unit_from, c.taken) for c in understanding.channels]


def test_a_plain_file_is_understood_whole() -> None:
    found = guess(make_file("Date Time,Temperature", *ROWS))
    assert (found.encoding, found.delimiter, found.decimal) == ("utf-8", ",", ".")
    assert (found.header_row, found.first_row) == (0, 1)
    assert found.columns == ("Date Time", "Temperature")
    assert found.moment_columns == (0,)
    assert (found.date_order, found.date_order_certain) == ("month first", True)
    assert (found.zone, found.zone_from) == (ZONE, "establishment")
    assert units(found) == [("F", "establishment", True)]
    assert not found.truncated


def test_the_preamble_is_kept_and_not_taken_for_headings() -> None:
    found = guess(make_file(*PREAMBLE, "Date Time,Temperature", *ROWS))
    assert found.preamble == PREAMBLE[:3]
    assert found.header_row == 4


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_delimiter_and_line_end_is_found_behind_a_preamble(delimiter: str, end: str) -> None:
    rows = [row.replace(",", delimiter) for row in ROWS]
    data = make_file(*PREAMBLE, f"Date Time{delimiter}Core", *rows, end=end)
    assert guess(data).delimiter == delimiter
    assert as_read(read(data)) == ["63.1", "64.0", "64.2"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_degree_sign_is_read_in_any_encoding(encoding: str) -> None:
    data = make_file("Date Time,Chamber (°C)", *ROWS, encoding=encoding)
    assert units(guess(data)) == [("C", "file", True)]
    assert guess(data).columns[1] == "Chamber (°C)"


def test_a_byte_order_mark_is_no_part_of_the_first_heading() -> None:
    assert guess(make_file("Date Time,Temp", *ROWS, encoding="utf-8-sig")).columns[0] == "Date Time"


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Temperature °F", "F"),
        ("Channel 1 (degF)", "F"),
        ("Temperature Â°C", "C"),
        ("Temperature ï¿½C", "C"),
        ("Temp. \ufffdC", "C"),
        ("Temp øF", "F"),
        ("Temp(C)", "C"),
        ("Core_C", "C"),
        ("Core temp, F", "F"),
        ("TempF", "F"),
        ("Probe, Fahrenheit", "F"),
        ("Core ℃", "C"),
        ("Probe C (°F)", "F"),
    ],
)
def test_the_unit_hides_in_the_heading(heading: str, unit: str) -> None:
    other = "F" if unit == "C" else "C"
    data = make_file(f'Date Time,"{heading}"', *ROWS)
    assert units(guess(data, unit=other)) == [(unit, "file", True)]


@pytest.mark.parametrize("heading", ["Probe C", "Probe F", "Temperature", "Core"])
def test_the_letter_of_a_probe_is_no_unit(heading: str) -> None:
    for unit in "CF":
        assert units(guess(make_file(f"Date Time,{heading}", *ROWS), unit=unit)) == [
            (unit, "establishment", True)
        ]


def test_the_unit_may_stand_in_the_preamble() -> None:
    data = make_file("Unit No.;17", "Temperature unit;°C", "Date;Core", "13.03.2026 08:00;4,5")
    assert units(guess(data)) == [("C", "file", True)]


def test_the_unit_may_stand_on_a_line_of_its_own_under_the_headings() -> None:
    data = make_file("Date Time;Core;Air", ";°C;°F", "13.03.2026 08:00;4,5;40,1")
    assert units(guess(data)) == [("C", "file", True), ("F", "file", True)]
    assert as_read(read(data), 1) == ["40,1"]


def test_the_unit_may_stand_in_each_cell_or_beside_it() -> None:
    cell = make_file("Date Time,Core", "03/13/2026 08:00,4.5 °C", "03/13/2026 08:05,4.6 °C")
    beside = make_file("Date Time,Core,Unit", "03/13/2026 08:00,4.5,C", "03/13/2026 08:05,4.6,C")
    for data in (cell, beside):
        assert units(guess(data)) == [("C", "file", True)]
        assert [r.ninths for r in read(data).series[0].readings] == [40_500, 41_400]


def test_the_zone_hides_in_the_heading() -> None:
    found = guess(make_file('"Date Time, GMT-05:00","Core, °F"', *ROWS))
    assert (found.zone, found.zone_from) == ("−05:00", "file")


def test_commas_unquoted_in_headings_do_not_shift_the_columns() -> None:
    found = guess(
        make_file("#,Date Time, GMT-05:00,Core, °F", *(f"{n},{r}" for n, r in enumerate(ROWS)))
    )
    assert found.columns == ("#", "Date Time, GMT-05:00", "Core, °F")
    assert (found.zone, found.channels[-1].unit_from) == ("−05:00", "file")


def test_the_zone_may_stand_in_the_preamble() -> None:
    found = guess(make_file("Time zone: UTC+1", "Date Time,Core", *ROWS))
    assert (found.zone, found.zone_from) == ("+01:00", "file")


def test_each_row_may_say_its_zone() -> None:
    data = make_file("Time,Core", "2026-03-13T08:00:00-05:00,63.1", "2026-03-13T13:05:00Z,63.2")
    assert guess(data).rows_say_zone
    first, second = read(data).series[0].readings
    assert second.observed_at - first.observed_at == 5 * 60_000


def test_several_channels_have_each_their_unit_and_humidity_is_left_alone() -> None:
    data = make_file(
        "Date Time,Core (°F),Chamber (°C),Humidity (%),Battery (V)",
        "03/13/2026 08:00,63.1,60.2,45.1,3.1",
        "03/13/2026 08:05,64.0,61.2,45.3,3.1",
    )
    assert units(guess(data))[:2] == [("F", "file", True), ("C", "file", True)]
    assert [c.taken for c in guess(data).channels] == [True, True, False, False]
    parsed = read(data)
    assert [s.channel.name for s in parsed.series] == ["Core (°F)", "Chamber (°C)"]
    assert as_read(parsed, 1) == ["60.2", "61.2"]


def test_a_running_number_is_no_temperature() -> None:
    data = make_file(
        "No,Date Time,Place 1,Place 2", *(f"{n},03/13/2026 08:0{n},4{n}.5,3{n}" for n in range(5))
    )
    assert [(c.name, c.taken) for c in guess(data).channels] == [
        ("No", False), ("Place 1", True), ("Place 2", True)
    ]  # fmt: skip


def test_a_file_without_headings_is_understood_by_its_cells() -> None:
    data = make_file(
        "1,03/13/2026,08:00:00,63.1", "2,03/13/2026,08:05:00,64.0", "3,03/13/2026,08:10:00,64.0"
    )
    found = guess(data)
    assert (found.header_row, found.moment_columns) == (None, (1, 2))
    assert [(c.column, c.taken) for c in found.channels] == [(0, False), (3, True)]


def test_date_and_time_may_have_columns_of_their_own() -> None:
    data = make_file("Date;Time;Core", "13.03.2026;08:00;63,1", "13.03.2026;08:05;64,0")
    assert guess(data).moment_columns == (0, 1)
    assert guess(data).decimal == ","
    assert as_read(read(data)) == ["63,1", "64,0"]


def test_the_half_of_the_day_may_have_a_column_of_its_own() -> None:
    data = make_file(
        "Date,Time,,Core", "03/13/2026,11:55:00,AM,63.1", "03/13/2026,12:00:00,PM,64.0"
    )
    assert (guess(data).moment_columns, guess(data).clock) == ((0, 1, 2), "12 h")
    first, second = read(data).series[0].readings
    assert second.observed_at - first.observed_at == 5 * 60_000


def test_a_clock_of_twelve_hours_is_understood() -> None:
    data = make_file("Date Time,Core", "03/13/26 11:55:00 AM,63.1", "03/13/26 12:00:00 PM,64.0")
    assert guess(data).clock == "12 h"
    first, second = read(data).series[0].readings
    assert second.observed_at - first.observed_at == 5 * 60_000


def test_a_first_line_may_announce_the_delimiter() -> None:
    data = make_file("sep=;", "Date Time;Core", "13.03.2026 08:00;63,1")
    assert as_read(read(data)) == ["63,1"]


def test_both_readings_of_a_date_are_shown_where_it_is_open() -> None:
    found = guess(make_file("Date Time,Core", "03/04/2026 08:00,63.1"))
    assert not found.date_order_certain
    assert found.date_readings == (("day first", "3 Apr 2026"), ("month first", "4 Mar 2026"))


def test_choices_go_before_what_was_found() -> None:
    data = make_file("Date Time,Core,Air", "03/04/2026 08:00,63.1,70")
    choices = Choices(date_order="month first", zone="UTC", units={1: "C"}, taken={2: False})
    found = with_choices(data, guess(data), choices)
    assert (found.date_order, found.date_order_certain) == ("month first", True)
    assert (found.zone, found.zone_from) == ("+00:00", "choice")
    assert units(found) == [("C", "choice", True), ("F", "establishment", False)]


def test_a_zone_chosen_goes_before_the_offsets_in_the_rows() -> None:
    data = make_file("Time,Core", "2026-03-13T08:00:00Z,63.1")
    choices = Choices(zone="−05:00")
    by_rows = rows(data, guess(data), BOUNDS).series[0].readings[0].observed_at
    chosen = rows(data, with_choices(data, guess(data), choices), BOUNDS).series[0].readings[0]
    assert chosen.observed_at - by_rows == 5 * 3_600_000


def test_the_strings_of_a_form_become_choices() -> None:
    form = {
        "delimiter": "semicolon", "header_line": "3", "moment": "0,1", "date_order": "day first",
        "decimal": "comma", "zone": "", "unit_2": "C", "take_3": "no", "accept_truncated": "yes",
    }  # fmt: skip
    assert choices_from(form) == Choices(
        delimiter=";", header_row=2, moment_columns=(0, 1), date_order="day first", decimal=",",
        units={2: "C"}, taken={3: False}, accept_truncated=True,
    )  # fmt: skip


@pytest.mark.parametrize(
    "form", [{"delimiter": "x"}, {"unit_1": "K"}, {"moment": "a"}, {"header_line": "0"}]
)
def test_a_choice_that_was_not_offered_is_refused(form: dict[str, str]) -> None:
    with pytest.raises(LoggerFileError) as refused:
        choices_from(form)
    assert refused.value.code is Code.CHOICE_UNKNOWN


def test_an_encoding_that_was_not_offered_is_refused() -> None:
    with pytest.raises(LoggerFileError) as refused:
        understand(make_file("Date Time,Core", *ROWS), ZONE, "F", Choices(encoding="klingon"))
    assert refused.value.code is Code.CHOICE_UNKNOWN
