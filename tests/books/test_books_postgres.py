"""The rows of every earlier book, laid into PostgreSQL as that version had its tables there: they migrate,
agree with their digests, and are judged as they were.  Run by tests/postgres.sh."""

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import psycopg
import pytest
from psycopg import sql

from tests.books.test_books import BOOKS, JUDGE, run
from tests.test_postgres import url  # noqa: F401 a fixture

pytestmark = pytest.mark.of_database("postgresql")
Rows = tuple[str, list[str], list[tuple[object, ...]]]  # table, columns, rows


def rows_of(book: Path) -> Iterator[Rows]:
    """What the book's own tables hold."""
    with closing(sqlite3.connect(f"file:{book}?mode=ro", uri=True)) as source:
        names = source.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name LIKE 'lots\\_%' ESCAPE '\\'"
        ).fetchall()
        for (table,) in names:
            found = source.execute(f"SELECT * FROM {table}")
            yield table, [column[0] for column in found.description], found.fetchall()


def version_of(book: Path) -> str:
    """The newest migration that the book had."""
    with closing(sqlite3.connect(f"file:{book}?mode=ro", uri=True)) as source:
        return str(
            source.execute(
                "SELECT name FROM django_migrations WHERE app = 'lots' ORDER BY name DESC"
            ).fetchone()[0]
        )


def lay(book: Path, there: str) -> None:
    """Lays the rows as they are, and has each table's numbers go on after them."""
    with psycopg.connect(there) as target:
        target.execute("SET CONSTRAINTS ALL DEFERRED")
        for table, columns, rows in rows_of(book):
            truths = {
                name
                for (name,) in target.execute(
                    "SELECT column_name FROM information_schema.columns "
                    "WHERE table_name = %s AND data_type = 'boolean'",
                    [table],
                )
            }
            write = sql.SQL("INSERT INTO {} ({}) VALUES ({})").format(
                sql.Identifier(table),
                sql.SQL(", ").join(map(sql.Identifier, columns)),
                sql.SQL(", ").join([sql.Placeholder()] * len(columns)),
            )
            for row in rows:
                values = zip(columns, row, strict=True)
                fit = [bool(v) if name in truths and v is not None else v for name, v in values]
                target.execute(write, fit)
            if "id" in columns:
                target.execute(
                    sql.SQL(
                        "SELECT setval(pg_get_serial_sequence({}, 'id'), max(id)) FROM {} "
                        "HAVING max(id) IS NOT NULL"
                    ).format(sql.Literal(table), sql.Identifier(table))
                )


@pytest.mark.parametrize("kept", BOOKS, ids=lambda folder: f"book {folder.name}")
def test_an_old_book_goes_on_in_postgresql(
    kept: Path,
    url: str,  # noqa: F811
    tmp_path: Path,
) -> None:
    data = tmp_path / "data"
    shutil.copytree(kept, data)
    before = run(data, "migrate", "lots", version_of(kept / "book.sqlite3"), "-v", "0", url=url)
    assert before.returncode == 0, before.stderr
    lay(kept / "book.sqlite3", url)
    migrated = run(data, "migrate", "-v", "0", url=url)
    assert migrated.returncode == 0, migrated.stderr
    checked = run(data, "check_book", url=url)
    assert "lines agree" in checked.stdout, checked.stdout + checked.stderr
    assert run(data, "check", url=url).returncode == 0
    code = run(data, "export_record", "--list", url=url).stdout.split()[0]
    assert run(data, "export_record", code, "--to", str(data / "out.pdf"), url=url).returncode == 0
    assert (data / "out.pdf").read_bytes() == (data / "record.pdf").read_bytes()
    assert "TR-1 none differ" in run(data, "shell", "-c", JUDGE, url=url).stdout
