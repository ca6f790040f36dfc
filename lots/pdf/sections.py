"""The numbered sections after the first page."""

from collections.abc import Callable, Iterator
from typing import TypeVar

from lots.core.record import (
    EndFacts,
    HandReading,
    InstrumentFacts,
    LabResult,
    LoadFacts,
    LoggerSeries,
    LotRecord,
    ObservationFacts,
    ProbeLeftFacts,
)
from lots.pdf.chart import draw_chart, legend_height, windows
from lots.pdf.faces import Own
from lots.pdf.layout import MOMENT, NUMBER, Column, Row, Shaped, Sheet, Struck, page_of
from lots.pdf.logged import draw_slots, printed_words
from lots.pdf.said import draw_put_right
from lots.pdf.salt import DECLARED, draw_sent
from lots.pdf.words import (
    NONE,
    VERDICTS,
    Shown,
    accepted_words,
    limit_number,
    point_name,
    sentence,
    span,
)

Section = Callable[[Sheet, LotRecord, Shown], None]
CHART = 215.0  # height of a chart without its legend, in points


def draw_charts(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Temperature over time."""
    found = windows(record)
    if not found:
        sheet.text("No temperature has been read yet.")
        return
    sheet.text(
        "Each probe has its own line or mark. A line breaks where readings lie further apart than the "
        "longest gap allowed. Marks by hand are not joined: nothing was measured between them. Where they stand "
        "closer than a mark is wide, the lowest and the highest are drawn.",
        grey=0.2,
    )
    sheet.gap(4)
    for window in found:
        keep = CHART + legend_height(sheet, record, window, shown)
        sheet.heading(window.title, f"chart {window.title}", 1, keep)
        draw_chart(sheet, record, window, shown, CHART)


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
    began = f"{shown.moment(load.started_at)} {load.started_by}"
    step = sentence(load.step, load.place, load.batch and f"batch {load.batch}", joint="\n")
    return Row(
        (str(load.number), step, began, sentence(ended, held, joint="\n"), lots),
        "\n".join(_load_notes(load, shown)),
    )


def _load_notes(load: LoadFacts, shown: Shown) -> list[str]:
    """All that was said of a load beside its begin and end, in the order of its life."""
    late = f"Start entered late, {shown.moment(load.entered_at)}" if load.late else ""
    said = sentence(late, load.note, joint=": ") if late else load.note and f"Note: {load.note}"
    said = sentence(said, accepted_words(load.accepted, shown), joint="; ")
    declared = DECLARED[load.declared].capitalize() + "." if load.declared else ""
    taken = f"Step of lot {load.of_lot}, taken along from there." if load.of_lot else ""
    notes = [taken, declared, said]
    notes += [
        f"Start moved from {shown.moment(m.old_at)} to {shown.moment(m.new_at)} by {m.initials}: {m.reason}"
        for m in load.moved
    ]
    notes += [_probe_left(one, shown) for one in load.probes_left]
    notes += [_end_note(load.ends, index, shown) for index in range(len(load.ends))]
    return [note for note in notes if note]


def _probe_left(one: ProbeLeftFacts, shown: Shown) -> str:
    said = f"said {shown.moment(one.said_at)}" if one.said_at else ""
    by = sentence(one.initials, said, joint=", ")
    words = f"{one.probe} left at {shown.moment(one.at)} ({by}): {one.reason}"
    return sentence(words, accepted_words(one.accepted, shown), joint="; ")


def _end_note(ends: tuple[EndFacts, ...], index: int, shown: Shown) -> str:
    """What is to be said of an end beyond its moment: late, corrected, why, and who accepted it."""
    one, last = ends[index], index == len(ends) - 1
    words = ""
    if one.corrects:
        words = f"End corrected from {shown.moment(ends[index - 1].ended_at)} to "
        words += f"{shown.moment(one.ended_at)} by {one.initials}, entered {shown.moment(one.entered_at)}"
    elif one.late:
        words = f"End entered late, {shown.moment(one.entered_at)}, by {one.initials}"
    elif not last:
        words = f"End first entered as {shown.moment(one.ended_at)} by {one.initials}"
    elif one.reason or one.note:
        words = "End"
    waits = "" if one.accepted or not (one.corrects or one.late) or not last else "not accepted yet"
    said = sentence(words, one.reason, joint=": ")
    return sentence(
        said,
        one.note and f"note: {one.note}",
        accepted_words(one.accepted, shown) or waits,
        joint="; ",
    )


def draw_verdicts(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Every limit held against every load."""
    columns = [
        Column("Limit", 16), Column("Load", 6), Column("Verdict", 18), Column("Figure it rests on", 24),
        Column("Held to", 36),
    ]  # fmt: skip
    rows = []
    for one in record.verdicts:
        broke = f"Broken since {shown.moment(one.broke_at)}." if one.broke_at else ""
        rests = f"Rests on: {', '.join(one.rests_on)}." if one.rests_on else ""
        number = limit_number(record, one.control_point, one.limit)
        cells = (
            f"{number} {point_name(record, one.control_point)}", str(one.load or NONE),
            Shaped(one.verdict, VERDICTS[one.verdict]), one.figure or NONE, one.bound,
        )  # fmt: skip
        why = one.why and one.why.rstrip(".") + "."
        estimate = f"Estimate: {one.estimate}." if one.estimate else ""
        rows.append(Row(cells, sentence(why, estimate, broke, rests, joint=" ")))
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
    _adjustments(sheet, record, shown)


def _adjustments(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """What was adjusted where an operating limit was passed."""
    if not record.adjustments:
        return
    sheet.heading("Process adjustments", "adjustments", 1, 50)
    columns = [
        Column("Limit", 14), Column("Load", 7), Column("When, by", 25.6), Column("Figure", 21),
        Column("What was adjusted", 32.4),
    ]  # fmt: skip
    rows = [
        Row((f"{limit_number(record, one.control_point, one.limit)} {point_name(record, one.control_point)}",
             str(one.load or NONE), f"{shown.moment(one.at)} {one.initials}", one.figure or NONE, one.what))
        for one in record.adjustments
    ]  # fmt: skip
    sheet.table(columns, rows)


def draw_readings(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Readings by hand, each correction right under what it corrected."""
    columns = [
        NUMBER, Column("Observed, by", MOMENT),
        Column("Entered on the device,\nheard by the server", MOMENT),
        Column("Place, probe, load", 22), Column("As read, instrument", 20.6),
    ]  # fmt: skip
    _table_or_none(sheet, columns, [_reading_row(one, shown) for one in in_order(record.readings)])
    if any(one.corrected_by for one in record.readings):
        sheet.text("Struck through: corrected since; the correction stands right below.", grey=0.2)


Entry = TypeVar("Entry", HandReading, ObservationFacts)


def in_order(entries: tuple[Entry, ...]) -> Iterator[Entry]:
    """The entries by the time observed, each followed at once by what corrected it."""
    by_number = {one.number: one for one in entries}
    firsts = [one for one in entries if one.corrects not in by_number]
    for first in sorted(firsts, key=lambda one: (one.observed_at, one.number)):
        one: Entry | None = first
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
    return Row(cells, "\n".join(_notes(one, shown)))


def _notes(one: HandReading | ObservationFacts, shown: Shown) -> list[str]:
    """What is to be said of an entry beyond itself: late, corrected, why, and who accepted it."""
    fixes = f"Corrects no. {one.corrects}" if one.corrects else ""
    late = "Entered late" if one.late else ""
    said = sentence(fixes, late, joint="; ")
    notes = [
        f"{said}: {one.reason}" if said and one.reason else said or one.reason,
        f"Corrected by no. {one.corrected_by}." if one.corrected_by else "",
        f"Note: {one.note}" if one.note else "",
        accepted_words(one.accepted, shown),
        f"Attached: {one.attachment}, SHA-256 {one.attachment_sha256}" if one.attachment else "",
    ]
    return [note for note in notes if note]


def draw_observations(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """What was looked for."""
    columns = [
        NUMBER, Column("Observed, by", MOMENT),
        Column("Entered on the device,\nheard by the server", MOMENT),
        Column("Looked for", 33.6), Column("Found", 9),
    ]  # fmt: skip
    rows = []
    for one in in_order(record.observations):
        what = sentence(one.what, f"load {one.load}" if one.load else "", joint=", ")
        heard = f"{shown.moment(one.entered_at)}\n{shown.moment(one.recorded_at)}"
        cells = (
            str(one.number), f"{shown.moment(one.observed_at)}\n{one.initials}", heard, what,
            Struck(one.found) if one.corrected_by else one.found,
        )  # fmt: skip
        rows.append(Row(cells, "\n".join(_notes(one, shown))))
    _table_or_none(sheet, columns, rows)


def draw_logged(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Data logger series."""
    if not record.series:
        sheet.text("None.")
    for one in record.series:
        sheet.heading(one.name, f"series {one.name} {one.digest}", 1, 110)
        _series_facts(sheet, one, shown)
        draw_slots(sheet, one, shown)
    draw_put_right(sheet, record, shown)


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
        NUMBER, Column("Quantity", 16), Column("Samples", 19.7),
        Column("Laboratory, method", 23.8), Column("Sampled, reported", MOMENT), Column("By", 7.4),
    ]  # fmt: skip
    _table_or_none(sheet, columns, [_result_row(one, shown) for one in record.results])
    draw_sent(sheet, record, shown)


def _result_row(one: LabResult, shown: Shown) -> Row:
    samples = "\n".join(
        sentence(s.figure, s.portion and f"({s.portion})", joint=" ") for s in one.samples
    )
    moments = f"{shown.moment(one.sampled_at)}\n{shown.moment(one.reported_at)}"
    fixes = f"Corrects no. {one.corrects}." if one.corrects else ""
    fixed = f"Corrected by no. {one.corrected_by}." if one.corrected_by else ""
    paper = f"Report: {one.file}, SHA-256 {one.file_sha256}" if one.file else ""
    why = sentence(fixes, one.reason, joint=" ")
    below = sentence(one.of, why, fixed, one.note and f"Note: {one.note}", paper, joint="\n")
    cells = (
        str(one.number or NONE), one.quantity,
        Struck(samples, len(one.samples)) if one.corrected_by else samples,
        f"{one.laboratory}\n{one.method}".strip(), moments, one.entered_by,
    )  # fmt: skip
    return Row(cells, below)


def draw_instruments(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Accuracy checks of the instruments used."""
    columns = [
        Column("Instrument", 24), Column("Accuracy check, newest first", 25.6), Column("How", 22),
        Column("Result", 21), Column("By", 7.4),
    ]  # fmt: skip
    rows = [row for one in record.instruments for row in _instrument_rows(one, shown)]
    _table_or_none(sheet, columns, rows)
    if rows:
        sheet.text(
            "Of each instrument: the last check before the lot’s work, those during it, and the first after it.",
            grey=0.2,
        )


NEWEST, OLDEST = 6, 2
"""Checks of one instrument that are printed whatever they found; between them only those that found it
off (common practice; all of them stay in the attached record)."""


def _instrument_rows(one: InstrumentFacts, shown: Shown) -> Iterator[Row]:
    """The instrument's newest check, and those before it."""
    name, at = f"{one.name}\n{one.kind}", one.checked_at
    last = shown.moment(at) if at else "never checked"
    yield Row((name, last, one.method, one.result, one.checked_by))
    between = range(NEWEST, len(one.checks) - OLDEST)
    left_out = [number for number in between if one.checks[number].within]
    for number, check in enumerate(one.checks[1:], 1):
        if number in left_out:
            continue
        yield Row(
            ("", shown.moment(check.checked_at), check.method, check.result, check.checked_by)
        )
    if left_out:
        yield Row(
            ("", f"{len(left_out)} more between these, each within its tolerance", "", "", "")
        )


def _table_or_none(sheet: Sheet, columns: list[Column], rows: list[Row]) -> None:
    if rows:
        sheet.table(columns, rows)
    else:
        sheet.text("None.")
