"""How the book itself is kept: what the keeper's page shows."""

import shutil
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings

from lots.models.book import BookLine
from lots.queries.house import rules
from lots.queries.keeping import (
    DATABASE,
    WHOLE,
    BackupMade,
    Walk,
    backups_made,
    last_walk,
    missing_files,
    named_files,
    walk_asked_at,
    walking,
    watched,
)


@dataclass(frozen=True, slots=True)
class Keeping:
    """The page's facts at a moment; sizes in bytes, ages in ms."""

    line: BookLine | None
    walk: Walk | None
    walk_is_old: bool
    walking: bool
    asked_at: int | None
    watched: bool
    backup: BackupMade | None
    backup_age: int
    backup_is_old: bool
    start_copy: BackupMade | None
    free: int
    disk: int
    disk_is_low: bool
    files_named: int
    files_missing: list[str]


def keeping_at(now_ms: int) -> Keeping:
    """How the book is kept as of now."""
    rule, walk = rules().keeping, last_walk()
    made = backups_made()
    backup = next((one for one in made if one.what == WHOLE), None)
    age = now_ms - backup.at if backup else 0
    space = shutil.disk_usage(Path(settings.DATA_DIR))
    named = named_files()
    return Keeping(
        line=BookLine.objects.order_by("-number").first(),
        walk=walk,
        walk_is_old=walk is None or now_ms - walk.began_at > rule.stale_ms,
        walking=walking(),
        asked_at=walk_asked_at(),
        watched=watched(),
        backup=backup,
        backup_age=age,
        backup_is_old=backup is None or age > rule.backup_ms,
        start_copy=next((one for one in made if one.what == DATABASE), None),
        free=space.free,
        disk=space.total,
        disk_is_low=space.free < rule.free_bytes,
        files_named=len(named),
        files_missing=missing_files(named),
    )
