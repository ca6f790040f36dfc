"""Forms of the forecast of salt, and of the points that it is fitted to."""

import re
from fractions import Fraction
from typing import Any, Final

from crispy_forms.layout import Row
from django import forms

from lots.core.batch import COVERS_REFUSED
from lots.core.pieces import UM_PER_MM, show_um
from lots.core.salt_water import SATURATED, most_salt_pct, pct_of_salometer
from lots.core.salting import PER_CENT
from lots.core.units import (
    MILLIONTHS,
    MM_PER_IN,
    MS_PER_S,
    BadQuantity,
    read_number,
    read_span,
    show_both,
    show_number,
)
from lots.core.uptake import LONGEST_DAYS, LONGEST_S, Brining, mobility
from lots.entries.uptake import NewPoint
from lots.forms.fields import FigureField, KeyField
from lots.forms.people import laid_out as laid_out_to_keep
from lots.forms.sum_fields import (
    UNITS,
    NumberField,
    PercentField,
    SumForm,
    TextFigure,
    Wrong,
    at,
    laid_out,
)
from lots.queries.house import rules
from lots.queries.salt_forecast import Asked
from lots.queries.sums import percent

MOST_PIECES: Final = 40
_THICKNESS: Final = re.compile(
    r"(?P<figure>[\d.,]+)\s*(?P<unit>mm|cm|in|inches|inch|”|\")?", re.IGNORECASE
)
_BETWEEN: Final = re.compile(r"[;\n]+|,\s+|\s+(?=[\d.,]+)")
FACES: Final = [
    ("1", "on: salt goes in from the flesh side"),
    ("2", "off: salt goes in from both sides"),
]


def read_thicknesses(text: str, unit: str) -> list[Fraction]:
    """Millimetres of each thickness in a list: "38, 41.5", "1.5 in 2 in"; a bare figure is in `unit`.

    A comma without a space could be a decimal sign or the next piece.

    Raises:
        BadQuantity: one that is no thickness, or more than can be shown.
    """
    parts = [part for part in _BETWEEN.split(text.strip().strip(",")) if part.strip()]
    if not parts:
        raise BadQuantity("Type the thickness, such as 38 mm or 1.5 in.")
    if unclear := next((part for part in parts if "," in part), None):
        apart = unclear.replace(",", ", ")
        raise BadQuantity(
            f"“{unclear}” can be read two ways. Type {unclear.replace(',', '.')}, or {apart} with a space."
        )
    if len(parts) > MOST_PIECES:
        raise BadQuantity(f"Type at most {MOST_PIECES} pieces at once.")
    return [_millimetres(part.strip(), unit) for part in parts]


def _millimetres(text: str, unit: str) -> Fraction:
    found = _THICKNESS.fullmatch(text)
    if found is None:
        raise BadQuantity(f"“{text}” is no thickness. Type it as 38 mm or 1.5 in.")
    said = (found["unit"] or unit).lower()
    size = {"mm": Fraction(1), "cm": Fraction(10)}.get(said, MM_PER_IN)
    mm = read_number(found["figure"]) * size
    if not 0 < mm * UM_PER_MM <= rules().pieces.no_fish_um:
        raise BadQuantity(
            f"{text}{'' if found['unit'] else f' {unit}'} is {show_number(mm, 1)} mm: no piece of fish is. "
            "Look at figure and unit."
        )
    return mm


class SpanField(TextFigure):
    """A time in the brine; cleans to seconds."""

    def clean(self, value: Any) -> int:
        text = super().clean(value)
        try:
            seconds = read_span(text) // MS_PER_S
        except BadQuantity as error:
            raise forms.ValidationError(f"{error} With hours: 12 h.") from error
        if not 0 < seconds <= LONGEST_S:
            raise forms.ValidationError(
                f"Type a time above nothing and of at most {LONGEST_DAYS} days."
            )
        return int(seconds)


