"""Forms of the house: founding it, its places, its instruments."""

from typing import Any, ClassVar, Final

from crispy_forms.layout import Fieldset, Row
from django import forms

from lots.entries.founding import founding_code_is
from lots.entries.house import House, NewInstrument
from lots.forms.people import AS_TYPED, InitialsField, NewPassword, laid_out
from lots.models.house import Establishment, PlaceKind
from lots.queries.house import open_places

ZONES: Final = (
    ("America/St_Johns", "Newfoundland (St. John's)"),
    ("America/Halifax", "Atlantic (Halifax)"),
    ("America/New_York", "Eastern (New York)"),
    ("America/Chicago", "Central (Chicago)"),
    ("America/Denver", "Mountain (Denver)"),
    ("America/Phoenix", "Mountain without summer time (Phoenix)"),
    ("America/Los_Angeles", "Pacific (Los Angeles)"),
    ("America/Anchorage", "Alaska (Anchorage)"),
    ("Pacific/Honolulu", "Hawaii (Honolulu)"),
    ("America/Puerto_Rico", "Puerto Rico"),
    ("Pacific/Guam", "Guam"),
    ("Europe/Dublin", "Ireland (Dublin)"),
    ("Europe/London", "United Kingdom (London)"),
    ("Europe/Oslo", "Norway (Oslo)"),
    ("Europe/Warsaw", "Poland (Warsaw)"),
    ("Atlantic/Reykjavik", "Iceland (Reykjavik)"),
)
INSTRUMENT_KINDS: Final = (
    "thermometer",
    "data logger",
    "scale",
    "salometer",
    "refractometer",
    "clock",
)


class HouseForm(forms.Form):
    name = forms.CharField(label="Name of the establishment", max_length=200)
    address = forms.CharField(
        max_length=400,
        help_text="Every record carries name and address (21 CFR 123.9(a)).",
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    sells = forms.ChoiceField(
        label="Sells",
        choices=[
            ("", "Choose"),
            ("wholesale", "wholesale"),
            ("retail", "retail"),
            ("both", "both"),
        ],
    )
    zone = forms.ChoiceField(
        label="Time zone",
        required=False,
        choices=[("", "Another"), *ZONES],
        help_text="Every time in the book is shown in it.",
    )
    other_zone = forms.CharField(
        label="Another time zone",
        required=False,
        max_length=60,
        help_text="By its name in the time zone database, such as America/Boise.",
        widget=forms.TextInput(attrs={**AS_TYPED, "autocomplete": "off"}),
    )
    temperature_unit = forms.ChoiceField(
        label="Temperatures in", choices=[("F", "°F"), ("C", "°C")], widget=forms.RadioSelect
    )
    weight_unit = forms.ChoiceField(
        label="Weights in", choices=[("lb", "lb"), ("kg", "kg")], widget=forms.RadioSelect
    )
    STATEMENT: Final = (
        "name", "address", "sells", Row("zone", "other_zone"), Row("temperature_unit", "weight_unit"),
    )  # fmt: skip
    helper = laid_out(*STATEMENT)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        chosen, typed = cleaned.get("zone"), cleaned.get("other_zone")
        if not chosen and not typed:
            self.add_error("zone", "Choose the time zone, or type another beside it.")
        elif chosen and typed:
            self.add_error("other_zone", "Choose one or type another, not both.")
        return cleaned

    def house(self, demo: bool = False) -> House:
        typed = self.cleaned_data
        return House(
            typed["name"],
            typed["address"],
            typed["sells"],
            typed["zone"] or typed["other_zone"],
            typed["temperature_unit"],
            typed["weight_unit"],
            demo,
        )

    @staticmethod
    def stated(house: Establishment) -> dict[str, str]:
        """What the form begins with for a house already named."""
        listed = house.zone in dict(ZONES)
        return {
            "name": house.name,
            "address": house.address,
            "sells": house.sells,
            "zone": house.zone if listed else "",
            "other_zone": "" if listed else house.zone,
            "temperature_unit": house.temperature_unit,
            "weight_unit": house.weight_unit,
        }


class FoundForm(HouseForm, NewPassword):
    field_order: ClassVar = ["code", *HouseForm.base_fields, "person_name", "username", "initials"]

    code = forms.CharField(
        label="Founding code",
        max_length=40,
        help_text="The server printed it when it started.",
        widget=forms.TextInput(attrs={**AS_TYPED, "autocomplete": "off"}),
    )
    person_name = forms.CharField(
        label="Printed name",
        max_length=120,
        help_text="As it is to stand beside a signature.",
    )
    username = forms.CharField(
        label="Log-in name",
        max_length=60,
        help_text="Letters, digits and _, beginning with a letter.",
        widget=forms.TextInput(attrs={**AS_TYPED, "autocomplete": "username"}),
    )
    initials = InitialsField(
        max_length=4, help_text="One to four letters that stand beside each reading."
    )
    helper = laid_out(
        "code",
        Fieldset("The establishment", *HouseForm.STATEMENT),
        Fieldset(
            "The first person",
            "person_name",
            Row("username", "initials"),
            "password",
            "password_again",
        ),
    )

    def clean_code(self) -> str:
        code: str = self.cleaned_data["code"]
        if not founding_code_is(code):
            raise forms.ValidationError(
                "This is not the code that the server printed last. Look again."
            )
        return code


class PlaceForm(forms.Form):
    name = forms.CharField(label="Name", max_length=80, help_text="Such as Smokehouse 1.")
    kind = forms.ChoiceField(label="Kind", choices=[("", "Choose"), *PlaceKind.choices])
    within = forms.ModelChoiceField(
        queryset=None,
        label="Stands in",
        required=False,
        empty_label="no other place",
        help_text="A brine tank in its brine room: a reading of the room then speaks for it too.",
    )
    helper = laid_out("name", "kind", "within")

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["within"].queryset = open_places()  # type: ignore[attr-defined]


class ReasonForm(forms.Form):
    """Why a place is closed or an instrument retired."""

    reason = forms.CharField(label="Why", max_length=300, error_messages={"required": "Say why."})
    helper = laid_out("reason")


class InstrumentForm(forms.Form):
    name = forms.CharField(
        label="Name", max_length=80, help_text="As it stands on it, such as Thermometer 2."
    )
    kind = forms.ChoiceField(
        label="Kind", choices=[("", "Choose"), *[(kind, kind) for kind in INSTRUMENT_KINDS]]
    )
    accuracy = forms.CharField(
        label="Accuracy",
        max_length=40,
        required=False,
        help_text="As its maker states it, such as ±1 °F.",
    )
    reference = forms.CharField(
        label="Reads true at",
        max_length=40,
        required=False,
        help_text="A salometer's reference temperature, such as 60 °F. Empty for a refractometer that "
        "corrects itself.",
    )
    full_scale = forms.CharField(
        label="Salt at its 100",
        max_length=40,
        required=False,
        help_text="Of a salometer: 26.395 % unless another figure, such as 25 %, stands on it.",
    )
    serial = forms.CharField(label="Serial number", max_length=80, required=False)
    place = forms.ModelChoiceField(
        queryset=None, label="Kept at", required=False, empty_label="no one place"
    )
    helper = laid_out(
        "name", Row("kind", "place"), Row("accuracy", "serial"), Row("reference", "full_scale")
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["place"].queryset = open_places()  # type: ignore[attr-defined]

    def instrument(self) -> NewInstrument:
        return NewInstrument(**self.cleaned_data)
