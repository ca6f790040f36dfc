"""Forms of an instrument's accuracy check, and of how often it is checked."""

import re
from fractions import Fraction
from typing import Any, Final

from crispy_forms.layout import Row
from django import forms

from lots.core.units import BadQuantity, TempUnit, convert, read_span, to_ninths
from lots.forms.fields import FigureField, MomentField
from lots.forms.people import laid_out
from lots.queries.accuracy_checks import show_boiling
from lots.queries.house import rules

ICE_POINT: Final = {"F": "32", "C": "0"}  # ice and water in balance
_ALTITUDE = re.compile(r"([−-]?[\d.,\s]+?)\s*(ft|feet|m|metres|meters)\.?", re.IGNORECASE)
_THOUSANDS = re.compile(r"(?<=\d)[,\s](?=\d{3}(?:\D|$))")
LOWEST_FT: Final = -1_500  # the shores of the Dead Sea
HIGHEST_FT: Final = 16_500  # no town lies higher


def read_altitude(text: str) -> Fraction:
    """An altitude in feet as a person types it: "4,500 ft", "1400 m".

    Raises:
        BadQuantity: no number with ft or m, or higher than anybody lives.
    """
    found = _ALTITUDE.fullmatch(text.strip())
    if found is None:
        raise BadQuantity(f"“{text.strip()}” is not an altitude. Type it as 4,500 ft or 1400 m.")
    number = _THOUSANDS.sub("", found[1])
    feet = convert(f"{number} {'ft' if found[2].lower().startswith('f') else 'm'}", "ft")
    if not LOWEST_FT <= feet <= HIGHEST_FT:
        raise BadQuantity(f"Nobody smokes fish at {text.strip()}. Check the figure and the unit.")
    return feet


class AccuracyForm(forms.Form):
    method = forms.ChoiceField(
        label="Checked in",
        choices=[
            ("ice point", "ice and water (ice point)"),
            ("boiling point", "boiling water (boiling point)"),
            ("reference", "beside a reference thermometer"),
        ],
        widget=forms.RadioSelect,
    )
    as_read = FigureField(label="It read", max_length=20)
    unit = forms.ChoiceField(label="Unit", choices=[("F", "°F"), ("C", "°C")])
    altitude = forms.CharField(
        label="Altitude",
        max_length=20,
        required=False,
        help_text="Only for boiling water, such as 4,500 ft or 1400 m.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    expected = FigureField(
        label="It should have read",
        max_length=20,
        required=False,
        help_text="What the reference thermometer read. Empty for ice (32 °F, 0 °C) and for boiling "
        "water, which is reckoned from the altitude: 212 °F less 1.8 °F for each 1,000 ft.",
    )
    note = forms.CharField(
        label="Note",
        max_length=300,
        required=False,
        help_text="Name and certificate of a reference thermometer.",
    )
    late_reason = forms.CharField(
        label="Why it is entered late", max_length=300, required=False,
        help_text="Only if the check was made some time ago.",
    )  # fmt: skip
    helper = laid_out(
        "method",
        Row("as_read", "unit"),
        Row("altitude", "expected"),
        "note",
        Row("observed_at", "late_reason"),
    )

    def __init__(self, *args: Any, zone: str, now_ms: int, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["observed_at"] = MomentField(zone=zone, now_ms=now_ms, label="Checked at")

    @property
    def _unit(self) -> TempUnit:
        return "C" if self.cleaned_data.get("unit") == "C" else "F"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        method, expected = cleaned.get("method"), cleaned.get("expected", "")
        if method == "ice point":
            self._clean_ice(cleaned, expected)
        elif method == "boiling point":
            self._clean_boiling(cleaned, expected)
        elif method == "reference":
            self._clean_reference(cleaned, expected)
        return cleaned

    def _clean_ice(self, cleaned: dict[str, Any], expected: str) -> None:
        unit = self._unit
        try:
            right = not expected or to_ninths(expected, unit) == to_ninths(ICE_POINT[unit], unit)
        except BadQuantity as error:
            self.add_error("expected", str(error))
            return
        if not right:
            self.add_error(
                "expected", f"Ice and water stand at {ICE_POINT[unit]} °{unit}. Leave this empty."
            )
        cleaned["expected"] = ICE_POINT[unit]

    def _clean_boiling(self, cleaned: dict[str, Any], expected: str) -> None:
        """What is typed for the weather of the day may differ from the rule by no more than a
        thermometer may be off, or it would hide the very error that is looked for."""
        altitude = cleaned.get("altitude", "")
        if not altitude:
            self.add_error("altitude", "Say at which altitude: boiling water is cooler higher up.")
            return
        field = "altitude"
        try:
            figure = show_boiling(read_altitude(altitude), self._unit)
            field = "expected"
            typed = to_ninths(expected or figure, self._unit)
        except BadQuantity as error:
            self.add_error(field, str(error))
            return
        if abs(typed - to_ninths(figure, self._unit)) > rules().tolerance[self._unit]:
            self.add_error(
                "expected",
                f"At {altitude} water boils at about {figure} °{self._unit}. Check both figures.",
            )
        cleaned["expected"] = expected or figure
        cleaned["note"] = f"{altitude}; {cleaned.get('note', '')}".strip("; ")

    def _clean_reference(self, cleaned: dict[str, Any], expected: str) -> None:
        if not expected and "expected" not in self.errors:
            self.add_error("expected", "Type what it should have read.")
        if not cleaned.get("note"):
            self.add_error("note", "Name the reference thermometer.")


class PeriodForm(forms.Form):
    """How often an instrument's accuracy is to be checked."""

    every = forms.CharField(
        label="Check it every",
        max_length=20,
        help_text="Such as 24 h or 7 days.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    period_reason = forms.CharField(
        label="Why so often",
        max_length=300,
        help_text="What its maker or the plan asks for.",
        error_messages={"required": "Say why: what the maker or the plan asks for."},
    )
    helper = laid_out(Row("every", "period_reason"))

    def clean_every(self) -> int:
        """In ms."""
        try:
            return read_span(self.cleaned_data["every"])
        except BadQuantity as error:
            raise forms.ValidationError(str(error)) from error
