"""Readings and observations by hand: entered, corrected, accepted when late."""

from collections.abc import Sequence
from dataclasses import dataclass

from lots.entries.book import Act, act, already, taken_once
from lots.entries.files import Upload, keep_file, media_type
from lots.entries.judging import advance_states, forget_states, judge_loads, later_loads
from lots.entries.lapses import notice_lapses
from lots.entries.moments import Moments
from lots.entries.readings import (
    Figure,
    check_figure,
    check_figures,
    check_in_time,
    figure_value,
    subject_of,
    write_reading,
)
from lots.entries.refusals import Changed, Refused
from lots.entries.signing import require
from lots.models.book import BookLine
from lots.models.deviation import ProcessAdjustment
from lots.models.house import Place
from lots.models.lot import Load, LoadEnd, LoadPart, Lot
from lots.models.people import Person, Right
from lots.models.reading import (
    Accepted,
    Attachment,
    Observation,
    Reading,
    SeriesCorrection,
    SeriesWithdrawn,
)
from lots.queries.evidence import end_of, loads_at
from lots.queries.judgements import Judged, judge_parts
from lots.queries.lineage import parts_of
from lots.queries.plans import plan_value
from lots.queries.spoken_of import COLUMNS, Entry, came_late, loads_of

LEAST_REASON = 10  # letters: a reason in a few words, not one letter typed to get on


@dataclass(frozen=True)
class Entered:
    """The answer to a reading: its rows and what they show."""

    readings: list[Reading]
    judged: list[Judged]
    repeated: bool = False


def _lots(loads: Sequence[Load]) -> list[Lot]:
    parts = LoadPart.objects.filter(load__in=[load.pk for load in loads])
    return [part.lot for part in parts.select_related("lot__plan_version")]


def _fresh(load: Load) -> Load:
    rows = Load.objects.select_related("place__within")
    return rows.prefetch_related("moves", "ends__accepted").get(pk=load.pk)


def _touched(place: Place, load: Load | None, at: int) -> list[Load]:
    """The loads that a reading speaks of: its own, or all that stood in the place then."""
    return [_fresh(load)] if load is not None else loads_at(place.pk, at, at)


@taken_once
def enter_readings(
    person: Person,
    place: Place,
    load: Load | None,
    figures: Sequence[Figure],
    when: Moments,
    attachment: Upload | None = None,
    client_key: str | None = None,
) -> Entered:
    """Keeps one reading, or a round over several fish, and answers with what they show.

    Args:
        place: where it was read.
        load: set when it was read in the load's fish (or is a quantity of the load); None when it
            speaks of the place, and so of every lot that stood in it.
    """
    require(person, Right.OPERATOR)
    done = already(client_key, "reading entered", person)
    if done is not None:
        return _first_answer(done, figures, when.recorded_at)
    if not figures:
        raise Refused({"as_read": "Type the figure."})
    when.check()
    check_figures(figures, place, subject_of(figures[0], load))
    kind = media_type(attachment) if attachment else ""
    touched = _touched_in_time(place, load, figures, when)
    notice_lapses(_lots(touched), when.recorded_at)
    with act("reading entered", person, when.recorded_at, client_key) as writing:
        touched = _touched_in_time(place, load, figures, when)  # again, under the lock
        rows = [write_reading(writing, figure, place, load, when) for figure in figures]
        if attachment is not None:
            kept = keep_file(writing, attachment, kind)
            writing.write(Attachment(file=kept, reading=rows[0]))
        writing.say(place=place.name, readings=len(rows), **when.said())
        return Entered(rows, _judge(writing, rows, touched, when.recorded_at))


def _touched_in_time(
    place: Place, load: Load | None, figures: Sequence[Figure], when: Moments
) -> list[Load]:
    """The loads that the readings speak of, unless their fish cannot have been read then."""
    touched = _touched(place, load, when.observed_at)
    if load is not None:
        check_in_time(touched[0], when, figures[0].quantity != "temperature")
    return touched


def _first_answer(line: BookLine, figures: Sequence[Figure], at: int) -> Entered:
    """What the same entry was answered the first time; other figures under its key are refused, not
    lost."""
    rows = list(Reading.objects.filter(line=line).select_related("place", "load").order_by("id"))
    kept = [(row.probe, row.as_read, row.unit) for row in rows]
    if kept != [(figure.probe, figure.as_read.strip(), figure.unit) for figure in figures]:
        stored = ", ".join(f"{row.as_read} {row.unit}" for row in rows)
        raise Refused(
            {
                "as_read": f"This page has already stored {stored}. Open it again for another reading."
            }
        )
    with_judged = [judged for row in rows[:1] for judged in judged_of(row, at)]
    return Entered(rows, with_judged, repeated=True)


