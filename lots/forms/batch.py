"""Brine batches: making one from rows of parts, reading its strength, scaling it, naming it for a load."""

from collections.abc import Sequence
from fractions import Fraction
from typing import Any, Final

from django import forms

from lots.core.batch import PART_KINDS, WEIGHTS, Batch, to_fish, to_total, to_volume
from lots.core.units import LITRE_PER_US_GALLON, MG_PER_G, BadQuantity, read_number
from lots.entries.batch import MEANS, Typed
from lots.forms.fields import (
    FigureField,
    KeyField,
    MomentField,
    SeenField,
    WeightField,
)
from lots.forms.reading import UNITS
from lots.models.house import Establishment
from lots.models.lot import BrineBatch
from lots.models.salt import BatchReading
from lots.queries.batches import batch_words

USUAL_PARTS: Final = ("water", "salt", "sugar", "curing salt", "other")
MOST_PARTS: Final = 20
MORE_PARTS: Final = 3
MEASURES: Final = ("L", "mL", "US gal", "cup", "tablespoon", "teaspoon", "scoop", "bucket")
UNIT_CHOICES: Final = [
    ("by weight", [(unit, unit) for unit in WEIGHTS]),
    ("by measure", [(unit, unit) for unit in MEASURES]),
]
METHODS: Final = [
    ("brine", "a brine: salt in water"),
    ("dry salt", "a dry salting: salt on the fish"),
]


