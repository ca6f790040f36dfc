"""Files of invented loggers, written line by line as a test wants them."""

from __future__ import annotations

from lots.logger.choices import Choices
from lots.logger.errors import LoggerFileError
from lots.logger.reading import Bounds, Parsed, rows
from lots.logger.understanding import Understanding, understand

ZONE = "America/New_York"
APRIL_2026_AT = 1_775_000_000_000  # 31 Mar 2026 23:33:20 UTC
BOUNDS = Bounds(
    lowest=-100 * 9000,
    highest=400 * 9000,
    earliest_at=1_577_836_800_000,  # 1 Jan 2020
    now_at=APRIL_2026_AT,
    grace_ms=60_000,
)


def make_file(*lines: str, end: str = "\n", encoding: str = "utf-8") -> bytes:
    """The bytes of these lines, each ended."""
    return "".join(line + end for line in lines).encode(encoding)


def read(data: bytes, unit: str = "F", zone: str = ZONE, **choices: object) -> Parsed:
    """The rows of a file understood without a person, or with these choices."""
    return rows(data, guess(data, unit, zone, **choices), BOUNDS)


def guess(data: bytes, unit: str = "F", zone: str = ZONE, **choices: object) -> Understanding:
    return understand(data, zone, unit, Choices(**choices))  # type: ignore[arg-type]


def refusal_of(
    data: bytes, unit: str = "F", zone: str = ZONE, **choices: object
) -> LoggerFileError:
    """The refusal of a file; fails if it is taken."""
    try:
        read(data, unit, zone, **choices)
    except LoggerFileError as refusal:
        return refusal
    raise AssertionError("the file was taken")


def as_read(parsed: Parsed, channel: int = 0) -> list[str]:
    return [reading.as_read for reading in parsed.series[channel].readings]


def moments(parsed: Parsed, channel: int = 0) -> list[int]:
    return [reading.observed_at for reading in parsed.series[channel].readings]
