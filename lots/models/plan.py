"""Plans: each published version is frozen with its signature; drafts are scratch."""

from typing import ClassVar

from django.db import models

from lots.models.book import Kept
from lots.models.house import KeptFile
from lots.models.people import Signature


class Plan(Kept):
    NAMED = ("title",)

    title = models.CharField(max_length=200, unique=True)

    def __str__(self) -> str:
        return self.title


class PlanVersion(Kept):
    """What a lot pins.  `content` is canonical JSON of the plan's data."""

    NAMED = ("plan", "number", "content", "content_sha256", "signature", "change", "study")

    plan = models.ForeignKey(Plan, models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    content = models.TextField()
    content_sha256 = models.CharField(max_length=64)
    signature = models.OneToOneField(Signature, models.PROTECT, related_name="plan_version")
    change = models.CharField(max_length=400, blank=True)
    study = models.ForeignKey(KeptFile, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["plan", "number"], name="one_version_number_a_plan")
        ]

    def __str__(self) -> str:
        return f"{self.plan.title}, version {self.number}"


class PlanWithdrawn(Kept):
    """No new lot may be opened under the plan."""

    NAMED = ("plan", "reason")

    plan = models.OneToOneField(Plan, models.PROTECT, related_name="withdrawn")
    reason = models.CharField(max_length=300)


class ReassessmentAsked(Kept):
    """Something changed that could bear on the hazards, so that the plan is to be reassessed before
    its year is over."""

    NAMED = ("plan", "cause", "what", "noticed_at")

    plan = models.ForeignKey(Plan, models.PROTECT, related_name="reassessments_asked")
    cause = models.CharField(
        max_length=12,
        choices=[
            ("material", "raw material or its source"),
            ("method", "processing method or equipment"),
            ("pack", "pack or storage"),
            ("use", "intended use or consumer"),
            ("other", "something else"),
        ],
    )
    what = models.TextField()
    noticed_at = models.BigIntegerField()


class Reassessed(Kept):
    """A version looked at anew and signed: it stands as it is, or is to be changed."""

    NAMED = ("version", "signature", "outcome", "considered")

    version = models.ForeignKey(PlanVersion, models.PROTECT, related_name="reassessments")
    signature = models.OneToOneField(Signature, models.PROTECT, related_name="reassessment")
    outcome = models.CharField(
        max_length=12, choices=[("no change", "no change"), ("change", "to be changed")]
    )
    considered = models.TextField()
