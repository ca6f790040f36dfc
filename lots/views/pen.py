"""The pen: who may write from this session.  It closes by itself when nobody has used the page for a
while; what is in sight stays in sight, and nothing typed is lost."""

import re
from dataclasses import dataclass
from typing import Any, Final

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache

from lots.entries.pins import LONGEST, SHORTEST, MustWait, WrongPin, check_pin, clear_pin, has_pin
from lots.entries.pins import set_pin as choose_pin
from lots.entries.refusals import Refused
from lots.forms.fields import refuse
from lots.forms.people import OpenPenForm, PinForm
from lots.models.people import Person, Right
from lots.queries.house import rules
from lots.views.base import HouseRequest, open_to, password_is_right
from lots.views.log_in import onward

NOTED_EACH_MS: Final = 60_000  # how often a session's use is written down
# What stays in sight while the pen is closed.  The entries of a tablet prove themselves, one by one.
IN_SIGHT: Final = frozenset(
    {
        "shift", "beside_data", "entry_take", "help", "tablet_help", "tablet_ca", "worker",
        "manifest", "log_in", "log_out", "found", "invited", "healthz", "pen_open",
    }
)  # fmt: skip
BY_ITSELF: Final = frozenset({"worker", "manifest"})  # a browser fetches these when it likes
SECRET: Final = ("password", *settings.AXES_SENSITIVE_PARAMETERS)
CARRIED: Final = "pen-secret"  # the field that a carried form is opened with
_DIGITS: Final = re.compile(rf"[0-9]{{{SHORTEST},{LONGEST}}}")


@dataclass(frozen=True, slots=True)
class Pen:
    """Whether it is open, whose it is, how it was opened, and when it closes if nothing is done."""

    open: bool
    person: Person
    by: str
    locks_at: int
    by_pin_too: bool  # the PIN is enough to open it


def lock_after_ms() -> int:
    return rules().lock_after_ms


def password_after_ms() -> int:
    return rules().password_after_ms


def pen_of_session(request: HouseRequest, person: Person) -> Pen:
    """The session's pen at this moment.  A session just begun by a log-in has it open."""
    session = request.session
    seen = session.get("seen_at")
    if seen is None:
        session["seen_at"] = seen = request.now_ms
    idle = abs(request.now_ms - seen)  # a clock set back opens nothing
    is_open = idle <= lock_after_ms() and not session.get("pen_closed")
    return Pen(
        is_open,
        person,
        session.get("pen_by", "password"),
        seen + lock_after_ms(),
        idle <= max(password_after_ms(), lock_after_ms()),
    )


def note_use(request: HouseRequest) -> None:
    """A person's own request keeps the pen open; what the page asks by itself does not."""
    match = request.resolver_match
    if match is not None and match.url_name in BY_ITSELF:
        return
    if not request.pen.open or request.headers.get("X-Beside") == "poll":
        return
    if abs(request.now_ms - request.session["seen_at"]) >= NOTED_EACH_MS:
        request.session["seen_at"] = request.now_ms


def keep_out(request: HouseRequest) -> HttpResponse | None:
    """What stands instead of a page while the pen is closed; None where the page may go on."""
    if request.method in ("GET", "HEAD"):
        return redirect(f"{reverse('pen_open')}?{_query(request)}")
    secret = request.POST.get(CARRIED)
    form = OpenPenForm({"secret": secret}) if secret is not None else OpenPenForm()
    if secret is not None and form.is_valid() and _opened(request, form):
        plain = request.POST.copy()
        del plain[CARRIED]
        request.POST = plain  # type: ignore[assignment]
        return None
    return _carried(request, form)


def _query(request: HttpRequest) -> str:
    from urllib.parse import urlencode

    return urlencode({"next": request.get_full_path()})


def _carried(request: HouseRequest, form: OpenPenForm) -> HttpResponse:
    """Asks for the password with everything that was typed in the same form.  Files cannot be carried:
    the pen is opened in place, and the browser's way back still has them."""
    left_out = ("csrfmiddlewaretoken", CARRIED, *SECRET)  # a password is typed anew, never carried
    typed = [
        (name, value)
        for name, values in request.POST.lists()
        if name not in left_out
        for value in values
    ]
    context = {
        "form": form,
        "typed": [] if request.FILES else typed,
        "files": bool(request.FILES),
        "address": request.get_full_path(),
        "field": CARRIED,
        "pen": request.pen,
    }
    return render(request, "people/pen_carried.html", context, status=403)


def _opened(request: HouseRequest, form: OpenPenForm) -> bool:
    """Opens the pen with what was typed: the password, or the PIN where that is enough."""
    secret = form.cleaned_data["secret"]
    if _DIGITS.fullmatch(secret) and has_pin(request.pen.person):
        if not request.pen.by_pin_too:
            form.add_error("secret", "Nobody has used this session for long: type the password.")
            return False
        try:
            check_pin(request.pen.person, secret, request.META["REMOTE_ADDR"], request.now_ms)
        except (WrongPin, MustWait) as wrong:
            form.add_error("secret", wrong.why)
            return False
        open_pen(request, "pin")
        return True
    if not password_is_right(request, secret):
        form.add_error("secret", f"This is not the password of {request.pen.person.name}.")
        return False
    open_pen(request, "password")
    return True


def open_pen(request: HouseRequest, by: str) -> None:
    """Opens the session's pen from now on."""
    request.session["seen_at"] = request.now_ms
    request.session["pen_by"] = by
    request.session.pop("pen_closed", None)
    request.pen = pen_of_session(request, request.person)
    if by == "pin":
        request.rights = request.rights & {Right.OPERATOR.value}


@open_to()
@never_cache
def pen_open(request: HouseRequest) -> HttpResponse:
    """Opens the pen; also asked by somebody who opened it by PIN and needs more."""
    form = OpenPenForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and _opened(request, form):
        if request.POST.get("back"):
            return render(request, "people/pen_back.html")
        return redirect(onward(request))
    context = {"form": form, "pen": request.pen, "onward": onward(request)}
    return render(request, "people/pen_open.html", context)


@open_to(methods=("POST",))
def pen_close(request: HouseRequest) -> HttpResponse:
    """Closes the pen on walking away; the opening page stays in sight."""
    request.session["pen_closed"] = True
    return redirect("shift")


@open_to("operator")
@never_cache
def pin_set(request: HouseRequest) -> HttpResponse:
    """One's own PIN, chosen with the password."""
    form = PinForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data: dict[str, Any] = form.cleaned_data
        if not password_is_right(request, data["password"]):
            form.add_error("password", "This is not your password.")
        else:
            try:
                choose_pin(request.person, data["pin"], request.now_ms)
            except Refused as refusal:
                refuse(form, refusal.fields)
            else:
                messages.success(request, "Your PIN is set. It means your initials, no more.")
                return redirect("shift")
    return render(request, "people/pin.html", {"form": form, "chosen": has_pin(request.person)})


@open_to("keeper", methods=("POST",))
def pin_clear(request: HouseRequest, pk: int) -> HttpResponse:
    other = Person.objects.filter(pk=pk).first()
    if other is None:
        return redirect("people")
    try:
        clear_pin(request.person, other, request.now_ms)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"The PIN of {other.name} is cleared.")
    return redirect("person_show", pk)
