"""Who is asking, under which house; an empty house leads to its founding."""

import logging
import secrets
from collections.abc import Callable
from typing import Any, cast

from django.core.exceptions import BadRequest, PermissionDenied, SuspiciousOperation
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect

from lots.queries.house import establishment, rights_of
from lots.views.base import HouseRequest, now_ms
from lots.views.on_paper import warn_of_unprintable
from lots.views.pen import IN_SIGHT, keep_out, note_use, pen_of_session
from lots.views.visit_door import keep_in

log = logging.getLogger("lots")
OPEN_BEFORE_FOUNDING = (
    "/found/", "/healthz", "/static/", "/tablet/", "/sw.js", "/manifest.webmanifest"
)  # fmt: skip


class HouseMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path == "/healthz":  # must answer even where the book cannot be read
            return self.get_response(request)
        asked = cast(HouseRequest, request)
        asked.now_ms = now_ms()
        house = establishment()
        if house is None:
            if not request.path.startswith(OPEN_BEFORE_FOUNDING):
                return redirect("found")
            return self.get_response(request)
        asked.house = house
        user: Any = getattr(request, "user", None)
        if user is not None and user.is_authenticated:
            asked.person = user.person
            asked.rights = rights_of(user.person)
            asked.pen = pen_of_session(asked, user.person)
            if asked.pen.by == "pin":
                asked.rights &= {"operator"}
        else:
            asked.rights = set()
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Any, args: Any, kwargs: Any
    ) -> HttpResponse | None:
        """Keeps everything but what is in sight behind a closed pen, and a visit in its pages."""
        asked = cast(HouseRequest, request)
        if hasattr(asked, "house") and (instead := keep_in(asked)) is not None:
            return instead
        pen = getattr(asked, "pen", None)
        if pen is None:
            return None
        match = request.resolver_match
        if not pen.open and (match is None or match.url_name not in IN_SIGHT):
            return keep_out(asked)
        note_use(asked)
        warn_of_unprintable(asked)
        return None

    def process_exception(self, request: HttpRequest, error: Exception) -> None:
        """Gives the failure a number that stands on the page and in the log."""
        if isinstance(error, Http404 | PermissionDenied | BadRequest | SuspiciousOperation):
            return
        number = secrets.token_hex(4)
        request.error_number = number  # type: ignore[attr-defined]
        log.error("error %s at %s %s: %r", number, request.method, request.path, error)
