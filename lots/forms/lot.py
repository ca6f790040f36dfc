"""Opening a lot and what follows: split, merge, destroy, void, finish."""

from collections.abc import Sequence
from typing import Any

from django import forms

from lots.core.plan import Plan
from lots.forms.fields import ConfirmField, FigureField, KeyField, MomentField, WeightField
from lots.models.house import Establishment
from lots.models.lot import Lot
from lots.queries.load_page import TakenAlong

MOST_PACKS = 1_000_000  # more were mistyped
YES_NO = [("yes", "yes"), ("no", "no")]


class OpenLotForm(forms.Form):
    """What comes in at the dock."""

    code = forms.CharField(
        label="Lot code", max_length=40, help_text="Proposed; change it if you like."
    )
    species = forms.ChoiceField(label="Species", widget=forms.RadioSelect)
    origin = forms.ChoiceField(
        label="Wild or farmed",
        choices=[("wild", "wild"), ("farmed", "farmed")],
        widget=forms.RadioSelect,
    )
    supplier = forms.CharField(label="Supplier", max_length=200)
    supplier_lot = forms.CharField(label="Supplier's lot", max_length=80, required=False)

    def __init__(
        self,
        data: Any = None,
        files: Any = None,
        *,
        plan: Plan,
        asked: list[str],
        house: Establishment,
        now_ms: int,
        places: Any,
        instruments: Any,
        **options: Any,
    ) -> None:
        super().__init__(data, files, **options)
        species = [(one.code, f"{one.name} ({one.code})") for one in plan.species]
        self.fields["species"].choices = [*species, ("other", "another species")]  # type: ignore[attr-defined]
        self.fields["quantity"] = WeightField(unit=house.weight_unit, label="Quantity received")
        self.fields["received_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="Received")
        self.fields["late_reason"] = forms.CharField(
            label="Why entered late",
            required=False,
            max_length=190,
            help_text="Only if it was received a while ago.",
        )
        self.fields["place"] = forms.ModelChoiceField(
            places, label="Receiving dock", empty_label=None
        )
        self.fields["instrument"] = forms.ModelChoiceField(
            instruments, label="Thermometer", required=False, empty_label="not named"
        )
        self.fields["unit"] = forms.ChoiceField(
            label="Unit read", choices=[("F", "°F"), ("C", "°C")], initial=house.temperature_unit
        )
        for number in (1, 2, 3):
            self.fields[f"read_fish {number}"] = FigureField(
                label=f"Temperature inside fish {number}", required=False, max_length=20
            )
        self.fields["confirmed"] = ConfirmField()
        self.looks: list[tuple[str, str]] = []
        for index, what in enumerate(asked):
            name = f"look_{index}"
            self.looks.append((name, what))
            self.fields[name] = forms.ChoiceField(
                label=what[:1].upper() + what[1:],
                choices=YES_NO,
                required=False,
                widget=forms.RadioSelect,
                help_text="Looked for and found so?",
            )
        self.fields["receiving_goes_on"] = forms.BooleanField(
            label="Receiving goes on: more is still to be looked at", required=False
        )
        self.fields["attachment"] = forms.FileField(label="Photo or paper", required=False)
        self.fields["note"] = forms.CharField(label="Note", required=False, max_length=200)
        self.fields["client_key"] = KeyField()

    @property
    def probes(self) -> list[str]:
        return [name.removeprefix("read_") for name in self.fields if name.startswith("read_")]


class PartForm(forms.Form):
    """A part of a lot: split off, reworked or destroyed."""

    def __init__(
        self,
        data: Any = None,
        *,
        house: Establishment,
        code: bool,
        taken_along: Sequence[TakenAlong] = (),
        **options: Any,
    ) -> None:
        super().__init__(data, **options)
        if code:
            self.fields["how"] = forms.ChoiceField(
                label="What for",
                widget=forms.RadioSelect,
                choices=[("split", "split: go on apart"), ("rework", "rework: go through again")],
                initial="split",
            )
            self.fields["code"] = forms.CharField(label="Code of the new lot", max_length=40)
        self.fields["grams"] = WeightField(unit=house.weight_unit, label="Weight")
        if code:
            self.fields["loads"] = forms.MultipleChoiceField(
                label="Loads that this portion was in",
                required=False,
                widget=forms.CheckboxSelectMultiple,
                choices=[(str(one.load.pk), one.words) for one in taken_along],
                initial=[str(one.load.pk) for one in taken_along if one.whole],
                help_text="Their steps are the new lot's history too. What it was not in, or is to go "
                "through again, stays unticked.",
            )
        self.fields["reason"] = forms.CharField(label="Reason", max_length=300, required=not code)


class MergeForm(forms.Form):
    """Parts of several lots become one."""

    code = forms.CharField(label="Code of the new lot", max_length=40)
    reason = forms.CharField(label="Reason", max_length=300, required=False)

    def __init__(
        self, data: Any = None, *, house: Establishment, lots: list[Lot], **options: Any
    ) -> None:
        super().__init__(data, **options)
        for lot in lots:
            self.fields[f"lot_{lot.pk}"] = WeightField(
                unit=house.weight_unit,
                label=f"From lot {lot.code}, {lot.species_name}",
                required=False,
                help_text="Empty: nothing of it.",
            )

    def beside(self, name: str) -> str:
        """The field that a refusal stands at: one of the lots as a whole stands at the first."""
        first = next((field for field in self.fields if field.startswith("lot_")), name)
        return first if name == "lots" else name


class ReasonForm(forms.Form):
    reason = forms.CharField(label="Reason", max_length=300)


class FinishForm(forms.Form):
    """Processing is over."""

    def __init__(
        self, data: Any = None, *, house: Establishment, now_ms: int, **options: Any
    ) -> None:
        super().__init__(data, **options)
        self.fields["packed"] = WeightField(unit=house.weight_unit, label="Packed weight in all")
        self.fields["packs"] = forms.IntegerField(
            label="Packs", min_value=0, max_value=MOST_PACKS, required=False, initial=0
        )
        self.fields["finished_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="Finished")
        self.fields["late_reason"] = forms.CharField(
            label="Why entered late",
            required=False,
            max_length=190,
            help_text="Only if it was finished a while ago.",
        )
        self.fields["note"] = forms.CharField(label="Note", required=False, max_length=200)
