"""A sample of pieces, typed as rows of cells: thickness of each, weight of each."""

from collections.abc import Sequence
from typing import Any, Final

from django import forms

from lots.core.pieces import LENGTH_UNITS, WEIGHT_UNITS
from lots.entries.pieces import TypedPieces
from lots.forms.fields import FigureField, KeyField, MomentField, SeenField
from lots.forms.sure import texts
from lots.models.house import Establishment
from lots.models.lot import Load
from lots.queries.pieces import SampleShown, Where

PIECES: Final = 10
MOST_PIECES: Final = 60
MORE: Final = 10
ONE_FIGURE: Final = 20


class PiecesForm(forms.Form):
    """Units, then a cell for each piece."""

    def __init__(
        self,
        data: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        places: Sequence[Where],
        instruments: Any,
        pieces: int = PIECES,
        **options: Any,
    ) -> None:
        super().__init__(data, **options)
        self.pieces = pieces
        self.loads = {one.part.load_id: one.part.load for one in places}
        _units(self, house.weight_unit)
        _cells(self, pieces)
        first = next((one for one in places if one.asks and one.running), None)
        self.fields["load"] = forms.TypedChoiceField(
            label="Where they were measured",
            required=False,
            coerce=lambda text: self.loads.get(int(text)),
            empty_value=None,
            choices=[
                ("", "before its next step"),
                *((one.part.load_id, one.words) for one in places),
            ],
            initial=first.part.load_id if first else "",
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
        self.fields["sure"] = SeenField()
        self.fields["client_key"] = KeyField()

    def head(self) -> list[forms.BoundField]:
        return [self[name] for name in ("load", "thickness_unit", "weight_unit")]

    def rows(self) -> list[tuple[str, list[forms.BoundField]]]:
        return _rows(self, self.pieces)

    def tail(self) -> list[forms.BoundField]:
        names = ("observed_at", "instrument", "late_reason", "note", "client_key")
        return [self[name] for name in names]

    def load(self) -> Load | None:
        chosen: Load | None = self.cleaned_data["load"]
        return chosen

    def typed(self, sure: bool) -> TypedPieces:
        return _typed(self.cleaned_data, self.pieces, sure)


class CorrectPiecesForm(forms.Form):
    """A sample's figures as they should have been typed, or that there was no such sample."""

    def __init__(
        self,
        data: Any = None,
        *,
        house: Establishment,
        sample: SampleShown,
        pieces: int,
        **options: Any,
    ) -> None:
        super().__init__(data, **options)
        self.pieces = max(pieces, len(sample.pieces))
        _units(self, house.weight_unit)
        _cells(self, self.pieces)
        for number, one in enumerate(sample.pieces, 1):
            self.fields[f"thickness-{number}"].initial = one.thickness
            self.fields[f"weight-{number}"].initial = one.weight
            if one.thickness_unit:
                self.fields["thickness_unit"].initial = one.thickness_unit
            if one.weight_unit:
                self.fields["weight_unit"].initial = one.weight_unit
        self.fields["take_back"] = forms.BooleanField(
            label="Take it back: there was no such sample", required=False
        )
        self.fields["reason"] = forms.CharField(label="What was wrong", max_length=300)
        self.fields["sure"] = SeenField()

    def head(self) -> list[forms.BoundField]:
        return [self[name] for name in ("thickness_unit", "weight_unit")]

    def rows(self) -> list[tuple[str, list[forms.BoundField]]]:
        return _rows(self, self.pieces)

    def tail(self) -> list[forms.BoundField]:
        return [self[name] for name in ("take_back", "reason")]

    def typed(self, sure: bool) -> TypedPieces | None:
        if self.cleaned_data["take_back"]:
            return None
        return _typed(self.cleaned_data, self.pieces, sure)


def _units(form: forms.Form, weight_unit: str) -> None:
    form.fields["thickness_unit"] = forms.ChoiceField(
        label="Thickness in",
        choices=[(unit, unit) for unit in LENGTH_UNITS],
        widget=forms.RadioSelect,
        initial="in" if weight_unit == "lb" else "mm",
    )
    form.fields["weight_unit"] = forms.ChoiceField(
        label="Weight in",
        choices=[(unit, unit) for unit in WEIGHT_UNITS],
        widget=forms.RadioSelect,
        initial="oz" if weight_unit == "lb" else "g",
    )


def _cells(form: forms.Form, pieces: int) -> None:
    for name in ("thickness", "weight"):
        for number in range(1, pieces + 1):
            form.fields[f"{name}-{number}"] = FigureField(
                label=f"{name}, piece {number}", required=False, max_length=ONE_FIGURE
            )


def _rows(form: forms.Form, pieces: int) -> list[tuple[str, list[forms.BoundField]]]:
    heads = (("Thickness, at the thickest of each", "thickness"), ("Weight of each", "weight"))
    return [(head, [form[one] for one in _names(name, pieces)]) for head, name in heads]


def _names(name: str, pieces: int) -> list[str]:
    return [f"{name}-{number}" for number in range(1, pieces + 1)]


def _typed(data: dict[str, Any], pieces: int, sure: bool) -> TypedPieces:
    return TypedPieces(
        texts(data, _names("thickness", pieces)),
        texts(data, _names("weight", pieces)),
        data["thickness_unit"],
        data["weight_unit"],
        sure,
    )
