"""Readings by hand: of a place, of fish in a load; measurements; things looked for; corrections."""

from typing import Any

from django import forms

from lots.core.units import QUANTITIES
from lots.forms.fields import ConfirmField, FigureField, KeyField, MomentField
from lots.models.house import Establishment

UNITS = [("F", "°F"), ("C", "°C")]
YES_NO = [("yes", "yes, found so"), ("no", "no")]


class ReadingForm(forms.Form):
    """One figure, or a round over several fish, with its moment."""

    def __init__(
        self,
        data: Any = None,
        files: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        probes: list[str],
        instruments: Any,
        unit: str = "",
        **options: Any,
    ) -> None:
        super().__init__(data, files, **options)
        self.probes = probes
        for probe in probes:
            self.fields[f"read_{probe}"] = FigureField(
                label=(probe or "Reading").capitalize(), required=len(probes) == 1, max_length=20
            )
        self.fields[f"read_{probes[0]}"].widget.attrs["autofocus"] = True
        self.fields["unit"] = forms.ChoiceField(
            label="Unit",
            choices=UNITS,
            initial=unit or house.temperature_unit,
            widget=forms.RadioSelect,
        )
        self.fields["instrument"] = forms.ModelChoiceField(
            instruments, label="Thermometer", required=False, empty_label="not named"
        )
        if (self.initial or {}).get("instrument"):
            self.fields["instrument"].help_text = "As last time."
        self.fields["observed_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="Read at")
        self.fields["late_reason"] = forms.CharField(
            label="Why entered late",
            required=False,
            max_length=300,
            help_text="Only if it was read a while ago.",
        )
        self.fields["note"] = forms.CharField(label="Note", required=False, max_length=400)
        self.fields["attachment"] = forms.FileField(label="Photo or paper", required=False)
        self.fields["client_key"] = KeyField()
        self.fields["confirmed"] = ConfirmField()
        self.order_fields([*(f"read_{probe}" for probe in probes), "confirmed"])

    ASIDE = ("observed_at", "late_reason", "note", "attachment")

    def main_fields(self) -> list[forms.BoundField]:
        """What every reading needs."""
        return [field for field in self if field.name not in self.ASIDE]

    def aside_fields(self) -> list[forms.BoundField]:
        """What only some need: an earlier time, a note, a photo."""
        return [self[name] for name in self.ASIDE]

    def aside_open(self) -> bool:
        return any(self[name].errors or self[name].value() for name in self.ASIDE)

    def read(self) -> list[tuple[str, str]]:
        """(probe, figure) of what was typed."""
        typed = [(probe, self.cleaned_data.get(f"read_{probe}", "")) for probe in self.probes]
        return [(probe, text) for probe, text in typed if text]


class MeasureForm(forms.Form):
    """A quantity other than temperature, measured in a load."""

    as_read = FigureField(label="Figure", max_length=20)

    def __init__(
        self,
        data: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        instruments: Any,
        asked: list[str],
        **options: Any,
    ) -> None:
        super().__init__(data, **options)
        others = [name for name in QUANTITIES if name not in asked]
        self.fields["quantity"] = forms.ChoiceField(
            label="What was measured", choices=[(name, name) for name in [*asked, *others]]
        )
        units = list(dict.fromkeys(unit for q in QUANTITIES.values() for unit in q))
        self.fields["unit"] = forms.ChoiceField(
            label="Unit",
            required=False,
            choices=[("", "the usual one"), *((unit, unit) for unit in units)],
        )
        self.fields["instrument"] = forms.ModelChoiceField(
            instruments, label="Instrument", required=False, empty_label="not named"
        )
        self.fields["observed_at"] = MomentField(
            zone=house.zone, now_ms=now_ms, label="Measured at"
        )
        self.fields["late_reason"] = forms.CharField(
            label="Why entered late", required=False, max_length=300
        )
        self.fields["note"] = forms.CharField(label="Note", required=False, max_length=400)
        self.fields["client_key"] = KeyField()
        self.fields["confirmed"] = ConfirmField()
        self.order_fields(["quantity", "as_read", "unit", "confirmed"])

    def unit(self) -> str:
        return self.cleaned_data["unit"] or next(iter(QUANTITIES[self.cleaned_data["quantity"]]))


class LookForm(forms.Form):
    """Things looked for in a load, as the plan asks: yes or no."""

    def __init__(
        self,
        data: Any = None,
        files: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        asked: list[str],
        **options: Any,
    ) -> None:
        super().__init__(data, files, **options)
        self.looks = [(f"look_{index}", what) for index, what in enumerate(asked)]
        for name, what in self.looks:
            self.fields[name] = forms.ChoiceField(
                label=what[:1].upper() + what[1:],
                choices=YES_NO,
                required=False,
                widget=forms.RadioSelect,
            )
        self.fields["other"] = forms.CharField(
            label="Something else looked for", required=False, max_length=200
        )
        self.fields["other_found"] = forms.ChoiceField(
            label="Was it found so?", choices=YES_NO, required=False, widget=forms.RadioSelect
        )
        self.fields["observed_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="Seen at")
        self.fields["late_reason"] = forms.CharField(
            label="Why entered late", required=False, max_length=300
        )
        self.fields["note"] = forms.CharField(label="Note", required=False, max_length=400)
        self.fields["attachment"] = forms.FileField(label="Photo or paper", required=False)
        self.fields["client_key"] = KeyField()

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("other") and not data.get("other_found"):
            self.add_error("other_found", "Answer yes or no to what else was looked for.")
        if data.get("other_found") and not data.get("other"):
            self.add_error("other", "Say what was looked for.")
        return data

    def found(self) -> list[tuple[str, bool]]:
        answers = [
            (what, self.cleaned_data[name] == "yes")
            for name, what in self.looks
            if self.cleaned_data.get(name)
        ]
        if self.cleaned_data.get("other") and self.cleaned_data.get("other_found"):
            answers.append((self.cleaned_data["other"], self.cleaned_data["other_found"] == "yes"))
        return answers


class CorrectReadingForm(forms.Form):
    """The right figure, or that there was none; always with the reason."""

    as_read = FigureField(label="The right figure", required=False, max_length=20)
    take_back = forms.BooleanField(label="Take it back: there was no such reading", required=False)
    reason = forms.CharField(label="What was wrong", max_length=300)

    def __init__(
        self, data: Any = None, *, units: list[tuple[str, str]], unit: str, **options: Any
    ) -> None:
        super().__init__(data, **options)
        self.fields["unit"] = forms.ChoiceField(label="Unit", choices=units, initial=unit)
        self.fields["confirmed"] = ConfirmField()
        self.order_fields(["as_read", "unit", "confirmed", "take_back", "reason"])

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not data.get("as_read") and not data.get("take_back"):
            self.add_error("as_read", "Type the right figure, or take the reading back.")
        return data


class CorrectLookForm(forms.Form):
    found = forms.ChoiceField(label="It was", choices=YES_NO, widget=forms.RadioSelect)
    reason = forms.CharField(label="What was wrong", max_length=300)


class AdjustForm(forms.Form):
    what = forms.CharField(
        label="What was adjusted", max_length=1000, widget=forms.Textarea(attrs={"rows": 3})
    )
    limit_id = forms.CharField(max_length=120, widget=forms.HiddenInput)
    load = forms.IntegerField(widget=forms.HiddenInput, required=False)
