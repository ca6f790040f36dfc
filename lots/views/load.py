"""Loads: started, shown, moved, ended."""

import secrets
from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.core.moments import show_moment
from lots.core.series import Chunk
from lots.entries.batch import Named, name_batch
from lots.entries.brining import Salting
from lots.entries.load import Portion, end_load, move_start, say_probe_left, start_load
from lots.entries.moments import Moments
from lots.entries.note import write_note
from lots.entries.refusals import Refused, Unlikely
from lots.forms.batch import NameBatchForm
from lots.forms.fields import refuse, show_box
from lots.forms.load import EndLoadForm, MoveLoadForm, NoteForm, ProbeLeftForm, StartLoadForm
from lots.models.lot import Load
from lots.queries.batches import (
    METHOD_OF,
    Ask,
    Before,
    batches,
    before_load,
    filtering_lifts,
    usable_batches,
)
from lots.queries.evidence import own_series, started_at
from lots.queries.house import open_places, say_weight
from lots.queries.load_page import end_page, load_page, startable
from lots.views.base import HouseRequest, by_of, open_to


def _load(pk: int) -> Load:
    rows = Load.objects.select_related("place__within").prefetch_related("moves", "ends__accepted")
    return get_object_or_404(rows, pk=pk)


def _key() -> dict[str, str]:
    """A new name for the entry: the form sent twice is taken once."""
    return {"client_key": secrets.token_hex(16)}


def _moments(request: HouseRequest, observed: int, reason: str) -> Moments:
    return Moments(observed, request.now_ms, request.now_ms, 0, reason, by_of(request))


@open_to("operator")
def load_start(request: HouseRequest) -> HttpResponse:
    """First the step, then the place, the lots and how much of each."""
    code = request.GET.get("lot", "")
    steps = startable(code)
    chosen = next((one for one in steps if one.key == request.GET.get("step")), None)
    if chosen is None:
        batch = request.GET.get("batch", "")
        if batch:
            steps = [one for one in steps if one.key.partition("|")[0] in METHOD_OF]
        context = {"steps": steps, "code": code, "batch": batch}
        return render(request, "loads/choose_step.html", context)
    places = open_places().filter(kind=chosen.place_kind)
    kind = chosen.key.partition("|")[0]
    form = StartLoadForm(
        request.POST or None,
        house=request.house,
        now_ms=request.now_ms,
        places=places,
        lots=chosen.lots,
        batches=usable_batches(METHOD_OF[kind]) if kind in METHOD_OF else None,
        filtering=any(filtering_lifts(lot) for lot, _ in chosen.lots),
        initial=_key()
        | {f"lot_{lot.pk}": say_weight(free) for lot, free in chosen.lots if lot.code == code}
        | {"brine_batch": request.GET.get("batch", "")},
    )
    before = None
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        portions = [
            Portion(lot, chosen.step_id, data[f"lot_{lot.pk}"])
            for lot, _ in chosen.lots
            if data[f"lot_{lot.pk}"] is not None
        ]
        when, salting = _moments(request, data["started_at"], data["late_reason"]), form.salting()
        try:
            key = data["client_key"]
            load = start_load(
                request.person, data["place"], portions, when, data["note"], salting, key
            )
        except Unlikely:
            before = _before(salting, portions, when.observed_at)
            show_box(form, "seen", before.mark, "I have seen this: start the load")
        except Refused as refusal:
            refuse(form, {form.beside(name): text for name, text in refusal.fields.items()})
            before = _barred(salting, portions, when.observed_at, refusal)
            if before is not None:
                words = "The fish already lies in it: keep the load as it is"
                show_box(form, "already", before.mark, words)
        else:
            messages.success(request, f"{chosen.name} has begun in {load.place.name}.")
            return redirect("load_show", load.pk)
    context = {"form": form, "step": chosen, "before": before, "salted": kind in METHOD_OF}
    return render(request, "loads/start.html", context)


def _before(salting: Salting, portions: Sequence[Portion], at: int) -> Before:
    """What is said of the batch before the fish goes in."""
    fish = tuple((portion.lot, portion.grams) for portion in portions)
    batch = batches().get(pk=salting.batch.pk)  # type: ignore[union-attr]
    return before_load(Ask(batch, salting.brine_g, fish, at, salting.filtered))


def _barred(
    salting: Salting, portions: Sequence[Portion], at: int, refusal: Refused
) -> Before | None:
    """What bars the batch for this fish, where it was that which was refused."""
    if salting.batch is None or set(refusal.fields) != {"brine_batch"}:
        return None
    before = _before(salting, portions, at)
    return before if " ".join(before.barred) == refusal.fields["brine_batch"] else None


