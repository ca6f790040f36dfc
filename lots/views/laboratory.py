"""Laboratories: what waits, what was found, and whose process is verified."""

import secrets
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.entries import laboratory as entries
from lots.entries.refusals import Refused, Unlikely
from lots.forms.fields import refuse
from lots.forms.laboratory import (
    MORE,
    MOST_SAMPLES,
    SAMPLES,
    GiveUpForm,
    PutRightForm,
    ReportForm,
    SendForm,
    said_of,
)
from lots.forms.sure import ask_sure, how_many, is_sure
from lots.models.lot import LaboratorySent, Lot
from lots.models.plan import Plan
from lots.queries.laboratory import (
    newest_reports,
    report_of,
    verifications,
    waiting_of,
    waiting_samples,
)
from lots.views.base import HouseRequest, lot_or_404, open_to, upload_of, zone_of

PRINTED_SO = "It is printed so on the report"


@open_to(methods=("GET",))
def laboratory(request: HouseRequest) -> HttpResponse:
    """Samples that wait, the newest reports, and the verifications of each plan's process."""
    context = {
        "waiting": waiting_samples(),
        "reports": newest_reports(),
        "verified": verifications(),
    }
    return render(request, "laboratory/index.html", context)


def _plan(pk: int) -> Plan:
    return get_object_or_404(Plan, pk=pk)


@open_to("operator", "reviewer", "coordinator")
def lot_laboratory(request: HouseRequest, code: str) -> HttpResponse:
    """What a laboratory found in a lot."""
    return _report(request, lot_or_404(code))


@open_to("operator", "reviewer", "coordinator")
def process_laboratory(request: HouseRequest, pk: int) -> HttpResponse:
    """A verification of a plan's process."""
    return _report(request, _plan(pk))


def _report(request: HouseRequest, subject: Lot | Plan) -> HttpResponse:
    waiting = waiting_of(subject)
    form = ReportForm(
        request.POST or None,
        request.FILES or None,
        house=request.house,
        now_ms=request.now_ms,
        waiting=waiting,
        samples=how_many(request, "samples", SAMPLES, MOST_SAMPLES, MORE),
        initial={"client_key": secrets.token_hex(16)} | _begun(request, waiting),
    )
    if request.method == "POST" and "more" in request.POST:
        form.is_valid()
    elif request.method == "POST" and form.is_valid():
        new = form.new(upload_of(request, "report"), is_sure(form))
        data = form.cleaned_data
        try:
            rows = entries.enter_report(
                request.person, subject, new, data["sampled_at"], data["reported_at"],
                request.now_ms, data["client_key"],
            )  # fmt: skip
        except Unlikely as refusal:
            ask_sure(form, PRINTED_SO)
            refuse(form, refusal.fields)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            found = ", ".join(row.quantity for row in rows)
            messages.success(request, f"The report is in the book: {found}.")
            return _back(subject)
    context = {"form": form, "subject": subject, "more": form.samples < MOST_SAMPLES}
    return render(request, "laboratory/report.html", context | _of(subject))


def _begun(request: HouseRequest, waiting: list[Any]) -> dict[str, Any]:
    """What the form begins with where the page was come to from samples that wait."""
    text = request.GET.get("sent", "")
    for one in waiting:
        if str(one.sent.pk) == text:
            return said_of(one.sent, zone_of(request))
    return {}


def _of(subject: Lot | Plan) -> dict[str, Any]:
    return {"lot": subject} if isinstance(subject, Lot) else {"plan": subject}


def _back(subject: Lot | Plan) -> HttpResponse:
    return (
        redirect("lot_show", subject.code) if isinstance(subject, Lot) else redirect("laboratory")
    )


@open_to("operator", "reviewer", "coordinator")
def lot_send(request: HouseRequest, code: str) -> HttpResponse:
    """Samples of a lot go to a laboratory."""
    return _send(request, lot_or_404(code))


@open_to("operator", "reviewer", "coordinator")
def process_send(request: HouseRequest, pk: int) -> HttpResponse:
    """Samples that verify a plan's process go to a laboratory."""
    return _send(request, _plan(pk))


def _send(request: HouseRequest, subject: Lot | Plan) -> HttpResponse:
    form = SendForm(
        request.POST or None,
        house=request.house,
        now_ms=request.now_ms,
        initial={"client_key": secrets.token_hex(16)},
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            entries.send_samples(
                request.person, subject, form.sending(), data["sampled_at"], request.now_ms,
                data["client_key"],
            )  # fmt: skip
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "That samples were sent is in the book.")
            return _back(subject)
    context = {"form": form, "subject": subject} | _of(subject)
    return render(request, "laboratory/send.html", context)


@open_to("reviewer", "coordinator")
def report_correct(request: HouseRequest, pk: int) -> HttpResponse:
    """Puts a report right: its figures are typed over, what was stays beside it."""
    try:
        report = report_of(pk)
    except LookupError:
        raise Http404 from None
    form = PutRightForm(
        request.POST or None,
        report=report,
        samples=how_many(request, "samples", SAMPLES, MOST_SAMPLES, MORE),
    )
    if request.method == "POST" and "more" in request.POST:
        form.is_valid()
    elif request.method == "POST" and form.is_valid():
        try:
            entries.correct_report(request.person, pk, form.new(is_sure(form)), request.now_ms)
        except Unlikely as refusal:
            ask_sure(form, PRINTED_SO)
            refuse(form, refusal.fields)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The correction stands beside the old figures.")
            return _back(report.subject)
    context = {"form": form, "report": report, "more": form.samples < MOST_SAMPLES}
    return render(request, "laboratory/correct.html", context | _of(report.subject))


@open_to("reviewer", "coordinator")
def samples_give_up(request: HouseRequest, pk: int) -> HttpResponse:
    """Keeps that nothing more will come of samples sent."""
    rows = LaboratorySent.objects.select_related("lot", "plan", "line__person")
    sent = get_object_or_404(rows.prefetch_related("results"), pk=pk)
    form = GiveUpForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            entries.give_up_samples(
                request.person, sent, form.cleaned_data["reason"], request.now_ms
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "Nothing more is waited for of these samples.")
            return redirect("laboratory")
    context = {"form": form, "sent": sent} | _of(sent.lot or sent.plan)
    return render(request, "laboratory/give_up.html", context)
