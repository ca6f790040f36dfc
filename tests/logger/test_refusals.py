"""One test a refusal: its code, and that the message says what to do."""

import pytest

from lots.logger.errors import Code, LoggerFileError
from lots.logger.understanding import understand
from tests.logger.files import ZONE, as_read, make_file, read, refusal_of

HEAD = "Date Time,Core"


@pytest.mark.parametrize("data", [b"", b"\r\n \r\n", b"\xef\xbb\xbf", "\ufeff".encode("utf-16-le")])
def test_an_empty_file_is_refused(data: bytes) -> None:
    assert refusal_of(data).code is Code.EMPTY


def test_a_file_with_one_byte_too_many_is_refused() -> None:
    data = make_file(HEAD, "03/13/2026 08:00,63.1")
    assert understand(data, ZONE, "F", largest_bytes=len(data)).columns
    with pytest.raises(LoggerFileError) as refused:
        understand(data, ZONE, "F", largest_bytes=len(data) - 1)
    assert refused.value.code is Code.TOO_LARGE


@pytest.mark.parametrize(
    "data",
    [
        b"%PDF-1.7\n1 0 obj\n",
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
        b"\xff\xd8\xff\xe0\0\x10JFIF",
        b"PK\x03\x04\x14\0\x06\0",
        b"<!DOCTYPE html><html><table><tr><td>63.1",
        b'\n <?xml version="1.0"?>',
        b'{"readings": [63.1, 64.0]}',
        b"03/13/2026 08:00,63.1\n\0\0\0\0",
        bytes(range(256)) * 4,
        b"Dear sir,\nthe fish was warm.\nYours\n",
        b"63.1\n64.0\n65.0\n",
    ],
)
def test_what_is_no_table_is_refused(data: bytes) -> None:
    refusal = refusal_of(data)
    assert refusal.code is Code.NOT_A_TABLE
    assert "CSV" in refusal.message


@pytest.mark.parametrize(
    "last",
    [
        "3,03/13/2026 08:10,6",  # shorter than all others
        "3,03/13/2026 08:10,",
        "3,03/13/2026 08:10",
        "3,03/13/20",
        "3",
    ],
)
def test_a_file_cut_short_is_refused_until_a_person_lets_the_line_go(last: str) -> None:
    whole = make_file("No,Date Time,Core", "1,03/13/2026 08:00,63.1", "2,03/13/2026 08:05,64.0")
    data = whole + last.encode()
    refusal = refusal_of(data)
    assert (refusal.code, "Line 4" in refusal.message) == (Code.TRUNCATED, True)
    parsed = read(data, accept_truncated=True)
    assert as_read(parsed) == ["63.1", "64.0"]
    assert parsed.left_out[0].examples == ((4, last),)


def test_a_row_too_short_counts_as_cut_even_with_a_line_end() -> None:
    data = make_file("Date;Time;Core", "13.03.2026;08:00;63,1", "13.03.2026;08:05")
    assert refusal_of(data).code is Code.TRUNCATED


def test_a_file_cut_inside_quotation_marks_is_refused() -> None:
    data = make_file(HEAD, '"03/13/2026 08:00","63.1"', '"03/13/2026 08:05","63.2"')
    assert refusal_of(data[:-2]).code is Code.TRUNCATED


def test_a_blank_line_before_the_cut_row_hides_nothing() -> None:
    data = make_file(HEAD, "03/13/2026 08:00,63.1", "", "03/13/2026 08:05")
    assert (refusal_of(data).code, "Line 4" in refusal_of(data).message) == (Code.TRUNCATED, True)


def test_a_single_reading_without_a_line_end_may_be_cut() -> None:
    data = make_file(HEAD, "03/13/2026 08:00,63.1")
    assert as_read(read(data)) == ["63.1"]
    assert refusal_of(data[:-1]).code is Code.TRUNCATED


