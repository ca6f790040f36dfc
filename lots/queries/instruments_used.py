"""Which instruments the readings of a load were taken with, and when these were checked."""

from bisect import bisect_right
from collections.abc import Iterable, Sequence

from django.db.models import Q

from lots.core.judging import Checked, Use
from lots.core.units import BadQuantity, to_ninths
from lots.models.house import AccuracyCheck
from lots.models.lot import Load
from lots.models.reading import PackedSeries, Reading
from lots.queries.house import rules
from lots.queries.series_of import subject_of_row
from lots.queries.sight import ALL, Sight, spans_of

Uses = dict[str, list[Use]]  # by subject
Moments = dict[tuple[str, int, str], list[tuple[int, int]]]  # subject, instrument → from, to


def instruments_used(load: Load, sight: Sight = ALL) -> tuple[Uses, Uses]:
    """The uses as known, and as monitored: a check entered late that found the instrument good counts
    there only once it is accepted."""
    moments = _moments(load, sight)
    numbers = {number for _, number, _ in moments if number}
    known, monitored = _checks(numbers, sight)
    return _uses(moments, known), _uses(moments, monitored)


def _moments(load: Load, sight: Sight) -> Moments:
    span, _, _ = spans_of(load, sight)
    places = [place for place in (load.place_id, load.place.within_id) if place]
    out: Moments = {}
    here = Q(place_id__in=places, load=None, observed_at__gte=span.start)
    packed_here = Q(place_id__in=places, load=None, last_at__gte=span.start)
    if span.end is not None:
        here &= Q(observed_at__lte=span.end)
        packed_here &= Q(first_at__lte=span.end)
    hand = Reading.objects.filter(Q(load=load) | here, quantity="temperature", withdrawn=False)
    for place, of_load, number, name, at in sight.rows(hand).values_list(
        "place_id", "load_id", "instrument_id", "instrument__name", "observed_at"
    ):
        key = subject_of_row(load, place, of_load), number or 0, name or ""
        out.setdefault(key, []).append((at, at))
    packed = PackedSeries.objects.filter(Q(load=load) | packed_here, source__withdrawn=None)
    named = "source__instrument_id", "source__instrument__name"
    for place, of_load, number, name, first, last in sight.rows(packed).values_list(
        "place_id", "load_id", *named, "first_at", "last_at"
    ):
        key = subject_of_row(load, place, of_load), number or 0, name or ""
        out.setdefault(key, []).append((max(first, span.start), last))
    for row in sight.coming:
        if row.load_id in (None, load.pk) and row.place_id in places:
            one = row.source.instrument
            key = subject_of_row(load, row.place_id, row.load_id), one.pk if one else 0, ""
            name = one.name if one else ""
            out.setdefault((key[0], key[1], name), []).append((row.first_at, row.last_at))
    return out


def _checks(
    numbers: Iterable[int], sight: Sight
) -> tuple[dict[int, list[Checked]], dict[int, list[Checked]]]:
    known: dict[int, list[Checked]] = {}
    monitored: dict[int, list[Checked]] = {}
    rows = AccuracyCheck.objects.filter(instrument__in=set(numbers)).select_related("accepted")
    for row in sight.rows(rows.order_by("observed_at", "id")):
        one = Checked(row.observed_at, off_by(row), row.within)
        known.setdefault(row.instrument_id, []).append(one)
        late = row.entered_at - row.observed_at > rules().late_after_ms
        if not (late and row.within) or sight.accepted(row):
            monitored.setdefault(row.instrument_id, []).append(one)
    return known, monitored


def off_by(check: AccuracyCheck) -> int | None:
    """How far off the instrument read, in ninths; None where it was not a temperature."""
    unit = check.unit.replace("°", "").strip()
    if unit not in ("C", "F"):
        return None
    try:
        read, expected = (
            to_ninths(text, "F" if unit == "F" else "C") for text in (check.as_read, check.expected)
        )
    except BadQuantity:
        return None
    return read - expected


def _uses(moments: Moments, checks: dict[int, list[Checked]]) -> Uses:
    out: Uses = {}
    for (subject, number, name), spans in sorted(moments.items()):
        own = tuple(checks.get(number, ()))
        out.setdefault(subject, []).extend(_between_checks(name, spans, own))
    return out


def _between_checks(
    name: str, spans: Sequence[tuple[int, int]], checks: tuple[Checked, ...]
) -> list[Use]:
    """The uses of an instrument, those between the same two checks together."""
    at = [check.at for check in checks]
    groups: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for first, last in sorted(spans):
        key = bisect_right(at, first), bisect_right(at, last)
        groups.setdefault(key, []).append((first, last))
    return [
        Use(name, group[0][0], max(last for _, last in group), checks) for group in groups.values()
    ]
