"""Instruments: registering them, checking their accuracy, retiring them."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.core.units import show_span
from lots.entries.house import (
    check_accuracy,
    register_instrument,
    retire_instrument,
    set_check_period,
)
from lots.entries.moments import moments
from lots.entries.refusals import Refused
from lots.forms.accuracy import AccuracyForm, PeriodForm
from lots.forms.fields import refuse
from lots.forms.house import InstrumentForm, ReasonForm
from lots.models.deviation import Deviation
from lots.models.house import AccuracyCheck, Instrument
from lots.queries.accuracy_checks import (
    IN_DEGREES,
    limit_id_of,
    register,
    registered,
    show_error,
)
from lots.queries.house import accuracy_checks
from lots.queries.look_back import look_back
from lots.queries.look_back_effect import Effects
from lots.views.base import HouseRequest, open_to

MAY_REGISTER = ("keeper", "coordinator", "reviewer")
MAY_CHECK = ("operator", "reviewer", "coordinator")
CHECKS_A_PAGE = 30


@open_to(writes=MAY_REGISTER)
def instruments(request: HouseRequest) -> HttpResponse:
    form = InstrumentForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            new = register_instrument(request.person, form.instrument(), request.now_ms)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"{new.name} is registered.")
            return redirect("instruments")
    rows = register(request.now_ms)
    may_register = bool(request.rights & set(MAY_REGISTER))
    context = {
        "form": form,
        "rows": rows,
        "waiting": sum(row.overdue or row.off for row in rows),
        "may_register": may_register,
    }
    return render(request, "instruments/instruments.html", context)


def _accuracy_form(request: HouseRequest, *data: object) -> AccuracyForm:
    house = request.house
    begin = {"unit": house.temperature_unit}
    return AccuracyForm(*data, zone=house.zone, now_ms=request.now_ms, initial=begin)  # type: ignore[arg-type]


@open_to(writes=MAY_CHECK)
def instrument_show(request: HouseRequest, pk: int) -> HttpResponse:
    one = _instrument(pk)
    if request.method != "POST":
        return _instrument_page(request, one, _accuracy_form(request), ReasonForm())
    form = _accuracy_form(request, request.POST)
    if form.is_valid():
        try:
            check = _checked(request, one, form)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            _tell(request, one, check)
            if check.within:
                return redirect("instrument_show", pk)
            return redirect("look_back_show", check.pk)
    return _instrument_page(request, one, form, ReasonForm())


def _checked(request: HouseRequest, one: Instrument, form: AccuracyForm) -> AccuracyCheck:
    _check_kind(one)
    typed = form.cleaned_data
    when = moments(typed["observed_at"], request.now_ms, typed["late_reason"])
    return check_accuracy(
        request.person, one, typed["method"], typed["as_read"], typed["expected"], typed["unit"],
        when, typed["note"],
    )  # fmt: skip


def _check_kind(one: Instrument) -> None:
    if one.kind not in IN_DEGREES:
        raise Refused("This version keeps accuracy checks of thermometers and data loggers only.")


def _tell(request: HouseRequest, one: Instrument, check: AccuracyCheck) -> None:
    if check.within:
        messages.success(request, f"{one.name} reads within {check.tolerance}.")
        return
    opened = Deviation.objects.filter(limit_id=limit_id_of(check)).count()
    lots = "1 lot" if opened == 1 else f"{opened} lots"
    messages.warning(
        request,
        f"{one.name} is off by more than {check.tolerance}. The check is stored. Take another "
        f"thermometer. A deviation was opened on {lots} that relied on this one."
        if opened
        else f"{one.name} is off by more than {check.tolerance}. The check is stored. Take another "
        "thermometer. No lot relied on this one that no deviation speaks of yet.",
    )


def _instrument_page(
    request: HouseRequest,
    one: Instrument,
    check: AccuracyForm,
    retire: ReasonForm,
    period: PeriodForm | None = None,
) -> HttpResponse:
    period = PeriodForm() if period is None else period
    in_use = getattr(one, "retired", None) is None
    may_check = in_use and one.kind in IN_DEGREES and bool(request.rights & set(MAY_CHECK))
    all_checks = accuracy_checks(one)
    checks = Paginator(all_checks, CHECKS_A_PAGE).get_page(request.GET.get("page"))
    may_register = bool(request.rights & set(MAY_REGISTER))
    context = {
        "one": one,
        "row": registered(one, all_checks.first(), request.now_ms),
        "period": period,
        "may_set": period.is_bound or (in_use and one.kind in IN_DEGREES and may_register),
        "in_use": in_use,
        "in_degrees": one.kind in IN_DEGREES,
        "checks": checks,
        "check": check,
        "retire": retire,
        # a refused form is shown with its refusal even where somebody else was quicker
        "may_check": check.is_bound or may_check,
        "may_retire": retire.is_bound or (in_use and may_register),
    }
    return render(request, "instruments/instrument.html", context)


def _instrument(pk: int) -> Instrument:
    rows = Instrument.objects.select_related("place", "line", "retired__line")
    return get_object_or_404(rows, pk=pk)


@open_to(*MAY_REGISTER, methods=("POST",))
def instrument_period(request: HouseRequest, pk: int) -> HttpResponse:
    """Says how often the instrument is checked."""
    one = _instrument(pk)
    form = PeriodForm(request.POST)
    if form.is_valid():
        typed = form.cleaned_data
        try:
            _check_kind(one)
            set_check_period(
                request.person, one, typed["every"], typed["period_reason"], request.now_ms
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(
                request, f"{one.name} is to be checked every {show_span(typed['every'])}."
            )
            return redirect("instrument_show", pk)
    return _instrument_page(request, one, _accuracy_form(request), ReasonForm(), form)


@open_to(methods=("GET",))
def look_back_show(request: HouseRequest, pk: int) -> HttpResponse:
    """A check with, where it found the instrument off, every lot that relied on it."""
    rows = AccuracyCheck.objects.select_related("instrument", "line__person")
    check = get_object_or_404(rows, pk=pk)
    context = {"check": check, "one": check.instrument}
    if not check.within:
        found = look_back(check)
        effects = Effects(check, request.now_ms)
        context |= {
            "found": found,
            "error": show_error(check),
            "groups": [
                (title, css, [(one, effects.of(one)) for one in lots])
                for title, css, lots in (
                    ("Left the house: recall or not?", "left", found.left),
                    ("Held in the house", "held", found.held),
                    ("Nothing left to hold", "gone", found.gone),
                )
                if lots
            ],
        }
    return render(request, "instruments/look_back.html", context)


@open_to(*MAY_REGISTER, methods=("POST",))
def instrument_retire(request: HouseRequest, pk: int) -> HttpResponse:
    one = _instrument(pk)
    form = ReasonForm(request.POST)
    if form.is_valid():
        try:
            retire_instrument(request.person, one, form.cleaned_data["reason"], request.now_ms)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"{one.name} is retired.")
            return redirect("instruments")
    return _instrument_page(request, one, _accuracy_form(request), form)
