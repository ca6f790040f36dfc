"""From the open lot to the checked PDF, by hand, through chromium; without script, by the server's pages."""

import subprocess
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from pytest_django.live_server_helper import LiveServer

from lots.models.deviation import Deviation
from lots.models.lot import Lot
from lots.models.reading import Reading
from tests.journeys.browser import Clock, Visitor
from tests.make import PASSWORD, make_book, moment

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


class Shift:
    """The operator's and the reviewer's windows, and the clock on the wall."""

    def __init__(self, browser: Any, base: str, clock: Clock) -> None:
        self.clock = clock
        self.at("06:50")
        context = browser.new_context(java_script_enabled=False)
        self.operator = Visitor(context.new_page(), base)
        self.operator.log_in("olga", PASSWORD)
        self.reviewer = Visitor(browser.new_context(accept_downloads=True).new_page(), base)
        self.reviewer.log_in("rene", PASSWORD)

    def at(self, text: str) -> None:
        self.clock.ms = moment(text)

    def open_lot(
        self, code: str, supplier_lot: str, species: str = "TRR", origin: str = "farmed"
    ) -> None:
        one = self.operator
        one.go("/lots/open/")
        one.follow("This plan")
        one.type(
            code=code, supplier="Invented Springs Farm", supplier_lot=supplier_lot, quantity="20 kg"
        )
        one.choose("species", species)
        one.choose("origin", origin)
        one.put("read_fish 1", "36.4")
        for radio in one.page.locator("main [name^='look_'][value='yes']").all():
            radio.check(force=True)
        one.press("Open the lot")
        assert one.sees(f"Lot {code} is open")

    def start(self, step: str, place: str, *codes: str, kg: str = "20") -> None:
        one = self.operator
        self.fill_start(step, place, *codes, kg=kg)
        one.press("Start the load")
        assert one.sees("has begun"), one.text()

    def fill_start(self, step: str, place: str, *codes: str, kg: str = "20") -> None:
        """The form of a load's start, filled and not sent."""
        one = self.operator
        one.go("/loads/start/")
        link = one.page.locator(f"main a[href*='%7C{step}']").first
        if not link.is_visible():
            one.page.locator("main summary:has-text('Another step')").click()
        link.click()
        one.pick("place", place)
        for code in codes:
            one.put(f"lot_{Lot.objects.get(code=code).pk}", f"{kg} kg")
        if step == "brine":
            one.page.locator("main [name=declared][value=short]").check(force=True)

    def end(self, place: str) -> None:
        one = self.operator
        one.go("/")
        one.follow(place)
        one.follow("End the load")
        one.press("End the load")
        assert one.sees("has ended"), one.text()

    def read_place(self, place: str, figure: str) -> None:
        one = self.operator
        one.go("/log/")
        one.page.locator(f"main a:text-is('{place}')").click()
        one.put("read_", figure)
        one.press("Store the reading")

    def read_fish(self, place: str, *figures: str) -> None:
        one = self.operator
        one.go("/")
        one.follow(place)
        one.follow("Read the fish")
        for number, figure in enumerate(figures, 1):
            one.put(f"read_fish {number}", figure)
        one.press("Store the reading")
        assert one.sees("Stored"), one.text()

    def look_for(self, place: str) -> None:
        one = self.operator
        one.go("/")
        one.follow(place)
        one.follow("Look for")
        for radio in one.page.locator("main [name^='look_'][value='yes']").all():
            radio.check(force=True)
        one.press("Store what was seen")
        assert one.sees("in the book"), one.text()


def work_the_day(shift: Shift) -> None:
    shift.at("07:00")
    shift.open_lot("T-1", "ISF-118")
    shift.open_lot("T-2", "ISF-119")
    shift.at("07:30")
    shift.start("brine", "Brine tank 1", "T-1", "T-2")
    shift.at("07:35")
    shift.read_place("Brine tank 1", "44.0")
    shift.at("09:15")
    shift.read_place("Brine tank 1", "43.2")
    shift.at("10:30")
    shift.end("Brine tank 1")


def hold_too_warm(shift: Shift) -> None:
    """Three readings of the cooler, of which one breaks its limit of 40 °F."""
    shift.at("10:35")
    shift.start("hold", "Cooler", "T-1", "T-2")
    shift.at("10:40")
    shift.read_place("Cooler", "37.9")
    assert shift.operator.sees("within limits")
    shift.at("11:00")
    shift.read_place("Cooler", "45.2")
    assert shift.operator.sees("DEVIATION")
    assert shift.operator.sees("What the plan says to do")
    shift.at("11:20")
    shift.read_place("Cooler", "38.0")
    shift.at("11:40")
    shift.end("Cooler")


