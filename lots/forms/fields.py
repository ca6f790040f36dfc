"""Fields of the trade: a moment, a weight, a figure.  Each refuses in words and keeps what was typed."""

import re
from collections.abc import Iterable
from datetime import datetime, timedelta, timezone
from typing import Any
from zoneinfo import ZoneInfo

from crispy_forms.helper import FormHelper
from django import forms

from lots.core.moments import MONTHS, show_offset
from lots.core.units import (
    GRAMS_PER_LB,
    MS_PER_DAY,
    MS_PER_MIN,
    BadQuantity,
    TempUnit,
    read_number,
    show_temperature,
    to_ninths,
)


def inside_a_form() -> FormHelper:
    """For a form whose tag and token stand in its page."""
    helper = FormHelper()
    helper.form_tag = False
    helper.disable_csrf = True
    return helper


_CLOCK = r"(?P<hour>\d{1,2})[:.](?P<minute>\d{2})(?::(?P<second>\d{2}))?\s*(?P<half>[ap]m)?"
_OFFSET = r"(?:\s*(?P<sign>[+\-−])(?P<oh>\d{1,2}):(?P<om>\d{2}))?"
_DATE = (
    r"(?:(?P<day>\d{1,2})\s+(?P<month>[A-Za-z]{3})[a-z]*\.?(?:\s+(?P<year>\d{4}))?"
    r"|(?P<iyear>\d{4})-(?P<imonth>\d{2})-(?P<iday>\d{2}))"
)
_MOMENT = re.compile(rf"(?:{_DATE}[\s,T]+)?{_CLOCK}{_OFFSET}", re.IGNORECASE)


LONGEST_AGO_MS = 5 * 366 * MS_PER_DAY  # a mistyped year; longer than any lot is kept in a freezer


class BadMoment(ValueError):
    """What was typed is not a moment, or not one moment."""


def read_moment(text: str, zone: ZoneInfo, now_ms: int) -> int:
    """ms UTC of what a person typed: "14:05" today, "4 Mar 14:05", "2026-03-04 14:05"; empty is now.

    Now is the whole minute that has begun, as a person would type it: a load started "now" does not
    come after a reading typed a moment later.  Typed seconds are kept.  An hour that exists twice is asked about; one that never existed is refused.
    """
    plain = " ".join(text.split())
    if not plain:
        return now_ms - now_ms % MS_PER_MIN
    found = _MOMENT.fullmatch(plain)
    if found is None:
        raise BadMoment(f"“{plain}” is not a time. Type 14:05, or 4 Mar 2026 14:05.")
    today = datetime.fromtimestamp(now_ms / 1000, zone)
    try:
        local = _local(found, today)
        at = _with_offset(local, found) if found["sign"] else _in_zone(local, zone)
    except BadMoment:
        raise
    except (ValueError, OverflowError) as error:
        raise BadMoment(f"“{plain}” is not a day and time that exist.") from error
    if not now_ms - LONGEST_AGO_MS <= at <= now_ms + LONGEST_AGO_MS:
        raise BadMoment(f"“{plain}” is years away. Check the year.")
    return at


def _with_offset(local: datetime, found: re.Match[str]) -> int:
    offset = timedelta(hours=int(found["oh"]), minutes=int(found["om"]))
    tz = timezone(-offset if found["sign"] in "-−" else offset)
    return round(local.replace(tzinfo=tz).timestamp() * 1000)


def _local(found: re.Match[str], today: datetime) -> datetime:
    year, month, day = today.year, today.month, today.day
    if found["iyear"]:
        year, month, day = int(found["iyear"]), int(found["imonth"]), int(found["iday"])
    elif found["day"]:
        month = MONTHS.index(found["month"].capitalize()) + 1
        day, year = int(found["day"]), int(found["year"] or today.year)
    hour = int(found["hour"])
    if found["half"]:
        if not 1 <= hour <= 12:
            raise ValueError("not an hour of a 12-hour clock")
        hour = hour % 12 + (12 if found["half"].lower() == "pm" else 0)
    minute, second = int(found["minute"]), int(found["second"] or 0)
    return datetime(year, month, day, hour, minute, second)  # noqa: DTZ001 the zone comes next


def _in_zone(local: datetime, zone: ZoneInfo) -> int:
    first, second = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() != second.utcoffset():
        back = datetime.fromtimestamp(first.timestamp(), zone).replace(tzinfo=None)
        if back != local:
            raise BadMoment("This time never existed: the clock was put forward. Check it.")
        offsets = " or ".join(show_offset(one) for one in (first, second))
        raise BadMoment(f"This time existed twice that night. Add {offsets} behind it.")
    return round(first.timestamp() * 1000)


