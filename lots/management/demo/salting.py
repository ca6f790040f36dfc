"""What the salt of a lot rests on: batches and their strength, pieces, weights, samples and results."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Final

from lots.core.brine import expected_reading
from lots.core.units import MILLIONTHS, to_ninths
from lots.entries import batch, laboratory
from lots.entries.moments import moments
from lots.entries.pack import thaw_packs
from lots.entries.pieces import TypedPieces, measure_pieces
from lots.entries.uptake import NewPoint, keep_point
from lots.entries.weights import weigh_stage
from lots.management.demo.calendar import MINUTE
from lots.management.demo.script import Script, grams
from lots.models.plan import PlanVersion
from lots.queries.batches import batch_value, next_code
from lots.queries.brined import brined
from lots.queries.lineage import balance

LABORATORY: Final = "Invented Bay Laboratory (invented)"
LOIN: Final = "loin, thickest part, without skin"
SALT_METHOD: Final = "chloride titration and oven drying (invented)"
BRINE_F: Final = "44.2"  # as mixed with cold water and ice
CURING_SALT: Final = "6.25 %"  # of sodium nitrite
MIXED_BEFORE, READ_BEFORE = 14 * MINUTE, 7 * MINUTE
SALT_FOR_WATER: Final = {
    "house": Fraction(1, 5),  # "dry salt 1 part, water 5 parts": about 63 °SAL
    "strong": Fraction(267, 1000),  # about 80 °SAL
    "mild": Fraction(237, 1000),  # about 72 °SAL
    "cured": Fraction(1, 5),
    "household": Fraction(3, 100),  # a cup or so in a bucket: about 3 %
}
SUGAR_FOR_SALT: Final = {"house": Fraction(1, 4), "cured": Fraction(1, 3)}
CURE_FOR_FISH: Final = Fraction(72, 10_000)  # at two of brine to one of fish: about 150 ppm


def mix(
    s: Script, key: str, keys: Sequence[str], at: int, recipe: str = "house", ratio: float = 2.2
) -> None:
    """A batch weighed for the fish that is to lie in it; a brine's strength is read when it has cleared."""

    def act(now: int) -> None:
        fish = sum(balance(s.lot(one)).left for one in keys)
        new = batch.NewBatch(
            next_code(), "brine", _parts(recipe, fish, ratio), BRINE_F, "F", NOTES.get(recipe, "")
        )
        s.batches[key] = batch.make_batch(s.hand(now), new, moments(now, now))

    s.add(at, act)


NOTES: Final = {
    "cured": "Curing salt weighed on the small scale, to 150 ppm on fish and brine (invented)",
    "household": "By the bucket recipe of the old sign on the wall (invented)",
}


def _parts(recipe: str, fish_g: int, ratio: float) -> list[batch.Typed]:
    """The parts for so much fish, each to a tenth of a pound or ounce."""
    salt = SALT_FOR_WATER[recipe]
    sugar = SUGAR_FOR_SALT.get(recipe, Fraction(0)) * salt
    water_g = fish_g * Fraction(ratio) / (1 + salt + sugar)
    weighed = [("water", water_g), ("salt", water_g * salt), ("sugar", water_g * sugar)]
    parts = [(kind, grams_, "") for kind, grams_ in weighed if grams_]
    if recipe == "cured":
        parts.append(("curing salt", fish_g * CURE_FOR_FISH, CURING_SALT))
    return [
        batch.Typed(n, kind, NAMES.get(kind, ""), *_weighed(kind, grams_), nitrite=nitrite)
        for n, (kind, grams_, nitrite) in enumerate(parts, 1)
    ]


NAMES: Final = {"salt": "coarse salt", "sugar": "brown sugar", "curing salt": "curing salt no. 1"}


def _weighed(kind: str, grams_: Fraction) -> tuple[str, str]:
    """What stands on the scale: pounds, of a curing salt ounces."""
    unit = grams(1) / (16 if kind == "curing salt" else 1)
    return f"{float(grams_) / unit:.1f}", "oz" if kind == "curing salt" else "lb"


