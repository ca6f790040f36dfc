"""Whatever is sent and chosen, the answer is readings or a refusal in plain words."""

from __future__ import annotations

import contextlib

from hypothesis import given, settings
from hypothesis import strategies as st

from lots.logger.choices import Choices
from lots.logger.errors import LoggerFileError
from lots.logger.preview import preview
from lots.logger.reading import rows
from lots.logger.understanding import understand
from tests.logger.files import BOUNDS, ZONE

WORDS = st.sampled_from(
    (
        *("Date Time", "Time", "Core °F", "Temp", "GMT-05:00", "03/13/2026 08:00", "13.03.2026"),
        *(
            "08:05:00",
            "2026-03-13T08:00:00Z",
            "63.1",
            "63,1",
            "-999",
            "Err",
            "",
            '"',
            "1",
            "²",
            "٣",
        ),
        *(
            "99/99/9999 99:99",
            "31/02/2026 08:00",
            "0001-01-01 00:00",
            "9999-12-31 23:59",
            "°C",
            "PM",
        ),
    )
)
LINES = st.lists(st.lists(WORDS, min_size=1, max_size=5), max_size=8)
CHOICES = st.builds(
    Choices,
    encoding=st.sampled_from((None, "utf-8", "utf-16", "cp1252")),
    delimiter=st.sampled_from((None, ",", ";")),
    header_row=st.none() | st.integers(0, 20),
    moment_columns=st.sampled_from((None, (0,), (1, 0), (9,))),
    date_order=st.sampled_from((None, "day first", "month first", "year first")),
    zone=st.sampled_from((None, "UTC", "−05:00", "Europe/Oslo", "nowhere")),
    units=st.dictionaries(st.integers(0, 9), st.sampled_from("CF"), max_size=2),
    taken=st.dictionaries(st.integers(0, 9), st.booleans(), max_size=2),
    accept_truncated=st.booleans(),
)


@settings(deadline=None, max_examples=300)
@given(LINES, st.sampled_from(",;\t"), CHOICES)
def test_any_table_gives_readings_or_a_refusal(
    lines: list[list[str]], delimiter: str, choices: Choices
) -> None:
    data = "\n".join(delimiter.join(line) for line in lines).encode()
    with contextlib.suppress(LoggerFileError):
        found = understand(data, ZONE, "F", choices)
        seen = preview(data, found, BOUNDS)
        if seen.refusal is None:
            assert any(series.readings for series in rows(data, found, BOUNDS).series)


@settings(deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_give_readings_or_a_refusal(data: bytes) -> None:
    with contextlib.suppress(LoggerFileError):
        rows(data, understand(data, ZONE, "F"), BOUNDS)
