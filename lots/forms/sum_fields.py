"""Fields of the sums, and what their forms share: what is typed becomes exact figures; what cannot be is
refused at its field, what is odd is asked about there."""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from fractions import Fraction
from typing import Any, Final

from crispy_forms.helper import FormHelper
from django import forms

from lots.core.batch import Batch, Part, doubts, part_from
from lots.core.cure import BadCure
from lots.core.salting import PER_CENT, BadSalting
from lots.core.units import (
    BadQuantity,
    TempUnit,
    read_number,
    show_number,
    to_milligrams,
    to_ninths,
)
from lots.forms.fields import ConfirmField, FigureField, show_box
from lots.forms.people import laid_out as laid_out_in
from lots.queries.sums import Answer

LONGEST: Final = 60
SAID: Final = {
    "l": "L", "litre": "L", "litres": "L", "liter": "L", "liters": "L", "ml": "mL",
    "gal": "US gal", "gallon": "US gal", "gallons": "US gal", "us gallon": "US gal", "us gallons": "US gal",
    "us gal": "US gal", "lbs": "lb", "gram": "g", "grams": "g", "gr": "g", "kilo": "kg", "kilos": "kg",
    "ounce": "oz", "ounces": "oz", "pound": "lb", "pounds": "lb",
}  # fmt: skip
_AMOUNT: Final = re.compile(
    r"(?P<figure>[+\-−]?[\d.,]+)\s*(?P<unit>[A-Za-z][A-Za-z ]*?)?"
    r"(?:\s+(?:at|of)\s+(?P<each>[\d.,]+)\s*(?P<weight>kg|g|oz|lb))?"
)
UNITS: Final = [("F", "°F"), ("C", "°C")]


def laid_out(*parts: Any) -> FormHelper:
    """The layout of a sum: nothing that it refuses was ever to be written."""
    helper = laid_out_in(*parts)
    helper.form_error_title = "What to look at again:"
    return helper


