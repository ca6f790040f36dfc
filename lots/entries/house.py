"""The house: founding it, its places, its instruments and their accuracy checks."""

from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from lots.core.salt_water import read_full_scale
from lots.core.units import (
    MS_PER_DAY,
    MS_PER_H,
    NINTHS_PER_C,
    NINTHS_PER_F,
    BadQuantity,
    TempUnit,
    read_temperature,
    to_ninths,
)
from lots.entries.book import act
from lots.entries.look_back import open_look_back
from lots.entries.moments import Moments
from lots.entries.refusals import Refused
from lots.entries.signing import require
from lots.models.house import (
    AccuracyCheck,
    CheckPeriod,
    Establishment,
    Instrument,
    InstrumentRetired,
    Place,
    PlaceClosed,
    PlaceKind,
)
from lots.models.people import Person, Right, RightGiven
from lots.models.scratch import Login
from lots.queries.house import establishment, rules


@dataclass(frozen=True, slots=True)
class House:
    """What an establishment states of itself."""

    name: str
    address: str
    sells: str
    zone: str
    temperature_unit: str
    weight_unit: str
    demo: bool = False

    def check(self) -> None:
        wrong = {}
        if not self.name.strip():
            wrong["name"] = "Type the establishment's name."
        if not self.address.strip():
            wrong["address"] = "Type the address: every record carries it (21 CFR 123.9(a))."
        try:
            ZoneInfo(self.zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            wrong["zone"] = (
                f"“{self.zone}” is not a time zone. Choose one such as America/New_York."
            )
        if wrong:
            raise Refused(wrong)

    def row(self) -> Establishment:
        return Establishment(
            name=self.name.strip(),
            address=self.address.strip(),
            sells=self.sells,
            zone=self.zone,
            temperature_unit=self.temperature_unit,
            weight_unit=self.weight_unit,
            demo=self.demo,
        )


def found_house(
    house: House, username: str, name: str, initials: str, password: str, at: int
) -> Person:
    """Begins an empty book: the establishment and its first person, who keeps the people."""
    house.check()
    if not (username.strip() and name.strip() and initials.strip()):
        raise Refused(
            {"person_name": "Name the first person: printed name, log-in name, initials."}
        )
    if not (username.strip().isascii() and username.strip().isidentifier()):
        raise Refused({"username": "Use letters, digits and _ only, beginning with a letter."})
    with act("house founded", None, at) as writing:
        if establishment() is not None:
            raise Refused("This house is already named. Log in instead.")
        writing.write(house.row())
        person = writing.write(
            Person(username=username.strip(), name=name.strip(), initials=initials.strip())
        )
        for right in (Right.KEEPER, Right.OPERATOR):
            writing.write(RightGiven(person=person, right=right))
        login = Login(username=person.username, person=person)
        login.set_password(password)
        login.save()
        writing.say(name=house.name)
    return person


def change_house(keeper: Person, house: House, at: int) -> Establishment:
    """States the establishment anew; the older statement stays in the book."""
    require(keeper, Right.KEEPER)
    house.check()
    with act("house stated anew", keeper, at) as writing:
        return writing.write(house.row())


def open_place(person: Person, name: str, kind: str, within: Place | None, at: int) -> Place:
    require(person, Right.KEEPER, Right.COORDINATOR)
    with act("place opened", person, at) as writing:
        _check_place(name, kind, within)
        writing.say(name=name.strip())
        return writing.write(Place(name=name.strip(), kind=kind, within=within))


def _check_place(name: str, kind: str, within: Place | None) -> None:
    wrong = {}
    if not name.strip():
        wrong["name"] = "Type a name, such as Smokehouse 1."
    elif Place.objects.filter(name=name.strip()).exists():
        wrong["name"] = f"There is already a place called “{name.strip()}”."
    if kind not in PlaceKind.values:
        wrong["kind"] = "Choose what kind of place it is."
    if within is not None and PlaceClosed.objects.filter(place=within).exists():
        wrong["within"] = f"{within.name} is closed. Choose a place that is in use."
    if wrong:
        raise Refused(wrong)


def close_place(person: Person, place: Place, reason: str, at: int) -> PlaceClosed:
    require(person, Right.KEEPER, Right.COORDINATOR)
    if not reason.strip():
        raise Refused({"reason": "Say why the place is closed."})
    with act("place closed", person, at) as writing:
        if place.loads.filter(ends=None).exists():
            raise Refused(f"{place.name} still holds a load. End it first.")
        if place.holds.filter(closed=None).exists():
            raise Refused(f"{place.name} still has other places in it. Close them first.")
        if PlaceClosed.objects.filter(place=place).exists():
            raise Refused(f"{place.name} is already closed.")
        writing.say(name=place.name)
        return writing.write(PlaceClosed(place=place, reason=reason.strip()))


@dataclass(frozen=True, slots=True)
class NewInstrument:
    name: str
    kind: str
    accuracy: str = ""
    reference: str = ""
    serial: str = ""
    place: Place | None = None
    full_scale: str = ""


def register_instrument(person: Person, new: NewInstrument, at: int) -> Instrument:
    require(person, Right.KEEPER, Right.COORDINATOR, Right.REVIEWER)
    with act("instrument registered", person, at) as writing:
        _check_instrument(new)
        writing.say(name=new.name.strip())
        return writing.write(
            Instrument(
                name=new.name.strip(),
                kind=new.kind.strip(),
                accuracy=new.accuracy.strip(),
                reference=new.reference.strip(),
                full_scale=new.full_scale.strip() or None,
                serial=new.serial.strip(),
                place=new.place,
            )
        )


def _check_instrument(new: NewInstrument) -> None:
    wrong = {}
    if not new.name.strip():
        wrong["name"] = "Type the name that stands on it, such as Thermometer 2."
    elif Instrument.objects.filter(name=new.name.strip()).exists():
        wrong["name"] = f"There is already an instrument called “{new.name.strip()}”."
    if not new.kind.strip():
        wrong["kind"] = "Say what kind of instrument it is."
    if new.kind.strip() in ("salometer", "refractometer"):
        wrong |= _wrong_scale(new)
    elif new.full_scale.strip():
        wrong["full_scale"] = "Only a salometer has a full scale: leave this empty."
    if wrong:
        raise Refused(wrong)


def _wrong_scale(new: NewInstrument) -> dict[str, str]:
    """What is wrong with what a salometer or refractometer was made for: brine is computed with it."""
    wrong = {}
    if new.reference.strip():
        try:
            read_temperature(new.reference)
        except BadQuantity as error:
            wrong["reference"] = str(error)
    if not new.full_scale.strip():
        return wrong
    if new.kind.strip() != "salometer":
        return wrong | {"full_scale": "Only a salometer has this. Leave it empty."}
    try:
        read_full_scale(new.full_scale)
    except BadQuantity as error:
        wrong["full_scale"] = str(error)
    return wrong


def retire_instrument(person: Person, instrument: Instrument, reason: str, at: int) -> None:
    require(person, Right.KEEPER, Right.COORDINATOR, Right.REVIEWER)
    if not reason.strip():
        raise Refused({"reason": "Say why the instrument is retired."})
    with act("instrument retired", person, at) as writing:
        if InstrumentRetired.objects.filter(instrument=instrument).exists():
            raise Refused(f"{instrument.name} is already retired.")
        writing.say(name=instrument.name)
        writing.write(InstrumentRetired(instrument=instrument, reason=reason.strip()))


@dataclass(frozen=True, slots=True)
class Checked:
    """What the thermometer read, and what it should have, as typed."""

    method: str
    as_read: str
    expected: str
    unit: str
    note: str = ""

    @property
    def side(self) -> TempUnit:
        return "F" if self.unit == "F" else "C"

    def ninths(self) -> dict[str, int]:
        """Both figures by the name of their field.

        Raises:
            Refused: one is no temperature, or none that a thermometer meets here.
        """
        figures: dict[str, int] = {}
        for field, text in (("as_read", self.as_read), ("expected", self.expected)):
            try:
                figures[field] = to_ninths(text, self.side)
            except BadQuantity as error:
                raise Refused({field: str(error)}) from error
            if not rules().possible.holds(figures[field]):
                raise Refused(
                    {field: f"{text.strip()} °{self.side} is not possible here. Check the unit."}
                )
        return figures


def check_accuracy(
    person: Person,
    instrument: Instrument,
    method: str,
    as_read: str,
    expected: str,
    unit: str,
    when: Moments,
    note: str = "",
) -> AccuracyCheck:
    """Keeps what a thermometer read against what it should have; within tolerance or not.

    Out of tolerance, a deviation opens in the same act on every lot that relied on it since it was
    last found good.  A failed check is never undone; a good one after it closes nothing.
    """
    require(person, Right.OPERATOR, Right.REVIEWER, Right.COORDINATOR)
    when.check()
    typed = Checked(method, as_read, expected, unit, note)
    figures = typed.ninths()
    allowed = rules().tolerance[typed.side]
    off = abs(figures["as_read"] - figures["expected"])
    with act("accuracy checked", person, when.recorded_at) as writing:
        if InstrumentRetired.objects.filter(instrument=instrument).exists():
            raise Refused(f"{instrument.name} is retired.")
        writing.say(name=instrument.name)
        check = writing.write(_check_row(instrument, typed, allowed, off <= allowed, when))
        if not check.within:
            open_look_back(writing, check, when.recorded_at)
    return check


def _check_row(
    instrument: Instrument, typed: Checked, allowed: int, within: bool, when: Moments
) -> AccuracyCheck:
    per_degree = NINTHS_PER_F if typed.side == "F" else NINTHS_PER_C
    return AccuracyCheck(
        instrument=instrument,
        method=typed.method,
        as_read=typed.as_read.strip(),
        expected=typed.expected.strip(),
        unit=typed.side,
        tolerance=f"{allowed / per_degree:g} °{typed.side}",
        within=within,
        observed_at=when.observed_at,
        entered_at=when.entered_at,
        note=typed.note.strip(),
    )


LONGEST_PERIOD_MS: Final = 2 * 365 * MS_PER_DAY  # rarer than this was mistyped


def set_check_period(
    person: Person, instrument: Instrument, every_ms: int, reason: str, at: int
) -> CheckPeriod:
    """Says how often the instrument's accuracy is checked; the newest governs."""
    require(person, Right.KEEPER, Right.COORDINATOR, Right.REVIEWER)
    wrong = {}
    if not MS_PER_H <= every_ms <= LONGEST_PERIOD_MS:
        wrong["every"] = "Type a time from 1 h to 730 days, such as 24 h or 7 days."
    if not reason.strip():
        wrong["period_reason"] = "Say why: what the maker or the plan asks for."
    if wrong:
        raise Refused(wrong)
    with act("check period set", person, at) as writing:
        if InstrumentRetired.objects.filter(instrument=instrument).exists():
            raise Refused(f"{instrument.name} is retired.")
        writing.say(name=instrument.name)
        return writing.write(
            CheckPeriod(instrument=instrument, every_ms=every_ms, reason=reason.strip())
        )
