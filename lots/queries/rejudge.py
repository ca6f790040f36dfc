"""What today's rules would say of judgements that people relied on, where it is not what was kept."""

from collections.abc import Iterator
from dataclasses import dataclass

from lots.core.limits import RULES
from lots.models.lot import Lot
from lots.models.review import KeptJudgement
from lots.queries.judgements import Judged, judge_lot
from lots.queries.sight import Sight


@dataclass(frozen=True)
class Differs:
    """A kept judgement and what it would be; `now` is None where its limit is no longer judged."""

    kept: KeptJudgement
    now: Judged | None

    @property
    def verdict_differs(self) -> bool:
        """Whether it is the verdict, and not only the words of the figure."""
        return self.now is None or self.now.verdict.value != self.kept.verdict


@dataclass(frozen=True)
class Rejudged:
    """How many were held again, and those that today's rules would say otherwise."""

    held: int
    differing: list[Differs]


def rejudged(code: str = "", every: bool = False) -> Rejudged:
    """Holds kept judgements again, each from the rows that were in the book when it was kept.

    Args:
        code: of this lot alone.
        every: also those kept under today's rules; without it only those under earlier ones.
    """
    rows = KeptJudgement.objects.select_related("lot__plan_version", "load__place")
    rows = rows.filter(lot__code=code) if code else rows
    rows = rows if every else rows.filter(rules__lt=RULES)
    groups: dict[tuple[int, int, int], list[KeptJudgement]] = {}
    for row in rows.order_by("line", "id"):
        groups.setdefault((row.line_id, row.lot_id, row.at), []).append(row)
    differing = [one for group in groups.values() for one in _held(group)]
    return Rejudged(sum(map(len, groups.values())), differing)


def _held(group: list[KeptJudgement]) -> Iterator[Differs]:
    first = group[0]
    judged = _as_then(first.lot, first.at, first.line_id)
    for kept in group:
        now = judged.get((kept.load_id or 0, kept.limit_id))
        same = now is not None and (now.verdict.value, now.finding.figure) == (
            kept.verdict,
            kept.figure,
        )
        if not same:
            yield Differs(kept, now)


def _as_then(lot: Lot, at: int, line: int) -> dict[tuple[int, str], Judged]:
    """By load and limit, what today's rules say of what the book held up to that line."""
    found = judge_lot(lot, at, anew=True, sight=Sight(up_to=line))
    return {(one.part.load_id, one.limit.id): one for one in found}