def read_strength(s: Script, key: str, at: int, off: float = 0) -> None:
    """The house's salometer in a batch; it shows what the weights give, to a degree, and `off`."""

    def act(now: int) -> None:
        row = s.batches[key]
        shows = expected_reading(batch_value(row), to_ninths(BRINE_F, "F"))
        shown = round(shows + Fraction(off))
        salometer = s.stage.instruments["Salometer"]
        strength = batch.Strength("salometer", str(shown), BRINE_F, "F", salometer)
        batch.check_batch(s.hand(now), row, strength, moments(now, now))

    s.add(at, act)


def mixed(
    s: Script, key: str, keys: Sequence[str], start: int, recipe: str = "house", ratio: float = 2.2
) -> None:
    """A batch made and read before a brining."""
    mix(s, key, keys, start - MIXED_BEFORE, recipe, ratio)
    read_strength(s, key, start - READ_BEFORE)


def pieces(
    s: Script, key: str, at: int, inches: Sequence[str], ounces: Sequence[str], load: str = ""
) -> None:
    """Some of a lot's pieces, by the calliper and the small scale; `load`: that they were in by then."""

    def act(now: int) -> None:
        typed = TypedPieces(inches, ounces, "in", "oz")
        within = s.loads.get(load)
        measure_pieces(s.hand(now), s.lot(key), typed, moments(now, now), within)

    s.add(at, act)


def weigh(s: Script, key: str, at: int, stage: str, share: float, load: str) -> None:
    """What a lot weighed at a stage, as a share of what came in."""

    def act(now: int) -> None:
        lot = s.lot(key)
        text = f"{balance(lot).left * share / grams(1):.1f}"
        when = moments(now, now)
        weigh_stage(s.hand(now), lot, stage, text, "lb", when, s.loads[load])

    s.add(at, act)


def send(s: Script, key: str, at: int, *wanted: str) -> None:
    """Samples of a lot on their way to the laboratory."""

    def act(now: int) -> None:
        sending = laboratory.Sending(LABORATORY, wanted, LOIN)
        s.sent[key] = laboratory.send_samples(s.hand(now), s.lot(key), sending, now, now)

    s.add(at, act)


def report(s: Script, key: str, at: int, figures: Mapping[str, Sequence[str]]) -> None:
    """The laboratory's report on samples that were sent."""

    def act(now: int) -> None:
        sent = s.sent[key]
        new = laboratory.NewReport(figures, LABORATORY, SALT_METHOD, LOIN, sent=sent)
        laboratory.enter_report(s.hand(now), s.lot(key), new, sent.sampled_at, now, now)

    s.add(at, act)


def verify(
    s: Script, plan: PlanVersion, sampled: int, at: int, figures: Mapping[str, Sequence[str]]
) -> None:
    """A verification of a plan's process."""

    def act(now: int) -> None:
        words = "Process verification: the thickest fish of three loads"
        new = laboratory.NewReport(figures, LABORATORY, SALT_METHOD, LOIN, note=words)
        hazel = s.stage.people["hazel"]
        laboratory.enter_report(hazel, plan.plan, new, sampled, now, now)

    s.add(at, act)


def point(s: Script, key: str, at: int, inches: str, salt: str, moisture: str, left: str) -> None:
    """A laboratory's result kept as a point of the salt forecast, with what the fish had been through;
    `left`: what drying and smoke left of the brined weight, per cent."""

    def act(now: int) -> None:
        lot = s.lot(key)
        known = brined(lot, now)
        assert known.brined_ms and known.temp and known.strength_pct and known.ratio
        result = lot.laboratory_results.filter(quantity="water-phase salt").latest("pk")
        new = NewPoint(
            round(Fraction(inches) * 25_400), 1, known.brined_ms, known.temp,
            *(round(one * MILLIONTHS) for one in (known.strength_pct, known.ratio)),
            *(round(Fraction(text) * MILLIONTHS) for text in (RAW_MOISTURE, salt, moisture, left)),
        )  # fmt: skip
        keep_point(s.stage.people["hazel"], result, new, now)

    s.add(at, act)


RAW_MOISTURE: Final = "72"  # of the invented house's farmed trout


def thaw(s: Script, key: str, at: int, lb: float, why: str) -> None:
    def act(now: int) -> None:
        thaw_packs(s.hand(now), s.lot(key), grams(lb), why, moments(now, now))

    s.add(at, act)
