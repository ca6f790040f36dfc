"""Review of the shift's records, acceptance of late entries, and release of a lot."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.entries.reading import accept_late
from lots.entries.refusals import NotAllowed, Refused
from lots.entries.review import QUANTITY_KINDS, release_lot, sign_reviews
from lots.forms.fields import refuse
from lots.forms.review import WRONG_PASSWORD, AcceptForm, ReleaseForm, SignForm
from lots.models.lot import Lot
from lots.models.review import Release
from lots.queries.house import standing_right, training_words
from lots.queries.judgements import judge_lot
from lots.queries.late_rows import rows_named
from lots.queries.lineage import balance
from lots.queries.plans import plan_value
from lots.queries.release import bars, decided_grams, newest_review, releasable_grams
from lots.queries.shift_review import lots_to_review, needs_an_eye
from lots.views.base import HouseRequest, open_to, password_is_right
from lots.views.sealing import seal_the_head


@open_to(methods=("GET",))
def review(request: HouseRequest) -> HttpResponse:
    """Everything since the last review that needs an eye, worst first; then the signing."""
    return _page(request)


def _page(
    request: HouseRequest,
    sign: SignForm | None = None,
    accept: AcceptForm | None = None,
    ticked: list[str] | None = None,
    tick_error: str = "",
) -> HttpResponse:
    waiting = lots_to_review(request.now_ms)
    mine = request.person.pk
    given = standing_right(request.person, "reviewer")
    return render(
        request,
        "review/review.html",
        {
            "waiting": waiting,
            "eye": needs_an_eye(waiting, request.now_ms),
            "sign": sign or SignForm(),
            "accept": accept or AcceptForm(),
            "ticked": ticked or [],
            "tick_error": tick_error,
            "may_sign": "reviewer" in request.rights,
            "training": training_words(given) if given else "",
            "own": {
                one.lot.pk for one in waiting if any(line.person_id == mine for line in one.lines)
            },
        },
    )


def _lots_ticked(keys: list[str]) -> list[tuple[Lot, int]]:
    """Each ticked lot with the number of its last line as it stood on the page."""
    pairs = [key.partition("-") for key in keys]
    numbers = {int(a): int(b) for a, _, b in pairs if a.isdecimal() and b.isdecimal()}
    lots = Lot.objects.filter(pk__in=numbers).select_related("plan_version").order_by("code")
    return [(lot, numbers[lot.pk]) for lot in lots]


@open_to("reviewer", methods=("POST",))
def review_sign(request: HouseRequest) -> HttpResponse:
    """Signs the records of the ticked lots."""
    form, keys = SignForm(request.POST), request.POST.getlist("lot")
    if not form.is_valid():
        return _page(request, sign=form, ticked=keys)
    if not password_is_right(request, form.cleaned_data["password"]):
        form.add_error("password", WRONG_PASSWORD)
        return _page(request, sign=form, ticked=keys)
    try:
        made = sign_reviews(
            request.person, _lots_ticked(keys), form.cleaned_data["note"], request.now_ms
        )
    except NotAllowed:
        raise
    except Refused as refusal:
        refuse(form, {name: text for name, text in refusal.fields.items() if name != "lots"})
        return _page(request, form, None, keys, refusal.fields.get("lots", ""))
    codes = ", ".join(one.lot.code for one in made)
    messages.success(request, f"Reviewed and signed: {codes}.")
    seal_the_head(request)
    return redirect("review")


@open_to("reviewer", methods=("POST",))
def late_accept(request: HouseRequest) -> HttpResponse:
    """Accepts the ticked late and corrected entries, with the reason."""
    form, keys = AcceptForm(request.POST), request.POST.getlist("entry")
    if form.is_valid():
        try:
            accept_late(
                request.person, rows_named(keys), form.cleaned_data["reason"], request.now_ms
            )
        except NotAllowed:
            raise
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "Accepted; the limits they touch were judged anew.")
            return redirect("review")
    return _page(request, accept=form, ticked=keys)


def _first_quantities(lot: Lot) -> dict[str, str]:
    """What was packed, less what deviations decided otherwise."""
    packed = balance(lot).packed or 0
    decided = {kind: min(grams, packed) for kind, grams in decided_grams(lot).items()}
    allowed = releasable_grams(lot)
    rest = max(0, packed - sum(decided.values()))
    rest = rest if allowed is None else min(rest, allowed)
    return {kind: f"{grams / 1000:g} kg" for kind, grams in {"release": rest, **decided}.items()}


@open_to("reviewer")
def lot_release(request: HouseRequest, code: str) -> HttpResponse:
    """Releases a lot, or shows what stands against it."""
    rows = Lot.objects.select_related("plan_version", "voided", "finish")
    lot = get_object_or_404(rows, code=code)
    kept = plan_value(lot.plan_version).product.statement
    form = ReleaseForm(
        request.POST or None,
        unit=request.house.weight_unit,
        kinds=QUANTITY_KINDS,
        initial=_first_quantities(lot) | {"storage": kept},
    )
    if request.method == "POST" and form.is_valid() and _released(request, lot, form):
        messages.success(request, f"Lot {lot.code} is released for distribution.")
        seal_the_head(request)
        return redirect("lot_show", code=lot.code)
    released = Release.objects.filter(lot=lot).select_related("line__person").first()
    against = [] if released else bars(lot, request.now_ms, judge_lot(lot, request.now_ms))
    context: dict[str, Any] = {
        "lot": lot,
        "form": form,
        "against": against,
        "released": released,
        "balance": balance(lot),
        "review": newest_review(lot),
    }
    return render(request, "review/release.html", context)


def _released(request: HouseRequest, lot: Lot, form: ReleaseForm) -> bool:
    typed = form.cleaned_data
    if not password_is_right(request, typed["password"]):
        form.add_error("password", WRONG_PASSWORD)
        return False
    quantities = {kind: typed[kind] for kind in QUANTITY_KINDS if typed.get(kind)}
    try:
        release_lot(
            request.person, lot, quantities, typed["note"], request.now_ms, typed["storage"]
        )
    except NotAllowed:
        raise
    except Refused as refusal:
        refuse(form, refusal.fields)
        return False
    return True
