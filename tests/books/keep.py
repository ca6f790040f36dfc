"""Makes the small book of a finished version, which every later state must migrate, check and read.

    SMOKEHOUSE_DATA=$(mktemp -d) .venv/bin/python -m tests.books.keep tests/books/1

Made once for each version and never again: an old book is worth keeping because it is old.  What is
secret (log-ins, the sealing key, the folder's own key) stays out; the authority's certificate is kept.
"""

import os
import shutil
import sqlite3
import sys
from pathlib import Path
from typing import Final

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "smokehouse.settings")
os.environ.setdefault("SEAL_PASSPHRASE", "invented, of a book that is kept without its key")

import django

django.setup()

from django.conf import settings  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.db import connections  # noqa: E402

from lots.entries.batch import Strength, Typed, check_batch  # noqa: E402
from lots.entries.deviation import Action, Decision, decide, take_action  # noqa: E402
from lots.entries.files import Upload  # noqa: E402
from lots.entries.head import seal_head  # noqa: E402
from lots.entries.house import check_accuracy  # noqa: E402
from lots.entries.laboratory import NewReport, Sending, enter_report, send_samples  # noqa: E402
from lots.entries.moments import Moments  # noqa: E402
from lots.entries.note import write_note  # noqa: E402
from lots.entries.pack import thaw_packs  # noqa: E402
from lots.entries.paper import PaperRow, Sheet, enter_from_paper  # noqa: E402
from lots.entries.pieces import TypedPieces, measure_pieces  # noqa: E402
from lots.entries.pins import set_pin  # noqa: E402
from lots.entries.reading import enter_readings  # noqa: E402
from lots.entries.readings import Figure  # noqa: E402
from lots.entries.reassess import ask_reassessment  # noqa: E402
from lots.entries.record import issue_record  # noqa: E402
from lots.entries.review import release_lot, sign_reviews  # noqa: E402
from lots.entries.series import correct_series_reading  # noqa: E402
from lots.entries.uptake import NewPoint, keep_point  # noqa: E402
from lots.entries.weights import weigh_stage  # noqa: E402
from lots.models.deviation import Deviation  # noqa: E402
from lots.models.lot import Lot  # noqa: E402
from lots.models.reading import PackedSeries  # noqa: E402
from lots.models.scratch import Checkpoint, Invitation, LoadPicture, Login, RunningState  # noqa: E402
from lots.queries.house import establishment, file_bytes  # noqa: E402
from lots.queries.release import last_line  # noqa: E402
from tests.entries.roads import csv, finished, imported  # noqa: E402
from tests.make import Book, make_book, moment, seen  # noqa: E402


def fill() -> dict[str, bytes]:
    """One lot released, one whose brine room was too warm by its logger, one cured that waits for its
    laboratory; their records' PDFs by name."""
    book = make_book()
    lot = finished(book)
    warm = book.open_lot("TR-2", at="2026-03-05 07:00")
    load = book.start("brine", "Brine tank 1", "2026-03-05 07:30", warm)
    figures = [round(37 + number / 60, 1) for number in range(300)]
    imported(
        book, csv("2026-03-05 07:25", 60, figures), "2026-03-05 12:30", book.place("Brine room")
    )
    book.end(load, "2026-03-05 12:35")
    at = moment("2026-03-05 13:00")
    deviation = Deviation.objects.filter(lot=warm).first()
    assert deviation is not None
    action = Action(True, "Moved under ice", "Room back at 36 °F", "The cooler's fan had stopped")
    take_action(book.operator, deviation, action, at, at)
    decide(book.reviewer, deviation, Decision("hold", 20_000, "Waits for the trained person"), at)
    line = last_line(lot)
    house = establishment()
    assert line is not None and house is not None
    sign_reviews(book.reviewer, [(lot, line.number)], "", at)
    seal_head(house, at)
    release_lot(book.reviewer, lot, {"release": 18_000}, "", at, "Frozen, below 0 °F")
    pdf = file_bytes(issue_record(book.reviewer, lot, house, at).file)
    fill_since(book)
    warm_at = moment("2026-03-06 12:00")
    warm_pdf = file_bytes(issue_record(book.reviewer, warm, house, warm_at, page="A4").file)
    salt_pdf = file_bytes(issue_record(book.reviewer, salted(book), house, SALTED_BY).file)
    thaw_packs(book.operator, lot, 2_000, "For an invented counter", seen("2026-03-07 13:40"))
    return {"record": pdf, "warm": warm_pdf, "salt": salt_pdf}


def fill_since(book: Book) -> None:
    """What a later version can say: a logger's reading put right, a thermometer found off, so that
    the released lot is asked about too, and a plan to be looked at anew."""
    series = PackedSeries.objects.order_by("id").first()
    assert series is not None
    figure, told = Figure("37.4", "F"), seen("2026-03-05 13:05")
    correct_series_reading(book.operator, series, 10, figure, "the door stood open", told)
    check_accuracy(
        book.operator, book.thermometer, "ice point", "35", "32", "F", seen("2026-03-05 13:10")
    )
    what = "A new supplier, whose fish is fatter"
    ask_reassessment(book.operator, book.version.plan, "material", what, moment("2026-03-05 13:15"))
    beside_the_smoker(book)


