"""The house: establishment, places, instruments, kept files."""

from typing import ClassVar

from django.db import models

from lots.models.book import Kept


class Establishment(Kept):
    """Who and where the processor is; the newest row governs."""

    NAMED = ("name", "address", "sells", "zone", "temperature_unit", "weight_unit", "demo")

    name = models.CharField(max_length=200)
    address = models.CharField(max_length=400)
    sells = models.CharField(
        max_length=12, choices=[("wholesale", "wholesale"), ("retail", "retail"), ("both", "both")]
    )
    zone = models.CharField(max_length=60)
    temperature_unit = models.CharField(max_length=1, choices=[("F", "°F"), ("C", "°C")])
    weight_unit = models.CharField(max_length=2, choices=[("lb", "lb"), ("kg", "kg")])
    demo = models.BooleanField(default=False)

    def __str__(self) -> str:
        return self.name


class PlaceKind(models.TextChoices):
    DOCK = "receiving dock", "receiving dock"
    FREEZER = "freezer", "freezer"
    COOLER = "cooler", "cooler"
    TANK = "brine tank", "brine tank"
    ROOM = "room", "room"
    DRY = "dry room", "dry room"
    SMOKEHOUSE = "smokehouse", "smokehouse"
    TABLE = "table", "table"


class Place(Kept):
    NAMED = ("name", "kind", "within")

    name = models.CharField(max_length=80, unique=True)
    kind = models.CharField(max_length=20, choices=PlaceKind.choices)
    within = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="holds")

    def __str__(self) -> str:
        return self.name


class PlaceClosed(Kept):
    NAMED = ("place", "reason")

    place = models.OneToOneField(Place, models.PROTECT, related_name="closed")
    reason = models.CharField(max_length=300)


class Instrument(Kept):
    """A thermometer, logger, scale or salometer.  `reference` is the temperature it reads true at;
    `full_scale`, of a salometer, the salt that its 100 stands for, such as 26.395 % or 25 %."""

    NAMED = ("name", "kind", "accuracy", "reference", "place", "serial")
    LATER = ("full_scale",)

    name = models.CharField(max_length=80, unique=True)
    kind = models.CharField(max_length=40)
    accuracy = models.CharField(max_length=40, blank=True)
    reference = models.CharField(max_length=40, blank=True)
    full_scale = models.CharField(max_length=40, null=True)  # noqa: DJ001 of older rows nothing is known
    serial = models.CharField(max_length=80, blank=True)
    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="+")

    def __str__(self) -> str:
        return self.name


class InstrumentRetired(Kept):
    NAMED = ("instrument", "reason")

    instrument = models.OneToOneField(Instrument, models.PROTECT, related_name="retired")
    reason = models.CharField(max_length=300)


class AccuracyCheck(Kept):
    NAMED = (
        "instrument", "method", "as_read", "expected", "unit", "tolerance", "within",
        "observed_at", "entered_at", "note",
    )  # fmt: skip

    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="checks")
    method = models.CharField(max_length=40)
    as_read = models.CharField(max_length=20)
    expected = models.CharField(max_length=20)
    unit = models.CharField(max_length=10)
    tolerance = models.CharField(max_length=20)
    within = models.BooleanField()
    observed_at = models.BigIntegerField()
    entered_at = models.BigIntegerField()
    note = models.CharField(max_length=400, blank=True)


class CheckPeriod(Kept):
    """How often an instrument's accuracy is to be checked; the newest row governs."""

    NAMED = ("instrument", "every_ms", "reason")

    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="check_periods")
    every_ms = models.BigIntegerField()
    reason = models.CharField(max_length=300, blank=True)


class KeptFile(Kept):
    """A photo, a paper, a logger's file or an issued PDF; its bytes lie in the data folder under
    their SHA-256."""

    NAMED = ("sha256", "name", "media_type", "size")

    sha256 = models.CharField(max_length=64)
    name = models.CharField(max_length=200)
    media_type = models.CharField(max_length=80)
    size = models.BigIntegerField()

    class Meta:
        indexes: ClassVar = [models.Index(fields=["sha256"])]
