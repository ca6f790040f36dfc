"""People and rights: invited by a one-time code, given and ended rights, each act a line."""

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass

from lots.entries.book import act
from lots.entries.refusals import Refused
from lots.entries.signing import require
from lots.models.people import Person, Right, RightGiven, RightTaken
from lots.models.scratch import Invitation, Login
from lots.queries.house import keepers, rules


@dataclass(frozen=True, slots=True)
class Grant:
    """A right with the training that it rests on."""

    right: str
    course: str = ""
    course_date: str = ""
    certificate: str = ""


def _digest(code: str) -> str:
    plain = "".join(code.split()).replace("-", "").upper()
    return hashlib.sha256(plain.encode()).hexdigest()


def _new_code(person: Person, at: int) -> str:
    """A one-time code with which the person sets their own password."""
    letters = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
    raw = "".join(secrets.choice(letters) for _ in range(16))
    Invitation.objects.filter(person=person).delete()
    Invitation.objects.create(
        code_sha256=_digest(raw), person=person, expires_at=at + rules().invitation_ms
    )
    return "-".join(raw[i : i + 4] for i in range(0, 16, 4))


def _check_new(username: str, name: str, initials: str) -> None:
    wrong: dict[str, str] = {}
    if not name.strip():
        wrong["name"] = "Type the person's printed name."
    if not username.strip().isascii() or not username.strip().isidentifier():
        wrong["username"] = "Use letters, digits and _ only, beginning with a letter."
    elif Person.objects.filter(username=username.strip()).exists():
        wrong["username"] = f"Somebody is already called “{username.strip()}” here. Choose another."
    if not initials.strip() or len(initials.strip()) > 4:
        wrong["initials"] = "Type one to four letters."
    elif Person.objects.filter(initials=initials.strip()).exists():
        wrong["initials"] = (
            f"“{initials.strip()}” already stands for somebody else. Choose another."
        )
    if wrong:
        raise Refused(wrong)


def _check_grants(grants: Sequence[Grant]) -> None:
    for grant in grants:
        if grant.right not in Right.values:
            raise Refused({"rights": "Choose at least one right from the list."})
        trained = grant.right in (Right.REVIEWER, Right.COORDINATOR)
        if trained and not (grant.course and grant.course_date and grant.certificate):
            raise Refused(
                {
                    "course": f"A {Right(grant.right).label} needs course, date and certificate "
                    "(21 CFR 123.10)."
                }
            )


def invite(
    keeper: Person, username: str, name: str, initials: str, grants: Sequence[Grant], at: int
) -> tuple[Person, str]:
    """Names a person, gives the rights, and returns the one-time code to hand over."""
    require(keeper, Right.KEEPER)
    if not grants:
        raise Refused({"rights": "Choose at least one right."})
    _check_grants(grants)
    with act("person invited", keeper, at) as writing:
        _check_new(username, name, initials)
        person = writing.write(
            Person(username=username.strip(), name=name.strip(), initials=initials.strip())
        )
        for grant in grants:
            _give(writing, person, grant)
        writing.say(name=person.name)
        Login.objects.create(username=person.username, person_id=person.pk, password="!")
        code = _new_code(person, at)
    return person, code


def _give(writing: object, person: Person, grant: Grant) -> None:
    writing.write(  # type: ignore[attr-defined]
        RightGiven(
            person=person,
            right=grant.right,
            course=grant.course,
            course_date=grant.course_date,
            certificate=grant.certificate,
        )
    )


def give_right(keeper: Person, person: Person, grant: Grant, at: int) -> None:
    """Gives one more right; given again it replaces the one that stood, e.g. with newer training."""
    require(keeper, Right.KEEPER)
    _check_grants([grant])
    with act("right given", keeper, at) as writing:
        for standing in RightGiven.objects.filter(person=person, right=grant.right, taken=None):
            writing.write(RightTaken(given=standing, reason="given again"))
        _give(writing, person, grant)
        writing.say(name=person.name, right=grant.right)


def take_right(keeper: Person, person: Person, right: str, reason: str, at: int) -> None:
    """Ends a right; the last keeper of people cannot be removed."""
    require(keeper, Right.KEEPER)
    if not reason.strip():
        raise Refused({"reason": "Say why the right ends."})
    with act("right ended", keeper, at) as writing:
        standing = list(RightGiven.objects.filter(person=person, right=right, taken=None))
        if not standing:
            raise Refused(f"{person.name} does not hold this right.")
        if right == Right.KEEPER and keepers() <= 1:
            raise Refused(
                f"{person.name} is the last keeper of people. Make another person keeper first."
            )
        for given in standing:
            writing.write(RightTaken(given=given, reason=reason.strip()))
        writing.say(name=person.name, right=right)


def reset(keeper: Person, person: Person, at: int) -> str:
    """A new one-time code; until it is used the old password stops working."""
    require(keeper, Right.KEEPER)
    with act("log-in reset", keeper, at) as writing:
        writing.say(name=person.name)
        Login.objects.filter(person=person).update(password="!", pin="")
        return _new_code(person, at)


def let_in(person: Person, at: int) -> str:
    """A new one-time code given on the server's own console, for somebody locked out."""
    with act("let in from the console", None, at) as writing:
        writing.say(name=person.name)
        return _new_code(person, at)


def invited(code: str, at: int) -> Person | None:
    """Whom the one-time code is for, if it is still good."""
    row = Invitation.objects.filter(code_sha256=_digest(code), expires_at__gt=at).first()
    return row.person if row else None


def set_password(code: str, password: str, at: int) -> Person:
    """Takes up an invitation; the code is used up."""
    with act("password set", None, at) as writing:
        person = invited(code, at)
        if person is None:
            raise Refused(
                {"code": "This code is not known, was used, or is too old. Ask for a new one."}
            )
        writing.say(name=person.name)
        login = Login.objects.get(person=person)
        login.set_password(password)
        login.save()
        Invitation.objects.filter(person=person).delete()
    return person
