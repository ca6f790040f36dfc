"""The sums that a worked case may name: what is given in, verdict and figures out."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import Any, Final

from lots.core import judging
from lots.core.cure import NITRITE
from lots.core.folds import Finding, Span
from lots.core.judging import CureUse, Facts, Sample, Series, Sighting, Went
from lots.core.lethality import BILLIONTHS, straight_ms, trapezoid_ms
from lots.core.limits import SUBJECTS, Limit, Verdict, cure_rows, knowing_cures, limit_from
from lots.core.series import Chunk
from lots.core.units import (
    MS_PER_H,
    MS_PER_MIN,
    MS_PER_S,
    NINTHS_PER_C,
    QUANTITIES,
    convert,
    read_quantity,
    read_span,
    show_number,
)
from lots.core.worked_brine import BRINE_SUMS
from lots.core.worked_forecast import MORE_SUMS
from lots.core.worked_salt import SALT_SUMS
from lots.core.worked_text import BadCase, Table, moment, plain, span_ms, table, temperature

Case = Mapping[str, Any]
Got = Mapping[str, Verdict | Fraction]


# --- the given ------------------------------------------------------------------------------------


def _minutes(given: Case, name: str) -> int | None:
    """A span given as `name` with its unit in the text, or as a number under `name`_min, _h or _s."""
    for ending, size in (("_min", MS_PER_MIN), ("_h", MS_PER_H), ("_s", MS_PER_S), ("", 0)):
        value = given.get(f"{name}{ending}")
        if value is not None:
            return span_ms(value, size)
    return None


def _span_text(given: Case, name: str) -> str | None:
    span = _minutes(given, name)
    return None if span is None else f"{span} ms"


def _unit(given: Case) -> str:
    return plain(given.get("unit", "")).replace("°", "").strip().upper()[:1]


def _readings(given: Case, after: int | None = None) -> Table:
    if "readings" not in given:
        raise BadCase("no readings are given")
    return table(given["readings"], _unit(given), after)


def _span(given: Case, found: Table) -> Span:
    """The step: from `start` to `end` where they are stated, else from the first reading to the last."""
    if not found.moments and ("start" not in given or "end" not in given):
        raise BadCase("there are no readings, and start and end are not stated")
    start = moment(given["start"]) if "start" in given else min(found.moments)
    end = moment(given["end"], start) if "end" in given else max(found.moments)
    if end < start:
        raise BadCase("the step ends before it begins")
    late = str(given.get("end_entered_late", "")).lower() in ("true", "yes")
    counted = max([at for at in found.moments if at <= end], default=start) if late else None
    return Span(start, end, counted)


def _judged(limit: Limit, series: Series, span: Span, before: Series | None = None) -> Finding:
    return _held(limit, series, Facts(span), before)


def _held(limit: Limit, series: Series, facts: Facts, before: Series | None = None) -> Finding:
    """The finding when the step is over, readings outside the step left out."""
    span = facts.span
    at = span.start if span.end is None else span.end
    states = judging.start(limit, _inside(series, span), span, before)
    return judging.judge(limit, states, facts, at)


def _inside(series: Series, span: Span) -> dict[str, dict[str, list[Chunk]]]:
    """The readings within the step."""
    return {
        of: {
            probe: [part for run in runs if len(part := run.between(span.start, span.end))]
            for probe, runs in probes.items()
        }
        for of, probes in series.items()
    }


def _figures(finding: Finding) -> Got:
    """The verdict and the finding's figures, those in ms as minutes."""
    numbers = {
        f"{name.removesuffix('_ms')}_min": Fraction(value, MS_PER_MIN)
        for name, value in finding.numbers.items()
        if name.endswith("_ms")
    }
    return {"verdict": finding.verdict, **numbers}


def _bounds(given: Case) -> dict[str, str]:
    return {key: plain(given[key]) for key in ("at_least", "at_most") if key in given}


# --- the sums -------------------------------------------------------------------------------------


