"""Brine batches and dry saltings: listed, made, shown, read, scaled, discarded."""

import secrets
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.core.batch import Batch
from lots.core.brine import brine_figures
from lots.entries.batch import (
    NewBatch,
    Strength,
    check_batch,
    correct_batch_reading,
    discard_batch,
    make_batch,
)
from lots.entries.moments import Moments
from lots.entries.refusals import Refused, Unlikely
from lots.forms.batch import (
    MOST_PARTS,
    DiscardForm,
    MakeBatchForm,
    ScaleForm,
    StrengthForm,
    as_it_stands,
    made_from,
    rows_typed,
)
from lots.forms.beside import ask_before
from lots.forms.fields import refuse, show_box
from lots.models.lot import BrineBatch
from lots.models.salt import BatchReading
from lots.queries.batches import (
    batch_lines,
    batch_page,
    batch_value,
    batches,
    before_load,
    figures_of,
    next_code,
    temp_of,
)
from lots.queries.house import usable_instruments
from lots.views.base import HouseRequest, by_of, open_to

BATCHES_A_PAGE = 20


def _batch(pk: int) -> BrineBatch:
    return get_object_or_404(batches(), pk=pk)


def _key() -> dict[str, str]:
    return {"client_key": secrets.token_hex(16)}


def _moments(request: HouseRequest, observed: int, reason: str) -> Moments:
    return Moments(observed, request.now_ms, request.now_ms, 0, reason, by_of(request))


@open_to(methods=("GET",))
def batch_list(request: HouseRequest) -> HttpResponse:
    """Every batch, the newest first: what it is, what lies in it, how often it was used."""
    page = Paginator(batches(), BATCHES_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "batches/list.html", {"page": page, "lines": batch_lines(list(page))})


@open_to("operator")
def batch_make(request: HouseRequest) -> HttpResponse:
    """A new batch, by its parts; from an older one where its number is given."""
    more = request.POST.get("more", "")
    begin = _key() | {"code": next_code()} | _made_from(request)
    rows = max(rows_typed(request.POST, more), sum(name.startswith("kind_") for name in begin))
    form = MakeBatchForm(
        request.POST or None, house=request.house, now_ms=request.now_ms, rows=rows, initial=begin
    )
    if more:
        form = _unjudged(request, rows, begin)
    elif request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        new = NewBatch(
            data["code"], data["method"], form.typed(), data["as_read"], data["unit"], data["note"],
            data["seen"],
        )  # fmt: skip
        when = _moments(request, data["made_at"], data["late_reason"])
        try:
            batch = make_batch(request.person, new, when, data["client_key"])
        except Unlikely as refusal:
            refuse(form, refusal.fields)
            show_box(form, "seen", refusal.mark, "It is so: keep the batch as it is typed")
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"{batch.code} is in the book.")
            return redirect("batch_show", batch.pk)
    context = {"form": form, "rows": rows, "most": MOST_PARTS}
    return render(request, "batches/make.html", context)


def _unjudged(request: HouseRequest, rows: int, begin: dict[str, Any]) -> MakeBatchForm:
    """The form with all that was typed and more rows; nothing of it is judged yet."""
    typed = {name: request.POST[name] for name in request.POST}
    return MakeBatchForm(
        None, house=request.house, now_ms=request.now_ms, rows=rows, initial=begin | typed
    )


def _made_from(request: HouseRequest) -> dict[str, str]:
    """The parts of an older batch, as it was or scaled, where one is named."""
    number = request.GET.get("from", "")
    if not number.isdecimal():
        return {}
    old = _batch(int(number))
    form = _scale_form(request, old) if "by" in request.GET else None
    if form is None:
        return made_from(batch_value(old))
    return made_from(form.cleaned_data["scaled"]) if form.is_valid() else {}


@open_to(methods=("GET",))
def batch_show(request: HouseRequest, pk: int) -> HttpResponse:
    """Everything of one batch."""
    return render(request, "batches/show.html", batch_page(_batch(pk)))


