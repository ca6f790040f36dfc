"""The record of one lot as a value, and its canonical bytes: exactly what is printed and sealed.

Moments are integer ms UTC and 0 where there is none; weights are integer grams; temperatures are
integer ninths (1/9000 °C).  Yes and no are 1 and 0, so that only strings, integers and tuples occur.
"""

import json
import types
import typing
from dataclasses import dataclass, field, fields
from functools import cache
from typing import Any

from lots.core.basis import SALT_FORM, Basis, RunFacts
from lots.core.record_salt import (
    BatchFacts,
    PackFacts,
    PieceSampleFacts,
    Reckoned,
    SentFacts,
    WeightFacts,
)

FORM = 3
"""The form that is written; every earlier one is still read, and written back to its own bytes."""

LARGEST = 2**53 - 1
"""The largest integer that every JSON reader keeps exactly.  Source: RFC 8785, section 3.2.2.3;
RFC 7493 (I-JSON), section 2.2."""


class NotARecord(ValueError):
    """The value or the bytes are no record; the message says where."""


def _later(default: Any, form: int = 2) -> Any:
    """A field that records of earlier forms do not have."""
    return field(default=default, metadata={"form": form})


@dataclass(frozen=True, slots=True)
class Establishment:
    """Who made the fish, where, and how figures are shown; `sells` is "wholesale", "retail" …"""

    name: str
    address: str
    sells: str
    zone: str
    temperature_unit: str
    weight_unit: str
    demo: int = 0


@dataclass(frozen=True, slots=True)
class Share:
    """So many grams under one word: a disposition, or another lot's code."""

    word: str
    amount_g: int


@dataclass(frozen=True, slots=True)
class Acceptance:
    """A records reviewer's acceptance of a late or corrected entry, with the reason."""

    initials: str
    at: int
    reason: str


@dataclass(frozen=True, slots=True)
class Destroyed:
    """A part of the lot that was destroyed before it was packed."""

    amount_g: int
    at: int
    initials: str
    reason: str


@dataclass(frozen=True, slots=True)
class Signature:
    """A person's signature as 21 CFR 11.50 asks: printed name, moment and meaning.

    `kind` is "plan", "review" or "release"."""

    printed_name: str
    initials: str
    right: str
    course: str
    course_date: str
    certificate: str
    signed_at: int
    meaning: str
    signed: str
    note: str = ""
    kind: str = "review"


@dataclass(frozen=True, slots=True)
class Kin:
    """A lot that this one came from or went into; `how` is "split", "merge" or "rework".

    `loads` are the numbers of the loads whose steps were taken along."""

    lot: str
    how: str
    amount_g: int
    at: int = 0
    initials: str = ""
    reason: str = ""
    loads: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Identity:
    """What the lot is and where it stands; `state` is in words, `voided` the reason if it was."""

    code: str
    product: str
    species_code: str
    species: str
    origin: str
    supplier: str
    supplier_lot: str
    received_at: int
    opened_at: int
    opened_by: str
    state: str
    received_g: int
    finished_g: int = 0
    packs: str = ""
    voided: str = ""
    voided_at: int = 0
    voided_by: str = ""
    note: str = ""
    finished_at: int = 0
    finished_by: str = ""
    finish_note: str = ""
    destroyed: tuple[Destroyed, ...] = ()
    quantities: tuple[Share, ...] = ()
    parents: tuple[Kin, ...] = ()
    children: tuple[Kin, ...] = ()


@dataclass(frozen=True, slots=True)
class PlanFacts:
    """The plan version that the lot pins; `process_study` is empty where there is none.

    `accepted` holds the signature by which the plan was accepted for use."""

    title: str
    version: int
    published_at: int
    signed_by: str
    intended_use: str
    pack: str
    storage: str
    shelf_life: str
    process_study: str = ""
    accepted: tuple[Signature, ...] = ()


@dataclass(frozen=True, slots=True)
class LimitLine:
    """One level to draw in a chart: `word` "critical" or "operating", `side` "at least"/"at most";
    `unit` C or F as the plan states it."""

    word: str
    side: str
    ninths: int
    unit: str


@dataclass(frozen=True, slots=True)
class LimitFacts:
    """A limit as its plan states it; `data` is the limit's own canonical JSON, for recomputation."""

    id: str
    sentence: str
    operating: str
    source: str
    flag: str
    data: str
    lines: tuple[LimitLine, ...] = ()