def _maintained(given: Case) -> Got:
    data = {
        "id": "maintained",
        "kind": "maintained",
        **_bounds(given),
        "for": _span_text(given, "for") or "",
        "longest_gap": _span_text(given, "longest_gap") or "",
        "probes": given.get("probes", 1),
    }
    found = _readings(given)
    finding = _judged(limit_from(data, "fish"), {"fish": found.series()}, _span(given, found))
    return {"maintained_min": Fraction(0), "estimated_min": Fraction(0), **_figures(finding)}


_STAGE: Final = re.compile(
    r"(?:from\s+)?(?P<begin>.*?)\s*(?:\bdown\s+to\b|\bto\b|->|→)\s*(?P<to>.+?),?\s*\b(?:within|in)\s+"
    r"(?:no more than\s+|at most\s+)?(?P<within>[^a-z]*\d.*?)"
    r"(?P<more>,?\s*(?:\bmore\b|(?:counted\s+)?from the stage before))?"
    r"(?:,?\s*(?:counted\s+)?from the start)?\.?",
    re.IGNORECASE,
)
_STEP_BEGINS: Final = ("", "start", "the start", "end of smoking", "the end of smoking")


def _cooling(given: Case) -> Got:
    chains = _chains([_stage(text) for text in given["stages"]])
    kinds = [
        {"id": str(number), "kind": "cooling", **chain} for number, chain in enumerate(chains, 1)
    ]
    data = kinds[0] if len(kinds) == 1 else {"id": "all", "kind": "all of", "limits": kinds}
    limit = limit_from({"probes": given.get("probes", 1), **data}, "fish")
    before = table(given["before"], _unit(given)) if "before" in given else None
    found = _readings(given)
    earlier = {"fish": before.series()} if before else None
    return _figures(_judged(limit, {"fish": found.series()}, _span(given, found), earlier))


def _stage(text: object) -> dict[str, str]:
    if isinstance(text, Mapping):
        within = _span_text(text, "within") or ""
        counted = str(text.get("counted_from", "the start"))
        begin = plain(text.get("from", ""))
        return {"from": begin, "to": plain(text["to"]), "within": within, "counted_from": counted}
    found = _STAGE.fullmatch(plain(text).strip())
    if found is None:
        raise BadCase(f"“{text}” is not a stage, such as 135 °F to 70 °F within 120 min")
    return {
        "from": found["begin"],
        "to": found["to"],
        "within": f"{span_ms(found['within'])} ms",
        "counted_from": "the stage before" if found["more"] else "the start",
    }


def _chains(stages: Sequence[dict[str, str]]) -> list[dict[str, Any]]:
    """Stages that share a clock, in one cooling each.  A stage that goes on from where the one before
    it ended still counts from the start, unless it says otherwise."""
    chains: list[dict[str, Any]] = []
    for stage in stages:
        begin = "end of the step before" if stage["from"] in _STEP_BEGINS else stage["from"]
        goes_on = chains and (begin in (chains[-1]["from"], chains[-1]["stages"][-1]["to"]))
        if not goes_on and not (chains and not stage["from"]):
            chains.append({"from": begin, "stages": []})
        chains[-1]["stages"].append(stage)
    if not chains:
        raise BadCase("no stages are given")
    return chains


_BOUND_WORDS: Final = (
    (r"(?:no|not)\s+(?:longer|more)\s+than|at\s+most|up\s+to|within|≤|<=", "at_most"),
    (r"longer\s+than|more\s+than|over|>(?!=)", "longer_than"),
    (r"at\s+least(?!\s+every)|not?\s+(?:less|shorter)\s+than|≥|>=", "at_least"),
)