@open_to("operator")
def batch_check(request: HouseRequest, pk: int) -> HttpResponse:
    """The strength of a batch as an instrument shows it."""
    batch = _batch(pk)
    form = _strength_form(request, request.POST or None, initial={"means": "salometer"} | _key())
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        when = _moments(request, data["observed_at"], data["late_reason"])
        try:
            row = check_batch(request.person, batch, _strength(data), when, data["client_key"])
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"{batch.code} has {_degrees(row)} °SAL.")
            return redirect("batch_show", pk)
    context = {"form": form, "batch": batch, "title": f"Read the strength of {batch.code}",
               "figures": figures_of(batch), "button": "Store the reading",
               "sweet": batch_value(batch).sugar_mg}  # fmt: skip
    return render(request, "batches/check.html", context)


def _degrees(row: BatchReading) -> str:
    return f"{row.value / 1_000_000:.1f}"


def _strength_form(request: HouseRequest, data: Any, **options: Any) -> StrengthForm:
    return StrengthForm(
        data,
        house=request.house,
        now_ms=request.now_ms,
        instruments=usable_instruments(),
        **options,
    )


def _strength(data: dict[str, Any]) -> Strength:
    return Strength(
        data["means"], data["as_read"], data["brine_as_read"], data["brine_unit"], data["instrument"],
        data["reference"], data["full_scale"], data.get("note", ""),
    )  # fmt: skip


@open_to("operator")
def batch_reading_correct(request: HouseRequest, pk: int) -> HttpResponse:
    wrong = get_object_or_404(BatchReading.objects.select_related("batch", "instrument"), pk=pk)
    form = _strength_form(
        request, request.POST or None, correcting=True, initial=as_it_stands(wrong)
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        when = _moments(request, wrong.observed_at, "")
        try:
            correct_batch_reading(request.person, wrong, _strength(data), data["reason"], when)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The correction stands beside the old reading.")
            return redirect("batch_show", wrong.batch_id)
    context = {"form": form, "batch": wrong.batch, "title": "Put a reading right",
               "sweet": batch_value(wrong.batch).sugar_mg, "button": "Store the correction"}  # fmt: skip
    return render(request, "batches/check.html", context)


@open_to("operator")
def batch_discard(request: HouseRequest, pk: int) -> HttpResponse:
    batch = _batch(pk)
    form = DiscardForm(request.POST or None, house=request.house, now_ms=request.now_ms)
    if request.method == "POST" and form.is_valid():
        when = _moments(request, form.cleaned_data["observed_at"], "")
        try:
            discard_batch(request.person, batch, form.cleaned_data["reason"], when)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"{batch.code} is discarded.")
            return redirect("batch_show", pk)
    return render(request, "batches/discard.html", {"form": form, "batch": batch})


def _scale_form(request: HouseRequest, batch: BrineBatch) -> ScaleForm:
    data = request.GET if "by" in request.GET else None
    return ScaleForm(data, house=request.house, temp=temp_of(batch), batch=batch_value(batch))


@open_to(methods=("GET",))
def batch_scale(request: HouseRequest, pk: int) -> HttpResponse:
    """The batch made larger or smaller: its weights, from which a new batch can be made."""
    batch = _batch(pk)
    form = _scale_form(request, batch)
    scaled: Batch | None = form.cleaned_data.get("scaled") if form.is_valid() else None
    figures = None
    if scaled is not None and scaled.method == "brine":
        figures = brine_figures(scaled, temp_of(batch))
    context = {"form": form, "batch": batch, "scaled": scaled, "figures": figures,
               "temp": temp_of(batch), "query": request.GET.urlencode()}  # fmt: skip
    return render(request, "batches/scale.html", context)


@open_to(methods=("GET",))
def batch_before(request: HouseRequest) -> HttpResponse:
    """What is said of a batch before the fish goes in, as a tablet asks it."""
    try:
        ask = ask_before(request.GET, request.now_ms)
    except Refused as refusal:
        return JsonResponse({"refused": refusal.fields}, status=422)
    before = before_load(ask)
    said = before.said
    return JsonResponse(
        {
            "mark": before.mark,
            "facts": said.facts,
            "nitrite": said.nitrite,
            "salt": said.salt,
            "asks": before.asks,
            "barred": before.barred,
            "opens": before.opens,
        }
    )
