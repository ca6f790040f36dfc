"""A logger's file: where it belongs, and how it is understood."""

from collections.abc import Iterable, Mapping
from typing import Any

from crispy_forms.layout import Layout, Row
from django import forms
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from lots.forms.fields import inside_a_form
from lots.logger.choices import DECIMAL_NAMES, DELIMITER_NAMES
from lots.logger.moments import ORDERS
from lots.logger.text import ENCODINGS
from lots.logger.understanding import Understanding
from lots.models.house import Instrument


class UploadForm(forms.Form):
    """Where the probes were, and the file."""

    where = forms.ChoiceField(
        label="Where the probes were",
        help_text="A place's readings count for every lot that stood there.",
        error_messages={"required": "Choose the place, or the load whose fish the probes were in."},
    )
    file = forms.FileField(
        label="The logger's file",
        help_text="A CSV or text export, up to 50 MB.",
        error_messages={
            "required": "Choose the file.",
            "empty": "This file is empty. Read the logger out again.",
        },
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,text/csv,text/plain"}),
    )

    def __init__(self, *args: Any, where: Iterable[tuple[str, Any]], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["where"].choices = [("", "Choose…"), *where]  # type: ignore[attr-defined]
        self.helper = inside_a_form()


class OfferedInput(forms.TextInput):
    """A line to type in that offers names; any other may be typed."""

    def __init__(self, offered: Iterable[str], **options: Any) -> None:
        super().__init__(**options)
        self.offered = list(offered)

    def render(
        self, name: str, value: Any, attrs: dict[str, Any] | None = None, renderer: Any = None
    ) -> SafeString:
        if not self.offered:
            return super().render(name, value, attrs, renderer)
        offers = f"{(attrs or {}).get('id', name)}_known"
        line = super().render(name, value, {**(attrs or {}), "list": offers}, renderer)
        options = format_html_join("", '<option value="{}"></option>', ((o,) for o in self.offered))
        return format_html('{}<datalist id="{}">{}</datalist>', line, offers, options)


class UnderstandForm(forms.Form):
    """Each part of how a file is understood, to be changed; an empty choice leaves it as found.

    Its values are the strings that `lots.logger.choices.choices_from` reads, with `probe_n` beside
    each column and the instrument.
    """

    def __init__(
        self,
        *args: Any,
        found: Understanding | None,
        instruments: Iterable[Instrument],
        in_fish: bool,
        where: Iterable[tuple[str, Any]] = (),
        known: Iterable[str] = (),
        **options: Any,
    ) -> None:
        """Args:
        known: names of the probes that the load has readings of already.
        """
        super().__init__(*args, **options)
        self.found, self.in_fish, self.known = found, in_fish, list(known)
        self.fields["where"] = forms.ChoiceField(
            label="Where the probes were", required=False, choices=list(where)
        )
        self.fields["confirmed"] = forms.BooleanField(required=False, widget=forms.HiddenInput)
        self._choice("encoding", "Letters (encoding)", _pairs(ENCODINGS), found and found.encoding)
        self._choice("delimiter", "Between the columns", _pairs(DELIMITER_NAMES), _delimiter(found))
        line = None if found is None or found.header_row is None else str(found.header_row + 1)
        self.fields["header_line"] = forms.IntegerField(
            label="Line with the headings",
            required=False,
            min_value=1,
            widget=forms.TextInput(
                attrs={"inputmode": "numeric", "placeholder": line or "none", "autocomplete": "off"}
            ),
            help_text=f"Found: {'line ' + line if line else 'none'}.",
        )
        if found is not None:
            self._columns(found)
        self.fields["instrument"] = forms.ChoiceField(
            label="Instrument",
            required=False,
            choices=[("", "Not named"), *((str(one.pk), one.name) for one in instruments)],
        )
        self.helper = inside_a_form()
        self.helper.layout = self._layout()

    def _choice(
        self, name: str, label: str, choices: list[tuple[str, str]], found: str | None
    ) -> None:
        as_found = f"As found: {found}" if found else "Not certain: choose"
        self.fields[name] = forms.ChoiceField(
            label=label, required=False, choices=[("", as_found), *choices]
        )

    def _columns(self, found: Understanding) -> None:
        self._choice("moment", "Date and time stand in", _moments(found), _moment_words(found))
        days = {order: f"{order}: {day}" for order, day in found.date_readings}
        orders = [(order, days.get(order, order)) for order in ORDERS if not days or order in days]
        order = found.date_order if found.date_order_certain else None
        self._choice("date_order", "Order of day, month and year", orders, order)
        words = {mark: name for name, mark in DECIMAL_NAMES.items()}
        self._choice("decimal", "Decimal sign", _pairs(DECIMAL_NAMES), words[found.decimal])
        source = {"file": "the file", "establishment": "the house", "choice": "your choice"}
        self.fields["zone"] = forms.CharField(
            label="Time zone of the file",
            required=False,
            max_length=60,
            help_text=f"Found: {found.zone} (from {source[found.zone_from]}). "
            "Another: America/New_York, or −05:00.",
            widget=forms.TextInput(attrs={"placeholder": found.zone, "autocomplete": "off"}),
        )
        for channel in found.channels:
            self._channel(channel.column, channel.name, channel.unit, channel.taken)
        if found.truncated:
            self.fields["accept_truncated"] = forms.BooleanField(
                label="The file is cut short: take it without its last line",
                required=False,
                widget=forms.CheckboxInput(attrs={"value": "yes"}),
            )

    def _channel(self, column: int, name: str, unit: str, taken: bool) -> None:
        self._choice(
            f"take_{column}",
            f"{name}: take it in?",
            [("yes", "yes"), ("no", "no")],
            "yes" if taken else "no",
        )
        self._choice(f"unit_{column}", f"{name}: unit", [("F", "°F"), ("C", "°C")], f"°{unit}")
        self.fields[f"probe_{column}"] = forms.CharField(
            label=f"{name}: probe",
            required=False,
            max_length=40,
            initial=name.partition("(")[0].strip() if self.in_fish else "",
            help_text=self._probe_help(),
            widget=OfferedInput(self.known, attrs={"autocomplete": "off"}),
        )

    def _probe_help(self) -> str:
        if not self.in_fish:
            return "Empty: the place itself."
        read = f" Read in this load before: {', '.join(self.known)}." if self.known else ""
        return "Name of the probe in the fish." + read

    def _layout(self) -> Layout:
        rows: list[Any] = ["confirmed", "where", Row("encoding", "delimiter", "header_line")]
        if self.found is not None:
            rows += [Row("moment", "date_order"), Row("decimal", "zone")]
            rows += [
                Row(f"take_{one.column}", f"unit_{one.column}", f"probe_{one.column}")
                for one in self.found.channels
            ]
        if "accept_truncated" in self.fields:
            rows.append("accept_truncated")
        return Layout(*rows, "instrument")

    def ask_to_confirm(self) -> None:
        """The one box that unlikely readings come back with."""
        self.fields["confirmed"] = forms.BooleanField(
            label="It is the right place, and they do read so", required=False
        )
        self._bound_fields_cache.pop("confirmed", None)  # type: ignore[attr-defined]

    def strings(self) -> dict[str, str]:
        """What was chosen, as text; what was left as found is left out."""
        apart = ("where", "confirmed")  # not about how the file is read
        values = {name: self._text(name) for name in self.fields if name not in apart}
        return {name: text for name, text in values.items() if text}

    def _text(self, name: str) -> str:
        value = self.cleaned_data.get(name)
        if isinstance(value, bool):
            return "yes" if value else ""
        return "" if value is None else str(value).strip()


def probes_of(strings: Mapping[str, str], found: Understanding) -> dict[int, str]:
    """The probe's name of each column."""
    return {one.column: strings.get(f"probe_{one.column}", "") for one in found.channels}


def _pairs(names: Iterable[str]) -> list[tuple[str, str]]:
    return [(name, name) for name in names]


def _delimiter(found: Understanding | None) -> str | None:
    names = {mark: name for name, mark in DELIMITER_NAMES.items()}
    return names.get(found.delimiter) if found else None


def _column_name(found: Understanding, column: int) -> str:
    name = found.columns[column] if column < len(found.columns) else ""
    return name or f"column {column + 1}"


def _moments(found: Understanding) -> list[tuple[str, str]]:
    count = len(found.columns)
    single = [(str(i), _column_name(found, i)) for i in range(count)]
    double = [
        (f"{i},{i + 1}", f"{_column_name(found, i)} and {_column_name(found, i + 1)}")
        for i in range(count - 1)
    ]
    return [*single, *double]


def _moment_words(found: Understanding) -> str | None:
    return " and ".join(_column_name(found, i) for i in found.moment_columns) or None