def judged_of(row: Reading, at: int) -> list[Judged]:
    """What stands of the limits that the reading speaks of."""
    loads = _touched(row.place, row.load, row.observed_at)
    parts = LoadPart.objects.filter(load__in=[load.pk for load in loads]).select_related(
        "load__place__within", "lot__plan_version"
    )
    return judge_parts([(part, ()) for part in parts], at)


def _judge(writing: Act, rows: Sequence[Reading], touched: Sequence[Load], at: int) -> list[Judged]:
    for load in touched:
        for row in rows:
            if row.quantity == "temperature":
                advance_states(load, row)
    again = _later(rows, touched)
    forget_states(again)
    judged = judge_loads(writing, touched, at)
    judge_loads(writing, again, at)
    return judged


def _later(rows: Sequence[Reading], touched: Sequence[Load]) -> list[Load]:
    """Loads after these whose cooling clock looks back into the fish's readings."""
    if not any(row.load_id for row in rows):
        return []
    own = {load.pk for load in touched}
    later = {load.pk: load for first in touched for load in later_loads(first)}
    return [load for pk, load in later.items() if pk not in own]


def correct_reading(
    person: Person,
    wrong: Reading,
    figure: Figure | None,
    reason: str,
    when: Moments,
) -> Entered:
    """Puts a wrong reading right by a new row; `figure` None takes it back altogether.  Both stay."""
    require(person, Right.OPERATOR)
    if not reason.strip():
        raise Refused({"reason": "Say what was wrong."})
    if Reading.objects.filter(corrects=wrong).exists():
        raise Changed("This reading was already corrected. Correct the newer row instead.")
    figure = figure and Figure(
        figure.as_read, figure.unit, wrong.probe, wrong.quantity, figure.instrument,
        figure.confirmed, figure.note,
    )  # fmt: skip
    taken_back = figure is None
    if figure is not None:
        check_figure(figure, wrong.place, subject_of(figure, wrong.load))
        same = figure_value(figure) == wrong.value and figure.unit == wrong.unit
        if same and not wrong.withdrawn:
            raise Refused({"as_read": "This is the figure that already stands."})
    else:
        figure = Figure(wrong.as_read, wrong.unit, wrong.probe, wrong.quantity, wrong.instrument)
    seen = Moments(wrong.observed_at, when.entered_at, when.recorded_at, when.device_offset_ms)
    touched = _touched(wrong.place, wrong.load, wrong.observed_at)
    notice_lapses(_lots(touched), when.recorded_at)
    with act("reading corrected", person, when.recorded_at) as writing:
        if Reading.objects.filter(corrects=wrong).exists():
            raise Changed("This reading was already corrected. Correct the newer row instead.")
        touched = _touched(wrong.place, wrong.load, wrong.observed_at)  # again, under the lock
        row = write_reading(
            writing, figure, wrong.place, wrong.load, seen, wrong, reason, taken_back
        )
        writing.say(place=wrong.place.name, corrects=wrong.pk, **when.said())
        forget_states(touched)
        return Entered([row], _judge(writing, [row], touched, when.recorded_at))


@dataclass(frozen=True)
class Look:
    """A thing looked for, and whether it was found so."""

    what: str
    found: bool
    note: str = ""
    attachment: Upload | None = None


@taken_once
def observe(
    person: Person, load: Load, looks: Sequence[Look], when: Moments, client_key: str | None = None
) -> list[Judged]:
    """Keeps what was looked for in a load."""
    require(person, Right.OPERATOR)
    if already(client_key, "observation entered", person) is not None:
        return []
    if not looks:
        raise Refused({"": "Answer yes or no to at least one."})
    when.check()
    kinds = {look.what: media_type(look.attachment) for look in looks if look.attachment}
    notice_lapses(_lots([load]), when.recorded_at)
    with act("observation entered", person, when.recorded_at, client_key) as writing:
        for look in looks:
            row = writing.write(
                Observation(
                    load=load,
                    what=look.what,
                    found=look.found,
                    observed_at=when.observed_at,
                    entered_at=when.entered_at,
                    late_reason=when.late_reason.strip(),
                    note=look.note.strip(),
                )
            )
            if look.attachment is not None:
                kept = keep_file(writing, look.attachment, kinds[look.what])
                writing.write(Attachment(file=kept, observation=row))
        writing.say(load=load.pk, observations=len(looks), **when.said())
        return judge_loads(writing, [_fresh(load)], when.recorded_at)


