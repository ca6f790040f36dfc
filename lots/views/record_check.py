"""A sealed record dropped on a page, by whoever has one; no account is asked for."""

import hashlib
from pathlib import Path
from typing import Any, cast

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from lots.entries.check_tries import count_check
from lots.entries.refusals import Refused
from lots.forms.record_check import CheckForm
from lots.pdf.apart import Bounds, TooMuch, check_apart
from lots.queries.house import rules
from lots.queries.issued import issued_words, trusted
from lots.views.base import HouseRequest, now_ms, open_door
from lots.views.one_at_a_time import Busy, slot

OUTCOMES = {
    "intact": ("Intact", "="),
    "altered": ("Altered, or no record of this logbook", "\N{NOT EQUAL TO}"),
    "unknown": ("Intact, but the seal is not one that is known here", "?"),
}


@open_door
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def record_check(request: HttpRequest) -> HttpResponse:
    """The page with the field, or what was found of the file."""
    if request.method != "POST":
        return _page(request, CheckForm())
    form = CheckForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, form, status=400)
    address = request.META.get("REMOTE_ADDR", "")
    try:
        count_check(address, now_ms())
        with slot(Path(settings.DATA_DIR)):
            found = _checked(form.cleaned_data["file"])
    except Refused as refusal:
        form.add_error("file", str(refusal))
        return _page(request, form, status=429)
    except Busy:
        form.add_error(
            "file", "Other files are being checked just now. Try again in half a minute."
        )
        return _page(request, form, status=503)
    except TooMuch as error:
        form.add_error(
            "file",
            f"This file could not be checked here: {error}. That is no sign that it is genuine. Check it "
            "on a machine of your own: python -m lots.pdf.check FILE.",
        )
        return _page(request, form, status=422)
    return _page(request, CheckForm(), found)


def _page(
    request: HttpRequest, form: CheckForm, found: dict[str, Any] | None = None, status: int = 200
) -> HttpResponse:
    asked = cast(HouseRequest, request)
    context = {"form": form, "found": found, "house_name": asked.house.name}
    return render(request, "records/check.html", context, status=status)


def _checked(file: Any) -> dict[str, Any]:
    data = file.read()
    bounds = Bounds(rules().check_memory_mb, rules().check_seconds)
    found = check_apart(data, trusted(), bounds)
    words, sign = OUTCOMES[found["outcome"]]
    ours = found["outcome"] == "intact"
    said = issued_words(hashlib.sha256(data).hexdigest(), ours)
    if found["outcome"] == "altered":
        said = ""
    strange = ours and "NOT ISSUE" in said
    if strange:
        words, sign = (
            "Sealed with this house’s key, but not issued by its book",
            OUTCOMES["altered"][1],
        )
    lines = [one for one in (*found["lines"], said) if one]
    return {**found, "words": words, "sign": sign, "lines": lines, "name": file.name}
