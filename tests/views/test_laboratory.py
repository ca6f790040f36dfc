"""The laboratory's pages: reports typed once, samples that wait, processes verified."""

from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lots.entries.laboratory import (
    NewReport,
    PutRight,
    Sending,
    correct_report,
    enter_report,
    send_samples,
)
from lots.models.lot import LaboratoryResult, LaboratorySent, Lot
from tests.make import Book, moment
from tests.views.pages import above, as_person, beside, lines, refused, taken

Clock = Callable[[str], int]


@pytest.fixture
def lot(book: Book, clock: Clock) -> Lot:
    clock("07:30")
    return book.open_lot("TR-1")


def of(name: str, lot: Lot) -> str:
    return reverse(name, args=[lot.code])


REPORT = {
    "laboratory": "Invented Bay Laboratory",
    "portion": "loin of the thickest",
    "method": "titration",
    "salt-1": "2,9",
    "moisture-1": "62.1",
    "salt-2": "3.1",
    "moisture-2": "60.0",
    "histamine-1": "< 5",
}


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"salt-2": "low"}, "salt-2", "is not a number"),
        ({"salt-2": "-3"}, "salt-2", "below nothing"),
        ({"salt-2": "41"}, "moisture-2", "101 % together"),
        ({"moisture-1": "9" * 20}, "moisture-1", "Check the report"),
        ({"pH-1": "15"}, "pH-1", "cannot be over 14"),
        ({"laboratory": ""}, "laboratory", "Fill this in"),
        ({"sampled_at": "08:00"}, "sampled_at", "still to come"),
        ({"reported_at": "4 Mar 2027 08:00"}, "reported_at", "still to come"),
        ({"sampled_at": "07:20", "reported_at": "07:10"}, "reported_at", "before the sample"),
        ({"note": "x" * 10_000}, "note", "at most 400"),
    ],
)
def test_a_report_that_cannot_be_is_refused_and_nothing_typed_is_lost(
    lot: Lot, olga: Client, changed: dict[str, str], field: str, words: str
) -> None:
    refused(olga, of("lot_laboratory", lot), REPORT | changed, field, words)
    assert not LaboratoryResult.objects.exists()


def test_a_report_without_figures_is_refused(lot: Lot, olga: Client) -> None:
    typed = {name: text for name, text in REPORT.items() if "-" not in name}
    refused(olga, of("lot_laboratory", lot), typed, None, "Type each sample's figure")


def test_a_report_is_kept_with_its_paper_and_shown_on_the_lots_page(lot: Lot, olga: Client) -> None:
    bad = SimpleUploadedFile("report.pdf", b"<html>", "application/pdf")
    refused(olga, of("lot_laboratory", lot), REPORT | {"report": bad}, "report", "Attach a photo")
    good = SimpleUploadedFile("report.pdf", b"%PDF-1.7 x", "application/pdf")
    page = taken(olga, of("lot_laboratory", lot), REPORT | {"report": good}).content.decode()
    assert {row.quantity for row in LaboratoryResult.objects.all()} == {
        "salt",
        "moisture",
        "histamine",
        "water-phase salt",
    }
    for words in ("2.9 %", "60.0 %", "4.4615 %", "4.9128 %", "&lt; 5 ppm", "The report"):
        assert words in page
    assert "computed from the salt and moisture" in page


ODD = REPORT | {"water-phase-salt-1": "5.4"}


def test_a_water_phase_salt_that_does_not_follow_is_asked_about_and_then_taken(
    lot: Lot, olga: Client
) -> None:
    url = of("lot_laboratory", lot)
    answer = refused(olga, url, ODD, "water-phase-salt-1", "not 5.4 %")
    mark = answer.context["form"].fields["sure"].widget.attrs["value"]
    other = olga.post(url, ODD | {"salt-1": "2.8", "sure": mark})  # a yes to other figures
    assert "not 5.4 %" in beside(other, "water-phase-salt-1")
    assert not LaboratoryResult.objects.exists()
    taken(olga, url, ODD | {"sure": mark})
    assert LaboratoryResult.objects.filter(quantity="water-phase salt").count() == 2


def test_more_samples_are_asked_for_and_nothing_is_stored_or_lost(lot: Lot, olga: Client) -> None:
    before = lines()
    url = of("lot_laboratory", lot)
    page = olga.post(url, REPORT | {"samples": "5", "more": "1"}).content.decode()
    assert 'name="salt-10"' in page
    assert 'value="2,9"' in page
    assert lines() == before
    taken(olga, url, REPORT | {"samples": "10", "Listeria-10": "not detected"})
    sample = LaboratoryResult.objects.get(quantity="Listeria").samples.get()
    assert (sample.number, sample.value) == (10, 0)


SENDING = {"laboratory": "Invented Bay Laboratory", "wanted": ["Listeria", "histamine"]}


def test_samples_sent_wait_on_the_page_until_their_report_comes(lot: Lot, olga: Client) -> None:
    page = taken(olga, of("lot_send", lot), SENDING | {"sampled_at": "07:10"}).content.decode()
    assert "waits 20 min" in page
    sent = LaboratorySent.objects.get()
    board = olga.get(reverse("laboratory")).content.decode()
    assert f"/lots/TR-1/laboratory/?sent={sent.pk}" in board
    form = olga.get(of("lot_laboratory", lot), {"sent": sent.pk}).content.decode()
    assert 'value="Invented Bay Laboratory"' in form
    assert 'value="4 Mar 2026 07:10 −05:00"' in form
    typed = {"sent": sent.pk, "laboratory": "Bay", "Listeria-1": "0", "histamine-1": "3"}
    taken(olga, of("lot_laboratory", lot), typed)
    assert "No samples are waited for" in olga.get(reverse("laboratory")).content.decode()


