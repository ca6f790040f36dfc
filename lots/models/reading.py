"""Readings by hand, observations, and a logger's series."""

from typing import ClassVar

from django.db import models

from lots.models.book import Kept
from lots.models.house import AccuracyCheck, Instrument, KeptFile, Place
from lots.models.lot import Load, LoadEnd, ProbeLeft


class Reading(Kept):
    """One figure as read by a person.  It belongs to a place, or (with a load) to a probe or a fish
    in that load.  A correction is a new row that names the old one; `withdrawn` takes it back."""

    NAMED = (
        "place", "load", "probe", "quantity", "as_read", "unit", "value", "instrument",
        "observed_at", "entered_at", "device_offset_ms", "late_reason", "unlikely_confirmed",
        "from_paper", "note", "corrects", "correction_reason", "withdrawn",
    )  # fmt: skip

    place = models.ForeignKey(Place, models.PROTECT, related_name="readings")
    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="readings")
    probe = models.CharField(max_length=40, blank=True)
    quantity = models.CharField(max_length=40, default="temperature")
    as_read = models.CharField(max_length=20)
    unit = models.CharField(max_length=12)
    value = models.BigIntegerField()
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, related_name="+")
    observed_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    device_offset_ms = models.BigIntegerField(default=0)
    late_reason = models.CharField(max_length=300, blank=True)
    unlikely_confirmed = models.BooleanField(default=False)
    from_paper = models.BooleanField(default=False)
    note = models.CharField(max_length=400, blank=True)
    corrects = models.OneToOneField("self", models.PROTECT, null=True, related_name="corrected_by")
    correction_reason = models.CharField(max_length=300, blank=True)
    withdrawn = models.BooleanField(default=False)

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["place", "observed_at"]),
            models.Index(fields=["load", "observed_at"]),
        ]


class Observation(Kept):
    """A thing looked for in a load, and whether it was found so."""

    NAMED = (
        "load", "what", "found", "observed_at", "entered_at", "late_reason", "note", "corrects",
        "correction_reason",
    )  # fmt: skip

    load = models.ForeignKey(Load, models.PROTECT, related_name="observations")
    what = models.CharField(max_length=200)
    found = models.BooleanField()
    observed_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    late_reason = models.CharField(max_length=300, blank=True)
    note = models.CharField(max_length=400, blank=True)
    corrects = models.OneToOneField("self", models.PROTECT, null=True, related_name="corrected_by")
    correction_reason = models.CharField(max_length=300, blank=True)


class LoggerImport(Kept):
    """One file of a logger, taken into the book once; `understood` is canonical JSON of how its
    columns, dates, decimal sign, unit and zone were read."""

    NAMED = ("place", "load", "instrument", "file", "understood", "rows", "added", "root")

    place = models.ForeignKey(Place, models.PROTECT, related_name="imports")
    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="imports")
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, related_name="+")
    file = models.ForeignKey(KeptFile, models.PROTECT, related_name="+")
    understood = models.TextField()
    rows = models.PositiveIntegerField()
    added = models.PositiveIntegerField()
    root = models.CharField(max_length=64)  # Merkle root over the packed rows


class PackedSeries(Kept):
    """About 1,000 readings of one probe, packed; `digest` is the SHA-256 of `data` as stored."""

    NAMED = (
        "source", "place", "load", "probe", "unit", "count", "first_at", "last_at", "digest",
    )  # fmt: skip

    source = models.ForeignKey(LoggerImport, models.PROTECT, related_name="series")
    place = models.ForeignKey(Place, models.PROTECT, related_name="packed")
    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="packed")
    probe = models.CharField(max_length=40, blank=True)
    unit = models.CharField(max_length=1)
    count = models.PositiveIntegerField()
    first_at = models.BigIntegerField()
    last_at = models.BigIntegerField()
    data = models.BinaryField()
    digest = models.CharField(max_length=64)

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["place", "last_at"]),
            models.Index(fields=["load", "last_at"]),
        ]


class SeriesCorrection(Kept):
    """A logger's reading taken back or put right; names (series, index)."""

    NAMED = ("series", "index", "as_read", "value", "withdrawn", "reason", "entered_at")

    series = models.ForeignKey(PackedSeries, models.PROTECT, related_name="corrections")
    index = models.PositiveIntegerField()
    as_read = models.CharField(max_length=20, blank=True)
    value = models.BigIntegerField(default=0)
    withdrawn = models.BooleanField(default=False)
    reason = models.CharField(max_length=300)
    entered_at = models.BigIntegerField()


class SeriesWithdrawn(Kept):
    """A logger's file taken back as a whole, such as one of another load; its rows stay in the book."""

    NAMED = ("source", "reason", "entered_at")

    source = models.OneToOneField(LoggerImport, models.PROTECT, related_name="withdrawn")
    reason = models.CharField(max_length=300)
    entered_at = models.BigIntegerField()


class Attachment(Kept):
    """A photo or paper that belongs to a reading, an observation, or a load."""

    NAMED = ("file", "reading", "observation", "load", "note")

    file = models.ForeignKey(KeptFile, models.PROTECT, related_name="+")
    reading = models.ForeignKey(Reading, models.PROTECT, null=True, related_name="attachments")
    observation = models.ForeignKey(
        Observation, models.PROTECT, null=True, related_name="attachments"
    )
    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="attachments")
    note = models.CharField(max_length=200, blank=True)


class Accepted(Kept):
    """A late or corrected entry that the records reviewer has accepted, with the reason."""

    NAMED = ("reading", "observation", "load_end", "series_correction", "reason")
    LATER = ("series_withdrawn", "load_start", "probe_left", "accuracy_check")

    reading = models.OneToOneField(Reading, models.PROTECT, null=True, related_name="accepted")
    observation = models.OneToOneField(
        Observation, models.PROTECT, null=True, related_name="accepted"
    )
    load_end = models.OneToOneField(LoadEnd, models.PROTECT, null=True, related_name="accepted")
    series_correction = models.OneToOneField(
        SeriesCorrection, models.PROTECT, null=True, related_name="accepted"
    )
    series_withdrawn = models.OneToOneField(
        SeriesWithdrawn, models.PROTECT, null=True, related_name="accepted"
    )
    load_start = models.OneToOneField(Load, models.PROTECT, null=True, related_name="accepted")
    probe_left = models.OneToOneField(ProbeLeft, models.PROTECT, null=True, related_name="accepted")
    accuracy_check = models.OneToOneField(
        AccuracyCheck, models.PROTECT, null=True, related_name="accepted"
    )
    reason = models.CharField(max_length=300)
