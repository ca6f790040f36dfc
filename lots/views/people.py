"""Who is who; inviting people, giving and ending rights; stating the house anew."""

from datetime import date, datetime
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache

from lots.entries.house import change_house
from lots.entries.people import give_right, invite, reset, take_right
from lots.entries.refusals import Refused
from lots.forms.fields import refuse
from lots.forms.house import HouseForm
from lots.forms.people import EndForm, GiveForm, InviteForm
from lots.models.people import Person, Right
from lots.queries.house import people as everybody
from lots.queries.house import rights_history, rights_of, rules
from lots.views.base import HouseRequest, open_to, zone_of

TO_WRITE = ("POST",)


def _today(request: HouseRequest) -> date:
    return datetime.fromtimestamp(request.now_ms / 1000, zone_of(request)).date()


@open_to(methods=("GET",))
def people(request: HouseRequest) -> HttpResponse:
    return render(request, "people/people.html", {"people": everybody()})


@open_to("keeper")
@never_cache
def person_invite(request: HouseRequest) -> HttpResponse:
    form = InviteForm(request.POST or None, today=_today(request))
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        try:
            person, code = invite(
                request.person,
                typed["username"],
                typed["name"],
                typed["initials"],
                form.grants(),
                request.now_ms,
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            return _show_code(request, person, code)
    return render(request, "people/invite.html", {"form": form})


def _show_code(request: HouseRequest, person: Person, code: str) -> HttpResponse:
    """The code stands on this one page and nowhere else: in no address and no log."""
    until = request.now_ms + rules().invitation_ms
    return render(request, "people/code.html", {"other": person, "code": code, "until": until})


@open_to("keeper", methods=("GET",))
def person_show(request: HouseRequest, pk: int) -> HttpResponse:
    return _person_page(request, get_object_or_404(Person, pk=pk))


def _person_page(request: HouseRequest, other: Person, **forms: Any) -> HttpResponse:
    standing = [right for right in Right.values if right in rights_of(other)]
    context = {
        "other": other,
        "history": rights_history(other),
        "standing": standing,
        "give": GiveForm(today=_today(request), prefix="give"),
        "end": EndForm(standing=standing, prefix="end"),
    } | forms
    return render(request, "people/person.html", context)


@open_to("keeper", methods=TO_WRITE)
def right_give(request: HouseRequest, pk: int) -> HttpResponse:
    other = get_object_or_404(Person, pk=pk)
    form = GiveForm(request.POST, today=_today(request), prefix="give")
    if form.is_valid():
        right = form.cleaned_data["right"]
        try:
            give_right(request.person, other, form.grant(right), request.now_ms)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"{other.name} now holds the right of {Right(right).label}.")
            return redirect("person_show", pk)
    return _person_page(request, other, give=form)


@open_to("keeper", methods=TO_WRITE)
def right_end(request: HouseRequest, pk: int) -> HttpResponse:
    other = get_object_or_404(Person, pk=pk)
    standing = [right for right in Right.values if right in rights_of(other)]
    form = EndForm(request.POST, standing=standing, prefix="end")
    if form.is_valid():
        right = form.cleaned_data["right"]
        try:
            take_right(request.person, other, right, form.cleaned_data["reason"], request.now_ms)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(
                request, f"{other.name} no longer holds the right of {Right(right).label}."
            )
            # who has just ended their own right of keeper may not see the person's page again
            own = other == request.person and right == Right.KEEPER
            return redirect("people") if own else redirect("person_show", pk)
    return _person_page(request, other, end=form)


@open_to("keeper", methods=TO_WRITE)
@never_cache
def person_reset(request: HouseRequest, pk: int) -> HttpResponse:
    other = get_object_or_404(Person, pk=pk)
    try:
        code = reset(request.person, other, request.now_ms)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("person_show", pk)
    return _show_code(request, other, code)


@open_to("keeper")
def house_change(request: HouseRequest) -> HttpResponse:
    form = HouseForm(request.POST or None, initial=HouseForm.stated(request.house))
    if request.method == "POST" and form.is_valid():
        try:
            change_house(request.person, form.house(demo=request.house.demo), request.now_ms)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(
                request, "The house's details are stored. Records made from now on carry them."
            )
            return redirect("house_change")
    return render(request, "house/change.html", {"form": form})
