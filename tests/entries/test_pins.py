"""The PIN: chosen, refused, checked, throttled by person and address."""

import pytest
from django.db import connection

from lots.entries import people
from lots.entries.pins import MustWait, WrongPin, check_pin, clear_pin, has_pin, set_pin
from lots.entries.refusals import NotAllowed, Refused
from lots.models.book import BookLine
from lots.models.people import Person
from lots.models.scratch import Login
from lots.queries.house import rules
from tests.make import PASSWORD, Book, moment

AT = moment("10:00")
PIN = "4071"
HERE, THERE = "192.0.2.1", "192.0.2.2"


def other_operator(book: Book) -> Person:
    person, code = people.invite(
        book.keeper, "otto", "Otto Other", "OX", [people.Grant("operator")], AT
    )
    people.set_password(code, PASSWORD, AT)
    return person


def test_the_right_pin_is_taken_and_the_book_says_whose_was_set(book: Book) -> None:
    set_pin(book.operator, PIN, AT)
    line = BookLine.objects.order_by("-number").first()
    assert line is not None
    assert (line.kind, line.person) == ("PIN set", book.operator)
    assert PIN not in line.content
    check_pin(book.operator, PIN, HERE, AT)


def test_the_pin_is_kept_as_a_hash_alone(book: Book) -> None:
    set_pin(book.operator, PIN, AT)
    assert PIN not in Login.objects.get(person=book.operator).pin
    with connection.cursor() as cursor:
        cursor.execute("SELECT content FROM lots_bookline")
        assert not any(PIN in row[0].split('"') for row in cursor.fetchall())


@pytest.mark.parametrize(
    ("pin", "words"),
    [("407", "4 to 6 digits"), ("4071234", "4 to 6 digits"), ("40a1", "4 to 6 digits"), ("", "4 to 6 digits"),
     ("٤٠٧١", "4 to 6 digits"), ("7777", "same digit"), ("1234", "in a row"), ("4321", "in a row"),
     ("8901", "in a row"), ("987654", "in a row"), ("4747", "same digits twice"), ("407407", "same digits twice")],
)  # fmt: skip
def test_what_anybody_would_guess_is_no_pin(book: Book, pin: str, words: str) -> None:
    before = BookLine.objects.count()
    with pytest.raises(Refused, match=words):
        set_pin(book.operator, pin, AT)
    assert BookLine.objects.count() == before
    assert not has_pin(book.operator)


def test_only_who_may_log_has_a_pin(book: Book) -> None:
    with pytest.raises(NotAllowed):
        set_pin(book.reviewer, PIN, AT)


def test_a_wrong_one_says_how_many_tries_are_left_and_a_right_one_begins_anew(book: Book) -> None:
    set_pin(book.operator, PIN, AT)
    for left in (4, 3):
        with pytest.raises(WrongPin, match=f"{left} tries are left"):
            check_pin(book.operator, "9999", HERE, AT)
    check_pin(book.operator, PIN, HERE, AT)
    with pytest.raises(WrongPin, match="4 tries are left"):
        check_pin(book.operator, "9999", HERE, AT)


def wrong(book: Book, times: int, address: str = HERE, at: int = AT) -> int:
    """So many wrong ones; returns when the next is free, or 0."""
    until = 0
    for _ in range(times):
        try:
            check_pin(book.operator, "9999", address, at)
        except MustWait as wait:
            until = wait.until
        except WrongPin:
            until = 0
    return until


def test_after_too_many_even_the_right_one_waits_and_each_round_waits_longer(book: Book) -> None:
    set_pin(book.operator, PIN, AT)
    wait = rules().pin_wait_ms
    assert wrong(book, rules().pin_tries) == AT + wait
    with pytest.raises(MustWait, match="Wait 1 min"):
        check_pin(book.operator, PIN, HERE, AT + wait - 1)
    later = AT + wait
    assert wrong(book, rules().pin_tries, at=later) == later + 2 * wait
    check_pin(book.operator, PIN, HERE, later + 2 * wait)


def test_trying_while_it_waits_counts_for_nothing(book: Book) -> None:
    set_pin(book.operator, PIN, AT)
    until = wrong(book, rules().pin_tries)
    assert wrong(book, 20) == until


def test_whoever_guesses_elsewhere_does_not_lock_the_person_out_here(book: Book) -> None:
    set_pin(book.operator, PIN, AT)
    assert wrong(book, 5, THERE)
    check_pin(book.operator, PIN, HERE, AT)


def test_one_person_s_mistakes_stop_nobody_else_at_the_same_tablet(book: Book) -> None:
    other = other_operator(book)
    set_pin(book.operator, PIN, AT)
    set_pin(other, "8264", AT)
    assert wrong(book, 5)
    check_pin(other, "8264", HERE, AT)


def test_without_a_pin_nothing_is_right(book: Book) -> None:
    with pytest.raises(WrongPin, match="has no PIN yet"):
        check_pin(book.operator, "", HERE, AT)


def test_a_right_that_has_ended_ends_the_pin(book: Book) -> None:
    set_pin(book.operator, PIN, AT)
    people.take_right(book.keeper, book.operator, "operator", "left the house", AT)
    assert not has_pin(book.operator)
    with pytest.raises(WrongPin):
        check_pin(book.operator, PIN, HERE, AT)


def test_the_keeper_clears_a_pin_and_the_book_says_so(book: Book) -> None:
    set_pin(book.operator, PIN, AT)
    clear_pin(book.keeper, book.operator, AT)
    assert not has_pin(book.operator)
    assert BookLine.objects.filter(kind="PIN cleared", person=book.keeper).count() == 1
    with pytest.raises(Refused, match="has no PIN"):
        clear_pin(book.keeper, book.operator, AT)
    with pytest.raises(NotAllowed):
        clear_pin(book.operator, book.operator, AT)


def test_a_new_one_time_code_ends_the_pin_too(book: Book) -> None:
    set_pin(book.operator, PIN, AT)
    people.reset(book.keeper, book.operator, AT)
    assert not has_pin(book.operator)
