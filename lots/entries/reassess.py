"""The reassessment of a plan: asked for when something changes, signed with or without a change."""

from typing import Final

from lots.entries.book import act
from lots.entries.refusals import Changed, Refused
from lots.entries.signing import require, sign
from lots.models.people import Person, Right
from lots.models.plan import Plan, PlanVersion, PlanWithdrawn, Reassessed, ReassessmentAsked

CAUSES: Final = dict(ReassessmentAsked._meta.get_field("cause").choices or ())
OUTCOMES: Final = dict(Reassessed._meta.get_field("outcome").choices or ())
MEANINGS: Final = {
    "no change": "reassessed and found adequate as it is",
    "change": "reassessed and to be changed",
}


def ask_reassessment(
    person: Person, plan: Plan, cause: str, what: str, at: int
) -> ReassessmentAsked:
    """Keeps that something changed that could bear on the hazards (21 CFR 123.8(a)(1))."""
    require(person, Right.OPERATOR, Right.REVIEWER, Right.COORDINATOR)
    wrong = {}
    if cause not in CAUSES:
        wrong["cause"] = "Say what kind of change it is."
    if not what.strip():
        wrong["what"] = "Say what changed, so that the coordinator can look at it."
    if wrong:
        raise Refused(wrong)
    with act("plan reassessment asked for", person, at) as writing:
        _standing(plan)
        writing.say(plan=plan.title, cause=cause)
        return writing.write(
            ReassessmentAsked(plan=plan, cause=cause, what=what.strip(), noticed_at=at)
        )


def sign_reassessment(
    person: Person, version: PlanVersion, outcome: str, considered: str, at: int
) -> Reassessed:
    """Signs that the coordinator looked at the newest version anew: it stands, or is to be changed."""
    require(person, Right.COORDINATOR)
    wrong = {}
    if outcome not in OUTCOMES:
        wrong["outcome"] = "Say whether the plan stands as it is or is to be changed."
    if not considered.strip():
        wrong["considered"] = "Say what was looked at, and why the plan is adequate or is not."
    if wrong:
        raise Refused(wrong)
    with act("plan reassessed", person, at) as writing:
        _standing(version.plan)
        if PlanVersion.objects.filter(plan=version.plan, number__gt=version.number).exists():
            raise Changed("A newer version is signed: reassess that one.")
        what = f"reassessment of plan {version.plan.title}, version {version.number}"
        signature = sign(writing, person, Right.COORDINATOR, MEANINGS[outcome], what)
        writing.say(plan=version.plan.title, version=version.number, outcome=outcome)
        return writing.write(
            Reassessed(
                version=version,
                signature=signature,
                outcome=outcome,
                considered=considered.strip(),
            )
        )


def _standing(plan: Plan) -> None:
    if PlanWithdrawn.objects.filter(plan=plan).exists():
        raise Refused("This plan is withdrawn: there is nothing to reassess.")
