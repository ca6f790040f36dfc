"""A file to be checked."""

from typing import Any

from django import forms

from lots.forms.fields import inside_a_form
from lots.queries.house import rules

MB = 1_000_000


class CheckForm(forms.Form):
    file = forms.FileField(
        label="The sealed record",
        help_text="A PDF of up to 20 MB. It is checked and forgotten: nothing of it is kept here.",
        error_messages={
            "required": "Choose the PDF, or drop it here.",
            "empty": "This file is empty. Ask for it again.",
        },
        widget=forms.FileInput(attrs={"accept": ".pdf,application/pdf"}),
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["file"].help_text = (
            f"A PDF of up to {rules().check_bytes // MB} MB. It is checked and forgotten: nothing of it "
            "is kept here."
        )
        self.helper = inside_a_form()

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        most = rules().check_bytes
        if file.size > most:
            raise forms.ValidationError(
                f"This file has {file.size / MB:.1f} MB; up to {most // MB} MB are checked here. Check it "
                "on a machine of your own: python -m lots.pdf.check FILE."
            )
        return file