class MakeBatchForm(forms.Form):
    """A batch by its parts, a row each; an empty row is left out."""

    code = forms.CharField(label="Code", max_length=40, help_text="It names the batch from now on.")
    method = forms.ChoiceField(label="What it is", choices=METHODS, widget=forms.RadioSelect)
    as_read = FigureField(
        label="Temperature of the brine",
        required=False,
        max_length=20,
        help_text="As the thermometer shows it in the stirred brine. A dry salting has none.",
    )

    def __init__(
        self,
        data: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        rows: int,
        initial: dict[str, Any],
    ) -> None:
        super().__init__(data, initial={"method": "brine"} | initial)
        self.numbers = range(1, rows + 1)
        self.fields["unit"] = forms.ChoiceField(
            label="Unit", choices=UNITS, initial=house.temperature_unit, widget=forms.RadioSelect
        )
        weigh = "g" if house.weight_unit == "kg" else "oz"
        for number in self.numbers:
            self._add_row(number, "kg" if house.weight_unit == "kg" else "lb", weigh)
        self.fields["made_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="Made")
        self.fields["late_reason"] = forms.CharField(
            label="Why entered late",
            required=False,
            max_length=190,
            help_text="Only if it was made a while ago.",
        )
        self.fields["note"] = forms.CharField(label="Note", required=False, max_length=200)
        self.fields["seen"] = SeenField()
        self.fields["client_key"] = KeyField()

    def _add_row(self, number: int, large: str, small: str) -> None:
        kind = USUAL_PARTS[min(number, len(USUAL_PARTS)) - 1]
        self.fields[f"kind_{number}"] = forms.ChoiceField(
            label="What",
            choices=[(each, each) for each in PART_KINDS],
            initial=kind,
            required=False,  # a choice is always sent; nothing need be said of it
        )
        self.fields[f"name_{number}"] = forms.CharField(label="Name", required=False, max_length=60)
        self.fields[f"amount_{number}"] = FigureField(label="Amount", required=False, max_length=20)
        self.fields[f"unit_{number}"] = forms.ChoiceField(
            label="Unit",
            choices=UNIT_CHOICES,
            initial=small if kind == "curing salt" else large,
            required=False,
        )
        self.fields[f"per_{number}"] = FigureField(
            label="Grams in one measure", required=False, max_length=20
        )
        self.fields[f"nitrite_{number}"] = forms.CharField(
            label="Nitrite in it", required=False, max_length=20
        )
        self.fields[f"nitrite_{number}"].widget.attrs |= {
            "autocomplete": "off",
            "placeholder": "6.25 %",
        }

    def head(self) -> list[forms.BoundField]:
        return [self["code"], self["method"]]

    def temperature(self) -> list[forms.BoundField]:
        return [self["as_read"], self["unit"]]

    def parts(self) -> list[tuple[int, list[forms.BoundField]]]:
        names = ("kind", "name", "amount", "unit", "per", "nitrite")
        return [(n, [self[f"{name}_{n}"] for name in names]) for n in self.numbers]

    def tail(self) -> list[forms.BoundField]:
        names = ("made_at", "late_reason", "note", "seen", "client_key")
        return [self[name] for name in names]

    def typed(self) -> list[Typed]:
        """The rows in which anything was typed: what is named and has no amount is asked for it."""
        data = self.cleaned_data
        return [
            Typed(
                n,
                data[f"kind_{n}"],
                data[f"name_{n}"],
                data[f"amount_{n}"],
                data[f"unit_{n}"],
                data[f"per_{n}"],
                data[f"nitrite_{n}"],
            )
            for n in self.numbers
            if any(data[f"{name}_{n}"] for name in ("name", "amount", "per", "nitrite"))
        ]


def rows_typed(data: Any, wanted: str) -> int:
    """How many rows the page shows: as many as were sent, and more where they are asked for."""
    sent = str(data.get("rows", ""))
    rows = int(sent) if sent.isdecimal() and len(sent) < len(str(MOST_PARTS)) + 1 else 0
    rows = max(rows, len(USUAL_PARTS)) + (MORE_PARTS if wanted else 0)
    return min(rows, MOST_PARTS)


def made_from(batch: Batch) -> dict[str, str]:
    """What the form for a new batch begins with where it is made from an older one."""
    found = {"method": batch.method}
    for number, part in enumerate(batch.parts, 1):
        share = Fraction(part.nitrite_millionths, 10_000)
        found |= {
            f"kind_{number}": part.kind,
            f"name_{number}": "" if part.name == part.kind else part.name,
            f"amount_{number}": part.as_read,
            f"unit_{number}": part.unit,
            f"per_{number}": f"{part.mg_per_measure / MG_PER_G:g}" if part.mg_per_measure else "",
            f"nitrite_{number}": f"{float(share):g} %" if share else "",
        }
    return found


class StrengthForm(forms.Form):
    """A batch's strength as an instrument showed it; a correction says what was wrong."""

    means = forms.ChoiceField(
        label="Read with",
        choices=[
            ("salometer", "a salometer, in degrees"),
            ("refractometer", "a refractometer, in % salt"),
        ],
        widget=forms.RadioSelect,
    )
    as_read = FigureField(label="Reading", max_length=20)
    brine_as_read = FigureField(
        label="Temperature of the brine",
        max_length=20,
        help_text="Where it was read: of the brine round a salometer, of the drop on a refractometer.",
    )

    def __init__(
        self,
        data: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        instruments: Any,
        correcting: bool = False,
        initial: dict[str, Any],
    ) -> None:
        super().__init__(data, initial=initial)
        self.fields["brine_unit"] = forms.ChoiceField(
            label="Unit", choices=UNITS, initial=house.temperature_unit, widget=forms.RadioSelect
        )
        self.fields["instrument"] = forms.ModelChoiceField(
            instruments.filter(kind__in=tuple(MEANS)),
            label="Which one",
            required=False,
            empty_label="not registered",
            help_text="What it was made for is known of one that is registered.",
        )
        self.fields["reference"] = forms.CharField(
            label="Reads true at",
            required=False,
            max_length=40,
            help_text="If it is not registered: 60 °F unless another stands on it. Empty for a "
            "refractometer that corrects itself.",
        )
        self.fields["full_scale"] = forms.CharField(
            label="Salt at its 100",
            required=False,
            max_length=40,
            help_text="If it is not registered: 26.395 % unless another, such as 25 %, stands on it.",
        )
        if correcting:
            self.fields["reason"] = forms.CharField(label="What was wrong", max_length=300)
            return
        self.fields["observed_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="Read at")
        self.fields["late_reason"] = forms.CharField(
            label="Why entered late", required=False, max_length=150
        )
        self.fields["note"] = forms.CharField(
            label="Note",
            required=False,
            max_length=200,
            help_text="Why, if it reads far from what the weights give.",
        )
        self.fields["client_key"] = KeyField()


def as_it_stands(row: BatchReading) -> dict[str, Any]:
    """What the form for a correction begins with."""
    names = (
        "means", "as_read", "brine_as_read", "brine_unit", "instrument", "reference", "full_scale"
    )  # fmt: skip
    return {name: getattr(row, name) for name in names}


class ScaleForm(forms.Form):
    """How large a batch is to be made: to fill a volume, to weigh so much, or for so much fish."""

    by = forms.ChoiceField(
        label="Make it",
        choices=[
            ("volume", "to fill a volume"),
            ("total", "to weigh so much"),
            ("fish", "for so much fish"),
        ],
        widget=forms.RadioSelect,
    )
    volume = FigureField(label="Volume", required=False, max_length=20)
    volume_unit = forms.ChoiceField(
        label="Unit", required=False, choices=[("L", "litres"), ("US gal", "US gallons")]
    )
    ratio = FigureField(
        label="Brine to one part of fish",
        required=False,
        max_length=20,
        help_text="By weight, such as 2 for twice as much brine as fish.",
    )

    def __init__(self, data: Any = None, *, house: Establishment, temp: int, batch: Batch) -> None:
        super().__init__(data, initial={"by": "total", "ratio": "2"})
        self.temp, self.batch = temp, batch
        self.fields["total"] = WeightField(
            unit=house.weight_unit, label="Weight of the whole batch", required=False
        )
        self.fields["fish"] = WeightField(
            unit=house.weight_unit, label="Weight of the fish", required=False
        )
        self.order_fields(["by", "volume", "volume_unit", "total", "fish", "ratio"])
        if batch.method != "brine":
            for name in ("volume", "volume_unit"):
                del self.fields[name]
            self.fields["by"].choices = self.fields["by"].choices[1:]  # type: ignore[attr-defined]
            self.fields["ratio"].label = "Salting to one part of fish"
            self.fields["ratio"].initial = ""
            self.fields["ratio"].help_text = "By weight, such as 0.05 for 50 g on each kg of fish."
            self.initial.pop("ratio")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if self.errors:
            return data
        try:
            data["scaled"] = self._scaled(data)
        except BadQuantity as error:
            self.add_error(
                {"volume": "volume", "total": "total"}.get(data["by"], "ratio"), str(error)
            )
        return data

    def _scaled(self, data: dict[str, Any]) -> Batch | None:
        missing = {"volume": "volume", "total": "total", "fish": "fish"}[data["by"]]
        if not data.get(missing):
            self.add_error(missing, "Type how much, more than nothing.")
            return None
        if data["by"] == "total":
            return to_total(self.batch, data["total"] * MG_PER_G)
        if data["by"] == "fish":
            return to_fish(self.batch, data["fish"], read_number(data.get("ratio") or ""))
        size = LITRE_PER_US_GALLON if data["volume_unit"] == "US gal" else Fraction(1)
        return to_volume(self.batch, read_number(data["volume"]) * size, self.temp)


class DiscardForm(forms.Form):
    reason = forms.CharField(
        label="Why", max_length=300, help_text="Such as: cloudy, or used three times."
    )

    def __init__(self, data: Any = None, *, house: Establishment, now_ms: int) -> None:
        super().__init__(data)
        self.fields["observed_at"] = MomentField(
            zone=house.zone, now_ms=now_ms, label="Discarded at"
        )


class BatchChoice(forms.ModelChoiceField):
    """Batches, each with what it is and what it weighs."""

    def label_from_instance(self, row: BrineBatch) -> str:
        return batch_words(row)


def batch_field(rows: Sequence[BrineBatch], required: bool) -> BatchChoice:
    found = BrineBatch.objects.filter(pk__in=[row.pk for row in rows]).order_by("-made_at", "-pk")
    return BatchChoice(
        found,
        label="Batch",
        required=required,
        empty_label="choose" if required else "not named here",
        help_text="What the fish lies in. Its figures are shown before the fish goes in.",
    )


def brine_weight(house: Establishment) -> WeightField:
    return WeightField(
        unit=house.weight_unit,
        label="How much of the batch",
        required=False,
        help_text="What is poured on this fish. Empty: all of it.",
    )


class NameBatchForm(forms.Form):
    """The batch that a load already lies in."""

    def __init__(
        self, data: Any = None, *, house: Establishment, batches: Sequence[BrineBatch]
    ) -> None:
        super().__init__(data)
        self.fields["brine_batch"] = batch_field(batches, required=True)
        self.fields["brine_g"] = brine_weight(house)
        self.fields["reason"] = forms.CharField(
            label="Why it is named now",
            max_length=300,
            help_text="Such as: forgotten at the start.",
        )
        self.fields["seen"] = SeenField()
