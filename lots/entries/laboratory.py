"""Laboratories: samples sent, what was found in them, results put right, samples that bring no result."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from lots.core.laboratory import (
    COMPUTED,
    MOISTURE,
    SALT,
    WATER_PHASE_SALT,
    Found,
    Odd,
    cell,
    computed,
    found,
    odd_together,
)
from lots.core.limits import Limit, Measured
from lots.core.units import QUANTITIES, BadQuantity
from lots.entries.book import Act, act, already, canonical, taken_once
from lots.entries.files import Upload, keep_file, media_type
from lots.entries.judging import hold_deviation, judge_loads, judge_verified
from lots.entries.lapses import notice_lapses
from lots.entries.refusals import Changed, Refused, Unlikely
from lots.entries.signing import require
from lots.entries.standing import standing
from lots.models.house import KeptFile
from lots.models.lot import LaboratoryResult, LaboratorySample, LaboratorySent, Lot
from lots.models.people import Person, Right
from lots.models.plan import Plan
from lots.queries.judgements import judge_lot
from lots.queries.laboratory import CORRECTED, Report, awaited_of, report_of
from lots.queries.lineage import parts_of

Subject = Lot | Plan  # a plan stands for its process: a verification is of no one lot
KEEPERS = (Right.OPERATOR, Right.REVIEWER, Right.COORDINATOR)
TRAINED = (Right.REVIEWER, Right.COORDINATOR)
ENTERED = "laboratory result entered"
SENT = "samples sent"
Samples = Mapping[int, Found]  # by the sample's number on the report
Figures = Mapping[str, Samples]  # by quantity


@dataclass(frozen=True)
class Sending:
    """What went to a laboratory, and what it is to look for."""

    laboratory: str
    wanted: Sequence[str]
    portion: str = ""
    note: str = ""


@dataclass(frozen=True)
class NewReport:
    """A laboratory's report as printed: by quantity the figure of each sample, "" where it has none.
    `sure`: the person has said that what was asked about is printed so."""

    figures: Mapping[str, Sequence[str]]
    laboratory: str
    method: str = ""
    portion: str = ""
    report: Upload | None = None
    note: str = ""
    sent: LaboratorySent | None = None
    sure: bool = False


@taken_once
def send_samples(
    person: Person,
    subject: Subject,
    new: Sending,
    sampled_at: int,
    at: int,
    client_key: str | None = None,
) -> LaboratorySent:
    """Keeps that samples of a lot, or of a plan's process, went to a laboratory."""
    require(person, *KEEPERS)
    done = already(client_key, SENT, person)
    if done is not None:
        return LaboratorySent.objects.get(line=done)
    wanted = list(dict.fromkeys(new.wanted))
    wrong: dict[str, str] = {}
    if not wanted or set(wanted) - set(QUANTITIES):
        wrong["wanted"] = "Tick what the laboratory is to look for."
    if not new.laboratory.strip():
        wrong["laboratory"] = "Name the laboratory."
    wrong |= _wrong_days(subject, sampled_at, at, at)
    if wrong:
        raise Refused(wrong)
    with act(SENT, person, at, client_key) as writing:
        lot, plan = _stands(writing, subject)
        writing.say(wanted=", ".join(wanted), **_named(subject))
        return writing.write(
            LaboratorySent(
                lot=lot,
                plan=plan,
                laboratory=new.laboratory.strip(),
                portion=new.portion.strip(),
                wanted=canonical(wanted),
                sampled_at=sampled_at,
                entered_at=at,
                note=new.note.strip(),
            )
        )


def _named(subject: Subject) -> dict[str, str]:
    return {"code": subject.code} if isinstance(subject, Lot) else {"plan": subject.title}


def _stands(writing: Act, subject: Subject) -> tuple[Lot | None, Plan | None]:
    """The lot, or the plan, that an act is of, under the lock."""
    if isinstance(subject, Plan):
        return None, subject
    lot = standing(subject)
    writing.concerns(lot)
    return lot, None


def _wrong_days(subject: Subject, sampled_at: int, reported_at: int, at: int) -> dict[str, str]:
    days = {"sampled_at": sampled_at, "reported_at": reported_at}
    if wrong := {name: "This day is still to come." for name, day in days.items() if day > at}:
        return wrong
    if reported_at < sampled_at:
        return {"reported_at": "This is before the sample was taken."}
    return {}


@dataclass(frozen=True)
class _Paper:
    """What all results of one report share."""

    lot: Lot | None
    plan: Plan | None
    laboratory: str
    method: str
    portion: str
    sampled_at: int
    reported_at: int
    entered_at: int
    report: KeptFile | None
    note: str
    sent: LaboratorySent | None
    reason: str | None = None


