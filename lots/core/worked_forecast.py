"""The sums behind forecasts that a worked case may name: lag, slab, log_reduction."""

import re
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from math import exp, inf, log
from typing import Any, Final

from lots.core.cooling import fit_lag
from lots.core.forecast import crossing_ms, forecast_reach
from lots.core.lag import CannotSay, Curve, LagFit
from lots.core.lethality import equivalent_ms, log_reduction, straight_ms, trapezoid_ms
from lots.core.limits import Verdict
from lots.core.slab import OneTerm, Shape, one_term
from lots.core.units import (
    MS_PER_H,
    MS_PER_MIN,
    MS_PER_S,
    NINTHS_PER_C,
    convert,
    degrees,
)
from lots.core.worked_text import BadCase, moment, plain, span_ms, table, temperature

Case = Mapping[str, Any]
Got = Mapping[str, Verdict | Fraction]
LN_10: Final = log(10)


# --- the given ------------------------------------------------------------------------------------


def _first(given: Case, *names: str) -> Any:
    return next((given[name] for name in names if name in given), None)


def _span(given: Case, *names: str) -> Fraction | None:
    """A span in ms given under one of the names with its unit, or as a number under name_min, _h, _s."""
    for name in names:
        for ending, size in (("_min", MS_PER_MIN), ("_h", MS_PER_H), ("_s", MS_PER_S)):
            if f"{name}{ending}" in given:
                return Fraction(plain(given[f"{name}{ending}"])) * size
        if name in given:
            return Fraction(span_ms(given[name]))
    return None


def _targets(given: Case) -> list[int]:
    reach = _first(given, "reach", "target", "targets", "to")
    many = reach if isinstance(reach, list) else [] if reach is None else [reach]
    return [temperature(one) for one in many]


def _rows(given: Case, name: str, after: int | None = None) -> list[tuple[int, int]]:
    """The readings of the one probe given under the name."""
    unit = plain(given.get("unit", "")).replace("°", "").strip().upper()[:1]
    found = table(given[name], unit, after)
    if len(found.rows) != 1:
        raise BadCase(f"{name} are those of one probe here")
    return [(at, value) for row in found.rows.values() for at, value, _ in row]


def _named(name: str, values: Sequence[float | None]) -> dict[str, Fraction]:
    """The values as name_min for the first and name_1_min, name_2_min …; those never reached left out."""
    out = {f"{name}_{i}_min": Fraction(v) for i, v in enumerate(values, 1) if v is not None}
    if values and values[0] is not None:
        out[f"{name}_min"] = Fraction(values[0])
    return out


def _celsius(ninths: float) -> Fraction:
    return Fraction(ninths) / NINTHS_PER_C


# --- lag ------------------------------------------------------------------------------------------


def _lag(given: Case) -> Got:
    """The lag model's figures and the moments at which it reaches the targets, minutes from the start."""
    if "readings" not in given:
        return _stated_lag(given)
    rows = _rows(given, "readings")
    start = rows[0][0]
    fit = fit_lag([at for at, _ in rows], [v for _, v in rows], _air(given, start))
    if isinstance(fit, CannotSay):
        raise BadCase(f"cannot say: {fit.why}")
    figures = _fit_figures(fit, rows[0], given, start)
    spans: dict[str, list[float | None]] = {"reached": [], "earliest": [], "latest": []}
    for target in _targets(given):
        found = forecast_reach(fit, target, fit.at, falling=rows[0][1] > target)
        ms = crossing_ms(_from_start(fit, start), target, rows[0][1] > target)
        spans["reached"].append(None if ms == inf else ms / MS_PER_MIN)
        for name, at in (("earliest", found.earliest_at), ("latest", found.latest_at)):
            spans[name].append(None if at is None else (at - start) / MS_PER_MIN)
    return figures | {
        key: v for name, each in spans.items() for key, v in _named(name, each).items()
    }


def _from_start(fit: LagFit, start: int) -> Curve:
    """The best curve, its times counted from the start of the readings."""
    back = Curve(fit.tau_ms, fit.surroundings, fit.amplitude).after(start - fit.at)
    return Curve(fit.tau_ms, fit.surroundings, back - fit.surroundings)


def _air(given: Case, start: int) -> list[tuple[int, int]] | int | None:
    stated = given.get("surroundings")
    if stated is None:
        return None
    if isinstance(stated, str) and re.fullmatch(
        r"[^\n°CF]*°?\s*[CF](?:\s*\(.*\))?", stated.strip()
    ):
        return temperature(stated)
    return _rows(given, "surroundings", start)


def _fit_figures(
    fit: LagFit, first: tuple[int, int], given: Case, start: int
) -> dict[str, Fraction]:
    away = first[1] - fit.surroundings
    out = {
        "tau_min": Fraction(fit.tau_ms) / MS_PER_MIN,
        "fh_min": Fraction(fit.tau_ms * LN_10) / MS_PER_MIN,
        "surroundings_c": _celsius(fit.surroundings),
        "surroundings_f": degrees(round(fit.surroundings), "F"),
        "amplitude_c": _celsius(fit.amplitude),
        "rms_c": _celsius(fit.rms),
    }
    if away:
        out["j"] = Fraction(_from_start(fit, start).amplitude / away)
    if "at" in given:
        stands = fit.temperature(moment(given["at"], start))
        out |= {"at_c": _celsius(stands), "at_f": degrees(round(stands), "F")}
    return out


