"""Readings by hand, and what they answer."""

import secrets
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.core.units import QUANTITIES
from lots.entries import reading as entries
from lots.entries.moments import Moments
from lots.entries.reading import Look
from lots.entries.readings import Figure
from lots.entries.refusals import Refused, Unlikely
from lots.forms.fields import ask_to_confirm, confirmed, refuse
from lots.forms.reading import (
    UNITS,
    AdjustForm,
    CorrectLookForm,
    CorrectReadingForm,
    LookForm,
    MeasureForm,
    ReadingForm,
)
from lots.models.house import KeptFile, Place
from lots.models.lot import Load
from lots.models.reading import Observation, Reading
from lots.queries.answer import answer_page, probes_for, reading_beside, usual_instrument
from lots.queries.board import readable
from lots.queries.house import usable_instruments
from lots.queries.load_page import asked_looks, asked_measures
from lots.views.base import HouseRequest, by_of, file_answer, lot_or_404, open_to, upload_of

SHOWN_IN_PAGE = ("image/jpeg", "image/png", "image/webp")


def _load(pk: int) -> Load:
    rows = Load.objects.select_related("place__within").prefetch_related("moves", "ends__accepted")
    return get_object_or_404(rows, pk=pk)


def _moments(request: HouseRequest, data: dict[str, Any]) -> Moments:
    return Moments(
        data["observed_at"],
        request.now_ms,
        request.now_ms,
        late_reason=data.get("late_reason", ""),
        by=by_of(request),
    )


def _key() -> dict[str, Any]:
    """A new name for the entry: the form sent twice is taken once."""
    return {"client_key": secrets.token_hex(16)}


@open_to(methods=("GET",))
def reading_choose(request: HouseRequest) -> HttpResponse:
    """Which load or place the reading is of."""
    fish, places = readable(request.now_ms)
    return render(request, "readings/choose.html", {"fish": fish, "places": places})


@open_to("operator")
def reading_load(request: HouseRequest, pk: int) -> HttpResponse:
    """A round over the load's fish."""
    load = _load(pk)
    return _enter(request, load.place, load, probes_for(load))


@open_to("operator")
def reading_place(request: HouseRequest, pk: int) -> HttpResponse:
    """A reading of a place, for every lot that stands in it."""
    place = get_object_or_404(Place, pk=pk)
    return _enter(request, place, None, [""])


def _enter(
    request: HouseRequest, place: Place, load: Load | None, probes: list[str]
) -> HttpResponse:
    form = ReadingForm(
        request.POST or None,
        request.FILES or None,
        house=request.house,
        now_ms=request.now_ms,
        probes=probes,
        instruments=usable_instruments(),
        initial=_key() | {"instrument": usual_instrument(place.pk)},
    )
    if request.method == "POST" and form.is_valid():
        try:
            answer = entries.enter_readings(
                request.person,
                place,
                load,
                _figures(form),
                _moments(request, form.cleaned_data),
                upload_of(request, "attachment"),
                form.cleaned_data["client_key"],
            )
        except Unlikely as refusal:
            ask_to_confirm(form, _beside(form, refusal))
            refuse(form, _beside(form, refusal))
        except Refused as refusal:
            refuse(form, _beside(form, refusal))
        else:
            return redirect("reading_answer", answer.readings[0].pk)
    context = {"form": form, "place": place, "load": load}
    beside = reading_beside(place, load, request.now_ms)
    return render(request, "readings/enter.html", context | _place_links(place, load) | beside)


def _place_links(place: Place, load: Load | None) -> dict[str, Any]:
    """The other things of the same load that could be meant."""
    if load is None:
        return {}
    return {"looks": asked_looks(load), "measures": asked_measures(load), "room": place.within}


def _figures(form: ReadingForm) -> list[Figure]:
    data = form.cleaned_data
    return [
        Figure(
            text, data["unit"], probe, instrument=data["instrument"],
            confirmed=confirmed(form, f"read_{probe}"), note=data["note"],
        )
        for probe, text in form.read()
    ]  # fmt: skip


def _beside(form: ReadingForm, refusal: Refused) -> dict[str, str]:
    """The refusal by the form's fields: one that names no fish stands beside the first figure."""
    return {
        (f"read_{form.probes[0]}" if name == "as_read" else name): text
        for name, text in refusal.fields.items()
    }


@open_to(methods=("GET",))
def reading_answer(request: HouseRequest, pk: int) -> HttpResponse:
    """What a reading showed: the figure, the verdicts, and what the plan says to do."""
    rows = Reading.objects.select_related("place__within", "load__place", "line__person")
    reading = get_object_or_404(rows, pk=pk)
    return render(request, "readings/answer.html", answer_page(reading, request.now_ms))