def _duration_limit(given: Case) -> dict[str, str]:
    if "limit" not in given:
        names = ("at_least", "longer_than", "at_most")
        return {name: text for name in names if (text := _span_text(given, name))}
    if isinstance(given["limit"], Mapping):
        return {key: plain(value) for key, value in given["limit"].items()}
    out: dict[str, str] = {}
    rest = re.sub(r"\bbetween\s+(.+?)\s+and\b", r"at least \1 and at most", plain(given["limit"]))
    for words, key in _BOUND_WORDS:
        found = re.search(
            rf"(?:{words})\s*([^a-z]*\d.*?)(?=\s*(?:$|,|;|\band\s*(?:$|[a-z≤≥<>])))", rest, re.I
        )
        if found:
            out[key] = f"{span_ms(found[1])} ms"
            rest = rest.replace(found[0], " ")
    left = re.sub(r"\band\b|\bthe step\b|\blasts?\b|[,;.]", "", rest).strip()
    if left:
        raise BadCase(f"“{given['limit']}” is not a limit on a duration, such as at least 6 h")
    return out


def _duration(given: Case) -> Got:
    found = _timed(given)
    limit = limit_from({"id": "duration", "kind": "duration", **_duration_limit(given)}, "lot")
    return _figures(_judged(limit, {}, _span(given, found)))


def _timed(given: Case) -> Table:
    """The readings, of which only the times count here."""
    if not given.get("readings"):
        return Table()
    start = moment(given["start"]) if "start" in given else None
    return table(given["readings"], _unit(given) or "C", start)


def _every(given: Case) -> Got:
    stated = _span_text(given, "within") or _span_text(given, "at_most") or ""
    words = plain(given.get("limit", stated))
    within = re.sub(
        r"^.*?\bevery\s+|^\s*(?:at\s+most|within|(?:no|not)\s+(?:longer|more)\s+than|≤)\s+",
        "",
        re.sub(r"\s+(?:apart|between readings)\.?\s*$", "", words),
    )
    within = re.sub(r"^(?=[a-z])(?:hour|day|minute)\b", lambda unit: f"1 {unit[0]}", within)
    limit = limit_from({"id": "every", "kind": "every", "within": f"{span_ms(within)} ms"}, "place")
    found = _timed(given)
    if not found.rows and found.moments:  # bare times: that something was read is all that counts
        found.rows = {"1": [(at, 0, "C") for at in found.moments]}
    return _figures(_judged(limit, {"place": found.series()}, _span(given, found)))


def _convert(given: Case) -> Got:
    value = plain(given["value"])
    unit = next((str(given[key]) for key in ("from", "unit") if key in given), "")
    text = f"{value} {unit}".strip()
    number = re.match(r"\s*[-+]?[\d.,]+(?:[eE][-+]?\d+)?", text)
    if number is None:
        raise BadCase(f"“{value}” does not begin with a number")
    figure, unit, to = number[0], _unit_name(text[number.end() :]), _unit_name(plain(given["to"]))
    if unit.endswith("difference") and f"{to} difference" in ("°C difference", "°F difference"):
        to = f"{to} difference"
    if re.search(r"\d", unit):  # a span of several parts, such as 2 h 30 min
        return {"value": convert("1 s", to) * Fraction(span_ms(text), MS_PER_S)}
    return {"value": convert(f"{figure} {unit}", to)}


_NAMES: Final = {
    "c": "°C",
    "f": "°F",
    "k": "K",
    "kelvin": "K",
    "kelvins": "K",
    "lbs": "lb",
    "pound": "lb",
    "pounds": "lb",
    "ounce": "oz",
    "ounces": "oz",
    "gram": "g",
    "grams": "g",
    "kilogram": "kg",
    "kilograms": "kg",
    "inch": "in",
    "inches": "in",
    "foot": "ft",
    "feet": "ft",
    "l": "L",
    "litre": "L",
    "liter": "L",
    "litres": "L",
    "liters": "L",
    "ml": "mL",
    "gal": "US gal",
    "gallon": "US gal",
    "gallons": "US gal",
    "hour": "h",
    "hours": "h",
    "hr": "h",
    "day": "days",
    "d": "days",
    "minute": "min",
    "minutes": "min",
    "sec": "s",
    "second": "s",
    "seconds": "s",
    "mg/kg": "ppm",
    "percent": "%",
}


