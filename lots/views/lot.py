"""Lots: listed, opened, shown, split, merged, destroyed in part, voided, finished."""

import secrets
from datetime import datetime

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.entries import lot as entries
from lots.entries.lot import NewLot, asked_at_receiving
from lots.entries.moments import Moments
from lots.entries.readings import Figure
from lots.entries.refusals import Refused, Unlikely
from lots.forms.fields import ask_to_confirm, confirmed, refuse
from lots.forms.lot import (
    FinishForm,
    MergeForm,
    OpenLotForm,
    PartForm,
    ReasonForm,
)
from lots.models.plan import PlanVersion
from lots.queries.board import open_lots
from lots.queries.house import open_places, usable_instruments
from lots.queries.lineage import free_of, in_loads_now
from lots.queries.load_page import taken_along
from lots.queries.lot_page import (
    lot_list,
    lot_page,
    past_use_by,
    proposed_code,
    undecided,
)
from lots.queries.plans import newest_versions, plan_value
from lots.queries.retention import keep_until
from lots.queries.use_by import past_words, thawed_g, use_by
from lots.views.base import HouseRequest, by_of, lot_or_404, open_to, upload_of, zone_of


@open_to(methods=("GET",))
def lots(request: HouseRequest) -> HttpResponse:
    which, words = request.GET.get("which", "open"), request.GET.get("q", "")
    past = past_use_by(request.now_ms) if which == "past" else {}
    page = lot_list(which, words, request.GET.get("page", "1"), past)
    found = (undecided(page), past)
    said = {lot.pk: "; ".join(one[lot.pk] for one in found if lot.pk in one) for lot in page}
    context = {
        "page": page,
        "which": which,
        "words": words,
        "rows": [(lot, said.get(lot.pk, "")) for lot in page],
    }
    return render(request, "lots/list.html", context)


@open_to("operator")
def lot_open(request: HouseRequest) -> HttpResponse:
    """First the plan, then what came in."""
    versions = newest_versions()
    chosen = request.GET.get("plan", "")
    if not chosen.isdecimal():
        return render(request, "lots/choose_plan.html", {"versions": versions})
    version = get_object_or_404(PlanVersion, pk=int(chosen[:18]))
    form = _open_form(request, version)
    if request.method == "POST" and form.is_valid():
        try:
            when = _when(request, form, "received_at")
            key = form.cleaned_data["client_key"]
            lot = entries.open_lot(request.person, _new_lot(request, form, version), when, key)
        except Unlikely as refusal:
            ask_to_confirm(form, refusal.fields)
            refuse(form, refusal.fields)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"Lot {lot.code} is open.")
            return redirect("lot_show", lot.code)
    return render(request, "lots/open.html", {"form": form, "version": version})


def _open_form(request: HouseRequest, version: PlanVersion) -> OpenLotForm:
    plan = plan_value(version)
    day = datetime.fromtimestamp(request.now_ms / 1000, zone_of(request))
    return OpenLotForm(
        request.POST or None,
        request.FILES or None,
        plan=plan,
        asked=asked_at_receiving(plan),
        house=request.house,
        now_ms=request.now_ms,
        places=open_places().filter(kind="receiving dock"),
        instruments=usable_instruments(),
        initial={"code": proposed_code(f"{day:%m%d}"), "client_key": secrets.token_hex(16)},
    )


def _when(request: HouseRequest, form: OpenLotForm | FinishForm, name: str) -> Moments:
    data = form.cleaned_data
    return Moments(
        data[name], request.now_ms, request.now_ms, 0, data["late_reason"], by_of(request)
    )


def _new_lot(request: HouseRequest, form: OpenLotForm, version: PlanVersion) -> NewLot:
    data = form.cleaned_data
    figures = [
        Figure(
            data[f"read_{probe}"], data["unit"], probe, instrument=data["instrument"],
            confirmed=confirmed(form, f"read_{probe}"),
        )
        for probe in form.probes
        if data.get(f"read_{probe}")
    ]  # fmt: skip
    return NewLot(
        code=data["code"],
        version=version,
        species=data["species"],
        origin=data["origin"],
        supplier=data["supplier"],
        supplier_lot=data["supplier_lot"],
        quantity_g=data["quantity"],
        place=data["place"],
        figures=figures,
        observed={what: data[name] == "yes" for name, what in form.looks if data.get(name)},
        receiving_goes_on=data["receiving_goes_on"],
        attachment=upload_of(request, "attachment"),
        note=data["note"],
    )


