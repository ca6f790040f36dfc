"""A record's verdicts computed again from the record alone, and what is noticed when it is bent."""

from dataclasses import replace
from typing import Any

import pytest

from lots.core.basis import RunFacts
from lots.core.limits import RULES
from lots.core.recomputed import Difference, recomputed
from lots.core.record import LotRecord, canonical_bytes, record_from
from lots.entries import reading
from lots.entries.readings import Figure
from lots.models.reading import Reading
from tests.entries.roads import finished
from tests.laboratory import NewResult, enter_laboratory_result
from tests.make import Book, make_book, moment, seen
from tests.queries.test_record import record_of
from tests.salted import answer, batch, send

pytestmark = pytest.mark.django_db


@pytest.fixture
def record(book: Book) -> LotRecord:
    """A whole road, a reading put right afterwards and a late one in it."""
    one = finished(book)
    first = Reading.objects.filter(load=one.parts.get(step="smoke").load_id).order_by("pk").first()
    assert first is not None
    reading.correct_reading(
        book.operator, first, Figure("61", "F"), "misread", seen("2026-03-06 11:00")
    )
    return record_from(canonical_bytes(record_of(book, one)))


def differences(record: LotRecord, **changes: Any) -> tuple[Difference, ...]:
    return recomputed(replace(record, **changes)).differences


def test_every_verdict_comes_out_as_it_is_stated(record: LotRecord) -> None:
    found = recomputed(record)
    assert found.verdicts == len(record.verdicts) > 10
    assert found.differences == ()
    assert any(basis.monitored for basis in record.bases)  # both sides are in play


@pytest.mark.parametrize(
    ("field", "value"),
    [("verdict", "PENDING"), ("figure", "held 31 min"), ("broke_at", 1), ("bound", "at least 120 °F"),
     ("why", "a word more"), ("estimate", "31 min")],
)  # fmt: skip
def test_a_verdict_that_says_something_else_is_named(
    record: LotRecord, field: str, value: Any
) -> None:
    first, rest = record.verdicts[0], record.verdicts[1:]
    assert getattr(first, field) != value
    (found,) = differences(record, verdicts=(replace(first, **{field: value}), *rest))
    assert found.altered
    assert found.stated == str(value)


def test_the_same_under_other_rules_is_no_alteration(record: LotRecord) -> None:
    first = replace(record.verdicts[0], figure="something else", rules=RULES + 1)
    (found,) = differences(record, verdicts=(first, *record.verdicts[1:]))
    assert not found.altered


def test_rules_from_before_the_records_own_form_excuse_nothing(record: LotRecord) -> None:
    first = replace(record.verdicts[0], figure="something else", rules=1)
    (found,) = differences(record, verdicts=(first, *record.verdicts[1:]))
    assert found.altered


def test_a_verdict_that_was_left_out_is_missed(record: LotRecord) -> None:
    for gone in record.verdicts:
        rest = tuple(one for one in record.verdicts if one is not gone)
        found = differences(record, verdicts=rest)
        assert [(one.stated, one.altered) for one in found] == [("no verdict", True)], gone


def test_a_load_whose_ground_and_verdicts_were_left_out_is_missed(record: LotRecord) -> None:
    last = len(record.bases)
    load = record.bases[-1].load
    rest = tuple(one for one in record.verdicts if one.basis != last)
    found = differences(record, verdicts=rest, bases=record.bases[:-1])
    assert any(one.what.startswith(f"load {load} (") for one in found)


def test_another_plan_attached_is_named(record: LotRecord) -> None:
    other = replace(record.plans[0], version=record.plans[0].version + 1)
    (found,) = differences(record, plans=(other, *record.plans[1:]))
    assert found.what == "the plan"


def test_a_reading_raised_in_the_list_alone_is_named(record: LotRecord) -> None:
    at = next(i for i, one in enumerate(record.readings) if one.load and not one.corrected_by)
    readings = list(record.readings)
    readings[at] = replace(readings[at], value=readings[at].value + 45_000)
    assert differences(record, readings=tuple(readings))


def test_a_reading_raised_where_it_is_judged_alone_is_named(record: LotRecord) -> None:
    first = record.runs[0]
    bent = RunFacts(first.unit, first.at, (first.ninths[0] + 45_000, *first.ninths[1:]))
    assert differences(record, runs=(bent, *record.runs[1:]))


def test_a_reading_left_out_of_the_judging_is_named(record: LotRecord) -> None:
    fish = next(
        run
        for b in record.bases
        for one in b.known.series
        if one.subject == "fish"
        for run in one.runs
    )
    long = record.runs[fish]
    short = RunFacts(long.unit, long.at[:-1], long.ninths[:-1])
    runs = tuple(short if i == fish else run for i, run in enumerate(record.runs))
    assert any("not judged" in one.found for one in differences(record, runs=runs))


