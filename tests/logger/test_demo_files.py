"""The invented files that a demonstration uses."""

from pathlib import Path

from lots.logger.leaving import Why
from tests.logger.files import guess, read

FOLDER = Path(__file__).parents[2] / "fixtures" / "demo" / "logger"


def test_the_smokehouse_file_is_read_without_a_question() -> None:
    data = (FOLDER / "smokehouse.csv").read_bytes()
    found = guess(data)
    assert (found.zone, found.clock, found.date_order_certain) == ("−05:00", "12 h", True)
    assert [c.unit_from for c in found.channels if c.taken] == ["file"] * 4
    parsed = read(data)
    assert [len(series.readings) for series in parsed.series] == [97] * 4
    assert [(one.why, one.count) for one in parsed.left_out] == [(Why.EVENT, 3)]


def test_the_freezer_file_is_read_without_a_question() -> None:
    data = (FOLDER / "freezer.csv").read_bytes()
    found = guess(data)
    assert (found.encoding, found.delimiter, found.decimal) == ("cp1252", ";", ",")
    (series,) = read(data).series
    assert (series.channel.unit, series.channel.unit_from) == ("C", "file")
    assert len(series.readings) == 672
    assert [(one.why, one.count) for one in read(data).left_out] == [(Why.SUMMARY, 2)]
