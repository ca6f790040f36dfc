"""The opening page of a shift."""

from django.http import HttpResponse
from django.shortcuts import render

from lots.entries.lapses import lapsed
from lots.queries.board import by_place, loads_now, lots_between_steps
from lots.queries.deviation_page import open_count
from lots.views.base import HouseRequest, open_to


@open_to(methods=("GET",))
def shift(request: HouseRequest) -> HttpResponse:
    """Every load in the house: what it shows, and what is due."""
    loads = loads_now(request.now_ms)
    lots = {part.lot_id: part.lot for now in loads for part in now.parts}
    context = {
        "loads": loads,
        "tiles": by_place(loads, request.now_ms),
        "waiting": lots_between_steps(loads),
        "deviations": open_count(),
        "broken": lapsed(lots.values(), request.now_ms),
    }
    return render(request, "shift/shift.html", context)
