"""Figures of a batch in words, and the record's own held against what went into it."""

from dataclasses import replace

import pytest

from lots.core.batch import Batch, Part
from lots.core.reckoned import batch_figures, use_figures
from lots.core.recomputed import recomputed
from lots.core.units import to_ninths
from tests.pdf.make import make_record

SIXTY = to_ninths("60", "F")


def part(kind: str, grams: int, nitrite: int = 0) -> Part:
    return Part(kind, kind, str(grams), "g", grams * 1000, 0, nitrite)


# 10 % by weight: 90 of water, 10 of salt
TEN = Batch("brine", (part("water", 9000), part("salt", 1000)))
CURED = Batch("brine", (part("water", 9000), part("salt", 900), part("curing salt", 160, 62_500)))
RUBBED = Batch("dry salt", (part("salt", 300), part("curing salt", 40, 62_500)))


def figures(found: object) -> dict[str, str]:
    return {one.name: one.figure for one in found}  # type: ignore[attr-defined]


def test_a_brine_of_ten_per_cent_says_so_in_every_way() -> None:
    said = figures(batch_figures(TEN, SIXTY))
    assert said["salt, of salt and water"] == "10 %"
    assert said["strength"] == "37.9 °SAL"  # 10 of 26.395 %
    assert said["begins to freeze at"].startswith("20.2 °F")  # CRC: 10 % freezes at −6.56 °C
    assert "sodium nitrite in the brine" not in said
    assert "salt as mixed" not in said


def test_what_does_not_dissolve_counts_no_further_than_saturated() -> None:
    much = Batch("brine", (part("water", 6000), part("salt", 4000)))
    said = figures(batch_figures(much, SIXTY))
    assert said["salt as mixed"] == "40 %"
    assert said["strength"] == "100.0 °SAL"


def test_nitrite_is_told_of_the_brine_and_of_the_fish() -> None:
    assert figures(batch_figures(CURED, SIXTY))["sodium nitrite in the brine"] == "994 ppm"
    used = figures(use_figures(CURED, None, 20_000))
    assert used["ingoing sodium nitrite"] == "333 ppm"  # 10 g over 30.06 kg
    assert used["brine to fish"] == "0.5 : 1"


def test_half_of_a_batch_gives_half_of_it() -> None:
    used = figures(use_figures(CURED, 5_030, 20_000))
    assert used["ingoing sodium nitrite"] == "200 ppm"  # 5 g over 25.03 kg
    assert used["brine to fish"] == "0.25 : 1"


def test_the_highest_water_phase_salt_needs_the_moisture_of_the_fish() -> None:
    name = "highest water-phase salt before drying"
    assert name not in figures(use_figures(TEN, None, 10_000))
    # 1 kg of salt shared by 9 kg of water and the fish's 7 kg
    assert figures(use_figures(TEN, None, 10_000, 70_000_000))[name] == "5.88 %"


def test_a_dry_salting_tells_salt_and_nitrite_on_the_fish() -> None:
    said = figures(batch_figures(RUBBED, None))
    assert said == {"salt in it": "337.5 g", "sodium nitrite in it": "2.5 g"}
    used = figures(use_figures(RUBBED, None, 10_000))
    assert used == {"salt to fish": "3.38 %", "ingoing sodium nitrite": "250 ppm"}


def of_batches(record: object) -> list[str]:
    found = recomputed(record).differences  # type: ignore[arg-type]
    return [f"{one.what}: {one.stated} | {one.found}" for one in found if "batch" in one.what]


def test_the_figures_of_a_records_batches_follow_from_what_went_in() -> None:
    assert of_batches(make_record()) == []


@pytest.mark.parametrize(
    ("change", "names"),
    [
        ("weight", "batch B-0304: salt, of salt and water"),
        ("nitrite", "batch B-0304: salt, of salt and water"),
        ("figure", "batch B-0304: strength"),
        ("left out", "batch B-0304: left out of strength and density"),
        ("fish", "batch B-0304 in load 2: brine to fish"),
        ("moisture", "batch B-0304 in load 2: highest water-phase salt before drying"),
        ("method", "batch B-0304"),
    ],
)
def test_a_batch_that_was_bent_is_found(change: str, names: str) -> None:
    record = make_record()
    one = record.batches[0]
    parts, figures, use = one.parts, one.figures, one.uses[0]
    at = [figure.name for figure in figures].index("strength")
    bent = {
        "weight": replace(one, parts=(parts[0], replace(parts[1], mg=2_750_000), *parts[2:])),
        "nitrite": replace(one, parts=(*parts[:3], replace(parts[3], nitrite_millionths=6_250))),
        "figure": replace(
            one,
            figures=(*figures[:at], replace(figures[at], figure="80 °SAL"), *figures[at + 1 :]),
        ),
        "left out": replace(one, figures=figures[:-1]),
        "fish": replace(one, uses=(replace(use, fish_g=3_000),)),
        "moisture": replace(one, uses=(replace(use, moisture=60_000_000),)),
        "method": replace(one, parts=()),
    }[change]
    found = of_batches(replace(record, batches=(bent, *record.batches[1:])))
    assert found and found[0].startswith(names)
