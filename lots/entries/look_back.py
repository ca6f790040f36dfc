"""What a failed accuracy check opens: a deviation on every lot that relied on the instrument.

Held is what has an undecided deviation; of fish that has left the house a person must decide whether it
is recalled.
"""

from lots.core.limits import RULES
from lots.entries.book import Act, act, canonical
from lots.models.deviation import Deviation
from lots.models.house import AccuracyCheck
from lots.queries.accuracy_checks import demand_of, figure_of, limit_id_of, off_by, show_error
from lots.queries.look_back import LookBack, Relied, look_back, unsettled_checks

EVIDENCE_ROWS = 40  # reading numbers named in a deviation's evidence


def open_look_back(writing: Act, check: AccuracyCheck, at: int) -> list[Deviation]:
    """Opens what the failed check calls for, within the act that keeps it; names every lot that relied
    on the instrument, those of which nothing is left included.  What is open already stays alone."""
    found = look_back(check)
    writing.concerns(*(one.lot for one in found.relied if one.whereabouts.words != "voided"))
    return _open(writing, found, at)


def notice_look_backs(at: int) -> int:
    """Opens, in the name of the book, what failed checks call for by what was entered since: a reading
    or a logger's file that came late, a load said late.  How many opened."""
    opened = 0
    for check in unsettled_checks():
        if not any(one.to_open for one in look_back(check).relied):
            continue
        with act("look-back noticed", None, at) as writing:
            made = _open(
                writing, look_back(check), at
            )  # again: somebody may have written it meanwhile
            writing.say(check=check.pk, name=check.instrument.name)
            writing.nothing = not made
        opened += len(made)
    return opened


def _open(writing: Act, found: LookBack, at: int) -> list[Deviation]:
    made = [writing.write(_deviation(found, one, at)) for one in found.relied if one.to_open]
    writing.concerns(*(row.lot_id for row in made))
    if made:
        writing.say(look_back=len(made))
    return made


def _deviation(found: LookBack, one: Relied, at: int) -> Deviation:
    check = found.check
    return Deviation(
        lot=one.lot,
        load=one.load,
        control_point=one.control_point,
        limit_id=limit_id_of(check),
        demand=demand_of(check),
        figure=figure_of(check),
        why=_why(found, one),
        broke_at=one.first_at,
        last_broke_at=one.last_at,
        signature=limit_id_of(check),
        evidence=canonical(_evidence(found, one, at)),
        rules=RULES,
    )


def _why(found: LookBack, one: Relied) -> str:
    """How the lot relied on it, in words: "14 readings of it with Thermometer 1: 38.0 °F to 148.0 °F"."""
    ranges = dict.fromkeys(f"{used.range} in {used.load.place.name}" for _, used in one.uses)
    many = "1 reading" if one.count == 1 else f"{one.count} readings"
    name = found.check.instrument.name
    words = f"{many} with {name}, found {show_error(found.check)}: {', '.join(ranges)}"
    return f"{words}; fish that came from another lot" if one.inherited else words


def _evidence(found: LookBack, one: Relied, at: int) -> dict[str, object]:
    numbers = [row.pk for row in one.hand]
    return {
        "verdict": "DEVIATION",
        "figure": figure_of(found.check),
        "figure_at": found.check.observed_at,
        "why": _why(found, one),
        "broke_at": one.first_at,
        "breaches": 0,
        "judged_at": at,
        "readings": numbers[-EVIDENCE_ROWS:],
        "readings_in_all": len(numbers),
        "series": [[row.pk, row.digest] for row in one.packed[-EVIDENCE_ROWS:]],
        "check": found.check.pk,
        "good_check": found.window.good.pk if found.window.good else 0,
        "off_ninths": off_by(found.check),
    }
