"""What time alone causes is written too, in the name of the book, dated to when the limit broke."""

from collections.abc import Iterable

from lots.core.limits import Followed, Limit, Measured, Verdict
from lots.entries.book import act
from lots.entries.judging import hold_deviation
from lots.entries.look_back import notice_look_backs
from lots.models.lot import LoadPart, Lot
from lots.queries.evidence import end_of
from lots.queries.judgements import Judged, judge_parts, told
from lots.queries.lineage import lineages
from lots.queries.plans import plan_value


def open_parts(lots: Iterable[Lot]) -> list[LoadPart]:
    """The lots' steps whose verdicts time alone can change: those that are running, those kept by a
    logger, whose file may be overdue, and those that wait for what comes later."""
    parts = LoadPart.objects.filter(lot__in=[lot.pk for lot in lots]).select_related(
        "load__place__within", "lot__plan_version"
    )
    rows = parts.prefetch_related("load__moves", "load__ends__accepted").order_by("id")
    return [part for part in rows if end_of(part.load) is None or _waits(part)]


def _waits(part: LoadPart) -> bool:
    """Whether a limit of the step may still wait when the step is over, until a moment of its own."""
    limits = plan_value(part.lot.plan_version).held_at(part.step)
    return any(_may_wait(leaf) for _, limit in limits for leaf in limit.leaves())


def _may_wait(leaf: Limit) -> bool:
    rule = leaf.rule
    by_process = isinstance(rule, Measured) and rule.verified_within_ms is not None
    return leaf.file is not None or isinstance(rule, Followed) or by_process


def lapsed(lots: Iterable[Lot], at: int) -> list[Judged]:
    """Deviations that stand at the moment and that no row tells of yet."""
    parts = open_parts(lots)
    ancestors = lineages(part.lot for part in parts)
    return [
        judged
        for judged in judge_parts([(part, ancestors[part.lot_id]) for part in parts], at)
        if judged.verdict is Verdict.DEVIATION and not told(judged)
    ]


def notice_lapses(lots: Iterable[Lot], at: int) -> int:
    """Writes what has lapsed on these lots, one line in the name of the book; how many opened.  Before
    it, what failed accuracy checks call for on any lot by what was entered since."""
    lots = list(lots)
    looked_back = notice_look_backs(at)
    if not lapsed(lots, at):
        return looked_back
    with act("lapse noticed", None, at) as writing:
        found = lapsed(lots, at)  # again: somebody may have written it meanwhile
        opened = [hold_deviation(writing, judged, at) for judged in found]
        writing.say(lapses=len(found))
        writing.nothing = not found
    return looked_back + len([one for one in opened if one is not None])
