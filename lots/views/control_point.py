"""One control point over the last quarter of a year, as the house and an inspector see it."""

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render

from lots.models.plan import Plan
from lots.queries.control_point_history import History, history
from lots.queries.history_chart import panels
from lots.queries.visit import versions_of
from lots.views.base import HouseRequest, open_to, zone_of
from lots.views.visit_door import VisitRequest, in_visit, show_page


def _context(request: HouseRequest, found: History) -> dict[str, Any]:
    unit = "F" if request.house.temperature_unit == "F" else "C"
    return {"found": found, "panels": panels(found, unit, zone_of(request))}


@open_to(methods=("GET",))
def point_history(request: HouseRequest, pk: int, point: str) -> HttpResponse:
    """Of every lot under the plan."""
    found = history(get_object_or_404(Plan, pk=pk), point, request.now_ms)
    if found is None:
        raise Http404
    return render(request, "plans/history.html", _context(request, found))


@in_visit()
def visit_point(request: VisitRequest, pk: int, point: str) -> HttpResponse:
    """Of the lots of the visit alone."""
    plans = {version.plan for version in versions_of(request.visit)}
    plan = next((one for one in plans if one.pk == pk), None)
    lots = set(request.visit.lots.values_list("lot", flat=True))
    found = history(plan, point, request.now_ms, lots) if plan else None
    if found is None:
        raise Http404
    what = f"Control point {found.point.name}, {found.plan.title}"
    return show_page(request, what, "visit/point.html", _context(request, found))
