"""The keeper's page of the book itself: whether it agrees, how old its backup is, room on its disk."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from lots.entries.keeping import ask_for_walk
from lots.queries.house import rules
from lots.queries.keeping import walking, watched
from lots.queries.keeping_page import keeping_at
from lots.views.base import HouseRequest, open_to


@open_to("keeper", methods=("GET",))
def keeping(request: HouseRequest) -> HttpResponse:
    kept, rule = keeping_at(request.now_ms), rules().keeping
    context = {
        "kept": kept,
        "rule": rule,
        "night": f"{rule.walk_at_min // 60:02}:{rule.walk_at_min % 60:02}",
        "took": f"{kept.walk.took_ms / 1000:.1f} s" if kept.walk else "",
    }
    return render(request, "house/keeping.html", context)


@open_to("keeper", methods=("POST",))
def keeping_check(request: HouseRequest) -> HttpResponse:
    """Asks for a walk, which a process beside the server makes: a page must not wait for it."""
    if not watched():
        messages.error(
            request,
            "Nothing was started: the process that checks the book does not run. On the server's console: "
            "manage.py watch_book",
        )
    elif walking():
        messages.info(request, "The book is being checked already.")
    else:
        ask_for_walk(request.now_ms)
        messages.info(request, "The check has been asked for and begins within seconds.")
    return redirect("keeping")
