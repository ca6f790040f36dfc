"""The forecast of salt as a person reads it: each piece, how long, how thick; and what it rests on."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from lots.core.salt_water import SATURATED
from lots.core.units import MM_PER_IN, MS_PER_S, show_both, show_number, show_span
from lots.core.uptake import (
    LONGEST_DAYS,
    M_PER_MM,
    PLANNING,
    Brining,
    Forecast,
    Piece,
    Reach,
    Standing,
    pieces,
    thickest,
    time_to_reach,
)
from lots.queries.sums import percent
from lots.queries.uptake_points import Known

MINUTE_S: Final = 60


@dataclass(frozen=True)
class Asked:
    """What is forecast: pieces in a brining for a time, against a target."""

    brining: Brining
    thicknesses_mm: tuple[Fraction, ...]
    seconds: int
    target_pct: Fraction
    method: str = "brine"
    in_inches: bool = False


@dataclass(frozen=True)
class PieceRow:
    """Pieces of one thickness."""

    piece: Piece
    count: int
    thickness: str
    best: str
    band: str

    @property
    def standing(self) -> Standing:
        return self.piece.standing

    @property
    def shape(self) -> str:
        """The name of its shape on the picture and beside its words."""
        return SHAPES[self.standing]


SHAPES: Final = {Standing.REACHES: "reach", Standing.IN_DOUBT: "doubt", Standing.FAILS: "fail"}


@dataclass(frozen=True)
class SaltForecast:
    """What a forecast says, its figures and its sentences."""

    asked: Asked
    known: Known
    rows: tuple[PieceRow, ...]
    time: Reach
    limit: Reach
    end_pct: Fraction

    @property
    def thickest(self) -> PieceRow:
        return self.rows[0]

    @property
    def wanted(self) -> str:
        return percent(self.asked.target_pct)

    @property
    def planning(self) -> str:
        return PLANNING

    @property
    def how_long(self) -> str:
        """How long until the thickest is likely to have the target."""
        name = self.thickest.thickness
        sure, hopeful = self.time.sure, self.time.hopeful
        if hopeful is None:
            return (
                f"The thickest piece, {name}, is not likely to reach {percent(self.asked.target_pct)} "
                f"in this brine at all, even in {LONGEST_DAYS} days."
            )
        if sure is None:
            return (
                f"The thickest piece, {name}, might reach {percent(self.asked.target_pct)} from "
                f"{duration(hopeful)} on; by the low end of the band it never does."
            )
        best = (
            ""
            if self.time.best is None
            else f"; best figure {duration(self.time.best)}, earliest {duration(hopeful)}"
        )
        return (
            f"The thickest piece, {name}, is likely to have {percent(self.asked.target_pct)} after "
            f"{duration(sure)}{best}."
        )

    @property
    def how_thick(self) -> str:
        """What thickness is too thick for this time."""
        span = duration(Fraction(self.asked.seconds))
        sure, hopeful = self.limit.sure, self.limit.hopeful
        if hopeful is None:
            return f"In {span} no piece of any thickness is likely to reach it."
        upto = (
            "no thickness is likely to reach it"
            if sure is None
            else f"pieces up to {self._thick(sure)} are likely to reach it"
        )
        if sure == hopeful:
            return f"In {span} {upto}."
        return f"In {span} {upto}; those thicker than {self._thick(hopeful)} are likely to fail; between them it is in doubt."

    def _thick(self, mm: Fraction) -> str:
        return thickness(mm, self.asked.in_inches)

    @property
    def failing(self) -> str:
        """Which of the pieces reach, are in doubt, fail: in one sentence."""
        parts = [
            f"{_count(self.rows, one)} {one.value}"
            for one in Standing
            if any(row.standing is one for row in self.rows)
        ]
        first = min(
            (row.piece.thickness_mm for row in self.rows if row.standing is Standing.FAILS),
            default=None,
        )
        said = f"Of {sum(row.count for row in self.rows)} piece{'s' if self._many else ''}: {', '.join(parts)}"
        return f"{said}." if first is None else f"{said}, from {self._thick(first)} on."

    @property
    def _many(self) -> bool:
        return sum(row.count for row in self.rows) > 1

    @property
    def rests_on(self) -> list[tuple[str, str]]:
        """(what, figure) of what it was reckoned from."""
        one, dry = self.asked.brining, self.asked.method != "brine"
        strength = Fraction(one.brine_pct).limit_denominator(10**6)
        ratio = Fraction(one.ratio).limit_denominator(10**6)
        return [
            ("Salting", "dry: the face of the fish is taken as of the final strength from the start" if dry else
             f"brine of {percent(strength)}, {show_number(100 * strength / SATURATED, 1)} °SAL"),
            ("Salt to 1 of fish" if dry else "Brine to 1 of fish", show_number(ratio, 2)),
            ("At", show_both(one.temp_ninths)),
            ("Salt goes in", "from one side (skin on)" if one.open_faces == 1 else "from both sides (skin off)"),
            ("Moisture of the raw fish", percent(Fraction(one.moisture_pct).limit_denominator(10**6), 1)),
            ("Dried to", f"{percent(Fraction(one.yield_pct).limit_denominator(10**6), 1)} of the brined weight"),
            ("The most at full equilibrium, so dried", percent(self.end_pct)),
            ("Diffusivity", self.known.words),
        ]  # fmt: skip


def _count(rows: Sequence[PieceRow], standing: Standing) -> int:
    return sum(row.count for row in rows if row.standing is standing)


def thickness(mm: Fraction, in_inches: bool) -> str:
    """A thickness in the unit that was asked in, the other beside it."""
    inches = f"{show_number(mm / MM_PER_IN, 2)} in"
    metric = f"{show_number(mm, 1)} mm"
    return f"{inches} ({metric})" if in_inches else f"{metric} ({inches})"


def duration(seconds: Fraction) -> str:
    """A time rounded up to whole minutes; days and hours from two days on."""
    minutes = -(-seconds // MINUTE_S)
    if minutes >= 2 * 24 * 60:
        hours = -(-minutes // 60)
        return show_span(int(hours) * 60 * MINUTE_S * MS_PER_S)
    return show_span(int(minutes) * MINUTE_S * MS_PER_S)


def salt_forecast(asked: Asked, known: Known) -> SaltForecast:
    """Raises BadSalting where the figures cannot be those of a brining."""
    here = known.diffusivity
    found = pieces(
        asked.brining,
        here,
        asked.seconds,
        sorted(set(asked.thicknesses_mm), reverse=True),
        asked.target_pct,
    )
    rows = tuple(
        PieceRow(
            one,
            asked.thicknesses_mm.count(one.thickness_mm),
            thickness(one.thickness_mm, asked.in_inches),
            percent(one.forecast.best),
            band_words(one.forecast),
        )
        for one in found
    )
    deepest = float(found[0].thickness_mm) * M_PER_MM
    end = asked.brining.finished_pct(asked.brining.end)
    return SaltForecast(
        asked,
        known,
        rows,
        time_to_reach(asked.brining, here, deepest, asked.target_pct),
        thickest(asked.brining, here, asked.seconds, asked.target_pct),
        Fraction(round(end * 1000), 1000),
    )


def band_words(forecast: Forecast) -> str:
    return f"{show_number(forecast.low, 2, 1)} to {percent(forecast.high)}"