def test_a_sending_of_nothing_is_refused(lot: Lot, olga: Client) -> None:
    typed = {"laboratory": "Bay", "portion": "loin"}
    refused(olga, of("lot_send", lot), typed, "wanted", "Tick what the laboratory")


def test_a_trained_person_says_that_no_result_will_come(book: Book, lot: Lot) -> None:
    at = moment("07:20")
    sent = send_samples(book.operator, lot, Sending("Bay", ["Listeria"]), at, at)
    url = reverse("samples_give_up", args=[sent.pk])
    assert as_person(book.operator).post(url, {"reason": "lost"}).status_code == 403
    rene = as_person(book.reviewer)
    refused(rene, url, {"reason": ""}, "reason", "Fill this in")
    page = taken(rene, url, {"reason": "lost in the post"}).content.decode()
    assert "No result will come of Listeria: lost in the post" in page


def entered(book: Book, of_what: object) -> int:
    at = moment("07:20")
    new = NewReport({"salt": ["2.9"], "moisture": ["62.1"]}, "Bay")
    rows = enter_report(book.coordinator, of_what, new, at, at, at)  # type: ignore[arg-type]
    return rows[0].line_id


def test_a_report_is_put_right_and_the_old_figures_stay_in_sight(book: Book, lot: Lot) -> None:
    url = reverse("report_correct", args=[entered(book, lot)])
    rene = as_person(book.reviewer)
    form = rene.get(url).content.decode()
    assert 'value="2.9"' in form
    typed = {"salt-1": "2.4", "moisture-1": "62.1", "reason": "wrong line"}
    refused(rene, url, typed | {"reason": ""}, "reason", "Fill this in")
    refused(rene, url, typed | {"salt-1": "2.9"}, None, "already stand")
    page = taken(rene, url, typed).content.decode()
    assert "3.7209 %" in page
    assert 'class="struck">salt 2.9 %' in page
    assert "wrong line" in page
    assert as_person(book.operator).post(url, typed).status_code == 403


def test_a_quantity_taken_back_says_so_and_what_it_was(book: Book, lot: Lot) -> None:
    url = reverse("report_correct", args=[entered(book, lot)])
    typed = {"salt-1": "2.9", "moisture-1": "", "reason": "not looked for"}
    page = taken(as_person(book.reviewer), url, typed).content.decode()
    assert page.count("taken back") == 2  # and the water-phase salt that followed from it
    assert 'class="struck">moisture 62.1 %' in page


def test_a_report_that_was_put_right_meanwhile_is_looked_at_again(book: Book, lot: Lot) -> None:
    url = reverse("report_correct", args=[entered(book, lot)])
    rene = as_person(book.reviewer)
    seen = rene.get(url).context["form"]["seen"].value()
    typed = {"salt-1": "2.4", "moisture-1": "62.1", "reason": "wrong line", "seen": seen}
    taken(rene, url, typed)
    answer = rene.post(url, typed | {"salt-1": "2.5"})
    assert "already put right" in above(answer)


def test_a_verification_stands_beside_its_plan_with_its_age(book: Book, clock: Clock) -> None:
    clock("07:30")
    entered(book, book.version.plan)
    clock("10:20")
    cora = as_person(book.coordinator)
    page = cora.get(reverse("laboratory")).content.decode()
    assert "3 h" in page
    assert "the plan does not say" in page
    typed = {"laboratory": "Bay", "salt-1": "3.2"}
    taken(cora, reverse("process_laboratory", args=[book.version.plan_id]), typed)
    assert LaboratoryResult.objects.filter(plan=book.version.plan, lot=None).count() == 4
    wanted = SENDING | {"sampled_at": "07:10"}
    taken(cora, reverse("process_send", args=[book.version.plan_id]), wanted)
    assert LaboratorySent.objects.get().plan == book.version.plan


def test_what_is_not_there_is_not_found(book: Book) -> None:
    cora = as_person(book.coordinator)
    for name in ("process_laboratory", "process_send", "report_correct", "samples_give_up"):
        assert cora.get(reverse(name, args=[99_999])).status_code == 404


def test_the_page_asks_the_book_no_more_for_more_reports(book: Book, lot: Lot) -> None:
    cora, at = as_person(book.coordinator), moment("07:20")
    asked = []
    for reports in (2, 6):
        for _ in range(reports):
            put_right = PutRight({"salt": ["2.4"], "moisture": ["62.1"]}, "wrong line")
            correct_report(book.reviewer, entered(book, lot), put_right, at)
            send_samples(book.operator, lot, Sending("Bay", ["Listeria"]), at, at)
        cora.get(reverse("laboratory"))
        with CaptureQueriesContext(connection) as queries:
            cora.get(reverse("laboratory"))
        asked.append(len(queries))
    assert asked[0] == asked[1]


DAY = 86_400_000


@pytest.mark.parametrize(
    ("now", "words"),
    [
        ("2026-04-30 10:00", "2 Jun 2026 08:20"),  # 90 days from 4 March 07:20 −05:00
        ("2026-06-02 08:20", "2 Jun 2026 08:20"),
        ("2026-06-02 08:21", "overdue since"),
    ],
)
def test_the_page_says_when_the_next_verification_is_due(
    book: Book, clock: Clock, monkeypatch: pytest.MonkeyPatch, now: str, words: str
) -> None:
    asked = {"water-phase salt": 90 * DAY, "Listeria": 30 * DAY}
    monkeypatch.setattr("lots.queries.laboratory._asked", lambda plan: asked)
    entered(book, book.version.plan)
    clock(now)
    page = as_person(book.coordinator).get(reverse("laboratory")).content.decode()
    assert words in page
    assert ("overdue" in page) is (words == "overdue since")
    assert "now: every 30 days" in page  # Listeria was never verified
