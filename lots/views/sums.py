"""The sums of brine, cure and salt.  Nothing is kept: what was typed stands in the page's address."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from lots.forms.sum_fields import SumForm
from lots.forms.sums import (
    AheadForm,
    BrineForm,
    InstrumentForm,
    NitriteForm,
    ScaleForm,
    WaterPhaseForm,
)
from lots.views.base import HouseRequest, open_to


@dataclass(frozen=True)
class Sum:
    """A page of the sums: its address's name, what it is called, what it answers."""

    name: str
    title: str
    answers: str


SUMS = (
    Sum("sum_brine", "Brine strength", "Salt %, °SAL, salt to the litre or gallon, density, freezing point: from any one of them."),
    Sum("sum_reading", "Salometer and refractometer", "What a reading stands for at the brine's temperature."),
    Sum("sum_scale", "Batch made larger or smaller", "The same brine or salting for a volume, a weight, or the fish that is there."),
    Sum("sum_nitrite", "Nitrite", "Ingoing ppm from the curing salt, or curing salt for a ppm, and whether it is permitted in the fish."),
    Sum("sum_water_phase", "Water-phase salt", "From a laboratory's salt and moisture."),
    Sum("sum_ahead", "What a brine can do", "The highest water-phase salt that it could bring the fish to, before the fish goes in."),
    Sum("salt_forecast", "Salt over time", "What the thickest piece is likely to have, how long it takes, which pieces fail; drawn."),
    Sum("salt_points", "How fast salt goes into our fish", "Fitted to the laboratory's own results."),
)  # fmt: skip


@open_to(methods=("GET",))
def sums(request: HouseRequest) -> HttpResponse:
    return render(request, "sums/sums.html", {"sums": SUMS})


def begin(request: HouseRequest) -> dict[str, str]:
    """What every sum begins with: the house's own units, and 60 °F for an instrument."""
    celsius = request.house.temperature_unit == "C"
    return {"unit": request.house.temperature_unit, "reference": "15.6" if celsius else "60"}


def _sum(request: HouseRequest, name: str, form_class: type[SumForm]) -> HttpResponse:
    form = form_class(request.GET or None, initial=begin(request))
    if form.is_bound:
        form.is_valid()
    one = next(one for one in SUMS if one.name == name)
    context: dict[str, Any] = {
        "one": one,
        "form": form,
        "answer": form.answer if form.is_bound and form.is_valid() else None,
    }
    return render(request, "sums/sum.html", context)


@open_to(methods=("GET",))
def sum_brine(request: HouseRequest) -> HttpResponse:
    return _sum(request, "sum_brine", BrineForm)


@open_to(methods=("GET",))
def sum_reading(request: HouseRequest) -> HttpResponse:
    return _sum(request, "sum_reading", InstrumentForm)


@open_to(methods=("GET",))
def sum_scale(request: HouseRequest) -> HttpResponse:
    return _sum(request, "sum_scale", ScaleForm)


@open_to(methods=("GET",))
def sum_nitrite(request: HouseRequest) -> HttpResponse:
    return _sum(request, "sum_nitrite", NitriteForm)


@open_to(methods=("GET",))
def sum_water_phase(request: HouseRequest) -> HttpResponse:
    return _sum(request, "sum_water_phase", WaterPhaseForm)


@open_to(methods=("GET",))
def sum_ahead(request: HouseRequest) -> HttpResponse:
    return _sum(request, "sum_ahead", AheadForm)