class BriningForm(SumForm):
    """What fish lies in, and how: shared by the forecast and by what is kept as a point."""

    method = forms.ChoiceField(
        label="The fish lies",
        choices=[("brine", "in a brine"), ("dry salt", "dry, with salt")],
        widget=forms.RadioSelect, initial="brine",
    )  # fmt: skip
    thickness = TextFigure(max_length=400, label="Thickness")
    thickness_unit = forms.ChoiceField(
        label="Thickness in", choices=[("mm", "mm"), ("in", "inches")]
    )
    open_faces = forms.ChoiceField(
        label="The skin is", choices=FACES, widget=forms.RadioSelect, initial="1"
    )
    time = SpanField(label="Time in it", help_text="Such as 12 h, 45 min or 2 days.")
    temp = FigureField(label="Temperature of the brine", max_length=20)
    unit = forms.ChoiceField(label="Temperature in", choices=UNITS)
    strength = NumberField(
        label="Strength of the brine", required=False, help_text="Not of a dry salting."
    )
    strength_unit = forms.ChoiceField(
        label="Strength in", choices=[("SAL", "°SAL"), ("%", "% salt by weight")]
    )
    ratio = NumberField(
        label="Brine to 1 of fish",
        help_text="By weight; of a dry salting: salt to 1 of fish.",
        more_than=0,
    )
    moisture = PercentField(
        label="Moisture of the raw fish, %",
        help_text="From a laboratory, or a table for the species.",
    )
    yield_pct = PercentField(
        label="Weight when packed, % of brined",
        initial="100",
        help_text="100 where it is not dried.",
    )
    WATCHED = ("thickness_unit", "unit", "strength_unit", "method")

    def brining(self, cleaned: dict[str, Any]) -> Brining:
        """What the fish lies in.

        Raises:
            Wrong: a figure that cannot be, at its field.
        """
        temp = self.temperature(cleaned)
        with at("temp"):
            mobility(temp)
        pct = self._strength(cleaned, temp)
        for name in ("moisture", "yield_pct"):
            if not cleaned[name] or (name == "moisture" and cleaned[name] >= PER_CENT):
                raise Wrong(name, "Type per cent, above 0.")
        if cleaned["ratio"] < COVERS_REFUSED and cleaned["method"] == "brine":
            self.ask(
                "ratio",
                "So little brine does not cover the fish. Is it the brine for one of fish, by weight?",
            )
        found = Brining(
            float(pct), float(cleaned["ratio"]), float(cleaned["moisture"]), temp,
            int(cleaned["open_faces"]), float(cleaned["yield_pct"]),
        )  # fmt: skip
        with at("yield_pct"):
            found.finished_pct(found.end)
        return found

    def _strength(self, cleaned: dict[str, Any], temp: int) -> Fraction:
        if cleaned["method"] != "brine":
            return Fraction(PER_CENT)
        if cleaned["strength"] is None:
            raise Wrong("strength", "Type how strong the brine is.")
        pct: Fraction = cleaned["strength"]
        if cleaned["strength_unit"] == "SAL":
            with at("strength"):
                pct = pct_of_salometer(pct)
        most = most_salt_pct(temp)
        if not 0 < pct <= max(most, SATURATED):
            raise Wrong(
                "strength",
                f"At {show_both(temp)} at most {percent(most)} salt dissolves. Type it again, and look at its unit.",
            )
        return pct

    def thicknesses(self, cleaned: dict[str, Any]) -> list[Fraction]:
        """Millimetres of each piece; odd ones are asked about."""
        with at("thickness"):
            found = read_thicknesses(cleaned["thickness"], cleaned["thickness_unit"])
        rule = rules().pieces
        odd = [
            um for mm in found if not rule.thinnest_um <= (um := mm * UM_PER_MM) <= rule.thickest_um
        ]
        if odd:
            said = ", ".join(map(show_um, odd))
            self.ask("thickness", f"{said}: is that how thick a piece is? Look at the unit.")
        return found