class MomentField(forms.CharField):
    """A moment in the house's zone; empty is now.  Cleans to ms UTC."""

    def __init__(self, *, zone: str, now_ms: int, **options: Any) -> None:
        self.zone, self.now_ms = ZoneInfo(zone), now_ms
        options.setdefault("required", False)
        options.setdefault("help_text", "Empty is now. Earlier: 14:05, or 4 Mar 2026 14:05.")
        super().__init__(**options)
        self.widget.attrs |= {"autocomplete": "off", "placeholder": "now"}

    def clean(self, value: Any) -> int:
        text = super().clean(value)
        try:
            return read_moment(text or "", self.zone, self.now_ms)
        except BadMoment as error:
            raise forms.ValidationError(str(error)) from error


HEAVIEST_G = 1_000_000_000  # a thousand tonnes: a weight beyond it was mistyped
_WEIGHT = re.compile(r"([\d.,\s]+)\s*(kg|g|lb|lbs)?", re.IGNORECASE)
_GRAMS = {"kg": 1000, "g": 1, "lb": GRAMS_PER_LB, "lbs": GRAMS_PER_LB}


def read_weight(text: str, unit: str) -> int:
    """Grams of a weight as typed; without a unit it is in the house's own."""
    found = _WEIGHT.fullmatch(text.strip())
    if found is None:
        raise BadQuantity(f"“{text.strip()}” is not a weight. Type it as 12.5 {unit}.")
    grams = round(read_number(found[1]) * _GRAMS[(found[2] or unit).lower()])
    if grams > HEAVIEST_G:
        raise BadQuantity(f"“{text.strip()}” is more than any smokehouse holds. Check the figure.")
    return grams


class WeightField(forms.CharField):
    """A weight; cleans to grams."""

    def __init__(self, *, unit: str, **options: Any) -> None:
        self.unit = unit
        options.setdefault("help_text", f"In {unit}, or with its unit, such as 12.5 kg or 27 lb.")
        super().__init__(**options)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}

    def clean(self, value: Any) -> int | None:
        text = super().clean(value)
        if not text and not self.required:
            return None
        try:
            return read_weight(text, self.unit)
        except BadQuantity as error:
            raise forms.ValidationError(str(error)) from error


class KeyField(forms.CharField):
    """The hidden name of an entry on its device: sent twice, it is taken once."""

    def __init__(self) -> None:
        super().__init__(required=False, max_length=64, widget=forms.HiddenInput)


class FigureField(forms.CharField):
    """A figure as read: kept as the text typed, decimals by point or comma."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}


class ConfirmField(forms.CharField):
    """The one box that an unlikely figure comes back with.

    What it sends is the very figures that it was shown for, so that a yes to one figure is never
    taken for another.
    """

    def __init__(self, longest: int = 400) -> None:
        super().__init__(required=False, max_length=longest, widget=forms.HiddenInput)

    def clean(self, value: Any) -> frozenset[str]:
        return frozenset(filter(None, super().clean(value).split(";")))


class SeenField(forms.CharField):
    """A yes to what was shown: it sends the mark of it, so that a yes to this is never taken for a yes to
    anything else.  Hidden until there is something to say yes to."""

    def __init__(self) -> None:
        super().__init__(required=False, max_length=64, widget=forms.HiddenInput)


def show_box(form: forms.Form, name: str, sends: str, label: str) -> None:
    """Shows the box of a field that was hidden, unticked; ticked it sends this."""
    form[name].label = label
    box = forms.CheckboxInput(attrs={"value": sends}, check_test=lambda _: False)
    form.fields[name].widget = box
    form.data = form.data.copy()
    form.data[form.add_prefix(name)] = ""


def ask_to_confirm(form: forms.Form, names: Iterable[str]) -> None:
    """Shows the box, unticked, for the figures of these fields."""
    figures = {name: _as_kept(form, name) for name in names}
    said = ";".join(f"{name}={shown}" for name, shown in figures.items())
    label = f"It does read {', '.join(dict.fromkeys(figures.values()))}"
    show_box(form, "confirmed", said, label)
    others = [name for name in form.fields if name != "confirmed"]
    under = max((others.index(name) for name in figures if name in others), default=-1)
    form.order_fields([*others[: under + 1], "confirmed", *others[under + 1 :]])


def confirmed(form: forms.Form, name: str) -> bool:
    """Whether the box was ticked for the very figure that this field holds now."""
    return f"{name}={_as_kept(form, name)}" in form.cleaned_data.get("confirmed", ())


def _as_kept(form: forms.Form, name: str) -> str:
    """The temperature of a field as it would be kept, another quantity as it was typed; empty where it
    cannot be read."""
    said = form.cleaned_data.get("unit")
    if said is not None and said not in ("C", "F"):
        return f"{form.cleaned_data.get(name) or ''} {said}".strip()
    unit: TempUnit = "F" if said == "F" else "C"
    try:
        return show_temperature(to_ninths(form.cleaned_data.get(name) or "", unit), unit)
    except BadQuantity:
        return ""


def refuse(form: forms.Form, fields: dict[str, str]) -> None:
    """Lays an entry's refusal beside the fields that it names; the rest above the form."""
    for name, text in fields.items():
        form.add_error(name if name in form.fields else None, text)
