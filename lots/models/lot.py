"""Lots, the loads that places hold, and how lots come from one another."""

from typing import ClassVar

from django.db import models

from lots.models.book import Kept
from lots.models.house import KeptFile, Place
from lots.models.plan import Plan, PlanVersion


class Lot(Kept):
    NAMED = (
        "code", "plan_version", "product", "species", "species_name", "origin", "supplier",
        "supplier_lot", "quantity_g", "received_at", "entered_at", "note",
    )  # fmt: skip

    code = models.CharField(max_length=40, unique=True)
    plan_version = models.ForeignKey(PlanVersion, models.PROTECT, related_name="lots")
    product = models.CharField(max_length=200)
    species = models.CharField(max_length=3)
    species_name = models.CharField(max_length=120)
    origin = models.CharField(max_length=10, choices=[("wild", "wild"), ("farmed", "farmed")])
    supplier = models.CharField(max_length=200)
    supplier_lot = models.CharField(max_length=80, blank=True)
    quantity_g = models.BigIntegerField()
    received_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["supplier_lot"]),
            models.Index(fields=["received_at"]),
        ]

    def __str__(self) -> str:
        return self.code


class LotVoided(Kept):
    NAMED = ("lot", "reason")

    lot = models.OneToOneField(Lot, models.PROTECT, related_name="voided")
    reason = models.CharField(max_length=300)


class LotLink(Kept):
    """Fish that went from one lot into another: by split, merge or rework.  `loads` is canonical JSON:
    the numbers of the loads that this portion was in, whose steps are the new lot's history too."""

    NAMED = ("source", "target", "how", "grams", "at", "reason", "loads")

    source = models.ForeignKey(Lot, models.PROTECT, related_name="gave")
    target = models.ForeignKey(Lot, models.PROTECT, related_name="came_from")
    how = models.CharField(
        max_length=10, choices=[("split", "split"), ("merge", "merge"), ("rework", "rework")]
    )
    grams = models.BigIntegerField()
    at = models.BigIntegerField()
    reason = models.CharField(max_length=300, blank=True)
    loads = models.TextField()


class PartDestroyed(Kept):
    NAMED = ("lot", "grams", "at", "reason")

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="destroyed")
    grams = models.BigIntegerField()
    at = models.BigIntegerField()
    reason = models.CharField(max_length=300)


class BrineBatch(Kept):
    """What went into a brine or a dry salting; `content` is canonical JSON of the weights.  The brine's
    temperature when it was made is kept as read and in ninths."""

    NAMED = ("code", "made_at", "entered_at", "content", "note")
    LATER = ("as_read", "unit", "temp")

    code = models.CharField(max_length=40, unique=True)
    made_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    content = models.TextField()
    as_read = models.CharField(max_length=20, null=True)  # noqa: DJ001 a dry salting has none
    unit = models.CharField(max_length=1, null=True)  # noqa: DJ001
    temp = models.BigIntegerField(null=True)
    note = models.CharField(max_length=400, blank=True)

    def __str__(self) -> str:
        return self.code


class Load(Kept):
    """What a place holds from a moment to a moment."""

    NAMED = ("place", "step_kind", "started_at", "entered_at", "brine_batch", "declared", "note")
    LATER = ("brine_g", "filtered")

    place = models.ForeignKey(Place, models.PROTECT, related_name="loads")
    step_kind = models.CharField(max_length=30)
    started_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    brine_batch = models.ForeignKey(BrineBatch, models.PROTECT, null=True, related_name="loads")
    brine_g = models.BigIntegerField(null=True)  # of the batch on this fish; null: all of it
    declared = models.CharField(max_length=40, blank=True)  # brining: "short", "long" or not said
    filtered = models.BooleanField(null=True)  # its batch, since the load before: true, or not said
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        indexes: ClassVar = [models.Index(fields=["place", "started_at"])]


class LoadPart(Kept):
    """A lot's step is its part in a load."""

    NAMED = ("load", "lot", "step", "grams")

    load = models.ForeignKey(Load, models.PROTECT, related_name="parts")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="parts")
    step = models.CharField(max_length=60)  # the step's id in the lot's plan
    grams = models.BigIntegerField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["load", "lot"], name="one_part_a_lot_and_load")
        ]


