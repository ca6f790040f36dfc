"""Time zones: which one a heading names, and local time to UTC in the order of the rows."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from lots.logger.errors import Code, LoggerFileError
from lots.logger.moments import DAY_MS, MINUTE_MS

# Names of North American legal time, hours from UTC. Source: 49 CFR part 71 (standard time) and
# 15 U.S.C. 260a (one hour ahead in summer), both from memory.
_LEGAL = {"EST": -5, "EDT": -4, "CST": -6, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7}
_LEGAL |= {"AKST": -9, "AKDT": -8, "HST": -10}

_SIGNED = r"([+\-\u2212\u2013])\s*(\d{1,2})(?::?(\d{2}))?"
_FIXED = re.compile(rf"\b(?:GMT|UTC)\b(?:\s*{_SIGNED})?", re.I)
_BARE = re.compile(_SIGNED)
_NAMED = re.compile(r"\b([A-Z][A-Za-z]+(?:/[A-Z][A-Za-z_-]+){1,2})\b")
_ABBREVIATED = re.compile(rf"\b({'|'.join(_LEGAL)})\b")
_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001  by the clock on the wall, zone aside


class NeverExisted(ValueError):
    """A local time that the clocks left out in spring."""


def zone_in(text: str) -> str | None:
    """The zone that a heading or preamble line names, as understood here, or None."""
    for named in _NAMED.findall(text):
        if _zone_info(named) is not None:
            return str(named)
    if match := _FIXED.search(text):
        return _fixed(match[1], match[2], match[3])
    if legal := _ABBREVIATED.search(text):
        return fixed_zone(_LEGAL[legal[1]] * 60)
    return None


def zone_chosen(text: str) -> str:
    """The name by which a zone that a person or the establishment gave is kept.

    Args:
        text: an IANA name, or an offset such as "−05:00", "+1", "UTC-5", "UTC".

    Raises:
        LoggerFileError: neither.
    """
    text = text.strip()
    if text.upper() in ("UTC", "GMT", "Z"):
        return fixed_zone(0)
    match = _BARE.fullmatch(text) or _FIXED.fullmatch(text)
    zone = _fixed(match[1], match[2], match[3]) if match else None
    if zone is not None:
        return zone
    if _zone_info(text) is None:
        raise LoggerFileError(
            Code.ZONE_UNKNOWN,
            f"“{text}” is no time zone. Give a name such as America/New_York "
            "or an offset from UTC such as −05:00.",
        )
    return text


def fixed_zone(minutes: int) -> str:
    """A fixed offset from UTC as it is kept and shown: "−05:00"."""
    sign = "\u2212" if minutes < 0 else "+"
    return f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def offset_minutes(zone: str) -> int | None:
    """Minutes from UTC of a fixed zone, or None if the zone has a name."""
    match = _BARE.fullmatch(zone)
    return None if match is None else _minutes(match[1], match[2], match[3])


def row_offset(text: str) -> int:
    """Minutes from UTC of an offset written beside a time: "Z", "-05:00", "+0100"."""
    match = _BARE.search(text)
    return 0 if match is None else _minutes(match[1], match[2], match[3])


def _fixed(sign: str | None, hours: str | None, minutes: str | None) -> str | None:
    if sign is None or hours is None:
        return fixed_zone(0)
    offset = _minutes(sign, hours, minutes)
    return fixed_zone(offset) if abs(offset) <= 14 * 60 else None


def _minutes(sign: str, hours: str, minutes: str | None) -> int:
    size = int(hours) * 60 + int(minutes or 0)
    return size if sign == "+" else -size


def _zone_info(name: str) -> ZoneInfo | None:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def shown(at: int, zone: str) -> str:
    """A moment in a zone, unmistakable: "4 Mar 2026 14:05 −05:00"."""
    fixed = offset_minutes(zone)
    utc = datetime.fromtimestamp(at // 1000, UTC)
    local = utc + timedelta(minutes=fixed) if fixed is not None else utc.astimezone(ZoneInfo(zone))
    offset = fixed if fixed is not None else _whole_minutes(local)
    seconds = f":{local.second:02d}" if local.second else ""
    month = local.strftime("%b")
    return f"{local.day} {month} {local.year} {local:%H:%M}{seconds} {fixed_zone(offset)}"


def _whole_minutes(local: datetime) -> int:
    span = local.utcoffset()
    assert span is not None
    return span // timedelta(minutes=1)


class Walk:
    """Turns local times into UTC row by row, so that an hour that exists twice is told apart.

    Going forward, the first pass of such an hour is summer time; once the local time steps back
    inside it, or stands still where the rows are an hour apart, the second pass has begun. An hour
    seen once only is taken as the first pass, which makes the gap behind it longer, never shorter.
    """

    def __init__(self, zone: str) -> None:
        self.fixed_ms = _fixed_ms(zone)
        self._zone = None if self.fixed_ms is not None else ZoneInfo(zone)
        self._days: dict[int, int | None] = {}
        self._second = False
        self._last_twice: int | None = None  # the row before, if its hour exists twice
        self._last_at: int | None = None
        self._last_step = 0
        self.seen_twice: dict[int, bool] = {}  # each doubled local day: was a second pass seen

    def utc(self, local: int) -> int:
        """Milliseconds UTC of the next row.

        Args:
            local: milliseconds since 1970 began by the clock on the wall.

        Raises:
            NeverExisted: the clocks skipped this time.
        """
        at = self._at(local)
        if self._last_at is not None:
            self._last_step = at - self._last_at
        self._last_at = at
        return at

    def _at(self, local: int) -> int:
        if self.fixed_ms is not None:
            return local - self.fixed_ms
        day = local // DAY_MS
        if day not in self._days:
            self._days[day] = self._steady_offset(day)
        steady = self._days[day]
        if steady is not None:
            self._leave_twice()
            return local - steady
        return self._on_a_day_of_change(local)

    def _on_a_day_of_change(self, local: int) -> int:
        first, second = self._offset(local, 0), self._offset(local, 1)
        if first < second:
            raise NeverExisted
        if first == second:
            self._leave_twice()
            return local - first
        self._note_pass(local, first - second)
        return local - (second if self._second else first)

    def _note_pass(self, local: int, doubled: int) -> None:
        before = self._last_twice
        if before is not None and not self._second:
            stands_still = local == before and self._last_step == doubled
            self._second = local < before or stands_still
        self._last_twice = local
        day = local // DAY_MS
        self.seen_twice[day] = self.seen_twice.get(day, False) or self._second

    def _leave_twice(self) -> None:
        self._second = False
        self._last_twice = None

    def _steady_offset(self, day: int) -> int | None:
        """The offset of a local day, or None if the clocks change on it or at its ends."""
        start = day * DAY_MS
        ends = {self._offset(at, fold) for at in (start, start + DAY_MS) for fold in (0, 1)}
        return ends.pop() if len(ends) == 1 else None

    def _offset(self, local: int, fold: int) -> int:
        moment = _EPOCH + timedelta(milliseconds=local)
        span = moment.replace(tzinfo=self._zone, fold=fold).utcoffset()
        assert span is not None
        return span // timedelta(milliseconds=1)


def _fixed_ms(zone: str) -> int | None:
    minutes = offset_minutes(zone)
    return None if minutes is None else minutes * MINUTE_MS
