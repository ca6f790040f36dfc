"""Deviations with their evidence, what was done about them, and what became of the fish."""

from typing import ClassVar

from django.db import models

from lots.models.book import Kept
from lots.models.lot import Load, Lot


class Deviation(Kept):
    """A limit of a lot that broke.  `evidence` is canonical JSON: figure, readings, limit."""

    NAMED = (
        "lot", "load", "control_point", "limit_id", "demand", "figure", "why", "broke_at",
        "last_broke_at", "signature", "evidence", "rules",
    )  # fmt: skip

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="deviations")
    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="deviations")
    control_point = models.CharField(max_length=60)
    limit_id = models.CharField(max_length=120)
    demand = models.TextField()
    figure = models.TextField()
    why = models.TextField(blank=True)
    broke_at = models.BigIntegerField()
    last_broke_at = models.BigIntegerField()
    signature = models.CharField(max_length=120)  # tells a new finding from the one already written
    evidence = models.TextField()
    rules = models.PositiveIntegerField()

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["lot", "load", "limit_id"]),
            models.Index(fields=["lot", "line"]),
        ]


class DeviationNote(Kept):
    """What happened to a deviation's finding later: "extended" or "not reproduced"."""

    NAMED = ("deviation", "kind", "figure", "last_broke_at", "signature", "why")

    deviation = models.ForeignKey(Deviation, models.PROTECT, related_name="notes")
    kind = models.CharField(max_length=20)
    figure = models.TextField(blank=True)
    last_broke_at = models.BigIntegerField(default=0)
    signature = models.CharField(max_length=120, blank=True)
    why = models.TextField(blank=True)


class CorrectiveAction(Kept):
    """What 21 CFR 123.7 asks of a corrective action, as written down by the person who took it."""

    NAMED = (
        "deviation", "plan_followed", "segregated", "acceptability_by", "reassessment_by",
        "reassessment_due", "fish", "control_restored", "cause", "taken_at",
    )  # fmt: skip

    deviation = models.ForeignKey(Deviation, models.PROTECT, related_name="actions")
    plan_followed = models.BooleanField()
    segregated = models.CharField(max_length=400, blank=True)
    acceptability_by = models.CharField(max_length=200, blank=True)
    reassessment_by = models.CharField(max_length=200, blank=True)
    reassessment_due = models.CharField(max_length=10, blank=True)
    fish = models.TextField()
    control_restored = models.TextField()
    cause = models.TextField()
    taken_at = models.BigIntegerField()


class DispositionKind(models.TextChoices):
    HOLD = "hold", "hold"
    RELEASE = "release", "release"
    REWORK = "rework", "rework"
    DIVERT = "divert", "divert"
    DESTROY = "destroy", "destroy"
    RECALL = "recall", "recall"


class Disposition(Kept):
    """What is to become of the fish.  Hold stays open; every other kind ends the deviation."""

    NAMED = ("deviation", "number", "kind", "grams", "reason", "acceptability_review")

    deviation = models.ForeignKey(Deviation, models.PROTECT, related_name="dispositions")
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=10, choices=DispositionKind.choices)
    grams = models.BigIntegerField()
    reason = models.TextField()
    acceptability_review = models.TextField(blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["deviation", "number"], name="one_decision_at_a_time")
        ]
        indexes: ClassVar = [
            models.Index(fields=["deviation"], condition=models.Q(kind="hold"), name="on_hold")
        ]


class RecallConsignee(Kept):
    """Somebody who had fish that is recalled: who, how much, and when they were told (0: not yet)."""

    NAMED = ("disposition", "consignee", "grams", "told_at", "note")

    disposition = models.ForeignKey(Disposition, models.PROTECT, related_name="consignees")
    consignee = models.CharField(max_length=300)
    grams = models.BigIntegerField()
    told_at = models.BigIntegerField(default=0)
    note = models.CharField(max_length=400, blank=True)


class ProcessAdjustment(Kept):
    """What was adjusted when an operating limit was exceeded."""

    NAMED = ("lot", "load", "limit_id", "figure", "what")

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="adjustments")
    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="+")
    limit_id = models.CharField(max_length=120)
    figure = models.TextField()
    what = models.TextField()
