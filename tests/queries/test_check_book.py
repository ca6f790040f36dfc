"""What the command says of a book: where it began, how much it tells, and its exit."""

import json
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection

from lots.management.commands import check_book as command
from lots.models.book import BookLine, Kept
from lots.models.house import Place
from lots.models.kept import KEPT
from lots.models.reading import PackedSeries
from lots.models.triggers import lay_triggers, lift_triggers
from lots.queries import book_lines
from lots.queries.book_check import Fault, Walk, book_faults
from tests.make import Book


@pytest.fixture(autouse=True)
def files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(settings, "FILES_DIR", tmp_path / "files")
    return tmp_path / "files"


def check(*words: str) -> tuple[int, str]:
    out = StringIO()
    with pytest.raises(SystemExit) as left:
        call_command("check_book", *words, stdout=out)
    return int(left.value.code or 0), out.getvalue()


def change(sql: str, *values: object) -> None:
    """Past the application, and with every trigger standing again."""
    lift_triggers()
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
    lay_triggers()


def words() -> list[str]:
    return [fault.words for fault in book_faults()]


def test_a_sound_book_is_said_to_agree_with_its_newest_digest(book: Book) -> None:
    status, said = check()
    newest = BookLine.objects.order_by("-number")[0]
    assert status == 0
    assert f"{newest.number} lines agree. The newest digest is {newest.digest}." in said
    assert "their bytes were not read" in said


def test_an_empty_book_is_said_to_be_empty(db: None) -> None:
    assert check() == (0, "The book is empty.\n")


def test_since_begins_at_its_line_and_says_what_was_not_checked(book: Book) -> None:
    digest = BookLine.objects.get(number=12).digest
    change("UPDATE lots_place SET name = 'x' WHERE line_id = 11")
    assert check()[0] == 1
    status, said = check("--since", digest)
    newest = BookLine.objects.order_by("-number")[0].number
    assert status == 0
    assert f"{newest - 11} lines from line 12 on agree" in said
    assert "Lines 1 to 11 were not checked." in said


def test_since_holds_its_own_first_line_to_the_digest(book: Book) -> None:
    line = BookLine.objects.get(number=12)
    change("UPDATE lots_bookline SET kind = 'x' WHERE number = 12")
    status, said = check("--since", line.digest)
    assert (status, "line 12 is not what its digest says" in said) == (1, True)


def test_an_unknown_digest_is_refused_in_words(book: Book) -> None:
    with pytest.raises(CommandError, match="No line of this book has the digest abc"):
        call_command("check_book", "--since", "abc")


def test_the_first_fault_of_each_line_is_told_and_with_every_all_of_them(book: Book) -> None:
    book.open_lot()
    line = BookLine.objects.get(kind="lot opened").number
    change("UPDATE lots_observation SET what = 'x' WHERE line_id = %s", line)
    first, every = check()[1], check("--every")[1]
    assert first.count(f"line {line}:") == 1
    assert every.count(f"line {line}:") > 1


def test_no_more_than_so_many_are_told_and_how_many_more_there_are(book: Book) -> None:
    change("UPDATE lots_place SET name = name || 'x'")
    status, said = check("--most", "2")
    assert status == 1
    assert said.count("is not what was written") == 2
    assert f"… and {Place.objects.count() - 2} more." in said


def test_json_says_the_same(book: Book) -> None:
    change("UPDATE lots_place SET name = 'x' WHERE line_id = 11")
    status, said = check("--json")
    told: dict[str, Any] = json.loads(said)
    assert (status, told["agrees"], told["more_faults"]) == (1, False, 0)
    (fault,) = told["faults"]
    assert fault["line"] == 11
    assert fault["words"].startswith("line 11: row ")


