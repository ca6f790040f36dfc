"""A logger's file: laid aside, shown as it is understood, then taken into the book once."""

import json
from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from lots.entries.logger import (
    Imported,
    drop_staged,
    import_file,
    keep_choices,
    move_staged,
    stage_file,
    staged_bytes,
    understood,
)
from lots.entries.refusals import NotAllowed, Refused, Unlikely
from lots.forms.fields import refuse
from lots.forms.logger import UnderstandForm, UploadForm, probes_of
from lots.logger.choices import Choices, choices_from
from lots.logger.errors import LoggerFileError
from lots.logger.preview import Preview
from lots.logger.understanding import Understanding
from lots.models.house import Instrument, Place
from lots.models.lot import Load
from lots.models.reading import PackedSeries, Reading
from lots.models.scratch import StagedFile
from lots.queries.house import open_places, usable_instruments
from lots.queries.logger_file import files_page
from lots.queries.logger_page import loads_with_fish, waiting_files
from lots.views.base import HouseRequest, open_to, upload_of


def _where(request: HouseRequest) -> list[tuple[str, Any]]:
    places = [(f"place-{place.pk}", place.name) for place in open_places()]
    loads = [
        (f"load-{one.load.pk}", one.words)
        for one in loads_with_fish(request.house.zone, request.now_ms)
    ]
    return [("A place", places), ("The fish of a load", loads)]


def _where_of(request: HouseRequest, staged: StagedFile) -> list[tuple[str, Any]]:
    """The places to choose from, the one that it is laid to among them even if it has gone."""
    groups = _where(request)
    standing = f"load-{staged.load_id}" if staged.load_id else f"place-{staged.place_id}"
    if standing in {value for _, group in groups for value, _ in group}:
        return groups
    return [("As it is", [(standing, staged.place.name)]), *groups]


def _known_probes(load: Load | None) -> list[str]:
    """Names of the probes that the load has readings of, by hand or out of files that stand."""
    if load is None:
        return []
    hand = Reading.objects.filter(load=load, quantity="temperature")
    logged = PackedSeries.objects.filter(load=load, source__withdrawn=None)
    names = {name for rows in (hand, logged) for name in rows.values_list("probe", flat=True)}
    return sorted(names - {""}, key=lambda name: (len(name), name))


def _place_and_load(where: str) -> tuple[Place, Load | None]:
    kind, _, number = where.partition("-")
    if kind == "load":
        load = get_object_or_404(Load.objects.select_related("place"), pk=number)
        return load.place, load
    return get_object_or_404(Place, pk=number), None


@open_to(writes=("operator",))
def logger_upload(request: HouseRequest) -> HttpResponse:
    """Chooses where the probes were and sends the file."""
    form = UploadForm(
        request.POST or None,
        request.FILES or None,
        where=_where(request),
        initial={"where": request.GET.get("where", "")},
    )
    if request.method == "POST" and form.is_valid():
        upload = upload_of(request, "file")
        assert upload is not None
        place, load = _place_and_load(form.cleaned_data["where"])
        try:
            staged = stage_file(request.person, place, load, upload, request.now_ms)
        except NotAllowed:
            raise
        except Refused as refusal:
            refuse(form, refusal.fields)
        else:
            return redirect("logger_preview", pk=staged.pk)
    imports = files_page(request.GET.get("page"))
    context = {"form": form, "waiting": waiting_files(), "imports": imports}
    return render(request, "logger/upload.html", context)


def _looked(
    staged: StagedFile, strings: Mapping[str, str], request: HouseRequest
) -> tuple[Understanding | None, Preview | None, str]:
    """How the file is understood under the choices; where it cannot be, why."""
    data = staged_bytes(staged)
    try:
        choices = choices_from(strings)
        found, shown = understood(data, request.house, choices, request.now_ms)
    except LoggerFileError as error:
        return _without_choices(data, request), None, error.message
    return found, shown, shown.refusal.message if shown.refusal else ""


def _without_choices(data: bytes, request: HouseRequest) -> Understanding | None:
    try:
        return understood(data, request.house, Choices(), request.now_ms)[0]
    except LoggerFileError:
        return None


