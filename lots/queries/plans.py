"""Plans: versions as core values, and the lists of the plan pages."""

import json
import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.db.models import Count, OuterRef, QuerySet, Subquery

from lots.core.plan import Content, Fault, faults, plan_from
from lots.core.plan import Plan as PlanValue
from lots.core.plan_content import misshapen, rows, said, unstorable
from lots.core.plan_sources import Change, changes, source_faults
from lots.core.reassessment import WORDS, bearing
from lots.core.statements import statement_faults
from lots.models.house import Establishment
from lots.models.plan import Plan, PlanVersion
from lots.models.scratch import PlanDraft
from lots.queries.house import species, statements
from lots.queries.plan_lengths import overlong

LONGEST_TITLE: Final = 150  # a signature's “what” names the title and the version in 200 letters


@lru_cache(maxsize=64)
def _value(version_id: int, content: str) -> PlanValue:
    return plan_from(json.loads(content))


def plan_value(version: PlanVersion) -> PlanValue:
    """What the version demands."""
    tried: PlanValue | None = getattr(version, "tried", None)
    return _value(version.pk, version.content) if tried is None else tried


def unsaved(plan: PlanValue) -> PlanVersion:
    """A version that lots may be held against on trial; it is nowhere kept."""
    version = PlanVersion()
    version.tried = plan  # type: ignore[attr-defined]
    return version


def newest_versions() -> QuerySet[PlanVersion]:
    """The version under which a new lot may be opened, of each plan that is not withdrawn."""
    newest = PlanVersion.objects.filter(plan=OuterRef("pk")).order_by("-number").values("pk")[:1]
    plans = Plan.objects.filter(withdrawn=None).annotate(newest=Subquery(newest))
    return (
        PlanVersion.objects.filter(pk__in=plans.values("newest"))
        .select_related("plan", "signature")
        .order_by("plan__title")
    )


def starting_plans() -> dict[str, dict[str, Any]]:
    """The plans that a new house may begin from, by file stem; a copy for each caller, to change."""
    plans: dict[str, dict[str, Any]] = json.loads(_starting_plans(str(settings.PLANS_DIR)))
    return plans


@lru_cache
def _starting_plans(folder: str) -> str:
    """The folder's plans as JSON, which is read again many times quicker than TOML."""
    files = sorted(Path(folder).glob("*.toml"))
    return json.dumps({file.stem: tomllib.loads(file.read_text()) for file in files})


@lru_cache
def starting_limits() -> tuple[dict[str, Any], ...]:
    """Figures with their sources that the plan page offers to fill in, each with its `offer`."""
    file = Path(settings.PLANS_DIR).parent / "starting_limits.toml"
    return tuple(tomllib.loads(file.read_text())["limit"])


def drafts() -> QuerySet[PlanDraft]:
    return PlanDraft.objects.select_related("plan", "base").order_by("title")


def plans_with_versions() -> list[tuple[Plan, list[PlanVersion]]]:
    """Every plan with its versions, the newest first, each with the number of lots under it."""
    by_plan: dict[int, list[PlanVersion]] = {}
    versions = PlanVersion.objects.select_related("signature").annotate(under_it=Count("lots"))
    for version in versions.order_by("-number"):
        by_plan.setdefault(version.plan_id, []).append(version)
    plans = Plan.objects.select_related("withdrawn__line__person").order_by("title")
    return [(plan, by_plan.get(plan.pk, [])) for plan in plans]


def goes_to(draft: PlanDraft) -> tuple[Plan | None, int]:
    """The plan that publishing this draft adds a version to (None: a new plan), and its number."""
    plan = draft.plan or Plan.objects.filter(title=draft.title.strip()).first()
    return plan, plan.versions.count() + 1 if plan else 1


def house_at(at: int) -> Establishment | None:
    """The establishment as it was stated at a moment."""
    return Establishment.objects.filter(line__at__lte=at).order_by("-id").first()


def _unreadable(content: Content) -> bool:
    return any(unstorable(content)) or any(misshapen(content))


def _vouching() -> list[Content]:
    """The contents in which a figure may stand with its source: every version, then the starting plans."""
    versions = PlanVersion.objects.order_by("-pk").values_list("pk", "content")
    return [*(_value(pk, content).content for pk, content in versions), *starting_plans().values()]


def changed_figures(draft: PlanDraft) -> list[Change]:
    """The figures that differ from what the draft was begun from, for whoever reads or signs it."""
    content = json.loads(draft.content)
    if _unreadable(content):
        return []
    base = [json.loads(draft.base.content)] if draft.base else [*starting_plans().values()]
    return changes(content, base)


def bearing_words(draft: PlanDraft) -> list[str]:
    """What the draft changes of the version it was begun from that could bear on the hazards."""
    content = json.loads(draft.content)
    if draft.base is None or _unreadable(content):
        return []
    return [WORDS[cause] for cause in bearing(json.loads(draft.base.content), content)]


def bars(content: Content) -> list[Fault]:
    """Everything that bars this content from being published in this house."""
    found = faults(content)
    if not _unreadable(content):
        found += [*source_faults(content, _vouching()), *overlong(content)]
        found += statement_faults(content, statements())
    if len(said(content, "title")) > LONGEST_TITLE:
        found.append(Fault("title", f"Keep the title within {LONGEST_TITLE} letters."))
    listed = {row["code"] for row in species()}
    found += [
        Fault(
            f"{path}.code", f"“{said(row, 'code')}” is not on the list of species: choose another."
        )
        for path, row in rows(content, "species")
        if said(row, "code") and said(row, "code") not in listed
    ]
    return found
