"""Plans: edited as drafts, published as frozen, signed versions."""

import json
from typing import Any

from lots.core.plan import plan_from
from lots.entries.book import act, canonical, sha256
from lots.entries.refusals import Changed, Refused
from lots.entries.signing import require, sign
from lots.models.people import Person, Right
from lots.models.plan import Plan, PlanVersion, PlanWithdrawn
from lots.models.scratch import PlanDraft
from lots.queries.plans import bars, goes_to


def begin_draft(
    person: Person, title: str, content: dict[str, Any], base: PlanVersion | None, at: int
) -> PlanDraft:
    """A draft to edit; nothing of it is in force until it is published."""
    require(person, Right.COORDINATOR)
    return PlanDraft.objects.create(
        plan=base.plan if base else None,
        base=base,
        title=title,
        content=canonical(content),
        changed_at=at,
    )


def save_draft(
    person: Person, draft: PlanDraft, title: str, content: dict[str, Any], at: int
) -> None:
    """Keeps the draft as typed, faults and all; refused if somebody else saved it meanwhile."""
    require(person, Right.COORDINATOR)
    longest = PlanDraft._meta.get_field("title").max_length
    new = {
        "title": title.strip()[:longest] or draft.title,
        "content": canonical(content),
        "changed_at": at,
    }
    as_seen = PlanDraft.objects.filter(pk=draft.pk, content=draft.content)
    if not as_seen.update(**new):
        raise Changed("Somebody else changed or published this draft while you were editing it.")
    draft.refresh_from_db()


def drop_draft(person: Person, draft: PlanDraft) -> None:
    require(person, Right.COORDINATOR)
    draft.delete()


def meaning_of(number: int) -> str:
    """What signing a version of this number means (21 CFR 123.6(d))."""
    return "accepted for use" if number == 1 else "accepted as changed"


def publish_plan(person: Person, draft: PlanDraft, change: str, at: int) -> PlanVersion:
    """Freezes the draft as the plan's next version, signed by the HACCP coordinator.

    Refused while the plan has faults; each is named.  Refused too if the draft is no longer what the
    person saw, or if its plan was withdrawn.
    """
    require(person, Right.COORDINATOR)
    content = json.loads(draft.content)
    found = bars(content)
    if found:
        raise Refused({fault.path: fault.text for fault in found})
    plan_from(content)
    with act("plan published", person, at) as writing:
        as_seen = PlanDraft.objects.filter(pk=draft.pk, content=draft.content)
        if as_seen.select_for_update().first() is None:  # held: nobody saves into it any more
            raise Changed("Somebody else changed or published this draft: look at it again.")
        plan, number = goes_to(draft)
        if plan is None:
            plan = writing.write(Plan(title=draft.title.strip()))
        if PlanWithdrawn.objects.filter(plan=plan).exists():
            raise Refused("This plan is withdrawn: begin a new one under another title.")
        if number > 1 and not change.strip():
            raise Refused({"change": "Say what changed since the version before, and why."})
        signature = sign(
            writing,
            person,
            Right.COORDINATOR,
            meaning_of(number),
            f"plan {plan.title}, version {number}",
        )
        version = writing.write(
            PlanVersion(
                plan=plan,
                number=number,
                content=draft.content,
                content_sha256=sha256(draft.content),
                signature=signature,
                change=change.strip(),
            )
        )
        writing.say(plan=plan.title, version=number)
        draft.delete()
    return version


def withdraw_plan(person: Person, plan: Plan, reason: str, at: int) -> None:
    """No new lot under this plan; lots already opened go on under the version they pinned."""
    require(person, Right.COORDINATOR)
    if not reason.strip():
        raise Refused({"reason": "Say why the plan is withdrawn."})
    with act("plan withdrawn", person, at) as writing:
        if PlanWithdrawn.objects.filter(plan=plan).exists():
            raise Refused("The plan is already withdrawn.")
        writing.say(plan=plan.title)
        writing.write(PlanWithdrawn(plan=plan, reason=reason.strip()))
