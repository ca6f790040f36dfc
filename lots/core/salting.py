"""Salt in the fish's water: the figure that keeps a pack, the highest that a brine or a dry salting could
bring it to, and how far the fish would have to be dried for it.

Nothing here is proof.  These are the sums of a planning aid: what a laboratory finds in the finished fish
stands above each of them.  Figures are exact; shares are per cent, weights as their names end.

Fish as it is taken here: solids, water and salt.  In the brine its water stays as much as it was and salt
comes to it; in the oven water leaves and salt stays.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Protocol

from lots.core.salt_water import SATURATED
from lots.core.units import MG_PER_G

PER_CENT: Final = 100
G_PER_KG: Final = 1000
Number = Fraction | int


class BadSalting(ValueError):
    """Figures that cannot be those of a salting; the message says what to do."""


def water_phase_salt(salt_pct: Number, moisture_pct: Number) -> Fraction:
    """Water-phase salt in per cent: salt of salt and water together, exact.

    Args:
        salt_pct, moisture_pct: of the fish as sampled, per cent; together at most 100.
    Raises:
        BadSalting: a figure below nothing, both nothing, or more than 100 % together.
    Source: FDA Fish and Fishery Products Hazards and Controls Guidance, chapter 13; AFDO cured, salted and
        smoked fish guidance.
    """
    if salt_pct < 0 or moisture_pct < 0:
        raise BadSalting("Salt and moisture cannot be below nothing.")
    if salt_pct + moisture_pct > PER_CENT:
        raise BadSalting("Salt and moisture are over 100 % together: look at both figures again.")
    if not salt_pct + moisture_pct:
        raise BadSalting("Salt and moisture are both nothing: there is no water to hold the salt.")
    return PER_CENT * Fraction(salt_pct) / (salt_pct + moisture_pct)


def _moist(moisture_pct: Number, fish_salt_pct: Number) -> None:
    if not 0 < moisture_pct < PER_CENT:
        raise BadSalting("State the moisture of the raw fish in per cent, between 0 and 100.")
    if fish_salt_pct < 0 or moisture_pct + fish_salt_pct > PER_CENT:
        raise BadSalting("Salt and moisture are over 100 % together: look at both figures again.")


def equilibrium(
    salt_mg: Number,
    water_mg: Number,
    fish_g: Number,
    moisture_pct: Number,
    fish_salt_pct: Number = 0,
) -> Fraction:
    """The highest water-phase salt, per cent, before any drying: fish and brine at one strength, exact, and
    never above what dissolves.

    It errs upwards: no fish passes it in the brine, and most are taken out long before it.

    Args:
        salt_mg, water_mg: of the part of the batch that is on this fish, mg; sugar and the like left out.
        fish_g: all the fish in it, grams, above 0.
        moisture_pct, fish_salt_pct: of the raw fish.
    Raises:
        BadSalting: a weight below nothing, no fish, or a moisture that cannot be.
    """
    _moist(moisture_pct, fish_salt_pct)
    if salt_mg < 0 or water_mg < 0 or not fish_g > 0:
        raise BadSalting("State what the fish weighs, and salt and water not below nothing.")
    fish_mg = Fraction(fish_g) * MG_PER_G
    salt = salt_mg + fish_mg * fish_salt_pct / PER_CENT
    found = PER_CENT * salt / (salt + water_mg + fish_mg * moisture_pct / PER_CENT)
    return min(found, SATURATED)


@dataclass(frozen=True, slots=True)
class Drying:
    """To what moisture fish is dried, and what it then weighs of what it weighed as brined; per cent."""

    moisture_pct: Fraction
    yield_pct: Fraction


def drying_to(
    wps_pct: Number, moisture_pct: Number, target_pct: Number, fish_salt_pct: Number = 0
) -> Drying | None:
    """How far fish of this water-phase salt has to be dried to come to the target, exact.

    Salt stays and water goes; the solids are those of the raw fish.  None where the fish holds no salt, so
    that no drying brings it there; fish that is there already is not dried at all.

    Args:
        wps_pct: of the brined fish, before drying; at least 0, below 100.
        moisture_pct, fish_salt_pct: of the raw fish.
        target_pct: water-phase salt wanted, above 0, below 100.
    Raises:
        BadSalting: a figure out of its range.
    """
    _moist(moisture_pct, fish_salt_pct)
    if not (0 <= wps_pct < PER_CENT and 0 < target_pct < PER_CENT):
        raise BadSalting("State water-phase salt in per cent, between 0 and 100.")
    if not wps_pct:
        return None
    salt = Fraction(moisture_pct) * wps_pct / (PER_CENT - wps_pct)  # beside 100 of raw fish
    dry = PER_CENT - moisture_pct - fish_salt_pct + salt
    water = min(Fraction(moisture_pct), salt * (PER_CENT - target_pct) / target_pct)
    return Drying(PER_CENT * water / (dry + water), PER_CENT * (dry + water) / (dry + moisture_pct))


def strength_for(
    target_pct: Number, ratio: Number, moisture_pct: Number, fish_salt_pct: Number = 0
) -> Fraction:
    """The strength of brine, per cent of salt in salt and water, that comes to the target at full
    equilibrium before drying; exact, and above what dissolves where no brine of this amount does.

    Args:
        target_pct: water-phase salt wanted, above 0, below 100.
        ratio: weight of the brine (salt and water) for one of fish, above 0.
        moisture_pct, fish_salt_pct: of the raw fish.
    """
    _moist(moisture_pct, fish_salt_pct)
    if not (ratio > 0 and 0 < target_pct < PER_CENT):
        raise BadSalting("State the brine for one part of fish, and the target, above nothing.")
    share, own = Fraction(target_pct) / PER_CENT, Fraction(fish_salt_pct) / PER_CENT
    whole = ratio + Fraction(moisture_pct) / PER_CENT + own
    return PER_CENT * (share * whole - own) / ratio


def dry_salt_for(target_pct: Number, moisture_pct: Number, fish_salt_pct: Number = 0) -> Fraction:
    """Grams of salt for a kilogram of fish that would bring its water to the target, if all of it went in
    and no water left: the least that dry salting can do with, exact."""
    _moist(moisture_pct, fish_salt_pct)
    if not 0 < target_pct < PER_CENT:
        raise BadSalting("State water-phase salt in per cent, between 0 and 100.")
    salt = Fraction(target_pct) * moisture_pct / (PER_CENT - target_pct) - fish_salt_pct
    return max(salt, Fraction(0)) * G_PER_KG / PER_CENT


# --- before the fish goes in ----------------------------------------------------------------------


class Mixed(Protocol):
    """What is asked of a batch (core/batch.py): what its salt, its water and all of it weigh, mg."""

    @property
    def method(self) -> str: ...
    @property
    def salt_mg(self) -> Number: ...
    @property
    def water_mg(self) -> Number: ...
    @property
    def total_mg(self) -> Number: ...


@dataclass(frozen=True, slots=True)
class Ahead:
    """What a batch can and cannot do for this fish, known before the fish goes in; shares in per cent.

    `wps_pct` is the highest at full equilibrium before drying; `dry_to` how far the fish would have to be
    dried for the target; `strength_pct` the brine that would do at this `ratio` (None where none is
    strong enough), `ratio_needed` the amount of this brine that would (None where no amount does),
    `dry_salt_g` the least salt for a kilogram by dry salting.
    """

    wps_pct: Fraction
    target_pct: Fraction
    moisture_pct: Fraction
    ratio: Fraction
    batch_pct: Fraction
    dry_to: Drying | None
    strength_pct: Fraction | None
    ratio_needed: Fraction | None
    dry_salt_g: Fraction

    @property
    def reaches(self) -> bool:
        """Whether the target can be reached in the brine at all, given time enough."""
        return self.wps_pct >= self.target_pct

    @property
    def strength_sal(self) -> Fraction | None:
        """The brine that would do, in degrees of the salometer at 60 °F."""
        return None if self.strength_pct is None else PER_CENT * self.strength_pct / SATURATED


def ahead(
    batch: Mixed,
    brine_g: int | None,
    fish_g: int,
    moisture_pct: Number,
    target_pct: Number,
    fish_salt_pct: Number = 0,
) -> Ahead:
    """What this batch can do for this fish at the very best, and what would do instead: exact sums.

    It errs upwards, so what it says is out of reach is; what it says is in reach is not shown by it.

    Args:
        batch: what was mixed; brine_g: grams of it on this fish, None: all of it.
        fish_g: all the fish in it, grams, above 0.
        moisture_pct, fish_salt_pct: of the raw fish.
        target_pct: the water-phase salt that the pack asks for.
    Raises:
        BadSalting: no weight of fish or batch, or a share that cannot be.
    """
    if not batch.total_mg > 0:
        raise BadSalting("The batch weighs nothing.")
    used = Fraction(1) if brine_g is None else Fraction(brine_g) * MG_PER_G / batch.total_mg
    salt, water = batch.salt_mg * used, batch.water_mg * used
    highest = equilibrium(salt, water, fish_g, moisture_pct, fish_salt_pct)
    solution = salt + water
    ratio = solution / (fish_g * MG_PER_G)
    pct = PER_CENT * salt / solution if solution else Fraction(0)
    strength = strength_for(target_pct, ratio, moisture_pct, fish_salt_pct) if ratio else None
    return Ahead(
        wps_pct=highest,
        target_pct=Fraction(target_pct),
        moisture_pct=Fraction(moisture_pct),
        ratio=ratio,
        batch_pct=pct,
        dry_to=drying_to(highest, moisture_pct, target_pct, fish_salt_pct),
        strength_pct=strength if strength is not None and strength <= SATURATED else None,
        ratio_needed=_ratio_for(pct, Fraction(target_pct), moisture_pct, fish_salt_pct),
        dry_salt_g=dry_salt_for(target_pct, moisture_pct, fish_salt_pct),
    )


def _ratio_for(
    pct: Fraction, target: Fraction, moisture: Number, fish_salt: Number
) -> Fraction | None:
    """The brine of this strength for one of fish that would come to the target; None: no amount."""
    if pct <= target:
        return None
    lacks = target * (moisture + fish_salt) - PER_CENT * fish_salt
    return max(lacks, Fraction(0)) / (pct - target) / PER_CENT
