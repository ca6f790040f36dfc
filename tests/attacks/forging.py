"""The hand that attacks: somebody with the database's file, the source of this program and all the time.

Triggers are taken away for the attack and put back after it, as somebody who knows of them would.
"""

import json
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from lots.models.kept import KEPT
from lots.queries.book_rows import KEPT_ROWS
from lots.queries.digests import canonical, sha256

LINE = ("number", "at", "person_id", "kind", "content", "form", "prev", "digest", "client_key")


class Forger:
    """A folder with a book, in the forger's hands."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.db = sqlite3.connect(folder / "book.sqlite3", isolation_level=None)
        self.db.execute("PRAGMA recursive_triggers = ON")

    @property
    def last(self) -> int:
        return int(self.one("SELECT max(number) FROM lots_bookline"))

    def run(self, sql: str, *values: Any) -> None:
        """One change, which must change something."""
        assert self.db.execute(sql, values).rowcount != 0, sql

    def one(self, sql: str, *values: Any) -> Any:
        return self.db.execute(sql, values).fetchone()[0]

    def line(self, number: int) -> dict[str, Any]:
        sql = f"SELECT {', '.join(LINE)} FROM lots_bookline WHERE number = ?"
        return dict(zip(LINE, self.db.execute(sql, [number]).fetchone(), strict=True))

    def put_line(self, number: int, **changes: Any) -> None:
        sets = ", ".join(f"{name} = ?" for name in changes)
        self.run(f"UPDATE lots_bookline SET {sets} WHERE number = ?", *changes.values(), number)

    @contextmanager
    def unguarded(self) -> Iterator[None]:
        """Without triggers, which stand again afterwards as they stood."""
        rows = self.db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        standing = rows.fetchall()
        for name, _ in standing:
            self.db.execute(f"DROP TRIGGER {name}")
        yield
        for _, sql in standing:
            self.db.execute(sql)

    def close(self) -> None:
        self.db.close()

    # ---- what takes more than one change ----

    def row_digest(self, name: str, pk: int) -> str:
        model = KEPT_ROWS[name]
        columns = [model._meta.get_field(one).column for one in (*model.NAMED, *model.LATER)]
        quoted = ", ".join(f'"{column}"' for column in columns)
        sql = f"SELECT {quoted} FROM {model._meta.db_table} WHERE id = ?"
        return sha256(canonical(model.content_of(self.db.execute(sql, [pk]).fetchone())))

    def newest(self) -> int:
        """The number of the last line."""
        row = self.db.execute("SELECT max(number) FROM lots_bookline").fetchone()
        return int(row[0])

    def line_digest(self, number: int) -> str:
        line = self.line(number)
        names = ("form", "number", "at", "kind", "content", "prev")
        covered = {name: line[name] for name in names} | {"person": line["person_id"] or 0}
        return sha256(canonical(covered))

    def chain_again(self, start: int) -> None:
        """Every digest from a line on as if what stands there now had been written."""
        for number in range(start, self.last + 1):
            content = json.loads(self.line(number)["content"])
            content["rows"] = [[n, pk, self.row_digest(n, pk)] for n, pk, _ in content["rows"]]
            prev = self.line(number - 1)["digest"]
            self.put_line(number, content=canonical(content), prev=prev)
            self.put_line(number, digest=self.line_digest(number))

    def cut_off(self, above: int) -> None:
        """Lines above a number, with all their rows."""
        for model in KEPT:
            column = "number" if model.__name__ == "BookLine" else "line_id"
            self.db.execute(f"DELETE FROM {model._meta.db_table} WHERE {column} > ?", [above])

    def tidy_up(self) -> None:
        """What the end of the book betrays beside it: numbers that SQLite gave, files of no row."""
        for model in KEPT:
            table, pk = model._meta.db_table, model._meta.pk.column
            self.db.execute(
                f"UPDATE sqlite_sequence SET seq = coalesce((SELECT max({pk}) FROM {table}), 0) "
                "WHERE name = ?",
                [table],
            )
        told = {row[0] for row in self.db.execute("SELECT sha256 FROM lots_keptfile")}
        for file in (self.folder / "files").iterdir():
            if file.name not in told:
                file.unlink()


def copy_of(folder: Path, target: Path) -> Path:
    shutil.copytree(folder, target)
    return target
