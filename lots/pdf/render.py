"""A record as a PDF without its seal, the same bytes every time.

record ──▶ marks on pages (front, sections) ──▶ furniture, page numbers ──▶ PDF ──▶ attachment
"""

import hashlib
from io import BytesIO
from typing import Any, Literal

from lots.core.readings_csv import readings_csv
from lots.core.record import LotRecord, canonical_bytes
from lots.pdf.archive import Attached, Told, archived
from lots.pdf.closing import (
    draw_deviations,
    draw_people,
    draw_plan,
    draw_reading_it,
    draw_required,
    draw_signatures,
)
from lots.pdf.faces import PAGE_MARK, load_faces, printable, shortened, width
from lots.pdf.front import draw_front
from lots.pdf.layout import PAPERS, SMALL, Mark, Page, Paper, Sheet, Text
from lots.pdf.said import draw_remarks
from lots.pdf.salt import draw_pack, draw_pieces, draw_salt
from lots.pdf.sections import (
    Section,
    draw_charts,
    draw_instruments,
    draw_loads,
    draw_logged,
    draw_observations,
    draw_readings,
    draw_results,
    draw_verdicts,
)
from lots.pdf.shapes import Path
from lots.pdf.words import Shown, shown_in

PaperName = Literal["letter", "A4"]
ATTACHMENT = "lot-record.json"
TABLE = "readings.csv"
LAYOUT = 3
"""The number of the pages' words and their order: raised whenever these differ, so that a check
knows whether it may hold every line of an old record against today's (tests/pdf/test_layout.py)."""
DEMO = "INVENTED DEMONSTRATION DATA"
DIGEST_SHOWN = 16
"""Hex digits of the record's SHA-256 at the foot of each page."""

SECTIONS: tuple[tuple[str, str, Section], ...] = (
    ("charts", "Temperature over time", draw_charts),
    ("loads", "Steps and loads", draw_loads),
    ("verdicts", "Verdicts", draw_verdicts),
    ("readings", "Readings by hand", draw_readings),
    ("observations", "Observations", draw_observations),
    ("logged", "Data loggers", draw_logged),
    ("salt", "Brine, cure and salt", draw_salt),
    ("pieces", "Pieces, weights and yield", draw_pieces),
    ("results", "Laboratory results", draw_results),
    ("pack", "Pack and label", draw_pack),
    ("remarks", "Notes", draw_remarks),
    ("instruments", "Instruments and their accuracy checks", draw_instruments),
    ("deviations", "Deviations in full (21 CFR 123.7(d))", draw_deviations),
    ("plan", "The plan and its limits", draw_plan),
    ("signatures", "Signatures", draw_signatures),
    ("people", "Initials", draw_people),
    ("required", "Where required items stand (21 CFR 123.9(a))", draw_required),
    ("reading", "How to read this record", draw_reading_it),
)

KEPT_WITH = {"verdicts": 180.0, "logged": 170.0, "required": 190.0, "reading": 150.0}
"""Height that a section's heading keeps below it, so that its short table stays in one piece."""


def render(record: LotRecord, page: PaperName = "letter") -> bytes:
    """The record's PDF, unsealed, with the record attached as canonical JSON."""
    data = canonical_bytes(record)
    paper = PAPERS[page]
    pages = lay_out(record, paper, hashlib.sha256(data).hexdigest())
    return archived(_paint(pages, paper), _told(record), _attachments(record, data))


def lay_out(record: LotRecord, paper: Paper, digest: str) -> list[Page]:
    """The finished pages, furniture included, before anything is painted."""
    load_faces()
    sheet, shown = Sheet(paper), shown_in(record)
    draw_front(sheet, record, shown, digest)
    if len(sheet.pages) == 1:  # a first page that runs over is followed at once
        sheet.new_page()
    for number, (key, title, section) in enumerate(SECTIONS, 1):
        sheet.heading(f"{number}  {title}", key, keep=KEPT_WITH.get(key, 70.0))
        section(sheet, record, shown)
    numbers = {e.key: i for i, page in enumerate(sheet.pages, 1) for e in page.entries}
    for number, page in enumerate(sheet.pages, 1):
        page.marks[:] = [_numbered(mark, numbers) for mark in page.marks]
        page.marks += _furniture(record, paper, digest, number, len(sheet.pages), shown)
    return sheet.pages