@open_to("operator")
def logger_preview(request: HouseRequest, pk: int) -> HttpResponse:
    """Shows how the file is understood, lets each part be changed, and takes the readings in."""
    rows = StagedFile.objects.select_related("place", "load", "person")
    staged = get_object_or_404(rows, pk=pk)
    strings: dict[str, str] = json.loads(staged.choices)
    found, shown, refusal = _looked(staged, strings, request)
    options: dict[str, Any] = {
        "found": found,
        "instruments": usable_instruments(),
        "in_fish": staged.load_id is not None,
        "where": _where_of(request, staged),
        "known": _known_probes(staged.load),
    }
    standing = f"load-{staged.load_id}" if staged.load_id else f"place-{staged.place_id}"
    form = UnderstandForm(request.POST or None, initial={**strings, "where": standing}, **options)
    if request.method == "POST" and form.is_valid():
        if move_staged(staged, *_place_and_load(form.cleaned_data["where"] or standing)):
            keep_choices(staged, form.strings())
            messages.info(
                request, f"It is now for {staged.place.name}. Look at it again, then store."
            )
            return redirect("logger_preview", pk=pk)
        before, strings = strings, form.strings()
        keep_choices(staged, strings)
        if "store" not in request.POST:
            return redirect("logger_preview", pk=pk)
        if _read_by(strings) != _read_by(before):
            found, shown, refusal = _looked(staged, strings, request)
        if found is None or refusal:
            form.add_error(None, refusal or "The file cannot be understood.")
        elif (done := _stored(request, staged, strings, form, found)) is not None:
            return done
    context = {"staged": staged, "form": form, "found": found, "shown": shown, "refusal": refusal}
    return render(request, "logger/preview.html", context)


def _read_by(strings: Mapping[str, str]) -> dict[str, str]:
    """The choices that bear on how the file is read."""
    return {
        name: text for name, text in strings.items() if not name.startswith(("probe_", "instr"))
    }


def _stored(
    request: HouseRequest,
    staged: StagedFile,
    strings: dict[str, str],
    form: UnderstandForm,
    found: Understanding,
) -> HttpResponse | None:
    """Takes the readings in; None where the entry refused, with its words on the form."""
    instrument = Instrument.objects.filter(pk=strings.get("instrument") or None).first()
    try:
        done = import_file(
            request.person,
            staged,
            choices_from(strings),
            probes_of(strings, found),
            instrument,
            request.house,
            request.now_ms,
            form.cleaned_data["confirmed"],
        )
    except NotAllowed:
        raise
    except Refused as refused:
        if isinstance(refused, Unlikely):
            form.ask_to_confirm()
        refuse(form, _beside(refused.fields, found))
        return None
    _say(request, done)
    return redirect("logger_upload")


def _beside(fields: Mapping[str, str], found: Understanding) -> dict[str, str]:
    """A refusal about probes goes beside the first column that is taken."""
    taken = next((one.column for one in found.channels if one.taken), None)
    named = f"probe_{taken}" if taken is not None else ""
    return {named if name == "probes" else name: text for name, text in fields.items()}


def _say(request: HouseRequest, done: Imported) -> None:
    if not done.added:
        messages.info(
            request,
            f"Nothing new was added: all {done.seen_before:,} readings were in the book already.",
        )
        return
    before = f"; {done.seen_before:,} were there before" if done.seen_before else ""
    lots = {one.part.lot_id for one in done.judged}
    messages.success(
        request,
        f"{done.added:,} readings are in the book{before}. They were held against the limits of "
        f"{len(lots)} {'lot' if len(lots) == 1 else 'lots'}.",
    )
    if broken := sorted({one.part.lot.code for one in done.judged if one.verdict == "DEVIATION"}):
        messages.warning(request, f"A limit is broken on: {', '.join(broken)}. See Deviations.")


@open_to("operator", methods=("POST",))
def logger_drop(request: HouseRequest, pk: int) -> HttpResponse:
    """Throws a file away that was laid aside."""
    staged = get_object_or_404(StagedFile, pk=pk)
    name = staged.name
    drop_staged(staged)
    messages.info(request, f"{name} was dropped; nothing of it is in the book.")
    return redirect("logger_upload")