@open_to("operator")
def reading_correct(request: HouseRequest, pk: int) -> HttpResponse:
    rows = Reading.objects.select_related("place__within", "load__place__within", "line__person")
    wrong = get_object_or_404(rows, pk=pk)
    temperature = wrong.quantity == "temperature"
    units = UNITS if temperature else [(u, u) for u in QUANTITIES[wrong.quantity]]
    form = CorrectReadingForm(request.POST or None, units=units, unit=wrong.unit)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        figure = None if data["take_back"] else Figure(
            data["as_read"], data["unit"], instrument=wrong.instrument,
            confirmed=confirmed(form, "as_read"),
        )  # fmt: skip
        when = Moments(wrong.observed_at, request.now_ms, request.now_ms, by=by_of(request))
        try:
            answer = entries.correct_reading(request.person, wrong, figure, data["reason"], when)
        except Unlikely as refusal:
            ask_to_confirm(form, refusal.fields)
            refuse(form, refusal.fields)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The correction stands beside the old reading.")
            return redirect("reading_answer", answer.readings[0].pk)
    return render(request, "readings/correct.html", {"form": form, "wrong": wrong})


@open_to("operator")
def measurement_enter(request: HouseRequest, pk: int) -> HttpResponse:
    load = _load(pk)
    form = MeasureForm(
        request.POST or None, house=request.house, now_ms=request.now_ms,
        instruments=usable_instruments(), asked=asked_measures(load), initial=_key(),
    )  # fmt: skip
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        figure = Figure(
            data["as_read"],
            form.unit(),
            "",
            data["quantity"],
            data["instrument"],
            confirmed(form, "as_read"),
            data["note"],
        )
        try:
            answer = entries.enter_readings(
                request.person, load.place, load, [figure], _moments(request, data),
                client_key=data["client_key"],
            )  # fmt: skip
        except Unlikely as refusal:
            ask_to_confirm(form, refusal.fields)
            refuse(form, refusal.fields)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            return redirect("reading_answer", answer.readings[0].pk)
    context = {"form": form, "load": load, "title": "Measure", "button": "Store the measurement"}
    return render(request, "readings/load_form.html", context)


@open_to("operator")
def observation_enter(request: HouseRequest, pk: int) -> HttpResponse:
    load = _load(pk)
    form = LookForm(
        request.POST or None, request.FILES or None, house=request.house, now_ms=request.now_ms,
        asked=asked_looks(load), initial=_key(),
    )  # fmt: skip
    if request.method == "POST" and form.is_valid():
        upload = upload_of(request, "attachment")
        data = form.cleaned_data
        looks = [
            Look(what, found, data["note"], upload if index == 0 else None)
            for index, (what, found) in enumerate(form.found())
        ]
        try:
            entries.observe(
                request.person, load, looks, _moments(request, data), data["client_key"]
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "What was looked for is in the book.")
            return redirect("load_show", pk)
    context = {"form": form, "load": load, "title": "Look for", "button": "Store what was seen"}
    return render(request, "readings/load_form.html", context)


@open_to("operator")
def observation_correct(request: HouseRequest, pk: int) -> HttpResponse:
    wrong = get_object_or_404(Observation.objects.select_related("load__place__within"), pk=pk)
    form = CorrectLookForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        when = Moments(wrong.observed_at, request.now_ms, request.now_ms, by=by_of(request))
        try:
            entries.correct_observation(
                request.person, wrong, data["found"] == "yes", data["reason"], when
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The correction stands beside the old answer.")
            return redirect("load_show", wrong.load_id)
    context = {"form": form, "load": wrong.load, "title": f"Put right: {wrong.what}",
               "button": "Store the correction"}  # fmt: skip
    return render(request, "readings/load_form.html", context)


@open_to("operator")
def process_adjust(request: HouseRequest, code: str) -> HttpResponse:
    """What was adjusted when an operating limit was exceeded."""
    lot = lot_or_404(code)
    initial = {"limit_id": request.GET.get("limit", ""), "load": request.GET.get("load")}
    form = AdjustForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        load = Load.objects.filter(pk=data["load"] or 0).first()
        try:
            entries.adjust_process(
                request.person, lot, load, data["limit_id"], "", data["what"], request.now_ms
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The process adjustment is in the book.")
            return redirect("lot_show", code)
    return render(request, "readings/adjust.html", {"form": form, "lot": lot})


@open_to(methods=("GET",))
def kept_file(request: HouseRequest, pk: int) -> HttpResponse:
    """A kept photo or paper."""
    kept = get_object_or_404(KeptFile, pk=pk)
    photo = kept.media_type in SHOWN_IN_PAGE
    kind = kept.media_type if photo or kept.media_type == "application/pdf" else "text/plain"
    return file_answer(kept, kind, inline=photo)