def _stated_lag(given: Case) -> Got:
    """Newton's law of cooling with its figures stated: from, surroundings, tau (or fh and j)."""
    tau, fh = _span(given, "tau"), _span(given, "fh")
    if tau is None and fh is not None:
        tau = fh / Fraction(LN_10)
    if tau is None:
        raise BadCase("neither readings nor tau nor fh are given")
    air, begin = (
        temperature(given["surroundings"]),
        temperature(_first(given, "from", "start", "initial")),
    )
    j = float(Fraction(plain(given.get("j", 1))))
    curve = Curve(float(tau), air, j * (begin - air))
    reached = [crossing_ms(curve, to, begin > to) / MS_PER_MIN for to in _targets(given)]
    out = {"tau_min": tau / MS_PER_MIN, "fh_min": tau * Fraction(LN_10) / MS_PER_MIN}
    at = _span(given, "at")
    if at is not None:
        stands = curve.after(float(at))
        out |= {"at_c": _celsius(stands), "at_f": degrees(round(stands), "F")}
    return {**out, **_named("reached", [None if v == inf else v for v in reached])}


# --- slab -----------------------------------------------------------------------------------------


def _number(given: Case, *names: str) -> float | None:
    value = _first(given, *names)
    if value is None:
        return None
    text = plain(value).strip().lower()
    return inf if text.startswith("inf") or text == "∞" else float(Fraction(text))


def _length_m(given: Case) -> float | None:
    value = _first(given, "half_thickness", "radius", "length")
    return None if value is None else float(convert(plain(value), "m"))


def _slab(given: Case) -> Got:
    """The one-term solution's figures: root, coefficient, lag, and what it says of a time or a target."""
    length, alpha = _length_m(given), _number(given, "diffusivity", "alpha")
    biot = _number(given, "biot", "bi")
    if biot is None:
        h, k = _number(given, "h"), _number(given, "conductivity", "k")
        if h is None or k is None or length is None:
            raise BadCase("neither biot nor h, k and a half thickness are given")
        biot = h * length / k
    found = one_term(Shape(plain(given.get("shape", "slab")).strip().lower()), biot)
    out = {"lambda1": found.root, "a1": found.coefficient, "j": found.coefficient}
    out["fh_factor"] = LN_10 / found.root**2
    out |= {} if biot == inf else {"biot": biot}
    second = length**2 / alpha if length and alpha else None  # seconds in one Fourier time
    if second is not None:
        out["tau_min"] = second / found.root**2 * MS_PER_S / MS_PER_MIN
        out["fh_min"] = out["tau_min"] * LN_10
    out |= _slab_course(given, found, second)
    return {name: Fraction(value) for name, value in out.items()}


def _slab_course(given: Case, found: OneTerm, second: float | None) -> dict[str, float]:
    place = _number(given, "place") or 0.0
    shape = found.coefficient * found.profile(place)
    fourier, time = _number(given, "fourier", "fo"), _span(given, "time")
    if time is not None and second is not None:
        fourier = float(time) / MS_PER_S / second
    theta = _number(given, "theta")
    begin, air = (given.get(name) for name in ("initial", "surroundings"))
    targets = _targets(given)
    if targets and begin is not None and air is not None:
        theta = (targets[0] - temperature(air)) / (temperature(begin) - temperature(air))
    if fourier is None and theta is not None:
        fourier = log(shape / theta) / found.root**2
    if fourier is None:
        return {}
    theta = shape * exp(-fourier * found.root**2)
    out = {"fourier": fourier, "theta": theta}
    if second is not None:
        out |= {"time_s": fourier * second, "time_min": fourier * second * MS_PER_S / MS_PER_MIN}
    if begin is not None and air is not None:
        stands = temperature(air) + theta * (temperature(begin) - temperature(air))
        out |= {"at_c": stands / NINTHS_PER_C, "at_f": float(degrees(round(stands), "F"))}
    return out


# --- log reduction --------------------------------------------------------------------------------


def _equivalent(given: Case) -> Fraction:
    """The equivalent time at the reference: stated, or of a time at one temperature, or of readings."""
    named = {**given, "time_min": given["minutes"]} if "minutes" in given else given
    minutes = _span(named, "equivalent", "time", "for")
    if "readings" in given:
        rows = _rows(given, "readings")
    elif minutes is not None and _first(given, "temperature", "at") is not None:
        held = temperature(_first(given, "temperature", "at"))
        rows = [(0, held), (round(minutes), held)]
    elif minutes is not None:
        return minutes
    else:
        raise BadCase("neither readings nor a time are given")
    reference, z = temperature(given["reference"]), _difference(given["z"])
    at, values = [at for at, _ in rows], [v for _, v in rows]
    match str(given.get("method", "conservative")):
        case "conservative":
            lowest = temperature(given["lowest"]) if "lowest" in given else None
            gap = _span(given, "longest_gap")
            longest = None if gap is None else int(gap)
            return equivalent_ms(at, values, reference, z, lowest, longest)
        case "trapezoid":
            return trapezoid_ms(at, values, reference, z)
        case "linear":
            return straight_ms(at, values, reference, z)
        case other:
            raise BadCase(f"the method “{other}” is not conservative, trapezoid or linear")


def _difference(text: object) -> int:
    words = plain(text).replace("difference", "").strip()
    unit = "°F" if words.upper().endswith("F") else "°C"
    number = words.upper().rstrip("CF °").strip()
    return round(convert(f"{number} {unit} difference", "°C difference") * NINTHS_PER_C)


def _log_reduction(given: Case) -> Got:
    d = _span(given, "D", "d")
    if d is None:
        raise BadCase("D, the time for one tenfold reduction, is not given")
    time = _equivalent(given)
    return {"log_reduction": log_reduction(time, d), "equivalent_min": time / MS_PER_MIN}


MORE_SUMS: Final[Mapping[str, Callable[[Case], Got]]] = {
    "lag": _lag,
    "slab": _slab,
    "log_reduction": _log_reduction,
}
