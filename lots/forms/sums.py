"""Forms of the sums of brine, cure and salt.  Nothing is kept."""

from fractions import Fraction
from typing import Any, Final

from crispy_forms.layout import Fieldset, Row
from django import forms

from lots.core.batch import (
    BadBatch,
    Batch,
    Part,
    dissolved_mg,
    nitrite_share,
    to_fish,
    to_total,
    to_volume,
)
from lots.core.cure import cure_for_ppm, ingoing_ppm
from lots.core.salt_water import (
    SATURATED,
    most_salt_pct,
    pct_of_salometer,
    refractometer,
    salt_pct,
    true_salometer,
)
from lots.core.salting import PER_CENT, ahead, water_phase_salt
from lots.core.units import (
    LITRE_PER_US_GALLON,
    MG_PER_G,
    MILLIONTHS,
    read_number,
    show_both,
)
from lots.forms.fields import FigureField
from lots.forms.sum_fields import (
    UNITS,
    AmountField,
    FishField,
    NumberField,
    PercentField,
    SumForm,
    TextFigure,
    Wrong,
    at,
    laid_out,
    read_amount,
)
from lots.queries.house import species
from lots.queries.sums import (
    ahead_answer,
    brine_answer,
    cure_answer,
    nitrite_answer,
    percent,
    prism_answer,
    reading_answer,
    scaled_answer,
    water_phase_answer,
)

BY_WEIGHT: Final = "With its unit, such as 1.2 kg or 2.5 lb."
WATER: Final = "With its unit, such as 10 L, 5 US gal or 10 kg."
NITRITE: Final = "From its label, such as 6.25 % or 0.0625."
SALTINGS: Final = [("brine", "in a brine"), ("dry salt", "dry, with salt")]


def _temp(label: str = "Temperature of the brine", **options: Any) -> FigureField:
    return FigureField(label=label, max_length=20, **options)


def _unit() -> forms.ChoiceField:
    return forms.ChoiceField(label="Temperature in", choices=UNITS)


class BrineForm(SumForm):
    """A brine, said in any one way."""

    salt_pct = PercentField(
        label="Salt, % by weight", required=False, help_text="Salt of salt and water together."
    )
    salometer = NumberField(label="Degrees salometer (°SAL)", required=False, help_text="At 60 °F.")
    salt = AmountField(kind="salt", label="Salt", required=False, help_text=BY_WEIGHT)
    water = AmountField(kind="water", label="Water", required=False, help_text=WATER)
    temp = _temp()
    unit = _unit()
    WATCHED = ("unit", "temp", "water")
    helper = laid_out(
        Fieldset(
            "Fill in one of these",
            Row("salt_pct", "salometer"),
            Row("salt", "water"),
        ),
        Row("temp", "unit"),
        "confirmed",
    )

    def reckon(self, cleaned: dict[str, Any]) -> None:
        temp = self.temperature(cleaned)
        with at("temp"):
            most = most_salt_pct(temp)
        weighed = cleaned["salt"] is not None or cleaned["water"] is not None
        given = [name for name in ("salt_pct", "salometer") if cleaned[name] is not None]
        given += ["salt"] if weighed else []
        if len(given) != 1:
            text = "Type one of them: salt %, °SAL, or salt and water."
            raise Wrong(given[1] if given else "salt_pct", text)
        pct, got, left = getattr(self, f"_from_{given[0]}")(cleaned, temp)
        if pct > most:
            raise Wrong(
                given[0],
                f"At {show_both(temp)} at most {percent(most)} salt dissolves: no brine has more.",
            )
        with at("temp"):
            self.answer = brine_answer(pct, temp, got, left)

    def _from_salt_pct(self, cleaned: dict[str, Any], _: int) -> tuple[Fraction, str, Fraction]:
        return cleaned["salt_pct"], "as typed", Fraction(0)

    def _from_salometer(self, cleaned: dict[str, Any], _: int) -> tuple[Fraction, str, Fraction]:
        with at("salometer"):
            return pct_of_salometer(cleaned["salometer"]), "26.395 % × °SAL ÷ 100", Fraction(0)

    def _from_salt(self, cleaned: dict[str, Any], temp: int) -> tuple[Fraction, str, Fraction]:
        for name in ("salt", "water"):
            if cleaned[name] is None:
                raise Wrong(name, f"Type the {name} as well.")
        batch = _batch("brine", self.part("water", cleaned), self.part("salt", cleaned))
        self.doubt(batch, temp, None, {"part_1": "water", "part_2": "salt", "parts": "salt"})
        salt = dissolved_mg(batch, temp)
        return salt_pct(salt, batch.water_mg), "100 × salt ÷ (salt + water)", batch.salt_mg - salt


