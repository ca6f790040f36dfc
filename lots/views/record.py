"""Issued records: listed, issued, downloaded."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.entries.record import issue_record
from lots.entries.refusals import Refused
from lots.models.review import RecordIssued
from lots.queries.house import file_bytes
from lots.queries.lot_page import get_lot
from lots.queries.record import issued_lots
from lots.views.base import HouseRequest, open_to


@open_to(methods=("GET",))
def records(request: HouseRequest) -> HttpResponse:
    return render(request, "records/list.html", {"records": issued_lots()})


@open_to(methods=("GET",))
def record_download(request: HouseRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(RecordIssued.objects.select_related("lot", "file"), pk=pk)
    response = HttpResponse(file_bytes(row.file), content_type="application/pdf")
    name = "".join(c if c.isalnum() or c in ".-_" else "_" for c in row.file.name)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@open_to("reviewer", methods=("POST",))
def record_issue(request: HouseRequest, code: str) -> HttpResponse:
    """Seals the record as the book stands; a record of a lot not released says so on every page."""
    lot = get_lot(code)
    if lot is None:
        raise Http404
    page = "letter" if request.house.temperature_unit == "F" else "A4"
    try:
        row = issue_record(request.person, lot, request.house, request.now_ms, page=page)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"Record of lot {code}, revision {row.revision}, is sealed.")
    return redirect("lot_show", code)
