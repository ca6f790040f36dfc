"""Any readings, written in any layout that is supported, come back the same."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from lots.logger.errors import LoggerFileError
from tests.logger.files import as_read, make_file, moments, read

# Each way to write a moment, and how its choice is named where days up to the twelfth leave it open.
FORMATS = (
    ("%Y-%m-%d %H:%M:%S", "year first"),
    ("%Y-%m-%dT%H:%M:%S", "year first"),
    ("%y-%m-%d %H:%M:%S", "year first"),
    ("%d.%m.%Y %H:%M:%S", "day first"),
    ("%d/%m/%y %H:%M:%S", "day first"),
    ("%m/%d/%Y %I:%M:%S %p", "month first"),
    ("%m/%d/%y %I:%M:%S%p", "month first"),
    ("%d %b %Y %H:%M:%S", "day first"),
    ("%b %d %Y %I:%M:%S %p", "month first"),
)
# By the clock on the wall, zone aside.
EARLIEST, LATEST = datetime(2020, 1, 2), datetime(2025, 12, 1)  # noqa: DTZ001


@dataclass(frozen=True)
class Look:
    """How a file is written."""

    moment: str
    order: str
    delimiter: str
    decimal: str
    end: str
    encoding: str
    unit: str
    split: bool
    numbered: bool
    ends_whole: bool
    preamble: tuple[str, ...]


@st.composite
def looks(draw: st.DrawFn) -> Look:
    moment, order = draw(st.sampled_from(FORMATS))
    delimiter = draw(st.sampled_from(",;\t|"))
    return Look(
        moment,
        order,
        delimiter,
        draw(st.sampled_from("." if delimiter == "," else ".,")),
        draw(st.sampled_from(("\n", "\r\n", "\r"))),
        draw(st.sampled_from(("utf-8", "utf-8-sig", "utf-16", "cp1252"))),
        draw(st.sampled_from("CF")),
        draw(st.booleans()) and moment[2] != " " and "T" not in moment,
        draw(st.booleans()),
        draw(st.booleans()),
        draw(st.sampled_from(((), ("Unit No. 5",), ("Unit No.;5", "Start;2026-01-01 10:00", "")))),
    )


def written(look: Look, locals_: list[datetime], millis: list[int]) -> bytes:
    """The bytes of a file with these readings; values in thousandths of a degree."""
    names = ["No"] * look.numbered + (["Date", "Time"] if look.split else ["Date Time"])
    lines = [*look.preamble, look.delimiter.join([*names, f"Core (°{look.unit})"])]
    for number, (local, milli) in enumerate(zip(locals_, millis, strict=True)):
        moment = local.strftime(look.moment)
        parts = moment.split(" ", 1) if look.split else [moment]
        row = [str(number + 1)] * look.numbered + parts + [text_of(milli, look.decimal)]
        lines.append(look.delimiter.join(row))
    data = make_file(*lines, end=look.end, encoding=look.encoding)
    if not look.ends_whole:
        data = data[
            : -len(look.end.encode(look.encoding.replace("-sig", "").replace("16", "16-le")))
        ]
    return data


def text_of(milli: int, mark: str) -> str:
    return f"{'-' if milli < 0 else ''}{abs(milli) // 1000}{mark}{abs(milli) % 1000:03d}"


def ninths_of(milli: int, unit: str) -> int:
    return milli * 9 if unit == "C" else (milli - 32_000) * 5


@settings(deadline=None, max_examples=300)
@given(
    looks(),
    st.datetimes(EARLIEST, LATEST),
    st.lists(
        st.tuples(st.integers(1, 90_000), st.integers(-40_000, 350_000)), min_size=1, max_size=30
    ),
)
def test_any_readings_in_any_layout_come_back_the_same(
    look: Look, start: datetime, steps: list[tuple[int, int]]
) -> None:
    local = start.replace(microsecond=0)
    locals_ = []
    for seconds, _ in steps:
        local += timedelta(seconds=seconds)
        locals_.append(local)
    millis = [milli for _, milli in steps]
    look = replace(look, ends_whole=look.ends_whole or len(steps) == 1)
    data = written(look, locals_, millis)
    parsed = read(data, zone="UTC", date_order=look.order)
    (series,) = parsed.series
    assert [r.observed_at for r in series.readings] == [
        int(one.replace(tzinfo=UTC).timestamp()) * 1000 for one in locals_
    ]
    assert [r.ninths for r in series.readings] == [ninths_of(m, look.unit) for m in millis]
    assert as_read(parsed) == [text_of(m, look.decimal) for m in millis]
    assert not parsed.left_out


@settings(deadline=None)
@given(
    st.sampled_from(("America/New_York", "Europe/Oslo", "Australia/Lord_Howe")),
    st.sampled_from((1, 5, 10, 15, 20, 30, 60)),
    st.integers(0, 365 * 24),
    st.integers(2, 200),
)
def test_steady_rows_over_a_change_of_clocks_come_back_at_their_moments(
    zone: str, step_min: int, start_hour: int, count: int
) -> None:
    start = datetime(2025, 1, 1, tzinfo=UTC) + timedelta(hours=start_hour)
    instants = [start + timedelta(minutes=step_min * n) for n in range(count)]
    locals_ = [one.astimezone(ZoneInfo(zone)) for one in instants]
    doubled = locals_[0].utcoffset() != locals_[0].replace(fold=1).utcoffset()
    begins_unclear = locals_[0].fold or (doubled and step_min == 60)
    if begins_unclear or (step_min == 60 and zone == "Australia/Lord_Howe"):
        return  # nothing in the rows tells which pass it is
    data = make_file("Time,Core", *(f"{one:%Y-%m-%d %H:%M},{n}.5" for n, one in enumerate(locals_)))
    assert moments(read(data, zone=zone)) == [int(one.timestamp()) * 1000 for one in instants]


@settings(deadline=None)
@given(looks(), st.integers(1, 400))
def test_a_file_cut_anywhere_gives_its_first_readings_or_a_refusal(look: Look, cut: int) -> None:
    start = datetime(2025, 3, 14, 10)  # noqa: DTZ001  by the clock on the wall
    locals_ = [start + timedelta(minutes=5 * n) for n in range(12)]
    millis = [60_000 + 123 * n for n in range(12)]
    whole = written(look, locals_, millis)
    single = look.encoding != "utf-16"
    data = whole[: -(cut if single else 2 * cut)]
    try:
        parsed = read(data, zone="UTC", date_order=look.order)
    except LoggerFileError:
        return
    values = [r.ninths for r in parsed.series[0].readings]
    assert values == [ninths_of(milli, look.unit) for milli in millis[: len(values)]]
    assert moments(parsed) == [
        int(one.replace(tzinfo=UTC).timestamp()) * 1000 for one in locals_[: len(values)]
    ]