def _batch(method: str, *parts: Part | None) -> Batch:
    return Batch(method, tuple(part for part in parts if part is not None))


class InstrumentForm(SumForm):
    """A salometer or refractometer as read, corrected."""

    means = forms.ChoiceField(
        label="Read on",
        choices=[("salometer", "a salometer"), ("refractometer", "a salt refractometer")],
        widget=forms.RadioSelect,
        initial="salometer",
    )
    reading = NumberField(
        label="It read", help_text="°SAL of a salometer, % salt of a refractometer."
    )
    temp = _temp(help_text="Of a refractometer: of the drop on its prism.")
    unit = _unit()
    reference = FigureField(
        label="It reads true at",
        max_length=20,
        help_text="Stands on the instrument; most are made for 60 °F (15.6 °C).",
    )
    full_scale = PercentField(
        label="100 on its scale is, % salt", initial="26.395", required=False,
        help_text="Of a salometer: 26.395 of most, 25 of some; it stands on it.",
    )  # fmt: skip
    corrects = forms.BooleanField(
        label="The refractometer corrects for temperature by itself", required=False
    )
    helper = laid_out(
        "means",
        Row("reading", "full_scale"),
        Row("temp", "unit"),
        Row("reference"),
        "corrects",
        "confirmed",
    )

    def reckon(self, cleaned: dict[str, Any]) -> None:
        temp, reference = self.temperature(cleaned), self.temperature(cleaned, "reference")
        reading: Fraction = cleaned["reading"]
        if cleaned["means"] == "refractometer":
            with at("reading" if reading > PER_CENT / 2 else "temp"):
                pct = refractometer(reading, temp, reference, cleaned["corrects"])
            self.answer = prism_answer(pct, temp, cleaned["corrects"])
            return
        full_scale = cleaned["full_scale"] or SATURATED
        with at("reading"):
            pct_of_salometer(reading, full_scale)
        with at("temp"):
            deg = true_salometer(reading, temp, reference, full_scale)
        self.answer = reading_answer(deg, reading, temp, reference, full_scale)


