"""Founding an empty house; logging in and out; taking up an invitation."""

from typing import Any

from django.contrib import messages
from django.contrib.auth import authenticate, login, logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from lots.entries.founding import forget_founding_code, founding_code_stands
from lots.entries.house import found_house
from lots.entries.people import set_password
from lots.entries.refusals import Refused
from lots.forms.fields import refuse
from lots.forms.house import FoundForm
from lots.forms.people import InvitedForm, LogInForm
from lots.models.people import Person
from lots.queries.house import establishment
from lots.views.base import HouseRequest, open_door, open_to

READ_AND_POST = require_http_methods(["GET", "HEAD", "POST"])
BACKEND = "lots.views.backend.PersonBackend"


@open_door
@never_cache
@READ_AND_POST
def found(request: HouseRequest) -> HttpResponse:
    if establishment() is not None:
        return redirect("log_in")
    form = FoundForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        person = _founded(form, request.now_ms)
        if person is not None:
            login(request, person.login, backend=BACKEND)
            messages.success(request, "The house is founded. These steps lead to its first lot.")
            return redirect("first_steps")
    context = {"form": form, "code_stands": founding_code_stands()}
    return render(request, "house/found.html", context)


def _founded(form: FoundForm, now_ms: int) -> Person | None:
    typed = form.cleaned_data
    try:
        person = found_house(
            form.house(),
            typed["username"],
            typed["person_name"],
            typed["initials"],
            typed["password"],
            now_ms,
        )
    except Refused as refusal:
        refuse(form, refusal.fields)
        return None
    forget_founding_code()
    return person


@open_door
@never_cache
@READ_AND_POST
def log_in(request: HouseRequest) -> HttpResponse:
    if request.user.is_authenticated:
        return redirect("shift")
    form = LogInForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        user = authenticate(request, **form.cleaned_data)
        if user is not None:
            login(request, user)
            return redirect(onward(request))
        form.add_error(None, "Log-in name or password is wrong. Both are as they were set here.")
    return render(request, "people/log_in.html", {"form": form, "onward": onward(request)})


def onward(request: HttpRequest) -> str:
    """The page that was asked for before logging in, if it is one of ours."""
    asked = request.POST.get("next") or request.GET.get("next") or ""
    ours = url_has_allowed_host_and_scheme(
        asked, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return asked if ours else reverse("shift")


def locked_out(request: HttpRequest, *_: Any) -> HttpResponse:
    """What stands instead of any page after too many wrong passwords."""
    return render(request, "people/locked_out.html", status=429)


@open_to(methods=("POST",))
def log_out(request: HouseRequest) -> HttpResponse:
    logout(request)
    messages.info(request, "You are logged out.")
    return redirect("log_in")


@open_door
@never_cache
@READ_AND_POST
def invited(request: HouseRequest) -> HttpResponse:
    form = InvitedForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            person = set_password(
                form.cleaned_data["code"], form.cleaned_data["password"], request.now_ms
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"The password of {person.name} is set. Log in with it.")
            return redirect("log_in")
    return render(request, "people/invited.html", {"form": form})