def _unit_name(text: str) -> str:
    """The unit under the name that this logbook knows it by."""
    said = " ".join(text.split())
    short = re.sub(r"^(?:(?:US|U\.S\.)\s+)", "", said).replace("° ", "°")
    short = re.sub(r"^([CF])°$", r"°\1 difference", short)
    difference = re.search(
        r"\b(?:temperature\s+)?(?:difference|interval|step)\b|^(?:Δ|delta)", short
    )
    if difference:
        short = short.replace(difference[0], "").strip(" ()")
    short = short.removeprefix("°")
    known = _NAMES.get(short, _NAMES.get(short.lower(), short))
    return f"{known.replace('K', '°C')} difference" if difference else known


# --- combined limits ------------------------------------------------------------------------------


def _combine(given: Case) -> Got:
    limits = given.get("limits", given.get("limit"))
    parts = [limits] if isinstance(limits, Mapping) else list(limits or ())
    data = parts[0] if len(parts) == 1 else {"kind": "all of", "limits": parts}
    limit = limit_from({"id": "limit", **data})
    limit = knowing_cures(limit, cure_rows([limit]))
    figures = given.get("figures", {})
    found = {of: _readings_of(figures, of) for of in SUBJECTS}
    moments = Table(moments=[at for one in found.values() for at in one.moments])
    span = _span_of(figures, moments)
    at = span.start if span.end is None else span.end
    facts = Facts(
        span,
        _samples(figures, at),
        _sightings(figures, at),
        declared=str(figures.get("declared", "")),
        species=str(figures.get("species", "")),
        fish=str(figures.get("fish", "")),
        cures=_cures(figures, span.start),
        grams=int(convert(plain(figures["weight"]), "g")) if "weight" in figures else 0,
        followed=_followed(figures),
        verified=_verified(figures, span.start),
        sampled={str(quantity): [at] for quantity in figures.get("sampled", ())},
    )
    return _figures(_held(limit, {of: one.series() for of, one in found.items()}, facts))


def _readings_of(figures: Case, of: str) -> Table:
    """Readings of one subject; readings that name no subject are of each."""
    readings = figures.get("readings", {})
    if isinstance(readings, Mapping) and set(readings) <= set(SUBJECTS):
        readings = readings.get(of, "")
    start = moment(figures["start"]) if "start" in figures else None
    return table(readings, _unit(figures), start)


def _span_of(figures: Case, found: Table) -> Span:
    lasted = _minutes(figures, "lasted")
    if lasted is not None:
        start = moment(figures["start"]) if "start" in figures else min(found.moments, default=0)
        return Span(start, start + lasted)
    if not found.moments and not {"start", "end"} <= set(figures):
        return Span(0, 0)
    return _span(figures, found)


def _samples(figures: Case, at: int) -> dict[str, list[Sample]]:
    out: dict[str, list[Sample]] = {}
    loose = {key: value for key, value in figures.items() if key in QUANTITIES}
    for data, by_laboratory in (
        (figures.get("measured", {}), False),
        (figures.get("laboratory", {}), True),
        (loose, True),
    ):
        for quantity, values in data.items():
            each = values if isinstance(values, list) else [values]
            samples = [read_quantity(plain(value), quantity).c for value in each]
            out.setdefault(quantity, []).extend(Sample(x, at, by_laboratory) for x in samples)
    return out


def _cures(figures: Case, at: int) -> tuple[CureUse, ...]:
    """Nitrite that went in: ingoing, by batch."""
    uses = figures.get("ingoing", {})
    return tuple(
        CureUse(str(batch), read_quantity(plain(ppm), NITRITE).c, at) for batch, ppm in uses.items()
    )


def _followed(figures: Case) -> dict[str, list[Went]]:
    """By step, what went into its loads and when: "10:00 5 kg"."""
    out: dict[str, list[Went]] = {}
    for step, rows in figures.get("followed", {}).items():
        for row in rows:
            clock, _, weight = str(row).strip().partition(" ")
            went = Went(moment(clock), int(convert(plain(weight), "g")))
            out.setdefault(step, []).append(went)
    return out


