"""An inspector's visit through two browsers: opened, begun with the code, each thing in two taps, ended."""

from typing import Any
from zipfile import ZipFile

import pytest

from tests.journeys.browser import Visitor
from tests.journeys.looked_at import Fault, faults, told
from tests.journeys.served import Served

pytestmark = pytest.mark.journey

HOUSE_PAGES = (
    "/visits/",
    "/visits/open/",
    "/letter/",
    "/records/period/",
    "/plans/1/points/smoke/",
)
# what is asked for in the first quarter of an hour: the taps from the front page, and what is seen then
ASKED = (
    (("version 1, ",), "Hazard analysis"),
    (("Lots, pages and sealed PDFs",), "Sealed record"),
    (("Lots, pages and sealed PDFs", "TR-"), "Steps and limits"),
    (("Corrective actions",), "newest first"),
    (("Corrective actions", "Deviation "), "What it rested on"),
    (("Review of the records",), "Not reviewed yet"),
    (("People and their training",), "certificate"),
    (("Accuracy checks of instruments",), "Latest check"),
    (("Accuracy checks of instruments", "Thermometer 1"), "Outcome"),
    (("Hot smoking",), "Each step, newest first"),
    (("All records of a period",), "Look what there is"),
)


def open_visit(keeper: Visitor) -> str:
    """Opens a visit to every lot of one plan; the code as the page shows it."""
    keeper.go("/visits/open/")
    keeper.type(inspector="Nora Nobody (invented)", agency="Invented Agency")
    keeper.choose("how", "plan")
    keeper.pick("plan", "Hot-smoked fish, vacuum-packed, kept frozen")
    keeper.press("Open the visit")
    code = keeper.page.inner_text(".one-time-code")
    keeper.follow("It is handed over")
    return str(code)


def tap(nora: Visitor, words: str) -> None:
    """A tap on what says so, a button or a tag or a link, wherever it stands on the page."""
    nora.page.locator(f"main a:has-text('{words}')").first.click()
    nora.page.wait_for_load_state()


def test_an_inspector_sees_everything_asked_for_within_two_taps_and_is_let_go(
    browser: Any, served: Served
) -> None:
    keeper = Visitor(browser.new_context().new_page(), served.base)
    keeper.log_in("petra", served.passwords["petra"])
    found: list[Fault] = []
    for path in HOUSE_PAGES:
        keeper.go(path)
        found += faults(keeper.page, path)
    code = open_visit(keeper)
    house_page = keeper.page.url

    nora = Visitor(browser.new_context().new_page(), served.base)
    nora.go("/in/")
    tap(nora, "Type it here")
    nora.type(visit_code="WRONG")
    nora.press("Begin the visit")
    found += faults(nora.page, "visit_in refused")
    nora.type(visit_code=code.lower())
    nora.press("Begin the visit")
    for taps, seen in ASKED:
        assert len(taps) <= 2
        nora.go("/visit/")
        for words in taps:
            tap(nora, words)
        assert nora.sees(seen), (taps, nora.text()[:400])
        found += faults(nora.page, " → ".join(taps))
    nora.go("/visit/")
    found += faults(nora.page, "front page")

    nora.go("/visit/period/?first=2020-01-01&last=2060-01-01&by=received")
    with nora.page.expect_download() as coming:
        tap(nora, "Fetch it as one ZIP")
    names = ZipFile(coming.value.path()).namelist()
    assert "index.html" in names and any(name.startswith("records/TR-") for name in names)
    assert nora.page.goto(served.base + "/lots/").status == 403

    keeper.page.goto(house_page)
    assert keeper.sees("Lot TR-") and keeper.sees("Download of all records")
    found += faults(keeper.page, "visit_show")
    keeper.press("End it at once")
    assert keeper.sees("ended by the house")
    assert nora.page.goto(served.base + "/visit/lots/").status == 403
    assert nora.sees("The visit is over") and nora.sees("Lot TR-")
    found += faults(nora.page, "over")
    assert nora.page.goto(served.base + "/visit/").url.endswith("/visit/in/")
    assert not found, told(found)