@dataclass(frozen=True, slots=True)
class ControlPoint:
    """A critical control point of the plan version, as 21 CFR 123.6(c) asks for it."""

    id: str
    name: str
    step: str
    hazard: str
    monitor_what: str
    monitor_how: str
    monitor_frequency: str
    monitor_who: str
    corrective_action: str
    limits: tuple[LimitFacts, ...]


@dataclass(frozen=True, slots=True)
class JudgedLimit:
    """One limit held against one load (0: none); `verdict` is "MET", "ADJUST", "PENDING" or
    "DEVIATION", `figure` the conservative figure on which it rests, `bound` what it was held to."""

    control_point: str
    limit: str
    load: int
    verdict: str
    figure: str
    bound: str
    estimate: str
    why: str
    rests_on: tuple[str, ...]
    broke_at: int
    rules: int
    basis: int = _later(0)  # 1 for the first of the record’s bases; 0: none is attached


@dataclass(frozen=True, slots=True)
class MovedStart:
    """A load's start that was moved, and why."""

    old_at: int
    new_at: int
    reason: str
    initials: str


@dataclass(frozen=True, slots=True)
class EndFacts:
    """A statement of when a load ended; where there are several, the last one stands."""

    ended_at: int
    entered_at: int
    recorded_at: int
    initials: str
    late: int = 0
    reason: str = ""
    note: str = ""
    corrects: int = 0
    accepted: tuple[Acceptance, ...] = ()


@dataclass(frozen=True, slots=True)
class ProbeLeftFacts:
    """A probe that left its load before the step was over, and why."""

    probe: str
    at: int
    initials: str
    reason: str
    said_at: int = _later(0)
    accepted: tuple[Acceptance, ...] = _later(())


@dataclass(frozen=True, slots=True)
class AdjustmentFacts:
    """What was adjusted where an operating limit was passed; `load` is 0 where none is named."""

    control_point: str
    limit: str
    load: int
    figure: str
    what: str
    at: int
    initials: str


@dataclass(frozen=True, slots=True)
class LoadFacts:
    """What a place held from a moment to a moment; `ended_at` is 0 while it runs.

    `of_lot` names the lot whose step it was, where this lot inherited it; `late` is 1 where the start
    was entered later than the rules allow."""

    number: int
    step: str
    place: str
    started_at: int
    ended_at: int
    started_by: str
    ended_by: str
    lots: tuple[Share, ...]
    moved: tuple[MovedStart, ...] = ()
    of_lot: str = ""
    note: str = ""
    entered_at: int = 0
    late: int = 0
    ends: tuple[EndFacts, ...] = ()
    probes_left: tuple[ProbeLeftFacts, ...] = ()
    accepted: tuple[Acceptance, ...] = _later(())  # the start, where it was entered late
    declared: str = _later("", SALT_FORM)  # brining: "short", "long" or not said
    batch: str = _later("", SALT_FORM)


@dataclass(frozen=True, slots=True)
class HandReading:
    """A reading by hand; `value` is ninths where `unit` is C or F, else the quantity's own integer.

    `load`, `corrects` and `corrected_by` are 0 where there is none."""

    number: int
    load: int
    place: str
    probe: str
    quantity: str
    as_read: str
    unit: str
    value: int
    instrument: str
    observed_at: int
    entered_at: int
    recorded_at: int
    initials: str
    late: int = 0
    reason: str = ""
    note: str = ""
    corrects: int = 0
    corrected_by: int = 0
    accepted: tuple[Acceptance, ...] = ()
    attachment: str = ""
    attachment_sha256: str = ""
    withdrawn: int = _later(0)  # 1 for a correction that takes the reading back


@dataclass(frozen=True, slots=True)
class ObservationFacts:
    """A stated thing that was looked for; `found` is "yes" or "no"."""

    number: int
    load: int
    what: str
    found: str
    observed_at: int
    entered_at: int
    recorded_at: int
    initials: str
    note: str = ""
    attachment: str = ""
    attachment_sha256: str = ""
    late: int = 0
    reason: str = ""
    corrects: int = 0
    corrected_by: int = 0
    accepted: tuple[Acceptance, ...] = ()


