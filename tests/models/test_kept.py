"""The two lists, and ten ways to change a kept row, each refused by the database itself."""

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


def _replace(place: Place) -> None:
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


def _truncate(place: Place) -> None:
    _raw("DELETE FROM lots_place")


ATTACKS: dict[str, Callable[[Place], object]] = {
    "save": _save,
    "delete": lambda place: Place.objects.get(pk=place.pk).delete(),
    "queryset update": lambda place: Place.objects.filter(pk=place.pk).update(name="Elsewhere"),
    "queryset delete": lambda place: Place.objects.filter(pk=place.pk).delete(),
    "bulk_update": _bulk_update,
    "raw delete": lambda place: Place.objects.filter(pk=place.pk)._raw_delete("default"),
    "raw SQL": lambda place: _raw("UPDATE lots_place SET name = 'x' WHERE id = %s", place.pk),
    "INSERT OR REPLACE by key": _replace,
    "INSERT OR REPLACE by a unique name": _replace_by_name,
    "upsert": _upsert,
    "DELETE without WHERE (SQLite's truncate)": _truncate,
}


@pytest.mark.parametrize("attack", ATTACKS.values(), ids=ATTACKS.keys())
def test_a_kept_row_withstands(attack: Callable[[Place], object], book: Book) -> None:
    place = book.place("Table")
    before = list(Place.objects.order_by("pk").values())
    with pytest.raises(Error), transaction.atomic():
        attack(place)
    assert list(Place.objects.order_by("pk").values()) == before


@pytest.mark.parametrize("model", KEPT, ids=lambda model: model.__name__)
def test_every_kept_table_refuses_update_and_delete(model: type, book: Book) -> None:
    """On an empty table a row trigger cannot fire, so the triggers themselves are looked for too."""
    table = model._meta.db_table  # type: ignore[attr-defined]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT name FROM sqlite_master WHERE type='trigger' AND tbl_name=%s", [table]
        )
        names = {name for (name,) in cursor.fetchall()}
    assert names == {f"{table}_no_update", f"{table}_no_delete", f"{table}_no_replace"}
    if model.objects.exists():  # type: ignore[attr-defined]
        pk = model._meta.pk.column  # type: ignore[attr-defined]
        with pytest.raises(Error), transaction.atomic():
            _raw(f"UPDATE {table} SET {pk} = {pk}")
        with pytest.raises(Error), transaction.atomic():
            _raw(f"DELETE FROM {table}")


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


def test_a_trigger_that_was_weakened_counts_as_missing(book: Book) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DROP TRIGGER lots_place_no_delete")
        cursor.execute(
            "CREATE TRIGGER lots_place_no_delete BEFORE DELETE ON lots_place BEGIN SELECT 1; END"
        )
    assert missing_triggers() == ["lots_place_no_delete"]
