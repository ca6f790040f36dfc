"""Pieces: a small sample of a lot's fish measured and weighed, and put right."""

from collections.abc import Sequence
from dataclasses import dataclass

from lots.core.pieces import Piece, content_of, odd_thickness, odd_weight, piece_from
from lots.core.units import BadQuantity
from lots.entries.book import Act, act, already, canonical, taken_once
from lots.entries.judging import judge_loads
from lots.entries.lapses import notice_lapses
from lots.entries.moments import Moments
from lots.entries.piece_readings import put_pieces_right, write_pieces
from lots.entries.readings import check_in_time
from lots.entries.refusals import Changed, Refused, Unlikely
from lots.entries.signing import require
from lots.entries.standing import standing
from lots.models.house import Instrument
from lots.models.lot import Load, LoadPart, Lot
from lots.models.people import Person, Right
from lots.models.salt import PieceSample
from lots.queries.house import rules
from lots.queries.pieces import readings_of, root_of, spoken_for

MEASURED = "pieces measured"


@dataclass(frozen=True)
class TypedPieces:
    """A sample as typed: the thickness and weight of each piece, "" where it has none.  `sure`: the person
    has said that what was asked about is so."""

    thickness: Sequence[str]
    weight: Sequence[str]
    thickness_unit: str = "mm"
    weight_unit: str = "g"
    sure: bool = False


def checked(typed: TypedPieces) -> list[Piece]:
    """The pieces, unless a figure is none, or is unlikely and nobody has said that it is so.

    Raises:
        Refused, Unlikely: by "thickness-3", "weight-3" (the third piece).
    """
    pieces: list[Piece] = []
    wrong: dict[str, str] = {}
    asked: dict[str, str] = {}
    for number in range(1, max(len(typed.thickness), len(typed.weight)) + 1):
        thickness, weight = _at(typed.thickness, number), _at(typed.weight, number)
        if not (thickness or weight):
            continue
        for name, text, other in (("thickness", thickness, ""), ("weight", weight, "")):
            given = (text, other) if name == "thickness" else (other, text)
            try:
                one = piece_from(given[0], typed.thickness_unit, given[1], typed.weight_unit)
            except BadQuantity as error:
                if text:
                    wrong[f"{name}-{number}"] = str(error)
                continue
            odd = odd_thickness(one, rules().pieces) or odd_weight(one, rules().pieces)
            if odd:
                asked[f"{name}-{number}"] = odd
        if not {f"thickness-{number}", f"weight-{number}"} & set(wrong):
            pieces.append(piece_from(thickness, typed.thickness_unit, weight, typed.weight_unit))
    if wrong:
        raise Refused(wrong | asked)
    if not pieces:
        raise Refused({"thickness-1": "Type the thickness or the weight of at least one piece."})
    if asked and not typed.sure:
        raise Unlikely(asked)
    return pieces


def _at(texts: Sequence[str], number: int) -> str:
    return texts[number - 1].strip() if number <= len(texts) else ""


@taken_once
def measure_pieces(
    person: Person,
    lot: Lot,
    typed: TypedPieces,
    when: Moments,
    load: Load | None = None,
    instrument: Instrument | None = None,
    note: str = "",
    client_key: str | None = None,
) -> PieceSample:
    """Keeps a sample of a lot's pieces.

    Where the plan limits their thickness at a step, each piece is a reading of that step's load too:
    at once if it has begun, or when it begins.

    Args:
        load: the load that the pieces were in; None: before they went into the next.
    """
    require(person, Right.OPERATOR)
    done = already(client_key, MEASURED, person)
    if done is not None:
        return PieceSample.objects.get(line=done)
    pieces = checked(typed)
    when.check()
    _check_where(lot, load, when)
    notice_lapses([lot], when.recorded_at)
    with act(MEASURED, person, when.recorded_at, client_key) as writing:
        lot = standing(lot)
        load = _check_where(lot, load, when)  # again, under the lock
        writing.concerns(lot)
        writing.say(code=lot.code, pieces=len(pieces), **when.said())
        row = writing.write(
            PieceSample(
                lot=lot,
                load=load,
                instrument=instrument,
                pieces=canonical(content_of(pieces)),
                observed_at=when.observed_at,
                entered_at=when.entered_at,
                note=note.strip(),
                reason=when.late_reason.strip(),
            )
        )
        loads = [part.load for part in spoken_for(row)]
        for one in loads:
            write_pieces(writing, row, one, when.recorded_at)
        judge_loads(writing, loads, when.recorded_at)
    return row


def _check_where(lot: Lot, load: Load | None, when: Moments) -> Load | None:
    """The load as it stands, unless the pieces cannot have been measured there and then."""
    if when.observed_at < lot.received_at:
        raise Refused({"observed_at": f"Lot {lot.code} was received later than this."})
    if load is None:
        return None
    if not LoadPart.objects.filter(load=load, lot=lot).exists():
        raise Refused({"load": f"Lot {lot.code} was not in that load. Choose another."})
    rows = Load.objects.select_related("place__within")
    fresh = rows.prefetch_related("moves", "ends__accepted").get(pk=load.pk)
    check_in_time(fresh, when, measured=True)
    return fresh


def correct_pieces(
    person: Person, wrong: PieceSample, typed: TypedPieces | None, reason: str, when: Moments
) -> PieceSample:
    """Puts a sample right by a new one; None takes it back.  Both stay, and the readings that the old
    one was kept in are corrected with it: what that makes milder waits for the records reviewer."""
    require(person, Right.OPERATOR)
    if not reason.strip():
        raise Refused({"reason": "Say what was wrong."})
    pieces = checked(typed) if typed is not None else []
    content = canonical(content_of(pieces))
    if content == wrong.pieces:
        raise Refused({"thickness-1": "These are the figures that already stand."})
    notice_lapses([wrong.lot], when.recorded_at)
    with act("pieces corrected", person, when.recorded_at) as writing:
        lot = standing(wrong.lot)
        if PieceSample.objects.filter(corrects=wrong).exists():
            raise Changed("This sample was already put right. Look at the page again.")
        writing.concerns(lot)
        writing.say(code=lot.code, corrects=wrong.pk, **when.said())
        row = writing.write(
            PieceSample(
                lot=lot,
                load=wrong.load,
                instrument=wrong.instrument,
                pieces=content,
                observed_at=wrong.observed_at,
                entered_at=when.entered_at,
                note=wrong.note,
                reason=reason.strip(),
                corrects=wrong,
            )
        )
        _judge_anew(writing, row, when.recorded_at)
    return row


def _judge_anew(writing: Act, row: PieceSample, at: int) -> None:
    known = readings_of(root_of(row))
    loads = {part.load_id: part.load for part in spoken_for(row)}
    rows = Load.objects.select_related("place__within").prefetch_related("moves", "ends__accepted")
    loads |= {load.pk: load for load in rows.filter(pk__in=set(known) - set(loads))}
    for pk, load in sorted(loads.items()):
        put_pieces_right(writing, row, known.get(pk, {}), load, at)
    judge_loads(writing, [loads[pk] for pk in sorted(loads)], at)
