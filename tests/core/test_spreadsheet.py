"""CSV that a spreadsheet shows and never computes."""

import csv
import io

import pytest

from lots.core.spreadsheet import cell, csv_text

MADE_TEXT = [
    "=1+1", "+1", "+1 555 0100", "-1+1", "-A1", "--5", "-", "-12.5kg", "-1e5", "-.5", "-5.",
    "-12.5.1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", " =1", "  -cmd", "=HYPERLINK(\"http://x\")",
    "＝1+1", "＋1", "－1", "＠A1", "-१२",
]  # fmt: skip
KEPT = [
    "-12.5", "-12,5", "-7", "-0", "-0.1", "0", "12.5", "TR-1", "TR-1118-1", "a=b", "1-2", "",
    "Invented Creek", "−12.5", "4 °F", "'=1", "2026-03-04", "Kim + Olga", "(-1)",
]  # fmt: skip


@pytest.mark.parametrize("text", MADE_TEXT)
def test_what_a_spreadsheet_would_compute_is_made_text(text: str) -> None:
    assert cell(text) == "'" + text


@pytest.mark.parametrize("text", KEPT)
def test_true_numbers_and_words_stay_as_they_are(text: str) -> None:
    assert cell(text) == text


@pytest.mark.parametrize(("value", "text"), [(None, ""), (-12.5, "-12.5"), (-3, "-3"), (7, "7")])
def test_numbers_stay_numbers_and_nothing_is_an_empty_cell(value: object, text: str) -> None:
    assert cell(value) == text


def test_a_file_reads_back_as_the_same_cells_and_none_of_them_is_a_formula() -> None:
    rows = [MADE_TEXT, KEPT, ['he said "no"', "a,b", "two\nlines"]]
    read = list(csv.reader(io.StringIO(csv_text(rows), newline="")))
    assert [one.removeprefix("'") for one in read[0]] == MADE_TEXT
    assert read[1] == KEPT
    assert read[2] == rows[2]
    for one in (one for row in read for one in row):
        assert not one.startswith(("=", "+", "@", "\t", "\r"))
