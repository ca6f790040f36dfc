"""All records of a period as one download with an index, for the house and for a visit."""

import tempfile
from collections.abc import Collection
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from lots.entries.visit import see
from lots.forms.visit import PeriodForm
from lots.models.plan import PlanVersion
from lots.queries.period_records import (
    PeriodLot,
    PeriodRecords,
    RecordsZip,
    index_csv,
    period_records,
)
from lots.queries.plan_sheet import plan_sheet
from lots.queries.plans import house_at, plan_value
from lots.queries.reassess import reassessments_of
from lots.views.base import HouseRequest, open_to, zone_of
from lots.views.visit_door import VisitRequest, in_visit, show_page

SHEET = "css/smokehouse.css"


def _asked(
    request: HouseRequest, lots: Collection[int] | None
) -> tuple[PeriodForm, PeriodRecords | None]:
    """The days asked for, and what was found of them; None where nothing (or nonsense) was asked."""
    form = PeriodForm(request.GET or None)
    if not form.is_valid():
        return form, None
    return form, period_records(form.period(), request.house, lots)


def _context(form: PeriodForm, found: PeriodRecords | None) -> dict[str, Any]:
    query = urlencode({n: str(form.cleaned_data[n]) for n in form.fields}) if found else ""
    return {"form": form, "found": found, "query": query}


@open_to(methods=("GET",))
def records_period(request: HouseRequest) -> HttpResponse:
    return render(request, "records/period.html", _context(*_asked(request, None)))


@open_to(methods=("GET",))
def records_zip(request: HouseRequest) -> HttpResponse:
    form, found = _asked(request, None)
    if found is None or found.too_much:
        return render(request, "records/period.html", _context(form, found), status=400)
    return _download(request, found)


def _of_visit(request: VisitRequest) -> set[int]:
    return set(request.visit.lots.values_list("lot", flat=True))


@in_visit()
def visit_period(request: VisitRequest) -> HttpResponse:
    context = _context(*_asked(request, _of_visit(request)))
    return show_page(request, "All records of a period", "visit/period.html", context)


@in_visit()
def visit_zip(request: VisitRequest) -> HttpResponse:
    form, found = _asked(request, _of_visit(request))
    if found is None or found.too_much:
        context = {"visit": request.visit, **_context(form, found)}
        return render(request, "visit/period.html", context, status=400)
    answer = _download(request, found)
    what = f"Download of all records of lots {found.period.words}"
    address = f"{request.path}?{_context(form, found)['query']}"
    see(request.visit, what, address, request.now_ms)
    return answer


def _download(request: HouseRequest, found: PeriodRecords) -> FileResponse:
    """The ZIP, made in a nameless file of the data folder that goes when it has been sent."""
    folder = Path(settings.STAGED_DIR)
    folder.mkdir(parents=True, exist_ok=True)
    target = tempfile.TemporaryFile(dir=folder)  # closed by the answer  # noqa: SIM115
    _fill(request, target, found)
    target.seek(0)
    name = f"records-{found.period.first}-to-{found.period.last}.zip"
    return FileResponse(target, as_attachment=True, filename=name, content_type="application/zip")


def _fill(request: HouseRequest, target: Any, found: PeriodRecords) -> None:
    zone = zone_of(request)
    made = RecordsZip(target, request.now_ms, zone)
    rows = [(one, made.add_record(one) if one.record else None) for one in found.rows]
    plans = [
        (version, made.add(plan_name(version), _printed(request, version)))
        for version in found.versions
    ]
    made.add("index.csv", index_csv(found, made.packed, zone).encode())
    made.add("paper.css", _sheet())
    context = _index_context(request, found, rows, plans)
    made.add("index.html", render_to_string("records/index.html", context, request).encode())
    made.close()


def _index_context(
    request: HouseRequest,
    found: PeriodRecords,
    rows: list[tuple[PeriodLot, Any]],
    plans: list[tuple[PlanVersion, Any]],
) -> dict[str, Any]:
    return {
        "found": found,
        "rows": rows,
        "plans": plans,
        "wrong": [(one, file) for one, file in rows if file and file.wrong],
        "visit": getattr(request, "visit", None),
        "made_at": request.now_ms,
    }


def plan_name(version: PlanVersion) -> str:
    """Under which a plan's version lies in the download."""
    return f"plans/plan-{version.plan_id}-version-{version.number}.html"


def _printed(request: HttpRequest, version: PlanVersion) -> bytes:
    """The plan's version as the house prints it: a page without script and without links."""
    context = {
        "version": version,
        "past": reassessments_of(version),
        "house": house_at(version.signature.at) or request.house,  # type: ignore[attr-defined]
        "sheet": plan_sheet(plan_value(version)),
    }
    return render_to_string("records/plan.html", context, request).encode()


def _sheet() -> bytes:
    """The look of the pages, so that they need no server."""
    found = finders.find(SHEET)
    assert isinstance(found, str)
    return Path(found).read_bytes()
