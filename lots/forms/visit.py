"""Forms of an inspector's visit, and of the days whose records are fetched."""

from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError

from lots.core.units import show_span
from lots.entries.visit import NewVisit
from lots.forms.fields import MomentField
from lots.models.house import Establishment
from lots.models.lot import Lot
from lots.models.plan import Plan
from lots.queries.house import rules
from lots.queries.period_records import FINISHED, RECEIVED, Period, lots_of_period
from lots.queries.visit import lots_under

EARLIEST, LATEST = date(2000, 1, 1), date(2100, 1, 1)  # outside it a year was mistyped
AS_TYPED: Final = {"autocapitalize": "characters", "autocorrect": "off", "spellcheck": "false"}
CHOSEN, OF_PERIOD, OF_PLAN = "chosen", "period", "plan"
HOW: Final = [
    (OF_PERIOD, "all lots of some days"),
    (OF_PLAN, "all lots under one plan"),
    (CHOSEN, "the lots ticked below"),
]
BY: Final = [(RECEIVED, "the day they were received"), (FINISHED, "the day they were finished")]


class DayField(forms.DateField):
    """A day, by the browser's own calendar or typed."""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            input_formats=["%Y-%m-%d", "%d %b %Y", "%d %B %Y"],
            widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
            error_messages={
                "invalid": "This is not a day that exists. Type it as 2026-03-04.",
                "required": "Choose a day.",
            },
            **options,
        )

    def clean(self, value: Any) -> date | None:
        day: date | None = super().clean(value)
        if day is not None and not EARLIEST <= day <= LATEST:
            raise ValidationError("This day is centuries away. Check the year.")
        return day


class PeriodForm(forms.Form):
    """The days whose lots are fetched."""

    first = DayField(label="From")
    last = DayField(label="To, this day included")
    by = forms.ChoiceField(
        label="Lots counted by", choices=BY, initial=RECEIVED, widget=forms.RadioSelect,
        error_messages={"required": "Choose one.", "invalid_choice": "Choose one."},
    )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        _in_order(self, data)
        return data

    def period(self) -> Period:
        data = self.cleaned_data
        return Period(data["first"], data["last"], data["by"])


def _in_order(form: forms.Form, data: dict[str, Any]) -> None:
    first, last = data.get("first"), data.get("last")
    if first and last and last < first:
        form.add_error("last", "This day is before the first one. Choose a later day.")


class VisitCodeForm(forms.Form):
    visit_code = forms.CharField(
        label="One-time code",
        max_length=40,
        help_text="As the house handed it to you, such as ABCD-EFGH-JKLM-NPQR. It works once.",
        widget=forms.TextInput(attrs={**AS_TYPED, "autocomplete": "off"}),
        error_messages={"required": "Type the code that the house handed to you."},
    )


class EndField(MomentField):
    """A moment; empty is left to whoever asks."""

    def clean(self, value: Any) -> int | None:  # type: ignore[override]
        return super().clean(value) if (value or "").strip() else None


class OpenVisitForm(forms.Form):
    """Who comes, from when to when, and what they are to see."""

    inspector = forms.CharField(
        label="Inspector's name",
        max_length=120,
        help_text="As on the credentials that were shown.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    agency = forms.CharField(
        label="Agency", max_length=200, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )

    def __init__(
        self,
        data: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        zone: Any,
        lots: Sequence[Lot],
        **options: Any,
    ) -> None:
        super().__init__(data, **options)
        self.zone, self.lots = zone, list(lots)
        self._ask_when(house, now_ms)
        self._ask_which()

    def _ask_when(self, house: Establishment, now_ms: int) -> None:
        usual, longest = show_span(rules().visit.usual_ms), show_span(rules().visit.longest_ms)
        self.fields["starts_at"] = MomentField(
            zone=house.zone,
            now_ms=now_ms,
            label="Begins",
            help_text="Empty is now. Later: 14:05, or 4 Mar 2026 14:05.",
        )
        self.fields["ends_at"] = EndField(
            zone=house.zone,
            now_ms=now_ms,
            label="Ends by itself",
            help_text=f"Empty is {usual} after the beginning; {longest} at most. You can end it at any "
            "moment.",
        )
        self.fields["ends_at"].widget.attrs["placeholder"] = usual

    def _ask_which(self) -> None:
        self.fields["how"] = forms.ChoiceField(
            label="Which lots it is to", choices=HOW, widget=forms.RadioSelect, initial=OF_PERIOD
        )
        self.fields["first"] = DayField(label="From", required=False)
        self.fields["last"] = DayField(label="To, this day included", required=False)
        self.fields["by"] = forms.ChoiceField(
            label="Lots counted by", choices=BY, widget=forms.RadioSelect, initial=RECEIVED
        )
        plans = Plan.objects.order_by("title")
        self.fields["plan"] = forms.ModelChoiceField(
            plans, label="Plan", required=False, empty_label="Choose a plan"
        )
        self.fields["lots"] = forms.MultipleChoiceField(
            label="Lots",
            required=False,
            widget=forms.CheckboxSelectMultiple,
            choices=[(str(lot.pk), f"{lot.code}, {lot.species_name}") for lot in self.lots],
        )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        how = data.get("how")
        if how == OF_PERIOD:
            for name in ("first", "last"):
                if not data.get(name) and name not in self.errors:
                    self.add_error(name, "Choose a day.")
            _in_order(self, data)
        elif how == OF_PLAN and not data.get("plan") and "plan" not in self.errors:
            self.add_error("plan", "Choose the plan whose lots are shown.")
        return data

    def new_visit(self) -> NewVisit:
        """What was typed, with the lots that it chooses."""
        data = self.cleaned_data
        lots, words = self._chosen()
        ends = data["ends_at"]
        return NewVisit(
            data["inspector"],
            data["agency"],
            data["starts_at"],
            data["starts_at"] + rules().visit.usual_ms if ends is None else ends,
            lots,
            words,
        )

    def _chosen(self) -> tuple[list[Lot], str]:
        data = self.cleaned_data
        if data["how"] == OF_PERIOD:
            period = Period(data["first"], data["last"], data["by"])
            return lots_of_period(period, self.zone), f"all lots {period.words}"
        if data["how"] == OF_PLAN:
            return lots_under(data["plan"]), f"all lots under “{data['plan'].title}”"
        ticked = {int(number) for number in data["lots"]}
        return [lot for lot in self.lots if lot.pk in ticked], "lots chosen one by one"

    @property
    def beside_lots(self) -> str:
        """The field that a refusal about the lots stands at."""
        return {OF_PERIOD: "last", OF_PLAN: "plan"}.get(self.cleaned_data.get("how", ""), "lots")
