"""What is typed when a lot's record is issued."""

from django import forms

from lots.forms.fields import inside_a_form


class IssueForm(forms.Form):
    """What changed since the revision before, where there is one, and the password."""

    change = forms.CharField(
        label="What changed since the revision before",
        help_text="It is printed on the record.",
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    password = forms.CharField(
        label="Your password again",
        help_text="The record is sealed in the house's name on your word.",
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        strip=False,
    )

    def __init__(self, *args: object, revision: int, **options: object) -> None:
        super().__init__(*args, **options)  # type: ignore[arg-type]
        if revision == 1:
            del self.fields["change"]
        self.helper = inside_a_form()
