"""A book for a test, made through entries only, at a moment that the test names."""

from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from lots.entries import batch, house, load, lot, people, plan, reading
from lots.entries.brining import Salting
from lots.entries.house import House, NewInstrument, found_house
from lots.entries.lot import NewLot
from lots.entries.moments import Moments
from lots.entries.readings import Figure
from lots.models.house import Instrument, Place
from lots.models.lot import BrineBatch, Load, Lot
from lots.models.people import Person
from lots.models.plan import PlanVersion
from lots.queries.batches import SALTING_KINDS, Ask, before_load
from lots.queries.evidence import end_of
from lots.queries.judgements import Judged, judge_part
from lots.queries.plans import starting_plans

ZONE = ZoneInfo("America/New_York")
PASSWORD = "alder-and-oak-smoke"


def moment(text: str) -> int:
    """ms UTC of "2026-03-04 14:05" (or "14:05", on 4 March 2026) in the smokehouse's zone."""
    whole = text if " " in text else f"2026-03-04 {text}"
    return round(datetime.fromisoformat(whole).replace(tzinfo=ZONE).timestamp() * 1000)


def seen(text: str, entered: str | None = None, because: str = "") -> Moments:
    """The moments of an entry: observed, and entered at once unless said otherwise."""
    at = moment(text)
    late = moment(entered) if entered else at
    return Moments(at, late, late, 0, because)


@dataclass
class Book:
    """What the tests of entries and pages stand on."""

    keeper: Person
    operator: Person
    reviewer: Person
    coordinator: Person
    inspector: Person
    version: PlanVersion
    places: dict[str, Place]
    thermometer: Instrument
    lots: dict[str, Lot] = field(default_factory=dict)

    def place(self, name: str) -> Place:
        return self.places[name]

    def open_lot(
        self, code: str = "TR-1", kg: float = 20, at: str = "07:00", **changes: object
    ) -> Lot:
        """Opens a lot of rainbow trout with everything that the plan wants at receiving."""
        asked = lot.asked_at_receiving(plan_of(self.version))
        new = NewLot(
            **{
                "code": code,
                "version": self.version,
                "species": "TRR",
                "origin": "farmed",
                "supplier": "Invented Springs Farm",
                "supplier_lot": "ISF-118",
                "quantity_g": int(kg * 1000),
                "place": self.place("Dock"),
                "figures": [Figure("36.1", "F", "fish 1", instrument=self.thermometer)],
                "observed": dict.fromkeys(asked, True),
            }
            | changes  # type: ignore[arg-type]
        )
        self.lots[code] = lot.open_lot(self.operator, new, seen(at))
        return self.lots[code]

    def start(
        self, step: str, place: str, at: str, *lots: Lot, kg: float = 0, **changes: object
    ) -> Load:
        """Puts the lots whole into a place; fish that is salted is said to lie long, and what its batch can
        do to have been seen, unless `salting` says more."""
        portions = [load.Portion(one, step, int(kg * 1000) or one.quantity_g) for one in lots]
        if lots and plan_of(lots[0].plan_version).step(step).kind in SALTING_KINDS:  # type: ignore[attr-defined]
            said = {
                name: changes.pop(name, None) for name in ("declared", "brine_batch", "brine_g")
            }
            changes.setdefault("salting", _salting(portions, moment(at), **said))
        return load.start_load(self.operator, self.place(place), portions, seen(at), **changes)  # type: ignore[arg-type]

    def in_batch(
        self, row: BrineBatch, at: str, *lots: Lot, brine_kg: float = 0, **said: object
    ) -> Salting:
        """What is said at the start of a brining in a batch, its words seen."""
        fish = tuple((one, one.quantity_g) for one in lots)
        brine_g = int(brine_kg * 1000) or None
        before = before_load(Ask(row, brine_g, fish, moment(at), bool(said.get("filtered"))))
        return Salting("short", row, brine_g, seen=before.mark, **said)  # type: ignore[arg-type]

    def mix(
        self, code: str = "B-1", at: str = "06:30", *more: batch.Typed, **changes: object
    ) -> BrineBatch:
        """A brine of 8 kg of water and 2 kg of salt: 20 % salt, 75.8 °SAL."""
        parts = changes.pop("parts", (("water", "8", "kg"), ("salt", "2", "kg")))
        typed = [
            batch.Typed(n, kind, "", amount, unit)
            for n, (kind, amount, unit) in enumerate(parts, 1)  # type: ignore[arg-type]
        ]
        new = batch.NewBatch(
            code,
            **{"method": "brine", "as_read": "40", "unit": "F"} | changes,
            parts=[*typed, *more],  # type: ignore[arg-type]
        )
        return batch.make_batch(self.operator, new, seen(at))

    def end(self, which: Load, at: str, **changes: object) -> list[Judged]:
        return load.end_load(self.operator, which, seen(at), **changes)  # type: ignore[arg-type]

    def fish(self, which: Load, text: str, unit: str = "F", probes: int = 3) -> list[Judged]:
        """Logs rounds of fish in a load: "10:00 143.2, 10:15 146.1"."""
        judged: list[Judged] = []
        for part in text.split(","):
            when, figure = part.split()
            figures = [Figure(figure, unit, f"fish {n + 1}") for n in range(probes)]
            answer = reading.enter_readings(self.operator, which.place, which, figures, seen(when))
            judged = answer.judged
        return judged

    def at_place(self, name: str, text: str, unit: str = "F") -> list[Judged]:
        """Logs readings of a place: "10:00 36.2, 12:00 37.0"."""
        judged: list[Judged] = []
        for part in text.split(","):
            when, figure = part.split()
            answer = reading.enter_readings(
                self.operator, self.place(name), None, [Figure(figure, unit)], seen(when)
            )
            judged = answer.judged
        return judged

    def observe(self, which: Load, what: str, found: bool, at: str) -> list[Judged]:
        return reading.observe(self.operator, which, [reading.Look(what, found)], seen(at))

    def judged(self, one: Lot, step: str, at: str) -> dict[str, Judged]:
        """The lot's limits at a step, by id, at a moment."""
        parts = one.parts.filter(step=step).select_related(
            "load__place__within", "lot__plan_version"
        )
        return {
            judged.limit.id: judged
            for part in parts
            for judged in judge_part(part, moment(at), anew=True)
        }


