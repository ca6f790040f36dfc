"""What goes into a brine or a dry salting: by weight, read from what was typed, and scaled.

A batch is a value: parts in milligrams, with what was read and its unit.  `doubts` says what cannot be
(refused) and what is odd but possible (asked about, and taken when confirmed).
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Final

from lots.core.salt_water import (
    COLDEST,
    WARMEST,
    WHOLE,
    density_kg_m3,
    freezing,
    most_salt_pct,
    salt_pct,
)
from lots.core.units import (
    DECIMALS_KEPT,
    LITRE_PER_US_GALLON,
    MG_PER_G,
    MG_PER_UNIT,
    MILLIONTHS,
    BadQuantity,
    read_number,
    round_half_up,
    show_both,
    show_number,
    to_milligrams,
)

METHODS: Final = ("brine", "dry salt")
PART_KINDS: Final = ("water", "salt", "sugar", "curing salt", "other")
FORM: Final = 1
WEIGHTS: Final = tuple(MG_PER_UNIT)
_MG_PER_KG: Final = 1000 * MG_PER_G
_LITRES_PER_M3: Final = 1000
MOST_KEPT: Final = 2**53  # whole numbers of canonical JSON (RFC 8785)

# A litre of water is taken as a kilogram, its weight at 39 °F (4 °C), where it is heaviest: errs to the
# weaker brine, by 0.1 % of the water at 60 °F.
WATER_MG: Final[Mapping[str, Fraction]] = {
    "L": Fraction(1000 * MG_PER_G),
    "mL": Fraction(MG_PER_G),
    "US gal": 1000 * MG_PER_G * LITRE_PER_US_GALLON,
}
# Sugar in water: 20 % sucrose at 20 °C is 1.0810 g/cm³ (CRC Handbook, "Concentrative Properties …").
SUGAR_ML_PER_G: Final = Fraction("0.618")

# Shares of nitrite, millionths, outside which one is asked about: our own choice, to be confirmed.  Curing
# salts have some per cent (common practice); the weakest about 0.5 % (from memory).
SHARE_ASKED: Final = 200_000
SHARE_SMALL: Final = 4_000
# ppm in the brine, or of the fish in dry salting, from which it is asked about; our own choice: at 1:1, 1,000
# in the brine is 500 on the fish, far above any figure that a law permits (21 CFR 172.175: 200 in the
# finished fish).
NITRITE_ASKED: Final = 1000
# Brine to fish by weight.  The tightest rule in use is half of the meat's weight, in a vessel that it just fits
# (common practice): less leaves fish bare.  From as much brine as fish on, a tank's fish is mostly covered
# (common practice; both to be confirmed).
COVERS_ASKED: Final = Fraction(1)
COVERS_REFUSED: Final = Fraction(1, 2)


class BadPart(BadQuantity):
    """A part that cannot be; `field` says what of it: "amount", "per" (what one measure weighs) or
    "nitrite"."""

    def __init__(self, text: str, field: str) -> None:
        super().__init__(text)
        self.field = field


class BadBatch(ValueError):
    """Content that is no batch, or a batch that cannot be computed with; the message says why."""


@dataclass(frozen=True, slots=True)
class Part:
    """One thing that went in."""

    kind: str
    name: str
    as_read: str
    unit: str  # g, kg, oz, lb, or the name of a measure
    mg: int
    mg_per_measure: int = 0  # stated for a household measure; 0 where it was weighed
    nitrite_millionths: int = 0  # share of sodium nitrite in a curing salt: 6.25 % is 62,500

    @property
    def weighed(self) -> bool:
        return self.unit in WEIGHTS

    @property
    def nitrite_mg(self) -> Fraction:
        return Fraction(self.mg * self.nitrite_millionths, MILLIONTHS)


@dataclass(frozen=True, slots=True)
class Batch:
    """A brine or a dry salting as it was made."""

    method: str
    parts: tuple[Part, ...]

    def _of(self, kind: str) -> int:
        return sum(part.mg for part in self.parts if part.kind == kind)

    @property
    def water_mg(self) -> int:
        return self._of("water")

    @property
    def cure_mg(self) -> int:
        return self._of("curing salt")

    @property
    def sugar_mg(self) -> int:
        return self._of("sugar")

    @property
    def nitrite_mg(self) -> Fraction:
        return sum((part.nitrite_mg for part in self.parts), Fraction(0))

    @property
    def salt_mg(self) -> Fraction:
        """Salt, and what of the curing salt is not nitrite."""
        return self._of("salt") + self.cure_mg - self.nitrite_mg

    @property
    def total_mg(self) -> int:
        return sum(part.mg for part in self.parts)

    @property
    def measures(self) -> tuple[Part, ...]:
        """The parts taken by a household measure; litres and gallons of water are none."""
        return tuple(
            part
            for part in self.parts
            if not part.weighed and not (part.kind == "water" and part.unit in WATER_MG)
        )


# --- what was typed -------------------------------------------------------------------------------


def part_from(
    kind: str,
    name: str,
    as_read: str,
    unit: str,
    per_measure: str = "",
    per_measure_unit: str = "g",
    nitrite: str = "",
) -> Part:
    """One part from what was typed.

    Args:
        kind: of PART_KINDS.
        as_read, unit: how much, in g, kg, oz, lb, or by a measure ("cup", "L").
        per_measure, per_measure_unit: what one measure weighs; for water in L, mL or US gal it may be
            left out.
        nitrite: a curing salt's share of sodium nitrite, "6.25 %" or "0.0625".
    Raises:
        BadPart: it cannot be; the words say what to do.
    """
    name, unit = " ".join(name.split()) or kind, " ".join(unit.split())
    if kind not in PART_KINDS:
        raise BadPart(f"“{kind}” is none of {', '.join(PART_KINDS)}.", "amount")
    if nitrite.strip() and kind != "curing salt":
        raise BadPart(
            f"Only a curing salt has nitrite in it: enter {name} as a curing salt, or leave the share out.",
            "nitrite",
        )
    with _told_at("nitrite"):
        share = nitrite_share(nitrite) if kind == "curing salt" else 0
    if unit in WEIGHTS:
        with _told_at("amount"):
            mg = to_milligrams(as_read, unit)
        return _kept(Part(kind, name, as_read.strip(), unit, mg, 0, share))
    if kind == "curing salt":
        raise BadPart(_BY_MEASURE, "amount")
    with _told_at("per" if unit else "amount"):
        each = _per_measure(kind, name, unit, per_measure, per_measure_unit)
    with _told_at("amount"):
        mg = round_half_up(read_number(as_read) * each)
    if mg <= 0:
        raise BadPart("Type an amount of more than nothing.", "amount")
    return _kept(Part(kind, name, as_read.strip(), unit, mg, max(1, round_half_up(each))))


@contextmanager
def _told_at(field: str) -> Iterator[None]:
    try:
        yield
    except BadQuantity as error:
        raise BadPart(str(error), field) from error


_BY_MEASURE: Final = "Curing salt is weighed, never measured by the cup or spoon: type its weight in g, kg, oz or lb."


def _kept(part: Part) -> Part:
    if part.mg > MOST_KEPT:
        raise BadPart(
            f"“{part.as_read} {part.unit}” is more than can be kept. Type it again.", "amount"
        )
    return part


def _per_measure(kind: str, name: str, unit: str, text: str, weight_unit: str) -> Fraction:
    """What one measure weighs, in milligrams."""
    if not unit:
        raise BadQuantity(
            f"How is {name} measured? Type a weight in g, kg, oz or lb, or name the measure."
        )
    if text.strip():
        return Fraction(to_milligrams(text, weight_unit))
    if kind == "water" and unit in WATER_MG:
        return WATER_MG[unit]
    raise BadQuantity(
        f"A {unit} of {name} weighs what? Weigh one and type its grams, or weigh the whole and type g, kg, oz or lb."
    )


def nitrite_share(text: str) -> int:
    """A curing salt's share of sodium nitrite in millionths, from "6.25 %" or "0.0625".

    Raises:
        BadQuantity: none, no number, or a share that cannot be: 6.25 alone would be 625 %.
    """
    typed = text.strip()
    if not typed:
        raise BadQuantity(
            "How much nitrite is in this curing salt? Type the share from its label, such as 6.25 %."
        )
    percent = typed.endswith("%")
    value = read_number(typed.removesuffix("%"))
    share = round_half_up((value / WHOLE if percent else value) * MILLIONTHS)
    if not percent and value >= 1:
        said = show_number(value, DECIMALS_KEPT)
        fraction = show_number(value / WHOLE, 2 * DECIMALS_KEPT)
        raise BadQuantity(
            f"“{typed}” alone would be {show_number(value * WHOLE, DECIMALS_KEPT)} % nitrite. "
            f"Type {said} % or {fraction}, as the label says."
            if value < WHOLE
            else f"“{typed}” is no share of nitrite. Type it from the label, such as 6.25 % or 0.0625."
        )
    if not 0 < share < MILLIONTHS:
        raise BadQuantity(
            f"“{typed}” is no share of nitrite. Type it from the label, such as 6.25 % or 0.0625."
        )
    return share


# --- content --------------------------------------------------------------------------------------

_FIELDS: Final = ("kind", "name", "as_read", "unit", "mg", "mg_per_measure", "nitrite_millionths")
_TEXTS: Final = _FIELDS[: _FIELDS.index("mg")]


def content_of(batch: Batch) -> dict[str, Any]:
    """The batch as canonical content: strings and whole numbers."""
    parts = [{name: getattr(part, name) for name in _FIELDS} for part in batch.parts]
    return {"form": FORM, "method": batch.method, "parts": parts}


def batch_from(content: Mapping[str, Any]) -> Batch:
    """The batch of canonical content.

    Raises:
        BadBatch: another form, or not what `content_of` writes.
    """
    if not isinstance(content, Mapping) or set(content) != {"form", "method", "parts"}:
        raise BadBatch("A batch has a form, a method and parts, and nothing else.")
    if content["form"] != FORM or isinstance(content["form"], bool):
        raise BadBatch(f"Form {content['form']!r} of a batch is not known to this version.")
    if content["method"] not in METHODS:
        raise BadBatch(f"“{content['method']}” is neither a brine nor a dry salting.")
    if not isinstance(content["parts"], list | tuple) or not content["parts"]:
        raise BadBatch("A batch has parts.")
    return Batch(content["method"], tuple(_part(data) for data in content["parts"]))


def _part(data: Any) -> Part:
    if not isinstance(data, Mapping) or set(data) != set(_FIELDS):
        raise BadBatch(f"A part has {', '.join(_FIELDS)}, and nothing else.")
    for name in _FIELDS:
        wanted = str if name in _TEXTS else int
        if not isinstance(data[name], wanted) or isinstance(data[name], bool):
            raise BadBatch(
                f"{name} of a part is not {'text' if wanted is str else 'a whole number'}."
            )
    part = Part(**data)
    if part.kind not in PART_KINDS:
        raise BadBatch(f"“{part.kind}” is none of {', '.join(PART_KINDS)}.")
    if not (0 < part.mg <= MOST_KEPT and 0 <= part.mg_per_measure <= MOST_KEPT):
        raise BadBatch(f"The weight of {part.name} is outside what a batch can hold.")
    if not 0 <= part.nitrite_millionths < MILLIONTHS:
        raise BadBatch(f"The share of nitrite in {part.name} is outside 0 to 100 %.")
    if part.nitrite_millionths and part.kind != "curing salt":
        raise BadBatch(f"{part.name} is no curing salt and has no nitrite.")
    return part


# --- scaling --------------------------------------------------------------------------------------


def scaled(batch: Batch, factor: Fraction) -> Batch:
    """The batch with each part times the factor, to the nearest milligram and said in grams.

    Args:
        factor: more than 0.
    Raises:
        BadQuantity: a factor of nothing, or so small that a part would vanish.
    """
    if factor <= 0:
        raise BadQuantity("A batch is made larger or smaller by more than nothing.")
    return replace(batch, parts=tuple(_times(part, factor) for part in batch.parts))


def _times(part: Part, factor: Fraction) -> Part:
    mg = round_half_up(part.mg * factor)
    if mg <= 0:
        raise BadQuantity(f"That little needs less than a milligram of {part.name}: make more.")
    grams = show_number(Fraction(mg, MG_PER_G), DECIMALS_KEPT)
    return _kept(replace(part, as_read=grams, unit="g", mg=mg, mg_per_measure=0))


def to_total(batch: Batch, total_mg: int) -> Batch:
    """The batch made to weigh so much in all."""
    return scaled(batch, Fraction(total_mg, _weighs(batch)))


def to_volume(batch: Batch, litres: Fraction, temp: int) -> Batch:
    """The brine made to fill so many litres at a temperature.

    Args:
        temp: ninths, −15 °C to 60 °C.
    Raises:
        BadQuantity: no volume, or a temperature outside.
        BadBatch: not a brine with water.
    """
    return scaled(batch, litres / volume_litres(batch, temp))


def to_fish(batch: Batch, fish_g: int, ratio: Fraction) -> Batch:
    """The batch made to weigh `ratio` times the fish."""
    return to_total(batch, round_half_up(fish_g * MG_PER_G * ratio))


def volume_litres(batch: Batch, temp: int) -> Fraction:
    """What the brine fills: salt water by its density, sugar by what it takes in water.

    Salt that does not dissolve, and what else went in, is left out: errs to too little by their volume.
    """
    salt, water = dissolved_mg(batch, temp), batch.water_mg
    salt_water = (
        (salt + water) / _MG_PER_KG / density_kg_m3(salt_pct(salt, water), temp) * _LITRES_PER_M3
    )
    return salt_water + batch.sugar_mg * SUGAR_ML_PER_G / _MG_PER_KG


def dissolved_mg(batch: Batch, temp: int) -> Fraction:
    """The salt of the batch that dissolves in its water at a temperature."""
    if batch.method != "brine" or not batch.water_mg:
        raise BadBatch("Only a brine with water has a strength.")
    most = most_salt_pct(temp)
    return min(batch.salt_mg, batch.water_mg * most / (WHOLE - most))


def _weighs(batch: Batch) -> int:
    if not batch.total_mg:
        raise BadBatch("A batch of nothing cannot be made larger.")
    return batch.total_mg


# --- doubts ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Doubt:
    """What is not as it should be: refused where it cannot be, else asked about and taken when confirmed.

    `field`: "part_1", "part_2" … in the order of the parts; "parts" for the whole, "temp", "fish_g".
    """

    field: str
    text: str
    refused: bool


def doubts(batch: Batch, temp_ninths: int, fish_g: int | None = None) -> list[Doubt]:
    """What cannot be, or is odd, in a batch; the refused first.

    Args:
        temp_ninths: the brine's temperature in use.
        fish_g: the fish that this much brine is poured on, or that is salted; None where not yet known.
    """
    found = [
        doubt for number, part in enumerate(batch.parts, 1) for doubt in _part_doubts(number, part)
    ]
    if any(doubt.refused for doubt in found):
        return [doubt for doubt in found if doubt.refused]
    found += _makes_sense(batch)
    if batch.method == "brine":
        found += _temp_doubts(batch, temp_ninths)
    found += _nitrite_doubts(batch, fish_g)
    if fish_g is not None:
        found += _fish_doubts(batch, fish_g)
    return sorted(found, key=lambda doubt: not doubt.refused)


def _weight(mg: Fraction) -> str:
    if mg < _MG_PER_KG:
        return f"{show_number(mg / MG_PER_G, 0)} g"
    return f"{show_number(mg / _MG_PER_KG, 1)} kg"


def _pct(millionths: int) -> str:
    return f"{show_number(Fraction(WHOLE * millionths, MILLIONTHS), DECIMALS_KEPT)} %"


def _part_doubts(number: int, part: Part) -> list[Doubt]:
    field = f"part_{number}"
    if part.kind == "curing salt" and not part.weighed:
        return [Doubt(field, _BY_MEASURE, True)]
    if not part.weighed and not part.mg_per_measure:
        return [
            Doubt(
                field,
                f"Type what one {part.unit} of {part.name} weighs, or weigh the whole of it.",
                True,
            )
        ]
    if part.kind != "curing salt":
        return []
    if part.nitrite_millionths >= MILLIONTHS:
        share = Fraction(part.nitrite_millionths, MILLIONTHS)
        fraction = show_number(share / WHOLE, 2 * DECIMALS_KEPT)
        text = f"{_pct(part.nitrite_millionths)} nitrite cannot be. Type {show_number(share, DECIMALS_KEPT)} % or {fraction}."
        return [Doubt(field, text, True)]
    if not part.nitrite_millionths:
        return [
            Doubt(
                field,
                f"Type the share of nitrite in {part.name} from its label, such as 6.25 %.",
                True,
            )
        ]
    if part.nitrite_millionths > SHARE_ASKED:
        text = f"{_pct(part.nitrite_millionths)} nitrite is far more than curing salts have. Does the label say so?"
        return [Doubt(field, text, False)]
    if part.nitrite_millionths < SHARE_SMALL:
        text = (
            f"{_pct(part.nitrite_millionths)} nitrite is less than curing salts have: was it typed as a fraction "
            "and as per cent at once? What does the label say?"
        )
        return [Doubt(field, text, False)]
    return []


def _makes_sense(batch: Batch) -> list[Doubt]:
    found = []
    if not batch.salt_mg:
        found.append(Doubt("parts", "There is no salt in it. Add the salt.", True))
    if batch.method == "brine" and not batch.water_mg:
        found.append(
            Doubt(
                "parts",
                "A brine has water in it. Add the water, or enter it as a dry salting.",
                True,
            )
        )
    if batch.method == "dry salt" and batch.water_mg:
        found.append(Doubt("parts", "There is water in a dry salting. Is it a brine?", False))
    return found


def _temp_doubts(batch: Batch, temp: int) -> list[Doubt]:
    """What only a temperature tells: too much salt for it, or ice."""
    if not COLDEST <= temp <= WARMEST:
        text = (
            f"{show_both(temp)} is no temperature of a brine in use: type one from {show_both(COLDEST)} "
            f"to {show_both(WARMEST)}."
        )
        return [Doubt("temp", text, True)]
    if not batch.water_mg:
        return []
    pct, most = salt_pct(batch.salt_mg, batch.water_mg), most_salt_pct(temp)
    if pct > most:
        left = _weight(batch.salt_mg - dissolved_mg(batch, temp))
        text = (
            f"At {show_both(temp)} at most {show_number(most, 1)} % salt dissolves; this would be {show_number(pct, 1)} %. "
            f"About {left} of salt lies undissolved at the bottom. Was it weighed so?"
        )
        return [Doubt("parts", text, False)]
    point = freezing(pct)
    if point is not None and temp < point:
        text = f"This brine begins to freeze at {show_both(point)}; {show_both(temp)} is colder. Is that its temperature?"
        return [Doubt("temp", text, False)]
    return []


_OTHER_UNIT: Final = {"oz": "g", "lb": "oz", "kg": "g"}  # the smaller one that may have been meant


def _nitrite_doubts(batch: Batch, fish_g: int | None) -> list[Doubt]:
    """Nitrite beyond any in use, with what each curing salt's figure would be in a smaller unit."""
    dry = batch.method == "dry salt"
    base = batch.total_mg if not dry else (fish_g or 0) * MG_PER_G
    ppm = _ppm(batch.nitrite_mg, base)
    if ppm <= NITRITE_ASKED:
        return []
    of = "of the fish" if dry else "in the brine"
    found = []
    for number, part in enumerate(batch.parts, 1):
        if not part.nitrite_mg:
            continue
        text = f"That gives {show_number(ppm, 0)} ppm nitrite {of}, more than any cure in use."
        other = _OTHER_UNIT.get(part.unit)
        if other:
            smaller = MG_PER_UNIT[other] / MG_PER_UNIT[part.unit]
            rest = base if dry else base - part.mg * (1 - smaller)
            would = _ppm(batch.nitrite_mg - part.nitrite_mg * (1 - smaller), rest)
            text += f" With {part.as_read} {other} for {part.as_read} {part.unit} it would be {show_number(would, 0)} ppm."
        found.append(Doubt(f"part_{number}", f"{text} Is the weight right?", False))
    return found


def _ppm(nitrite_mg: Fraction, base_mg: Fraction | int) -> Fraction:
    return MILLIONTHS * nitrite_mg / base_mg if base_mg else Fraction(0)


def _fish_doubts(batch: Batch, fish_g: int) -> list[Doubt]:
    """Whether the brine covers the fish: even the tightest rule in use asks for half of its weight."""
    if fish_g <= 0:
        return [Doubt("fish_g", "Type the weight of the fish, more than nothing.", True)]
    if batch.method != "brine":
        return []
    ratio = Fraction(batch.total_mg, fish_g * MG_PER_G)
    said = f"That is {show_number(ratio, 2)} of brine to 1 of fish by weight"
    if ratio < COVERS_REFUSED:
        text = f"{said}: it cannot cover the fish. Make at least half of the fish's weight, or weigh both again."
        return [Doubt("fish_g", text, True)]
    if ratio < COVERS_ASKED:
        return [Doubt("fish_g", f"{said}. Does it cover all of the fish?", False)]
    return []
