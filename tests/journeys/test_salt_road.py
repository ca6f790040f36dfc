"""From the brine to the released pack, through chromium: a batch weighed and read, what it can do seen
before the fish goes in, pieces, weights, the mass balance; and a cured lot held for its laboratory."""

from typing import Any

import pytest
from pytest_django.live_server_helper import LiveServer

from lots.entries.house import open_place
from lots.models.book import BookLine
from lots.models.deviation import Deviation
from lots.models.lot import BrineBatch, Load, Lot
from lots.models.review import Release
from lots.queries.batches import batch_of
from tests.journeys.browser import Clock
from tests.journeys.test_whole_road import Shift, finish, pack_and_freeze, smoke_and_cool
from tests.make import PASSWORD, make_book, moment

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

LABORATORY = "Invented Bay Laboratory"


def make_batch(shift: Shift, code: str, *parts: tuple[int, str]) -> None:
    """A brine by weight, in kilograms: (row, amount)."""
    one = shift.operator
    one.go("/batches/make/")
    one.type(code=code, as_read="40")
    for row, amount in parts:
        one.put(f"amount_{row}", amount)
        one.page.select_option(f"main [name='unit_{row}']", value="kg")
        if row == 4:
            one.put("nitrite_4", "6.25 %")
    one.press("Keep the batch")
    assert BrineBatch.objects.filter(code=code).exists(), one.text()


def read_strength(shift: Shift, code: str, figure: str) -> None:
    one = shift.operator
    one.go(f"/batches/{BrineBatch.objects.get(code=code).pk}/check/")
    one.choose("means", "salometer")
    one.type(as_read=figure, brine_as_read="40")
    one.page.locator("main form button.button-go").click()
    one.page.wait_for_load_state()
    assert BrineBatch.objects.get(code=code).readings.count() == 1, one.text()


def ask_brine(shift: Shift, place: str, lot: str, batch: str) -> None:
    """The start of a brining in a batch, sent once: the page then says what the batch can do."""
    one = shift.operator
    shift.fill_start("brine", place, lot)
    one.page.select_option(
        "main [name=brine_batch]", value=str(BrineBatch.objects.get(code=batch).pk)
    )
    one.press("Start the load")


def brine(shift: Shift, place: str, lot: str, batch: str) -> str:
    """Starts the brining once its words were seen; the words."""
    one = shift.operator
    ask_brine(shift, place, lot, batch)
    assert one.sees("Before the fish goes in"), one.text()
    assert not Load.objects.filter(step_kind="brine", parts__lot__code=lot).exists()
    words = one.text()
    one.page.locator("main [name=seen]").check(force=True)
    one.press("Start the load")
    assert one.sees("has begun"), one.text()
    return words


def measure_pieces(shift: Shift, lot: str, *mm: str) -> None:
    one = shift.operator
    one.go(f"/lots/{lot}/pieces/")
    one.choose("thickness_unit", "mm")
    for number, figure in enumerate(mm, 1):
        one.put(f"thickness-{number}", figure)
    one.press("Store the sample")
    assert one.sees("The sample is in the book"), one.text()


def weigh(shift: Shift, lot: str, stage: str, kg: str) -> None:
    one = shift.operator
    one.go(f"/lots/{lot}/weights/")
    one.choose("stage", stage)
    one.put("weight", kg)
    one.press("Store the weight")
    assert one.sees("The weight is in the book"), one.text()


def brine_and_hold(shift: Shift) -> None:
    for at, figure in (("07:35", "44.0"), ("09:15", "43.2")):
        shift.at(at)
        for tank in ("Brine tank 1", "Brine tank 2"):
            shift.read_place(tank, figure)
    shift.at("10:30")
    for tank in ("Brine tank 1", "Brine tank 2"):
        shift.end(tank)
    weigh(shift, "T-1", "brined", "18.8")
    shift.at("10:35")
    shift.start("hold", "Cooler", "T-1", "T-2")
    shift.at("10:40")
    shift.read_place("Cooler", "37.2")
    shift.at("11:40")
    shift.end("Cooler")


def send_samples(shift: Shift, lot: str) -> None:
    one = shift.operator
    one.go(f"/lots/{lot}/laboratory/send/")
    one.choose("wanted", "sodium nitrite")
    one.type(laboratory=LABORATORY, portion="loin")
    one.press("Keep that they were sent")
    assert one.sees("That samples were sent is in the book"), one.text()


