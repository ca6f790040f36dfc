"""A lot's pieces: samples measured and weighed, and put right."""

import secrets

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render

from lots.entries import pieces as entries
from lots.entries.moments import Moments
from lots.entries.refusals import Refused, Unlikely
from lots.forms.fields import refuse
from lots.forms.pieces import MORE, MOST_PIECES, PIECES, CorrectPiecesForm, PiecesForm
from lots.forms.sure import ask_sure, how_many, is_sure
from lots.models.salt import PieceSample
from lots.queries.house import usable_instruments
from lots.queries.pieces import SampleShown, largest_thickness, places_to_measure, samples_of
from lots.views.base import HouseRequest, by_of, lot_or_404, open_to

IT_IS_SO = "It is so, as typed"


@open_to(writes=("operator",))
def lot_pieces(request: HouseRequest, code: str) -> HttpResponse:
    """The samples of the lot's pieces; an operator enters another here."""
    lot = lot_or_404(code)
    form = PiecesForm(
        request.POST or None,
        house=request.house,
        now_ms=request.now_ms,
        places=places_to_measure(lot),
        instruments=usable_instruments(),
        pieces=how_many(request, "pieces", PIECES, MOST_PIECES, MORE),
        initial={"client_key": secrets.token_hex(16)},
    )
    if request.method == "POST" and "more" in request.POST:
        form.is_valid()
    elif request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        when = Moments(
            data["observed_at"], request.now_ms, request.now_ms, 0, data["late_reason"],
            by_of(request),
        )  # fmt: skip
        try:
            entries.measure_pieces(
                request.person, lot, form.typed(is_sure(form)), when, form.load(),
                data["instrument"], data["note"], data["client_key"],
            )  # fmt: skip
        except Unlikely as refusal:
            ask_sure(form, IT_IS_SO)
            refuse(form, refusal.fields)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The sample is in the book.")
            return redirect("lot_pieces", code)
    context = {
        "lot": lot,
        "form": form,
        "samples": samples_of(lot),
        "largest": largest_thickness(lot),
        "more": form.pieces < MOST_PIECES,
    }
    return render(request, "pieces/of_lot.html", context)


def _shown(pk: int) -> SampleShown:
    row = (
        PieceSample.objects.select_related("lot__plan_version", "load__place").filter(pk=pk).first()
    )
    if row is None:
        raise Http404
    return SampleShown(row, [], largest_thickness(row.lot))


@open_to("operator")
def pieces_correct(request: HouseRequest, pk: int) -> HttpResponse:
    """Puts a sample right: typed over, or taken back."""
    sample = _shown(pk)
    form = CorrectPiecesForm(
        request.POST or None,
        house=request.house,
        sample=sample,
        pieces=how_many(request, "pieces", PIECES, MOST_PIECES, MORE),
    )
    if request.method == "POST" and "more" in request.POST:
        form.is_valid()
    elif request.method == "POST" and form.is_valid():
        now = request.now_ms
        when = Moments(sample.row.observed_at, now, now, by=by_of(request))
        try:
            entries.correct_pieces(
                request.person, sample.row, form.typed(is_sure(form)),
                form.cleaned_data["reason"], when,
            )  # fmt: skip
        except Unlikely as refusal:
            ask_sure(form, IT_IS_SO)
            refuse(form, refusal.fields)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The correction stands beside the old sample.")
            return redirect("lot_pieces", sample.row.lot.code)
    context = {
        "lot": sample.row.lot,
        "form": form,
        "one": sample,
        "more": form.pieces < MOST_PIECES,
    }
    return render(request, "pieces/correct.html", context)