def test_a_limit_loosened_in_print_is_named(record: LotRecord) -> None:
    point = record.control_points[0]
    loose = replace(point.limits[0], sentence="at most 80 °F")
    point = replace(point, limits=(loose, *point.limits[1:]))
    (found,) = differences(record, control_points=(point, *record.control_points[1:]))
    assert found.stated == "at most 80 °F"


def test_a_verdict_without_its_ground_is_named(record: LotRecord) -> None:
    bare = replace(record.verdicts[0], basis=0)
    found = differences(record, verdicts=(bare, *record.verdicts[1:]))
    assert found[0].found == "nothing attached to compute it from"


def test_a_figure_looked_for_and_not_found_is_named(record: LotRecord) -> None:
    turned = tuple(replace(one, found="no") for one in record.observations)
    assert differences(record, observations=turned)


def test_a_laboratorys_figure_is_among_what_is_compared(db: None) -> None:
    book = make_book()
    one = finished(book)
    new = NewResult("water-phase salt", "%", ["3.6", "3.9"], "Bay Laboratory")
    taken, told = moment("2026-03-05 20:00"), moment("2026-03-06 11:00")
    enter_laboratory_result(book.reviewer, one, new, taken, told, told)
    record = record_of(book, one)
    assert recomputed(record).differences == ()
    (only,) = record.results
    better = replace(only.samples[0], value=only.samples[0].value + 100_000)
    bent = replace(only, samples=(better, *only.samples[1:]))
    assert "not listed so" in {one.stated for one in differences(record, results=(bent,))}


# --- what the salt rests on -------------------------------------------------------------------------


@pytest.fixture
def salted(book: Book) -> LotRecord:
    """A lot with nitrite in its brine, packs in the freezer, and samples of which one is answered."""
    one = book.open_lot(species="SAB", origin="wild")
    which = batch(book, "B-7", 96)
    tank = book.start("brine", "Brine tank 1", "07:30", one, declared="long", brine_batch=which)
    book.end(tank, "15:30")
    load = book.start("pack", "Table", "16:00", one, kg=10)
    book.end(load, "17:00")
    book.start("freeze", "Freezer", "17:30", one, kg=10)
    sent = send(book, one, "18:00", "Listeria", "histamine")
    answer(book, sent, "Listeria", 0, "2026-03-05 10:00")
    return record_from(canonical_bytes(record_of(book, one)))


def test_a_record_carries_what_the_salt_rests_on(salted: LotRecord) -> None:
    assert salted.form == 3
    assert recomputed(salted).differences == ()
    brine, pack = (next(b.known for b in salted.bases if b.step == s) for s in ("brine", "pack"))
    assert (brine.declared, brine.species, brine.cures[0].batch) == ("long", "SAB", "B-7")
    assert brine.cures[0].ingoing == 150_000_000  # millionths of a ppm
    assert [(one.step, one.amount_g) for one in pack.followed] == [("freeze", 10_000)]
    assert [mark.name for mark in pack.sampled] == ["histamine"]


@pytest.mark.parametrize(
    ("step", "limit", "changes"),
    [
        ("brine", "declared", {"declared": "short"}),
        ("brine", "cure", {"cures": ()}),
        ("brine", "cure", {"species": "TRR"}),
        ("pack", "to-freezer", {"followed": ()}),
        ("pack", "to-freezer", {"amount_g": 10_001}),
        ("pack", "histamine-sampled", {"sampled": ()}),
    ],
)
def test_a_fact_of_the_salt_that_was_bent_is_named(
    salted: LotRecord, step: str, limit: str, changes: dict[str, Any]
) -> None:
    bases = tuple(
        replace(one, known=replace(one.known, **changes)) if one.step == step else one
        for one in salted.bases
    )
    found = differences(salted, bases=bases)
    assert any(f"limit {limit}," in one.what for one in found), found


def test_a_species_that_is_not_the_lot_s_is_named(salted: LotRecord) -> None:
    bases = tuple(
        replace(one, known=replace(one.known, species="SAL")) if one.step == "brine" else one
        for one in salted.bases
    )  # on the same row as sablefish, so that the verdict is the same
    [named] = [one for one in differences(salted, bases=bases) if "species" in one.what]
    assert (named.stated, named.found) == ("SAB", "judged as SAL")


def test_a_record_of_form_2_is_written_back_to_its_own_bytes(record: LotRecord) -> None:
    old = canonical_bytes(replace(record, form=2))
    assert b"declared" not in old.partition(b"bases")[2].partition(b"control_points")[0]
    assert canonical_bytes(record_from(old)) == old
