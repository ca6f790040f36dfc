"""What the page of logger files lists: loads that probes may have been in, files that wait, imports."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.db.models import Q

from lots.core.moments import show_moment
from lots.core.units import MS_PER_DAY
from lots.models.lot import Load
from lots.models.scratch import StagedFile
from lots.queries.evidence import end_of, started_at

RECENT_DAYS = 14


@dataclass(frozen=True)
class LoadChoice:
    """A load with the words by which a person knows it."""

    load: Load
    words: str


def loads_with_fish(zone: str, at: int) -> list[LoadChoice]:
    """Loads that run or ended in the last two weeks, newest first."""
    since = at - RECENT_DAYS * MS_PER_DAY
    rows = Load.objects.filter(Q(ends=None) | Q(ends__ended_at__gte=since)).exclude(
        step_kind="receiving"
    )
    rows = rows.select_related("place").prefetch_related("moves", "ends", "parts__lot")
    newest = rows.distinct().order_by("-started_at", "-id")
    return [LoadChoice(load, _words(load, ZoneInfo(zone))) for load in newest]


def _words(load: Load, zone: ZoneInfo) -> str:
    codes = ", ".join(part.lot.code for part in sorted(load.parts.all(), key=lambda part: part.pk))
    end = end_of(load)
    until = f" to {show_moment(end.ended_at, zone)}" if end else ", running"
    return f"{load.place.name}: {codes} · from {show_moment(started_at(load), zone)}{until}"


def waiting_files() -> list[StagedFile]:
    """Files that were sent and not yet taken in, newest first."""
    rows = StagedFile.objects.select_related("place", "load", "person")
    return list(rows.order_by("-at", "-id"))
