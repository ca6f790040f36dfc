"""The book: one line an act, each tied to the line before by its digest."""

from collections.abc import Sequence
from typing import Any, ClassVar

from django.db import models


class BookLine(models.Model):
    """One act.  `content` is canonical JSON; `digest` covers form, number, moment, person, kind,
    content and `prev`, never a table's columns."""

    number = models.BigIntegerField(primary_key=True)
    at = models.BigIntegerField()  # the server heard it: recorded_at, ms UTC
    person = models.ForeignKey("lots.Person", models.PROTECT, null=True, related_name="lines")
    kind = models.CharField(max_length=40)
    content = models.TextField()
    form = models.PositiveIntegerField(default=1)
    prev = models.CharField(max_length=64, unique=True)
    digest = models.CharField(max_length=64, unique=True)
    # null, not "": entries without a key must not collide
    client_key = models.CharField(max_length=64, null=True, unique=True)  # noqa: DJ001

    class Meta:
        ordering: ClassVar = ["number"]
        indexes: ClassVar = [models.Index(fields=["at"])]


class Kept(models.Model):
    """A row that is appended once and never edited or deleted; its act is its book line."""

    NAMED: ClassVar[tuple[str, ...]] = ()  # what the book's digest of the row covers, form 1
    LATER: ClassVar[tuple[str, ...]] = ()  # added since: covered where they hold something

    line = models.ForeignKey(BookLine, models.PROTECT, related_name="+")

    class Meta:
        abstract = True

    def named_content(self) -> dict[str, Any]:
        """The row's content as text and whole numbers, under the names that the book covers."""
        return self.content_of([getattr(self, name) for name in self.covered_columns()])

    @classmethod
    def covered_columns(cls) -> list[str]:
        """The attributes that the book's digest covers, in the order of `content_of`."""
        return [cls._meta.get_field(name).attname for name in (*cls.NAMED, *cls.LATER)]

    @classmethod
    def content_of(cls, values: Sequence[Any]) -> dict[str, Any]:
        """The named content of a row whose covered columns hold these values."""
        content = {
            name: "" if value is None else int(value) if value is True or value is False else value
            for name, value in zip(cls.NAMED, values, strict=False)
        }
        if cls.LATER:
            for name, value in zip(cls.LATER, values[len(cls.NAMED) :], strict=True):
                if value is not None and value != "":
                    content[name] = int(value) if isinstance(value, bool) else value
        return content


class LineLot(models.Model):
    """Which lots a line concerns, so that a lot's last line is known."""

    line = models.ForeignKey(BookLine, models.PROTECT, related_name="lots")
    lot = models.ForeignKey("lots.Lot", models.PROTECT, related_name="lines")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["line", "lot"], name="one_mention_a_line")
        ]
        indexes: ClassVar = [models.Index(fields=["lot", "line"])]
