"""Points for the forecast of salt: a laboratory's result with what its fish had been through, kept; and
taken out of the fit again, with the reason.

The lines concern no lot: a point changes nothing that a lot is judged by, asks for no review anew, and
moves no record.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from lots.core.batch import COVERS_REFUSED
from lots.core.calibration import ABOVE, Point, point_from
from lots.core.pieces import show_um
from lots.core.salting import PER_CENT, BadSalting
from lots.core.units import MILLIONTHS, MS_PER_DAY, MS_PER_S, show_number
from lots.core.uptake import LONGEST_DAYS, LONGEST_S, mobility
from lots.entries.book import act, already, taken_once
from lots.entries.refusals import Refused, Unlikely
from lots.entries.signing import require
from lots.models.lot import LaboratoryResult
from lots.models.people import Person, Right
from lots.models.salt import UptakePoint, UptakePointLeftOut
from lots.queries.brined import brined
from lots.queries.house import rules
from lots.queries.uptake_points import FIGURES, WATER_PHASE, lowest_sample

MAY_KEEP: Final = (Right.OPERATOR, Right.REVIEWER, Right.COORDINATOR)
PERCENTS: Final = ("brine_salt", "raw_moisture", "salt", "moisture", "yield_share")


@dataclass(frozen=True, slots=True)
class NewPoint:
    """A point as it is to be kept; units as in models.salt.UptakePoint."""

    thickness_um: int
    open_faces: int
    brined_ms: int
    brine_temp: int
    brine_salt: int
    ratio: int
    raw_moisture: int
    salt: int
    moisture: int
    yield_share: int
    note: str = ""


@taken_once
def keep_point(
    person: Person,
    result: LaboratoryResult,
    new: NewPoint,
    at: int,
    sure: frozenset[str] = frozenset(),
    client_key: str | None = None,
) -> UptakePoint:
    """Keeps a laboratory's water-phase salt as a point of the fit.

    Args:
        sure: the fields whose odd figures the person says are so.
    """
    require(person, *MAY_KEEP)
    done = already(client_key, "salt point kept", person)
    if done is not None:
        return UptakePoint.objects.get(line=done)
    with act("salt point kept", person, at, client_key) as writing:
        result = _standing(result)
        point = _computed(new)
        asked = {name: text for name, text in _odd(result, new, point) if name not in sure}
        if asked:
            raise Unlikely(asked)
        lot = result.lot
        assert lot is not None
        writing.say(code=lot.code)
        figures = {name: getattr(new, name) for name in FIGURES}
        return writing.write(
            UptakePoint(
                result=result,
                load=brined(lot, at).load,
                entered_at=at,
                note=new.note.strip(),
                **figures,
            )
        )


def _standing(result: LaboratoryResult) -> LaboratoryResult:
    """The result as it is now; refused where no point can be made of it."""
    row = LaboratoryResult.objects.select_related("lot__voided", "lot__plan_version").get(
        pk=result.pk
    )
    if row.lot is None or row.quantity != WATER_PHASE:
        raise Refused("A point is made of a laboratory's water-phase salt of a lot.")
    if getattr(row.lot, "voided", None) is not None:
        raise Refused("This lot was voided.")
    if getattr(row, "corrected_by", None) is not None:
        raise Refused("This result was corrected meanwhile. Open the one that stands now.")
    if UptakePoint.objects.filter(result=row).exists():
        raise Refused("A point of this result is kept already. Leave that one out if it is wrong.")
    return row


def _computed(new: NewPoint) -> Point:
    """The point as the fit takes it; refused, at its field, where a figure cannot be."""
    wrong = dict(_impossible(new))
    if wrong:
        raise Refused(wrong)
    point = point_from(**{name: getattr(new, name) for name in FIGURES})
    try:
        point.brining.finished_pct(point.brining.end)
    except BadSalting as error:
        raise Refused({"yield_share": str(error)}) from error
    return point


def _impossible(new: NewPoint) -> Iterator[tuple[str, str]]:
    no_fish = rules().pieces.no_fish_um
    if not 0 < new.thickness_um <= no_fish:
        yield (
            "thickness_um",
            f"Type the thickness of the whole piece, above 0 and at most {show_um(no_fish)}.",
        )
    if new.open_faces not in (1, 2):
        yield "open_faces", "Say whether the skin is on or off."
    if not 0 < new.brined_ms <= LONGEST_S * MS_PER_S:
        yield "brined_ms", f"Type how long the fish was in the brine, at most {LONGEST_DAYS} days."
    for name in PERCENTS:
        if not 0 < getattr(new, name) <= PER_CENT * MILLIONTHS:
            yield name, "Type per cent, above 0 and at most 100."
    if new.raw_moisture == PER_CENT * MILLIONTHS:
        yield "raw_moisture", "No fish is all water: type its moisture again."
    if not new.ratio > 0:
        yield "ratio", "Type the weight of the brine for one of fish, above 0."
    if new.salt + new.moisture > PER_CENT * MILLIONTHS:
        yield "moisture", "Salt and moisture are over 100 % together: look at both figures again."
    try:
        mobility(new.brine_temp)
    except BadSalting as error:
        yield "brine_temp", str(error)


def _odd(result: LaboratoryResult, new: NewPoint, point: Point) -> Iterator[tuple[str, str]]:
    """What is possible and still worth a second look, most of all a thickness in the wrong unit."""
    pieces, rule = rules().pieces, rules().uptake
    if not pieces.thinnest_um <= new.thickness_um <= pieces.thickest_um:
        yield "thickness_um", f"{show_um(new.thickness_um)} is unlikely. Is the unit right?"
    if new.brined_ms > rule.brined_ms:
        said = f"more than {rule.brined_ms // MS_PER_DAY} days"
        yield "brined_ms", f"That is {said} in the brine. Is it so?"
    if new.ratio < COVERS_REFUSED * MILLIONTHS and new.brine_salt < PER_CENT * MILLIONTHS:
        yield "ratio", "So little brine does not cover the fish. Is it the brine for one of fish?"
    if new.yield_share < rule.least_left:
        least = show_number(Fraction(rule.least_left, MILLIONTHS), 1)
        yield "yield_share", f"Less than {least} % of the brined weight was left. Is it so?"
    if point.salt > ABOVE * point.brining.end:
        yield (
            "salt",
            "That is more salt than this brine could give the fish. Look at strength, ratio and yield.",
        )
    sample = lowest_sample(result)
    found = Fraction(PER_CENT * MILLIONTHS * new.salt, new.salt + new.moisture)
    if sample is not None and abs(found - sample.value) > rule.off:
        said, would = (show_number(Fraction(one) / MILLIONTHS, 2) for one in (sample.value, found))
        yield (
            "moisture",
            f"The laboratory's water-phase salt is {said} %; this salt and moisture make {would} %. Are they of the "
            "same sample?",
        )


@taken_once
def leave_out(
    person: Person, point: UptakePoint, reason: str, at: int, client_key: str | None = None
) -> UptakePointLeftOut:
    """Takes a point out of the fit for good; it stays in the book with the reason."""
    require(person, *MAY_KEEP)
    done = already(client_key, "salt point left out", person)
    if done is not None:
        return UptakePointLeftOut.objects.get(line=done)
    if not reason.strip():
        raise Refused({"reason": "Say why it is left out."})
    with act("salt point left out", person, at, client_key) as writing:
        if UptakePointLeftOut.objects.filter(point=point).exists():
            raise Refused("This point is left out already.")
        return writing.write(UptakePointLeftOut(point=point, reason=reason.strip()))