def act_on(shift: Shift, deviation: Deviation) -> None:
    one = shift.operator
    one.go(f"/deviations/{deviation.pk}/")
    one.follow("Write down the action")
    one.choose("plan_followed", "yes")
    one.type(
        fish="Moved to the other cooler under ice",
        control_restored="Door seal pressed back, 38.0 °F at 11:20",
        cause="The door stood open while the fish was carried in",
    )
    one.press("Keep the action")


def decide(shift: Shift, deviation: Deviation, kind: str) -> None:
    one = shift.reviewer
    one.go(f"/deviations/{deviation.pk}/decide/")
    one.choose("kind", kind)
    one.type(grams="20 kg", reason="Above 40 °F for less than forty minutes in all")
    if kind == "release":
        one.put(
            "acceptability_review",
            "Readings before and after show the excursion under 40 min; surface only. R. Reviewer",
        )
    one.press("Keep the decision")


def smoke_to_freezer(shift: Shift) -> None:
    smoke_and_cool(shift)
    pack_and_freeze(shift)


def smoke_and_cool(shift: Shift) -> None:
    shift.at("11:50")
    shift.start("smoke", "Smokehouse 1", "T-1", "T-2")
    for at, *figures in (
        ("11:55", "41.0", "41.2", "40.6"), ("13:30", "118.2", "120.0", "116.9"),
        ("14:30", "147.5", "148.8", "147.2"), ("14:45", "149.9", "150.3", "149.0"),
        ("15:00", "151.2", "151.9", "150.8"),
    ):  # fmt: skip
        shift.at(at)
        shift.read_fish("Smokehouse 1", *figures)
    shift.at("15:05")
    shift.end("Smokehouse 1")
    shift.at("15:10")
    shift.start("cool", "Cooler", "T-1", "T-2")
    for at, figure in (
        ("15:12", "145.0"),
        ("16:00", "92.2"),
        ("16:50", "64.8"),
        ("17:40", "47.1"),
        ("18:30", "38.6"),
    ):
        shift.at(at)
        shift.read_fish("Cooler", figure, figure, figure)
    shift.at("18:35")
    shift.end("Cooler")


def pack_and_freeze(shift: Shift) -> None:
    shift.start("pack", "Table", "T-1", "T-2", kg="17")
    shift.at("18:50")
    shift.look_for("Table")
    shift.at("19:10")
    shift.end("Table")
    shift.start("freeze", "Freezer", "T-1", "T-2", kg="17")
    shift.at("22:30")
    shift.read_place("Freezer", "-4.8")
    shift.look_for("Freezer")
    shift.end("Freezer")


def finish(shift: Shift, code: str) -> None:
    one = shift.operator
    one.go(f"/lots/{code}/finish/")
    one.type(packed="17 kg", packs="40")
    one.press("Finish the lot")
    assert one.sees(f"Lot {code} is finished"), one.text()


def test_a_lot_goes_from_the_dock_to_a_checked_record(
    live_server: LiveServer, browser: Any, clock: Clock, tmp_path: Path
) -> None:
    make_book()
    shift = Shift(browser, live_server.url, clock)
    work_the_day(shift)
    hold_too_warm(shift)
    first, second = Deviation.objects.order_by("id")
    act_on(shift, first)
    act_on(shift, second)
    decide(shift, first, "release")
    decide(shift, second, "hold")
    smoke_to_freezer(shift)
    finish(shift, first.lot.code)
    assert Reading.objects.count() > 20

    shift.at("22:40")
    one = shift.reviewer
    one.go("/review/")
    for tick in one.page.locator("main [name='lot']").all():
        tick.check(force=True)
    one.put("sign-password", PASSWORD)
    one.press("Sign the ticked lots")
    assert one.sees("reviewed"), one.text()

    one.go(f"/lots/{first.lot.code}/release/")
    one.put("password", PASSWORD)
    one.press("Sign and release")
    assert one.sees("released"), one.text()
    one.go(f"/lots/{second.lot.code}/release/")
    assert one.sees("open")

    one.go(f"/lots/{first.lot.code}/")
    one.go(f"/lots/{first.lot.code}/record/")
    one.put("password", PASSWORD)
    one.press("Seal and issue")
    with one.page.expect_download() as arrived:
        one.page.locator("main a:has-text('Record, revision 1')").click()
    pdf = tmp_path / "record.pdf"
    arrived.value.save_as(pdf)
    check_the_file(pdf)


def check_the_file(pdf: Path) -> None:
    def exit_code(file: Path) -> int:
        with pytest.raises(SystemExit) as stop:
            call_command("check_record", str(file))
        return int(stop.value.code or 0)

    assert exit_code(pdf) == 0
    data = bytearray(pdf.read_bytes())
    data[len(data) // 3] ^= 1
    altered = pdf.with_name("altered.pdf")
    altered.write_bytes(data)
    assert exit_code(altered) == 1
    said = subprocess.run(["pdfsig", str(pdf)], capture_output=True, text=True, check=False).stdout
    assert "Signature is Valid" in said
    assert "Total document signed" in said
