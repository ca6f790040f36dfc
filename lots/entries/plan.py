"""Plans: edited as drafts, published as frozen, signed versions."""

import json
from typing import Any

from lots.core.plan import faults, plan_from
from lots.entries.book import act, canonical, sha256
from lots.entries.refusals import Refused
from lots.entries.signing import require, sign
from lots.models.people import Person, Right
from lots.models.plan import Plan, PlanVersion, PlanWithdrawn
from lots.models.scratch import PlanDraft


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
    require(person, Right.COORDINATOR)
    draft.title = title.strip() or draft.title
    draft.content = canonical(content)
    draft.changed_at = at
    draft.save()


def drop_draft(person: Person, draft: PlanDraft) -> None:
    require(person, Right.COORDINATOR)
    draft.delete()


def publish_plan(person: Person, draft: PlanDraft, change: str, at: int) -> PlanVersion:
    """Freezes the draft as the plan's next version, signed by the HACCP coordinator.

    Refused while the plan has faults; each is named.
    """
    require(person, Right.COORDINATOR)
    content = json.loads(draft.content)
    found = faults(content)
    if found:
        raise Refused({fault.path: fault.text for fault in found})
    plan_from(content)
    title = draft.title.strip()
    with act("plan published", person, at) as writing:
        plan = draft.plan or Plan.objects.filter(title=title).first()
        if plan is None:
            plan = writing.write(Plan(title=title))
        number = plan.versions.count() + 1
        if number > 1 and not change.strip():
            raise Refused({"change": "Say what changed since the version before, and why."})
        signature = sign(
            writing,
            person,
            Right.COORDINATOR,
            "accepted for use" if number == 1 else "accepted as changed",
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
    if PlanWithdrawn.objects.filter(plan=plan).exists():
        raise Refused("The plan is already withdrawn.")
    with act("plan withdrawn", person, at) as writing:
        writing.say(plan=plan.title)
        writing.write(PlanWithdrawn(plan=plan, reason=reason.strip()))
