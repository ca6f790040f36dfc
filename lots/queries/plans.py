"""Plans: versions as core values, and the lists of the plan pages."""

import json
import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import OuterRef, QuerySet, Subquery

from lots.core.plan import Plan as PlanValue
from lots.core.plan import plan_from
from lots.models.plan import Plan, PlanVersion
from lots.models.scratch import PlanDraft


@lru_cache(maxsize=64)
def _value(version_id: int, content: str) -> PlanValue:
    return plan_from(json.loads(content))


def plan_value(version: PlanVersion) -> PlanValue:
    """What the version demands."""
    return _value(version.pk, version.content)


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
    """The plans that a new house may begin from, by file stem."""
    return {
        file.stem: tomllib.loads(file.read_text())
        for file in sorted(Path(settings.PLANS_DIR).glob("*.toml"))
    }


def drafts() -> QuerySet[PlanDraft]:
    return PlanDraft.objects.select_related("plan", "base").order_by("title")