class NitriteForm(SumForm):
    """Curing salt to ingoing ppm, or back."""

    method = forms.ChoiceField(
        label="How the fish takes it up",
        choices=[
            ("equilibrium", "in a brine, until fish and brine are of one strength"),
            ("pick-up", "in a brine, by what the fish gains in weight"),
            ("dry", "dry, rubbed on with the salt"),
        ],
        widget=forms.RadioSelect,
        initial="equilibrium",
    )
    species = forms.ChoiceField(label="Fish", required=False)
    fish = FishField(
        label="Fish weighs", required=False, help_text="Green weight, such as 20 kg or 44 lb."
    )
    brine = FishField(
        label="Brine weighs", required=False, help_text="Without the curing salt, such as 25 kg."
    )
    pick_up = PercentField(
        label="Pick-up, %", required=False, help_text="What the fish gains of its green weight."
    )
    nitrite = forms.CharField(label="Nitrite in the curing salt", max_length=20, help_text=NITRITE)
    cure = AmountField(
        kind="curing salt",
        label="Curing salt",
        required=False,
        help_text="Its weight, such as 120 g or 4 oz.",
    )
    wanted = NumberField(label="Or: wanted ppm", required=False, more_than=0)
    WATCHED = ("nitrite", "fish", "brine", "method")
    helper = laid_out(
        "method",
        "species",
        Row("fish", "brine"),
        Row("pick_up", "nitrite"),
        Row("cure", "wanted"),
        "confirmed",
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        named = sorted((row["english_name"], row["code"]) for row in species())
        self.fields["species"].choices = [  # type: ignore[attr-defined]
            ("", "Choose the fish"), *((code, f"{name} ({code})") for name, code in named),
        ]  # fmt: skip
        self.fields["nitrite"].widget.attrs |= {"autocomplete": "off"}

    def reckon(self, cleaned: dict[str, Any]) -> None:
        method = cleaned["method"]
        self._complete(cleaned)
        with at("nitrite"):
            share = nitrite_share(cleaned["nitrite"])
        weights = {
            "fish_mg": cleaned["fish"] or 0,
            "pick_up": (cleaned["pick_up"] or Fraction(0)) / PER_CENT,
        }
        brine = cleaned["brine"] or 0
        if cleaned["cure"] is None:
            with at("wanted"):
                needed = cure_for_ppm(
                    method,
                    cleaned["wanted"],
                    Fraction(share, MILLIONTHS),
                    brine_mg=brine,
                    on_top=True,
                    **weights,
                )
            self.answer = cure_answer(method, cleaned["wanted"], needed, cleaned["species"])
            return
        part = self.part("cure", cleaned, cleaned["nitrite"])
        assert part is not None
        self._odd(part, method, brine, cleaned["fish"])
        with at("fish"):
            ppm = ingoing_ppm(method, part.nitrite_mg, brine_mg=brine + part.mg, **weights)
        self.answer = nitrite_answer(method, ppm, part.mg, part.nitrite_mg, cleaned["species"])

    def _complete(self, cleaned: dict[str, Any]) -> None:
        needs = {
            "equilibrium": ("fish", "brine"), "pick-up": ("brine", "pick_up"), "dry": ("fish",),
        }[cleaned["method"]]  # fmt: skip
        words = {
            "fish": "Type what the fish weighs.",
            "brine": "Type what the brine weighs.",
            "pick_up": "Type the pick-up: what the fish gains of its weight.",
        }
        for name in needs:
            if not cleaned[name]:
                raise Wrong(name, words[name])
        if (cleaned["cure"] is None) == (cleaned["wanted"] is None):
            raise Wrong("cure", "Type the curing salt, or the wanted ppm: one of the two.")

    def _odd(self, cure: Part, method: str, brine: int, fish: int | None) -> None:
        """What a batch of these would be asked about: ounces for grams, a share that no label has."""
        salt = Part("salt", "salt", "", "g", 1)
        if method == "dry":
            batch = _batch("dry salt", cure, salt)
            self.doubt(batch, 0, (fish or 0) // MG_PER_G, _CURE)
            return
        water = Part("water", "water", "", "g", max(1, brine))
        self.doubt(_batch("brine", cure, salt, water), 0, None, _CURE)


_CURE: Final = {"part_1": "cure", "parts": "cure", "temp": "cure", "fish_g": "fish"}


class ScaleForm(SumForm):
    """A batch made for another volume, weight, or weight of fish."""

    method = forms.ChoiceField(
        label="It is", choices=[("brine", "a brine"), ("dry salt", "a dry salting")],
        widget=forms.RadioSelect, initial="brine",
    )  # fmt: skip
    water = AmountField(kind="water", label="Water", required=False, help_text=WATER)
    salt = AmountField(
        kind="salt",
        label="Salt",
        required=False,
        help_text=f"{BY_WEIGHT} By the cup: 3 cup at 290 g.",
    )
    sugar = AmountField(kind="sugar", label="Sugar", required=False)
    other = AmountField(kind="other", label="Anything else", required=False)
    cure = AmountField(
        kind="curing salt",
        label="Curing salt",
        required=False,
        help_text="Weighed, never by the spoon.",
    )
    nitrite = forms.CharField(
        label="Nitrite in it", max_length=20, required=False, help_text=NITRITE
    )
    temp = _temp(help_text="In use.")
    unit = _unit()
    volume = TextFigure(label="To a volume", required=False, help_text="Such as 20 L or 5 US gal.")
    weight = FishField(
        label="To a weight in all", required=False, help_text="Such as 25 kg or 50 lb."
    )
    fish = FishField(
        label="To a weight of fish", required=False, help_text="Such as 20 kg or 44 lb."
    )
    ratio = NumberField(
        label="with so much to 1 of fish",
        required=False,
        more_than=0,
        help_text="By weight, such as 1.5.",
    )
    NAMES: Final = ("water", "salt", "sugar", "other", "cure")
    WATCHED = ("method", "unit", "temp", "water", "salt", "cure", "nitrite", "fish", "ratio")
    helper = laid_out(
        Fieldset(
            "The batch as it is", "method", Row("water", "salt"), Row("sugar", "other"), Row("cure", "nitrite"), Row("temp", "unit"),
        ),
        Fieldset("Make it for one of these", Row("volume", "weight"), Row("fish", "ratio")),
        "confirmed",
    )  # fmt: skip

    def reckon(self, cleaned: dict[str, Any]) -> None:
        temp = self.temperature(cleaned)
        parts = {
            name: self.part(name, cleaned, cleaned["nitrite"] if name == "cure" else "")
            for name in self.NAMES
        }
        batch = _batch(cleaned["method"], *parts.values())
        where = {f"part_{n}": name for n, name in enumerate([k for k, v in parts.items() if v], 1)}
        self.doubt(batch, temp, None, {**where, "parts": "salt"})
        if self.asked:
            return
        after = self._made_for(batch, temp, cleaned)
        with at("temp"):
            self.answer = scaled_answer(batch, after, temp)

    def _made_for(self, batch: Batch, temp: int, cleaned: dict[str, Any]) -> Batch:
        given = [name for name in ("volume", "weight", "fish") if cleaned[name]]
        if len(given) != 1:
            raise Wrong(
                given[1] if given else "volume",
                "Say one of them: a volume, a weight in all, or a weight of fish with its ratio.",
            )
        if given[0] == "weight":
            with at("weight"):
                return to_total(batch, cleaned["weight"])
        if given[0] == "volume":
            return self._to_volume(batch, temp, cleaned)
        if cleaned["ratio"] is None:
            raise Wrong("ratio", "Type how much brine or salt to 1 of fish, by weight.")
        grams = cleaned["fish"] // MG_PER_G
        with at("fish"):
            made = to_fish(batch, grams, cleaned["ratio"])
        self.doubt(made, temp, grams, {"fish_g": "ratio", **_OTHERS})
        return made

    def _to_volume(self, batch: Batch, temp: int, cleaned: dict[str, Any]) -> Batch:
        try:
            amount = read_amount(cleaned["volume"])
        except forms.ValidationError as error:
            raise Wrong("volume", error.messages[0]) from error
        with at("volume"):
            figure = read_number(amount["as_read"])
        litres = {"L": Fraction(1), "mL": Fraction(1, MG_PER_G), "US gal": LITRE_PER_US_GALLON}
        if amount["unit"] not in litres or figure <= 0:
            raise Wrong("volume", "Type a volume above nothing in L or US gal, such as 20 L.")
        try:
            with at("volume"):
                return to_volume(batch, figure * litres[amount["unit"]], temp)
        except BadBatch as error:
            raise Wrong("volume", f"{error} Make a dry salting for a weight instead.") from error


_OTHERS: Final = {"parts": "salt", **{f"part_{n}": "cure" for n in range(1, 6)}}


class WaterPhaseForm(SumForm):
    """Water-phase salt from a laboratory's salt and moisture."""

    salt_pct = PercentField(
        label="Salt, %", help_text="Of the finished fish, as the laboratory found it."
    )
    moisture = PercentField(label="Moisture, %", help_text="Of the same sample.")
    helper = laid_out(Row("salt_pct", "moisture"), "confirmed")

    def reckon(self, cleaned: dict[str, Any]) -> None:
        salt, moisture = cleaned["salt_pct"], cleaned["moisture"]
        with at("moisture"):
            wps = water_phase_salt(salt, moisture)
        self.answer = water_phase_answer(salt, moisture, wps)


class AheadForm(SumForm):
    """What a brine or a dry salting can do for the fish at the very best."""

    method = forms.ChoiceField(
        label="The fish lies", choices=SALTINGS, widget=forms.RadioSelect, initial="brine"
    )
    water = AmountField(kind="water", label="Water", required=False, help_text=WATER)
    salt = AmountField(kind="salt", label="Salt", help_text=BY_WEIGHT)
    fish = FishField(label="Fish weighs", help_text="All the fish in it, such as 20 kg or 44 lb.")
    moisture = PercentField(
        label="Moisture of the raw fish, %",
        help_text="From a laboratory, or a table for the species; fatter fish has less.",
    )
    target = PercentField(
        label="Water-phase salt wanted, %", help_text="What the plan asks for, such as 3.5."
    )
    fish_salt = PercentField(
        label="Salt of the raw fish, %", required=False, help_text="Empty is none."
    )
    temp = _temp(
        "Temperature of the brine",
        required=False,
        help_text="To see whether all of the salt dissolves.",
    )
    unit = _unit()
    WATCHED = ("method", "unit", "temp", "water", "salt", "fish")
    helper = laid_out(
        "method", Row("water", "salt"), Row("fish", "moisture"), Row("fish_salt", "target"), Row("temp", "unit"), "confirmed",
    )  # fmt: skip

    def reckon(self, cleaned: dict[str, Any]) -> None:
        method, fish = cleaned["method"], cleaned["fish"]
        batch = _batch(method, self.part("salt", cleaned), self.part("water", cleaned))
        temp = self.temperature(cleaned) if cleaned["temp"] else COLD
        where = {"part_1": "salt", "part_2": "water", "parts": "water", "fish_g": "fish"}
        self.doubt(batch, temp, fish // MG_PER_G, where)
        if self.asked:
            return
        for name, low in (("moisture", True), ("target", True)):
            if low and not 0 < cleaned[name] < PER_CENT:
                raise Wrong(name, "Type per cent, above 0 and below 100.")
        with at("moisture"):
            found = ahead(
                batch,
                None,
                fish // MG_PER_G,
                cleaned["moisture"],
                cleaned["target"],
                cleaned["fish_salt"] or 0,
            )
        self.answer = ahead_answer(found, method)


COLD: Final = (
    0  # ninths: 0 °C, the coldest that a brine in use is; less salt dissolves than in a warmer one
)
