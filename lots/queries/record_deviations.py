"""Rows → what the record says of deviations: evidence, actions, dispositions, what came later."""

import json
from typing import Final

from lots.core import record as paper
from lots.core.limits import Limit
from lots.models.deviation import Deviation
from lots.models.lot import Lot
from lots.models.reading import PackedSeries
from lots.queries.accuracy_checks import check_number
from lots.queries.deviation_page import consignees_of
from lots.queries.lineage import lineage
from lots.queries.plans import plan_value
from lots.queries.record_figures import as_read_figure
from lots.queries.record_loads import initials_of
from lots.queries.release import DeviationState, deviations_of, undecided_grams
from lots.queries.rests_on import behind

AT_NONE: Final = "none"  # an instrument was off where no control point has a limit
MANY: Final = 6  # numbers named one by one; more are named by the first and the last


def deviation_facts(lot: Lot) -> tuple[paper.DeviationFacts, ...]:
    """The lot's deviations and those it inherited, in the order in which they were opened."""
    return tuple(_facts(lot, state) for state in deviations_of(lot))


def _facts(lot: Lot, state: DeviationState) -> paper.DeviationFacts:
    row = state.deviation
    plan = plan_value(row.lot.plan_version)
    numbers = {point.id: f"CCP {n}" for n, point in enumerate(plan.control_points, 1)}
    notes = sorted(row.notes.all(), key=lambda note: note.pk)
    gone = bool(notes) and notes[-1].kind == "not reproduced"
    return paper.DeviationFacts(
        number=row.pk,
        control_point=numbers.get(row.control_point, row.control_point) or AT_NONE,
        limit=row.limit_id,
        load=row.load_id or 0,
        verdict="DEVIATION",
        figure=as_read_figure(row.figure, row.load_id),
        broke_at=row.broke_at,
        opened_at=row.line.at,
        evidence=_evidence(row),
        reproduced=int(not gone),
        bound=row.demand,
        lot=row.lot.code if row.lot_id != lot.pk else "",
        undecided_g=0 if state.ended else undecided_grams(row),
        notes=tuple(
            paper.NoteFacts(
                note.kind,
                as_read_figure(note.figure, row.load_id),
                note.why,
                note.line.at,
                note.last_broke_at,
                initials_of(note.line),
            )
            for note in notes
        ),
        actions=_actions(row),
        dispositions=_dispositions(row),
    )


def _evidence(row: Deviation) -> str:
    """What the book held, when the deviation was opened, of what the limit looks at."""
    limit = _limit(row)
    words: tuple[str, ...] = ()
    if check_number(row.limit_id) is not None:
        words = _looked_back(row)
    elif limit is not None and row.load is not None:
        lots = [ancestor.lot for ancestor in lineage(row.lot)]
        words = behind(limit, row.load, lots).up_to(row.line_id).words()
    rests = f"rests on {', '.join(words)}" if words else "nothing was entered that speaks of it"
    return "; ".join(filter(None, [row.why, rests]))


def _looked_back(row: Deviation) -> tuple[str, ...]:
    """The failed accuracy check, and the readings with that instrument, as kept with the deviation."""
    kept = json.loads(row.evidence)
    numbers, many = kept["readings"], kept["readings_in_all"]
    words = [f"accuracy check {kept['check']}"]
    if many > MANY:
        words.append(
            f"readings {'' if many == len(numbers) else '… '}{numbers[0]} to {numbers[-1]} ({many})"
        )
    else:
        words += [f"reading {number}" for number in numbers]
    series = PackedSeries.objects.filter(pk__in=[number for number, _ in kept["series"]])
    files = series.select_related("source__file").defer("data")
    words += sorted({f"series of {one.source.file.name}" for one in files})
    return tuple(words)


def _limit(row: Deviation) -> Limit | None:
    plan = plan_value(row.lot.plan_version)
    each = (limit for point in plan.control_points for limit in point.limits)
    return next((limit for limit in each if limit.id == row.limit_id), None)


def _actions(row: Deviation) -> tuple[paper.ActionFacts, ...]:
    return tuple(
        paper.ActionFacts(
            plan_followed=int(action.plan_followed),
            segregated=action.segregated,
            acceptability_by=action.acceptability_by,
            reassessed_by=action.reassessment_by,
            reassess_by=action.reassessment_due,
            fish=action.fish,
            restored=action.control_restored,
            cause=action.cause,
            initials=initials_of(action.line),
            taken_at=action.taken_at,
        )
        for action in sorted(row.actions.all(), key=lambda action: action.pk)
    )


def _dispositions(row: Deviation) -> tuple[paper.DispositionFacts, ...]:
    told = consignees_of(row.dispositions.all())
    return tuple(
        paper.DispositionFacts(
            word=one.kind,
            amount_g=one.grams,
            initials=initials_of(one.line),
            decided_at=one.line.at,
            reason=one.reason,
            final=int(one.kind != "hold"),
            acceptability=one.acceptability_review,
            consignees=tuple(
                paper.Consignee(
                    who.consignee, who.grams, who.told_at, initials_of(who.line), who.note
                )
                for who in told.get(one.pk, ())
            ),
        )
        for one in sorted(row.dispositions.all(), key=lambda one: one.number)
    )
