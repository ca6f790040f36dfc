"""Readings in order: cut, merged, packed and unpacked."""

import pytest

from lots.core.series import BadSeries, Chunk, chunks, merge, pack, unpack
from tests.core.make import at, make_readings, make_rows


def test_readings_in_any_order_become_chunks_in_order_of_time() -> None:
    rows = make_rows("08:20 3, 08:00 1, 08:10 2")
    (chunk,) = chunks(rows)
    assert list(chunk.at) == [at("08:00"), at("08:10"), at("08:20")]
    assert list(chunk.value) == [9_000, 18_000, 27_000]


def test_readings_of_one_moment_do_not_depend_on_their_arrival() -> None:
    rows = make_rows("08:00 3, 08:00 1, 08:00 2")
    assert chunks(rows) == chunks(rows[::-1])


def test_a_chunk_is_cut_where_the_unit_changes() -> None:
    found = make_readings("08:00 3 C, 08:10 38 F, 08:20 39 F, 08:30 3 C")
    assert [(run.unit, len(run)) for run in found] == [("C", 1), ("F", 2), ("C", 1)]


def test_a_chunk_of_unequal_columns_is_refused() -> None:
    with pytest.raises(BadSeries):
        Chunk([1, 2], [1])


def test_a_chunk_whose_moments_fall_is_refused() -> None:
    with pytest.raises(BadSeries):
        Chunk([2, 1], [1, 1])


def test_a_chunk_knows_its_extremes_and_longest_gap() -> None:
    (run,) = make_readings("08:00 3, 08:10 1, 08:40 2")
    assert (run.lowest, run.highest, run.longest_gap) == (9_000, 27_000, 1_800_000)
    assert Chunk([5], [1]).longest_gap == 0


@pytest.mark.parametrize(
    ("start", "end", "left"),
    [
        ("08:10", "08:20", 2),
        ("08:11", "08:19", 0),
        (None, "08:00", 1),
        ("08:30", None, 1),
        (None, None, 4),
    ],
)
def test_both_ends_of_a_part_are_included(start: str | None, end: str | None, left: int) -> None:
    (run,) = make_readings("08:00 1, 08:10 2, 08:20 3, 08:30 4")
    assert len(run.between(start and at(start), end and at(end))) == left  # type: ignore[arg-type]


def test_runs_that_do_not_overlap_stay_as_they_are() -> None:
    early, late = make_readings("08:00 1, 08:10 2")[0], make_readings("08:20 3")[0]
    assert merge([late, early]) == [early, late]


def test_runs_that_overlap_are_sorted_into_one() -> None:
    one, other = make_readings("08:00 1, 08:20 3")[0], make_readings("08:10 2")[0]
    (both,) = merge([one, other])
    assert list(both.value) == [9_000, 18_000, 27_000]


def test_an_empty_run_is_dropped() -> None:
    assert merge([Chunk([], [])]) == []


def test_a_packed_chunk_unpacks_to_itself() -> None:
    for chunk in make_readings("08:00 -20.5, 08:10 63.125, 08:20 145 F"):
        back = unpack(pack(chunk))
        assert (list(back.at), list(back.value), back.unit) == (
            list(chunk.at),
            list(chunk.value),
            chunk.unit,
        )


def test_packed_bytes_are_the_same_each_time() -> None:
    chunk = Chunk([1, 256], [-1, 9000], "F")
    assert pack(chunk).hex() == (
        "014602000000" + "0100000000000000" + "0001000000000000" + "ffffffff" + "28230000"
    )


@pytest.mark.parametrize(
    "spoil", [lambda b: b[:-1], lambda b: b + b"\0", lambda b: b"\2" + b[1:], lambda b: b[:3]]
)
def test_bytes_of_another_form_or_length_are_refused(spoil) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(BadSeries):
        unpack(spoil(pack(Chunk([1, 2], [3, 4]))))
