"""The house's side of an inspector's visit: opened, looked back on, ended."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache

from lots.entries.refusals import NotAllowed, Refused
from lots.entries.visit import end_visit, open_visit, renew_code
from lots.forms.fields import refuse
from lots.forms.visit import OpenVisitForm
from lots.models.visit import Visit
from lots.queries.visit import (
    all_visits,
    get_visit,
    lots_of,
    lots_to_choose,
    seen_in,
    standing_words,
)
from lots.views.base import HouseRequest, open_to, zone_of

OPENERS = ("keeper", "coordinator")
CHOICE = 60  # lots that can be ticked one by one; more are had by their days or their plan


@open_to(methods=("GET",))
def visits(request: HouseRequest) -> HttpResponse:
    return render(request, "visit/visits.html", {"rows": all_visits(request.now_ms)})


@open_to(*OPENERS)
@never_cache
def visit_open(request: HouseRequest) -> HttpResponse:
    form = OpenVisitForm(
        request.POST or None,
        house=request.house,
        now_ms=request.now_ms,
        zone=zone_of(request),
        lots=lots_to_choose(CHOICE),
    )
    if request.method == "POST" and form.is_valid():
        try:
            visit, code = open_visit(request.person, form.new_visit(), request.now_ms)
        except NotAllowed:
            raise
        except Refused as refusal:
            at = {"lots": form.beside_lots}
            refuse(form, {at.get(name, name): text for name, text in refusal.fields.items()})
        else:
            return _show_code(request, visit, code)
    return render(request, "visit/open.html", {"form": form})


def _show_code(request: HouseRequest, visit: Visit, code: str) -> HttpResponse:
    """The code stands on this one page and nowhere else: in no address and no log."""
    return render(request, "visit/code.html", {"visit": visit, "code": code})


def _visit(pk: int) -> Visit:
    visit = get_visit(pk)
    if visit is None:
        raise Http404
    return visit


@open_to(methods=("GET",))
def visit_show(request: HouseRequest, pk: int) -> HttpResponse:
    visit = _visit(pk)
    context = {
        "visit": visit,
        "state": standing_words(visit, request.now_ms),
        "lots": lots_of(visit),
        "seen": seen_in(visit),
        "may_end": bool(request.rights & set(OPENERS)),
    }
    return render(request, "visit/show.html", context)


@open_to(*OPENERS, methods=("POST",))
@never_cache
def visit_recode(request: HouseRequest, pk: int) -> HttpResponse:
    visit = _visit(pk)
    try:
        code = renew_code(request.person, visit, request.now_ms)
    except NotAllowed:
        raise
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("visit_show", pk)
    return _show_code(request, visit, code)


@open_to(*OPENERS, methods=("POST",))
def visit_end(request: HouseRequest, pk: int) -> HttpResponse:
    visit = _visit(pk)
    try:
        end_visit(request.person, visit, "ended by the house", request.now_ms)
    except NotAllowed:
        raise
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"The visit of {visit.inspector} is over; its pages are shut.")
    return redirect("visit_show", pk)
