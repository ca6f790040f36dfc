"""How far off the instruments of a step's places may be, as their makers state it."""

from dataclasses import dataclass
from typing import Final

from django.db.models import Q

from lots.core.operating import accuracy_of
from lots.core.units import NINTHS_PER_F
from lots.queries.house import rules, usable_instruments

IN_DEGREES: Final = ("thermometer", "data logger")


@dataclass(frozen=True, slots=True)
class Accuracy:
    """An accuracy in ninths, and as a source names it."""

    ninths: int
    words: str


def accuracy_at(place_kind: str, of: str) -> Accuracy:
    """The worst accuracy among the thermometers and loggers kept at places of this kind (for the room:
    at places that hold such a place) or at no one place; failing that what the Food Code asks of any."""
    here = Q(place__holds__kind=place_kind) if of == "room" else Q(place__kind=place_kind)
    rows = usable_instruments().filter(Q(place=None) | here, kind__in=IN_DEGREES).distinct()
    known = [
        (ninths, row)
        for row in rows
        if (ninths := accuracy_of(row.accuracy)) is not None and ninths > 0
    ]
    if not known:
        ninths = rules().tolerance["F"]
        words = f"±{ninths // NINTHS_PER_F} °F (Food Code 4-203.11: no instrument's accuracy is registered)"
        return Accuracy(ninths, words)
    ninths, worst = max(known, key=lambda pair: pair[0])
    return Accuracy(ninths, f"{worst.accuracy} ({worst.name})")
