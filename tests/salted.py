"""Batches, samples sent and verifications of a process, as tests need them: written as their entries
write them."""

import json

from lots.entries.book import act, canonical
from lots.entries.judging import judge_loads, judge_verified
from lots.entries.laboratory import NewReport, enter_report
from lots.models.lot import (
    BrineBatch,
    LaboratoryResult,
    LaboratorySample,
    LaboratorySent,
    Load,
    Lot,
)
from lots.models.salt import BatchNamed
from tests.make import Book, moment

CURING_SALT = 62_500  # millionths: 6.25 % sodium nitrite


def batch(
    book: Book, code: str, cure_g: int = 0, kg: int = 20, method: str = "brine", at: str = "07:00"
) -> BrineBatch:
    """A batch of so many kilograms with so much curing salt of 6.25 % nitrite."""
    weights = [("salt", kg * 150_000, 0), ("curing salt", cure_g * 1000, CURING_SALT)]
    water = kg * 1_000_000 - sum(mg for _, mg, _ in weights)
    if method == "brine":
        weights.insert(0, ("water", water, 0))
    content = {
        "form": 1,
        "method": method,
        "parts": [
            {"kind": kind, "name": kind, "as_read": str(mg // 1000), "unit": "g", "mg": mg,
             "mg_per_measure": 0, "nitrite_millionths": nitrite}
            for kind, mg, nitrite in weights if mg
        ],
    }  # fmt: skip
    with act("brine batch made", book.operator, moment(at)) as writing:
        return writing.write(
            BrineBatch(
                code=code, made_at=moment(at), entered_at=moment(at), content=canonical(content)
            )
        )


def name_batch(
    book: Book, load: Load, which: BrineBatch, at: str, brine_g: int | None = None
) -> BatchNamed:
    """The batch that a load lies in, named after it had begun."""
    with act("batch named", book.operator, moment(at)) as writing:
        row = writing.write(
            BatchNamed(
                load=load,
                batch=which,
                brine_g=brine_g,
                entered_at=moment(at),
                reason="not said at the start",
            )
        )
        judge_loads(writing, [load], moment(at))
    return row


def send(book: Book, lot: Lot, at: str, *quantities: str) -> LaboratorySent:
    """Samples of a lot on their way to the laboratory."""
    with act("samples sent", book.operator, moment(at)) as writing:
        writing.concerns(lot)
        return writing.write(
            LaboratorySent(
                lot=lot,
                laboratory="Invented Bay Laboratory",
                portion="loin",
                wanted=json.dumps(list(quantities)),
                sampled_at=moment(at),
                entered_at=moment(at),
            )
        )


def answer(
    book: Book,
    sent: LaboratorySent | None,
    quantity: str,
    value: float,
    at: str,
    process: bool = False,
    corrects: LaboratoryResult | None = None,
) -> LaboratoryResult:
    """The laboratory's figure for samples sent, or (`process`) for the plan's process."""
    when = moment(at)
    if process and corrects is None:
        new = NewReport({quantity: [f"{value:g}"]}, "Invented Bay Laboratory")
        return enter_report(book.reviewer, book.version.plan, new, when, when, when)[0]
    sampled = sent.sampled_at if sent else when
    with act("laboratory result entered", book.reviewer, when) as writing:
        result = writing.write(
            LaboratoryResult(
                lot=sent.lot if sent else None,
                plan=book.version.plan if process else None,
                sent=sent,
                quantity=quantity,
                laboratory="Invented Bay Laboratory",
                sampled_at=sampled,
                reported_at=when,
                entered_at=when,
                corrects=corrects,
            )
        )
        writing.write(
            LaboratorySample(
                result=result, number=1, as_read=f"{value:g}", unit="x", value=round(value * 10**6)
            )
        )
        if process:
            judge_verified(writing, book.version.plan_id, quantity, sampled, when)
        elif sent is not None and sent.lot is not None:
            judge_loads(writing, [part.load for part in sent.lot.parts.all()], when)
    return result
