"""The plan's pages: plans, a version as an inspector's forms, drafts, publishing, withdrawing."""

import json
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.db.models import Count
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from lots.core.plan import Content, Fault, plan_from
from lots.entries import plan as entries
from lots.entries.book import sha256
from lots.entries.refusals import Changed, Refused
from lots.forms.fields import refuse
from lots.forms.plan import BeginForm, PartForm, PublishForm, WithdrawForm
from lots.forms.plan_changes import NotOffered, changed, taken_in
from lots.forms.plan_parts import anchor, part_at, part_group, parts
from lots.forms.plan_spots import shown, typed
from lots.models.plan import Plan, PlanVersion
from lots.models.scratch import PlanDraft
from lots.queries.house import standing_right, training_words
from lots.queries.plan_sheet import plan_sheet
from lots.queries.plans import (
    bars,
    bearing_words,
    changed_figures,
    drafts,
    goes_to,
    house_at,
    newest_versions,
    plan_value,
    plans_with_versions,
    starting_plans,
)
from lots.queries.reassess import reassessments_of, standing
from lots.views.base import HouseRequest, open_to, password_is_right

COORDINATOR = "coordinator"
KEEPING = ("save", "next", "go", "sign", "try")  # store what was typed, and then show something


# --- plans and versions ----------------------------------------------------------------------------


@open_to(methods=("GET",))
def plans(request: HouseRequest) -> HttpResponse:
    """Every plan with its versions, and the drafts."""
    found = plans_with_versions()
    return render(
        request,
        "plans/plans.html",
        {
            "in_force": [
                (plan, versions, standing(plan, request.now_ms))
                for plan, versions in found
                if not hasattr(plan, "withdrawn")
            ],
            "withdrawn": [one for one in found if hasattr(one[0], "withdrawn")],
            "drafts": [(draft, len(bars(json.loads(draft.content)))) for draft in drafts()],
        },
    )


@open_to(methods=("GET",))
def version_show(request: HouseRequest, pk: int) -> HttpResponse:
    """A version as the forms that an inspector expects."""
    versions = PlanVersion.objects.select_related("plan__withdrawn", "signature").annotate(
        under_it=Count("lots")
    )
    version = get_object_or_404(versions, pk=pk)
    newest = version.plan.versions.order_by("-number").first()
    withdrawn = getattr(version.plan, "withdrawn", None)
    return render(
        request,
        "plans/version.html",
        {
            "version": version,
            "newest": newest,
            "withdrawn": withdrawn,
            "standing": standing(version.plan, request.now_ms)
            if version == newest and not withdrawn
            else None,
            "past": reassessments_of(version),
            "house": house_at(version.signature.at) or request.house,
            "sheet": plan_sheet(plan_value(version)),
            "history": True,
        },
    )


@open_to(COORDINATOR)
def plan_withdraw(request: HouseRequest, pk: int) -> HttpResponse:
    """Withdraws a plan, with its reason."""
    plan = get_object_or_404(Plan, pk=pk)
    form = WithdrawForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            entries.withdraw_plan(request.person, plan, form.cleaned_data["reason"], request.now_ms)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(
                request, f"“{plan.title}” is withdrawn: no new lot can be opened under it."
            )
            return redirect("plans")
    return render(request, "plans/withdraw.html", {"plan": plan, "form": form})


# --- drafts ----------------------------------------------------------------------------------------


@open_to(COORDINATOR)
def draft_begin(request: HouseRequest) -> HttpResponse:
    """Begins a draft from a starting plan or from a published version."""
    starting = starting_plans()
    choices = [(f"start:{stem}", f"{c['title']} (starting plan)") for stem, c in starting.items()]
    choices += [(f"version:{v.pk}", f"{v} (to change it)") for v in newest_versions()]
    form = BeginForm(choices, request.POST or None, initial={"source": request.GET.get("from", "")})
    if request.method == "POST" and form.is_valid():
        draft = _begun(request, form, starting)
        messages.success(
            request, "The draft is begun. Nothing of it is in force until it is signed."
        )
        return redirect("draft_edit", draft.pk)
    return render(request, "plans/begin.html", {"form": form})


