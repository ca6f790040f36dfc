"""What every page shows: the house, the person, the menu, the demo's mark."""

from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from lots.models.book import BookLine
from lots.queries.first_steps import first_steps_left
from lots.queries.house import rules
from lots.queries.keeping import trouble

MENU = (
    ("Shift", "shift", False),
    ("Lots", "lots", False),
    ("Log", "reading_choose", False),
    ("Deviations", "deviations", False),
    ("Review", "review", False),
    ("Records", "records", True),
    ("Batches of brine", "batches", True),
    ("Plans", "plans", True),
    ("Places", "places", True),
    ("Instruments", "instruments", True),
    ("Logger files", "logger_upload", True),
    ("Laboratory", "laboratory", True),
    ("Sums", "sums", True),
    ("Trace", "trace", True),
    ("Sheets to print", "sheets", True),
    ("My PIN", "pin_set", True),
    ("People", "people", True),
    ("Keeping the book", "keeping", True),
    ("Visits", "visits", True),
    ("Help", "help", True),
)
RESERVED = {"keeping": "keeper"}  # pages that only who holds the right is led to
ANSWER_FOR_IT = frozenset({"keeper", "reviewer"})  # who must see that the book is not right


def _item(request: HttpRequest, label: str, name: str, more: bool) -> dict[str, Any] | None:
    if RESERVED.get(name, "") not in ("", *getattr(request, "rights", ())):
        return None
    try:
        url = reverse(name)
    except NoReverseMatch:
        return None
    match = getattr(request.resolver_match, "url_name", None)
    return {"label": label, "url": url, "current": match == name, "more": more}


def house(request: HttpRequest) -> dict[str, Any]:
    """The context of every page; before a house is founded there is little of it."""
    establishment = getattr(request, "house", None)
    person = getattr(request, "person", None)
    if establishment is None:
        return {"establishment": None, "person": None, "nav": []}
    rights = getattr(request, "rights", set())
    items = [_item(request, *entry) for entry in MENU] if person else []
    return {
        "establishment": establishment,
        "person": person,
        "rights": rights,
        "nav": [item for item in items if item],
        "demo": establishment.demo,
        "demo_stale": establishment.demo and _stale(request),
        "trouble": list(trouble()) if rights & ANSWER_FOR_IT else [],
        "now_ms": getattr(request, "now_ms", 0),
        # called by the few pages that show it, and by no other
        "first_steps_left": lambda: first_steps_left(person) if person else 0,
    }


def _stale(request: HttpRequest) -> bool:
    newest = BookLine.objects.order_by("-number").values_list("at", flat=True).first() or 0
    return getattr(request, "now_ms", 0) - newest > rules().demo_stale_ms
