"""A lot's weights through the steps: yields, the mass balance, and weights put right."""

import secrets

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.entries import weights as entries
from lots.entries.moments import Moments
from lots.entries.refusals import Refused, Unlikely
from lots.forms.fields import refuse, show_box
from lots.forms.weights import CorrectWeightForm, WeightForm
from lots.models.salt import StepWeight
from lots.queries.pieces import places_to_measure
from lots.queries.yields import weights_page
from lots.views.base import HouseRequest, by_of, lot_or_404, open_to


@open_to(writes=("operator",))
def lot_weights(request: HouseRequest, code: str) -> HttpResponse:
    """What the lot weighed from stage to stage; an operator enters a weight here."""
    lot = lot_or_404(code)
    form = WeightForm(
        request.POST or None,
        house=request.house,
        now_ms=request.now_ms,
        places=places_to_measure(lot),
        initial={"client_key": secrets.token_hex(16)},
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        when = Moments(
            data["observed_at"], request.now_ms, request.now_ms, 0, data["late_reason"],
            by_of(request),
        )  # fmt: skip
        try:
            entries.weigh_stage(
                request.person, lot, data["stage"], data["weight"], request.house.weight_unit, when,
                form.load(), data["note"], data["reason"], data["client_key"],
            )  # fmt: skip
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The weight is in the book.")
            return redirect("lot_weights", code)
    return render(request, "weights/of_lot.html", {"lot": lot, "form": form} | weights_page(lot))


@open_to("operator")
def weight_correct(request: HouseRequest, pk: int) -> HttpResponse:
    """Puts a weight right, or takes it back."""
    wrong = get_object_or_404(StepWeight.objects.select_related("lot", "load__place"), pk=pk)
    form = CorrectWeightForm(request.POST or None, house=request.house)
    if request.method == "POST" and form.is_valid():
        now = request.now_ms
        when = Moments(wrong.observed_at, now, now, by=by_of(request))
        try:
            entries.correct_weight(
                request.person, wrong, form.text(), request.house.weight_unit,
                form.cleaned_data["reason"], when, form.cleaned_data["seen"],
            )  # fmt: skip
        except Unlikely as refusal:
            refuse(form, refusal.fields)
            show_box(form, "seen", refusal.mark, "It is so: store the correction")
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The correction stands beside the old weight.")
            return redirect("lot_weights", wrong.lot.code)
    return render(request, "weights/correct.html", {"lot": wrong.lot, "form": form, "wrong": wrong})