class ForecastForm(BriningForm):
    """What the forecast asks for."""

    target = PercentField(
        label="Water-phase salt wanted, %", help_text="What the plan asks for, such as 3.5."
    )
    helper = laid_out(
        Row("thickness", "thickness_unit"),
        "open_faces",
        "method",
        Row("strength", "strength_unit"),
        Row("ratio", "time"),
        Row("temp", "unit"),
        Row("moisture", "yield_pct"),
        Row("target"),
        "confirmed",
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.asks: Asked | None = None
        self.fields["thickness"].label = "Thickness of each piece"
        self.fields[
            "thickness"
        ].help_text = (
            "One or several, such as 38 mm, 32 mm, 1.5 in. Of the whole piece, at its thickest."
        )

    def reckon(self, cleaned: dict[str, Any]) -> None:
        found = self.thicknesses(cleaned)
        brining = self.brining(cleaned)
        if not 0 < cleaned["target"] < PER_CENT:
            raise Wrong("target", "Type per cent, above 0 and below 100.")
        if not self.asked:
            inches = cleaned["thickness_unit"] == "in"
            self.asks = Asked(
                brining, tuple(found), cleaned["time"], cleaned["target"], cleaned["method"], inches
            )


AS_KEPT: Final = {
    "thickness_um": "thickness", "open_faces": "open_faces", "brined_ms": "time", "brine_temp": "temp",
    "brine_salt": "strength", "ratio": "ratio", "raw_moisture": "moisture", "salt": "salt",
    "moisture": "moisture_found", "yield_share": "yield_pct", "note": "note",
}  # fmt: skip


class PointForm(BriningForm):
    """A laboratory's result with what its fish had been through."""

    salt = PercentField(label="Salt found, %", help_text="Of the finished fish.")
    moisture_found = PercentField(label="Moisture found, %", help_text="Of the same sample.")
    note = forms.CharField(label="Note", max_length=400, required=False)
    client_key = KeyField()
    SURE = "It is so: keep it"
    WATCHED = (
        "thickness_unit", "unit", "strength_unit", "method", "salt", "moisture_found", "strength", "ratio",
        "yield_pct",
    )  # fmt: skip
    helper = laid_out_to_keep(
        Row("salt", "moisture_found"),
        Row("thickness", "thickness_unit"),
        "open_faces",
        "method",
        Row("strength", "strength_unit"),
        Row("ratio", "time"),
        Row("temp", "unit"),
        Row("moisture", "yield_pct"),
        "note",
        "client_key",
        "confirmed",
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.new: NewPoint | None = None
        self.fields["thickness"].label = "Thickness of the piece that was sampled"
        self.fields["yield_pct"].label = "Weight as sampled, % of brined"

    def reckon(self, cleaned: dict[str, Any]) -> None:
        found = self.thicknesses(cleaned)
        if len(found) > 1:
            raise Wrong("thickness", "Type one thickness: that of the piece that was sampled.")
        brining = self.brining(cleaned)
        pct = self._strength(cleaned, brining.temp_ninths)
        if not cleaned["salt"] or not cleaned["moisture_found"]:
            raise Wrong(
                "moisture_found", "Type the salt and the moisture that the laboratory found."
            )
        self.asked.clear()  # the entry asks, under the lock
        self.new = NewPoint(
            thickness_um=round(found[0] * UM_PER_MM),
            open_faces=brining.open_faces,
            brined_ms=cleaned["time"] * MS_PER_S,
            brine_temp=brining.temp_ninths,
            brine_salt=round(pct * MILLIONTHS),
            ratio=round(cleaned["ratio"] * MILLIONTHS),
            raw_moisture=round(cleaned["moisture"] * MILLIONTHS),
            salt=round(cleaned["salt"] * MILLIONTHS),
            moisture=round(cleaned["moisture_found"] * MILLIONTHS),
            yield_share=round(cleaned["yield_pct"] * MILLIONTHS),
            note=cleaned["note"],
        )

    def sure_of(self) -> frozenset[str]:
        """The kept fields whose odd figures the box was ticked for."""
        said = self.cleaned_data.get("confirmed", ())
        return frozenset(kept for kept, name in AS_KEPT.items() if self._said(name) in said)

    def lay(self, fields: dict[str, str], asks: bool) -> None:
        """An entry's refusal at the form's own fields; questions with the box."""
        named = {AS_KEPT.get(kept, kept): text for kept, text in fields.items()}
        if asks:
            self.asked = named
            self._show_box()
            return
        for name, text in named.items():
            self.add_error(name if name in self.fields else None, text)


class LeaveOutForm(forms.Form):
    """Why a point is taken out of the fit."""

    reason = forms.CharField(
        max_length=300,
        label="Why it is left out",
        help_text="Such as: piece measured with the skin on by mistake.",
    )
    client_key = KeyField()
    helper = laid_out_to_keep("reason", "client_key")
