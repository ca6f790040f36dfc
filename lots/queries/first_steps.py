"""What a new house has to do before its first lot, and which of it is done."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from lots.models.house import PlaceKind
from lots.models.lot import Lot
from lots.models.people import Person, Right, RightGiven
from lots.models.scratch import PlanDraft
from lots.queries.house import open_places, usable_instruments
from lots.queries.plans import newest_versions


@dataclass(frozen=True, slots=True)
class FirstStep:
    """One thing to do; `page` is the name of the page where it is done, `who` may do it there."""

    done: bool
    what: str
    how: str
    page: str
    button: str
    who: tuple[Right, ...]
    pk: int | None = None


def first_steps(person: Person) -> list[FirstStep]:
    """What leads from an empty house to its first lot, in order."""
    return [*_people(person), *_things(), *_plan()]


def first_steps_left(person: Person) -> int:
    """How many of them are still to do; 0 without a look at the rest once a lot has been opened."""
    if Lot.objects.exists():
        return 0
    return sum(not step.done for step in first_steps(person))


def _trained(right: Right) -> bool:
    return RightGiven.objects.filter(right=right, taken=None).exclude(course="").exists()


def _people(person: Person) -> Iterator[FirstStep]:
    whose = "In a house of one that is you: choose the right, and type your course, its date and the certificate's number. Otherwise invite whoever holds the certificate."
    for right, does in (
        (Right.COORDINATOR, "writes and signs the plans"),
        (Right.REVIEWER, "reviews and signs the records, and releases the fish"),
    ):
        yield FirstStep(
            _trained(right),
            f"Say who is {right.label}",
            f"A {right.label} {does}; only a person trained as 21 CFR 123.10 asks may. {whose}",
            "person_show",
            "Give yourself this right",
            (Right.KEEPER,),
            person.pk,
        )


def _open(*kinds: PlaceKind) -> bool:
    return set(kinds) <= set(open_places().values_list("kind", flat=True))


def _things() -> Iterator[FirstStep]:
    yield FirstStep(
        _open(PlaceKind.DOCK, PlaceKind.SMOKEHOUSE),
        "Open the places",
        "The dock, each brine tank, each smokehouse, the cooler, the freezer, the tables.",
        "places",
        "Open places",
        (Right.KEEPER, Right.COORDINATOR),
    )
    yield FirstStep(
        _in_degrees(usable_instruments()).exists(),
        "Register the thermometers",
        "Each reading names the thermometer or logger that it was taken with. Check each in ice and "
        "water there.",
        "instruments",
        "Register thermometers",
        (Right.KEEPER, Right.COORDINATOR, Right.REVIEWER),
    )


def _in_degrees(instruments: QuerySet) -> QuerySet:  # type: ignore[type-arg]
    return instruments.filter(Q(kind__contains="thermometer") | Q(kind__contains="logger"))


def _plan() -> Iterator[FirstStep]:
    signed = newest_versions().exists()
    yield FirstStep(
        signed or PlanDraft.objects.exists(),
        "Begin a plan",
        "Choose the starting plan nearest to what you make, and change it part by part.",
        "draft_begin",
        "Begin a plan",
        (Right.COORDINATOR,),
    )
    yield FirstStep(
        signed,
        "Sign the plan",
        "When nothing in the draft is left to mend, read it whole and sign it. Until then no lot can "
        "be opened.",
        "plans",
        "To the plans",
        (Right.COORDINATOR,),
    )
    yield FirstStep(
        Lot.objects.exists(),
        "Open the first lot",
        "When fish comes in.",
        "lot_open",
        "Open a lot",
        (Right.OPERATOR,),
    )
