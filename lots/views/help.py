"""How the book is used, and whether the server is well."""

from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from lots.queries.first_steps import first_steps
from lots.queries.house import book_answers, rules
from lots.views.base import HouseRequest, open_door, open_to


@open_to(methods=("GET",))
def help_page(request: HouseRequest) -> HttpResponse:
    return render(request, "help/help.html", {"rules": rules()})


@open_to(methods=("GET",))
def first_steps_page(request: HouseRequest) -> HttpResponse:
    """What leads from an empty house to its first lot; each step with its page, or who may do it."""
    steps = first_steps(request.person)
    to_do = [step for step in steps if not step.done]
    rows = [
        (
            step,
            reverse(step.page, args=[step.pk] if step.pk else [])
            if request.rights & set(step.who)
            else "",
            " or ".join(right.label for right in step.who),
        )
        for step in steps
    ]
    context = {"steps": rows, "left": len(to_do), "next": to_do[0] if to_do else None}
    return render(request, "help/first_steps.html", context)


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