def _step(request: HouseRequest) -> int:
    """The step of the chart that was tapped, by its number; 0 is the whole strip."""
    text = request.GET.get("step", "")
    return int(text) if text.isdigit() and len(text) < 4 else 0


@open_to(methods=("GET",))
def lot_show(request: HouseRequest, code: str) -> HttpResponse:
    lot = lot_or_404(code)
    unit = "F" if request.house.temperature_unit == "F" else "C"
    here = not hasattr(lot, "voided") and (not hasattr(lot, "release") or in_loads_now(lot) > 0)
    whole = use_by(lot)
    context = lot_page(lot, unit, zone_of(request), request.now_ms, _step(request)) | {
        "kept": keep_until(lot, request.house),
        "use_by": whole,
        "past": past_words(lot, request.now_ms, whole) if here else "",
        "thawed": thawed_g(lot),
    }
    return render(request, "lots/show.html", context)


@open_to("operator")
def lot_split(request: HouseRequest, code: str) -> HttpResponse:
    lot = lot_or_404(code)
    form = PartForm(
        request.POST or None, house=request.house, code=True, taken_along=taken_along(lot)
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            new = entries.split_lot(
                request.person,
                lot,
                data["code"],
                data["grams"],
                data["reason"],
                request.now_ms,
                data["how"],
                [int(number) for number in data["loads"]],
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"Lot {new.code} came out of lot {lot.code}.")
            return redirect("lot_show", new.code)
    context = {"form": form, "lot": lot, "free": free_of([lot])[lot.pk], "title": "Split off or rework a part",
               "button": "Make the new lot"}  # fmt: skip
    return render(request, "lots/act.html", context)


@open_to("operator")
def lot_merge(request: HouseRequest) -> HttpResponse:
    lots = [lot for lot in open_lots() if not hasattr(lot, "finish") and free_of([lot])[lot.pk] > 0]
    form = MergeForm(request.POST or None, house=request.house, lots=lots)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        portions = [
            (lot, data[f"lot_{lot.pk}"]) for lot in lots if data[f"lot_{lot.pk}"] is not None
        ]
        try:
            new = entries.merge_lots(
                request.person, portions, data["code"], data["reason"], request.now_ms
            )
        except Refused as refusal:
            refuse(form, {form.beside(name): text for name, text in refusal.fields.items()})
        else:
            messages.success(request, f"Lot {new.code} was merged.")
            return redirect("lot_show", new.code)
    context = {"form": form, "title": "Merge lots", "button": "Merge them"}
    return render(request, "lots/act.html", context)


@open_to("operator")
def lot_destroy(request: HouseRequest, code: str) -> HttpResponse:
    lot = lot_or_404(code)
    form = PartForm(request.POST or None, house=request.house, code=False)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            entries.destroy_part(request.person, lot, data["grams"], data["reason"], request.now_ms)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "It is in the book.")
            return redirect("lot_show", lot.code)
    context = {"form": form, "lot": lot, "free": free_of([lot])[lot.pk], "title": "Destroy a part",
               "button": "Keep that it was destroyed", "danger": True}  # fmt: skip
    return render(request, "lots/act.html", context)


@open_to("operator")
def lot_void(request: HouseRequest, code: str) -> HttpResponse:
    lot = lot_or_404(code)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            entries.void_lot(request.person, lot, form.cleaned_data["reason"], request.now_ms)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"Lot {lot.code} is voided.")
            return redirect("lot_show", lot.code)
    context = {"form": form, "lot": lot, "title": "Void a lot opened in error", "button": "Void the lot",
               "danger": True}  # fmt: skip
    return render(request, "lots/act.html", context)


@open_to("operator")
def lot_finish(request: HouseRequest, code: str) -> HttpResponse:
    lot = lot_or_404(code)
    form = FinishForm(request.POST or None, house=request.house, now_ms=request.now_ms)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            when = _when(request, form, "finished_at")
            entries.finish_lot(
                request.person, lot, data["packed"], data["packs"] or 0, when, data["note"]
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"Lot {lot.code} is finished.")
            return redirect("lot_show", lot.code)
    context = {"form": form, "lot": lot, "free": free_of([lot])[lot.pk], "title": "Finish the lot",
               "button": "Finish the lot"}  # fmt: skip
    return render(request, "lots/act.html", context)