def _salting(
    portions: list[load.Portion],
    at: int,
    declared: str | None,
    brine_batch: BrineBatch | None,
    brine_g: int | None,
) -> Salting:
    if brine_batch is None:
        return Salting(declared or "long")
    fish = tuple((one.lot, one.grams) for one in portions)
    before = before_load(Ask(brine_batch, brine_g, fish, at))
    lies = bool(before.barred)  # what may not be is kept as a fact
    return Salting(declared or "long", brine_batch, brine_g, already=lies, seen=before.mark)


def plan_of(version: PlanVersion) -> object:
    from lots.queries.plans import plan_value

    return plan_value(version)


TRAINING = {"course": "Seafood HACCP, basic course (invented)", "course_date": "2025-02-11"}
FOUNDED = "2026-03-01 09:00"


def _person(keeper: Person, username: str, name: str, initials: str, right: str, at: int) -> Person:
    trained = right in ("reviewer", "coordinator")
    training = TRAINING | {"certificate": f"INV-{initials}"} if trained else {}
    person, code = people.invite(
        keeper, username, name, initials, [people.Grant(right, **training)], at
    )
    people.set_password(code, PASSWORD, at)
    return person


def make_book(stem: str = "hot-smoked-vacuum-frozen", unit: str = "F", **product: str) -> Book:
    """A book of one plan, as it starts or with these words of its product."""
    at = moment(FOUNDED)
    keeper = found_house(
        House("Invented Creek Smokehouse", "1 Nowhere Lane, Inventon", "wholesale",
              "America/New_York", unit, "kg"),
        "kim", "Kim Keeper", "KK", PASSWORD, at,
    )  # fmt: skip
    operator = _person(keeper, "olga", "Olga Operator", "OO", "operator", at)
    reviewer = _person(keeper, "rene", "René Reviewer", "RR", "reviewer", at)
    coordinator = _person(keeper, "cora", "Cora Coordinator", "CC", "coordinator", at)
    inspector = _person(keeper, "ines", "Inés Inspector", "II", "inspector", at)
    places = {}
    for name, kind, within in PLACES:
        places[name] = house.open_place(keeper, name, kind, places.get(within), at)
    thermometer = house.register_instrument(
        coordinator, NewInstrument("Thermometer 1", "thermometer", "±1 °F"), at
    )
    content = starting_plans()[stem]
    content["product"] |= product
    draft = plan.begin_draft(coordinator, content["title"], content, None, at)
    version = plan.publish_plan(coordinator, draft, "", at)
    return Book(keeper, operator, reviewer, coordinator, inspector, version, places, thermometer)


PLACES = (
    ("Dock", "receiving dock", ""),
    ("Table", "table", ""),
    ("Brine room", "cooler", ""),
    ("Brine tank 1", "brine tank", "Brine room"),
    ("Cooler", "cooler", ""),
    ("Dry room", "dry room", ""),
    ("Smokehouse 1", "smokehouse", ""),
    ("Smokehouse 2", "smokehouse", ""),
    ("Freezer", "freezer", ""),
)

__all__ = ["PASSWORD", "Book", "end_of", "make_book", "moment", "seen"]
