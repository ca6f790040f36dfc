"""Founds the invented house: people, places, instruments, plans; all through the entries."""

from dataclasses import dataclass
from typing import Any

from lots.entries import house as entries
from lots.entries import people, plan
from lots.entries.house import House, NewInstrument
from lots.models.house import Establishment, Instrument, Place
from lots.models.people import Person, Right
from lots.models.plan import PlanVersion
from lots.queries.house import establishment
from lots.queries.plans import starting_plans

FROZEN = "hot-smoked-vacuum-frozen"
CHILLED = "hot-smoked-air-chilled"
VACUUM = "hot-smoked-vacuum-chilled"
TROUT = "TRR"
STUDY = "INV-PS-07: salmon, sablefish and trout in a strong brine (an invented study)"


@dataclass(frozen=True)
class Stage:
    """What the week stands on."""

    house: Establishment
    people: dict[str, Person]
    places: dict[str, Place]
    instruments: dict[str, Instrument]
    plans: dict[str, PlanVersion]
    off_f: dict[str, float]
    suppliers: dict[str, str]


def found(data: dict[str, Any], passwords: dict[str, str], at: int) -> Stage:
    """The house on its first morning."""
    first, *others = data["people"]
    keeper = entries.found_house(
        House(**data["house"], demo=True),
        first["username"], first["name"], first["initials"], passwords[first["username"]], at,
    )  # fmt: skip
    everyone = {first["username"]: keeper}
    for row in others:
        everyone[row["username"]] = _invite(keeper, row, passwords[row["username"]], at)
    people.take_right(keeper, keeper, Right.OPERATOR, "logs nothing: keeps the people only", at)
    places: dict[str, Place] = {}
    for row in data["places"]:
        within = places.get(row.get("within", ""))
        places[row["name"]] = entries.open_place(keeper, row["name"], row["kind"], within, at)
    house = establishment()
    assert house is not None
    return Stage(
        house,
        everyone,
        places,
        {row["name"]: _register(keeper, row, places, at) for row in data["instruments"]},
        _plans(everyone["hazel"], at),
        {row["name"]: row["off_f"] for row in data["instruments"] if "off_f" in row},
        data["suppliers"],
    )


def _invite(keeper: Person, row: dict[str, Any], password: str, at: int) -> Person:
    training = {key: row[key] for key in ("course", "course_date", "certificate") if key in row}
    grants = [
        people.Grant(right, **(training if right in ("reviewer", "coordinator") else {}))
        for right in row["rights"]
    ]
    person, code = people.invite(keeper, row["username"], row["name"], row["initials"], grants, at)
    people.set_password(code, password, at)
    return person


def _register(keeper: Person, row: dict[str, Any], places: dict[str, Place], at: int) -> Instrument:
    new = NewInstrument(
        row["name"],
        row["kind"],
        row["accuracy"],
        row.get("reference", ""),
        row["serial"],
        places.get(row.get("place", "")),
        row.get("full_scale", ""),
    )
    return entries.register_instrument(keeper, new, at)


def _plans(coordinator: Person, at: int) -> dict[str, PlanVersion]:
    contents = starting_plans()
    # The starting plan has no trout in it, and is published only with a process study.
    trout = [row for row in contents[FROZEN]["species"] if row["code"] == TROUT]
    contents[VACUUM]["species"] = [*contents[VACUUM]["species"], *trout]
    contents[VACUUM]["product"]["process_study"] = STUDY
    versions = {}
    for stem in (FROZEN, CHILLED, VACUUM):
        draft = plan.begin_draft(coordinator, contents[stem]["title"], contents[stem], None, at)
        versions[stem] = plan.publish_plan(coordinator, draft, "", at)
    return versions
