"""A logger's packed readings and the kept files, changed behind the application's back: the very one is named."""

from pathlib import Path

import pytest

from lots.models.reading import PackedSeries
from tests.entries.roads import csv, imported
from tests.make import Book
from tests.queries.test_check_book import change, check, files, words

__all__ = ["files"]  # the fixture


def file_of(book: Book, count: int, columns: int = 1) -> None:
    figures = [[f"{36 + n % 5 / 10}" for n in range(count)] for _ in range(columns)]
    probes = {n: f"probe {n}" for n in range(1, columns + 1)} if columns > 1 else {}
    data = csv("2026-03-04 08:00", 2, *figures)
    imported(book, data, "2026-03-04 20:00", book.place("Cooler"), None, probes)


def test_bytes_that_changed_places_between_chunks_are_told(book: Book) -> None:
    file_of(book, 2000)
    first, second = PackedSeries.objects.order_by("pk")
    swapped = "UPDATE lots_packedseries SET data = CASE id WHEN %s THEN %s ELSE %s END"
    change(swapped, first.pk, bytes(second.data), bytes(first.data))
    assert [one.rsplit(", ", 1)[1] for one in words()] == [
        "was changed: it holds what chunk 2 held",
        "was changed: it holds what chunk 1 held",
    ]


def test_a_file_of_which_everything_is_gone_is_named_by_its_chunks(book: Book) -> None:
    file_of(book, 2000)
    change("DELETE FROM lots_packedseries")
    change("DELETE FROM lots_loggerimport")
    found = words()
    assert any("chunk 2 of 2 of a logger's file, is gone" in one for one in found)
    assert any("of loggerimport is gone" in one for one in found)


@pytest.mark.of_database("sqlite")  # the attack is made in its own words
def test_a_chunk_is_named_with_its_probe_in_a_file_of_two(book: Book) -> None:
    file_of(book, 1500, columns=2)
    change("UPDATE lots_packedseries SET data = zeroblob(length(data)) WHERE probe = 'probe 2' "
           "AND count = 500")  # fmt: skip
    line = PackedSeries.objects.first().line_id  # type: ignore[union-attr]
    assert words() == [
        f"line {line}: chunk 4 of 4 of Cooler's file logger.csv, readings 2501 to 3000 (probe 2), was "
        "changed"
    ]


@pytest.mark.of_database("sqlite")  # the attack is made in its own words
def test_a_changed_chunk_whose_own_digest_was_made_to_fit_is_named(book: Book) -> None:
    file_of(book, 2500)
    change("UPDATE lots_packedseries SET data = (SELECT data FROM lots_packedseries WHERE id = 2), "
           "digest = (SELECT digest FROM lots_packedseries WHERE id = 2) WHERE id = 1")  # fmt: skip
    (fault,) = words()
    assert "chunk 1 of 3" in fault and fault.endswith("was changed")


@pytest.mark.of_database("sqlite")  # the attack is made in its own words
def test_whole_chunk_rows_that_changed_places_are_told(book: Book) -> None:
    file_of(book, 2500)
    change("UPDATE lots_packedseries SET id = 100 WHERE id = 1")
    change("UPDATE lots_packedseries SET id = 1 WHERE id = 2")
    change("UPDATE lots_packedseries SET id = 2 WHERE id = 100")
    assert [one.rsplit(", ", 1)[1] for one in words() if "chunk" in one] == [
        "was changed: it holds what chunk 2 held",
        "was changed: it holds what chunk 1 held",
    ]


def test_a_files_head_that_was_changed_is_named(book: Book) -> None:
    file_of(book, 2500)
    change("UPDATE lots_loggerimport SET root = digest FROM lots_packedseries")
    found = words()
    assert any("of loggerimport is not what was written" in one for one in found)
    assert any(
        "the head of Cooler's file logger.csv is not that of its 3 chunks" in o for o in found
    )


def test_a_lost_or_changed_file_is_named_and_a_stray_one_noted(book: Book, files: Path) -> None:
    file_of(book, 10)
    (file,) = files.iterdir()
    data = file.read_bytes()
    file.write_bytes(data[:-1] + b"\r")
    assert check()[0] == 0
    assert "its file logger.csv was changed (files/" in check("--files")[1]
    file.write_bytes(data + b"\n")
    assert "has not the size that it had" in check()[1]
    file.rename(files / "elsewhere")
    assert "its file logger.csv is gone" in check()[1]
    assert "note: files/elsewhere stands in no line" in check("--files")[1]
