"""All records of a period in one file: what is in it, what is named as missing, who may have it."""

import csv
import hashlib
import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from zipfile import ZipFile

import pytest
from django.conf import settings
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from lots.core.spreadsheet import MARK
from lots.entries.note import write_note
from lots.models.visit import VisitSeen
from lots.queries.house import file_bytes, rules
from lots.queries.period_records import CHANGED, GONE, NO_RECORD
from tests.make import Book, seen
from tests.views.pages import as_person
from tests.views.visiting import HIDDEN, SHOWN, Visiting, visiting

DAYS = {"first": "2026-03-03", "last": "2026-03-05", "by": "received"}
BARE, RISKY = "BARE-2", "=1+1"


@pytest.fixture
def house(book: Book, clock: Callable[[str], int]) -> Visiting:
    made = visiting(book)
    clock("2026-03-05 10:00")
    book.open_lot(BARE, at="2026-03-05 08:00", supplier=RISKY)
    return made


def zip_of(answer: HttpResponse) -> ZipFile:
    assert answer.status_code == 200, answer.content.decode()
    return ZipFile(io.BytesIO(b"".join(answer.streaming_content)))  # type: ignore[attr-defined]


def fetch(house: Visiting, **changes: str) -> ZipFile:
    return zip_of(as_person(house.book.inspector).get(reverse("records_zip"), DAYS | changes))


def index(found: ZipFile) -> dict[str, dict[str, str]]:
    """The rows of index.csv by lot."""
    text = found.read("index.csv").decode()
    assert text.startswith(MARK)
    rows = csv.DictReader(io.StringIO(text.removeprefix(MARK), newline=""))
    return {row["lot"]: row for row in rows}


def page(found: ZipFile) -> str:
    return found.read("index.html").decode()


def records(found: ZipFile) -> list[str]:
    return [name for name in found.namelist() if name.endswith(".pdf")]


def test_each_record_lies_in_it_to_the_byte_with_its_digest(house: Visiting) -> None:
    issued = [house.issue(house.shown), house.issue(house.hidden)]
    found = fetch(house)
    rows = index(found)
    assert len(records(found)) == 2
    for row in issued:
        listed = rows[row.lot.code]
        data = found.read(listed["record"])
        assert data == file_bytes(row.file)
        assert listed["SHA-256"] == hashlib.sha256(data).hexdigest() == row.file.sha256
        assert (listed["bytes"], listed["revision"], listed["remark"]) == (str(len(data)), "1", "")


def test_a_lot_without_a_record_is_named_in_the_page_and_in_the_table(house: Visiting) -> None:
    house.issue(house.shown)
    found = fetch(house)
    assert index(found)[BARE]["remark"] == NO_RECORD
    without = page(found).split("Lots without an issued record")[1].split("Sealed records")[0]
    assert BARE in without and SHOWN not in without


def test_the_list_of_digests_is_that_of_every_file(house: Visiting) -> None:
    house.issue(house.shown)
    found = fetch(house)
    listed = dict(
        reversed(line.split("  ", 1)) for line in found.read("SHA256SUMS").decode().splitlines()
    )
    assert set(listed) == set(found.namelist()) - {"SHA256SUMS"}
    for name, digest in listed.items():
        assert hashlib.sha256(found.read(name)).hexdigest() == digest


def test_the_plan_is_in_it_as_the_house_prints_it(house: Visiting) -> None:
    found = fetch(house)
    (name,) = [one for one in found.namelist() if one.startswith("plans/")]
    text = found.read(name).decode()
    assert "Hazard analysis" in text and "Cora Coordinator" in text and "CCP 1" in text
    assert house.book.version.content_sha256 in text


def test_its_pages_need_neither_script_nor_server(house: Visiting) -> None:
    found = fetch(house)
    for name in found.namelist():
        if name.endswith(".html"):
            text = found.read(name).decode()
            assert "<script" not in text and "http://" not in text and 'href="/' not in text, name
    assert b".sheet" in found.read("paper.css")


def test_what_came_after_the_record_is_counted(house: Visiting) -> None:
    house.issue(house.shown)
    assert index(fetch(house))[SHOWN]["entries since"] == "0"
    write_note(house.book.operator, None, house.shown, "Torn.", seen("2026-03-05 09:30"))
    found = fetch(house)
    assert index(found)[SHOWN]["entries since"] == "1"
    assert "1 entry since" in page(found)


@pytest.mark.parametrize(("spoil", "remark"), [("change", CHANGED), ("remove", GONE)])
def test_a_file_that_is_not_what_was_issued_is_named(
    spoil: str, remark: str, house: Visiting
) -> None:
    house.issue(house.hidden)
    file = Path(settings.FILES_DIR) / house.issue(house.shown).file.sha256
    whole = file.read_bytes()
    try:
        file.write_bytes(whole[:-9] + b"%altered\n") if spoil == "change" else file.unlink()
        found = fetch(house)
    finally:
        file.write_bytes(whole)
    assert index(found)[SHOWN]["remark"] == remark
    assert index(found)[HIDDEN]["remark"] == ""
    assert "Not as issued" in page(found) and remark in page(found)
    assert "Not as issued" not in page(fetch(house))