@dataclass(frozen=True, slots=True)
class LoggerSeries:
    """A probe's readings out of a logger's file: `at` and `ninths` run side by side.

    `gap_ms` is the longest time between two readings that still counts as unbroken (0: not stated).
    """

    name: str
    place: str
    probe: str
    load: int
    instrument: str
    file: str
    file_sha256: str
    unit: str
    count: int
    first_at: int
    last_at: int
    imported_by: str
    imported_at: int
    digest: str
    gap_ms: int
    at: tuple[int, ...]
    ninths: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Sample:
    """One sample's figure as reported, and the portion of fish it was taken from."""

    figure: str
    portion: str
    value: int = _later(0)  # millionths of the quantity’s first unit


@dataclass(frozen=True, slots=True)
class LabResult:
    """A quantity measured by a laboratory."""

    quantity: str
    samples: tuple[Sample, ...]
    laboratory: str
    method: str
    sampled_at: int
    reported_at: int
    file: str
    file_sha256: str
    entered_by: str
    number: int = 0
    note: str = ""
    corrects: int = 0
    corrected_by: int = 0
    of: str = _later("", SALT_FORM)  # the lot, or the plan whose process it verifies
    reason: str = _later("", SALT_FORM)  # why it is corrected


@dataclass(frozen=True, slots=True)
class CheckFacts:
    """One accuracy check of an instrument, in words as they were entered; `within` 1 where it was found
    within its tolerance."""

    checked_at: int
    method: str
    result: str
    checked_by: str
    within: int


@dataclass(frozen=True, slots=True)
class InstrumentFacts:
    """An instrument used for this lot and its last accuracy check (`checked_at` 0: none)."""

    name: str
    kind: str
    checked_at: int
    method: str
    result: str
    checked_by: str
    checks: tuple[CheckFacts, ...] = _later(())


@dataclass(frozen=True, slots=True)
class ActionFacts:
    """What 21 CFR 123.7 asks to be documented of a corrective action.

    `plan_followed` 1: the plan's written action (123.7(b)); 0: the procedure of 123.7(c), and then
    `segregated`, `acceptability_by`, `reassessed_by` and `reassess_by` count: the persons named to do
    so, and the day typed ("2026-03-11").  Neither says that it was done."""

    plan_followed: int
    segregated: str
    acceptability_by: str
    reassessed_by: str
    reassess_by: str
    fish: str
    restored: str
    cause: str
    initials: str
    taken_at: int


@dataclass(frozen=True, slots=True)
class Consignee:
    """Somebody who had fish that is recalled, and when they were told (0: not yet)."""

    name: str
    amount_g: int
    told_at: int
    initials: str
    note: str


@dataclass(frozen=True, slots=True)
class DispositionFacts:
    """What was decided about so many grams; `final` 0 while the fish is only held."""

    word: str
    amount_g: int
    initials: str
    decided_at: int
    reason: str
    final: int
    acceptability: str = ""
    consignees: tuple[Consignee, ...] = _later(())


@dataclass(frozen=True, slots=True)
class NoteFacts:
    """What happened to a deviation's finding later; `kind` is "extended" or "not reproduced"."""

    kind: str
    figure: str
    why: str
    at: int
    last_broke_at: int
    initials: str


@dataclass(frozen=True, slots=True)
class DeviationFacts:
    """A deviation with its evidence; `reproduced` 0 when today's readings no longer show it.

    `bound` is what the limit demanded, `lot` whose deviation it is where it was inherited, and
    `undecided_g` the fish that no final disposition speaks of yet."""

    number: int
    control_point: str
    limit: str
    load: int
    verdict: str
    figure: str
    broke_at: int
    opened_at: int
    evidence: str
    reproduced: int
    bound: str = ""
    lot: str = ""
    undecided_g: int = 0
    notes: tuple[NoteFacts, ...] = ()
    actions: tuple[ActionFacts, ...] = ()
    dispositions: tuple[DispositionFacts, ...] = ()


@dataclass(frozen=True, slots=True)
class ReleaseFacts:
    """The release, or none (`released_at` 0); `storage` says how storage has met its limit so far,
    `stated` what the person who released wrote of it."""

    released_at: int = 0
    initials: str = ""
    quantities: tuple[Share, ...] = ()
    storage: str = ""
    stated: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Remark:
    """Something said that is no reading, about the lot or one of its loads (`load` 0: the lot)."""

    load: int
    text: str
    observed_at: int
    entered_at: int
    recorded_at: int
    initials: str


