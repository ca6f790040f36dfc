"""Instruments: registering them, checking their accuracy, retiring them."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.entries.house import check_accuracy, register_instrument, retire_instrument
from lots.entries.moments import moments
from lots.entries.refusals import Refused
from lots.forms.fields import refuse
from lots.forms.house import IN_DEGREES, AccuracyForm, InstrumentForm, ReasonForm
from lots.models.house import AccuracyCheck, Instrument
from lots.queries.house import accuracy_checks, all_instruments, rules
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
    rows = [
        {"instrument": one, "check": check, "due": _due(request, one, check)}
        for one, check in all_instruments()
    ]
    may_register = bool(request.rights & set(MAY_REGISTER))
    context = {"form": form, "rows": rows, "may_register": may_register}
    return render(request, "instruments/instruments.html", context)


def _due(request: HouseRequest, one: Instrument, check: AccuracyCheck | None) -> bool:
    """Whether a thermometer in use has no accuracy check that is recent enough."""
    if one.kind not in IN_DEGREES or getattr(one, "retired", None) is not None:
        return False
    return check is None or request.now_ms - check.observed_at > rules().accuracy_within_ms


def _accuracy_form(request: HouseRequest, *data: object) -> AccuracyForm:
    house = request.house
    begin = {"unit": house.temperature_unit}
    return AccuracyForm(*data, zone=house.zone, now_ms=request.now_ms, initial=begin)  # type: ignore[arg-type]


@open_to(writes=MAY_CHECK)
def instrument_show(request: HouseRequest, pk: int) -> HttpResponse:
    one = get_object_or_404(Instrument.objects.select_related("place", "retired__line"), pk=pk)
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
            return redirect("instrument_show", pk)
    return _instrument_page(request, one, form, ReasonForm())


def _checked(request: HouseRequest, one: Instrument, form: AccuracyForm) -> AccuracyCheck:
    if one.kind not in IN_DEGREES:
        raise Refused("This version keeps accuracy checks of thermometers and data loggers only.")
    typed = form.cleaned_data
    when = moments(typed["observed_at"], request.now_ms, typed["late_reason"])
    return check_accuracy(
        request.person, one, typed["method"], typed["as_read"], typed["expected"], typed["unit"],
        when, typed["note"],
    )  # fmt: skip


def _tell(request: HouseRequest, one: Instrument, check: AccuracyCheck) -> None:
    if check.within:
        messages.success(request, f"{one.name} reads within {check.tolerance}.")
    else:
        messages.warning(
            request,
            f"{one.name} is off by more than {check.tolerance}. The check is stored. Take another "
            "thermometer, and tell the HACCP coordinator which readings rest on this one.",
        )


def _instrument_page(
    request: HouseRequest, one: Instrument, check: AccuracyForm, retire: ReasonForm
) -> HttpResponse:
    in_use = getattr(one, "retired", None) is None
    may_check = in_use and one.kind in IN_DEGREES and bool(request.rights & set(MAY_CHECK))
    checks = Paginator(accuracy_checks(one), CHECKS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "one": one,
        "in_use": in_use,
        "in_degrees": one.kind in IN_DEGREES,
        "checks": checks,
        "check": check,
        "retire": retire,
        # a refused form is shown with its refusal even where somebody else was quicker
        "may_check": check.is_bound or may_check,
        "may_retire": retire.is_bound or (in_use and bool(request.rights & set(MAY_REGISTER))),
    }
    return render(request, "instruments/instrument.html", context)


@open_to(*MAY_REGISTER, methods=("POST",))
def instrument_retire(request: HouseRequest, pk: int) -> HttpResponse:
    one = get_object_or_404(Instrument.objects.select_related("place", "retired__line"), pk=pk)
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
