import csv
import io

import pytest

from lots.core.readings_csv import HEAD, _figure, harmless, readings_csv
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


@pytest.mark.parametrize("words", ["=1+1", "+1", "-a", "@SUM(A1)", "\t=1", "\r=1", "|calc", "%x"])
def test_words_that_a_spreadsheet_would_compute_are_led_by_an_apostrophe(words: str) -> None:
    assert harmless(words) == f"'{words}"


@pytest.mark.parametrize("words", ["", "Cooler", "a=b", "fish 1", "4 °F"])
def test_other_words_stay(words: str) -> None:
    assert harmless(words) == words


@pytest.mark.parametrize(
    ("as_read", "cell"),
    [("-12.5", "-12.5"), ("\N{MINUS SIGN}12.5", "-12.5"), ("4,4", "4.4"), ("63", "63"),
     ("-1+2", "'-1+2"), ("-", "'-"), ("=2", "'=2")],
)  # fmt: skip
def test_a_figure_stays_a_number_and_nothing_else_does(as_read: str, cell: str) -> None:
    assert _figure(as_read) == cell
