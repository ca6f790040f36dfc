"""What every view stands on: the clock, who is asking, and what they may do."""

import time
from collections.abc import Callable
from functools import wraps
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_http_methods

from lots.entries.files import Upload
from lots.entries.refusals import NotAllowed
from lots.models.house import Establishment, KeptFile
from lots.models.lot import Lot
from lots.models.people import Person
from lots.queries.house import file_bytes
from lots.queries.lot_page import get_lot

View = Callable[..., HttpResponse]
ANYONE = frozenset({"operator", "reviewer", "coordinator", "inspector", "keeper"})


class HouseRequest(HttpRequest):
    """A request once the middleware has looked at it."""

    person: Person
    rights: set[str]
    pen: Any  # a lots.views.pen.Pen, of whoever is logged in
    house: Establishment
    now_ms: int


def now_ms() -> int:
    """The server's clock in whole seconds, as ms UTC: no smokehouse reads closer than that."""
    return time.time_ns() // 1_000_000_000 * 1000


def open_to(
    *rights: str, methods: tuple[str, ...] = ("GET", "POST"), writes: tuple[str, ...] | None = None
) -> Callable[[View], View]:
    """Who may come to a view: GET needs one of `rights` (none named: anybody logged in); POST needs one
    of `writes`, or of `rights` where that is not given.  The rights table of the tests reads this."""
    reads = frozenset(rights) or ANYONE
    posts = frozenset(writes) if writes is not None else reads

    def wrap(view: View) -> View:
        @require_http_methods([*methods, "HEAD"])
        @wraps(view)
        def inner(request: HouseRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            needed = posts if request.method == "POST" else reads
            if not request.rights & needed:
                raise PermissionDenied(_needs(request, needed))
            try:
                return view(request, *args, **kwargs)
            except NotAllowed as refusal:
                raise PermissionDenied(str(refusal)) from refusal

        inner.rights_table = {  # type: ignore[attr-defined]
            method: (posts if method == "POST" else reads) for method in methods
        }
        return inner

    return wrap


def _needs(request: HouseRequest, rights: frozenset[str]) -> str:
    """Why a page stays shut; a pen opened by PIN writes readings and nothing else."""
    if request.pen.by == "pin":
        return "The pen was opened by PIN, for logging only. Open it with your password for this."
    return f"This needs the right of {' or '.join(sorted(rights))}."


def open_door(view: View) -> View:
    """Marks a view that needs no log-in."""
    view.rights_table = "anyone"  # type: ignore[attr-defined]
    return view


def lot_or_404(code: str) -> Lot:
    """The lot of this code."""
    lot = get_lot(code)
    if lot is None:
        raise Http404
    return lot


def by_of(request: HouseRequest) -> str:
    """How an entry made on a page came, where the pen was not opened with the password."""
    return "PIN" if request.pen.by == "pin" else ""


def zone_of(request: HouseRequest) -> ZoneInfo:
    return ZoneInfo(request.house.zone)


def upload_of(request: HttpRequest, name: str) -> Upload | None:
    """The uploaded file of a field, if one was chosen."""
    file = request.FILES.get(name)
    return Upload(file.name or "file", file.read()) if file else None


def file_answer(kept: KeptFile, kind: str, inline: bool = False) -> HttpResponse:
    """A kept file under its name, never as a page of this site."""
    response = HttpResponse(file_bytes(kept), content_type=kind)
    name = "".join(c if c.isalnum() or c in ".-_" else "_" for c in kept.name)
    response["Content-Disposition"] = f'{"inline" if inline else "attachment"}; filename="{name}"'
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response


def password_is_right(request: HouseRequest, password: str) -> bool:
    """Whether it is the person's own password; asked again for each signing, before the transaction.
    Failures count towards the log-in's throttle."""
    from django.contrib.auth import authenticate

    username = request.user.get_username()
    user = authenticate(request, username=username, password=password)
    return user is not None and user.pk == request.user.pk
