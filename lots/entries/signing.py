"""Rights and signatures: who may do what, and what a signing keeps."""

from typing import Final

from lots.entries.book import Act
from lots.entries.refusals import NotAllowed, Refused
from lots.models.people import Person, Right, Signature
from lots.queries.house import rights_of, standing_right, training_words

TRAINED: Final = (Right.REVIEWER, Right.COORDINATOR)


def require(person: Person, *rights: str) -> None:
    """Refuses a person who holds none of the rights."""
    if not rights_of(person) & set(rights):
        words = " or ".join(str(Right(right).label) for right in rights)
        raise NotAllowed(f"This needs the right of {words}, which {person.name} does not hold.")


def require_training(person: Person, right: Right) -> str:
    """The training kept with the right; without it there is no signing (21 CFR 123.10)."""
    given = standing_right(person, right)
    if given is None:
        raise NotAllowed(f"Signing this needs the right of {right.label}.")
    if right in TRAINED and not (given.course and given.course_date and given.certificate):
        raise Refused(
            f"{person.name} cannot sign as {right.label}: course, date and certificate of the "
            "training are not in the book (21 CFR 123.10). The keeper of people can give the right "
            "again with them."
        )
    return training_words(given)


def sign(act: Act, person: Person, right: Right, meaning: str, what: str) -> Signature:
    """Keeps a signature: printed name, moment and meaning (21 CFR 11.50).  The password was asked
    for again before the act began."""
    training = require_training(person, right)
    return act.write(
        Signature(
            person=person,
            printed_name=person.name,
            right=right,
            training=training,
            meaning=meaning,
            what=what,
            at=act.at,
        )
    )
