"""An inspector's visit: to whom, from when to when, which lots; what was looked at; how it ended."""

from typing import ClassVar

from django.db import models

from lots.models.book import Kept
from lots.models.lot import Lot


class Visit(Kept):
    """Read-only sight of chosen lots for a named inspector, from a moment to a moment.  `chosen` says in
    words how the lots were chosen."""

    NAMED = ("inspector", "agency", "starts_at", "ends_at", "chosen")

    inspector = models.CharField(max_length=120)
    agency = models.CharField(max_length=200)
    starts_at = models.BigIntegerField()
    ends_at = models.BigIntegerField()
    chosen = models.CharField(max_length=300)

    def __str__(self) -> str:
        return f"{self.inspector}, {self.agency}"


class VisitLot(Kept):
    NAMED = ("visit", "lot")

    visit = models.ForeignKey(Visit, models.PROTECT, related_name="lots")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["visit", "lot"], name="one_mention_a_visit")
        ]


class VisitSeen(Kept):
    """The first look at a page, or the first download of a file, in a visit."""

    NAMED = ("visit", "what", "address", "at")

    visit = models.ForeignKey(Visit, models.PROTECT, related_name="seen")
    what = models.CharField(max_length=200)
    address = models.CharField(max_length=300)
    at = models.BigIntegerField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["visit", "address"], name="one_first_look_a_page")
        ]


class VisitEnded(Kept):
    """The visit is over before its time, or because of it."""

    NAMED = ("visit", "ended_at", "why")

    visit = models.OneToOneField(Visit, models.PROTECT, related_name="ended")
    ended_at = models.BigIntegerField()
    why = models.CharField(max_length=200)
