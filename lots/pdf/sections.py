"""The numbered sections after the first page."""

from collections.abc import Callable, Iterator

from lots.core.record import HandReading, LoadFacts, LoggerSeries, LotRecord
from lots.pdf.chart import draw_chart, windows
from lots.pdf.faces import Own
from lots.pdf.layout import Column, Row, Shaped, Sheet, Struck, page_of
from lots.pdf.logged import draw_slots, printed_words
from lots.pdf.words import NONE, VERDICTS, Shown, sentence, span

Section = Callable[[Sheet, LotRecord, Shown], None]


def draw_charts(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Temperature over time."""
    found = windows(record)
    if not found:
        sheet.text("No temperature has been read yet.")
        return
    sheet.text(
        "Each probe has its own line or mark. A line breaks where readings lie further apart than the "
        "longest gap allowed. Marks by hand are not joined: nothing was measured between them.",
        grey=0.2,
    )
    sheet.gap(4)
    for window in found:
        sheet.heading(window.title, f"chart {window.title}", 1, 230)
        draw_chart(sheet, record, window, shown, 215)


def draw_loads(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Steps and loads."""
    columns = [
        Column("Load", 7), Column("Step and place", 21), Column("Began, by", 25.6),
        Column("Ended, by", 25.6), Column("Lots in it", 20.8),
    ]  # fmt: skip
    _table_or_none(sheet, columns, [_load_row(load, shown) for load in record.loads])


def _load_row(load: LoadFacts, shown: Shown) -> Row:
    ended = f"{shown.moment(load.ended_at)} {load.ended_by}" if load.ended_at else "still running"
    held = span(load.ended_at - load.started_at) if load.ended_at else ""
    lots = "\n".join(f"{one.word}, {shown.weight(one.amount_g)}" for one in load.lots)
    moved = [
        f"Start moved from {shown.moment(m.old_at)} to {shown.moment(m.new_at)} by {m.initials}: {m.reason}"
        for m in load.moved
    ]
    began = f"{shown.moment(load.started_at)} {load.started_by}"
    step = f"{load.step}\n{load.place}"
    return Row(
        (str(load.number), step, began, sentence(ended, held, joint="\n"), lots), "\n".join(moved)
    )


def draw_verdicts(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Every limit held against every load."""
    columns = [
        Column("Limit", 9), Column("Load", 6), Column("Verdict", 20), Column("Figure it rests on", 25),
        Column("Held to", 24), Column("Estimate", 16),
    ]  # fmt: skip
    rows = []
    for one in record.verdicts:
        broke = f"Broken since {shown.moment(one.broke_at)}." if one.broke_at else ""
        rests = f"Rests on: {', '.join(one.rests_on)}." if one.rests_on else ""
        cells = (
            f"{one.control_point} {one.limit}", str(one.load or NONE),
            Shaped(one.verdict, VERDICTS[one.verdict]), one.figure or NONE, one.bound, one.estimate or NONE,
        )  # fmt: skip
        rows.append(Row(cells, sentence(one.why, broke, rests, joint=" ")))
    _table_or_none(sheet, columns, rows)
    if record.verdicts:
        rules = sorted({one.rules for one in record.verdicts})
        sheet.text(
            Own(
                "The verdict rests on the conservative figure; the estimate decides nothing. Judged "
                f"under rules {', '.join(map(str, rules))} of the logbook. Limits in full on page "
                f"{page_of('plan')}."
            ),
            grey=0.2,
        )


def draw_readings(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Readings by hand, each correction right under what it corrected."""
    columns = [
        Column("No.", 6.2, right=True), Column("Observed, by", 25.6),
        Column("Entered on the device,\nheard by the server", 25.6),
        Column("Place, probe, load", 22), Column("As read, instrument", 20.6),
    ]  # fmt: skip
    _table_or_none(sheet, columns, [_reading_row(one, shown) for one in in_order(record.readings)])
    if any(one.corrected_by for one in record.readings):
        sheet.text("Struck through: corrected since; the correction stands right below.", grey=0.2)


def in_order(readings: tuple[HandReading, ...]) -> Iterator[HandReading]:
    """The readings by the time observed, each followed at once by what corrected it."""
    by_number = {one.number: one for one in readings}
    firsts = [one for one in readings if one.corrects not in by_number]
    for first in sorted(firsts, key=lambda one: (one.observed_at, one.number)):
        one: HandReading | None = first
        seen: set[int] = set()
        while one and one.number not in seen:
            seen.add(one.number)
            yield one
            one = by_number.get(one.corrected_by)


def as_read(reading: HandReading) -> str:
    """The figure as it was read, with its unit."""
    return (
        f"{reading.as_read} °{reading.unit}"
        if reading.unit in ("C", "F")
        else f"{reading.as_read} {reading.unit}"
    )


def _reading_row(one: HandReading, shown: Shown) -> Row:
    figure = as_read(one) if one.quantity == "temperature" else f"{as_read(one)} {one.quantity}"
    where = sentence(one.place, one.probe, f"load {one.load}" if one.load else "", joint=", ")
    heard = f"{shown.moment(one.entered_at)}\n{shown.moment(one.recorded_at)}"
    cells = (
        str(one.number), f"{shown.moment(one.observed_at)}\n{one.initials}", heard, where,
        Struck(f"{figure}\n{one.instrument}", 1) if one.corrected_by else f"{figure}\n{one.instrument}",
    )  # fmt: skip
    return Row(cells, "\n".join(_reading_notes(one)))


def _reading_notes(one: HandReading) -> list[str]:
    fixes = f"Corrects no. {one.corrects}" if one.corrects else ""
    late = "Entered late" if one.late else ""
    said = sentence(fixes, late, joint="; ")
    notes = [
        f"{said}: {one.reason}" if said and one.reason else said or one.reason,
        f"Corrected by no. {one.corrected_by}." if one.corrected_by else "",
        f"Note: {one.note}" if one.note else "",
        f"Accepted: {one.accepted_by}" if one.accepted_by else "",
    ]
    return [note for note in notes if note]


def draw_observations(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """What was looked for."""
    columns = [
        Column("No.", 6.2, right=True), Column("Observed, by", 25.6),
        Column("Entered on the device,\nheard by the server", 25.6),
        Column("Looked for", 33.6), Column("Found", 9),
    ]  # fmt: skip
    rows = []
    for one in record.observations:
        paper = (
            f"Attached: {one.attachment}, SHA-256 {one.attachment_sha256}" if one.attachment else ""
        )
        what = sentence(one.what, f"load {one.load}" if one.load else "", joint=", ")
        heard = f"{shown.moment(one.entered_at)}\n{shown.moment(one.recorded_at)}"
        cells = (
            str(one.number),
            f"{shown.moment(one.observed_at)}\n{one.initials}",
            heard,
            what,
            one.found,
        )
        rows.append(Row(cells, sentence(one.note and f"Note: {one.note}", paper, joint="\n")))
    _table_or_none(sheet, columns, rows)


def draw_logged(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Data logger series."""
    if not record.series:
        sheet.text("None.")
    for one in record.series:
        sheet.heading(one.name, f"series {one.name} {one.digest}", 1, 110)
        _series_facts(sheet, one, shown)
        draw_slots(sheet, one, shown)


def _series_facts(sheet: Sheet, one: LoggerSeries, shown: Shown) -> None:
    reach = f"{one.count:,} readings, {shown.moment(one.first_at)} to {shown.moment(one.last_at)}"
    said = f"{printed_words(one)}, in °{one.unit}. Every reading is in the attached record."
    sheet.pairs([
        ("Place, probe", sentence(one.place, one.probe, f"load {one.load}" if one.load else "", joint=", ")),
        ("Instrument", one.instrument),
        ("Reach", reach),
        ("From the file", f"{one.file}, SHA-256 {one.file_sha256}"),
        ("Brought in", f"{shown.moment(one.imported_at)} by {one.imported_by}"),
        ("Digest of the readings", one.digest),
        ("Printed here", said),
    ])  # fmt: skip
    sheet.gap(4)


def draw_results(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Laboratory results."""
    columns = [
        Column("Quantity", 18), Column("Samples", 23), Column("Laboratory, method", 26),
        Column("Sampled, reported", 25.6), Column("By", 7.4),
    ]  # fmt: skip
    rows = []
    for one in record.results:
        samples = "\n".join(f"{s.figure} ({s.portion})" for s in one.samples)
        moments = f"{shown.moment(one.sampled_at)}\n{shown.moment(one.reported_at)}"
        place = f"{one.laboratory}\n{one.method}"
        paper = f"Report: {one.file}, SHA-256 {one.file_sha256}" if one.file else ""
        rows.append(Row((one.quantity, samples, place, moments, one.entered_by), paper))
    _table_or_none(sheet, columns, rows)


def draw_instruments(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Accuracy checks of the instruments used."""
    columns = [
        Column("Instrument", 24), Column("Last accuracy check", 25.6), Column("How", 22),
        Column("Result", 21), Column("By", 7.4),
    ]  # fmt: skip
    rows = [
        Row((f"{i.name}\n{i.kind}", shown.moment(i.checked_at) if i.checked_at else "never checked",
             i.method, i.result, i.checked_by))
        for i in record.instruments
    ]  # fmt: skip
    _table_or_none(sheet, columns, rows)


def _table_or_none(sheet: Sheet, columns: list[Column], rows: list[Row]) -> None:
    if rows:
        sheet.table(columns, rows)
    else:
        sheet.text("None.")
