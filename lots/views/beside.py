"""The tablet beside the smoker: what it needs to go on without network, and the entries that it sends."""

import hashlib
import hmac
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from django.core.exceptions import RequestDataTooBig
from django.http import HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from lots.entries.lapses import lapsed
from lots.entries.load import end_load, start_load
from lots.entries.lot import finish_lot
from lots.entries.moments import Moments
from lots.entries.note import write_note
from lots.entries.pin_seal import BadSeal, open_seal, public_key
from lots.entries.pins import MustWait, WrongPin, check_pin
from lots.entries.reading import enter_readings, observe
from lots.entries.refusals import NotAllowed, Refused, Unlikely
from lots.forms import beside as form
from lots.forms.beside import Envelope, NotYet
from lots.models.book import BookLine
from lots.models.lot import Load
from lots.models.reading import Reading
from lots.queries import beside as pad
from lots.queries.answer import answer_page
from lots.queries.board import by_place, loads_now, lots_between_steps
from lots.queries.deviation_page import open_count
from lots.queries.house import rules
from lots.queries.load_page import LimitShown
from lots.views.base import HouseRequest, open_door

Answer = dict[str, Any]


def logged_in(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Answers in JSON where nobody is logged in: a log-in page would look like an answer to a tablet."""

    def inner(request: HouseRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not request.user.is_authenticated or not request.rights:
            return JsonResponse({"needs": "log in"}, status=401)
        return view(request, *args, **kwargs)

    return inner


def board(request: HouseRequest) -> tuple[dict[str, Any], dict[str, Any]]:
    """The context of the board, and all that the tablet keeps of it."""
    now = request.now_ms
    loads = loads_now(now)
    lots = {part.lot_id: part.lot for each in loads for part in each.parts}
    context = {
        "loads": loads,
        "tiles": by_place(loads, now),
        "waiting": lots_between_steps(loads),
        "deviations": open_count(),
        "broken": lapsed(lots.values(), now),
        "rights": request.rights,
        "now_ms": now,
        "establishment": request.house,
    }
    places, due, startable = pad.pad_places(loads), pad.pad_due(loads), pad.pad_lots()
    data = {
        "now": now,
        "zone": request.house.zone,
        "unit": request.house.temperature_unit,
        "weight_unit": request.house.weight_unit,
        "csrf": get_token(request),
        "pen": pen_of(request),
        "people": pad.pad_people(),
        "pin_key": public_key(),
        "rules": pad.pad_rules(),
        "places": places,
        "instruments": pad.pad_instruments(),
        "loads": pad.pad_loads(loads, now),
        "lots": startable,
        "batches": pad.pad_batches(),
        "plans": pad.pad_plans([part for each in loads for part in each.parts], startable),
        "due": due,
        "round": pad.pad_round(due, places, now),
    }
    return context, data


def pen_of(request: HouseRequest) -> dict[str, Any]:
    """Whose pen is open here, and how."""
    pen = request.pen
    return {
        "open": pen.open,
        "person": pen.person.pk,
        "name": pen.person.name,
        "initials": pen.person.initials,
        "by": pen.by,
        "locks_at": pen.locks_at,
        "lock_after_ms": rules().lock_after_ms,
        "rights": sorted(request.rights),
    }


@open_door
@never_cache
@require_http_methods(["GET", "HEAD"])
@logged_in
def beside_data(request: HouseRequest) -> HttpResponse:
    """All that the opening page shows and that the tablet goes on with."""
    context, data = board(request)
    html = render_to_string("shift/board.html", context, request)
    return JsonResponse(data | {"board": html})


@open_door
@never_cache
@require_http_methods(["POST"])
@logged_in
def entry_take(request: HouseRequest) -> HttpResponse:
    """Takes one entry into the book, once, and answers with what it shows."""
    try:
        envelope = form.clean_envelope(_raw(request))
        proved = prove(request, envelope)
        line, answer, repeated = _take(envelope, _moments(envelope, proved, request.now_ms))
    except MustWait as wait:
        return JsonResponse({"needs": "wait", "until": wait.until, "why": wait.why}, status=429)
    except WrongPin as wrong:
        return JsonResponse({"needs": "pin", "why": wrong.why}, status=403)
    except NotYet as early:
        return JsonResponse({"needs": "start", "why": str(early)}, status=409)
    except NotAllowed as refusal:
        return JsonResponse({"needs": "right", "why": str(refusal)}, status=403)
    except Refused as refusal:
        said = {"refused": refusal.fields, "unlikely": isinstance(refusal, Unlikely)}
        return JsonResponse(said, status=422)
    return JsonResponse({"stored": True, "repeated": repeated, "line": line, "answer": answer})


def _raw(request: HouseRequest) -> bytes:
    try:
        return request.body
    except RequestDataTooBig as error:
        raise Refused(form.TOO_LARGE) from error


def prove(request: HouseRequest, envelope: Envelope) -> str:
    """How the person proved that the entry is theirs: "PIN", or "" by their own open pen.

    Raises:
        WrongPin, MustWait: neither.
    """
    if not envelope.seal:
        pen = request.pen
        if pen.open and pen.person.pk == envelope.person.pk:
            return "PIN" if pen.by == "pin" else ""
        raise WrongPin(f"This entry waits for the PIN of {envelope.person.name}.")
    digest = hashlib.sha256(envelope.sealed_text.encode()).hexdigest()
    try:
        held = open_seal(envelope.seal)
    except BadSeal as bad:
        raise WrongPin(f"The PIN of {envelope.person.name} must be typed again.") from bad
    if not hmac.compare_digest(held["sha256"], digest):
        raise WrongPin("The PIN was typed for another entry. Type it again.")
    check_pin(envelope.person, held["pin"], request.META["REMOTE_ADDR"], request.now_ms)
    return "PIN"


def _moments(envelope: Envelope, by: str, now: int) -> Moments:
    """The three moments of the entry.

    The device's clock is measured when it sends: where it is off by more than when the entry was made, it
    was set in between, and nobody but the person knows when the reading was taken.
    """
    moved = now - envelope.sent_at - envelope.offset_ms
    body = envelope.body
    entered = envelope.entered_at
    if abs(moved) > rules().future_grace_ms:
        if not form.settled(body):
            minutes = round(abs(moved) / 60_000)
            raise Refused(
                {
                    "observed_at": f"The tablet's clock was set by {minutes} min since this was "
                    "entered. Say when it was read."
                }
            )
        entered = min(entered, now)
    return Moments(
        form.observed_at(body, now), entered, now, envelope.offset_ms, form.late_reason(body), by
    )


def _take(envelope: Envelope, when: Moments) -> tuple[int, Answer, bool]:
    """The line, the answer, and whether it had been taken before."""
    before = BookLine.objects.filter(client_key=envelope.key).exists()
    answer = TAKERS[envelope.kind](envelope, envelope.body, when)
    line = BookLine.objects.get(client_key=envelope.key)
    return line.number, answer, before


def _reading(envelope: Envelope, body: Mapping[str, Any], when: Moments) -> Answer:
    load = form.load_of(body)
    place = load.place if load is not None else form.place_of(body)
    figures = form.figures_of(body)
    entered = enter_readings(envelope.person, place, load, figures, when, client_key=envelope.key)
    return _answer(entered.readings[0], when.recorded_at)


def _answer(row: Reading, at: int) -> Answer:
    """What the reading shows, as the answer's own page says it."""
    page = answer_page(row, at)
    worst: LimitShown | None = page["worst"]
    said = {
        "verdict": str(worst.judged.verdict) if worst else None,
        "point": worst.judged.point.name if worst else "",
        "figure": worst.judged.finding.figure if worst else "",
        "demand": worst.demand if worst else "",
        "why": worst.judged.finding.why if worst else "",
        "said": "" if worst else "No limit of a plan looks at this here; it is kept.",
        "page": reverse("reading_answer", args=[row.pk]),
    }
    done = {one.judged.point.name: one.judged.point.corrective_action for one in page["act"]}
    return said | {
        "do": [{"point": name, "action": action} for name, action in done.items()],
        "deviations": [
            {"id": one.pk, "lot": one.lot.code, "page": reverse("deviation_show", args=[one.pk])}
            for one in page["deviations"]
        ],
        "limits": [
            {
                "verdict": str(one.judged.verdict),
                "point": one.judged.point.name,
                "figure": one.judged.finding.figure,
                "demand": one.demand,
            }
            for one in page["limits"]
        ],
    }


def _look(envelope: Envelope, body: Mapping[str, Any], when: Moments) -> Answer:
    load = form.needed_load(body)
    observe(envelope.person, load, form.looks_of(body), when, envelope.key)
    return _said("What was looked for is in the book.", load)


def _start(envelope: Envelope, body: Mapping[str, Any], when: Moments) -> Answer:
    place, portions = form.place_of(body), form.portions_of(body)
    waited = when.recorded_at - when.entered_at > rules().future_grace_ms
    salting = form.salting_of(body, waited)
    load = start_load(
        envelope.person, place, portions, when, form.note_of(body), salting, envelope.key
    )
    return _said(f"The load in {load.place.name} has begun.", load)


def _end(envelope: Envelope, body: Mapping[str, Any], when: Moments) -> Answer:
    load = form.needed_load(body)
    ahead = when.observed_at - when.recorded_at
    if 0 < ahead <= rules().future_grace_ms:  # "now" on a tablet whose clock is seconds ahead
        when = replace(when, observed_at=when.recorded_at)
    end_load(envelope.person, load, when, form.note_of(body), client_key=envelope.key)
    return _said(f"The load in {load.place.name} has ended.", load)


def _finish(envelope: Envelope, body: Mapping[str, Any], when: Moments) -> Answer:
    lot = form.needed_lot(body)
    packed, packs = form.grams_of(body, "packed_g"), form.packs_of(body)
    note = form.note_of(body)
    finish_lot(envelope.person, lot, packed, packs, when, note, client_key=envelope.key)
    return {"said": f"Lot {lot.code} is finished.", "page": reverse("lot_show", args=[lot.code])}


def _note(envelope: Envelope, body: Mapping[str, Any], when: Moments) -> Answer:
    load, lot = form.load_of(body), form.lot_of(body)
    write_note(envelope.person, load, lot, form.text_of(body), when, envelope.key)
    said: Answer = {"said": "The note is in the book.", "page": reverse("shift"), "load": None}
    return _said(said["said"], load) if load is not None else said


def _said(text: str, load: Load) -> Answer:
    return {"said": text, "page": reverse("load_show", args=[load.pk]), "load": load.pk}


TAKERS: dict[str, Callable[[Envelope, Mapping[str, Any], Moments], Answer]] = {
    "reading": _reading,
    "look": _look,
    "start": _start,
    "end": _end,
    "finish": _finish,
    "note": _note,
}
