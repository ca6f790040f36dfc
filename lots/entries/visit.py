"""An inspector's visit: opened for chosen lots, begun with a one-time code, looked at, ended."""

import hashlib
import hmac
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from lots.core.units import show_span
from lots.entries.book import Act, act
from lots.entries.refusals import Refused
from lots.entries.signing import require
from lots.models.lot import Lot
from lots.models.people import Person, Right
from lots.models.scratch import VisitKey
from lots.models.visit import Visit, VisitEnded, VisitLot, VisitSeen
from lots.queries.house import rules
from lots.queries.visit import is_open, visits_past_their_time

OPENERS: Final = (Right.KEEPER, Right.COORDINATOR)
LETTERS: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # none that looks like another
LENGTH: Final = 16
TIME_OVER, BY_INSPECTOR = "its time was over", "ended by the inspector"
WRONG_CODE: Final = (
    "This code is not known, was used, or its visit is over. Ask the house for a new one."
)


@dataclass(frozen=True, slots=True)
class NewVisit:
    """Whom the visit is for, when it is, and the lots it is to, `chosen` in words."""

    inspector: str
    agency: str
    starts_at: int
    ends_at: int
    lots: Sequence[Lot]
    chosen: str

    def check(self, at: int) -> None:
        longest = rules().visit.longest_ms
        wrong = {}
        if not self.inspector.strip():
            wrong["inspector"] = "Type the inspector's name, as on their credentials."
        if not self.agency.strip():
            wrong["agency"] = "Type the agency that sent them."
        if not self.lots:
            wrong["lots"] = "No lot is chosen: nothing could be shown. Choose at least one."
        if self.ends_at <= max(self.starts_at, at):
            wrong["ends_at"] = "This end is not after the start, or is past already."
        elif self.ends_at - self.starts_at > longest:
            wrong["ends_at"] = (
                f"A visit lasts {show_span(longest)} at most. Choose an earlier end; another can follow."
            )
        if wrong:
            raise Refused(wrong)


def _digest(code: str) -> str:
    plain = "".join(code.split()).replace("-", "").upper()
    return hashlib.sha256(plain.encode()).hexdigest()


def _new_code(visit: Visit) -> str:
    """A one-time code for the visit; the session that another opened is shut out."""
    raw = "".join(secrets.choice(LETTERS) for _ in range(LENGTH))
    VisitKey.objects.update_or_create(
        visit=visit, defaults={"code_sha256": _digest(raw), "session_sha256": ""}
    )
    return "-".join(raw[at : at + 4] for at in range(0, LENGTH, 4))


def open_visit(person: Person, new: NewVisit, at: int) -> tuple[Visit, str]:
    """Opens a visit and returns the one-time code to hand over.

    Its lines concern no lot: to be looked at changes nothing that a review would have to see.
    """
    require(person, *OPENERS)
    new.check(at)
    with act("visit opened", person, at) as writing:
        visit = writing.write(
            Visit(
                inspector=new.inspector.strip(),
                agency=new.agency.strip(),
                starts_at=new.starts_at,
                ends_at=new.ends_at,
                chosen=new.chosen,
            )
        )
        for lot in new.lots:
            writing.write(VisitLot(visit=visit, lot=lot))
        writing.say(
            inspector=visit.inspector, agency=visit.agency, codes=[one.code for one in new.lots]
        )
        return visit, _new_code(visit)


def renew_code(person: Person, visit: Visit, at: int) -> str:
    """Another one-time code, for a tablet that lost its session; the old session is shut out."""
    require(person, *OPENERS)
    with act("visit code renewed", person, at) as writing:
        if not is_open(visit, at):
            raise Refused("This visit is over. Open another.")
        writing.say(inspector=visit.inspector, visit=visit.pk)
        return _new_code(visit)


def begin_visit(code: str, at: int) -> tuple[Visit, str]:
    """Takes the one-time code: the visit, and the key that its session is known by from now on.

    Raises:
        Refused: the code is not known, was used, or the visit is not open (yet, or any more).
    """
    with act("visit begun", None, at) as writing:
        found = VisitKey.objects.filter(code_sha256=_digest(code)).select_related("visit").first()
        if found is None or not code.strip():
            raise Refused({"visit_code": WRONG_CODE})
        visit = found.visit
        if at < visit.starts_at:
            raise Refused({"visit_code": "This visit has not begun yet. Try again at its hour."})
        if not is_open(visit, at):
            raise Refused({"visit_code": WRONG_CODE})
        key = secrets.token_urlsafe(32)
        found.code_sha256, found.session_sha256 = "", hashlib.sha256(key.encode()).hexdigest()
        found.save()
        writing.say(inspector=visit.inspector, agency=visit.agency, visit=visit.pk)
        return visit, key


def holds_key(visit: Visit, key: str) -> bool:
    """Whether this is the key of the session that last began the visit."""
    found = VisitKey.objects.filter(visit=visit).exclude(session_sha256="").first()
    digest = hashlib.sha256(key.encode()).hexdigest()
    return found is not None and hmac.compare_digest(found.session_sha256, digest)


def see(visit: Visit, what: str, address: str, at: int) -> None:
    """Keeps that a page was looked at for the first time in the visit."""
    if VisitSeen.objects.filter(visit=visit, address=address).exists():
        return  # most looks are not the first: no line, no lock
    with act("visit saw", None, at) as writing:
        if VisitSeen.objects.filter(visit=visit, address=address).exists():
            writing.nothing = True
            return
        writing.write(VisitSeen(visit=visit, what=what[:200], address=address[:300], at=at))
        writing.say(visit=visit.pk, what=what[:200])


def end_visit(person: Person, visit: Visit, why: str, at: int) -> None:
    """Ends a visit at once, by the house."""
    require(person, *OPENERS)
    with act("visit ended", person, at) as writing:
        if at >= visit.ends_at or VisitEnded.objects.filter(visit=visit).exists():
            raise Refused("This visit is over already.")
        _end(writing, visit, at, why.strip() or "ended by the house")


def leave_visit(visit: Visit, at: int) -> None:
    """Ends a visit at once, by the inspector."""
    with act("visit ended", None, at) as writing:
        if VisitEnded.objects.filter(visit=visit).exists():
            writing.nothing = True
            return
        _end(writing, visit, at, BY_INSPECTOR)


def end_visits_past_their_time(at: int) -> int:
    """Writes, in the name of the book, that visits are over whose time is; how many.  They were shut
    from that moment on, whether this is written or not."""
    if not visits_past_their_time(at):
        return 0
    with act("visit ended", None, at) as writing:
        over = visits_past_their_time(at)  # again: somebody may have ended one meanwhile
        for visit in over:
            _end(writing, visit, visit.ends_at, TIME_OVER)
        writing.nothing = not over
    return len(over)


def _end(writing: Act, visit: Visit, ended_at: int, why: str) -> None:
    writing.write(VisitEnded(visit=visit, ended_at=ended_at, why=why[:200]))
    writing.say(inspector=visit.inspector, visit=visit.pk, why=why[:200])
    VisitKey.objects.filter(visit=visit).delete()