BY_DAYS: list[tuple[dict[str, str], set[str]]] = [
    ({}, {SHOWN, HIDDEN, BARE}),
    ({"first": "2026-03-04", "last": "2026-03-04"}, {SHOWN}),
    ({"last": "2026-03-03"}, {HIDDEN}),
    ({"by": "finished"}, {SHOWN}),
    ({"by": "finished", "last": "2026-03-03"}, set()),
    ({"first": "2025-01-01", "last": "2025-12-31"}, set()),
]


def test_days_are_those_of_receiving_or_of_finishing(house: Visiting) -> None:
    client = as_person(house.book.operator)
    for changes, codes in BY_DAYS:
        text = client.get(reverse("records_period"), DAYS | changes).content.decode()
        assert ("Fetch it as one ZIP" in text, "No lot was" in text) == (bool(codes), not codes)
        assert set(index(fetch(house, **changes))) == codes, changes


def test_a_lot_received_just_before_midnight_belongs_to_its_own_day(house: Visiting) -> None:
    house.book.open_lot("LATE-1", at="2026-03-02 23:59")
    house.book.open_lot("EARLY-1", at="2026-03-03 00:00")
    assert {"EARLY-1"} == set(index(fetch(house))) - {SHOWN, HIDDEN, BARE}


WRONG_DAYS = [
    ("first", "", "Choose a day."),
    ("first", "2026-02-30", "not a day that exists"),
    ("last", "9999-12-31", "Check the year"),
    ("last", "2026-03-02", "before the first"),
    ("by", "weight", "Choose one."),
]


def test_days_that_cannot_be_are_refused_in_words(house: Visiting) -> None:
    client = as_person(house.book.operator)
    for field, text, words in WRONG_DAYS:
        for name, code in (("records_period", 200), ("records_zip", 400)):
            answer = client.get(reverse(name), DAYS | {field: text})
            assert (answer.status_code, words in answer.content.decode()) == (code, True), field


@pytest.mark.parametrize("most", ["most_lots", "largest_bytes"])
def test_too_much_for_one_file_is_refused_in_words(
    most: str, house: Visiting, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.issue(house.shown)
    small = replace(rules(), period=replace(rules().period, **{most: 2}))
    monkeypatch.setattr("lots.queries.period_records.rules", lambda: small)
    client = as_person(house.book.operator)
    answer = client.get(reverse("records_zip"), DAYS)
    assert answer.status_code == 400
    assert "Choose fewer days" in answer.content.decode()
    assert "Fetch it as one ZIP" not in client.get(reverse("records_period"), DAYS).content.decode()


def test_nothing_is_left_behind_in_the_data_folder(house: Visiting) -> None:
    folder = Path(settings.STAGED_DIR)
    before = set(folder.iterdir()) if folder.exists() else set()
    fetch(house)
    assert set(folder.iterdir()) == before


# in a visit


def test_a_visit_fetches_its_own_lots_alone(house: Visiting) -> None:
    house.issue(house.shown)
    house.issue(house.hidden)
    nora = house.client()
    found = zip_of(nora.get(reverse("visit_zip"), DAYS))
    assert set(index(found)) == {SHOWN}
    assert len(records(found)) == 1
    for name in found.namelist():
        if not name.endswith(".pdf"):
            assert HIDDEN.encode() not in found.read(name), name
    assert "Nora Nobody (invented)" in page(found)


def test_each_download_of_a_visit_is_kept_with_its_days(house: Visiting) -> None:
    nora = house.client()
    for _ in range(2):
        nora.get(reverse("visit_zip"), DAYS)
    nora.get(reverse("visit_zip"), DAYS | {"first": "2026-03-04"})
    nora.get(reverse("visit_zip"), DAYS | {"first": "nonsense"})
    words = list(VisitSeen.objects.order_by("pk").values_list("what", flat=True))
    assert words == [
        "Download of all records of lots received 3 Mar 2026 to 5 Mar 2026",
        "Download of all records of lots received 4 Mar 2026 to 5 Mar 2026",
    ]


def test_without_a_log_in_there_is_no_download(house: Visiting) -> None:
    assert Client().get(reverse("records_zip"), DAYS)["Location"].startswith("/in/")
    assert Client().get(reverse("visit_zip"), DAYS)["Location"] == reverse("visit_in")


def test_a_code_that_begins_like_a_formula_is_text_in_the_table(house: Visiting) -> None:
    house.book.open_lot("@SUM-1", at="2026-03-05 08:30")
    text = fetch(house).read("index.csv").decode()
    assert "'@SUM-1," in text and "\n@SUM" not in text