def _verified(figures: Case, start: int) -> dict[str, list[Sample]]:
    """By quantity, what verifications of the process found so long before the step, or after it: "20 days
    before 3.8 %"."""
    out: dict[str, list[Sample]] = {}
    for quantity, rows in figures.get("verified", {}).items():
        for row in rows:
            side = "before" if " before " in str(row) else "after"
            span, found, figure = str(row).partition(f" {side} ")
            if not found:
                raise BadCase(f"“{row}” does not say how long before or after the step")
            away = read_span(span) * (-1 if side == "before" else 1)
            value = read_quantity(plain(figure), quantity).c
            out.setdefault(quantity, []).append(Sample(value, start + away, laboratory=True))
    return {name: sorted(each, key=lambda one: one.at) for name, each in out.items()}


def _sightings(figures: Case, at: int) -> dict[str, list[Sighting]]:
    out: dict[str, list[Sighting]] = {}
    for what, values in figures.get("observed", {}).items():
        for value in values if isinstance(values, list) else [values]:
            word = str(value).strip().lower()
            if word not in ("yes", "no", "true", "false"):
                raise BadCase(f"“{what}” was found so or not: write yes or no, not “{value}”")
            out.setdefault(what, []).append(Sighting(word in ("yes", "true"), at))
    return out


# --- lethality and exposure -----------------------------------------------------------------------


def _difference(text: object) -> int:
    """A temperature difference such as z, in ninths."""
    words = plain(text).replace("difference", "").strip()
    unit = "°F" if words.rstrip().upper().endswith("F") else "°C"
    number = words.upper().rstrip("CF °").strip()
    return round(convert(f"{number} {unit} difference", "°C difference") * NINTHS_PER_C)


@dataclass(frozen=True, slots=True)
class _Heat:
    """What the worked sheets' ways of adding up need of a lethality; the core has its own."""

    reference: int
    z: int
    z_above: int
    lowest: int | None
    longest_gap_ms: int | None

    def total_ms(self, rows: Sequence[tuple[int, int]], interval: "_Interval") -> Fraction:
        """The sum of the intervals that are not too long."""
        total = Fraction(0)
        for (since, here), (until, there) in pairwise(rows):
            span = until - since
            if self.longest_gap_ms is None or span <= self.longest_gap_ms:
                total += interval(self, span, here, there)
        return total

    def z_at(self, ninths: int) -> int:
        return self.z if ninths < self.reference else self.z_above

    def counts(self, ninths: int) -> bool:
        return self.lowest is None or ninths >= self.lowest


_Interval = Callable[[_Heat, int, int, int], Fraction]


def _by_trapezoid(heat: _Heat, span: int, here: int, there: int) -> Fraction:
    """Half of each end's rate; an end below the lowest temperature has none."""
    return sum(
        (
            trapezoid_ms([0, span], [end, end], heat.reference, heat.z_at(end)) / 2
            for end in (here, there)
            if heat.counts(end)
        ),
        Fraction(0),
    )


def _by_line(heat: _Heat, span: int, here: int, there: int) -> Fraction:
    """The exact integral of a straight line, without what of it lies below the lowest temperature."""
    low, high = sorted((here, there))
    if low == high:
        one = straight_ms([0, span], [low, low], heat.reference, heat.z_at(low))
        return one if heat.counts(low) else Fraction(0)
    begin = low if heat.lowest is None else min(max(low, heat.lowest), high)
    corner = min(max(begin, heat.reference), high)
    parts = ((begin, corner, heat.z), (corner, high, heat.z_above))
    return sum(
        (
            straight_ms([0, span], [a, b], heat.reference, z) * Fraction(b - a, high - low)
            for a, b, z in parts
            if a < b
        ),
        Fraction(0),
    )


_METHODS: Final[Mapping[str, _Interval | None]] = {
    "conservative": None,  # the core's own
    "trapezoid": _by_trapezoid,
    "linear": _by_line,
}