def beside_the_smoker(book: Book) -> None:
    """What came from a tablet by PIN, a note, and a sheet of paper with its picture."""
    third = book.open_lot("TR-3", at="2026-03-06 07:00")
    hold = book.start("hold", "Cooler", "2026-03-06 07:30", third)
    at = moment("2026-03-06 07:40")
    by_pin = Moments(at, at, at + 60_000, -120_000, by="PIN")
    set_pin(book.operator, "4071", at)
    enter_readings(book.operator, book.place("Cooler"), None, [Figure("36.4", "F")], by_pin)
    write_note(book.operator, hold, None, "Fan cleaned before the load", by_pin)
    rows = [
        PaperRow(moment(f"2026-03-06 {text}"), (Figure(figure, "F"),))
        for text, figure in (("08:30", "36.8"), ("09:30", "37.1"))
    ]
    now = moment("2026-03-06 10:30")
    when = Moments(now, now, now, 0, "from paper: the tablet was dead", "paper")
    picture = Upload("sheet.png", b"\x89PNG\r\n\x1a\n" + b"an invented sheet")
    enter_from_paper(book.operator, hold, Sheet(rows, {}, now, of_fish=False), picture, when)


SALTED_BY: Final = moment("2026-03-07 13:30")


def salted(book: Book) -> Lot:
    """Sablefish in a batch with nitrite, about 150 ppm ingoing: its strength read, its pieces and weights,
    what the laboratory found and what it still owes, a point of the forecast, and its process verified."""
    lot = book.open_lot("WS-1", at="2026-03-07 06:50", species="SAB", origin="wild")
    cure = Typed(3, "curing salt", "curing salt no. 1", "144", "g", nitrite="6.25 %")
    parts = (("water", "33.4", "kg"), ("salt", "6.456", "kg"))
    batch = book.mix("B-1", "2026-03-07 07:00", cure, parts=parts)
    strength = Strength("salometer", "63", "40", "F")
    check_batch(book.operator, batch, strength, seen("2026-03-07 07:10"))
    pieces = TypedPieces(["28", "31", "30"], ["410", "455", "440"])
    measure_pieces(book.operator, lot, pieces, seen("2026-03-07 07:20"))
    weigh_stage(book.operator, lot, "trimmed", "19.2", "kg", seen("2026-03-07 07:25"))
    load = book.start(
        "brine", "Brine tank 1", "2026-03-07 07:30", lot, brine_batch=batch, declared="short"
    )
    for at, figure in (("07:32", "40.1"), ("09:10", "40.6"), ("10:40", "41.2")):
        when = seen(f"2026-03-07 {at}")
        enter_readings(book.operator, load.place, None, [Figure(figure, "F")], when)
    book.end(load, "2026-03-07 10:45")
    weigh_stage(book.operator, lot, "brined", "18.9", "kg", seen("2026-03-07 10:50"), load)
    from_the_laboratory(book, lot)
    return lot


def from_the_laboratory(book: Book, lot: Lot) -> None:
    """Samples of which one result came, the point made of it, and a verification of the process."""
    sampled, at = moment("2026-03-07 11:00"), moment("2026-03-07 13:00")
    wanted = ["salt", "moisture", "sodium nitrite"]
    sending = Sending("Invented Bay Laboratory", wanted, "loin")
    sent = send_samples(book.operator, lot, sending, sampled, sampled)
    figures = {"salt": ["1.2", "1.3"], "moisture": ["72", "71.5"]}
    report = NewReport(figures, "Invented Bay Laboratory", portion="loin", sent=sent)
    results = enter_report(book.reviewer, lot, report, sampled, at, at)
    result = next(row for row in results if row.quantity == "water-phase salt")
    point = NewPoint(
        30_000, 1, 3 * 3_600_000, 41_000, 16_480_000, 2_000_000, 73_000_000, 1_200_000, 72_000_000,
        100_000_000,
    )  # fmt: skip
    keep_point(book.coordinator, result, point, at)
    verified = NewReport({"water-phase salt": ["3.9", "3.7", "4.1"]}, "Invented Bay Laboratory")
    enter_report(book.coordinator, book.version.plan, verified, sampled, at, at)


def main(target: Path) -> None:
    call_command("migrate", verbosity=0)
    pdfs = fill()
    for scratch in (Login, Invitation, RunningState, LoadPicture, Checkpoint):
        scratch.objects.all().delete()
    connections.close_all()
    data = Path(settings.DATA_DIR)
    (target / "keys").mkdir(parents=True)
    for name, pdf in pdfs.items():
        (target / f"{name}.pdf").write_bytes(pdf)
    shutil.copytree(data / "files", target / "files")
    for certificate in (data / "keys").glob("*.pem"):
        if b"PRIVATE" not in certificate.read_bytes():
            shutil.copy(certificate, target / "keys")
    with sqlite3.connect(data / "book.sqlite3") as source:
        source.execute("DELETE FROM django_session")
        source.commit()
        source.execute("VACUUM INTO ?", [str(target / "book.sqlite3")])


if __name__ == "__main__":
    if len(sys.argv) != 2 or sys.argv[1].startswith(
        "-"
    ):  # a word in its place made a book of that name
        sys.exit(str(__doc__))
    main(Path(sys.argv[1]))
