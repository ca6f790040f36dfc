"""Lays the append-only triggers after each migration and checks that none is missing."""

from typing import Any

from django.apps import AppConfig
from django.core.checks import register
from django.db.models.signals import post_migrate


def _lay(sender: Any, using: str, **_: Any) -> None:
    from lots.models.triggers import lay_triggers

    lay_triggers(using)


class LotsConfig(AppConfig):
    name = "lots"
    verbose_name = "Smokehouse logbook"

    def ready(self) -> None:
        from lots.models.triggers import check_triggers

        post_migrate.connect(_lay, sender=self)
        register(check_triggers)
