"""Each way to falsify a book that stands in a file, and what finds it, or that nothing does.

    python -m pytest tests/attacks -s      prints the table

The forger has the file, this program's source and all the time; the triggers stand again afterwards.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest

from tests.attacks import hands
from tests.attacks.forging import Forger, copy_of
from tests.attacks.hands import Attack, own_process, unguarded
from tests.attacks.lay import RECORD

WALK, FILES = "check_book", "check_book --files"
SYSTEM, RECORDS = "manage.py check", "an issued PDF"
ORDER = (WALK, FILES, SYSTEM, RECORDS)


@dataclass(frozen=True)
class Case:
    """An attack; who must find it and with what words, or why nobody can ("" in `by`)."""

    attack: Attack
    by: str
    words: str


def _case(attack: Attack, by: str, words: str) -> Case:
    return Case(attack, by, words)


def _sql(sql: str, by: str, words: str) -> Case:
    return Case(unguarded(sql), by, words)


CASES: dict[str, Case] = {
    "one reading changed": _sql(
        "UPDATE lots_reading SET as_read = '155', value = value + 50000 WHERE id = 20",
        WALK, "line 33: row 20 of reading is not what was written",
    ),
    "a row deleted": _sql(
        "DELETE FROM lots_observation WHERE id = 2", WALK, "row 2 of observation is gone"
    ),
    "a row added": _sql(hands.ADD_READING, WALK, "of reading stands in no line, though it says"),
    "a row laid under another line": _sql(
        "UPDATE lots_reading SET line_id = 30 WHERE id = 20",
        WALK, "line 33: row 20 of reading says that line 30 wrote it",
    ),
    "two lines swapped": _case(hands.swap_lines, WALK, "line 30 does not follow line 29"),
    "the newest ten lines cut off": _case(
        hands.cut_newest, WALK, "rows were taken off the end of reading"
    ),
    "the same, and SQLite's counters set back": _case(
        hands.cut_newest_tidily, "", "the rest is a book that could have ended there"
    ),
    "all lines since the smoke cut off, counters set back": _case(
        hands.cut_past_the_record, RECORDS, "which is not in the book"
    ),
    "one line's content changed, its digest recomputed": _case(
        partial(hands.reword, 31), WALK, "line 32 does not follow line 31"
    ),
    "the newest line's content changed, its digest recomputed": _case(
        hands.reword_newest, "", "no line follows it yet, and it changes no row"
    ),
    "the whole chain recomputed from line 17 on": _case(
        hands.change_and_chain_again, WALK, "the chain"
    ),
    "the chain recomputed from the line after the last issued record on": _case(
        hands.change_the_end, "", "no record that was handed out rests on these lines yet"
    ),
    "a packed chunk changed, one byte": _case(
        hands.change_a_byte, WALK,
        "line 51: chunk 3 of 11 of Smokehouse 1's file probes.csv, readings 2001 to 3000, was changed",
    ),
    "a packed chunk deleted": _sql(
        "DELETE FROM lots_packedseries WHERE id = 3", WALK,
        "line 51: chunk 3 of 11 of Smokehouse 1's file probes.csv, readings 2001 to 3000, is gone",
    ),
    "a packed chunk added": _sql(
        hands.ADD_CHUNK, WALK,
        "line 51: a chunk of 1000 readings was put into Smokehouse 1's file probes.csv (row 12)",
    ),
    "two packed chunks swapped": _case(
        hands.swap_chunks, WALK,
        "chunk 4 of 11 of Smokehouse 1's file probes.csv, readings 3001 to 4000, was changed: it holds "
        "what chunk 5 held",
    ),
    "a LineLot row removed": _sql(
        "DELETE FROM lots_linelot WHERE line_id = 31",
        WALK, "line 31: the lots that it concerns were changed",
    ),
    "a kept file changed, one byte": _case(
        hands.change_file, FILES, "line 51: its file probes.csv was changed"
    ),
    "a kept file removed": _case(
        hands.lose_file, WALK, "line 51: its file probes.csv is gone from the folder of files"
    ),
    "triggers dropped and nothing else": _case(
        hands.drop_triggers, WALK, "an append-only trigger is missing"
    ),
    "the clock set back": _case(
        hands.set_clock_back, WALK, "was heard 180 min before line"
    ),
    "a column default": _case(
        hands.change_default, "", "no effect: an entry writes every column, and the reading counts"
    ),
    "a person renamed": _sql(
        "UPDATE lots_person SET name = 'Somebody Else' WHERE id = 2",
        WALK, "line 2: row 2 of person is not what was written",
    ),
    "an entry's name on its tablet changed": _sql(
        "UPDATE lots_bookline SET client_key = 'x' WHERE number = 31",
        "", "client_key is not under the digest: sent again, the entry would be taken twice",
    ),
    "a log-in given another password": _sql(
        "UPDATE lots_login SET password = 'x' WHERE person_id = 2",
        "", "log-ins are no part of the book: what is written with it then is",
    ),
}  # fmt: skip
ALSO = {"triggers dropped and nothing else": {SYSTEM: "lots.E001"}}


@pytest.fixture(scope="module")
def laid(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("attacked") / "data"
    folder.mkdir()
    own_process(folder, "tests.attacks.lay", "book")
    return folder


@pytest.fixture(scope="module")
def table() -> Iterator[list[tuple[str, str]]]:
    rows: list[tuple[str, str]] = []
    yield rows
    print("\n\nattack → what caught it")
    for attack, caught in rows:
        print(f"  {attack}\n      → {caught}")


def heard(folder: Path, records: Path) -> dict[str, list[str]]:
    said = own_process(folder, "tests.attacks.witnesses", str(records / RECORD))
    return dict(json.loads(said))


def shown(said: dict[str, list[str]], case: Case) -> str:
    if not case.by:
        return f"not found ({case.words})"
    words = next(one for one in said[case.by] if case.words in one)
    first = words.strip().splitlines()[0]
    return f"{case.by}: {first}"


def test_a_book_that_nobody_attacked_is_accused_of_nothing(laid: Path) -> None:
    assert heard(laid, laid) == {name: [] for name in ORDER}


@pytest.mark.parametrize("name", CASES)
def test_the_attack_is_found_by_whom_the_table_says(
    name: str, laid: Path, tmp_path: Path, table: list[tuple[str, str]]
) -> None:
    case = CASES[name]
    forger = Forger(copy_of(laid, tmp_path / "data"))
    case.attack(forger)
    forger.close()
    said = heard(forger.folder, laid)
    for witness in ORDER:  # the first of these is named; those before it saw nothing
        if witness == case.by:
            assert any(case.words in words for words in said[witness]), said
            break
        assert said[witness] == [], said
    for witness, words in ALSO.get(name, {}).items():
        assert any(words in one for one in said[witness]), said
    table.append((name, shown(said, case)))
