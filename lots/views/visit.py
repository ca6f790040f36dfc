"""What an inspector sees in a visit: the things asked for first, each at most two taps away."""

from axes.handlers.proxy import AxesProxyHandler
from django.contrib.auth.signals import user_login_failed
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache

from lots.entries.refusals import Refused
from lots.entries.visit import begin_visit, leave_visit, see
from lots.forms.fields import refuse
from lots.forms.visit import VisitCodeForm
from lots.models.house import Instrument
from lots.queries.accuracy_checks import IN_DEGREES, register, registered
from lots.queries.deviation_page import deviation_page
from lots.queries.house import accuracy_checks, rules
from lots.queries.lot_page import get_lot, lot_page
from lots.queries.plan_sheet import plan_sheet
from lots.queries.plans import house_at, plan_value
from lots.queries.reassess import reassessments_of
from lots.queries.retention import keep_until
from lots.queries.review_status import review_status
from lots.queries.visit import (
    deviations_of_visit,
    lots_of,
    lots_shown,
    people_trained,
    points_of,
    records_of,
    seen_in,
    versions_of,
)
from lots.views.base import HouseRequest, file_answer, open_door, zone_of
from lots.views.log_in import READ_AND_POST, locked_out
from lots.views.record import PDF
from lots.views.visit_door import VisitRequest, begin_session, in_visit, show_page

COUNTED_AS = {"username": "code of a visit"}  # no log-in name holds blanks
CHECKS_A_PAGE = 40
DEVIATIONS_A_PAGE = 20


@open_door
@never_cache
@READ_AND_POST
def visit_in(request: HouseRequest) -> HttpResponse:
    """Takes the one-time code; wrong ones are counted as wrong passwords are."""
    if getattr(request, "visit", None) is not None:
        return redirect("visit_front")
    form = VisitCodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        if not AxesProxyHandler.is_allowed(request, COUNTED_AS):
            return locked_out(request)
        try:
            visit, key = begin_visit(form.cleaned_data["visit_code"], request.now_ms)
        except Refused as refusal:
            user_login_failed.send(sender=__name__, credentials=dict(COUNTED_AS), request=request)
            refuse(form, refusal.fields)
        else:
            AxesProxyHandler.reset_attempts(
                username=COUNTED_AS["username"], ip_address=request.META["REMOTE_ADDR"]
            )
            begin_session(request, visit, key)
            return redirect("visit_front")
    return render(request, "visit/in.html", {"form": form})


@in_visit()
def visit_front(request: VisitRequest) -> HttpResponse:
    lots = lots_shown(request.visit)
    versions = versions_of(request.visit)
    status = review_status([one.lot for one in lots], request.now_ms)
    context = {
        "lots": len(lots),
        "records": sum(one.record is not None for one in lots),
        "versions": versions,
        "points": points_of(versions),
        "deviations": deviations_of_visit(request.visit).count(),
        "late": sum(not one.in_time for one in status),
        "rule": rules(),
    }
    return show_page(request, "The front page", "visit/front.html", context)


@in_visit()
def visit_lots(request: VisitRequest) -> HttpResponse:
    context = {"lots": lots_shown(request.visit)}
    return show_page(request, "The lots and their records", "visit/lots.html", context)


@in_visit()
def visit_lot(request: VisitRequest, code: str) -> HttpResponse:
    lot = get_lot(code)
    if lot is None or not request.visit.lots.filter(lot=lot).exists():
        raise Http404
    unit = "F" if request.house.temperature_unit == "F" else "C"
    text = request.GET.get("step", "")
    step = int(text) if text.isascii() and text.isdigit() and len(text) < 4 else 0
    context = lot_page(lot, unit, zone_of(request), request.now_ms, step)
    shown = set(request.visit.lots.values_list("lot", flat=True))
    context |= {"kept": keep_until(lot, request.house), "shown_lots": shown}
    return show_page(request, f"Lot {lot.code}", "visit/lot.html", context)


@in_visit()
def visit_record(request: VisitRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(records_of(request.visit), pk=pk)
    answer = file_answer(row.file, PDF)
    what = f"Sealed record of lot {row.lot.code}, revision {row.revision} (PDF)"
    see(request.visit, what, request.path, request.now_ms)
    return answer


@in_visit()
def visit_plan(request: VisitRequest, pk: int) -> HttpResponse:
    version = next((one for one in versions_of(request.visit) if one.pk == pk), None)
    if version is None:
        raise Http404
    context = {
        "version": version,
        "past": reassessments_of(version),
        "house": house_at(version.signature.at) or request.house,
        "sheet": plan_sheet(plan_value(version)),
    }
    return show_page(request, f"Plan: {version}", "visit/plan.html", context)


@in_visit()
def visit_people(request: VisitRequest) -> HttpResponse:
    context = {"people": people_trained()}
    return show_page(request, "People and their training", "visit/people.html", context)


@in_visit()
def visit_instruments(request: VisitRequest) -> HttpResponse:
    context = {"rows": register(request.now_ms)}
    return show_page(request, "Instruments and their checks", "visit/instruments.html", context)


@in_visit()
def visit_instrument(request: VisitRequest, pk: int) -> HttpResponse:
    one = get_object_or_404(Instrument.objects.select_related("place", "retired__line"), pk=pk)
    checks = Paginator(accuracy_checks(one), CHECKS_A_PAGE).get_page(request.GET.get("page"))
    newest = accuracy_checks(one).first()
    context = {
        "one": one,
        "checks": checks,
        "row": registered(one, newest, request.now_ms),
        "in_degrees": one.kind in IN_DEGREES,
    }
    return show_page(request, f"Checks of {one.name}", "visit/instrument.html", context)


@in_visit()
def visit_deviations(request: VisitRequest) -> HttpResponse:
    rows = deviations_of_visit(request.visit)
    page = Paginator(rows, DEVIATIONS_A_PAGE).get_page(request.GET.get("page"))
    found = [deviation_page(one, request.now_ms) for one in page]
    context = {"page": page, "found": found}
    return show_page(request, "Corrective actions", "visit/deviations.html", context)


@in_visit()
def visit_deviation(request: VisitRequest, pk: int) -> HttpResponse:
    deviation = get_object_or_404(deviations_of_visit(request.visit), pk=pk)
    found = deviation_page(deviation, request.now_ms)
    shown = set(request.visit.lots.values_list("lot", flat=True))
    context = {
        "deviation": deviation,
        "found": found,
        "beside": [other for other in found.beside if other.lot_id in shown],
        "others": sum(other.lot_id not in shown for other in found.beside),
    }
    what = f"Deviation {deviation.pk} of lot {deviation.lot.code}"
    return show_page(request, what, "visit/deviation.html", context)


@in_visit()
def visit_reviews(request: VisitRequest) -> HttpResponse:
    context = {"rows": review_status(lots_of(request.visit), request.now_ms)}
    return show_page(request, "The review of the records", "visit/reviews.html", context)


@in_visit("GET", "POST")
def visit_close(request: VisitRequest) -> HttpResponse:
    """What was looked at; with POST the visit is over, and its session with it."""
    if request.method == "POST":
        visit, seen = request.visit, list(seen_in(request.visit))
        leave_visit(visit, request.now_ms)
        request.session.flush()
        return render(request, "visit/over.html", {"visit": visit, "seen": seen})
    context = {"visit": request.visit, "seen": seen_in(request.visit)}
    return render(request, "visit/close.html", context)
