"""Sheets of paper for the day the tablet dies: printed blank, entered later in one go."""

import secrets
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.entries.moments import Moments
from lots.entries.paper import enter_from_paper
from lots.entries.refusals import Refused, Unlikely
from lots.forms.fields import ask_to_confirm, refuse
from lots.forms.paper import LINES, MOST_LINES, PaperForm
from lots.models.lot import Load
from lots.queries.answer import probes_for
from lots.queries.board import open_loads
from lots.queries.evidence import started_at
from lots.queries.house import usable_instruments
from lots.queries.load_page import asked_looks
from lots.queries.sheets import of_fish, sheet_of
from lots.views.base import HouseRequest, open_to, upload_of

BLANK_LINES = 14


def _load(pk: int) -> Load:
    rows = Load.objects.select_related("place__within").prefetch_related("moves", "ends__accepted")
    return get_object_or_404(rows, pk=pk)


@open_to(methods=("GET",))
def load_sheet(request: HouseRequest, pk: int) -> HttpResponse:
    """One load's blank sheet."""
    return _sheets(request, [_load(pk)])


@open_to(methods=("GET",))
def sheets(request: HouseRequest) -> HttpResponse:
    """The blank sheets of everything that stands in the house, each on a page of its own."""
    return _sheets(request, open_loads())


def _sheets(request: HouseRequest, loads: list[Load]) -> HttpResponse:
    context = {"sheets": [sheet_of(load) for load in loads], "lines": range(BLANK_LINES)}
    return render(request, "paper/sheets.html", context)


@open_to("operator")
def paper_enter(request: HouseRequest, pk: int) -> HttpResponse:
    """A whole sheet, typed from paper."""
    load = _load(pk)
    fish = of_fish(load)
    form = PaperForm(
        request.POST or None,
        request.FILES or None,
        house=request.house,
        now_ms=request.now_ms,
        started_at=started_at(load),
        probes=probes_for(load) if fish else [""],
        asked=asked_looks(load),
        instruments=usable_instruments(),
        lines=_lines(request),
        initial={"client_key": secrets.token_hex(16)},
    )
    if request.method == "POST" and "more" in request.POST:
        form.is_valid()
    elif request.method == "POST" and form.is_valid():
        try:
            rows = _enter(request, load, form, fish)
        except Unlikely as refusal:
            ask_to_confirm(form, form.beside(refusal.fields))
            refuse(form, form.beside(refusal.fields))
        except Refused as refusal:
            refuse(form, form.beside(refusal.fields))
        else:
            messages.success(
                request, f"{len(rows)} readings of the sheet are in the book, as late ones."
            )
            return redirect("load_show", pk)
    context = {"form": form, "load": load, "fish": fish, "lines": form.lines, "most": MOST_LINES}
    return render(request, "paper/enter.html", context)


def _enter(request: HouseRequest, load: Load, form: PaperForm, fish: bool) -> list[Any]:
    data = form.cleaned_data
    when = Moments(request.now_ms, request.now_ms, request.now_ms, 0, data["late_reason"], "paper")
    return enter_from_paper(
        request.person, load, form.sheet(fish), upload_of(request, "picture"), when, data["client_key"]
    )  # fmt: skip


def _lines(request: HouseRequest) -> int:
    text = request.POST.get("lines", "")
    wanted = int(text) if text.isdigit() and len(text) < 4 else LINES
    return max(LINES, min(MOST_LINES, wanted + (LINES if "more" in request.POST else 0)))