@dataclass(frozen=True, slots=True)
class LoggedCorrection:
    """A logger's reading put right or taken back (`withdrawn` 1): what it was, what it is, and why.

    `at` is the reading's moment; the temperatures are in ninths, `now` is 0 where it was taken back."""

    file: str
    probe: str
    load: int
    at: int
    was: int
    now: int
    unit: str
    withdrawn: int
    reason: str
    entered_at: int
    initials: str
    accepted: tuple[Acceptance, ...] = ()


@dataclass(frozen=True, slots=True)
class FileTakenBack:
    """A logger's file taken back as a whole, and why; its readings count for nothing."""

    file: str
    file_sha256: str
    readings: int
    reason: str
    entered_at: int
    initials: str
    accepted: tuple[Acceptance, ...] = ()


@dataclass(frozen=True, slots=True)
class PlanContent:
    """A plan version that verdicts of the record were computed under, whole, as canonical JSON."""

    title: str
    version: int
    content: str


@dataclass(frozen=True, slots=True)
class BookHead:
    """The last line of the book that the record rests on."""

    line: int
    digest: str


@dataclass(frozen=True, slots=True)
class PersonFacts:
    """Whose initials these are."""

    initials: str
    printed_name: str


@dataclass(frozen=True, slots=True)
class LotRecord:
    """Everything that the paper says; `replaces` names the revision before, `changed` what changed.

    `unreviewed` counts the lot's lines of the book that no review has seen."""

    form: int
    revision: int
    made_at: int
    made_by: str
    establishment: Establishment
    lot: Identity
    plan: PlanFacts
    control_points: tuple[ControlPoint, ...]
    verdicts: tuple[JudgedLimit, ...]
    loads: tuple[LoadFacts, ...]
    readings: tuple[HandReading, ...]
    observations: tuple[ObservationFacts, ...]
    series: tuple[LoggerSeries, ...]
    results: tuple[LabResult, ...]
    instruments: tuple[InstrumentFacts, ...]
    deviations: tuple[DeviationFacts, ...]
    signatures: tuple[Signature, ...]
    release: ReleaseFacts
    book: BookHead
    people: tuple[PersonFacts, ...]
    unjudged: tuple[str, ...] = ()
    adjustments: tuple[AdjustmentFacts, ...] = ()
    unreviewed: int = 0
    replaces: str = ""
    changed: str = ""
    remarks: tuple[Remark, ...] = _later(())
    logged_corrections: tuple[LoggedCorrection, ...] = _later(())
    taken_back: tuple[FileTakenBack, ...] = _later(())
    plans: tuple[PlanContent, ...] = _later(())
    bases: tuple[Basis, ...] = _later(())
    runs: tuple[RunFacts, ...] = _later(())
    kept_until: str = _later("")
    batches: tuple[BatchFacts, ...] = _later((), SALT_FORM)
    pieces: tuple[PieceSampleFacts, ...] = _later((), SALT_FORM)
    weights: tuple[WeightFacts, ...] = _later((), SALT_FORM)
    yields: tuple[Reckoned, ...] = _later((), SALT_FORM)
    sent: tuple[SentFacts, ...] = _later((), SALT_FORM)
    salt: tuple[Reckoned, ...] = _later((), SALT_FORM)  # what the lot's water-phase salt rests on
    pack: tuple[PackFacts, ...] = _later((), SALT_FORM)  # one, where the lot is packed


def canonical_bytes(record: LotRecord) -> bytes:
    """The record's canonical JSON: sorted ASCII keys, no spaces, UTF-8.

    Errs in nobody's favour: a value that JSON readers might round or drop is refused, not bent.

    Args:
        record: strings, integers within ±(2^53 - 1), tuples and dataclasses of those, nothing else.
    Raises:
        NotARecord: any other value, or text that is not valid Unicode.
    Source: RFC 8785 (JSON Canonicalization Scheme).
    """
    plain = _plain(LotRecord, record, "record", _known(record.form))
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    try:
        return text.encode()
    except UnicodeEncodeError as error:
        raise NotARecord(f"record: text that is not valid Unicode ({error.reason})") from None