@open_to("operator")
def load_batch(request: HouseRequest, pk: int) -> HttpResponse:
    """Names the batch that a load already lies in, after a look at what it is and can do."""
    load = _load(pk)
    method = METHOD_OF.get(load.step_kind)
    if method is None:
        raise Http404
    form = NameBatchForm(request.POST or None, house=request.house, batches=usable_batches(method))
    before = None
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        named = Named(data["brine_batch"], data["brine_g"], data["reason"], data["seen"])
        try:
            name_batch(request.person, load, named, _moments(request, request.now_ms, ""))
        except Unlikely:
            before = _before_of(load, named)
            show_box(form, "seen", before.mark, "I have seen this: name the batch")
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The batch is named; the limits were judged anew.")
            return redirect("load_show", pk)
    context = {"form": form, "load": load, "before": before, "lies": True}
    return render(request, "batches/name.html", context)


def _before_of(load: Load, named: Named) -> Before:
    parts = load.parts.select_related("lot__plan_version").order_by("pk")
    fish = tuple((part.lot, part.grams) for part in parts)
    batch = batches().get(pk=named.batch.pk)
    return before_load(Ask(batch, named.brine_g, fish, started_at(load), load=load.pk))


@open_to(methods=("GET",))
def load_show(request: HouseRequest, pk: int) -> HttpResponse:
    """Everything of one load: its lots, limits, readings."""
    return render(request, "loads/show.html", load_page(_load(pk), request.now_ms))


@open_to("operator")
def load_move(request: HouseRequest, pk: int) -> HttpResponse:
    load = _load(pk)
    form = MoveLoadForm(request.POST or None, house=request.house, now_ms=request.now_ms)
    if request.method == "POST" and form.is_valid():
        when = _moments(request, form.cleaned_data["started_at"], form.cleaned_data["reason"])
        try:
            move_start(request.person, load, when, form.cleaned_data["reason"])
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The start was moved; its limits were judged anew.")
            return redirect("load_show", pk)
    return render(request, "loads/move.html", {"form": form, "load": load})


@open_to("operator")
def load_end(request: HouseRequest, pk: int) -> HttpResponse:
    load = _load(pk)
    correcting = bool(load.ends.all())
    form = EndLoadForm(
        request.POST or None, house=request.house, now_ms=request.now_ms, correcting=correcting,
        initial=_key(),
    )  # fmt: skip
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        when = _moments(request, data["ended_at"], data["late_reason"])
        try:
            end_load(
                request.person, load, when, data["note"], data.get("correct_because", ""),
                data["client_key"],
            )  # fmt: skip
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"{load.place.name}: the load has ended.")
            return redirect("load_show", pk)
    context = {"form": form, "correcting": correcting} | end_page(load, request.now_ms)
    return render(request, "loads/end.html", context)


def _last_of(series: Mapping[str, Sequence[Chunk]], probe: str, zone: str) -> dict[str, str]:
    """The probe asked about, and the moment of its last reading."""
    if not series.get(probe):
        return {}
    return {"probe": probe, "observed_at": show_moment(series[probe][-1].at[-1], ZoneInfo(zone))}


@open_to("operator")
def probe_left(request: HouseRequest, pk: int) -> HttpResponse:
    load = _load(pk)
    series = own_series(load).series.get("fish", {})
    probes = sorted(probe for probe in series if probe)
    form = ProbeLeftForm(
        request.POST or None,
        house=request.house,
        now_ms=request.now_ms,
        probes=probes,
        initial=_last_of(series, request.GET.get("probe", ""), request.house.zone),
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        when = _moments(request, data["observed_at"], data["reason"])
        try:
            say_probe_left(request.person, load, data["probe"], when, data["reason"])
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The reason is in the book.")
            return redirect("load_show", pk)
    return render(request, "loads/probe_left.html", {"form": form, "load": load})


@open_to("operator")
def load_note(request: HouseRequest, pk: int) -> HttpResponse:
    """Something worth keeping that is no reading."""
    load = _load(pk)
    form = NoteForm(
        request.POST or None, house=request.house, now_ms=request.now_ms, initial=_key()
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        when = _moments(request, data["observed_at"], "")
        try:
            write_note(request.person, load, None, data["text"], when, data["client_key"])
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The note is in the book.")
            return redirect("load_show", pk)
    context = {"form": form, "load": load, "title": "Write a note", "button": "Store the note"}
    return render(request, "readings/load_form.html", context)