def review_all(shift: Shift) -> None:
    one = shift.reviewer
    one.go("/review/")
    for tick in one.page.locator("main [name='lot']").all():
        tick.check(force=True)
    one.put("sign-password", PASSWORD)
    one.press("Sign the ticked lots")
    assert one.sees("reviewed"), one.text()


def release(shift: Shift, lot: str) -> None:
    one = shift.reviewer
    one.go(f"/lots/{lot}/release/")
    one.put("password", PASSWORD)
    one.press("Sign and release")
    assert one.sees("released"), one.text()


def enter_report(shift: Shift, lot: str, *ppm: str) -> None:
    one = shift.operator
    sent = Lot.objects.get(code=lot).laboratory_sent.get()
    one.go(f"/lots/{lot}/laboratory/?sent={sent.pk}")
    for number, figure in enumerate(ppm, 1):
        one.put(f"sodium-nitrite-{number}", figure)
    one.press("Store the report")
    assert one.sees("The report is in the book"), one.text()


def test_a_brined_lot_is_released_frozen_and_a_cured_one_waits_for_its_laboratory(
    live_server: LiveServer, browser: Any, clock: Clock
) -> None:
    book = make_book()
    room = book.place("Brine room")
    open_place(book.keeper, "Brine tank 2", "brine tank", room, moment("06:00"))
    shift = Shift(browser, live_server.url, clock)
    shift.at("07:00")
    shift.open_lot("T-1", "ISF-118")
    shift.open_lot("T-2", "NDL-7", "SAB", "wild")
    make_batch(shift, "B-1", (1, "32"), (2, "8"))
    # 144 g of a curing salt of 6.25 % nitrite on 40 kg of brine and 20 kg of fish: 9 g on 60 kg, 150 ppm
    make_batch(shift, "B-2", (1, "33.4"), (2, "6.456"), (4, "0.144"))
    shift.at("07:10")
    read_strength(shift, "B-1", "77")
    measure_pieces(shift, "T-1", "22", "25", "24")
    weigh(shift, "T-1", "trimmed", "19")

    shift.at("07:20")
    lines = BookLine.objects.count()
    ask_brine(shift, "Brine tank 1", "T-1", "B-2")
    assert shift.operator.sees("Refused")
    assert shift.operator.sees("21 CFR 172.175"), shift.operator.text()
    assert BookLine.objects.count() == lines

    shift.at("07:30")
    brine(shift, "Brine tank 1", "T-1", "B-1")
    words = brine(shift, "Brine tank 2", "T-2", "B-2")
    assert "150 ppm" in words
    assert "planning figure" in words
    named = {load.place.name: batch_of(load) for load in Load.objects.filter(step_kind="brine")}
    assert {place: row.code for place, row in named.items() if row} == {
        "Brine tank 1": "B-1",
        "Brine tank 2": "B-2",
    }
    brine_and_hold(shift)
    smoke_and_cool(shift)
    weigh(shift, "T-1", "smoked", "17.5")
    pack_and_freeze(shift)
    finish(shift, "T-1")
    finish(shift, "T-2")
    send_samples(shift, "T-2")
    assert not Deviation.objects.exists()

    mass_balance_of(shift, "T-1")
    shift.at("22:40")
    review_all(shift)
    release(shift, "T-1")
    shift.reviewer.go("/lots/T-2/release/")
    assert shift.reviewer.sees("sodium nitrite"), shift.reviewer.text()
    assert shift.reviewer.page.locator("main button:has-text('Sign and release')").count() == 0
    assert [one.lot.code for one in Release.objects.all()] == ["T-1"]

    shift.at("2026-03-07 10:00")
    enter_report(shift, "T-2", "62", "58", "71")
    shift.at("2026-03-07 10:10")
    review_all(shift)
    release(shift, "T-2")
    assert not Deviation.objects.exists()


def mass_balance_of(shift: Shift, lot: str) -> None:
    one = shift.operator
    one.go(f"/lots/{lot}/weights/")
    balance = one.page.locator("section:has(h2:text-is('Mass balance'))").inner_text()
    assert "20 kg" in balance, balance
    assert "17 kg" in balance, balance
    lost = one.page.locator("dt:has-text('Lost in the work') + dd").inner_text()
    assert lost.startswith("3 kg"), lost