def correct_observation(
    person: Person, wrong: Observation, found: bool, reason: str, when: Moments
) -> list[Judged]:
    """Puts a wrong yes or no right by a new row."""
    require(person, Right.OPERATOR)
    if not reason.strip():
        raise Refused({"reason": "Say what was wrong."})
    notice_lapses(_lots([wrong.load]), when.recorded_at)
    with act("observation corrected", person, when.recorded_at) as writing:
        if Observation.objects.filter(corrects=wrong).exists():
            raise Changed("This was already corrected. Correct the newer row instead.")
        writing.write(
            Observation(
                load=wrong.load,
                what=wrong.what,
                found=found,
                observed_at=wrong.observed_at,
                entered_at=when.entered_at,
                corrects=wrong,
                correction_reason=reason.strip(),
            )
        )
        writing.say(load=wrong.load_id, corrects=wrong.pk, **when.said())
        return judge_loads(writing, [_fresh(wrong.load)], when.recorded_at)


def accept_late(reviewer: Person, rows: Sequence[Entry], reason: str, at: int) -> None:
    """The records reviewer accepts late or corrected entries, with a reason; from then on they count
    as if logged in time.  Beside readings: ends and starts of loads, a logger's corrections and files
    taken back, why a probe left, accuracy checks."""
    require(reviewer, Right.REVIEWER)
    if not reason.strip():
        raise Refused({"reason": "Say why these late or corrected entries are believed."})
    if not rows:
        raise Refused({"": "Tick at least one entry."})
    if len(reason.strip()) < LEAST_REASON:
        raise Refused({"reason": "Say why in a few words: what you compared them with."})
    notice_lapses(_lots([load for row in rows for load in _loads_of(row)]), at)
    with act("late entries accepted", reviewer, at) as writing:
        for row in rows:
            name = COLUMNS[type(row)]
            if Accepted.objects.filter(**{name: row}).exists():
                raise Changed("One of these was already accepted. Look at the page again.")
            if not needs_acceptance(row):
                raise Refused("One of these is neither late nor a correction.")
            writing.write(Accepted(**{name: row}, reason=reason.strip()))
        loads = {load.pk: load for row in rows for load in _loads_of(row)}
        fresh = [_fresh(load) for load in loads.values()]
        again = [later for load in fresh for later in later_loads(load)]
        both = {load.pk: load for load in (*fresh, *again)}
        forget_states(both.values())
        judge_loads(writing, both.values(), at)
        writing.say(entries=len(rows), reason=reason.strip())


def came_after_end(row: Reading | Observation) -> bool:
    """Whether a thing was measured or looked for in a load when its step was already over."""
    if row.load is None or (isinstance(row, Reading) and row.quantity == "temperature"):
        return False
    end = end_of(_fresh(row.load))
    return end is not None and row.observed_at > end.ended_at


def needs_acceptance(row: Entry) -> bool:
    """Whether it came late, puts another right, or was seen when its step was already over."""
    if isinstance(row, SeriesCorrection | SeriesWithdrawn) or came_late(row):
        return True
    if isinstance(row, Reading | Observation):
        return row.corrects_id is not None or came_after_end(row)
    return isinstance(row, LoadEnd) and row.corrects_id is not None


def _loads_of(row: Entry) -> list[Load]:
    if isinstance(row, Reading):
        return _touched(row.place, row.load, row.observed_at)
    return [row.load] if isinstance(row, Observation | LoadEnd) else loads_of(row)


def adjust_process(
    person: Person, lot: Lot, load: Load | None, limit_id: str, figure: str, what: str, at: int
) -> ProcessAdjustment:
    """Keeps what was adjusted when an operating limit was exceeded."""
    require(person, Right.OPERATOR)
    if not what.strip():
        raise Refused({"what": "Say what was adjusted."})
    limits = [
        limit for point in plan_value(lot.plan_version).control_points for limit in point.limits
    ]
    if limit_id not in {limit.id for limit in limits}:
        raise Refused(
            f"The plan of lot {lot.code} has no such limit. Come from the lot's page again."
        )
    if load is not None and not any(part.load_id == load.pk for part in parts_of(lot)):
        raise Refused(f"Lot {lot.code} was not in that load. Come from the lot's page again.")
    with act("process adjusted", person, at) as writing:
        writing.concerns(lot)
        return writing.write(
            ProcessAdjustment(
                lot=lot, load=load, limit_id=limit_id, figure=figure, what=what.strip()
            )
        )