def _lethality(given: Case) -> Got:
    """Equivalent minutes at the reference, of the least treated probe.  The verdict, where a least time
    is given, and the conservative figure are the core's."""
    method = str(given.get("method", "conservative")).strip().lower()
    if method not in _METHODS:
        raise BadCase(f"the method “{method}” is not conservative, trapezoid or linear")
    found = _readings(given)
    least = _span_text(given, "at_least")
    limit = limit_from(_lethality_data(given, least or "1 min"), "fish")
    held = _inside({"fish": found.series()}, _span(given, found))
    states = judging.start(limit, held, _span(given, found))[limit.id]
    scale = BILLIONTHS * MS_PER_MIN
    shown = min((Fraction(state["sum"], scale) for state in states.values()), default=Fraction(0))
    about = min((Fraction(state["est"], scale) for state in states.values()), default=Fraction(0))
    interval = _METHODS[method]
    if interval is not None:
        heat = _heat(given)
        sums = [heat.total_ms(_rows(chunks), interval) for chunks in held["fish"].values()]
        shown = min(sums, default=Fraction(0)) / MS_PER_MIN
    got: dict[str, Verdict | Fraction] = {"equivalent_min": shown, "estimated_min": about}
    if least:
        got["verdict"] = _judged(limit, held, _span(given, found)).verdict
    return got


def _lethality_data(given: Case, least: str) -> dict[str, Any]:
    def ninths(name: str) -> str:
        return f"{show_number(Fraction(_difference(given[name]), NINTHS_PER_C), _DIGITS)} °C"

    return {
        "id": "lethality",
        "kind": "lethality",
        "at_least": least,
        "reference": plain(given["reference"]),
        "z": ninths("z"),
        "z_above": ninths("z_above") if given.get("z_above") else "",
        "lowest": plain(given.get("lowest", "")),
        "longest_gap": _span_text(given, "longest_gap") or "",
        "probes": given.get("probes", 1),
    }


_DIGITS: Final = 6  # decimals of a degree, enough to find the same ninth again


def _heat(given: Case) -> _Heat:
    z = _difference(given["z"])
    return _Heat(
        reference=temperature(given["reference"]),
        z=z,
        z_above=_difference(given["z_above"]) if given.get("z_above") else z,
        lowest=temperature(given["lowest"]) if given.get("lowest") else None,
        longest_gap_ms=_minutes(given, "longest_gap"),
    )


def _rows(chunks: Sequence[Chunk]) -> list[tuple[int, int]]:
    return [pair for one in chunks for pair in zip(one.at, one.value, strict=True)]


def _exposure(given: Case) -> Got:
    """Minutes in the band, of the most exposed probe; the verdict where a longest time is given."""
    most = _span_text(given, "at_most")
    data = {
        "id": "exposure",
        "kind": "exposure",
        "above": plain(given["above"]),
        "up_to": plain(given.get("up_to", "")),
        "at_most": "0 min" if most is None else most,
        "longest_gap": _span_text(given, "longest_gap") or "",
        "probes": given.get("probes", 1),
    }
    limit = limit_from(data, "fish")
    found = _readings(given)
    span, series = _span(given, found), found.series()
    each = [
        _figures(_judged(replace(limit, probes=1), {"fish": {probe: chunks}}, span))
        for probe, chunks in series.items()
    ]
    unread = {"exposed_min": _unread(span), "estimated_min": Fraction(0)}
    worst = max(each or [unread], key=lambda got: (got["exposed_min"], got["estimated_min"]))
    verdict = _judged(limit, {"fish": series}, span).verdict
    figures = {name: worst[name] for name in unread}
    return figures if most is None else {"verdict": verdict, **figures}


def _unread(span: Span) -> Fraction:
    """Of a step without a reading nothing is known, so all of it counts."""
    return Fraction((span.start if span.end is None else span.end) - span.start, MS_PER_MIN)


SUMS: Final[Mapping[str, Callable[[Case], Got]]] = {
    "lethality": _lethality,
    "exposure": _exposure,
    "maintained": _maintained,
    "cooling": _cooling,
    "duration": _duration,
    "every": _every,
    "combine": _combine,
    "convert": _convert,
    **MORE_SUMS,
    **BRINE_SUMS,
    **SALT_SUMS,
}
