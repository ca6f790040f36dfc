"""Finding and putting right one reading of a logger, and taking a whole file back."""

from collections.abc import Iterable
from typing import Any

from django import forms

from lots.forms.fields import ConfirmField, FigureField, MomentField
from lots.models.house import Establishment


class FindReadingForm(forms.Form):
    """Which probe, and around which moment; empty shows its last readings."""

    def __init__(
        self,
        data: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        probes: Iterable[tuple[str, str]],
        **options: Any,
    ) -> None:
        super().__init__(data, **options)
        self.fields["probe"] = forms.ChoiceField(
            label="Probe", choices=list(probes), required=False
        )
        self.fields["at"] = MomentField(
            zone=house.zone,
            now_ms=now_ms,
            label="Around",
            help_text="14:05, or 4 Mar 2026 14:05. Empty: the last ones.",
        )
        self.fields["at"].widget.attrs["placeholder"] = "the last ones"

    def moment(self) -> int | None:
        """The moment typed; None where none was."""
        typed = str(self.data.get("at", "")).strip()
        return self.cleaned_data.get("at") if typed else None


class CorrectLoggedForm(forms.Form):
    """The right figure, or that there was none; always with the reason."""

    as_read = FigureField(label="The right figure", required=False, max_length=20)
    take_back = forms.BooleanField(
        label="Take it back: the probe did not measure then", required=False
    )
    reason = forms.CharField(
        label="What was wrong",
        max_length=300,
        help_text="Such as: the door was opened on the probe; compared with the hand thermometer.",
    )
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False, min_value=0)

    def __init__(self, data: Any = None, *, unit: str, **options: Any) -> None:
        super().__init__(data, **options)
        self.unit = unit
        self.fields["as_read"].help_text = f"In °{unit}, as the logger wrote it."
        self.fields["confirmed"] = ConfirmField()
        self.order_fields(["as_read", "confirmed", "take_back", "reason", "seen"])

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        data["unit"] = self.unit
        if not data.get("as_read") and not data.get("take_back"):
            self.add_error("as_read", "Type the right figure, or take the reading back.")
        return data


class WithdrawFileForm(forms.Form):
    reason = forms.CharField(
        label="Why it is taken back",
        max_length=300,
        help_text="Such as: the file of Smokehouse 2 was laid to this load.",
    )
