"""The opening page of a shift, which stays in sight beside the smoker."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache

from lots.core.limits import Verdict
from lots.views.base import HouseRequest, open_to
from lots.views.beside import board


@open_to(methods=("GET",))
@never_cache
def shift(request: HouseRequest) -> HttpResponse:
    """Every load in the house: what it shows, and what is due; and all that a tablet goes on with."""
    context, data = board(request)
    answer = render(request, "shift/shift.html", context | {"data": data, "shapes": list(Verdict)})
    answer["X-Beside"] = "shift"  # a service worker keeps this page, and never a log-in page
    return answer
