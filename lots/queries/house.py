"""The house as it stands: establishment, rules, species, places, instruments, rights, files."""

import tomllib
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery

from lots.core.cure import Jurisdiction, jurisdictions
from lots.core.rules import Rules, rules_from
from lots.core.statements import Statements, statements_from
from lots.models.book import BookLine
from lots.models.house import AccuracyCheck, Establishment, Instrument, KeptFile, Place
from lots.models.lot import Load, LoadPart, Lot
from lots.models.people import Person, Right, RightGiven


@lru_cache
def rules() -> Rules:
    """The numbers of rules from fixtures/rules.toml."""
    return rules_from(tomllib.loads(Path(settings.RULES_FILE).read_text()))


@lru_cache
def species() -> tuple[dict[str, Any], ...]:
    """The species that a plan may name, from the FAO list."""
    data = tomllib.loads(Path(settings.SPECIES_FILE).read_text())
    return tuple(data["species"])


@lru_cache
def statements() -> Statements:
    """What must stand on packs, by jurisdiction, from fixtures/statements.toml."""
    return statements_from(tomllib.loads(Path(settings.STATEMENTS_FILE).read_text()))


@lru_cache
def cure_tables() -> tuple[Jurisdiction, ...]:
    """Where nitrite is permitted, by jurisdiction, from fixtures/cure.toml; the first stands in for a plan
    that says nothing of nitrite."""
    known = {row["code"] for row in species()}
    return jurisdictions(tomllib.loads(Path(settings.CURE_FILE).read_text()), known)


def establishment() -> Establishment | None:
    """The establishment as last stated; None on an empty book."""
    return Establishment.objects.order_by("-id").first()


def book_answers() -> None:
    """Raises DatabaseError where the book cannot be read."""
    BookLine.objects.order_by("-number").values_list("number").first()


def say_weight(grams: int) -> str:
    """A weight as the house weighs, rounded down so that what is said can be typed: "12.5 kg"."""
    house = establishment()
    if house is not None and house.weight_unit == "lb":
        hundredths = grams * 100 * 100_000 // 45_359_237  # exact: 1 lb is 453.59237 g
        return f"{hundredths / 100:g} lb"
    return f"{grams / 1000:g} kg"


def open_places() -> QuerySet[Place]:
    return Place.objects.filter(closed=None).select_related("within").order_by("kind", "name")


def usable_instruments() -> QuerySet[Instrument]:
    return Instrument.objects.filter(retired=None).select_related("place").order_by("name")


def all_places() -> QuerySet[Place]:
    """Every place, closed ones last, with `running`: how many loads it holds now."""
    running = Count("loads", filter=Q(loads__ends=None), distinct=True)
    places = Place.objects.select_related("within", "closed__line").annotate(running=running)
    return places.order_by(F("closed").asc(nulls_first=True), "kind", "name")


def loads_now(place: Place) -> QuerySet[Load]:
    """What the place holds now."""
    loads = place.loads.filter(ends=None).order_by("started_at")
    return loads.prefetch_related("parts__lot")


def lots_in_hand() -> QuerySet[Lot]:
    """Lots that time can still do something to: not voided, and not released or in a load now.  A
    finished one may still wait for a logger's file."""
    in_a_load = Exists(LoadPart.objects.filter(lot=OuterRef("pk"), load__ends=None))
    lots = Lot.objects.filter(voided=None).filter(Q(release=None) | in_a_load)
    return lots.select_related("plan_version").order_by("pk")


def all_instruments() -> list[tuple[Instrument, AccuracyCheck | None]]:
    """Every instrument, retired ones last, each with its latest accuracy check."""
    latest = AccuracyCheck.objects.filter(instrument=OuterRef("pk")).order_by("-observed_at", "-pk")
    rows = list(
        Instrument.objects.select_related("place", "retired__line", "line")
        .annotate(latest=Subquery(latest.values("pk")[:1]))
        .order_by(F("retired").asc(nulls_first=True), "kind", "name")
    )
    checks = AccuracyCheck.objects.select_related("line__person").in_bulk(
        [row.latest for row in rows if row.latest]
    )
    return [(row, checks.get(row.latest)) for row in rows]


def accuracy_checks(instrument: Instrument) -> QuerySet[AccuracyCheck]:
    """The instrument's accuracy checks, newest first."""
    checks = instrument.checks.select_related("line__person")
    return checks.order_by("-observed_at", "-pk")


def rights_of(person: Person) -> set[str]:
    """The rights that the person holds now."""
    return set(RightGiven.objects.filter(person=person, taken=None).values_list("right", flat=True))


def standing_right(person: Person, right: str) -> RightGiven | None:
    """The newest standing grant of a right, with its training."""
    return RightGiven.objects.filter(person=person, right=right, taken=None).order_by("-id").first()


def training_words(given: RightGiven) -> str:
    """Course, date and certificate as they are printed beside a signature."""
    return ", ".join(part for part in (given.course, given.course_date, given.certificate) if part)


def keepers() -> int:
    """How many people hold the keeper's right."""
    return (
        RightGiven.objects.filter(right=Right.KEEPER, taken=None)
        .values("person")
        .distinct()
        .count()
    )


def people() -> list[tuple[Person, list[RightGiven]]]:
    """Everybody with the rights that stand."""
    by_person: dict[int, list[RightGiven]] = {}
    for given in RightGiven.objects.filter(taken=None).order_by("id"):
        by_person.setdefault(given.person_id, []).append(given)
    everyone = Person.objects.select_related("login").order_by("name")
    return [(person, by_person.get(person.pk, [])) for person in everyone]


def rights_history(person: Person) -> QuerySet[RightGiven]:
    """Every right the person was ever given, newest first, with what ended it."""
    rows = RightGiven.objects.filter(person=person).order_by("-id")
    return rows.select_related("line__person", "taken__line__person")


def initials(ids: Iterable[int]) -> dict[int, str]:
    return dict(Person.objects.filter(pk__in=set(ids)).values_list("pk", "initials"))


def file_bytes(kept: KeptFile) -> bytes:
    """The bytes of a kept file, from the data folder."""
    return (Path(settings.FILES_DIR) / kept.sha256).read_bytes()
