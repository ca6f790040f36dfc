"""Forms of logging in, inviting, and giving and ending rights."""

from datetime import date
from typing import Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Field, Layout, Row
from django import forms
from django.contrib.auth.password_validation import (
    password_validators_help_texts,
    validate_password,
)
from django.core.exceptions import ValidationError

from lots.entries.people import Grant
from lots.forms.fields import inside_a_form
from lots.models.people import Right

NO_INITIALS = ("OK", "NO", "NA", "YES", "MET", "FAIL", "PASS")
TRAINED = (Right.REVIEWER, Right.COORDINATOR)
AS_TYPED = {"autocapitalize": "none", "autocorrect": "off", "spellcheck": "false"}
RIGHT_CHOICES = [
    (Right.OPERATOR, "operator: logs lots, loads and readings"),
    (Right.REVIEWER, "records reviewer: reviews, signs, decides and releases (needs training)"),
    (Right.COORDINATOR, "HACCP coordinator: writes and publishes plans (needs training)"),
    (Right.INSPECTOR, "inspector: reads everything"),
    (Right.KEEPER, "keeper of people: invites people, gives and ends rights"),
]


def laid_out(*parts: Any) -> FormHelper:
    helper = inside_a_form()
    helper.layout = Layout(*parts)
    return helper


class InitialsField(forms.CharField):
    """Initials that cannot be read as a verdict where they stand beside a figure."""

    def clean(self, value: Any) -> str:
        initials: str = super().clean(value)
        if "".join(letter for letter in initials.upper() if letter.isalnum()) in NO_INITIALS:
            raise ValidationError(
                f"“{initials}” beside a reading could be read as a verdict on it. Choose others."
            )
        return initials


class LogInForm(forms.Form):
    username = forms.CharField(
        label="Log-in name",
        max_length=60,
        widget=forms.TextInput(attrs={**AS_TYPED, "autocomplete": "username"}),
    )
    password = forms.CharField(
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    helper = laid_out("username", "password")


class OpenPenForm(forms.Form):
    """What opens a closed pen: the password, or the PIN where that is enough."""

    secret = forms.CharField(
        label="Your password, or your PIN",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
    )


class PinForm(forms.Form):
    password = forms.CharField(
        label="Your password",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    pin = forms.CharField(
        label="The new PIN",
        max_length=6,
        help_text="Four to six digits that nobody would guess from you.",
        widget=forms.PasswordInput(attrs={"autocomplete": "off", "inputmode": "numeric"}),
    )
    pin_again = forms.CharField(
        label="The same PIN again",
        max_length=6,
        widget=forms.PasswordInput(attrs={"autocomplete": "off", "inputmode": "numeric"}),
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("pin") and data.get("pin_again") and data["pin"] != data["pin_again"]:
            self.add_error("pin_again", "The two are not the same. Type both again.")
        return data


class NewPassword(forms.Form):
    """A password typed twice; it is never shown again, so a refused page asks for it anew."""

    password = forms.CharField(
        label="Password",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    password_again = forms.CharField(
        label="The same password again",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["password"].help_text = " ".join(password_validators_help_texts())

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        validate_password(password)
        return password

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        first, again = cleaned.get("password"), cleaned.get("password_again")
        if first and again and first != again:
            self.add_error("password_again", "The two passwords are not the same. Type both again.")
        return cleaned


class InvitedForm(NewPassword):
    code = forms.CharField(
        label="One-time code",
        max_length=40,
        help_text="As it was handed to you, such as ABCD-EFGH-JKLM-NPQR. It works once.",
        widget=forms.TextInput(attrs={**AS_TYPED, "autocomplete": "off"}),
    )
    helper = laid_out("code", "password", "password_again")


class Training(forms.Form):
    """Course, date and certificate, which a reviewer and a coordinator cannot sign without."""

    course = forms.CharField(label="Course", max_length=200, required=False)
    course_date = forms.DateField(
        label="Date of the course",
        required=False,
        input_formats=["%Y-%m-%d", "%d %b %Y", "%d %B %Y"],
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
        error_messages={"invalid": "This is not a day that exists. Type it as 2025-02-11."},
    )
    certificate = forms.CharField(label="Certificate number", max_length=120, required=False)

    def __init__(self, *args: Any, today: date, **options: Any) -> None:
        super().__init__(*args, **options)
        self.today = today

    def clean_course_date(self) -> str:
        day: date | None = self.cleaned_data["course_date"]
        if day and day > self.today:
            raise ValidationError("This day is still to come. Type when the course was passed.")
        return day.isoformat() if day else ""

    def grant(self, right: str) -> Grant:
        """The right, with the training where the right rests on one."""
        if right not in TRAINED:
            return Grant(right)
        typed = self.cleaned_data
        return Grant(right, typed["course"], typed["course_date"], typed["certificate"])


class InviteForm(Training):
    name = forms.CharField(
        label="Printed name",
        max_length=120,
        help_text="As it is to stand beside a signature.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    username = forms.CharField(
        label="Log-in name",
        max_length=60,
        help_text="Letters, digits and _, beginning with a letter.",
        widget=forms.TextInput(attrs={**AS_TYPED, "autocomplete": "off"}),
    )
    initials = InitialsField(
        max_length=4,
        help_text="One to four letters that stand beside each reading.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    rights = forms.MultipleChoiceField(
        label="Rights",
        choices=RIGHT_CHOICES,
        widget=forms.CheckboxSelectMultiple,
        help_text="One person may hold several.",
        error_messages={"required": "Choose at least one right."},
    )
    helper = laid_out(
        "name", Row("username", "initials"), "rights", "course", Row("course_date", "certificate")
    )

    def grants(self) -> list[Grant]:
        return [self.grant(right) for right in self.cleaned_data["rights"]]


class GiveForm(Training):
    right = forms.ChoiceField(
        label="Right", choices=[("", "Choose a right"), *RIGHT_CHOICES],
        error_messages={"required": "Choose a right.", "invalid_choice": "Choose a right."},
    )  # fmt: skip
    helper = laid_out("right", "course", Row("course_date", "certificate"))


class EndForm(forms.Form):
    right = forms.ChoiceField(
        label="Right that ends",
        error_messages={
            "required": "Choose a right.",
            "invalid_choice": "This person does not hold that right. Choose another.",
        },
    )
    reason = forms.CharField(
        label="Why it ends",
        max_length=300,
        error_messages={"required": "Say why the right ends."},
    )
    helper = laid_out(Field("right"), "reason")

    def __init__(self, *args: Any, standing: list[str], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["right"].choices = [  # type: ignore[attr-defined]
            ("", "Choose a right"),
            *[(right, Right(right).label) for right in standing],
        ]
