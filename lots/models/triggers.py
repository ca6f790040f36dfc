"""Append-only by the database itself: triggers on every kept table, and a check that they stand.

SQLite drops a table's triggers silently when the table is remade, and INSERT OR REPLACE walks past a
delete trigger unless recursive_triggers is on; PostgreSQL's TRUNCATE walks past row triggers, and a
session in the role of a replica past every trigger that is not ENABLE ALWAYS.  So there is a trigger for
each, laid after every migration where it does not stand, and `check` fails where one is missing.
"""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Final

from django.core.checks import CheckMessage, Error
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.utils import DatabaseError

REFUSAL: Final = "kept rows are never changed or deleted: add a correcting row"


def kept_tables() -> list[tuple[str, str, list[list[str]]]]:
    """(table, primary key column, columns of each unique rule) of every kept model."""
    from lots.models.kept import KEPT

    return [
        (model._meta.db_table, model._meta.pk.column, list(_unique_columns(model)))
        for model in KEPT
    ]


def _unique_columns(model: Any) -> Iterator[list[str]]:
    for field in model._meta.concrete_fields:
        if field.unique:
            yield [field.column]
    for rule in model._meta.constraints:
        if getattr(rule, "fields", None):
            yield [model._meta.get_field(name).column for name in rule.fields]


def _sqlite(table: str, pk: str, unique: list[list[str]]) -> Iterator[tuple[str, str]]:
    for act in ("UPDATE", "DELETE"):
        yield (
            f"{table}_no_{act.lower()}",
            f"BEFORE {act} ON {table} BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END",
        )
    same = " OR ".join(
        "(" + " AND ".join(f"{column} = NEW.{column}" for column in columns) + ")"
        for columns in unique
    )
    yield (
        f"{table}_no_replace",
        f"BEFORE INSERT ON {table} WHEN EXISTS (SELECT 1 FROM {table} WHERE {same})"
        f" BEGIN SELECT RAISE(ABORT, 'UNIQUE constraint failed: {table}; {REFUSAL}'); END",
    )


def _postgres(table: str, pk: str, unique: list[list[str]]) -> Iterator[tuple[str, str]]:
    """In the words in which PostgreSQL gives a definition back."""
    yield (
        f"{table}_no_change",
        f"BEFORE DELETE OR UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION refuse_change()",
    )
    yield (
        f"{table}_no_truncate",
        f"BEFORE TRUNCATE ON {table} FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()",
    )


_BODY: Final = f" BEGIN RAISE EXCEPTION '{REFUSAL}'; END "
_FUNCTION: Final = (
    f"CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $${_BODY}$$"
)
# A trigger that was disabled, or whose function was given another body, does not stand.
_STANDING: Final = """
    SELECT t.tgname, pg_get_triggerdef(t.oid, true) FROM pg_trigger t
    JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid
    JOIN pg_language l ON l.oid = p.prolang
    WHERE NOT t.tgisinternal AND t.tgenabled = 'A' AND pg_table_is_visible(c.oid)
    AND l.lanname = 'plpgsql' AND p.prosrc = %s
"""


def triggers(connection: BaseDatabaseWrapper) -> Iterator[tuple[str, str, str]]:
    """(table, trigger name, its definition) of all that must stand in this database, by the columns
    that its tables have: a book not yet migrated is held to its own."""
    make = _postgres if connection.vendor == "postgresql" else _sqlite
    with connection.cursor() as cursor:
        standing = _columns(connection, cursor)
    for table, pk, unique in kept_tables():
        have = standing.get(table)
        if have is not None:
            unique = [columns for columns in unique if have.issuperset(columns)]
        for name, definition in make(table, pk, unique):
            yield table, name, definition


def _columns(connection: BaseDatabaseWrapper, cursor: Any) -> dict[str, set[str]]:
    """The columns that each table has; on SQLite alone, where the triggers hang on them.  One question:
    Django's own introspection parses every table's SQL, which is dearer than a walk through a book."""
    found: dict[str, set[str]] = {}
    if connection.vendor == "sqlite":
        cursor.execute(
            "SELECT m.name, c.name FROM sqlite_master m JOIN pragma_table_info(m.name) c"
            " WHERE m.type = 'table'"
        )
        for table, column in cursor.fetchall():
            found.setdefault(table, set()).add(column)
    return found


def lay_triggers(using: str = "default") -> None:
    """Lays the triggers that do not stand, on the kept tables that exist.  Where all stand nothing is
    touched: a role that may not change tables then serves the book."""
    connection = connections[using]
    missing = set(missing_triggers(using))
    if not missing:
        return
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_FUNCTION)
        for table, name, definition in list(triggers(connection)):
            if name in missing:
                _drop(connection, cursor, table, name)
                cursor.execute(f"CREATE TRIGGER {name} {definition}")
                if connection.vendor == "postgresql":
                    cursor.execute(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {name}")


def lift_triggers(using: str = "default") -> None:
    """Takes the triggers away; for the flush at the end of a test alone."""
    connection = connections[using]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":  # what waits for the commit bars a table's change
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table, name, _ in list(triggers(connection)):
            _drop(connection, cursor, table, name)


def _drop(connection: BaseDatabaseWrapper, cursor: Any, table: str, name: str) -> None:
    on = f" ON {table}" if connection.vendor == "postgresql" else ""
    cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def missing_triggers(using: str = "default") -> list[str]:
    """Names of the triggers that must stand and do not, on tables that exist."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_STANDING, [_BODY])
        else:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        standing = dict(cursor.fetchall())
    return [
        name
        for table, name, definition in triggers(connection)
        if table in tables and not standing.get(name, "").endswith(definition)
    ]


def check_triggers(app_configs: Iterable[Any] | None, **_: Any) -> list[CheckMessage]:
    """System check: fails where a kept table has lost a trigger."""
    connection = connections["default"]
    name = str(connection.settings_dict["NAME"])
    if connection.vendor == "sqlite" and "memory" not in name and not Path(name).exists():
        return []
    try:
        missing = missing_triggers()
    except DatabaseError:
        return []
    return [
        Error(
            f"The append-only trigger {name} is missing: a kept table was remade or tampered with.",
            hint="Find out why, check the book (manage.py check_book), then run manage.py migrate.",
            id="lots.E001",
        )
        for name in missing
    ]
