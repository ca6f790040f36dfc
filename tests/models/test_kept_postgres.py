"""What PostgreSQL has beside statements: triggers disabled, weakened or walked past, and roles.

Run by tests/postgres.sh; SQLite's ways stand in test_kept.py.
"""

import os
from collections.abc import Iterator

import psycopg
import pytest
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import Error, connection, transaction

from lots.models.house import Place
from lots.models.triggers import lay_triggers, missing_triggers
from tests.make import Book, make_book

pytestmark = pytest.mark.of_database("postgresql")
SHADOW = (
    "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
    "$$ BEGIN RETURN COALESCE(NEW, OLD); END $$"
)
WHEN_NEVER = (
    "DROP TRIGGER lots_place_no_change ON lots_place; CREATE TRIGGER lots_place_no_change "
    "BEFORE DELETE OR UPDATE ON lots_place FOR EACH ROW WHEN (false) "
    "EXECUTE FUNCTION refuse_change(); "
    "ALTER TABLE lots_place ENABLE ALWAYS TRIGGER lots_place_no_change"
)
UPDATE_ALONE = (
    "DROP TRIGGER lots_place_no_change ON lots_place; CREATE TRIGGER lots_place_no_change "
    "BEFORE UPDATE ON lots_place FOR EACH ROW EXECUTE FUNCTION refuse_change(); "
    "ALTER TABLE lots_place ENABLE ALWAYS TRIGGER lots_place_no_change"
)


def run(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # else no table may be altered yet
        cursor.execute(sql)


@pytest.mark.parametrize(
    ("sql", "missing"),
    [
        ("ALTER TABLE lots_place DISABLE TRIGGER lots_place_no_change", ["lots_place_no_change"]),
        (
            "ALTER TABLE lots_place DISABLE TRIGGER USER",
            ["lots_place_no_change", "lots_place_no_truncate"],
        ),
        (
            "ALTER TABLE lots_place ENABLE REPLICA TRIGGER lots_place_no_change",
            ["lots_place_no_change"],
        ),
        (
            "ALTER TABLE lots_place ENABLE TRIGGER lots_place_no_truncate",  # not ALWAYS
            ["lots_place_no_truncate"],
        ),
        ("DROP TRIGGER lots_place_no_truncate ON lots_place", ["lots_place_no_truncate"]),
        (WHEN_NEVER, ["lots_place_no_change"]),
        (UPDATE_ALONE, ["lots_place_no_change"]),
    ],
)
def test_a_trigger_that_no_longer_stands_is_named_by_check_and_laid_again(
    sql: str, missing: list[str], book: Book
) -> None:
    assert missing_triggers() == []
    run(sql)
    assert missing_triggers() == missing
    with pytest.raises(SystemCheckError, match=rf"lots\.E001.*{missing[0]}|{missing[0]}"):
        call_command("check")
    lay_triggers()
    assert missing_triggers() == []
    with pytest.raises(Error, match="kept rows"), transaction.atomic():
        Place.objects.update(name="x")


def test_a_function_that_no_longer_refuses_makes_every_trigger_count_as_missing(
    book: Book,
) -> None:
    run(SHADOW)
    Place.objects.filter(name="Table").update(name="Bench")  # so it was a real hole
    assert {"lots_place_no_change", "lots_bookline_no_truncate"} <= set(missing_triggers())
    lay_triggers()
    assert missing_triggers() == []
    with pytest.raises(Error, match="kept rows"), transaction.atomic():
        Place.objects.update(name="x")


def test_a_role_without_rights_cannot_step_past_the_triggers(book: Book) -> None:
    with pytest.raises(Error, match="permission denied"), transaction.atomic():
        run("SET session_replication_role = replica")
    with pytest.raises(Error, match="permission denied"), transaction.atomic():
        run("ALTER TABLE lots_place DISABLE TRIGGER ALL")  # those of foreign keys among them


@pytest.fixture
def superuser(transactional_db: None) -> Iterator[psycopg.Connection]:
    """A session that may do anything, on the tests' own database."""
    make_book()
    name = connection.settings_dict["NAME"]
    with psycopg.connect(os.environ["SUPERUSER_URL"], dbname=name) as session:
        yield session
        session.rollback()


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE lots_place SET name = 'x'",
        "DELETE FROM lots_place",
        "TRUNCATE lots_place CASCADE",
    ],
)
def test_even_a_superuser_in_the_role_of_a_replica_is_refused(
    sql: str, superuser: psycopg.Connection
) -> None:
    superuser.execute("SET session_replication_role = replica")
    with pytest.raises(psycopg.errors.RaiseException, match="kept rows"):
        superuser.execute(sql)  # type: ignore[arg-type]


@pytest.mark.django_db(transaction=True)
def test_a_flush_between_tests_leaves_no_row_and_every_trigger() -> None:
    """The one before wrote a whole book; see tests/conftest.py."""
    assert not Place.objects.exists()
    assert missing_triggers() == []
