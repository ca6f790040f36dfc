"""What a lot weighed at a stage, and a weight put right."""

from collections.abc import Sequence
from typing import Any

from django import forms

from lots.core.weights import WEIGHED_HERE
from lots.forms.fields import KeyField, MomentField, SeenField
from lots.models.house import Establishment
from lots.models.lot import Load
from lots.queries.pieces import Where

LONGEST = 30  # a weight with its unit


class _Weight(forms.CharField):
    """A weight as typed: it is kept so, and read by the entry."""

    def __init__(self, unit: str, **options: Any) -> None:
        options.setdefault("help_text", f"In {unit}, or with its unit, such as 12.5 kg or 27 lb.")
        super().__init__(max_length=LONGEST, **options)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}


class WeightForm(forms.Form):
    """The stage, where it was weighed, and the weight."""

    stage = forms.ChoiceField(
        label="Weighed as",
        choices=[(one, one) for one in WEIGHED_HERE],
        widget=forms.RadioSelect,
    )

    def __init__(
        self,
        data: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        places: Sequence[Where],
        **options: Any,
    ) -> None:
        super().__init__(data, **options)
        self.loads = {one.part.load_id: one.part.load for one in places}
        self.fields["weight"] = _Weight(house.weight_unit, label="Weight")
        self.fields["load"] = forms.TypedChoiceField(
            label="What of the lot",
            required=False,
            coerce=lambda text: self.loads.get(int(text)),
            empty_value=None,
            choices=[
                ("", "the whole lot"),
                *((one.part.load_id, f"what was {one.words}") for one in places),
            ],
        )
        self.fields["reason"] = forms.CharField(
            label="Why more came out than went in",
            required=False,
            max_length=300,
            help_text="Only if it did: brined fish may weigh more than it did before.",
        )
        self.fields["observed_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="Weighed at")
        self.fields["late_reason"] = forms.CharField(
            label="Why entered late", required=False, max_length=200
        )
        self.fields["note"] = forms.CharField(label="Note", required=False, max_length=400)
        self.fields["client_key"] = KeyField()

    def load(self) -> Load | None:
        chosen: Load | None = self.cleaned_data["load"]
        return chosen


class CorrectWeightForm(forms.Form):
    """The right weight, or that there was none."""

    def __init__(self, data: Any = None, *, house: Establishment, **options: Any) -> None:
        super().__init__(data, **options)
        self.fields["weight"] = _Weight(house.weight_unit, label="The right weight", required=False)
        self.fields["take_back"] = forms.BooleanField(
            label="Take it back: there was no such weight", required=False
        )
        self.fields["reason"] = forms.CharField(label="What was wrong", max_length=300)
        self.fields["seen"] = SeenField()

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not data.get("weight") and not data.get("take_back"):
            self.add_error("weight", "Type the right weight, or take it back.")
        return data

    def text(self) -> str:
        """The right weight as typed; empty where there was none."""
        return "" if self.cleaned_data["take_back"] else self.cleaned_data["weight"]
