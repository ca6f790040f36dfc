"""Late and corrected entries that wait for a records reviewer's acceptance."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Exists, F, Model, OuterRef, Q, QuerySet

from lots.core.units import show_temperature
from lots.models.house import AccuracyCheck
from lots.models.lot import Load, LoadEnd, Lot, ProbeLeft
from lots.models.reading import Observation, Reading, SeriesCorrection, SeriesWithdrawn
from lots.queries.house import rules
from lots.queries.series_page import reading_of
from lots.queries.spoken_of import Entry, came_late, entered_at, loads_of_check, seen_at

# how a form names each kind of entry: "reading-12"
KINDS: Final[dict[str, type[Model]]] = {
    "reading": Reading,
    "look": Observation,
    "end": LoadEnd,
    "logged": SeriesCorrection,
    "file": SeriesWithdrawn,
    "start": Load,
    "left": ProbeLeft,
    "check": AccuracyCheck,
}


@dataclass(frozen=True)
class LateRow:
    """A late or corrected entry that nobody has accepted yet."""

    key: str  # "reading-12": how a form names it
    kind: str
    row: Any  # an Entry
    seen_at: int
    lots: list[Lot]  # those that the entry speaks of

    @property
    def entered_at(self) -> int:
        return entered_at(self.row)

    @property
    def corrects(self) -> bool:
        """Whether it puts something right, and so was not merely late."""
        return self.kind in ("logged", "file") or bool(getattr(self.row, "corrects_id", None))

    @property
    def by(self) -> str:
        """Whose entry it is: of a start that was moved, who moved it."""
        moves = sorted(self.row.moves.all(), key=lambda m: m.pk) if self.kind == "start" else []
        line = moves[-1].line if moves else self.row.line
        return line.person.initials if line.person else "the book"

    @property
    def why(self) -> str:
        """The reason that the person gave for the correction, or for coming late."""
        if self.kind == "start" and (moves := sorted(self.row.moves.all(), key=lambda m: m.pk)):
            return str(moves[-1].reason)
        names = ("correction_reason", "late_reason", "reason", "note")
        return next(filter(None, (getattr(self.row, name, "") for name in names)), "")

    @property
    def late_ms(self) -> int:
        return max(0, self.entered_at - self.seen_at)

    @property
    def old_figure(self) -> str:
        """What a logger's reading was before it was put right."""
        return reading_of(self.row.series, self.row.index, before=self.row.pk).shown

    @property
    def new_figure(self) -> str:
        return show_temperature(self.row.value, "F" if self.row.series.unit == "F" else "C")


def late_rows(lots: Iterable[int]) -> list[LateRow]:
    """Late and corrected entries of these lots that still wait for acceptance, oldest first."""
    mine = list(lots)
    found = [
        LateRow(
            f"{kind}-{row.pk}",
            kind,
            row,
            seen_at(row),
            [one.lot for one in sorted(row.line.lots.all(), key=lambda one: one.lot_id)],
        )
        for kind, rows in _waiting(mine).items()
        for row in rows
    ]
    return sorted(found + _checks(set(mine)), key=lambda one: (one.seen_at, one.key))


def _waiting(lots: list[int]) -> dict[str, Iterable[Any]]:
    """Entries by kind whose lines speak of these lots."""
    mine = {"line__lots__lot__in": lots, "accepted": None}
    standing = {**mine, "corrected_by": None}
    after = rules().late_after_ms
    late = Q(entered_at__gt=F("observed_at") + after) | Q(corrects__isnull=False)
    over = Q(load__ends__corrected_by=None, load__ends__ended_at__lt=F("observed_at"))
    late_end = Q(entered_at__gt=F("ended_at") + after) | Q(corrects__isnull=False)
    measured = over & ~Q(quantity="temperature")
    began_late = Q(entered_at__gt=F("started_at") + after) | Q(moves__isnull=False)
    left_late = Q(line__at__gt=F("at") + after)
    return {
        "reading": _of(Reading, Q(late | measured, **standing), "place", "load", "corrects"),
        "look": _of(Observation, Q(late | over, **standing), "load__place", "corrects"),
        "end": _of(LoadEnd, Q(late_end, **standing), "load__place", "corrects"),
        "logged": _of(SeriesCorrection, Q(_standing(), **mine), "series__place", "series__load"),
        "file": _of(
            SeriesWithdrawn, Q(**mine), "source__place", "source__load", "source__file",
            "source__line",
        ),
        "start": [row for row in _of(Load, Q(began_late, **mine), "place") if came_late(row)],
        "left": _of(ProbeLeft, Q(left_late, **mine), "load__place"),
    }  # fmt: skip


def _of(model: type[Model], match: Q, *related: str) -> QuerySet[Any]:
    rows = model._default_manager.filter(match).select_related("line__person", *related)
    return rows.prefetch_related("line__lots__lot").distinct()


def _standing() -> Q:
    """Corrections of a logger's reading that no newer one has taken the place of."""
    newer = SeriesCorrection.objects.filter(
        series=OuterRef("series"), index=OuterRef("index"), pk__gt=OuterRef("pk")
    )
    return Q(~Exists(newer))


def _checks(lots: set[int]) -> list[LateRow]:
    """Accuracy checks entered late on which verdicts of these lots may rest."""
    late = Q(entered_at__gt=F("observed_at") + rules().late_after_ms, accepted=None)
    found = []
    for row in AccuracyCheck.objects.filter(late).select_related("line__person", "instrument"):
        loads = [load.pk for load in loads_of_check(row)]
        spoken = list(Lot.objects.filter(parts__load__in=loads).distinct().order_by("code"))
        if lots & {lot.pk for lot in spoken}:
            found.append(LateRow(f"check-{row.pk}", "check", row, row.observed_at, spoken))
    return found


_RELATED: Final[dict[str, tuple[str, ...]]] = {
    "reading": ("place__within", "load"),
    "logged": ("series",),
    "file": ("source__line",),
    "start": (),
    "check": ("instrument",),
}


def rows_named(keys: Iterable[str]) -> list[Entry]:
    """The entries that a form's ticks name; unknown ones are left out."""
    found: list[Entry] = []
    for key in keys:
        kind, _, number = key.partition("-")
        if kind in KINDS and number.isdecimal():
            related = _RELATED.get(kind, ("load__place__within",))
            rows = KINDS[kind]._default_manager.filter(pk=int(number))
            found += rows.select_related("line", *related)  # type: ignore[arg-type]
    return found