def test_a_file_cut_in_its_last_time_is_refused() -> None:
    data = make_file("Core,Date Time", *(f"63.{n},03/13/2026 08:0{n}:00" for n in range(4)))
    assert as_read(read(data[:-1])) == ["63.0", "63.1", "63.2", "63.3"]
    assert refusal_of(data[:-4]).code is Code.TRUNCATED


def test_dates_that_can_be_read_in_two_ways_are_refused_until_chosen() -> None:
    data = make_file(HEAD, "03/04/2026 08:00,63.1", "03/05/2026 08:00,63.1")
    refusal = refusal_of(data)
    assert refusal.code is Code.AMBIGUOUS_DATES
    assert "3 Apr 2026 (day first) or 4 Mar 2026 (month first)" in refusal.message
    assert len(as_read(read(data, date_order="month first"))) == 2


def test_a_date_that_the_chosen_order_makes_none_of_is_refused() -> None:
    refusal = refusal_of(make_file(HEAD, "03/13/2026 08:00,63.1"), date_order="day first")
    assert (refusal.code, refusal.line) == (Code.MOMENT_NOT_UNDERSTOOD, 2)


def test_dates_that_no_one_order_can_read_are_refused() -> None:
    data = make_file(
        HEAD, "03/13/2026 08:00,63.1", "03/14/2026 08:00,63.1", "15/03/2026 08:00,63.1"
    )
    assert (refusal_of(data).code, refusal_of(data).line) == (Code.MOMENT_NOT_UNDERSTOOD, 4)


def test_a_clock_of_twelve_hours_without_am_and_pm_is_refused() -> None:
    data = make_file(HEAD, "03/13/2026 12:50,63.1", "03/13/2026 1:00,63.1")
    assert (refusal_of(data).code, refusal_of(data).line) == (Code.CLOCK_UNCLEAR, 3)


def test_a_table_without_a_moment_is_refused() -> None:
    data = make_file("No,Core", "1,63.1", "2,64.0")
    assert refusal_of(data).code is Code.NO_MOMENT_COLUMN


def test_a_table_without_a_temperature_is_refused() -> None:
    data = make_file(
        "No,Date Time,Humidity (%)", "1,03/13/2026 08:00,63.1", "2,03/13/2026 08:05,64"
    )
    assert refusal_of(data).code is Code.NO_TEMPERATURE_COLUMN
    assert as_read(read(data, taken={2: True})) == ["63.1", "64"]


@pytest.mark.parametrize(
    "rows", [(), ("03/13/2026 08:00,Err", "03/13/2026 08:05,---"), ("03/13/2026 08:00,-999",)]
)
def test_a_table_without_readings_is_refused(rows: tuple[str, ...]) -> None:
    assert refusal_of(make_file("Date Time,Temperature", *rows)).code is Code.NO_READINGS


def test_a_decimal_comma_between_commas_is_refused() -> None:
    data = make_file(HEAD, "13.03.2026 08:00,63,1", "13.03.2026 08:05,64,0")
    assert (refusal_of(data).code, refusal_of(data).line) == (Code.EXTRA_FIELDS, 2)
    headed = make_file("Date,Core,Event", "13.03.2026 08:00,63,1,", "13.03.2026 08:05,64,0,")
    assert refusal_of(headed).code is Code.EXTRA_FIELDS


def test_a_spoilt_date_is_refused_with_its_line() -> None:
    data = make_file(
        HEAD, "03/13/2026 08:00,63.1", "03/1#/2026 08:05,64.0", "03/13/2026 08:10,64.0"
    )
    assert (refusal_of(data).code, refusal_of(data).line) == (Code.MOMENT_NOT_UNDERSTOOD, 3)


def test_a_spoilt_date_on_the_last_line_is_refused_too() -> None:
    data = make_file(
        HEAD, "03/13/2026 08:00,63.1", "03/13/2026 08:05,64.0", "03/1#/2026 08:10,64.0"
    )
    assert (refusal_of(data).code, refusal_of(data).line) == (Code.MOMENT_NOT_UNDERSTOOD, 4)