@taken_once
def enter_report(
    person: Person,
    subject: Subject,
    new: NewReport,
    sampled_at: int,
    reported_at: int,
    at: int,
    client_key: str | None = None,
) -> list[LaboratoryResult]:
    """Keeps what a laboratory found, a row a quantity under one line; the least favourable sample governs.

    Salt and moisture of a sample give its water-phase salt, kept as a result of its own that says so,
    unless the report prints one that follows from the two.  Where it prints another, both are kept and
    the lower governs.
    """
    require(person, *KEEPERS)
    done = already(client_key, ENTERED, person)
    if done is not None:
        return list(LaboratoryResult.objects.filter(line=done).order_by("id"))
    figures = _checked(new.figures, new.sure)
    wrong = {} if new.laboratory.strip() else {"laboratory": "Name the laboratory."}
    if wrong := wrong | _wrong_days(subject, sampled_at, reported_at, at):
        raise Refused(wrong)
    kind = _report_type(new.report)
    if isinstance(subject, Lot):
        notice_lapses([subject], at)
    with act(ENTERED, person, at, client_key) as writing:
        lot, plan = _stands(writing, subject)
        _check_sent(new.sent, lot, plan)
        paper = _Paper(
            lot,
            plan,
            new.laboratory.strip(),
            new.method.strip(),
            new.portion.strip(),
            sampled_at,
            reported_at,
            at,
            keep_file(writing, new.report, kind) if new.report else None,
            new.note.strip(),
            new.sent,
        )
        rows = [_write(writing, paper, *each) for each in figures.items()]
        if follows := _following(figures):
            rows.append(_write(writing, _by_us(paper), WATER_PHASE_SALT, follows))
        writing.say(quantity=", ".join(row.quantity for row in rows), **_named(subject))
        _judge(writing, subject, rows, at)
    return rows


def _report_type(report: Upload | None) -> str:
    try:
        return media_type(report) if report else ""
    except Refused as refusal:
        raise Refused({"report": str(refusal)}) from refusal


def _check_sent(sent: LaboratorySent | None, lot: Lot | None, plan: Plan | None) -> None:
    """Refuses a report that answers samples of another lot or process."""
    if sent is None:
        return
    if (sent.lot_id, sent.plan_id) != (lot and lot.pk, plan and plan.pk):
        raise Refused(
            {"sent": "These samples were of something else. Choose those of this report."}
        )


def _checked(typed: Mapping[str, Sequence[str]], sure: bool) -> dict[str, dict[int, Found]]:
    """The figures by quantity and sample, unless one is none or some cannot be together.

    Raises:
        Refused: what cannot be, by `cell`; "figures" where there is none at all.
        Unlikely: what is asked about, where the person has not said that it is printed so.
    """
    figures: dict[str, dict[int, Found]] = {}
    wrong: dict[str, str] = {}
    for quantity, texts in typed.items():
        for number, text in enumerate(texts, 1):
            if not text.strip():
                continue
            try:
                figures.setdefault(quantity, {})[number] = found(text, quantity)
            except BadQuantity as error:
                wrong[cell(quantity, number)] = str(error)
    odd = _odd(figures)
    wrong |= {name: one.text for name, one in odd.items() if one.refused}
    asked = {name: one.text for name, one in odd.items() if not one.refused}
    if not figures and not wrong:
        wrong["figures"] = "Type each sample's figure."
    if wrong:
        raise Refused(wrong)
    if asked and not sure:
        raise Unlikely(asked)
    return figures


def _odd(figures: Figures) -> dict[str, Odd]:
    return {
        cell(odd.quantity, number): odd
        for number in _numbers(figures)
        for odd in odd_together(_sample(figures, number))
    }


def _numbers(figures: Figures) -> list[int]:
    return sorted({number for samples in figures.values() for number in samples})


def _sample(figures: Figures, number: int) -> dict[str, Found]:
    return {quantity: samples[number] for quantity, samples in figures.items() if number in samples}


def _following(figures: Figures) -> dict[int, Found]:
    """The water-phase salt of each sample whose salt and moisture are there and whose own is not, or is
    another."""
    out: dict[int, Found] = {}
    for number in _numbers(figures):
        sample = _sample(figures, number)
        if SALT not in sample or MOISTURE not in sample:
            continue
        ours = computed(sample[SALT], sample[MOISTURE])
        if ours is not None and (WATER_PHASE_SALT not in sample or odd_together(sample)):
            out[number] = ours
    return out


def _by_us(paper: _Paper) -> _Paper:
    return replace(paper, method=COMPUTED)


def _write(
    writing: Act,
    paper: _Paper,
    quantity: str,
    samples: Samples,
    corrects: LaboratoryResult | None = None,
) -> LaboratoryResult:
    result = writing.write(
        LaboratoryResult(
            lot=paper.lot,
            plan=paper.plan,
            sent=paper.sent,
            reason=paper.reason,
            quantity=quantity,
            laboratory=paper.laboratory,
            method=paper.method,
            portion=paper.portion,
            sampled_at=paper.sampled_at,
            reported_at=paper.reported_at,
            entered_at=paper.entered_at,
            report=paper.report,
            note=paper.note,
            corrects=corrects,
        )
    )
    for number, one in sorted(samples.items()):
        writing.write(
            LaboratorySample(
                result=result,
                number=number,
                as_read=one.as_read,
                unit=one.unit,
                value=one.millionths,
            )
        )
    return result


