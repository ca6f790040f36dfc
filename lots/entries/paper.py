"""A load's sheet of paper, entered in one go for the day on which the tablet died."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from lots.entries.book import act, already, taken_once
from lots.entries.files import Upload, keep_file, media_type
from lots.entries.judging import forget_states, judge_loads, later_loads
from lots.entries.lapses import notice_lapses
from lots.entries.moments import Moments
from lots.entries.readings import (
    Figure,
    check_figures,
    check_in_time,
    subject_of,
    write_reading,
)
from lots.entries.refusals import Refused, Unlikely
from lots.entries.signing import require
from lots.models.lot import Load, LoadPart
from lots.models.people import Person, Right
from lots.models.reading import Attachment, Observation, Reading
from lots.queries.spoken_of import fresh_loads

KIND = "entered from paper"


@dataclass(frozen=True, slots=True)
class PaperRow:
    """One line of the sheet: when, what was read, and what it is of: the load's fish, or its place."""

    observed_at: int
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """What stands on a sheet: its lines, what was looked for, and when."""

    rows: Sequence[PaperRow]
    looks: Mapping[str, bool]
    looked_at: int
    of_fish: bool


def field_of_row(row: int, name: str) -> str:
    """The name that a refusal of a line's field goes by."""
    return f"row_{row}_{name}"


@taken_once
def enter_from_paper(
    person: Person,
    load: Load,
    sheet: Sheet,
    picture: Upload | None,
    when: Moments,
    client_key: str | None = None,
) -> list[Reading]:
    """Keeps a whole sheet with its picture: one act, one line.  Its readings count as late ones do.

    Args:
        when: the moments of the entering; `late_reason` says why it comes from paper.
    """
    require(person, Right.OPERATOR)
    done = already(client_key, KIND, person)
    if done is not None:
        return list(Reading.objects.filter(line=done).order_by("id"))
    (load,) = fresh_loads([load.pk])
    _check(load, sheet, picture, when)
    assert picture is not None
    kind = media_type(picture)
    lots = [
        part.lot for part in LoadPart.objects.filter(load=load).select_related("lot__plan_version")
    ]
    notice_lapses(lots, when.recorded_at)
    with act(KIND, person, when.recorded_at, client_key) as writing:
        (load,) = fresh_loads([load.pk])
        _check(load, sheet, picture, when)  # again: the load may have been ended meanwhile
        kept = keep_file(writing, picture, kind)
        writing.write(Attachment(file=kept, load=load, note="the sheet"))
        rows = [
            write_reading(
                writing, figure, load.place, load if sheet.of_fish else None,
                replace(when, observed_at=row.observed_at), from_paper=True,
            )
            for row in sheet.rows
            for figure in row.figures
        ]  # fmt: skip
        for what, found in sheet.looks.items():
            writing.write(
                Observation(
                    load=load, what=what, found=found, observed_at=sheet.looked_at,
                    entered_at=when.entered_at, late_reason=when.late_reason.strip(),
                    note="copied from paper",
                )
            )  # fmt: skip
        writing.concerns(*lots)
        writing.say(load=load.pk, readings=len(rows), **when.said())
        touched = [load, *later_loads(load)]
        forget_states(touched)
        judge_loads(writing, touched, when.recorded_at)
    return rows


def _check(load: Load, sheet: Sheet, picture: Upload | None, when: Moments) -> None:
    """Looks at every line before it refuses, so that all that is wrong is said at once."""
    wrong: dict[str, str] = {}
    unlikely: dict[str, str] = {}
    if picture is None:
        wrong["picture"] = "Choose the picture of the sheet: it is kept beside what is typed."
    if not when.late_reason.strip():
        wrong["late_reason"] = "Say why this comes from paper."
    if not any(row.figures for row in sheet.rows) and not sheet.looks:
        wrong[field_of_row(0, "at")] = "Type at least one line of the sheet."
    last = 0
    for number, row in enumerate(sheet.rows):
        wrong |= _wrong_moment(load, number, row, when, last, sheet.of_fish)
        last = row.observed_at
        try:
            if row.figures:
                subject = subject_of(row.figures[0], load if sheet.of_fish else None)
                check_figures(row.figures, load.place, subject)
        except Unlikely as refusal:
            unlikely |= {field_of_row(number, name): text for name, text in refusal.fields.items()}
        except Refused as refusal:
            wrong |= {field_of_row(number, name): text for name, text in refusal.fields.items()}
    if picture is not None:
        try:
            media_type(picture)
        except Refused as refusal:
            wrong["picture"] = refusal.fields["attachment"]
    if wrong:
        raise Refused(wrong)
    if unlikely:
        raise Unlikely(unlikely)


def _wrong_moment(
    load: Load, number: int, row: PaperRow, when: Moments, last: int, of_fish: bool
) -> dict[str, str]:
    name = field_of_row(number, "at")
    if row.observed_at < last:
        return {name: "This is before the line above it. The lines of a sheet follow each other."}
    moment = replace(when, observed_at=row.observed_at)
    try:
        moment.check_to_come()
        if of_fish:
            check_in_time(load, moment, measured=False)
    except Refused as refusal:
        return {name: refusal.fields["observed_at"]}
    return {}