class TextFigure(FigureField):
    """A figure with a unit of its own, so that letters must be typed beside it."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("max_length", LONGEST)
        super().__init__(**options)
        self.widget.attrs |= {"inputmode": "text"}


class PercentField(FigureField):
    """A share; cleans to per cent, None where nothing is typed."""

    def __init__(self, *, low: int = 0, high: int = PER_CENT, **options: Any) -> None:
        self.low, self.high = low, high
        options.setdefault("max_length", 20)
        super().__init__(**options)

    def clean(self, value: Any) -> Fraction | None:
        text = super().clean(value)
        if not text:
            return None
        try:
            found = read_number(text.strip().removesuffix("%"))
        except BadQuantity as error:
            raise forms.ValidationError(str(error)) from error
        if not self.low <= found <= self.high:
            raise forms.ValidationError(
                f"{show_number(found, 2)} % cannot be: type per cent, from {self.low} to {self.high}."
            )
        return found


class NumberField(FigureField):
    """A bare number; cleans to a Fraction, None where nothing is typed."""

    def __init__(self, *, more_than: int | None = None, **options: Any) -> None:
        self.more_than = more_than
        options.setdefault("max_length", 20)
        super().__init__(**options)

    def clean(self, value: Any) -> Fraction | None:
        text = super().clean(value)
        if not text:
            return None
        try:
            found = read_number(text.strip())
        except BadQuantity as error:
            raise forms.ValidationError(str(error)) from error
        if self.more_than is not None and found <= self.more_than:
            raise forms.ValidationError(f"Type a figure above {self.more_than}.")
        return found


class AmountField(TextFigure):
    """What goes into a batch, with its unit: cleans to a part of the batch, None where nothing is typed."""

    def __init__(self, *, kind: str, **options: Any) -> None:
        self.kind = kind
        super().__init__(**options)

    def clean(self, value: Any) -> dict[str, str] | None:
        text = super().clean(value)
        return read_amount(text) if text else None


def read_amount(text: str) -> dict[str, str]:
    """Figure, unit, and what one measure weighs, of "1.2 kg", "10 L", "3 cup at 290 g"."""
    found = _AMOUNT.fullmatch(" ".join(text.split()))
    if found is None:
        raise forms.ValidationError(f"“{text}” is not an amount. Type it as 1.2 kg, 12 oz or 10 L.")
    unit = found["unit"]
    if not unit:
        raise forms.ValidationError(
            f"{text} of what? Add the unit: g, kg, oz or lb; of water also L or US gal."
        )
    return {
        "as_read": found["figure"],
        "unit": SAID.get(
            unit.lower(), unit.lower() if unit.lower() in ("g", "kg", "oz", "lb") else unit
        ),
        "per_measure": found["each"] or "",
        "per_measure_unit": found["weight"] or "g",
    }


class FishField(TextFigure):
    """A weight of fish with its unit; cleans to milligrams."""

    def clean(self, value: Any) -> int | None:
        text = super().clean(value)
        if not text:
            return None
        amount = read_amount(text)
        try:
            return to_milligrams(amount["as_read"], amount["unit"])
        except BadQuantity as error:
            raise forms.ValidationError(str(error)) from error


class Wrong(BadQuantity):
    """What cannot be, and at which field."""

    def __init__(self, name: str | None, text: str) -> None:
        self.name = name
        super().__init__(text)


@contextmanager
def at(name: str | None) -> Iterator[None]:
    """Says of which field a refusal of the core is."""
    try:
        yield
    except Wrong:
        raise
    except (BadQuantity, BadSalting, BadCure) as error:
        raise Wrong(name, str(error)) from error


class SumForm(forms.Form):
    """What all sums share: figures that are odd are asked about once, beside their field."""

    confirmed = ConfirmField(4000)
    SURE = "It is so: reckon with it"
    WATCHED: tuple[str, ...] = ("unit", "temp")  # what a yes is about beside the figure itself

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.asked: dict[str, str] = {}
        self.taken: list[str] = []  # what was asked about and said to be so
        self.answer: Answer | None = None
        self.order_fields([*[name for name in self.fields if name != "confirmed"], "confirmed"])

    def ask(self, name: str, text: str) -> None:
        """Asks about a figure, unless the box was ticked for it as it stands now."""
        if self._said(name) in self.cleaned_data.get("confirmed", ()):
            self.taken.append(text)
        else:
            self.asked[name] = text

    def _said(self, name: str) -> str:
        watched = [one for one in self.WATCHED if one in self.fields and one != name]
        typed = {one: str(self.data.get(self.add_prefix(one), "")) for one in (name, *watched)}
        said = ",".join(f"{one}={' '.join(value.split())}" for one, value in typed.items())
        return said.replace(";", "/")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if self.errors:
            return cleaned
        try:
            self.reckon(cleaned)
        except Wrong as wrong:
            self.add_error(wrong.name if wrong.name in self.fields else None, str(wrong))
        if self.asked and not self.errors:
            self._show_box()
        return cleaned

    def _show_box(self) -> None:
        said = ";".join(self._said(name) for name in self.asked)
        for name, text in self.asked.items():
            self.add_error(name if name in self.fields else None, text)
        show_box(self, "confirmed", said, self.SURE)

    def reckon(self, cleaned: dict[str, Any]) -> None:
        """Works the sum out from what was cleaned.

        Raises:
            Wrong: it cannot be.
        """
        raise NotImplementedError

    def temperature(self, cleaned: Mapping[str, Any], name: str = "temp") -> int:
        """A field's temperature in the form's unit."""
        unit: TempUnit = "C" if cleaned.get("unit") == "C" else "F"
        with at(name):
            return to_ninths(cleaned[name], unit)

    def part(self, name: str, cleaned: Mapping[str, Any], nitrite: str = "") -> Part | None:
        """The part of a batch that a field holds."""
        amount, field = cleaned[name], self.fields[name]
        if amount is None or not isinstance(field, AmountField):
            return None
        with at(name):
            return part_from(field.kind, field.kind, nitrite=nitrite, **amount)

    def doubt(self, batch: Batch, temp: int, fish_g: int | None, where: Mapping[str, str]) -> None:
        """Refuses or asks about what is doubtful in a batch; `where`: the doubt's field → the form's."""
        for one in doubts(batch, temp, fish_g):
            name = where.get(one.field, one.field)
            if one.refused:
                raise Wrong(name, one.text)
            self.ask(name, one.text)
