"""A plan tried against past lots, and its reassessment asked for and signed."""

import json
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.core.plan import BadPlan, Content, Fault
from lots.core.plan_content import misshapen, unstorable
from lots.core.units import MS_PER_DAY
from lots.entries import plan as plan_entries
from lots.entries import reassess as entries
from lots.entries.refusals import Refused
from lots.forms.fields import refuse
from lots.forms.plan_reassess import AskForm, ReassessForm
from lots.models.plan import Plan, PlanVersion
from lots.models.scratch import PlanDraft
from lots.queries.house import standing_right, training_words
from lots.queries.plans import goes_to
from lots.queries.reassess import reassessments_of, standing
from lots.queries.what_if import MOST_LOTS, Outcome, WhatIf, what_if
from lots.views.base import HouseRequest, open_to, password_is_right

COORDINATOR = "coordinator"
YEAR_MS = 365 * MS_PER_DAY
SHOWN = (Outcome.FAILS, Outcome.STILL, Outcome.MENDED, Outcome.UNTOLD)  # in tables, in this order


# --- tried against past lots -----------------------------------------------------------------------


@open_to(COORDINATOR, methods=("GET",))
def draft_try(request: HouseRequest, pk: int) -> HttpResponse:
    """A draft's limits held against the plan's past lots, before it is published."""
    draft = get_object_or_404(PlanDraft.objects.select_related("plan", "base"), pk=pk)
    plan, _ = goes_to(draft)
    return _tried(request, plan, json.loads(draft.content), {"draft": draft})


@open_to(methods=("GET",))
def version_what_if(request: HouseRequest, pk: int) -> HttpResponse:
    """The coordinator sees the newest draft of a change held against past lots; where there is none,
    and for everybody else, the version itself is held against lots made under other versions."""
    version = get_object_or_404(PlanVersion.objects.select_related("plan"), pk=pk)
    draft = PlanDraft.objects.filter(plan=version.plan).order_by("-changed_at", "-pk").first()
    if draft is not None and COORDINATOR in request.rights:
        return _tried(request, version.plan, json.loads(draft.content), {"draft": draft})
    return _tried(request, version.plan, json.loads(version.content), {"version": version})


def _tried(
    request: HouseRequest, plan: Plan | None, content: Content, more: dict[str, Any]
) -> HttpResponse:
    every = request.GET.get("lots") == "all"
    found, faults = _held(plan, content, request.now_ms, 0 if every else request.now_ms - YEAR_MS)
    context = {
        "plan": plan,
        "every": every,
        "most": MOST_LOTS,
        "found": found,
        "faults": faults,
        "groups": [(one, found.of(one)) for one in SHOWN if found.of(one)] if found else [],
        "same": found.unharmed if found else [],
        **more,
    }
    return render(request, "plans/try.html", context)


def _held(
    plan: Plan | None, content: Content, now: int, since: int
) -> tuple[WhatIf | None, list[Fault]]:
    faults = [*unstorable(content), *misshapen(content)]
    if faults:
        return None, faults
    try:
        return what_if(plan, content, now, since), []
    except BadPlan as error:
        return None, error.faults


# --- reassessment ----------------------------------------------------------------------------------


@open_to("operator", "reviewer", COORDINATOR)
def reassess_ask(request: HouseRequest, pk: int) -> HttpResponse:
    """Something changed that could bear on the hazards: the coordinator is asked to look."""
    plan = get_object_or_404(Plan, pk=pk)
    form = AskForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        try:
            entries.ask_reassessment(
                request.person, plan, typed["cause"], typed["what"], request.now_ms
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"The reassessment of “{plan.title}” is asked for.")
            return redirect("plans")
    return render(request, "plans/reassess_ask.html", {"plan": plan, "form": form})


@open_to(COORDINATOR)
def reassess_sign(request: HouseRequest, pk: int) -> HttpResponse:
    """The coordinator signs that the plan was looked at anew."""
    version = get_object_or_404(PlanVersion.objects.select_related("plan", "signature"), pk=pk)
    form = ReassessForm(request.POST or None)
    if request.method == "POST" and _may_sign(request, form):
        typed = form.cleaned_data
        try:
            entries.sign_reassessment(
                request.person, version, typed["outcome"], typed["considered"], request.now_ms
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            return _signed(request, version, typed["outcome"])
    given = standing_right(request.person, COORDINATOR)
    context = {
        "version": version,
        "form": form,
        "standing": standing(version.plan, request.now_ms),
        "past": reassessments_of(version),
        "training": training_words(given) if given else "",
    }
    return render(request, "plans/reassess_sign.html", context)


def _may_sign(request: HouseRequest, form: ReassessForm) -> bool:
    if not form.is_valid():
        return False
    if not password_is_right(request, form.cleaned_data["password"]):
        form.add_error("password", "This is not your password. Nothing was signed.")
        return False
    return True


def _signed(request: HouseRequest, version: PlanVersion, outcome: str) -> HttpResponse:
    """After "to be changed" a draft begins from the version, unless one is begun already."""
    if outcome != "change":
        messages.success(request, f"The reassessment of {version} is signed: it stands as it is.")
        return redirect("version_show", version.pk)
    draft = PlanDraft.objects.filter(plan=version.plan, base=version).order_by("-pk").first()
    if draft is None:
        draft = plan_entries.begin_draft(
            request.person,
            version.plan.title,
            json.loads(version.content),
            version,
            request.now_ms,
        )
    messages.success(
        request, "The reassessment is signed. Change the draft: it is in force once it is signed."
    )
    return redirect("draft_edit", draft.pk)
