"""One quantity that a laboratory found in a lot, as most tests want it: a report of that alone."""

from collections.abc import Sequence
from dataclasses import dataclass

from lots.core.laboratory import cell, unit_of
from lots.entries.files import Upload
from lots.entries.laboratory import NewReport, enter_report
from lots.entries.refusals import Refused
from lots.models.lot import LaboratoryResult, Lot
from lots.models.people import Person


@dataclass(frozen=True)
class NewResult:
    """A laboratory's result of one quantity: each sample's figure as printed."""

    quantity: str
    unit: str
    samples: Sequence[str]
    laboratory: str
    method: str = ""
    portion: str = ""
    report: Upload | None = None
    note: str = ""


def enter_laboratory_result(
    person: Person, lot: Lot, new: NewResult, sampled_at: int, reported_at: int, at: int
) -> LaboratoryResult:
    """Keeps one quantity that a laboratory found in a lot."""
    if new.unit != unit_of(new.quantity):
        raise Refused({"samples": f"Reports print {new.quantity} in {unit_of(new.quantity)}."})
    report = NewReport(
        {new.quantity: new.samples}, new.laboratory, new.method, new.portion, new.report, new.note
    )
    try:
        return enter_report(person, lot, report, sampled_at, reported_at, at)[0]
    except Refused as refusal:
        ours = {cell(new.quantity, n) for n in range(1, len(new.samples) + 1)} | {"figures"}
        if not ours & set(refusal.fields):
            raise
        text = next(words for name, words in refusal.fields.items() if name in ours)
        raise Refused({"samples": text}) from refusal
