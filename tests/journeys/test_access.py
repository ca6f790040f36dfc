"""Every page of a house, empty and at work, refused and accepted, by day and by night, upright and
lengthwise: what axe finds, what scrolls sideways, what is too small for a glove."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import Resolver404, resolve
from pytest_django.live_server_helper import LiveServer

from tests.journeys.browser import Visitor
from tests.journeys.looked_at import Fault, faults, told
from tests.journeys.served import Served
from tests.make import PASSWORD, make_book

pytestmark = pytest.mark.journey

PEOPLE = ("olive", "hazel", "petra", "percy")
FILES = {
    "record_download", "kept_file", "tablet_ca", "beside_data", "worker", "manifest", "records_zip",
}  # fmt: skip
LINKS = """() => [...document.querySelectorAll('a[href]')]
    .map(a => new URL(a.getAttribute('href'), location.href).href.split('#')[0])"""
FORMS = "main form[method=post]"


def name_of(base: str, address: str) -> str | None:
    """The name of one of our pages, or None of anything else."""
    if not address.startswith(base + "/"):
        return None
    try:
        return resolve(address.removeprefix(base).split("?")[0]).url_name
    except Resolver404:
        return None


def walk(visitor: Visitor, seen: dict[str, str]) -> Iterator[str]:
    """Goes to one page of each name that links lead to, and stays there while the caller looks."""
    ahead, tried = [visitor.base + "/"], set()
    while ahead:
        address = ahead.pop(0)
        name = name_of(visitor.base, address)
        if name is None or name in seen or name in FILES or address in tried:
            continue
        tried.add(address)
        answer = visitor.page.goto(address)
        if answer is None or answer.status != 200:
            continue
        seen[name] = address
        ahead += visitor.page.evaluate(LINKS)
        yield name


def refuse(visitor: Visitor, address: str) -> Iterator[int]:
    """Sends each form of a page with nothing typed; stays where the page says what is wrong."""
    visitor.page.goto(address)
    for number in range(visitor.page.locator(FORMS).count()):
        visitor.page.goto(address)
        form = visitor.page.locator(FORMS).nth(number)
        form.evaluate(
            "form => { for (const one of form.querySelectorAll('input[type=text], textarea, select'))"
            " { one.removeAttribute('required'); one.value = ''; } }"
        )
        with visitor.page.expect_navigation():
            form.evaluate("form => form.submit()")
        if visitor.page.locator("#refused, .field-wrong").count():
            yield number


def test_every_page_at_work_and_every_form_refused(browser: Any, served: Served) -> None:
    seen: dict[str, str] = {}
    found: list[Fault] = []
    refused: set[str] = set()
    for who in PEOPLE:
        visitor = Visitor(browser.new_context().new_page(), served.base)
        visitor.log_in(who, served.passwords[who])
        own: dict[str, str] = {}
        for name in walk(visitor, seen):
            own[name] = seen[name]
            found += faults(visitor.page, name)
        for name, address in own.items():
            for number in refuse(visitor, address):
                refused.add(name)
                found += faults(visitor.page, f"{name}, form {number} refused")
        visitor.page.context.close()
    assert len(seen) >= 40, sorted(seen)
    assert len(refused) >= 18, sorted(refused)
    assert not found, told(found)


@pytest.mark.django_db(transaction=True)
def test_every_page_of_an_empty_house(browser: Any, live_server: LiveServer) -> None:
    make_book()
    seen: dict[str, str] = {}
    found: list[Fault] = []
    for who in ("olga", "cora", "kim"):
        visitor = Visitor(browser.new_context().new_page(), live_server.url)
        visitor.log_in(who, PASSWORD)
        for name in walk(visitor, seen):
            found += faults(visitor.page, f"empty {name}")
        visitor.page.context.close()
    assert len(seen) >= 20, sorted(seen)
    assert not found, told(found)