def _numbered(mark: Mark, numbers: dict[str, int]) -> Mark:
    """The mark with page numbers where keys stood."""
    if isinstance(mark, Path) or PAGE_MARK not in mark.text:
        return mark
    parts = mark.text.split(PAGE_MARK)
    parts[1::2] = [str(numbers[key]) for key in parts[1::2]]
    return mark._replace(text="".join(parts))


def _furniture(
    record: LotRecord, paper: Paper, digest: str, number: int, total: int, shown: Shown
) -> list[Mark]:
    """Head and foot of a page."""
    edge, marks = paper.width - paper.right, list[Mark]()
    head, foot = paper.height - 38, paper.bottom - 12
    if record.establishment.demo:
        marks.append(Text(paper.left, head, "Bold", 9, DEMO))
    name = shortened(printable(record.establishment.name), "Body", SMALL, paper.room - 190)
    if number > 1:
        marks.append(Text(edge - width(name, "Body", SMALL), head, "Body", SMALL, name, 0.25))
    marks.append(Path([(paper.left, foot), (edge, foot)], stroke=0.0, thick=0.3))
    count = f"page {number} of {total}"
    lot = shortened(f"Lot {printable(record.lot.code)}", "Bold", SMALL, paper.room - 90)
    marks.append(Text(paper.left, foot - 12, "Bold", SMALL, lot))
    marks.append(Text(edge - width(count, "Body", SMALL), foot - 12, "Body", SMALL, count))
    short = digest[:DIGEST_SHOWN]
    words = f"record {record.revision} of {shown.moment(record.made_at)}, SHA-256 begins {short}"
    marks.append(Text(paper.left, foot - 23, "Body", SMALL, words, 0.25))
    return marks


def _paint(pages: list[Page], paper: Paper) -> bytes:
    from reportlab import rl_config
    from reportlab.pdfgen.canvas import Canvas

    rl_config.useA85 = 0  # packed, and not made text as well: archiving takes that off again
    out = BytesIO()
    canvas = Canvas(
        out, pagesize=(paper.width, paper.height), invariant=1, pageCompression=1, lang="en-US",
        initialFontName="Body", initialFontSize=9,
    )  # fmt: skip
    for index, page in enumerate(pages):
        _bookmarks(canvas, page, index)
        for mark in page.marks:
            _paint_path(canvas, mark) if isinstance(mark, Path) else _paint_text(canvas, mark)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _bookmarks(canvas: Any, page: Page, index: int) -> None:
    if index == 0:
        canvas.bookmarkPage("first", fit="FitH", top=10_000)
        canvas.addOutlineEntry("First page", "first", 0)
    for entry in page.entries:
        canvas.bookmarkPage(entry.key, fit="FitH", top=entry.y + 8)
        canvas.addOutlineEntry(entry.text, entry.key, entry.depth)


def _paint_text(canvas: Any, mark: Text) -> None:
    canvas.setFillGray(mark.grey)
    canvas.setFont(mark.face, mark.size)
    canvas.drawString(mark.x, mark.y, mark.text)


def _paint_path(canvas: Any, mark: Path) -> None:
    path = canvas.beginPath()
    path.moveTo(*mark.points[0])
    for point in mark.points[1:]:
        path.lineTo(*point)
    if mark.closed:
        path.close()
    if mark.fill is not None:
        canvas.setFillGray(mark.fill)
    if mark.stroke is not None:
        canvas.setStrokeGray(mark.stroke)
        canvas.setLineWidth(mark.thick)
        canvas.setDash(list(mark.dash))
    canvas.drawPath(path, stroke=mark.stroke is not None, fill=mark.fill is not None)


def _told(record: LotRecord) -> Told:
    return Told(
        title=f"Record of lot {record.lot.code}",
        author=record.establishment.name,
        subject=f"{record.lot.product}, record {record.revision}",
        made_with=f"lots.pdf {LAYOUT}",
        made=shown_in(record).local(record.made_at),
    )


def _attachments(record: LotRecord, data: bytes) -> list[Attached]:
    table = readings_csv(record)
    return [
        Attached(ATTACHMENT, "application/json", "The record as canonical JSON", data),
        Attached(TABLE, "text/csv", "Every reading, for a spreadsheet", table),
    ]
