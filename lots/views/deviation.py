"""Deviations: the list, one with its evidence, the action taken, and what becomes of the fish."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.entries.deviation import Action, Decision, decide, take_action, tell_consignee
from lots.entries.refusals import Changed, NotAllowed, Refused
from lots.forms.deviation import ActionForm, DecisionForm, ToldForm, rows_asked
from lots.forms.fields import refuse
from lots.models.deviation import Deviation, Disposition, RecallConsignee
from lots.queries.deviation_page import deviation_page, ended_deviations, not_told, open_deviations
from lots.queries.house import say_weight
from lots.queries.release import may_recall, undecided_grams
from lots.queries.shift_review import broken_since
from lots.views.base import HouseRequest, open_to

ENDED_A_PAGE = 25


@open_to(methods=("GET",))
def deviations(request: HouseRequest) -> HttpResponse:
    """Open ones first, then the ended ones page by page."""
    page = Paginator(ended_deviations(), ENDED_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "deviations/list.html",
        {
            "open": list(open_deviations()) if page.number == 1 else None,
            "broken": broken_since(request.now_ms) if page.number == 1 else None,
            "not_told": not_told() if page.number == 1 else [],
            "page": page,
        },
    )


def _deviation(pk: int) -> Deviation:
    rows = Deviation.objects.select_related(
        "lot__plan_version", "load__place__within", "line__person"
    )
    return get_object_or_404(rows, pk=pk)


@open_to(methods=("GET",))
def deviation_show(request: HouseRequest, pk: int) -> HttpResponse:
    """A deviation with what it rests on, what the plan says to do, and what was done."""
    found = deviation_page(_deviation(pk), request.now_ms)
    return render(
        request,
        "deviations/show.html",
        {
            "found": found,
            "deviation": found.deviation,
            "may_act": bool(request.rights & {"operator", "reviewer"}),
            "may_tell": bool(request.rights & {"operator", "reviewer", "coordinator"}),
        },
    )


def _page(
    request: HttpRequest, template: str, deviation: Deviation, form: Any, status: int = 200
) -> HttpResponse:
    found = deviation_page(deviation, request.now_ms)  # type: ignore[attr-defined]
    context = {"found": found, "deviation": deviation, "form": form}
    return render(request, template, context, status=status)


@open_to("operator", "reviewer")
def action_take(request: HouseRequest, pk: int) -> HttpResponse:
    """Writes down the corrective action."""
    deviation = _deviation(pk)
    form = ActionForm(request.POST or None, zone=request.house.zone, now_ms=request.now_ms)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        due = typed["reassessment_due"]
        action = Action(
            plan_followed=typed["plan_followed"] == "yes",
            fish=typed["fish"],
            control_restored=typed["control_restored"],
            cause=typed["cause"],
            segregated=typed["segregated"],
            acceptability_by=typed["acceptability_by"],
            reassessment_by=typed["reassessment_by"],
            reassessment_due=due.isoformat() if due else "",
        )
        try:
            take_action(request.person, deviation, action, typed["taken_at"], request.now_ms)
        except NotAllowed:
            raise
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"The corrective action on deviation {pk} is in the book.")
            return redirect("deviation_show", pk=pk)
    return _page(request, "deviations/action.html", deviation, form)


def _last_number(deviation: Deviation) -> int:
    newest = Disposition.objects.filter(deviation=deviation).order_by("-number").first()
    return newest.number if newest else 0


@open_to("operator", "reviewer")
def deviation_decide(request: HouseRequest, pk: int) -> HttpResponse:
    """Decides what becomes of the fish; of two deciding at once the second is told, and keeps what
    was typed."""
    deviation = _deviation(pk)
    options = {
        "unit": request.house.weight_unit,
        "may_end": "reviewer" in request.rights,
        "may_recall": may_recall(deviation),
        "zone": request.house.zone,
        "now_ms": request.now_ms,
        "rows": rows_asked(request.POST),
    }
    if "more" in request.POST:  # nothing is decided yet: the same page with all that was typed
        typed = request.POST.dict() | {"rows": str(options["rows"])}
        form = DecisionForm(initial=typed, **options)
        return _page(request, "deviations/decide.html", deviation, form)
    if request.method != "POST":
        form = DecisionForm(initial=_first_words(request, deviation), **options)
        return _page(request, "deviations/decide.html", deviation, form)
    form = DecisionForm(request.POST, **options)
    if form.is_valid():
        typed = form.cleaned_data
        decision = Decision(
            typed["kind"],
            typed["grams"],
            typed["reason"],
            typed.get("acceptability_review", ""),
            typed["seen"],
            form.consignees(),
        )
        try:
            made = decide(request.person, deviation, decision, request.now_ms)
        except NotAllowed:
            raise
        except Changed as changed:
            return _again(request, deviation, changed, options)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            left = undecided_grams(_deviation(pk))
            words = f"{say_weight(made.grams)} {made.kind}"
            if made.kind == "hold":
                tail = "it stays open"
            elif left:
                tail = f"{say_weight(left)} is still undecided and the deviation stays open"
            else:
                tail = "it is ended"
            messages.success(request, f"Deviation {pk}: {words} is decided; {tail}.")
            return redirect("deviation_show", pk=pk)
    return _page(request, "deviations/decide.html", deviation, form)


def _first_words(request: HouseRequest, deviation: Deviation) -> dict[str, Any]:
    """What the form begins with: all that is undecided, and the newest decision as the page shows."""
    return {"seen": _last_number(deviation), "grams": say_weight(undecided_grams(deviation))}


def _again(
    request: HouseRequest, deviation: Deviation, changed: Changed, options: dict[str, Any]
) -> HttpResponse:
    """The page with the decision that came first, and all that this person typed."""
    typed = request.POST.copy()
    typed["seen"] = str(_last_number(deviation))
    form = DecisionForm(typed, **options)
    form.is_valid()
    refuse(form, changed.fields)
    return _page(request, "deviations/decide.html", deviation, form, status=409)


@open_to("operator", "reviewer", "coordinator")
def consignee_told(request: HouseRequest, pk: int) -> HttpResponse:
    """Keeps when somebody who had recalled fish was told."""
    rows = RecallConsignee.objects.select_related("disposition__deviation__lot")
    row = get_object_or_404(rows, pk=pk)
    deviation = row.disposition.deviation
    posted = request.POST if request.method == "POST" else None
    form = ToldForm(posted, zone=request.house.zone, now_ms=request.now_ms)
    if form.is_valid():
        typed = form.cleaned_data
        try:
            tell_consignee(request.person, row, typed["told_at"], typed["note"], request.now_ms)
        except NotAllowed:
            raise
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, f"{row.consignee} is kept as told of the recall.")
            return redirect("deviation_show", pk=deviation.pk)
    context = {"row": row, "deviation": deviation, "form": form}
    return render(request, "deviations/told.html", context)