def record_from(data: bytes) -> LotRecord:
    """The record that these canonical bytes say; the inverse of `canonical_bytes`.

    Errs against whoever wrote the bytes: a name too many or too few, another order, a space or a
    value of the wrong kind is refused.

    Args:
        data: UTF-8 bytes as `canonical_bytes` writes them.
    Raises:
        NotARecord: the bytes are anything else.
    """
    try:
        loaded = json.loads(data.decode())
    except (ValueError, RecursionError) as error:
        raise NotARecord(f"record: not JSON in UTF-8 ({error})") from None
    form = _known(loaded.get("form") if isinstance(loaded, dict) else None)
    record = _value(LotRecord, loaded, "record", form)
    if canonical_bytes(record) != data:
        raise NotARecord("record: the JSON is not in its canonical form")
    return typing.cast(LotRecord, record)


def _known(form: object) -> int:
    """The form, where this version reads it."""
    if type(form) is not int or not 1 <= form <= FORM:
        raise NotARecord(f"record: form {form} is not known here (1 to {FORM} are)")
    return form


def _plain(kind: Any, value: Any, where: str, form: int) -> Any:
    """The value as JSON knows it: dict, list, str or int, of the kind its field's annotation names."""
    if isinstance(kind, types.GenericAlias):
        return _plain_tuple(kind.__args__[0], value, where, form)
    if type(value) is not kind:
        raise NotARecord(f"{where}: {type(value).__name__} where {kind.__name__} belongs")
    if kind is int:
        return _bounded(value, where)
    if kind is str:
        return value
    out = {}
    for name, one in _kinds(typing.cast(Any, kind), form).items():
        inner = getattr(value, name)
        if (one is str and type(inner) is str) or (
            one is int and type(inner) is int and -LARGEST <= inner <= LARGEST
        ):
            out[name] = inner  # most of a record's values, and no words are made for them
        else:
            out[name] = _plain(one, inner, f"{where}.{name}", form)
    return out


def _plain_tuple(kind: Any, value: Any, where: str, form: int) -> list[Any]:
    if type(value) is not tuple:
        raise NotARecord(f"{where}: {type(value).__name__} where tuple belongs")
    if kind is int and value and all(type(item) is int for item in value):
        _bounded(max(value), where)
        _bounded(min(value), where)
        return list(value)
    return [_plain(kind, item, f"{where}[{index}]", form) for index, item in enumerate(value)]


@cache
def _kinds(kind: type, form: int) -> dict[str, Any]:
    """Each field's name and the kind that its annotation names, of those that the form has."""
    hints = typing.get_type_hints(kind)
    named: Any = kind
    return {
        one.name: hints[one.name] for one in fields(named) if one.metadata.get("form", 1) <= form
    }


def _bounded(value: int, where: str) -> int:
    if abs(value) > LARGEST:
        raise NotARecord(f"{where}: {value} is beyond what every JSON reader keeps exactly")
    return value


def _value(kind: Any, loaded: Any, where: str, form: int) -> Any:
    """The loaded JSON as the kind that the field's annotation names."""
    if isinstance(kind, types.GenericAlias):
        return _tuple_of(kind.__args__[0], loaded, where, form)
    if kind is str or kind is int:
        if type(loaded) is not kind:
            raise NotARecord(f"{where}: {type(loaded).__name__} where {kind.__name__} belongs")
        return loaded
    if not isinstance(loaded, dict):
        raise NotARecord(f"{where}: {type(loaded).__name__} where {kind.__name__} belongs")
    kinds = _kinds(kind, form)
    if loaded.keys() != kinds.keys():
        odd = ", ".join(sorted(loaded.keys() ^ kinds.keys()))
        raise NotARecord(f"{where}: names missing or unknown: {odd}")
    return kind(**{k: _value(kinds[k], v, f"{where}.{k}", form) for k, v in loaded.items()})


def _tuple_of(kind: Any, loaded: Any, where: str, form: int) -> tuple[Any, ...]:
    if not isinstance(loaded, list):
        raise NotARecord(f"{where}: {type(loaded).__name__} where a list belongs")
    if kind is int and all(type(item) is int for item in loaded):
        return tuple(loaded)
    return tuple(_value(kind, item, f"{where}[{i}]", form) for i, item in enumerate(loaded))
