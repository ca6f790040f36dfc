"""Frozen packs thawed."""

from typing import Any

from django import forms

from lots.forms.fields import KeyField, MomentField, WeightField
from lots.models.house import Establishment


class ThawForm(forms.Form):
    """How much was thawed, when and why."""

    def __init__(
        self, data: Any = None, *, house: Establishment, now_ms: int, **options: Any
    ) -> None:
        super().__init__(data, **options)
        self.fields["grams"] = WeightField(unit=house.weight_unit, label="Weight thawed")
        self.fields["thawed_at"] = MomentField(
            zone=house.zone, now_ms=now_ms, label="Taken out of the freezer"
        )
        self.fields["reason"] = forms.CharField(label="Why it is thawed", max_length=150)
        self.fields["late_reason"] = forms.CharField(
            label="Why entered late",
            required=False,
            max_length=140,
            help_text="Only if it was taken out a while ago.",
        )
        self.fields["client_key"] = KeyField()