def _judge(writing: Act, subject: Subject, rows: Sequence[LaboratoryResult], at: int) -> None:
    """Judges what the results speak for: the lot, or the lots under the plan that wait for its process."""
    if isinstance(subject, Plan):
        for row in rows:
            judge_verified(writing, subject.pk, row.quantity, row.sampled_at, at)
        return
    own = [part.load for part in parts_of(subject) if part.lot_id == subject.pk]
    judge_loads(writing, own, at)
    for judged in judge_lot(subject, at):  # a step that it inherited has a laboratory's limit too
        if judged.part.lot_id != subject.pk and _asks_laboratory(judged.limit):
            hold_deviation(writing, judged, at)


def _asks_laboratory(limit: Limit) -> bool:
    return any(isinstance(leaf.rule, Measured) and leaf.rule.laboratory for leaf in limit.leaves())


@dataclass(frozen=True)
class PutRight:
    """A report as it should have been typed: the figures of every quantity, those that were right too."""

    figures: Mapping[str, Sequence[str]]
    reason: str
    sure: bool = False
    seen: Sequence[int] = field(
        default_factory=tuple
    )  # numbers of the results that the page showed


def correct_report(person: Person, number: int, new: PutRight, at: int) -> list[LaboratoryResult]:
    """Puts a report right: a new row for each quantity whose figures were others, naming the old one.
    Both stay.  A quantity without figures is taken back.

    It counts at once, and so it is for a trained person to say: a records reviewer or a HACCP coordinator.
    A deviation that the old figures opened stays until a disposition ends it.

    Args:
        number: of the line of the book that the report came with.
    """
    require(person, *TRAINED)
    if not new.reason.strip():
        raise Refused({"reason": "Say what was wrong."})
    figures = _checked(new.figures, new.sure) if any(map(any, new.figures.values())) else {}
    old = report_of(number)
    if old.lot is not None:
        notice_lapses([old.lot], at)
    with act(CORRECTED, person, at) as writing:
        old = report_of(number)
        if new.seen and set(new.seen) != {row.pk for row in old.results}:
            raise Changed("This report was already put right. Look at the page again.")
        _stands(writing, old.subject)
        paper = replace(_paper_of(old, at), reason=new.reason.strip())
        rows = list(_changed(writing, old, paper, figures))
        if not rows:
            raise Refused({"figures": "These are the figures that already stand."})
        writing.say(
            quantity=", ".join(row.quantity for row in rows),
            corrects=number,
            **_named(old.subject),
        )
        _judge(writing, old.subject, rows, at)
    return rows


def _paper_of(old: Report, at: int) -> _Paper:
    first = old.results[0]
    return _Paper(
        old.lot, old.plan, first.laboratory, old.method, first.portion, first.sampled_at,
        first.reported_at, at, first.report, first.note, first.sent,
    )  # fmt: skip


def _changed(
    writing: Act, old: Report, paper: _Paper, figures: Figures
) -> Iterable[LaboratoryResult]:
    """Writes a row for each quantity that is now another."""
    wanted: list[tuple[bool, str, Samples]] = [
        (False, quantity, figures.get(quantity, {}))
        for quantity in dict.fromkeys([*old.quantities, *figures])
    ]
    wanted.append((True, WATER_PHASE_SALT, _following(figures)))
    for by_us, quantity, samples in wanted:
        before = old.result(quantity, by_us)
        if before is None and not samples:
            continue
        if before is not None and _texts_of(before) == {
            number: one.as_read for number, one in samples.items()
        }:
            continue
        yield _write(writing, _by_us(paper) if by_us else paper, quantity, samples, before)


def _texts_of(row: LaboratoryResult) -> dict[int, str]:
    return {one.number: one.as_read for one in row.samples.all()}


def give_up_samples(
    person: Person, sent: LaboratorySent, reason: str, at: int
) -> list[LaboratoryResult]:
    """Keeps that nothing more comes of samples sent: a result without figures for each quantity that is
    still awaited, with the reason.  For a trained person to say, since a lot is held by what it awaits."""
    require(person, *TRAINED)
    if not reason.strip():
        raise Refused({"reason": "Say why no result will come: lost, spoilt, sent in error."})
    with act("samples given up", person, at) as writing:
        lot, plan = _stands(writing, sent.lot or sent.plan)
        missing = awaited_of(sent)
        if not missing:
            raise Changed("All that was wanted of these samples has come.")
        paper = _Paper(
            lot, plan, sent.laboratory, "", sent.portion, sent.sampled_at, at, at, None,
            f"no result will come of these samples: {reason.strip()}", sent, reason.strip(),
        )  # fmt: skip
        rows = [_write(writing, paper, quantity, {}) for quantity in missing]
        writing.say(quantity=", ".join(missing), **_named(lot or plan))
        _judge(writing, lot or plan, rows, at)
    return rows
