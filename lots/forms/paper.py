"""A load's sheet of paper, typed line by line."""

from typing import Any, Final

from django import forms

from lots.core.moments import show_moment
from lots.core.units import MS_PER_DAY
from lots.entries.paper import PaperRow, Sheet, field_of_row
from lots.entries.readings import Figure
from lots.forms.fields import (
    BadMoment,
    ConfirmField,
    FigureField,
    KeyField,
    MomentField,
    confirmed,
    read_moment,
)
from lots.forms.reading import UNITS, YES_NO
from lots.models.house import Establishment

LINES: Final = 10
MOST_LINES: Final = 100


class PaperForm(forms.Form):
    """The lines of a sheet, what was looked for, and the sheet's picture."""

    def __init__(
        self,
        data: Any = None,
        files: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        started_at: int,
        probes: list[str],
        asked: list[str],
        instruments: Any,
        lines: int = LINES,
        **options: Any,
    ) -> None:
        super().__init__(data, files, **options)
        self.now_ms, self.probes, self.lines, self.asked = now_ms, probes, lines, asked
        self.zone = MomentField(zone=house.zone, now_ms=now_ms).zone
        day, month, year, *_ = show_moment(started_at, self.zone).split()
        self.fields["day"] = forms.CharField(
            label="Day of the first line", max_length=20, initial=f"{day} {month} {year}",
            help_text="As on the sheet: 4 Mar 2026. A line whose time is earlier than the one above is of the next day.",
        )  # fmt: skip
        self.fields["unit"] = forms.ChoiceField(
            label="Unit", choices=UNITS, initial=house.temperature_unit, widget=forms.RadioSelect
        )
        self.fields["instrument"] = forms.ModelChoiceField(
            instruments, label="Thermometer", required=False, empty_label="not named"
        )
        for line in range(lines):
            self.fields[field_of_row(line, "at")] = forms.CharField(
                label=f"Time, line {line + 1}", required=False, max_length=12
            )
            for number, probe in enumerate(probes):
                self.fields[self.cell(line, number)] = FigureField(
                    label=f"{(probe or 'Reading').capitalize()}, line {line + 1}",
                    required=False,
                    max_length=20,
                )
        self.looks = [(f"look_{index}", what) for index, what in enumerate(asked)]
        for name, what in self.looks:
            self.fields[name] = forms.ChoiceField(
                label=what[:1].upper() + what[1:], choices=YES_NO, required=False, widget=forms.RadioSelect
            )  # fmt: skip
        self.fields["looked_at"] = forms.CharField(
            label="When it was looked for", required=False, max_length=12, help_text="Empty: with the last line."
        )  # fmt: skip
        self.fields["written_by"] = forms.CharField(
            label="Who wrote the sheet", max_length=60, help_text="The initials as on the sheet."
        )
        self.fields["late_reason"] = forms.CharField(
            label="Why it comes from paper", max_length=200, initial="from paper: "
        )
        self.fields["picture"] = forms.FileField(
            label="Picture of the sheet",
            required=False,
            help_text="A photo (JPEG, PNG, WebP) or a PDF.",
        )
        self.fields["client_key"] = KeyField()
        self.fields["confirmed"] = ConfirmField()

    def cell(self, line: int, number: int) -> str:
        return field_of_row(line, f"fish_{number}")

    def rows(self) -> list[tuple[forms.BoundField, list[forms.BoundField]]]:
        """The lines as the page draws them: the time, then each fish."""
        return [
            (
                self[field_of_row(line, "at")],
                [self[self.cell(line, number)] for number in range(len(self.probes))],
            )
            for line in range(self.lines)
        ]

    def head(self) -> list[forms.BoundField]:
        return [self[name] for name in ("day", "unit", "instrument")]

    def tail(self) -> list[forms.BoundField]:
        names = ["looked_at"] if self.looks else []
        names += ["written_by", "late_reason", "picture", "confirmed", "client_key"]
        return [*(self[name] for name, _ in self.looks), *(self[name] for name in names)]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        self.moments: dict[int, int] = {}
        last: int | None = None
        for line in range(self.lines):
            name = field_of_row(line, "at")
            text = data.get(name, "")
            typed = any(data.get(self.cell(line, number)) for number in range(len(self.probes)))
            if typed and not text:
                self.add_error(name, "Type the time of this line.")
            if not text:
                continue
            if not typed:
                self.add_error(name, "A time without a figure. Type the figure, or clear the time.")
                continue
            at = self._moment(name, text, data.get("day", ""), last)
            if at is not None:
                self.moments[line] = last = at
        self.looked_at = last or self.now_ms
        if data.get("looked_at"):
            at = self._moment("looked_at", data["looked_at"], data.get("day", ""), None)
            self.looked_at = at or self.looked_at
        return data

    def _moment(self, name: str, text: str, day: str, last: int | None) -> int | None:
        """The moment of a time on the sheet: of the day of the line above, or of the day after."""
        try:
            at = read_moment(f"{day} {text}", self.zone, self.now_ms)
            while last is not None and at < last and last - at < 20 * MS_PER_DAY:
                at += MS_PER_DAY
        except BadMoment as error:
            self.add_error(name, str(error))
            return None
        return at

    def sheet(self, of_fish: bool) -> Sheet:
        """What the entry takes."""
        rows = [
            PaperRow(self.moments[line], tuple(self._figures(line)))
            for line in sorted(self.moments)
        ]
        looks = {
            what: self.cleaned_data[name] == "yes"
            for name, what in self.looks
            if self.cleaned_data.get(name)
        }
        return Sheet(rows, looks, self.looked_at, of_fish)

    def _figures(self, line: int) -> list[Figure]:
        data = self.cleaned_data
        return [
            Figure(
                data[self.cell(line, number)], data["unit"], probe, instrument=data["instrument"],
                confirmed=confirmed(self, self.cell(line, number)),
                note=f"written by {data['written_by']}",
            )
            for number, probe in enumerate(self.probes)
            if data.get(self.cell(line, number))
        ]  # fmt: skip

    def beside(self, fields: dict[str, str]) -> dict[str, str]:
        """A refusal's names, those of the entry's lines, as the names of the page's fields."""
        lines = sorted(self.moments)
        out = {}
        for name, text in fields.items():
            _, _, rest = name.partition("row_")
            number, _, what = rest.partition("_")
            if not number.isdigit() or not lines:
                out[name] = text
                continue
            line = lines[min(int(number), len(lines) - 1)]
            probe = what.removeprefix("read_")
            at = what == "at" or (what not in ("as_read",) and probe not in self.probes)
            fish = self.probes.index(probe) if probe in self.probes else 0
            out[field_of_row(line, "at") if at else self.cell(line, fish)] = text
        return out
