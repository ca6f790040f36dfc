"""The forecast of salt, and the points that it is fitted to."""

import secrets
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.core.salting import BadSalting
from lots.core.units import TempUnit, show_number
from lots.entries.refusals import Refused, Unlikely
from lots.entries.uptake import keep_point, leave_out
from lots.forms.fields import refuse
from lots.forms.salt import ForecastForm, LeaveOutForm, PointForm
from lots.models.lot import LaboratoryResult, Lot
from lots.models.salt import UptakePoint
from lots.queries.brined import Brined, brined
from lots.queries.salt_chart import fit_picture, over_thickness, over_time
from lots.queries.salt_forecast import salt_forecast as forecast_of
from lots.queries.uptake_points import (
    WATER_PHASE,
    as_percent,
    diffusivity_text,
    known_now,
    known_of,
    laboratory_found,
    lowest_sample,
    points,
    published_rows,
    results_without_point,
    same_sample,
    shown,
)
from lots.views.base import HouseRequest, open_to
from lots.views.sums import begin

MAY_KEEP = ("operator", "reviewer", "coordinator")
RESULTS_SHOWN = 12


def _unit(request: HouseRequest) -> TempUnit:
    return "C" if request.house.temperature_unit == "C" else "F"


@open_to(methods=("GET",))
def salt_forecast(request: HouseRequest) -> HttpResponse:
    """What fish is likely to have taken up; begun with what the book knows of a lot."""
    code = request.GET.get("lot", "")
    lot = get_object_or_404(Lot.objects.select_related("plan_version"), code=code) if code else None
    begun: Brined | None = None
    asked = "thickness" in request.GET
    initial = begin(request) | {"thickness_unit": "mm" if _unit(request) == "C" else "in"}
    if lot is not None and not asked:
        begun = brined(lot, request.now_ms)
        initial |= begun.typed(_unit(request))
    form = ForecastForm(request.GET if asked else None, initial=initial)
    context: dict[str, Any] = {
        "form": form,
        "lot": lot,
        "begun": begun,
        "laboratory": laboratory_found(lot) if lot else None,
    }
    if asked and form.is_valid() and form.asks is not None:
        try:
            found = forecast_of(form.asks, known_now())
        except BadSalting as error:
            form.add_error(None, str(error))
        else:
            context |= {
                "found": found,
                "pictures": [
                    ("Over time, the thickest piece", over_time(found)),
                    ("Over thickness, after the time asked about", over_thickness(found)),
                ],
            }
    return render(request, "sums/forecast.html", context)


@open_to(methods=("GET",))
def salt_points(request: HouseRequest) -> HttpResponse:
    """The points, the fit and its residuals; before any, the published range."""
    rows = points()
    known = known_of(rows)
    each = shown(rows, known)
    context = {
        "known": known,
        "rows": each,
        "drawings": fit_picture(each),
        "published": published_rows(),
        "results": results_without_point()[:RESULTS_SHOWN],
        "may_keep": bool(request.rights & set(MAY_KEEP)),
    }
    if known.own is not None:
        context |= {
            "best": diffusivity_text(known.own.best),
            "band": f"from {diffusivity_text(known.own.low)} to {diffusivity_text(known.own.high)}",
            "level": round(100 * known.own.level),
            "scatter": round(100 * known.own.diffusivity.scatter),
        }
    return render(request, "sums/points.html", context)


def _begun(request: HouseRequest, result: LaboratoryResult) -> tuple[Brined, dict[str, str]]:
    """What the book knows of the fish that the laboratory had: its thickest piece, its lowest sample."""
    assert result.lot is not None
    begun = brined(result.lot, request.now_ms)
    typed = begin(request) | begun.typed(_unit(request))
    if begun.pieces_um:
        typed["thickness"] = typed["thickness"].split(",")[0]
    sample = lowest_sample(result)
    number = sample.number if sample else 1
    for name, quantity in (("salt", "salt"), ("moisture_found", "moisture")):
        value = same_sample(result, quantity, number)
        if value is not None:
            typed[name] = show_number(as_percent(value), 4)
    return begun, typed


@open_to(*MAY_KEEP)
def salt_point_keep(request: HouseRequest, pk: int) -> HttpResponse:
    rows = LaboratoryResult.objects.select_related("lot__plan_version")
    result = get_object_or_404(rows, pk=pk, quantity=WATER_PHASE, lot__isnull=False)
    begun, initial = _begun(request, result)
    form = PointForm(request.POST or None, initial=initial | {"client_key": secrets.token_hex(16)})
    if request.method == "POST" and form.is_valid() and form.new is not None:
        key = form.cleaned_data["client_key"] or None
        try:
            keep_point(request.person, result, form.new, request.now_ms, form.sure_of(), key)
        except Refused as refusal:
            form.lay(refusal.fields, isinstance(refusal, Unlikely))
        else:
            return redirect("salt_points")
    sample = lowest_sample(result)
    context = {"form": form, "result": result, "begun": begun, "sample": sample}
    return render(request, "sums/point_keep.html", context)


@open_to(*MAY_KEEP)
def salt_point_leave_out(request: HouseRequest, pk: int) -> HttpResponse:
    rows = UptakePoint.objects.select_related("result__lot", "left_out__line__person")
    row = get_object_or_404(rows, pk=pk)
    form = LeaveOutForm(request.POST or None, initial={"client_key": secrets.token_hex(16)})
    if request.method == "POST" and form.is_valid():
        key = form.cleaned_data["client_key"] or None
        try:
            leave_out(request.person, row, form.cleaned_data["reason"], request.now_ms, key)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            return redirect("salt_points")
    return render(request, "sums/point_leave_out.html", {"form": form, "row": row})
