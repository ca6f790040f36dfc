"""The one box of a form that comes back with something odd: yes, it is so, for what is typed now and nothing
else; and rows of cells of which more can be asked for."""

import hashlib
import json
from typing import Any, Final

from django import forms
from django.http import HttpRequest

from lots.forms.fields import show_box

LEFT_OUT: Final = ("csrfmiddlewaretoken", "client_key", "sure", "more")


def _mark(form: forms.Form) -> str:
    """Stands for all that is typed in the form now."""
    typed = {name: form.data.getlist(name) for name in form.data if name not in LEFT_OUT}
    return hashlib.sha256(json.dumps(typed, sort_keys=True).encode()).hexdigest()


def is_sure(form: forms.Form) -> bool:
    """Whether the box was ticked for the very figures that the form holds now."""
    return form.cleaned_data.get("sure") == _mark(form)


def ask_sure(form: forms.Form, words: str) -> None:
    """Shows the box, unticked, with what ticking it says."""
    show_box(form, "sure", _mark(form), words)


def how_many(request: HttpRequest, name: str, least: int, most: int, step: int) -> int:
    """How many cells a row has: as many as before, and more where more were asked for."""
    text = request.POST.get(name, "")
    wanted = int(text) if text.isdigit() and len(text) < 4 else least
    return max(least, min(most, wanted + (step if "more" in request.POST else 0)))


def texts(data: dict[str, Any], names: list[str]) -> list[str]:
    """What was typed in these cells."""
    return [data.get(name) or "" for name in names]
