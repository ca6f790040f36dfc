"""The two lists, and a dozen ways to change a kept row, each refused by the database itself."""

from collections.abc import Callable

import pytest
from django.apps import apps
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import Error, connection, transaction

from lots.models.house import Place
from lots.models.kept import KEPT, SCRATCH
from lots.models.triggers import lay_triggers, missing_triggers
from tests.make import Book


def test_every_model_is_on_exactly_one_list() -> None:
    models = set(apps.get_app_config("lots").get_models())
    assert set(KEPT) | set(SCRATCH) == models
    assert not set(KEPT) & set(SCRATCH)


def _raw(sql: str, *values: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)


def _save(place: Place) -> None:
    place.name = "Elsewhere"
    place.save()


def _bulk_update(place: Place) -> None:
    place.name = "Elsewhere"
    Place.objects.bulk_update([place], ["name"])


def _upsert(place: Place) -> None:
    changed = Place(id=place.pk, name="Elsewhere", kind=place.kind, line_id=place.line_id)
    Place.objects.bulk_create(
        [changed], update_conflicts=True, unique_fields=["id"], update_fields=["name"]
    )


def _replace(place: Place) -> None:  # SQLite alone has it
    _raw("PRAGMA recursive_triggers = OFF")
    try:
        _raw(
            "INSERT OR REPLACE INTO lots_place (id, name, kind, within_id, line_id) "
            "VALUES (%s, 'Elsewhere', 'cooler', NULL, %s)",
            place.pk,
            place.line_id,
        )
    finally:
        _raw("PRAGMA recursive_triggers = ON")


def _replace_by_name(place: Place) -> None:
    _raw("PRAGMA recursive_triggers = OFF")
    try:
        _raw(
            "INSERT OR REPLACE INTO lots_place (name, kind, within_id, line_id) "
            "VALUES (%s, 'freezer', NULL, %s)",
            place.name,
            place.line_id,
        )
    finally:
        _raw("PRAGMA recursive_triggers = ON")


def _on_conflict(place: Place) -> None:
    _raw(
        "INSERT INTO lots_place (id, name, kind, within_id, line_id) "
        "VALUES (%s, 'x', 'cooler', NULL, %s) ON CONFLICT (id) DO UPDATE SET name = 'x'",
        place.pk,
        place.line_id,
    )


def _merge(place: Place) -> None:
    _raw(
        "MERGE INTO lots_place USING (SELECT 1) AS one ON lots_place.id = %s "
        "WHEN MATCHED THEN UPDATE SET name = 'x'",
        place.pk,
    )


ATTACKS: dict[str, Callable[[Place], object]] = {
    "save": _save,
    "delete": lambda place: Place.objects.get(pk=place.pk).delete(),
    "queryset update": lambda place: Place.objects.filter(pk=place.pk).update(name="Elsewhere"),
    "queryset delete": lambda place: Place.objects.filter(pk=place.pk).delete(),
    "bulk_update": _bulk_update,
    "raw delete": lambda place: Place.objects.filter(pk=place.pk)._raw_delete("default"),
    "raw SQL": lambda place: _raw("UPDATE lots_place SET name = 'x' WHERE id = %s", place.pk),
    "upsert": _upsert,
    "upsert by hand": _on_conflict,
    "DELETE without WHERE (SQLite's truncate)": lambda place: _raw("DELETE FROM lots_place"),
}
POSTGRES = connection.vendor == "postgresql"
ATTACKS |= (
    {
        "TRUNCATE": lambda place: _raw("TRUNCATE lots_place CASCADE"),
        "TRUNCATE of all that leads to it": lambda place: _raw("TRUNCATE lots_bookline CASCADE"),
        "MERGE": _merge,
    }
    if POSTGRES
    else {
        "INSERT OR REPLACE by key": _replace,
        "INSERT OR REPLACE by a unique name": _replace_by_name,
    }
)


@pytest.mark.parametrize("attack", ATTACKS.values(), ids=ATTACKS.keys())
def test_a_kept_row_withstands(attack: Callable[[Place], object], book: Book) -> None:
    place = book.place("Table")
    before = list(Place.objects.order_by("pk").values())
    connection.check_constraints()  # what still waits would refuse a TRUNCATE before the trigger does
    ours = "kept rows are never changed" if POSTGRES else None  # SQLite says another word at times
    with pytest.raises(Error, match=ours), transaction.atomic():
        attack(place)
    assert list(Place.objects.order_by("pk").values()) == before


REFUSED = ("change", "truncate") if POSTGRES else ("update", "delete", "replace")


def _triggers_of(table: str) -> set[str]:
    asked = (
        "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgrelid = %s::regclass"
        if POSTGRES
        else "SELECT name FROM sqlite_master WHERE type='trigger' AND tbl_name=%s"
    )
    with connection.cursor() as cursor:
        cursor.execute(asked, [table])
        return {name for (name,) in cursor.fetchall()}


@pytest.mark.parametrize("model", KEPT, ids=lambda model: model.__name__)
def test_every_kept_table_refuses_update_and_delete(model: type, book: Book) -> None:
    """On an empty table a row trigger cannot fire, so the triggers themselves are looked for too."""
    table = model._meta.db_table  # type: ignore[attr-defined]
    assert _triggers_of(table) == {f"{table}_no_{act}" for act in REFUSED}
    if model.objects.exists():  # type: ignore[attr-defined]
        pk = model._meta.pk.column  # type: ignore[attr-defined]
        with pytest.raises(Error), transaction.atomic():
            _raw(f"UPDATE {table} SET {pk} = {pk}")
        with pytest.raises(Error), transaction.atomic():
            _raw(f"DELETE FROM {table}")


of_sqlite = pytest.mark.of_database("sqlite")  # PostgreSQL's stand in test_kept_postgres.py


@of_sqlite
@pytest.mark.django_db(transaction=True)
def test_check_fails_when_a_remade_table_has_lost_its_triggers() -> None:
    assert missing_triggers() == []
    with connection.schema_editor() as editor:
        editor._remake_table(Place)  # type: ignore[attr-defined]
    try:
        assert "lots_place_no_update" in missing_triggers()
        with pytest.raises(SystemCheckError, match=r"lots\.E001"):
            call_command("check")
    finally:
        lay_triggers()
    call_command("check")


@of_sqlite
def test_a_trigger_that_was_weakened_counts_as_missing(book: Book) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DROP TRIGGER lots_place_no_delete")
        cursor.execute(
            "CREATE TRIGGER lots_place_no_delete BEFORE DELETE ON lots_place BEGIN SELECT 1; END"
        )
    assert missing_triggers() == ["lots_place_no_delete"]
