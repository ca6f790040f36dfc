"""What the record of a lot says of its salt: batches, pieces, weights, samples sent, packs.

Moments are integer ms UTC and 0 where there is none; weights integer grams, in a batch integer
milligrams; lengths integer micrometres.  What was computed stands as words beside how it was got.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reckoned:
    """A figure that was computed, and from what."""

    name: str
    figure: str
    how: str = ""


@dataclass(frozen=True, slots=True)
class PartFacts:
    """What went into a batch, as typed and in milligrams; `mg_per_measure` is 0 where it was weighed,
    `nitrite_millionths` the share of sodium nitrite in a curing salt."""

    kind: str
    name: str
    as_read: str
    unit: str
    mg: int
    mg_per_measure: int
    nitrite_millionths: int


@dataclass(frozen=True, slots=True)
class BatchCheckFacts:
    """A batch's strength as an instrument showed it, and corrected; `value` in millionths of a °SAL."""

    number: int
    observed_at: int
    entered_at: int
    initials: str
    means: str
    instrument: str
    as_read: str
    brine: str
    reference: str
    full_scale: str
    value: int
    found: str
    note: str = ""
    corrects: int = 0
    corrected_by: int = 0


@dataclass(frozen=True, slots=True)
class BatchUseFacts:
    """A load of this lot that lay in the batch: how much of it on how much fish, what was declared, and
    what was reckoned of it; `brine_g` 0 is all of it, `moisture` that of the raw fish in millionths of a
    per cent, 0 where it was not taken; `named_late` says why the batch was named after the load had begun."""

    load: int
    brine_g: int
    fish_g: int
    moisture: int
    declared: str
    named_late: str
    figures: tuple[Reckoned, ...] = ()


@dataclass(frozen=True, slots=True)
class BatchFacts:
    """A brine or a dry salting that the lot lay in; `brine_temp` is in ninths where `temp_known` is 1."""

    code: str
    method: str
    made_at: int
    entered_at: int
    made_by: str
    brine_temp: int
    temp_known: int
    parts: tuple[PartFacts, ...]
    figures: tuple[Reckoned, ...]
    checks: tuple[BatchCheckFacts, ...] = ()
    uses: tuple[BatchUseFacts, ...] = ()
    loads_in_all: int = 0
    discarded_at: int = 0
    discarded_by: str = ""
    discarded_why: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class PieceFacts:
    """One piece of a sample, as read; 0 where it was not measured or not weighed."""

    thickness: str
    weight: str
    thickness_um: int
    weight_mg: int


@dataclass(frozen=True, slots=True)
class PieceSampleFacts:
    """Some pieces of the lot, measured and weighed."""

    number: int
    load: int
    observed_at: int
    entered_at: int
    initials: str
    instrument: str
    pieces: tuple[PieceFacts, ...]
    figures: tuple[Reckoned, ...]
    note: str = ""
    reason: str = ""
    corrects: int = 0
    corrected_by: int = 0


@dataclass(frozen=True, slots=True)
class WeightFacts:
    """What the lot weighed at a stage of its way."""

    number: int
    load: int
    stage: str
    as_read: str
    unit: str
    grams: int
    observed_at: int
    entered_at: int
    initials: str
    note: str = ""
    reason: str = ""
    corrects: int = 0
    corrected_by: int = 0


@dataclass(frozen=True, slots=True)
class SentFacts:
    """Samples that went to a laboratory, and whether its result has come."""

    number: int
    of: str
    laboratory: str
    portion: str
    wanted: tuple[str, ...]
    sampled_at: int
    entered_at: int
    initials: str
    answered: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class ThawFacts:
    """Frozen packs that were thawed."""

    amount_g: int
    at: int
    entered_at: int
    initials: str
    reason: str


@dataclass(frozen=True, slots=True)
class PackFacts:
    """How the pack must be kept and why, what must stand on it, and until when it is to be used."""

    storage: str
    why: str
    statement: str
    statement_source: str
    allergens: tuple[str, ...] = ()
    additives: tuple[str, ...] = ()
    use_by: tuple[Reckoned, ...] = ()
    thawed: tuple[ThawFacts, ...] = ()
