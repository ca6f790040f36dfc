"""What the salt of a lot rests on: brine batches checked and re-used, pieces and weights, samples sent to a
laboratory, points for the forecast of salt, and packs thawed."""

from typing import ClassVar

from django.db import models

from lots.models.book import Kept
from lots.models.house import Instrument
from lots.models.lot import BrineBatch, LaboratoryResult, LaboratorySent, Load, Lot

__all__ = ["LaboratorySent"]


class BatchNamed(Kept):
    """The batch that a load lies in, named after the load had begun.  `brine_g` is how much of it was
    used; null is all of it."""

    NAMED = ("load", "batch", "brine_g", "entered_at", "reason")

    load = models.OneToOneField(Load, models.PROTECT, related_name="batch_named")
    batch = models.ForeignKey(BrineBatch, models.PROTECT, related_name="named_in")
    brine_g = models.BigIntegerField(null=True)
    entered_at = models.BigIntegerField()
    reason = models.CharField(max_length=300)


class BatchReading(Kept):
    """A batch's strength as an instrument showed it, and corrected for the brine's temperature and for the
    temperature and scale that the instrument was made for.  `value` is in millionths of a true °SAL."""

    NAMED = (
        "batch", "instrument", "means", "as_read", "unit", "brine_as_read", "brine_unit", "brine_temp",
        "reference", "full_scale", "value", "observed_at", "entered_at", "note", "corrects",
    )  # fmt: skip

    batch = models.ForeignKey(BrineBatch, models.PROTECT, related_name="readings")
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, related_name="+")
    means = models.CharField(max_length=20)  # salometer or refractometer
    as_read = models.CharField(max_length=20)
    unit = models.CharField(max_length=12)
    brine_as_read = models.CharField(max_length=20)
    brine_unit = models.CharField(max_length=1)
    brine_temp = models.BigIntegerField()
    reference = models.CharField(max_length=40, blank=True)
    full_scale = models.CharField(max_length=40, blank=True)
    value = models.BigIntegerField()
    observed_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    note = models.CharField(max_length=400, blank=True)
    corrects = models.OneToOneField("self", models.PROTECT, null=True, related_name="corrected_by")


class BatchDiscarded(Kept):
    """From then on nothing more is brined in the batch."""

    NAMED = ("batch", "at", "entered_at", "reason")

    batch = models.OneToOneField(BrineBatch, models.PROTECT, related_name="discarded")
    at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    reason = models.CharField(max_length=300)


class PieceSample(Kept):
    """Some pieces of a lot, measured and weighed; `pieces` is canonical JSON, a list of pieces with
    thickness and weight as read and in micrometres and milligrams."""

    NAMED = (
        "lot", "load", "instrument", "pieces", "observed_at", "entered_at", "note", "reason", "corrects",
    )  # fmt: skip

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="piece_samples")
    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="piece_samples")
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, related_name="+")
    pieces = models.TextField()
    observed_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    note = models.CharField(max_length=400, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    corrects = models.OneToOneField("self", models.PROTECT, null=True, related_name="corrected_by")


class StepWeight(Kept):
    """What a lot weighed at a stage of its way; `reason` says why more came out than went in, why it is
    corrected, or why it is entered late."""

    NAMED = (
        "lot", "load", "stage", "as_read", "unit", "grams", "observed_at", "entered_at", "note", "reason",
        "corrects",
    )  # fmt: skip

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="step_weights")
    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="step_weights")
    stage = models.CharField(max_length=20)
    as_read = models.CharField(max_length=20)
    unit = models.CharField(max_length=12)
    grams = models.BigIntegerField()
    observed_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    note = models.CharField(max_length=400, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    corrects = models.OneToOneField("self", models.PROTECT, null=True, related_name="corrected_by")


class UptakePoint(Kept):
    """A laboratory's water-phase salt with what the fish had been through: what the forecast of salt is
    fitted to.  Lengths in micrometres, shares in millionths of a per cent, `ratio` in millionths."""

    NAMED = (
        "result", "load", "thickness_um", "open_faces", "brined_ms", "brine_temp", "brine_salt", "ratio",
        "raw_moisture", "salt", "moisture", "yield_share", "entered_at", "note",
    )  # fmt: skip

    result = models.OneToOneField(LaboratoryResult, models.PROTECT, related_name="uptake_point")
    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="+")
    thickness_um = models.BigIntegerField()
    open_faces = models.PositiveIntegerField()
    brined_ms = models.BigIntegerField()
    brine_temp = models.BigIntegerField()
    brine_salt = models.BigIntegerField()
    ratio = models.BigIntegerField()
    raw_moisture = models.BigIntegerField()
    salt = models.BigIntegerField()
    moisture = models.BigIntegerField()
    yield_share = models.BigIntegerField()  # weight as sampled of weight as brined
    entered_at = models.BigIntegerField()
    note = models.CharField(max_length=400, blank=True)


class UptakePointLeftOut(Kept):
    """A point that the fit is to pass by from now on, and why."""

    NAMED = ("point", "reason")

    point = models.OneToOneField(UptakePoint, models.PROTECT, related_name="left_out")
    reason = models.CharField(max_length=300)


class Thawed(Kept):
    """Frozen packs of a lot that were thawed: a new and shorter time to use them by begins."""

    NAMED = ("lot", "grams", "at", "entered_at", "reason")

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="thawed")
    grams = models.BigIntegerField()
    at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    reason = models.CharField(max_length=300)

    class Meta:
        indexes: ClassVar = [models.Index(fields=["lot", "at"])]
