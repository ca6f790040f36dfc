"""Every page of a house at work, by day and by night, upright and lengthwise: what axe finds, what scrolls
sideways, what is too small for a glove."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import Resolver404, resolve

from tests.journeys.browser import Visitor
from tests.journeys.looked_at import Fault, faults, told
from tests.journeys.served import Served

pytestmark = pytest.mark.journey

PEOPLE = ("olive", "hazel", "petra", "percy")
FILES = {"record_download", "kept_file", "tablet_ca", "beside_data", "worker", "manifest"}
LINKS = "() => [...document.querySelectorAll('a[href]')].map(a => a.href.split('#')[0])"


def name_of(base: str, address: str) -> str | None:
    """The name of one of our pages, or None of anything else."""
    if not address.startswith(base + "/"):
        return None
    try:
        return resolve(address.removeprefix(base).split("?")[0]).url_name
    except Resolver404:
        return None


def walk(visitor: Visitor, seen: set[str]) -> Iterator[str]:
    """Goes to one page of each name that links lead to, and stays there while the caller looks."""
    ahead, tried = [visitor.base + "/"], set()
    while ahead:
        address = ahead.pop(0)
        name = name_of(visitor.base, address)
        if name is None or name in seen | FILES or address in tried:
            continue
        tried.add(address)
        answer = visitor.page.goto(address)
        if answer is None or answer.status != 200:
            continue
        seen.add(name)
        ahead += visitor.page.evaluate(LINKS)
        yield name


def test_every_page_that_links_lead_to(browser: Any, served: Served) -> None:
    seen: set[str] = set()
    found: list[Fault] = []
    for who in PEOPLE:
        visitor = Visitor(browser.new_context().new_page(), served.base)
        visitor.log_in(who, served.passwords[who])
        for name in walk(visitor, seen):
            found += faults(visitor.page, name)
        visitor.page.context.close()
    assert len(seen) >= 40, sorted(seen)
    assert not found, told(found)