def test_a_spoilt_number_is_refused_with_its_line_and_how_many_more() -> None:
    data = make_file(
        HEAD, "03/13/2026 08:00,63.1", "03/13/2026 08:05,6O.2", "03/13/2026 08:10,6.2.1"
    )
    refusal = refusal_of(data)
    assert (refusal.code, refusal.line, refusal.more) == (Code.NUMBER_NOT_UNDERSTOOD, 3, 1)
    assert "6O.2" in refusal.message


def test_both_decimal_signs_in_one_file_are_refused() -> None:
    data = make_file(
        "Date;Core", "13.03.2026 08:00;63,1", "13.03.2026 08:05;63,2", "13.03.2026 08:10;64.0"
    )
    assert (refusal_of(data).code, refusal_of(data).line) == (Code.NUMBER_NOT_UNDERSTOOD, 4)


def test_two_units_in_one_column_are_refused() -> None:
    data = make_file(HEAD, "03/13/2026 08:00,63.1 °F", "03/13/2026 08:05,17.3 °C")
    assert (refusal_of(data).code, refusal_of(data).line) == (Code.MIXED_UNITS, 3)


def test_a_unit_chosen_against_the_cells_is_refused() -> None:
    data = make_file(HEAD, "03/13/2026 08:00,63.1 °F")
    assert refusal_of(data, units={1: "C"}).code is Code.MIXED_UNITS


def test_rows_of_which_some_only_say_their_zone_are_refused() -> None:
    data = make_file("Time,Core", "2026-03-13T08:00:00Z,63.1", "2026-03-13T08:05:00,63.1")
    assert (refusal_of(data).code, refusal_of(data).line) == (Code.MIXED_ZONES, 3)


def test_a_zone_that_is_none_is_refused() -> None:
    assert (
        refusal_of(make_file(HEAD, "03/13/2026 08:00,63.1"), zone="Nowhere").code
        is Code.ZONE_UNKNOWN
    )


def test_a_time_that_the_clocks_left_out_is_refused_with_its_line() -> None:
    data = make_file(
        HEAD, "2026-03-08 01:59,63.1", "2026-03-08 02:00,63.1", "2026-03-08 03:00,63.1"
    )
    assert (refusal_of(data).code, refusal_of(data).line) == (Code.TIME_NEVER_EXISTED, 3)
    assert len(as_read(read(data, zone="UTC"))) == 3


def test_a_moment_to_come_is_refused_beyond_the_grace() -> None:
    # The clock of these tests stands at 23:33:20, and a minute is granted.
    assert as_read(read(make_file(HEAD, "2026-03-31 23:34:20,63.1"), zone="UTC")) == ["63.1"]
    refusal = refusal_of(make_file(HEAD, "2026-03-31 23:34:21,63.1"), zone="UTC")
    assert (refusal.code, refusal.line) == (Code.IN_THE_FUTURE, 2)


def test_a_moment_too_long_ago_is_refused() -> None:
    assert as_read(read(make_file(HEAD, "2020-01-01 00:00,63.1"), zone="UTC")) == ["63.1"]
    refusal = refusal_of(make_file(HEAD, "2019-12-31 23:59,63.1"), zone="UTC")
    assert refusal.code is Code.TOO_OLD


@pytest.mark.parametrize(("just", "beyond"), [("400.0", "400.1"), ("-100.0", "-100.001")])
def test_a_temperature_that_nothing_here_can_have_is_refused(just: str, beyond: str) -> None:
    def line(text: str) -> bytes:
        return make_file("Date Time,Core °C", f"03/13/2026 08:00,{text}")

    assert as_read(read(line(just))) == [just]
    refusal = refusal_of(line(beyond))
    assert (refusal.code, refusal.line) == (Code.NOT_PLAUSIBLE, 2)
    assert "−100 to 400 °C" in refusal.message
