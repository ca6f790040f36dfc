"""The letter by which a house says that its electronic signatures bind as handwritten ones do."""

from django.http import HttpResponse
from django.shortcuts import render

from lots.views.base import HouseRequest, open_to


@open_to("keeper", "coordinator", methods=("GET",))
def letter(request: HouseRequest) -> HttpResponse:
    """To be printed, signed by hand and sent by the house (21 CFR 11.100(c)); nothing is sent here."""
    return render(request, "house/letter.html")
