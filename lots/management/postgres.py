"""What differs where the book lies in PostgreSQL: whose job a copy is, and what the role may do."""

import shlex
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from django.apps import apps
from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection, transaction

from lots.models.kept import KEPT

SINGLE: Final = "django_migrations"  # the one table of Django's that is no model


def in_postgres() -> bool:
    return bool(connection.vendor == "postgresql")


def where() -> str:
    """Where the book lies, in words; never with the password."""
    if not in_postgres():
        return str(settings.DATA_DIR)
    return f"The PostgreSQL database “{connection.settings_dict['NAME']}”"


def own_place() -> str:
    """How another book is given a place of its own."""
    return "database of its own: DATABASE_URL" if in_postgres() else "folder of its own: --data DIR"


def dump_command() -> str:
    """What copies the book.  It asks for the password, or takes it from PGPASSWORD or ~/.pgpass."""
    known = connection.settings_dict
    named = {"host": "HOST", "port": "PORT", "username": "USER"}
    words = [f"--{word}={known[key]}" for word, key in named.items() if known[key]]
    return shlex.join(["pg_dump", "--format=custom", "--file=book.dump", *words, known["NAME"]])


def backup_words() -> str:
    return (
        "This book lies in PostgreSQL: a copy is its own tools' job, while the book is in use too:\n"
        f"    {dump_command()}\n"
        f"The folders files and keys in {settings.DATA_DIR} are not in it: copy them as well."
    )


def check_can_keep() -> None:
    """Refuses a database that could not keep every letter."""
    with connection.cursor() as cursor:
        cursor.execute("SHOW server_encoding")
        (encoding,) = cursor.fetchone()
    if encoding != "UTF8":
        raise CommandError(
            f"{where()} keeps text as {encoding}, which lacks letters that people have in their "
            "names. Make one with: createdb --encoding=UTF8 --template=template0 NAME"
        )


def role_words() -> str:
    """What is said of a role that could switch the triggers off; "" of one that cannot."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT current_user, rolsuper, EXISTS (SELECT 1 FROM pg_class c WHERE c.relname = "
            "'lots_bookline' AND pg_has_role(c.relowner, 'USAGE')) FROM pg_roles "
            "WHERE rolname = current_user"
        )
        role, everything, owner = cursor.fetchone()
    if not everything and not owner:
        return ""
    what = "is a superuser" if everything else "owns the book's tables"
    return (
        f"The role “{role}” {what}, so it could switch off what keeps rows from being changed. "
        "manage.py least_rights says what a role needs that cannot."
    )


def _tables(models: Iterable[type]) -> list[str]:
    return sorted({model._meta.db_table for model in models})  # type: ignore[attr-defined]


def least_rights(role: str) -> list[str]:
    """SQL that gives a role what serving the book needs: kept tables are read and added to."""
    quoted = connection.ops.quote_name(role)
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_schema()")
        schema = connection.ops.quote_name(cursor.fetchone()[0])
    kept = _tables(KEPT)
    others = [name for name in _tables(apps.get_models()) if name not in kept]
    read = [name for name in others if name.startswith(("auth_", "django_content_type"))]
    changed = [name for name in others if name not in read]
    return [
        f"GRANT USAGE ON SCHEMA {schema} TO {quoted};",
        f"GRANT SELECT, INSERT ON {', '.join(kept)} TO {quoted};",
        f"GRANT SELECT, INSERT, UPDATE, DELETE ON {', '.join(changed)} TO {quoted};",
        f"GRANT SELECT ON {', '.join([*read, SINGLE])} TO {quoted};",
        f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA {schema} TO {quoted};",
    ]


def tables_of_others() -> list[str]:
    """Tables in the database that are not the logbook's."""
    ours = {*_tables(apps.get_models(include_auto_created=True)), SINGLE}
    return sorted(set(connection.introspection.table_names()) - ours)


def drop_tables() -> None:
    """Takes every table of the logbook away, as throwing a file away does.  Its callers have looked
    whether the book is invented."""
    ours = {*_tables(apps.get_models(include_auto_created=True)), SINGLE}
    there = sorted(ours & set(connection.introspection.table_names()))
    with transaction.atomic(), connection.cursor() as cursor:
        if there:
            cursor.execute(f"DROP TABLE {', '.join(there)} CASCADE")
        cursor.execute("DROP FUNCTION IF EXISTS refuse_change()")


def other_book(folder: Path) -> str:
    """What is said of a folder that holds a book in SQLite beside the one in PostgreSQL."""
    if not (folder / "book.sqlite3").exists():
        return ""
    return (
        f"{folder} also holds a book in SQLite (book.sqlite3). DATABASE_URL names another one; "
        "without DATABASE_URL the one in SQLite is used."
    )
