"""What a records reviewer ticks, types and signs."""

from collections.abc import Iterable

from crispy_forms.layout import Layout, Row
from django import forms

from lots.forms.fields import WeightField, inside_a_form

WRONG_PASSWORD = "This is not your password. Nothing was signed."


def _password() -> forms.CharField:
    return forms.CharField(
        label="Your password again",
        help_text="It is your signature.",
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        strip=False,
    )


class SignForm(forms.Form):
    """The foot of the review page; its ticks stand beside each lot as lot = "<number>-<last line>"."""

    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))
    password = _password()

    def __init__(self, *args: object, **options: object) -> None:
        super().__init__(*args, prefix="sign", **options)  # type: ignore[arg-type]
        self.helper = inside_a_form()


class AcceptForm(forms.Form):
    """Why ticked late and corrected entries are believed."""

    reason = forms.CharField(
        label="Why these entries are believed",
        help_text="What you compared them with: a chart, a paper, the person.",
        max_length=300,
        error_messages={"required": "Say why these late or corrected entries are believed."},
    )

    def __init__(self, *args: object, **options: object) -> None:
        super().__init__(*args, prefix="accept", **options)  # type: ignore[arg-type]
        self.helper = inside_a_form()


class ReleaseForm(forms.Form):
    """The lot's quantities by disposition, how it is kept, and the signature."""

    LABELS = (
        ("release", "Released"),
        ("rework", "Reworked"),
        ("divert", "Diverted"),
        ("destroy", "Destroyed"),
        ("recall", "Recalled"),
    )

    def __init__(self, *args: object, unit: str, kinds: Iterable[str], **options: object) -> None:
        super().__init__(*args, **options)  # type: ignore[arg-type]
        labels = dict(self.LABELS)
        for kind in kinds:
            self.fields[kind] = WeightField(
                label=labels[kind], unit=unit, required=kind == "release", help_text=""
            )
        self.fields["storage"] = forms.CharField(label="How it is kept from now on", max_length=200)
        self.fields["note"] = forms.CharField(
            label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2})
        )
        self.fields["password"] = _password()
        self.helper = inside_a_form()
        self.helper.layout = Layout(
            Row("release", "rework", "divert"), Row("destroy", "recall"), "storage", "note"
        )
