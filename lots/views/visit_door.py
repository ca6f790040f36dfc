"""The door of an inspector's visit: a session that a one-time code opened, and nothing beside it."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from lots.entries.visit import holds_key, see
from lots.models.visit import Visit
from lots.queries.house import rules
from lots.queries.visit import get_visit, is_open, seen_in
from lots.views.base import HouseRequest, View

VISIT, KEY, USED = "visit", "visit_key", "visit_used_at"
NOTED_EACH_MS: Final = 60_000
# All that a visit's session reaches; every other address answers 403.
PAGES: Final = frozenset(
    {
        "visit_in", "visit_front", "visit_lots", "visit_lot", "visit_record", "visit_plan",
        "visit_point", "visit_people", "visit_instruments", "visit_instrument", "visit_deviations",
        "visit_deviation", "visit_reviews", "visit_period", "visit_zip", "visit_close",
    }
)  # fmt: skip


class VisitRequest(HouseRequest):
    """A request of an inspector in a visit."""

    visit: Visit


def begin_session(request: HouseRequest, visit: Visit, key: str) -> None:
    """From now on this browser is the visit's; whoever was logged in on it is logged out."""
    request.session.flush()
    request.session[VISIT], request.session[KEY] = visit.pk, key
    request.session[USED] = request.now_ms
    request.session.set_expiry(max(1, (visit.ends_at - request.now_ms) // 1000))


def keep_in(request: HouseRequest) -> HttpResponse | None:
    """Sets `request.visit` for a visit's session; answers in place of any page that is not the visit's,
    and of every page once the visit is over.  None: the page may go on."""
    number = request.session.get(VISIT) if hasattr(request, "session") else None
    if number is None:
        return None
    visit = get_visit(number)
    if visit is None or not is_open(visit, request.now_ms):
        return _over(request, visit)
    if not holds_key(visit, request.session.get(KEY, "")):
        return _shut(
            request, "Another code has been given out for this visit: this one is used up."
        )
    idle = abs(request.now_ms - request.session.get(USED, 0))  # a clock set back opens nothing
    if idle > rules().visit.idle_ms:
        return _shut(request, "Nobody has used this page for a while, so it was closed.")
    if idle >= NOTED_EACH_MS:
        request.session[USED] = request.now_ms
    request.visit = visit  # type: ignore[attr-defined]
    match = request.resolver_match
    if match is None or match.url_name not in PAGES:
        return render(request, "visit/not_here.html", {"visit": visit}, status=403)
    return None


def _over(request: HttpRequest, visit: Visit | None) -> HttpResponse:
    """The last page of a visit: what was looked at; its session ends with it."""
    request.session.flush()
    seen = seen_in(visit) if visit else []
    return render(request, "visit/over.html", {"visit": visit, "seen": seen}, status=403)


def _shut(request: HttpRequest, why: str) -> HttpResponse:
    request.session.flush()
    return render(request, "visit/shut.html", {"why": why}, status=403)


def in_visit(*methods: str) -> Callable[[View], View]:
    """A page of the visit: GET alone if no methods are named.  Whoever has no visit is asked for the
    code; no page is kept by the browser, so that none is left to go back to."""

    def wrap(view: View) -> View:
        @never_cache
        @require_http_methods([*(methods or ("GET",)), "HEAD"])
        @wraps(view)
        def inner(request: HouseRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if getattr(request, "visit", None) is None:
                return redirect("visit_in")
            return view(request, *args, **kwargs)

        inner.rights_table = "visit"  # type: ignore[attr-defined]
        return inner

    return wrap


def show_page(
    request: VisitRequest, what: str, template: str, context: dict[str, Any] | None = None
) -> HttpResponse:
    """A page of the visit, shown only once the book says that it was looked at."""
    answer = render(request, template, {"visit": request.visit, **(context or {})})
    see(request.visit, what, request.path, request.now_ms)
    return answer
