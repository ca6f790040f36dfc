"""Judgements kept when a person relies on them, reviews, release and the issued record."""

from typing import ClassVar

from django.db import models

from lots.models.book import BookLine, Kept
from lots.models.house import KeptFile
from lots.models.lot import Load, Lot
from lots.models.people import Signature


class KeptJudgement(Kept):
    """A verdict as it stood at a finish, a review or a release, with the number of the rules."""

    NAMED = ("lot", "load", "limit_id", "verdict", "figure", "broke_at", "at", "rules")

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="kept_judgements")
    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="+")
    limit_id = models.CharField(max_length=120)
    verdict = models.CharField(max_length=10)
    figure = models.TextField()
    broke_at = models.BigIntegerField(default=0)
    at = models.BigIntegerField()
    rules = models.PositiveIntegerField()


class Review(Kept):
    """A records reviewer's signing of what was made of a lot up to a line of the book."""

    NAMED = ("lot", "up_to", "signature", "note", "also_logged")

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="reviews")
    up_to = models.ForeignKey(BookLine, models.PROTECT, related_name="+")
    signature = models.ForeignKey(Signature, models.PROTECT, related_name="+")
    note = models.TextField(blank=True)
    also_logged = models.BooleanField(default=False)


class Release(Kept):
    NAMED = ("lot", "review", "signature", "storage", "note")

    lot = models.OneToOneField(Lot, models.PROTECT, related_name="release")
    review = models.ForeignKey(Review, models.PROTECT, related_name="+")
    signature = models.ForeignKey(Signature, models.PROTECT, related_name="+")
    storage = models.CharField(max_length=200, blank=True)
    note = models.TextField(blank=True)


class ReleaseQuantity(Kept):
    """The lot's quantities by disposition, adding up to what was packed."""

    NAMED = ("release", "kind", "grams")

    release = models.ForeignKey(Release, models.PROTECT, related_name="quantities")
    kind = models.CharField(max_length=10)
    grams = models.BigIntegerField()


class RecordIssued(Kept):
    """A sealed PDF handed out: which revision, over what, and how far the book had come."""

    NAMED = ("lot", "revision", "file", "record_sha256", "head", "change")

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="records")
    revision = models.PositiveIntegerField()
    file = models.ForeignKey(KeptFile, models.PROTECT, related_name="+")
    record_sha256 = models.CharField(max_length=64)
    head = models.ForeignKey(BookLine, models.PROTECT, related_name="+")
    change = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["lot", "revision"], name="one_revision_number_a_lot")
        ]


class HeadSealed(Kept):
    """The book's head under the establishment's key, so that a recomputed chain still disagrees.
    `seal` is JSON of what was signed, under its names, with the signature (lots/queries/heads.py)."""

    NAMED = ("head", "head_digest", "seal")

    head = models.ForeignKey(BookLine, models.PROTECT, related_name="+")
    head_digest = models.CharField(max_length=64)
    seal = models.TextField()
