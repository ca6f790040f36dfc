"""How the book is used, and whether the server is well."""

from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from lots.queries.house import book_answers, rules
from lots.views.base import HouseRequest, open_door, open_to


@open_to(methods=("GET",))
def help_page(request: HouseRequest) -> HttpResponse:
    return render(request, "help/help.html", {"rules": rules()})


@open_door
@never_cache
@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    """200 `ok` when the book can be read, otherwise 503."""
    try:
        book_answers()
    except DatabaseError:
        return HttpResponse("the book cannot be read\n", status=503, content_type="text/plain")
    return HttpResponse("ok\n", content_type="text/plain")
