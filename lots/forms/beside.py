"""An entry made on a tablet, out of its JSON: each shape cleaned into what the entries take.  What cannot
be read is refused in words; it is never an error of the server."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from lots.core.units import MG_PER_G
from lots.entries.brining import NOT_SALTED, Salting
from lots.entries.load import Portion
from lots.entries.reading import Look
from lots.entries.readings import Figure
from lots.entries.refusals import Refused
from lots.forms.fields import HEAVIEST_G, LONGEST_AGO_MS
from lots.models.book import BookLine
from lots.models.house import Instrument, Place
from lots.models.lot import BrineBatch, Load, Lot
from lots.models.people import Person
from lots.queries.batches import Ask, batch_value

KINDS: Final = ("reading", "look", "start", "end", "finish", "note")
LARGEST_BYTES: Final = 200_000
LARGEST_WHOLE: Final = 2**53
MOST_ROWS: Final = 60
LONGEST: Final = {"text": 2000, "late_reason": 300, "note": 400, "what": 200}
_KEY: Final = re.compile(r"[0-9a-f]{32}")
TOO_LARGE: Final = "This entry is larger than any entry can be. Nothing was written."
UNREADABLE: Final = "This entry cannot be read. Nothing was written."


class NotYet(Exception):
    """The entry speaks of a load whose start has not come in yet."""


@dataclass(frozen=True)
class Envelope:
    """What stands round an entry: its name, whose it is, the proof, and the device's clock."""

    key: str
    kind: str
    person: Person
    seal: str
    body_text: str
    body: Mapping[str, Any]
    entered_at: int
    offset_ms: int
    sent_at: int

    @property
    def sealed_text(self) -> str:
        """What the proof is bound to."""
        parts = (self.key, self.kind, self.person.pk, self.entered_at, self.offset_ms)
        return "\n".join([*map(str, parts), self.body_text])


def clean_envelope(raw: bytes) -> Envelope:
    """The envelope of an entry.

    Raises:
        Refused: it has not the shape of one.
    """
    data = _object(_json(raw, LARGEST_BYTES))
    key, kind = _text(data, "key", 32), _text(data, "kind", 20)
    if not _KEY.fullmatch(key) or kind not in KINDS:
        raise Refused(UNREADABLE)
    person = Person.objects.filter(pk=_whole(data, "person")).first()
    if person is None:
        raise Refused("Nobody here has the number that this entry names.")
    text = _text(data, "body", LARGEST_BYTES, empty=False)
    return Envelope(
        key,
        kind,
        person,
        _text(data, "seal", 1000),
        text,
        _object(_json(text.encode(), LARGEST_BYTES)),
        _whole(data, "entered_at"),
        _whole(data, "offset_ms"),
        _whole(data, "sent_at"),
    )


def _json(raw: bytes, most: int) -> Any:
    if len(raw) > most:
        raise Refused(TOO_LARGE)
    try:
        return json.loads(raw, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise Refused(UNREADABLE) from error


def _no_number(text: str) -> Any:
    raise ValueError(text)


def _object(value: Any) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        raise Refused(UNREADABLE)
    return value


def _text(data: Mapping[str, Any], name: str, most: int, empty: bool = True) -> str:
    value = data.get(name, "")
    if not isinstance(value, str) or "\x00" in value or not (value or empty):
        raise Refused({name: UNREADABLE})
    try:
        value.encode()  # a lone surrogate is no letter
    except UnicodeEncodeError as error:
        raise Refused({name: UNREADABLE}) from error
    if len(value) > most:
        raise Refused({name: f"At most {most} letters; this has {len(value)}."})
    return value


def _whole(data: Mapping[str, Any], name: str) -> int:
    value = data.get(name)
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) > LARGEST_WHOLE:
        raise Refused({name: UNREADABLE})
    return value


def _truth(data: Mapping[str, Any], name: str) -> bool:
    value = data.get(name, False)
    if not isinstance(value, bool):
        raise Refused({name: UNREADABLE})
    return value


