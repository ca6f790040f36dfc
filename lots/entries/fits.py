"""What any database keeps of a row: no text longer than its column, no letter that is none, no number
beyond its column.  SQLite would take them; PostgreSQL fails on them, and the book is the same on both."""

from typing import Any, Final

from django.db import models

from lots.entries.refusals import Refused

WHOLE: Final = 2**31 - 1
LARGE: Final = 2**63 - 1


def check_fits(row: models.Model) -> None:
    """Refuses a row that not every database would keep as it is.

    Raises:
        Refused: each field that does not fit, by its name.
    """
    wrong = {
        field.name: text
        for field in row._meta.concrete_fields
        if (text := _misfit(field, getattr(row, field.attname)))
    }
    if wrong:
        raise Refused(wrong)


def _misfit(field: Any, value: Any) -> str:
    name = str(field.verbose_name)
    if isinstance(value, str):
        return _misfit_text(name, value, field.max_length)
    if isinstance(value, int) and not isinstance(value, bool):
        large = isinstance(field, models.BigIntegerField)
        if abs(value) > (LARGE if large else WHOLE):
            return f"The {name} is too large to be kept. Check the figure."
    return ""


def _misfit_text(name: str, text: str, longest: int | None) -> str:
    if longest is not None and len(text) > longest:
        return (
            f"The {name} has {len(text)} letters with all that goes into it; {longest} can be kept. "
            "Shorten it."
        )
    if "\0" in text or any("\ud800" <= letter <= "\udfff" for letter in text):
        return f"The {name} holds a sign that is no letter and cannot be kept. Type it again."
    return ""