def _begun(
    request: HouseRequest, form: BeginForm, starting: dict[str, dict[str, Any]]
) -> PlanDraft:
    kind, _, name = form.cleaned_data["source"].partition(":")
    if kind == "version":
        version = PlanVersion.objects.select_related("plan").get(pk=name)
        content, base, title = json.loads(version.content), version, version.plan.title
    else:
        content, base = starting[name], None
        title = form.cleaned_data["title"] or str(content["title"])
    content = {**content, "title": title}
    return entries.begin_draft(request.person, title, content, base, request.now_ms)


@open_to(COORDINATOR)
def draft_edit(request: HouseRequest, pk: int) -> HttpResponse:
    """A part of a draft as fields; saving keeps all that was typed and shows what bars publishing."""
    draft = get_object_or_404(PlanDraft.objects.select_related("plan", "base__plan"), pk=pk)
    content = json.loads(draft.content)
    named = request.GET.get("part", "")
    part = named if named in dict(parts(content)) else "product"
    if request.method == "POST":
        return _save(request, draft, content, part)
    return _part_page(request, draft, content, part)


def _save(
    request: HouseRequest, draft: PlanDraft, content: dict[str, Any], part: str
) -> HttpResponse:
    action = request.POST.get("do", "save")
    if request.POST.get("seen") != sha256(draft.content):
        return _overtaken(request, draft, content, part)
    new = taken_in(content, part, request.POST)
    if draft.plan:
        new["title"] = draft.plan.title
    verb, _, place = action.partition(" ")
    show = part
    try:
        if verb not in KEEPING:
            choice = request.POST.get(f"choice {action}", "")
            new, show = changed(new, part, action, choice)
    except NotOffered as refusal:
        messages.error(request, f"{refusal} What was typed is stored.")
    try:
        entries.save_draft(request.person, draft, str(new.get("title", "")), new, request.now_ms)
    except Changed:
        draft.refresh_from_db()
        return _overtaken(request, draft, json.loads(draft.content), part)
    if verb == "save" or (verb in KEEPING and new != content):
        messages.success(request, "The draft is stored.")
    if verb == "sign":
        return redirect("draft_publish", draft.pk)
    if verb == "try":
        return redirect("draft_try", draft.pk)
    if verb == "go":
        return HttpResponseRedirect(_spot_place(draft, new, place))
    if verb == "next":
        names = [name for name, _ in parts(new)]
        show = names[min(names.index(part) + 1, len(names) - 1)]
    part = part_at(show)
    at = f"#at-{show}" if show != part else ""
    return HttpResponseRedirect(_part_place(draft, part) + at)


def _spot_place(draft: PlanDraft, content: Content, path: str) -> str:
    """The address of the field at a path, or of the part that the path names."""
    part = part_at(path)
    if part not in dict(parts(content)):
        return _part_place(draft, "product")
    if path == part:
        return _part_place(draft, part)
    return f"{_part_place(draft, part)}#{anchor(part_group(content, part), path)}"


def _part_place(draft: PlanDraft, part: str) -> str:
    return f"{reverse('draft_edit', args=[draft.pk])}?{urlencode({'part': part})}"


def _overtaken(
    request: HouseRequest, draft: PlanDraft, content: Content, part: str
) -> HttpResponse:
    """Somebody else saved meanwhile: what they stored, and beside it what was typed here."""
    if part not in dict(parts(content)):
        part = "product"
    mine = [
        (spot.label, typed(spot, request.POST))
        for spot in part_group(content, part).spots()
        if typed(spot, request.POST) not in (None, shown(content, spot))
    ]
    return _part_page(request, draft, content, part, {"overtaken": True, "mine": mine}, 409)


