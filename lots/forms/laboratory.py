"""Laboratories: samples sent, a report as it is printed, a report put right."""

from collections.abc import Iterable, Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo

from django import forms

from lots.core.laboratory import ASKED_FOR, cell, unit_of
from lots.core.moments import show_moment
from lots.entries.laboratory import NewReport, PutRight, Sending
from lots.forms.fields import FigureField, KeyField, MomentField, SeenField
from lots.forms.sure import texts
from lots.models.house import Establishment
from lots.models.lot import LaboratorySent
from lots.queries.laboratory import Report, Waiting

SAMPLES: Final = 5  # cells of a quantity at first
MOST_SAMPLES: Final = 30
MORE: Final = 5
ONE_FIGURE: Final = 20


class SendForm(forms.Form):
    """What goes to the laboratory."""

    wanted = forms.MultipleChoiceField(
        label="What the laboratory is to look for",
        choices=[(name, name) for name in ASKED_FOR],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick what the laboratory is to look for."},
    )
    laboratory = forms.CharField(label="Laboratory", max_length=200)
    portion = forms.CharField(
        label="Portion sampled",
        required=False,
        max_length=200,
        help_text="For salt: the loin of the thickest fish.",
    )

    def __init__(
        self, data: Any = None, *, house: Establishment, now_ms: int, **options: Any
    ) -> None:
        super().__init__(data, **options)
        self.fields["sampled_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="Sampled")
        self.fields["note"] = forms.CharField(label="Note", required=False, max_length=400)
        self.fields["client_key"] = KeyField()

    def sending(self) -> Sending:
        data = self.cleaned_data
        return Sending(data["laboratory"], data["wanted"], data["portion"], data["note"])


def _cells(form: forms.Form, samples: int) -> None:
    """A row of cells for each quantity, one a sample."""
    for quantity in ASKED_FOR:
        for number in range(1, samples + 1):
            form.fields[cell(quantity, number)] = FigureField(
                label=f"{quantity}, sample {number}", required=False, max_length=ONE_FIGURE
            )
            if quantity == "Listeria":  # a word, too
                form.fields[cell(quantity, number)].widget.attrs["inputmode"] = "text"


def _rows(form: forms.Form, samples: int) -> list[tuple[str, list[forms.BoundField]]]:
    """The rows as the page draws them: what they are headed, and their cells."""
    return [
        (_heading(quantity), [form[name] for name in _names(quantity, samples)])
        for quantity in ASKED_FOR
    ]


def _heading(quantity: str) -> str:
    """A row's heading: the quantity with its unit, where that says more than the quantity."""
    unit = unit_of(quantity)
    head = quantity[:1].upper() + quantity[1:] if quantity != "pH" else quantity
    return head if unit in ("pH", "aw") else f"{head}, {unit}"


def _names(quantity: str, samples: int) -> list[str]:
    return [cell(quantity, number) for number in range(1, samples + 1)]


class ReportForm(forms.Form):
    """What a laboratory found, typed once from its report: quantities by samples."""

    laboratory = forms.CharField(label="Laboratory", max_length=200)
    portion = forms.CharField(
        label="Portion sampled",
        required=False,
        max_length=200,
        help_text="For salt: the loin of the thickest fish.",
    )
    method = forms.CharField(label="Method", required=False, max_length=200)

    def __init__(
        self,
        data: Any = None,
        files: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        waiting: Sequence[Waiting] = (),
        samples: int = SAMPLES,
        **options: Any,
    ) -> None:
        super().__init__(data, files, **options)
        self.samples = samples
        self.zone = ZoneInfo(house.zone)
        self.by_number = {one.sent.pk: one.sent for one in waiting}
        self.fields["sent"] = forms.TypedChoiceField(
            label="It answers samples sent",
            required=False,
            coerce=lambda text: self.by_number.get(int(text)),
            empty_value=None,
            choices=[
                ("", "none of those below"),
                *((one.sent.pk, self._said(one)) for one in waiting),
            ],
        )
        _cells(self, samples)
        self.fields["sampled_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="Sampled")
        self.fields["reported_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="Reported")
        self.fields["report"] = forms.FileField(label="The report (PDF or photo)", required=False)
        self.fields["note"] = forms.CharField(label="Note", required=False, max_length=400)
        self.fields["sure"] = SeenField()
        self.fields["client_key"] = KeyField()

    def _said(self, one: Waiting) -> str:
        when = show_moment(one.sent.sampled_at, self.zone)
        return f"{', '.join(one.wanted)}, sampled {when} for {one.sent.laboratory}"

    def head(self) -> list[forms.BoundField]:
        names = ["sent"] if self.by_number else []
        names += ["laboratory", "portion", "sampled_at", "reported_at", "method"]
        return [self[name] for name in names]

    def rows(self) -> list[tuple[str, list[forms.BoundField]]]:
        return _rows(self, self.samples)

    def tail(self) -> list[forms.BoundField]:
        return [self[name] for name in ("report", "note", "client_key")]

    def new(self, report: Any, sure: bool) -> NewReport:
        data = self.cleaned_data
        return NewReport(
            {quantity: texts(data, _names(quantity, self.samples)) for quantity in ASKED_FOR},
            data["laboratory"],
            data["method"],
            data["portion"],
            report,
            data["note"],
            data["sent"],
            sure,
        )


def said_of(sent: LaboratorySent, zone: ZoneInfo) -> dict[str, Any]:
    """What a report's form begins with where it answers samples sent."""
    return {
        "sent": sent.pk,
        "laboratory": sent.laboratory,
        "portion": sent.portion,
        "sampled_at": show_moment(sent.sampled_at, zone),
    }


class PutRightForm(forms.Form):
    """A report's figures as they should have been typed, with the reason."""

    def __init__(self, data: Any = None, *, report: Report, samples: int, **options: Any) -> None:
        super().__init__(data, **options)
        self.samples = max(samples, report.samples)
        _cells(self, self.samples)
        for name, text in _typed(report):
            self.fields[name].initial = text
        self.fields["reason"] = forms.CharField(label="What was wrong", max_length=300)
        self.fields["sure"] = SeenField()
        self.fields["seen"] = forms.CharField(
            required=False,
            max_length=400,
            widget=forms.HiddenInput,
            initial=" ".join(str(row.pk) for row in report.results),
        )

    def rows(self) -> list[tuple[str, list[forms.BoundField]]]:
        return _rows(self, self.samples)

    def new(self, sure: bool) -> PutRight:
        data = self.cleaned_data
        seen = [int(text) for text in data["seen"].split() if text.isdigit() and len(text) < 19]
        figures = {quantity: texts(data, _names(quantity, self.samples)) for quantity in ASKED_FOR}
        return PutRight(figures, data["reason"], sure, seen)


def _typed(report: Report) -> Iterable[tuple[str, str]]:
    """By cell what the laboratory's own results hold."""
    for quantity in report.quantities:
        row = report.result(quantity)
        for one in row.samples.all() if row else ():
            yield cell(quantity, one.number), one.as_read


class GiveUpForm(forms.Form):
    reason = forms.CharField(
        label="Why no result will come", max_length=300, help_text="Lost, spoilt, sent in error."
    )
