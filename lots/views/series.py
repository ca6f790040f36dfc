"""A logger's file in the book: shown, one reading of it put right, the whole of it taken back."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.entries.moments import moments
from lots.entries.readings import Figure
from lots.entries.refusals import Refused, Unlikely
from lots.entries.series import PutRight, correct_series_reading, withdraw_import
from lots.forms.fields import ask_to_confirm, confirmed, refuse
from lots.forms.series import CorrectLoggedForm, FindReadingForm, WithdrawFileForm
from lots.models.reading import LoggerImport, PackedSeries
from lots.queries.logger_file import file_page, get_file
from lots.queries.series_page import Logged, neighbours, reading_of, readings_page, scope_of
from lots.views.base import HouseRequest, open_to


def _file(pk: int) -> LoggerImport:
    source = get_file(pk)
    if source is None:
        raise Http404
    return source


def _number(text: str | None) -> int:
    """A number out of an address; anything else is an address that does not exist."""
    if text is None or not text.isdecimal() or len(text) > 15:
        raise Http404
    return int(text)


@open_to(methods=("GET",))
def logger_file_show(request: HouseRequest, pk: int) -> HttpResponse:
    """What a stored file was, how it was understood, and what was put right of it."""
    return render(request, "logger/file.html", file_page(_file(pk)))


@open_to(methods=("GET",))
def logger_readings(request: HouseRequest) -> HttpResponse:
    """The readings of a load's, a place's or a file's probe around a moment."""
    kind = next((one for one in ("load", "place", "file") if one in request.GET), "")
    scope = scope_of(kind, _number(request.GET.get(kind)))
    if scope is None:
        raise Http404
    probes = [(one.key, one.words) for one in scope.probes()]
    chosen = request.GET.get("probe", "")
    if chosen not in dict(probes):
        chosen = probes[0][0] if probes else ""
    typed = {"probe": chosen, "at": request.GET.get("at", "")}
    form = FindReadingForm(typed, house=request.house, now_ms=request.now_ms, probes=probes)
    at = form.moment() if form.is_valid() else None
    return render(request, "logger/look.html", readings_page(scope, chosen, at) | {"form": form})


def _reading(pk: int, index: str | None) -> Logged:
    rows = PackedSeries.objects.select_related(
        "place", "load", "source__file", "source__withdrawn", "source__line__person"
    )
    series = get_object_or_404(rows, pk=pk)
    try:
        return reading_of(series, _number(index))
    except IndexError:
        raise Http404 from None


@open_to("operator")
def logger_correct(request: HouseRequest, pk: int) -> HttpResponse:
    """Puts one reading of a logger right, or takes it back."""
    one = _reading(pk, request.GET.get("index", request.POST.get("index")))
    unit = one.series.unit
    begin = {"seen": one.newest.pk if one.newest else 0}
    form = CorrectLoggedForm(request.POST or None, unit=unit, initial=begin)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        figure = None if data["take_back"] else Figure(
            data["as_read"], unit, confirmed=confirmed(form, "as_read")
        )  # fmt: skip
        try:
            done = correct_series_reading(
                request.person, one.series, one.index, figure, data["reason"],
                moments(request.now_ms, request.now_ms), data["seen"] or 0,
            )  # fmt: skip
        except Unlikely as refusal:
            ask_to_confirm(form, refusal.fields)
            refuse(form, refusal.fields)
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(request, "The correction stands beside the logger's reading.")
            _say_judged(request, done)
            return redirect("logger_file_show", one.series.source_id)
    context = {"one": one, "form": form, "rows": neighbours(one)}
    return render(request, "logger/correct.html", context)


@open_to("operator")
def logger_withdraw(request: HouseRequest, pk: int) -> HttpResponse:
    """Says what taking a file back will do, and takes it back."""
    source = _file(pk)
    form = WithdrawFileForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        now = request.now_ms
        try:
            done = withdraw_import(
                request.person, source, form.cleaned_data["reason"], moments(now, now)
            )
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            messages.success(
                request,
                f"{source.file.name} is taken back: its {source.added:,} readings count no longer. "
                "They stay in the book.",
            )
            _say_judged(request, done)
            return redirect("logger_file_show", pk)
    return render(request, "logger/withdraw.html", file_page(source) | {"form": form})


def _say_judged(request: HouseRequest, done: PutRight) -> None:
    """Which lots were judged anew, on which a limit is broken, and what waits for the reviewer."""
    codes = sorted({one.part.lot.code for one in done.judged})
    if codes:
        messages.info(request, f"Judged anew: {', '.join(codes)}.")
    if broken := sorted({one.part.lot.code for one in done.judged if one.verdict == "DEVIATION"}):
        messages.warning(request, f"A limit is broken on: {', '.join(broken)}. See Deviations.")
    if any(one.judgement.rests_on_late for one in done.judged):
        messages.info(
            request, "What this makes milder stays until the records reviewer accepts it."
        )
