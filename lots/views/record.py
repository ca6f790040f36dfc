"""Issued records: listed, issued, downloaded."""

import json
from typing import Final

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.entries.record import issue_record
from lots.entries.refusals import NotAllowed, Refused
from lots.forms.fields import refuse
from lots.forms.record import IssueForm
from lots.models.lot import Lot
from lots.models.review import RecordIssued
from lots.queries.record import issued_lots
from lots.views.base import HouseRequest, file_answer, lot_or_404, open_to, password_is_right

PDF: Final = "application/pdf"


@open_to(methods=("GET",))
def records(request: HouseRequest) -> HttpResponse:
    return render(request, "records/list.html", {"records": issued_lots()})


@open_to(methods=("GET",))
def record_download(request: HouseRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(RecordIssued.objects.select_related("file"), pk=pk)
    return file_answer(row.file, PDF)


@open_to("reviewer")
def record_issue(request: HouseRequest, code: str) -> HttpResponse:
    """Seals the record as the book stands; a record of a lot not released says so on every page."""
    lot = lot_or_404(code)
    before = RecordIssued.objects.filter(lot=lot).select_related("line").order_by("revision").last()
    revision = before.revision + 1 if before else 1
    form = IssueForm(request.POST or None, revision=revision)
    if request.method == "POST" and form.is_valid() and _issued(request, lot, form):
        return redirect("lot_show", code)
    context = {"lot": lot, "form": form, "before": before, "revision": revision}
    return render(request, "records/issue.html", context)


def _issued(request: HouseRequest, lot: Lot, form: IssueForm) -> bool:
    typed = form.cleaned_data
    if not password_is_right(request, typed["password"]):
        form.add_error("password", "This is not your password. Nothing was sealed.")
        return False
    page = "letter" if request.house.temperature_unit == "F" else "A4"
    try:
        row = issue_record(
            request.person, lot, request.house, request.now_ms, typed.get("change", ""), page
        )
    except NotAllowed:
        raise
    except Refused as refusal:
        refuse(form, refusal.fields)
        return False
    messages.success(request, f"Record of lot {lot.code}, revision {row.revision}, is sealed.")
    stamp = json.loads(row.line.content).get("stamp", "")
    if stamp:
        say = messages.warning if stamp.startswith("no ") else messages.info
        say(request, f"{stamp[0].upper()}{stamp[1:]}")
    return True