def _rows(data: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    value = data.get(name)
    if not isinstance(value, list) or len(value) > MOST_ROWS:
        raise Refused({name: UNREADABLE})
    return [_object(row) for row in value]


def observed_at(body: Mapping[str, Any], now_ms: int) -> int:
    """When it was read, ms UTC.

    Raises:
        Refused: no moment, or one years away.
    """
    at = _whole(body, "observed_at")
    if not now_ms - LONGEST_AGO_MS <= at <= now_ms + LONGEST_AGO_MS:
        raise Refused({"observed_at": "This time is years away. Check it."})
    return at


def late_reason(body: Mapping[str, Any]) -> str:
    return _text(body, "late_reason", LONGEST["late_reason"])


def note_of(body: Mapping[str, Any]) -> str:
    return _text(body, "note", LONGEST["note"])


def text_of(body: Mapping[str, Any]) -> str:
    return _text(body, "text", LONGEST["text"])


def settled(body: Mapping[str, Any]) -> bool:
    """Whether somebody has said since that the moment is right although the clock was set."""
    return _truth(body, "settled")


def place_of(body: Mapping[str, Any]) -> Place:
    row = Place.objects.select_related("within").filter(pk=_whole(body, "place")).first()
    if row is None:
        raise Refused({"place": "This place is not known here."})
    return row


def load_of(body: Mapping[str, Any]) -> Load | None:
    """The load that it speaks of: by its number, or by the name of the entry that began it.

    Raises:
        NotYet: that entry has not come in.
    """
    said = body.get("load")
    if said is None:
        return None
    rows = Load.objects.select_related("place__within").prefetch_related("moves", "ends__accepted")
    if isinstance(said, dict):
        key = _text(said, "key", 32)
        begun = (
            BookLine.objects.filter(client_key=key, kind="load started").first() if key else None
        )
        if begun is None:
            raise NotYet("The start of this load has not come in yet.")
        return rows.get(line=begun)
    load = rows.filter(pk=_whole(body, "load")).first()
    if load is None:
        raise Refused({"load": "This load is not known here."})
    return load


def needed_load(body: Mapping[str, Any]) -> Load:
    load = load_of(body)
    if load is None:
        raise Refused({"load": "Say of which load."})
    return load


def lot_of(body: Mapping[str, Any]) -> Lot | None:
    if body.get("lot") is None:
        return None
    row = Lot.objects.select_related("plan_version").filter(pk=_whole(body, "lot")).first()
    if row is None:
        raise Refused({"lot": "This lot is not known here."})
    return row


def needed_lot(body: Mapping[str, Any]) -> Lot:
    lot = lot_of(body)
    if lot is None:
        raise Refused({"lot": "Say of which lot."})
    return lot


def figures_of(body: Mapping[str, Any]) -> list[Figure]:
    rows = _rows(body, "figures")
    probes = [_text(row, "probe", 40) for row in rows]
    if len(set(probes)) != len(probes):
        raise Refused({"figures": "The same fish stands twice in this round."})
    note = note_of(body)
    return [_figure(row, note) for row in rows]


def _figure(row: Mapping[str, Any], note: str) -> Figure:
    return Figure(
        as_read=_text(row, "as_read", 20),
        unit=_text(row, "unit", 12),
        probe=_text(row, "probe", 40),
        quantity=_text(row, "quantity", 40) or "temperature",
        instrument=_instrument(row),
        confirmed=_truth(row, "confirmed"),
        note=note,
    )


def _instrument(row: Mapping[str, Any]) -> Instrument | None:
    if row.get("instrument") is None:
        return None
    found = Instrument.objects.filter(pk=_whole(row, "instrument")).first()
    if found is None:
        raise Refused({"instrument": "This thermometer is not known here."})
    return found


def looks_of(body: Mapping[str, Any]) -> list[Look]:
    note = note_of(body)
    return [
        Look(_text(row, "what", LONGEST["what"], empty=False), _truth(row, "found"), note)
        for row in _rows(body, "looks")
    ]


def portions_of(body: Mapping[str, Any]) -> list[Portion]:
    found = [
        Portion(needed_lot(row), _text(row, "step", 60, empty=False), grams_of(row, "grams"))
        for row in _rows(body, "portions")
    ]
    if len({portion.lot.pk for portion in found}) != len(found):
        raise Refused({"lots": "The same lot stands twice in this load. Give it one weight."})
    return found


def salting_of(body: Mapping[str, Any], waited: bool) -> Salting:
    """What is said of a brining at its start; nothing where the entry says nothing of it.

    Args:
        waited: whether the entry lay on the tablet: the fish is in the batch by now, whatever it is.
    """
    declared = _text(body, "declared", 10)
    if not declared and body.get("batch") is None:
        return NOT_SALTED
    batch = batch_of_entry(body)
    brine_g = None if body.get("brine_g") is None else grams_of(body, "brine_g")
    return Salting(
        declared,
        batch,
        brine_g,
        _truth(body, "filtered"),
        _truth(body, "already"),
        _text(body, "seen", 64),
        waited,
    )


def batch_of_entry(body: Mapping[str, Any]) -> BrineBatch | None:
    if body.get("batch") is None:
        return None
    found = BrineBatch.objects.filter(pk=_whole(body, "batch")).first()
    if found is None:
        raise Refused({"brine_batch": "This batch is not known here."})
    return found


_PORTION: Final = re.compile(r"([0-9]{1,15}):([0-9]{1,12})", re.ASCII)


def ask_before(data: Any, now_ms: int) -> Ask:
    """What a tablet asks of a batch before the fish goes in, out of an address's query.

    Raises:
        Refused: a batch or lot that is not known, or no fish.
    """
    numbers = {name: str(data.get(name, "")) for name in ("batch", "brine_g", "at")}
    if not numbers["batch"].isdecimal():
        raise Refused({"brine_batch": "Choose the batch."})
    body = {name: int(text) for name, text in numbers.items() if _PLAIN.fullmatch(text)}
    found = batch_of_entry({"batch": body.get("batch", 0)})
    portions = [_PORTION.fullmatch(text) for text in data.getlist("lot")]
    fish = tuple(
        (needed_lot({"lot": int(one[1])}), grams_of({"grams": int(one[2])}, "grams"))
        for one in portions
        if one is not None
    )
    if found is None or not fish or any(grams <= 0 for _, grams in fish):
        raise Refused({"lots": "Choose at least one lot, and how much of it goes in."})
    brine_g = body.get("brine_g")
    if brine_g is not None and not 0 < brine_g * MG_PER_G <= batch_value(found).total_mg:
        raise Refused({"brine_g": f"Type how much of {found.code}: no more than there is."})
    return Ask(found, brine_g, fish, body.get("at", now_ms), data.get("filtered") == "yes")


_PLAIN: Final = re.compile(r"[0-9]{1,15}", re.ASCII)


def grams_of(row: Mapping[str, Any], name: str) -> int:
    grams = _whole(row, name)
    if grams > HEAVIEST_G:
        raise Refused({name: "This is more than any smokehouse holds. Check the figure."})
    return grams


def packs_of(body: Mapping[str, Any]) -> int:
    packs = _whole(body, "packs")
    if not 0 <= packs < 10**6:
        raise Refused({"packs": "Type how many packs."})
    return packs
