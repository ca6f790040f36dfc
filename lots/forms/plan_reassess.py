"""What is typed when a plan's reassessment is asked for, and when it is signed."""

from django import forms

from lots.entries.reassess import CAUSES, OUTCOMES


class AskForm(forms.Form):
    """What changed that could bear on the hazards."""

    cause = forms.ChoiceField(
        label="What kind of change", choices=[*CAUSES.items()], widget=forms.RadioSelect
    )
    what = forms.CharField(
        label="What changed",
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="For example: another supplier, another oven, a film that keeps air out, sold to "
        "hospitals.",
    )


class ReassessForm(forms.Form):
    """The signing of a reassessment."""

    outcome = forms.ChoiceField(
        label="What you found",
        choices=[
            (key, {"no change": "It stands as it is", "change": "It is to be changed"}[key])
            for key in OUTCOMES
        ],
        widget=forms.RadioSelect,
        help_text="If it is to be changed, a draft is begun from this version; signing that draft "
        "puts the change in force.",
    )
    considered = forms.CharField(
        label="What was looked at, and why",
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text="The hazard analysis, the limits, the deviations and complaints since the last "
        "time, and what changed.",
    )
    password = forms.CharField(
        label="Your password again",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
