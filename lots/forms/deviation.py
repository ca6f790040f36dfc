"""What a person writes down about a deviation: the action taken, and what becomes of the fish."""

from collections.abc import Mapping
from typing import Any

from crispy_forms.layout import HTML, Div, Fieldset, Layout, Row
from django import forms

from lots.entries.deviation import Consignee
from lots.forms.fields import MomentField, WeightField, inside_a_form
from lots.models.deviation import DispositionKind


class ActionForm(forms.Form):
    """What 21 CFR 123.7 asks of a corrective action."""

    plan_followed = forms.ChoiceField(
        label="Was the plan's written action followed?",
        choices=[("yes", "Yes, as written"), ("no", "No, something else was done")],
        widget=forms.RadioSelect,
    )
    segregated = forms.CharField(
        label="How the fish is kept apart and held",
        help_text="Where it stands, how it is marked (21 CFR 123.7(c)(1)).",
        required=False,
        max_length=400,
    )
    acceptability_by = forms.CharField(
        label="Who decides whether it is acceptable",
        help_text="A person trained as 21 CFR 123.10 asks, or with the experience (123.7(c)(2)).",
        required=False,
        max_length=200,
    )
    reassessment_by = forms.CharField(
        label="Who reassesses the plan",
        help_text="A trained person decides whether the plan must change (123.7(c)(5)).",
        required=False,
        max_length=200,
    )
    reassessment_due = forms.DateField(
        label="By which day",
        required=False,
        input_formats=["%Y-%m-%d", "%d %b %Y", "%d %B %Y"],
        widget=forms.TextInput(attrs={"placeholder": "11 Mar 2026", "autocomplete": "off"}),
        error_messages={"invalid": "Type the day as 11 Mar 2026 or 2026-03-11."},
    )
    fish = forms.CharField(
        label="What was done with the fish", widget=forms.Textarea(attrs={"rows": 2})
    )
    control_restored = forms.CharField(
        label="What brought the step back under control", widget=forms.Textarea(attrs={"rows": 2})
    )
    cause = forms.CharField(
        label="What caused it",
        help_text="If it is not known yet, say so.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: object, zone: str, now_ms: int, **options: object) -> None:
        super().__init__(*args, **options)  # type: ignore[arg-type]
        self.fields["taken_at"] = MomentField(label="When it was done", zone=zone, now_ms=now_ms)
        for name in ("fish", "control_restored", "cause", "plan_followed"):
            self.fields[name].required = True
        self.helper = inside_a_form()
        self.helper.layout = Layout(
            "plan_followed",
            "fish",
            "control_restored",
            "cause",
            "taken_at",
            Fieldset(
                "Only if the plan's action was not followed",
                "segregated",
                "acceptability_by",
                Row("reassessment_by", "reassessment_due"),
                css_class="group",
            ),
        )


KINDS = [
    (DispositionKind.HOLD, "Hold: keep it apart, decide later; the deviation stays open"),
    (DispositionKind.RELEASE, "Release: acceptable, on a written review"),
    (DispositionKind.REWORK, "Rework: treat it again as a new lot"),
    (DispositionKind.DIVERT, "Divert: to another use"),
    (DispositionKind.DESTROY, "Destroy"),
    (DispositionKind.RECALL, "Recall: fetch back what has left"),
]


class ToldField(MomentField):
    """When a consignee was told; empty is not yet (0)."""

    def __init__(self, *, zone: str, now_ms: int, **options: Any) -> None:
        options.setdefault("help_text", "Empty: not yet told. 14:05, or 4 Mar 2026 14:05.")
        super().__init__(zone=zone, now_ms=now_ms, **options)
        self.widget.attrs |= {"placeholder": "not yet"}

    def clean(self, value: Any) -> int:
        return super().clean(value) if str(value or "").strip() else 0


CONSIGNEES = 4  # rows that a recall begins with
MOST_CONSIGNEES = 60


def rows_asked(typed: Mapping[str, str]) -> int:
    """How many rows for consignees the page is to have: as many as it had, and more where asked."""
    said = typed.get("rows", "")
    had = int(said) if said.isascii() and said.isdecimal() and len(said) < 4 else CONSIGNEES
    return max(CONSIGNEES, min(had + (CONSIGNEES if "more" in typed else 0), MOST_CONSIGNEES))


class DecisionForm(forms.Form):
    """What is to become of the fish; where some has left, who had it."""

    kind = forms.ChoiceField(
        label="What becomes of the fish",
        widget=forms.RadioSelect,
        error_messages={"invalid_choice": "Choose what is to become of the fish."},
    )
    reason = forms.CharField(label="Why", widget=forms.Textarea(attrs={"rows": 2}))
    acceptability_review = forms.CharField(
        label="Written acceptability review",
        help_text="For a release: on what ground the fish is acceptable for distribution "
        "(21 CFR 123.7(c)(2)). Printed on the first page of the record for good.",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def __init__(
        self,
        *args: object,
        unit: str,
        may_end: bool,
        may_recall: bool = False,
        zone: str = "UTC",
        now_ms: int = 0,
        rows: int = CONSIGNEES,
        **options: object,
    ) -> None:
        super().__init__(*args, **options)  # type: ignore[arg-type]
        kinds = KINDS if may_end else KINDS[:1]
        if not may_recall:
            kinds = [pair for pair in kinds if pair[0] != DispositionKind.RECALL]
        self.fields["kind"].choices = kinds  # type: ignore[attr-defined]
        self.fields["grams"] = WeightField(label="How much of it", unit=unit)
        if not may_end:
            del self.fields["acceptability_review"]
        self.rows = rows if may_end and may_recall else 0
        names = ["kind", "grams", "reason", "acceptability_review", "seen"]
        self.order_fields(names)
        parts: list[Any] = [name for name in names if name in self.fields]
        if self.rows:
            self.fields["rows"] = forms.IntegerField(
                widget=forms.HiddenInput, required=False, initial=self.rows
            )
            who = [self._consignee(n, unit, zone, now_ms) for n in range(self.rows)]
            more = HTML(
                '<div class="actions"><button type="submit" name="more" value="1" class="button '
                'button-quiet">More rows</button></div>'
            )
            title = "Only for a recall: who had the fish"
            parts += ["rows", Fieldset(title, *who, more, css_class="group")]
        self.helper = inside_a_form()
        self.helper.layout = Layout(*parts)

    def _consignee(self, n: int, unit: str, zone: str, now_ms: int) -> Div:
        self.fields[f"who_{n}"] = forms.CharField(
            label=f"{n + 1}. Who had it", required=False, max_length=300
        )
        self.fields[f"had_{n}"] = WeightField(
            label="How much", unit=unit, required=False, help_text=""
        )
        self.fields[f"told_{n}"] = ToldField(label="Told at", zone=zone, now_ms=now_ms)
        self.fields[f"note_{n}"] = forms.CharField(label="Note", required=False, max_length=400)
        if n:
            self.fields[f"told_{n}"].help_text = ""
        return Div(Row(f"who_{n}", f"had_{n}"), Row(f"told_{n}", f"note_{n}"))

    def consignees(self) -> tuple[Consignee, ...]:
        """The rows in which anything was typed."""
        typed = self.cleaned_data
        return tuple(
            Consignee(
                typed.get(f"who_{n}") or "",
                typed.get(f"had_{n}") or 0,
                typed.get(f"told_{n}") or 0,
                typed.get(f"note_{n}") or "",
                n,
            )
            for n in range(self.rows)
            if any(typed.get(f"{name}_{n}") for name in ("who", "had", "told", "note"))
        )


class ToldForm(forms.Form):
    """When somebody who had the fish was told of the recall."""

    note = forms.CharField(
        label="Note", max_length=400, required=False, help_text="Who was spoken to, what they said."
    )

    def __init__(self, *args: object, zone: str, now_ms: int, **options: object) -> None:
        super().__init__(*args, **options)  # type: ignore[arg-type]
        self.fields["told_at"] = MomentField(label="Told at", zone=zone, now_ms=now_ms)
        self.order_fields(["told_at", "note"])
        self.helper = inside_a_form()