def test_a_witness_is_heard_too(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    def witness() -> Iterator[Fault]:
        yield Fault(3, "line 3 was sealed with another digest")

    monkeypatch.setattr(command, "WITNESSES", (witness,))
    status, said = check()
    assert (status, "line 3 was sealed with another digest" in said) == (1, True)


def test_every_column_of_a_kept_row_is_under_its_digest() -> None:
    """What is under no digest could be changed unseen: packed readings are under their file's head."""
    for model in KEPT:
        if issubclass(model, Kept):
            names = {field.name for field in model._meta.concrete_fields} - {"id", "line"}
            left = names - set(model.NAMED) - set(model.LATER)
            assert left == ({"data"} if model is PackedSeries else set()), model


@pytest.mark.of_database("sqlite")  # the attack is made in its own words
def test_blocks_of_any_size_find_the_same(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    book.open_lot()
    change("UPDATE lots_place SET line_id = 3 WHERE line_id = 14")
    change("DELETE FROM lots_rightgiven WHERE id = 2")
    whole = words()
    assert len(whole) == 3
    for size in (1, 2, 3, 7):
        monkeypatch.setattr(book_lines, "LINES_AT_ONCE", size)
        assert words() == whole


def test_a_row_that_another_line_tells_of_is_named_from_both_sides(book: Book) -> None:
    place = Place.objects.get(line=14).pk
    change("UPDATE lots_place SET line_id = 3 WHERE line_id = 14")
    assert f"line 14: row {place} of place says that line 3 wrote it" in words()


def test_rows_that_changed_places_are_told_apart_from_changed_ones(book: Book) -> None:
    one, other = Place.objects.order_by("pk")[:2]
    change("UPDATE lots_place SET name = 'x' WHERE id = %s", one.pk)
    change("UPDATE lots_place SET name = %s, kind = %s WHERE id = %s", one.name, one.kind, other.pk)
    assert any(f"row {other.pk} of place is not what was written: it holds what row {one.pk} held" in w
               for w in words())  # fmt: skip


def test_a_line_that_tells_of_no_kept_rows_name_is_named(book: Book) -> None:
    line = BookLine.objects.order_by("-number")[0]
    content = json.loads(line.content) | {"rows": [["login", 1, "x"]]}
    change("UPDATE lots_bookline SET content = %s WHERE number = %s",
           json.dumps(content), line.number)  # fmt: skip
    assert any("row 1 of login: no rows of that name are kept" in one for one in words())


@pytest.mark.parametrize("content", ["no json", "[]", '{"rows": [1]}', '{"rows": 3}', "{" * 9])
def test_a_line_that_cannot_be_read_is_named_and_the_walk_goes_on(content: str, book: Book) -> None:
    change("UPDATE lots_bookline SET content = %s WHERE number = 12", content)
    found = words()
    assert "line 12 cannot be read" in found
    assert any("stands in no line, though it says line 12" in one for one in found)
    assert not any("line 14" in one for one in found)


def test_a_line_that_follows_another_than_the_one_before_is_named(book: Book) -> None:
    change("UPDATE lots_bookline SET prev = 'x' WHERE number = 12")
    assert any(one.startswith("line 12 does not follow line 11") for one in words())


@pytest.mark.of_database("sqlite")  # the attack is made in its own words
def test_a_row_that_names_a_line_after_the_last_is_found(book: Book) -> None:
    newest = BookLine.objects.order_by("-number")[0].number
    place = Place.objects.get(line=14).pk
    with connection.constraint_checks_disabled():
        change("UPDATE lots_place SET line_id = %s WHERE line_id = 14", newest + 5)
        found = words()
        change("UPDATE lots_place SET line_id = 14 WHERE id = %s", place)
    assert f"row {place} of place stands in no line, though it says line {newest + 5}" in found


@pytest.mark.of_database("sqlite")  # the attack is made in its own words
def test_a_missing_trigger_is_told_with_how_many_more(book: Book) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DROP TRIGGER lots_place_no_delete")
        cursor.execute("DROP TRIGGER lots_place_no_update")
    found = words()
    lay_triggers()
    assert found == ["an append-only trigger is missing: lots_place_no_update, and 1 more"]


@pytest.mark.of_database("sqlite")  # the attack is made in its own words
def test_rows_taken_off_the_end_are_missed_by_the_number_that_was_given(book: Book) -> None:
    book.at_place("Cooler", "08:00 36.2")
    newest = BookLine.objects.order_by("-number")[0].number
    lift_triggers()
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM lots_reading WHERE line_id = %s", [newest])
        cursor.execute("DELETE FROM lots_bookline WHERE number = %s", [newest])
    lay_triggers()
    assert any(one.startswith(f"after line {newest - 1}: rows were taken off the end of reading")
               for one in words())  # fmt: skip


def test_a_clock_set_back_is_noted_and_is_no_fault(book: Book) -> None:
    book.at_place("Cooler", "10:00 36.2")
    book.at_place("Cooler", "08:00 36.2")
    status, said = check()
    assert status == 0
    assert "was heard 120 min before line" in said


def test_a_block_is_walked_with_as_many_questions_however_many_rows_it_has(book: Book) -> None:
    book.at_place("Cooler", "07:00 36.2")
    with CountedQueries() as few:
        list(Walk().findings())
    for hour in range(8, 20):
        book.at_place("Cooler", f"{hour:02}:00 36.2")
    with CountedQueries() as more:
        list(Walk().findings())
    assert more.count == few.count


class CountedQueries:
    """How many questions were asked meanwhile."""

    def __enter__(self) -> "CountedQueries":
        self.count = 0
        self._wrapped = connection.execute_wrapper(self._one)
        self._wrapped.__enter__()
        return self

    def _one(self, execute: Any, *args: Any) -> Any:
        self.count += 1
        return execute(*args)

    def __exit__(self, *error: Any) -> None:
        self._wrapped.__exit__(*error)
