"""Places: opening them, what they hold, closing them."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.entries.house import close_place, open_place
from lots.entries.refusals import Refused
from lots.forms.fields import refuse
from lots.forms.house import PlaceForm, ReasonForm
from lots.models.house import Place
from lots.queries.house import all_places, loads_now
from lots.views.base import HouseRequest, open_to

MAY_OPEN = ("keeper", "coordinator")


@open_to(writes=MAY_OPEN)
def places(request: HouseRequest) -> HttpResponse:
    form = PlaceForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        try:
            place = open_place(
                request.person, typed["name"], typed["kind"], typed["within"], request.now_ms
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"{place.name} is open.")
            return redirect("places")
    may_open = bool(request.rights & set(MAY_OPEN))
    context = {"form": form, "places": all_places(), "may_open": may_open}
    return render(request, "places/places.html", context)


@open_to(methods=("GET",))
def place_show(request: HouseRequest, pk: int) -> HttpResponse:
    return _place_page(request, get_object_or_404(all_places(), pk=pk), ReasonForm())


def _place_page(request: HouseRequest, place: Place, form: ReasonForm) -> HttpResponse:
    context = {
        "place": place,
        "loads": loads_now(place),
        "inside": place.holds.filter(closed=None).order_by("name"),
        "form": form,
        "may_open": bool(request.rights & set(MAY_OPEN)),
    }
    return render(request, "places/place.html", context)


@open_to(*MAY_OPEN, methods=("POST",))
def place_close(request: HouseRequest, pk: int) -> HttpResponse:
    place = get_object_or_404(all_places(), pk=pk)
    form = ReasonForm(request.POST)
    if form.is_valid():
        try:
            close_place(request.person, place, form.cleaned_data["reason"], request.now_ms)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"{place.name} is closed.")
            return redirect("places")
    return _place_page(request, place, form)