def _part_page(
    request: HouseRequest,
    draft: PlanDraft,
    content: Content,
    part: str,
    more: dict[str, Any] | None = None,
    status: int = 200,
) -> HttpResponse:
    found = bars(content)
    here = [fault for fault in found if part_at(fault.path) == part]
    form = PartForm(content, part, here)
    if draft.plan and "title" in form.fields:
        form.fields["title"].widget.attrs["readonly"] = True
        form.fields["title"].help_text = "A plan keeps its title through its versions."
    context = {
        "draft": draft,
        "part": part,
        "parts": _parts_with_faults(content, found),
        "faults": _with_places(draft, content, found, part),
        "changes": [one for one in changed_figures(draft) if not one.unsourced],  # those are faults
        "laid": form.laid(),
        "seen": sha256(draft.content),
        **(more or {}),
    }
    return render(request, "plans/draft.html", context, status=status)


def _parts_with_faults(content: Content, found: list[Fault]) -> list[tuple[str, str, int]]:
    count: dict[str, int] = {}
    for fault in found:
        count[part_at(fault.path)] = count.get(part_at(fault.path), 0) + 1
    return [(part, name, count.get(part, 0)) for part, name in parts(content)]


def _with_places(
    draft: PlanDraft, content: Content, found: list[Fault], here: str = ""
) -> list[tuple[str, str, str, str]]:
    """Each fault with the address and path of its field and the name of the part it is in."""
    names = dict(parts(content))
    groups = {part: part_group(content, part) for part in {part_at(one.path) for one in found}}
    return [
        (
            f"{'' if part == here else _part_place(draft, part)}#{anchor(groups[part], fault.path)}",
            fault.path or part,
            names.get(part, "Plan"),
            fault.text,
        )
        for fault in found
        for part in [part_at(fault.path)]
    ]


@open_to(COORDINATOR)
def draft_drop(request: HouseRequest, pk: int) -> HttpResponse:
    """Throws a draft away; nothing of it was in force."""
    draft = get_object_or_404(PlanDraft, pk=pk)
    if request.method == "POST":
        entries.drop_draft(request.person, draft)
        messages.success(request, f"The draft of “{draft.title}” is thrown away.")
        return redirect("plans")
    return render(request, "plans/drop.html", {"draft": draft})


# --- publishing ------------------------------------------------------------------------------------


@open_to(COORDINATOR)
def draft_publish(request: HouseRequest, pk: int) -> HttpResponse:
    """Signs a draft as the plan's next version, or lists what bars it."""
    draft = get_object_or_404(PlanDraft.objects.select_related("plan", "base"), pk=pk)
    _, number = goes_to(draft)
    form = PublishForm(number == 1, request.POST or None)
    if request.method == "POST" and _may_sign(request, draft, form):
        try:
            change = form.cleaned_data.get("change", "")
            version = entries.publish_plan(request.person, draft, change, request.now_ms)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"{version} is signed and in force.")
            return redirect("version_show", version.pk)
    return _publish_page(request, draft, form)


def _may_sign(request: HouseRequest, draft: PlanDraft, form: PublishForm) -> bool:
    """Whether the form is whole, the draft is the one that was read, and the password is right."""
    if not form.is_valid() or bars(json.loads(draft.content)):
        return False
    if request.POST.get("seen") != sha256(draft.content):
        form.add_error(
            None, "Somebody else changed this draft while you were reading it: read it again."
        )
        return False
    if not password_is_right(request, form.cleaned_data["password"]):
        form.add_error("password", "This is not your password. Nothing was signed.")
        return False
    return True


def _publish_page(request: HouseRequest, draft: PlanDraft, form: PublishForm) -> HttpResponse:
    content = json.loads(draft.content)
    found = bars(content)
    plan, number = goes_to(draft)
    given = standing_right(request.person, COORDINATOR)
    context = {
        "draft": draft,
        "form": form,
        "faults": _with_places(draft, content, found),
        "sheet": None if found else plan_sheet(plan_from(content)),
        "changes": [] if found else changed_figures(draft),
        "bears": bearing_words(draft),
        "house": request.house,
        "number": number,
        "plan": plan,
        "behind": draft.base is not None and draft.base.number != number - 1,
        "meaning": entries.meaning_of(number),
        "training": training_words(given) if given else "",
        "seen": sha256(draft.content),
    }
    return render(request, "plans/publish.html", context)
