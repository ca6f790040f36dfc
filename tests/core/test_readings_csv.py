import csv
import io
from dataclasses import replace

import pytest

from lots.core.readings_csv import HEAD, readings_csv
from tests.pdf.make import make_record


def rows() -> list[list[str]]:
    data = readings_csv(make_record())
    assert data.startswith(b"\xef\xbb\xbf")
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_every_reading_of_the_record_is_a_row() -> None:
    record = make_record()
    wanted = len(record.readings) + sum(series.count for series in record.series)
    found = rows()
    assert tuple(found[0]) == HEAD
    assert len(found) == wanted + 1


@pytest.mark.parametrize(
    ("as_read", "cell"),
    [
        ("-12.5", "-12.5"),
        ("\N{MINUS SIGN}12.5", "-12.5"),
        ("63", "63"),
        ("-1+2", "'-1+2"),
        ("=2", "'=2"),
    ],
)
def test_a_figure_stays_a_number_and_nothing_else_does(as_read: str, cell: str) -> None:
    record = make_record()
    first = replace(record.readings[0], as_read=as_read)
    data = readings_csv(replace(record, readings=(first,), series=()))
    rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))
    assert rows[1][HEAD.index("reading")] == cell


def test_words_that_a_spreadsheet_would_compute_are_led_by_an_apostrophe() -> None:
    record = make_record()
    first = replace(record.readings[0], place="=1+1", probe="@SUM(A1)")
    data = readings_csv(replace(record, readings=(first,), series=()))
    assert b"'=1+1,'@SUM(A1)," in data
