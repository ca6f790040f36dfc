"""A lot's packs: the sheet of what must stand on them, and packs thawed."""

import secrets

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from lots.entries.moments import Moments
from lots.entries.pack import thaw_packs
from lots.entries.refusals import Refused
from lots.forms.fields import refuse
from lots.forms.pack import ThawForm
from lots.queries.lot_page import state_words
from lots.queries.pack import pack_sheet
from lots.queries.use_by import day_of
from lots.views.base import HouseRequest, by_of, lot_or_404, open_to


@open_to(methods=("GET",))
def lot_pack(request: HouseRequest, code: str) -> HttpResponse:
    lot = lot_or_404(code)
    context = {
        "lot": lot,
        "state": state_words(lot),
        "sheet": pack_sheet(lot, request.now_ms),
        "today": day_of(request.now_ms),
    }
    return render(request, "lots/pack.html", context)


@open_to("operator")
def lot_thaw(request: HouseRequest, code: str) -> HttpResponse:
    lot = lot_or_404(code)
    form = ThawForm(
        request.POST or None,
        house=request.house,
        now_ms=request.now_ms,
        initial={"client_key": secrets.token_hex(16)},
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        when = Moments(
            data["thawed_at"],
            request.now_ms,
            request.now_ms,
            0,
            data["late_reason"],
            by_of(request),
        )
        try:
            thaw_packs(request.person, lot, data["grams"], data["reason"], when, data["client_key"])
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(
                request, "It is in the book. What was thawed has a use-by date of its own."
            )
            return redirect("lot_pack", lot.code)
    context = {
        "form": form,
        "lot": lot,
        "title": "Packs thawed",
        "button": "Keep that they were thawed",
    }
    return render(request, "lots/act.html", context)
