"""Whoever types a letter that the records' faces do not have is told at once how it will be printed."""

from django.conf import settings
from django.contrib import messages

from lots.views.base import HouseRequest

MANY = 5  # letters that are named; more are counted
UNSEEN = ("password", *settings.AXES_SENSITIVE_PARAMETERS)  # never looked at, never repeated


def warn_of_unprintable(request: HouseRequest) -> None:
    """Says which letters of a form just sent have no glyph on paper.  They are kept as typed: a name is
    never refused for its letters."""
    if request.method != "POST":
        return
    typed = "".join(
        value for name, each in request.POST.lists() if name not in UNSEEN for value in each
    )
    if typed.isascii():
        return
    from lots.pdf.faces import missing_glyphs

    missing = missing_glyphs(typed.replace("\r", ""))
    if missing:
        named = ", ".join(f"{letter} (U+{ord(letter):04X})" for letter in missing[:MANY])
        more = f" and {len(missing) - MANY} more" if len(missing) > MANY else ""
        messages.warning(
            request,
            f"The sealed record has no type for {named}{more}: it prints the code instead. What you typed "
            "is kept as it is; write it in Latin, Greek or Cyrillic letters too if it must be read on paper.",
        )
