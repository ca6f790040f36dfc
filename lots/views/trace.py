"""From a lot's code or a supplier's lot, back and forth."""

from django.http import HttpResponse
from django.shortcuts import render

from lots.queries.lineage import found
from lots.queries.trace_page import trace_of
from lots.views.base import HouseRequest, open_to


@open_to(methods=("GET",))
def trace(request: HouseRequest) -> HttpResponse:
    """Finds lots by code, supplier's lot or supplier; a single one, or one named whole, is traced."""
    words = request.GET.get("q", "").strip()
    lots = found(words)
    exact = [lot for lot in lots if lot.code == words] or (lots if len(lots) == 1 else [])
    return render(
        request,
        "trace/trace.html",
        {
            "words": words,
            "lots": lots,
            "trace": trace_of(exact[0]) if exact else None,
            "others": [lot for lot in lots if lot not in exact],
        },
    )
