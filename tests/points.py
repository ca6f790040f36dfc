"""Laboratory results and the points of the forecast of salt, made through entries."""

from fractions import Fraction
from typing import Any

from lots.core.units import MILLIONTHS
from lots.core.uptake import Brining, Diffusivity
from lots.entries.uptake import NewPoint, keep_point
from lots.models.lot import LaboratoryResult, Lot
from lots.models.salt import UptakePoint
from tests.laboratory import NewResult, enter_laboratory_result
from tests.make import Book, moment

LABORATORY = "Invented Bay Laboratory"
FIVE_C = 45_000
HOUR_MS = 3_600_000


def result_of(
    book: Book, lot: Lot, salt: str, moisture: str, wps: str, at: str = "13:00"
) -> LaboratoryResult:
    """The laboratory's salt, moisture and water-phase salt of one sample of a lot."""
    when, found = moment(at), None
    for quantity, figure in (("salt", salt), ("moisture", moisture), ("water-phase salt", wps)):
        new = NewResult(quantity, "%", [figure], LABORATORY)
        found = enter_laboratory_result(book.reviewer, lot, new, when, when, when)
    assert found is not None
    return found


def a_point(**changes: Any) -> NewPoint:
    """38 mm of fish with its skin on, 12 h in three times its weight of a brine of 15.8 %, at 5 °C; dried to 85 %
    of its brined weight; 2.6 % salt and 68 % moisture found."""
    figures: dict[str, Any] = {
        "thickness_um": 38_000,
        "open_faces": 1,
        "brined_ms": 12 * HOUR_MS,
        "brine_temp": FIVE_C,
        "brine_salt": 15_800_000,
        "ratio": 3_000_000,
        "raw_moisture": 72_000_000,
        "salt": 2_600_000,
        "moisture": 68_000_000,
        "yield_share": 85_000_000,
    }
    return NewPoint(**figures | changes)


def found_at(diffusivity: float, new: NewPoint) -> NewPoint:
    """The point with the salt that fish of this diffusivity (m²/s at 5 °C) would show, by the forecast's own
    sheet; what is tested with it is the keeping and the showing, never the sum."""
    brining = Brining(
        new.brine_salt / MILLIONTHS, new.ratio / MILLIONTHS, new.raw_moisture / MILLIONTHS,
        new.brine_temp, new.open_faces, new.yield_share / MILLIONTHS,
    )  # fmt: skip
    known = Diffusivity(diffusivity, diffusivity, diffusivity, moves=True).at(new.brine_temp)
    salt = brining.salt(known.best, new.thickness_um / MILLIONTHS, new.brined_ms / 1000)
    moisture, share = new.moisture / MILLIONTHS, new.yield_share / 100 / MILLIONTHS
    grams = salt * (moisture / 100 * share + 1 - share) / share * 100
    figures = {name: getattr(new, name) for name in NewPoint.__slots__}
    return NewPoint(**figures | {"salt": round(grams * MILLIONTHS)})


def percent(millionths: int) -> str:
    return f"{float(Fraction(millionths, MILLIONTHS)):.4f}"


def kept(book: Book, code: str, new: NewPoint) -> UptakePoint:
    """A lot with its result and the point that was made of it."""
    lot = book.lots.get(code) or book.open_lot(code)
    wps = 100 * new.salt / (new.salt + new.moisture)
    result = result_of(book, lot, percent(new.salt), percent(new.moisture), f"{wps:.4f}")
    return keep_point(book.operator, result, new, moment("14:00"))


THICKNESSES_UM = (12_000, 16_000, 20_000, 25_000, 30_000, 38_000)


def six_points(book: Book, diffusivity: float = 2e-10) -> list[UptakePoint]:
    """Points of one diffusivity, each a little off it in turn, thin and thick."""
    found = []
    for number, um in enumerate(THICKNESSES_UM, 1):
        off = 1.06 if number % 2 else 0.94
        new = found_at(
            diffusivity * off, a_point(thickness_um=um, brined_ms=(6 + 2 * number) * HOUR_MS)
        )
        found.append(kept(book, f"PT-{number}", new))
    return found


__all__ = ["a_point", "found_at", "kept", "result_of", "six_points"]
