"""The PIN on a shared tablet: chosen, cleared, checked.  It means the initials of an entry, no more."""

import re
from typing import Final

from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction

from lots.core.units import show_span
from lots.entries.book import act
from lots.entries.refusals import Refused
from lots.entries.signing import require
from lots.models.people import Person, Right
from lots.models.scratch import Login, PinTry
from lots.queries.house import rights_of, rules

SHORTEST: Final = 4
LONGEST: Final = 6
LADDER: Final = "0123456789012345"
MINUTE_MS: Final = 60_000
LONGEST_WAIT: Final = 16  # times the first wait


class WrongPin(Exception):
    """Not the person's PIN, or they have none."""

    def __init__(self, why: str) -> None:
        self.why = why
        super().__init__(why)


class MustWait(Exception):
    """Too many wrong PINs for this person from this address."""

    def __init__(self, until: int, why: str) -> None:
        self.until, self.why = until, why
        super().__init__(why)


def set_pin(person: Person, pin: str, at: int) -> None:
    """Chooses a PIN, or another one.  The password was asked for before."""
    require(person, Right.OPERATOR)
    check_new_pin(pin)
    with act("PIN set", person, at) as writing:
        writing.say(name=person.name)
        Login.objects.filter(person=person).update(pin=make_password(pin))
        PinTry.objects.filter(person=person).delete()


def check_new_pin(pin: str) -> None:
    """Refuses what is no PIN, and what anybody would guess."""
    if not re.fullmatch(rf"[0-9]{{{SHORTEST},{LONGEST}}}", pin):
        raise Refused({"pin": f"Type {SHORTEST} to {LONGEST} digits."})
    if len(set(pin)) == 1:
        raise Refused({"pin": "The same digit over and over is guessed at once. Choose another."})
    if pin in LADDER or pin[::-1] in LADDER:
        raise Refused({"pin": "Digits in a row are guessed at once. Choose another."})
    half = len(pin) // 2
    if len(pin) % 2 == 0 and pin[:half] == pin[half:]:
        raise Refused({"pin": "The same digits twice are guessed soon. Choose another."})


def clear_pin(keeper: Person, person: Person, at: int) -> None:
    """Takes a person's PIN away; until they choose another, they enter with their own log-in."""
    require(keeper, Right.KEEPER)
    if not has_pin(person):
        raise Refused(f"{person.name} has no PIN.")
    with act("PIN cleared", keeper, at) as writing:
        writing.say(name=person.name)
        Login.objects.filter(person=person).update(pin="")


def has_pin(person: Person) -> bool:
    """Whether the person has chosen one and may still enter anything with it."""
    chosen = Login.objects.filter(person=person).exclude(pin="").exists()
    return chosen and Right.OPERATOR in rights_of(person)


def check_pin(person: Person, pin: str, address: str, at: int) -> None:
    """Returns where it is the person's PIN.

    Wrong ones are counted by person and address together: whoever guesses elsewhere does not lock the
    person out at the tablet, and one person's mistakes there stop nobody else.

    Raises:
        MustWait: too many wrong ones; `until` says when to try again.
        WrongPin: it is not theirs; `why` says how many tries are left.
    """
    tries, first_wait = rules().pin_tries, rules().pin_wait_ms
    with (
        transaction.atomic()
    ):  # the count is taken and raised in one go: no two requests share a try
        row, _ = PinTry.objects.select_for_update().get_or_create(person=person, address=address)
        until = _until(row, tries, first_wait)
        if until > at:
            raise MustWait(until, _wait_words(person, until - at))
        row.failures += 1
        row.last_at = at
        row.save()
    hashed = Login.objects.filter(person=person).values_list("pin", flat=True).first() or ""
    if not hashed:
        make_password(pin)  # takes as long as a wrong PIN does
    if hashed and check_password(pin, hashed) and Right.OPERATOR in rights_of(person):
        PinTry.objects.filter(person=person, address=address).delete()
        return
    if not hashed:
        raise WrongPin(f"{person.name} has no PIN yet: it is chosen under “My PIN”.")
    until = _until(row, tries, first_wait)
    if until > at:
        raise MustWait(until, _wait_words(person, until - at))
    left = tries - row.failures % tries
    raise WrongPin(
        f"This is not the PIN of {person.name}. {left} {'tries are' if left > 1 else 'try is'} left."
    )


def _until(row: PinTry, tries: int, first_wait: int) -> int:
    """When the next try is free: after each `tries` wrong ones a wait, twice as long each time."""
    rounds, over = divmod(row.failures, tries)
    if over or not rounds:
        return 0
    return row.last_at + first_wait * min(2 ** (rounds - 1), LONGEST_WAIT)


def _wait_words(person: Person, span_ms: int) -> str:
    whole = -(-span_ms // MINUTE_MS) * MINUTE_MS
    return f"Too many wrong PINs for {person.name} here. Wait {show_span(whole)}, or log in with the password."