class LoadStartMoved(Kept):
    NAMED = ("load", "started_at", "reason", "entered_at")

    load = models.ForeignKey(Load, models.PROTECT, related_name="moves")
    started_at = models.BigIntegerField()
    reason = models.CharField(max_length=300)
    entered_at = models.BigIntegerField()


class LoadEnd(Kept):
    """When the load's step was over; a later row corrects an earlier one and says why."""

    NAMED = ("load", "ended_at", "entered_at", "reason", "note", "corrects")

    load = models.ForeignKey(Load, models.PROTECT, related_name="ends")
    ended_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    reason = models.CharField(max_length=300, blank=True)
    note = models.CharField(max_length=400, blank=True)
    corrects = models.OneToOneField("self", models.PROTECT, null=True, related_name="corrected_by")


class ProbeLeft(Kept):
    """Why a probe left its load before the step was over."""

    NAMED = ("load", "probe", "at", "reason")
    LATER = ("entered_at",)

    load = models.ForeignKey(Load, models.PROTECT, related_name="probes_left")
    probe = models.CharField(max_length=40)
    at = models.BigIntegerField()
    reason = models.CharField(max_length=300)
    entered_at = models.BigIntegerField(null=True)  # rows of the first version go by their line

    @property
    def said_at(self) -> int:
        """When it was said."""
        return self.line.at if self.entered_at is None else self.entered_at


class Note(Kept):
    """Something worth keeping that is no reading: about a load, a lot, or the house as a whole."""

    NAMED = ("load", "lot", "text", "observed_at", "entered_at")

    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="notes")
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="notes")
    text = models.CharField(max_length=2000)
    observed_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()


class LotFinish(Kept):
    """Processing is over: what came out, in packs."""

    NAMED = ("lot", "packed_g", "packs", "finished_at", "entered_at", "note")

    lot = models.OneToOneField(Lot, models.PROTECT, related_name="finish")
    packed_g = models.BigIntegerField()
    packs = models.PositiveIntegerField(default=0)
    finished_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    note = models.CharField(max_length=400, blank=True)


class LaboratorySent(Kept):
    """Samples of a lot, or (with no lot) of a plan's process, that went to a laboratory; `wanted` is
    canonical JSON, a list of quantities."""

    NAMED = (
        "lot", "plan", "laboratory", "portion", "wanted", "sampled_at", "entered_at", "note",
    )  # fmt: skip

    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="laboratory_sent")
    plan = models.ForeignKey(Plan, models.PROTECT, null=True, related_name="laboratory_sent")
    laboratory = models.CharField(max_length=200)
    portion = models.CharField(max_length=200, blank=True)
    wanted = models.TextField()
    sampled_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    note = models.CharField(max_length=400, blank=True)


class LaboratoryResult(Kept):
    """One quantity of a lot, or (with no lot) of a plan's process, as a laboratory found it."""

    NAMED = (
        "lot", "quantity", "laboratory", "method", "portion", "sampled_at", "reported_at",
        "entered_at", "report", "note", "corrects",
    )  # fmt: skip
    LATER = ("plan", "sent", "reason")

    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="laboratory_results")
    plan = models.ForeignKey(Plan, models.PROTECT, null=True, related_name="laboratory_results")
    sent = models.ForeignKey(LaboratorySent, models.PROTECT, null=True, related_name="results")
    reason = models.CharField(max_length=300, null=True)  # noqa: DJ001 why it is corrected
    quantity = models.CharField(max_length=40)
    laboratory = models.CharField(max_length=200)
    method = models.CharField(max_length=200, blank=True)
    portion = models.CharField(max_length=200, blank=True)
    sampled_at = models.BigIntegerField()
    reported_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    report = models.ForeignKey(KeptFile, models.PROTECT, null=True, related_name="+")
    note = models.CharField(max_length=400, blank=True)
    corrects = models.OneToOneField("self", models.PROTECT, null=True, related_name="corrected_by")


class LaboratorySample(Kept):
    NAMED = ("result", "number", "as_read", "unit", "value")

    result = models.ForeignKey(LaboratoryResult, models.PROTECT, related_name="samples")
    number = models.PositiveIntegerField()
    as_read = models.CharField(max_length=20)
    unit = models.CharField(max_length=12)
    value = models.BigIntegerField()
