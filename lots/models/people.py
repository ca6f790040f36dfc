"""People and their rights: kept rows.  How they log in is scratch (models/scratch.py)."""

from typing import ClassVar

from django.db import models

from lots.models.book import Kept


class Right(models.TextChoices):
    OPERATOR = "operator", "operator"
    REVIEWER = "reviewer", "records reviewer"
    COORDINATOR = "coordinator", "HACCP coordinator"
    INSPECTOR = "inspector", "inspector"
    KEEPER = "keeper", "keeper of people"


class Person(Kept):
    NAMED = ("username", "name", "initials")

    username = models.CharField(max_length=60, unique=True)
    name = models.CharField(max_length=120)
    initials = models.CharField(max_length=8, unique=True)

    def __str__(self) -> str:
        return self.name


class RightGiven(Kept):
    """A right from now on.  A records reviewer's and a coordinator's carry their training
    (21 CFR 123.10): without it there is no signing."""

    NAMED = ("person", "right", "course", "course_date", "certificate")

    person = models.ForeignKey(Person, models.PROTECT, related_name="rights")
    right = models.CharField(max_length=20, choices=Right.choices)
    course = models.CharField(max_length=200, blank=True)
    course_date = models.CharField(max_length=10, blank=True)
    certificate = models.CharField(max_length=120, blank=True)


class RightTaken(Kept):
    NAMED = ("given", "reason")

    given = models.OneToOneField(RightGiven, models.PROTECT, related_name="taken")
    reason = models.CharField(max_length=300)


class Signature(Kept):
    """A signing: printed name, moment (its line's) and meaning (21 CFR 11.50)."""

    NAMED = ("person", "printed_name", "right", "training", "meaning", "what", "at")

    person = models.ForeignKey(Person, models.PROTECT, related_name="signatures")
    printed_name = models.CharField(max_length=120)
    right = models.CharField(max_length=20, choices=Right.choices)
    training = models.CharField(max_length=400, blank=True)
    meaning = models.CharField(max_length=200)
    what = models.CharField(max_length=200)
    at = models.BigIntegerField()

    class Meta:
        indexes: ClassVar = [models.Index(fields=["person", "at"])]
