"""The forms of the plan: a part of a draft, beginning one, publishing it, withdrawing a plan."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

from django import forms
from django.forms import BoundField

from lots.core.plan import Content, Fault
from lots.forms.plan_parts import part_group
from lots.forms.plan_spots import Group, Offer, Spot, shown

LETTERS_A_LINE: Final = (
    34  # in a box half the page wide; where the browser can, the box grows by itself
)


@dataclass(slots=True)
class Laid:
    """A group as the template shows it: its fields, and the faults that belong to no one field."""

    path: str
    heading: str
    group: Group
    rows: list[list[BoundField]]
    inner: "list[Laid]"
    faults: list[str] = field(default_factory=list)

    @property
    def add(self) -> Offer | None:
        return self.group.add

    @property
    def folded(self) -> bool:
        """Whether it may be shown folded: nothing is filled in, nothing is wrong."""
        fields = [one for row in self.rows for one in row]
        busy = self.faults or any(one.value() or one.errors for one in fields)
        return bool(self.group.folded) and not busy


def _choices(spot: Spot, value: Any) -> list[tuple[str, str]]:
    """The choices with whatever stands there now, so that saving loses nothing."""
    known = [key for key, _ in spot.choices]
    values = value if isinstance(value, list) else [value]
    other = [(each, each or "not yet said") for each in values if each not in known]
    if spot.kind == "ticks":
        other = [(each, f"{each} (not in the plan)") for each, _ in other]
    return [*other, *spot.choices]


def _rows(text: str) -> int:
    """Lines enough to show the text whole."""
    return max(3, -(-len(text) // LETTERS_A_LINE))


def _field(spot: Spot, value: Any) -> forms.Field:
    common = {"label": spot.label, "help_text": spot.help, "required": False}
    if spot.kind == "ticks":
        widget = forms.CheckboxSelectMultiple(choices=_choices(spot, value))
        return forms.Field(widget=widget, **common)
    if spot.kind in ("choice", "window"):
        return forms.CharField(widget=forms.Select(choices=_choices(spot, value)), **common)
    if spot.kind == "long":
        return forms.CharField(
            widget=forms.Textarea(attrs={"rows": _rows(value), "class": "grows"}), **common
        )
    return forms.CharField(widget=forms.TextInput(attrs={"autocomplete": "off"}), **common)


class PartForm(forms.Form):
    """A part of a draft with what stands in it, and each fault beside the field that it names."""

    def __init__(self, content: Content, part: str, found: Iterable[Fault] = ()) -> None:
        self.group = part_group(content, part)
        values: dict[str, Any] = {}
        made: dict[str, forms.Field] = {}
        for spot in self.group.spots():
            value = shown(content, spot)
            if spot.kind == "window":
                value, made[f"{spot.path}_after"], values[f"{spot.path}_after"] = _window(value)
            made[spot.path], values[spot.path] = _field(spot, value), value
        super().__init__(values)
        self.fields.update(made)
        self.loose: dict[str, list[str]] = {}
        self.full_clean()
        for fault in found:
            self._lay(fault)

    def _lay(self, fault: Fault) -> None:
        paths = {group.path for group in self.group.groups()}
        path = fault.path
        while path and path not in self.fields and path not in paths:
            path = path.rpartition(".")[0]
        if path in self.fields:
            self.add_error(path, fault.text)
        else:
            self.loose.setdefault(path or self.group.path, []).append(fault.text)

    def laid(self, group: Group | None = None) -> Laid:
        """The form's groups with their fields, as the template walks them."""
        group = group or self.group
        return Laid(
            path=group.path,
            heading=group.heading,
            group=group,
            rows=[self._row(row) for row in group.rows],
            inner=[self.laid(one) for one in group.inner],
            faults=self.loose.get(group.path, []),
        )

    def _row(self, row: Iterable[Spot]) -> list[BoundField]:
        names = [
            name
            for spot in row
            for name in (
                (spot.path, f"{spot.path}_after") if spot.kind == "window" else (spot.path,)
            )
        ]
        return [self[name] for name in names]


def _window(value: str) -> tuple[str, forms.Field, str]:
    """A window as a choice and, for “after”, the time: the choice, the time's field and its text."""
    after = value.startswith("after")
    spot = Spot("", "After", help="Only for “some time after the start”, such as 2 h.")
    return (
        "after" if after else value,
        _field(spot, ""),
        value[len("after") :].strip() if after else "",
    )


class BeginForm(forms.Form):
    """What a new draft starts from."""

    source = forms.ChoiceField(label="Begin from", widget=forms.RadioSelect)
    title = forms.CharField(
        label="Title",
        required=False,
        max_length=150,
        help_text="Empty keeps the title of the plan begun from. A change to a published plan keeps "
        "its title in any case.",
    )

    def __init__(self, choices: list[tuple[str, str]], data: Any = None, **options: Any) -> None:
        super().__init__(data, **options)
        self.fields["source"].choices = choices  # type: ignore[attr-defined]


class PublishForm(forms.Form):
    """The signing of a plan."""

    change = forms.CharField(
        label="What changed, and why",
        required=False,
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Since the version before.",
    )
    password = forms.CharField(
        label="Your password again",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, first: bool, data: Any = None) -> None:
        super().__init__(data)
        if first:
            del self.fields["change"]


class WithdrawForm(forms.Form):
    """Why no new lot may be opened under a plan."""

    reason = forms.CharField(
        label="Why it is withdrawn", max_length=300, widget=forms.Textarea(attrs={"rows": 3})
    )
