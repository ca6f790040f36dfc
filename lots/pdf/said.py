"""What was said of a lot beside its readings: notes, and what was put right of loggers' files."""

from lots.core.record import FileTakenBack, LoggedCorrection, LotRecord, Remark
from lots.core.units import TempUnit, show_temperature
from lots.pdf.layout import Column, Row, Sheet, Struck
from lots.pdf.words import Shown, accepted_words, sentence


def draw_remarks(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Notes of the lot and its loads."""
    if not record.remarks:
        sheet.text("None.")
        return
    columns = [
        Column("Observed, by", 25.6), Column("Entered on the device,\nheard by the server", 25.6),
        Column("Of", 9), Column("Note", 39.8),
    ]  # fmt: skip
    sheet.table(columns, [_remark(one, shown) for one in record.remarks])


def _remark(one: Remark, shown: Shown) -> Row:
    heard = f"{shown.moment(one.entered_at)}\n{shown.moment(one.recorded_at)}"
    of = f"load {one.load}" if one.load else "the lot"
    return Row((f"{shown.moment(one.observed_at)}\n{one.initials}", heard, of, one.text))


def draw_put_right(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Single logger readings put right or taken back, and files taken back whole."""
    if record.logged_corrections:
        sheet.heading("Logger readings put right", "put-right", 1, 50)
        columns = [
            Column("Reading of", 25.6), Column("File, probe, load", 26), Column("Was", 12),
            Column("Is", 12), Column("Why, by", 24.4),
        ]  # fmt: skip
        sheet.table(columns, [_put_right(one, shown) for one in record.logged_corrections])
    if record.taken_back:
        sheet.heading("Logger files taken back", "taken-back", 1, 50)
        columns = [Column("File", 40), Column("Readings", 12, right=True), Column("Why, by", 48)]
        sheet.table(columns, [_taken_back(one, shown) for one in record.taken_back])


def _put_right(one: LoggedCorrection, shown: Shown) -> Row:
    unit: TempUnit = "F" if one.unit == "F" else "C"
    now = "taken back" if one.withdrawn else show_temperature(one.now, unit)
    of = sentence(one.file, one.probe, f"load {one.load}" if one.load else "", joint=", ")
    by = f"{one.reason}\n{one.initials}, {shown.moment(one.entered_at)}"
    cells = (shown.moment(one.at), of, Struck(show_temperature(one.was, unit)), now, by)
    return Row(cells, accepted_words(one.accepted, shown) or "Not accepted yet.")


def _taken_back(one: FileTakenBack, shown: Shown) -> Row:
    by = f"{one.reason}\n{one.initials}, {shown.moment(one.entered_at)}"
    below = f"SHA-256 {one.file_sha256}"
    accepted = accepted_words(one.accepted, shown) or "Not accepted yet."
    return Row((one.file, f"{one.readings:,}", by), sentence(below, accepted, joint="; "))
