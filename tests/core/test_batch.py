"""Batches: read from what was typed, kept, scaled, and doubted where they should be."""

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lots.core.batch import (
    METHODS,
    PART_KINDS,
    BadBatch,
    Batch,
    Doubt,
    Part,
    batch_from,
    content_of,
    doubts,
    nitrite_share,
    part_from,
    scaled,
    to_fish,
    to_total,
    to_volume,
    volume_litres,
)
from lots.core.salt_water import COLDEST, WARMEST, density_kg_m3, salt_pct
from lots.core.units import BadQuantity, to_ninths

COLD = to_ninths("38", "F")


def water(kg: str = "10") -> Part:
    return part_from("water", "water", kg, "kg")


def salt(kg: str = "2") -> Part:
    return part_from("salt", "pickling salt", kg, "kg")


def cure(as_read: str = "50", unit: str = "g", nitrite: str = "6.25 %") -> Part:
    return part_from("curing salt", "pink salt", as_read, unit, nitrite=nitrite)


def sugar(kg: str = "1") -> Part:
    return part_from("sugar", "brown sugar", kg, "kg")


def brine(*parts: Part) -> Batch:
    return Batch("brine", parts or (water(), salt()))


def dry(*parts: Part) -> Batch:
    return Batch("dry salt", parts or (salt(), sugar()))


# --- what was typed -------------------------------------------------------------------------------


def test_a_weighed_part_is_kept_in_milligrams_with_what_was_read() -> None:
    part = part_from("salt", "  pickling   salt ", " 2,5 ", "lb")
    assert part == Part("salt", "pickling salt", "2,5", "lb", 1_133_981)  # 2.5 × 453,592.37 mg
    assert part.weighed


def test_a_part_without_a_name_is_named_by_its_kind() -> None:
    assert part_from("salt", " ", "1", "kg").name == "salt"


def test_a_household_measure_is_taken_with_what_one_weighs() -> None:
    part = part_from("salt", "coarse salt", "3", "cup", "240")
    assert (part.mg, part.mg_per_measure, part.unit) == (720_000, 240_000, "cup")
    assert brine(water(), part).measures == (part,)
    ounces = part_from("sugar", "sugar", "1.5", "cup", "7", "oz")
    assert (ounces.mg, ounces.mg_per_measure) == (297_671, 198_447)


def test_a_litre_of_water_is_a_kilogram_and_no_household_measure() -> None:
    litres = part_from("water", "water", "8", "L")
    gallons = part_from("water", "water", "1", "US gal")
    assert (litres.mg, litres.mg_per_measure) == (8_000_000, 1_000_000)
    assert gallons.mg == 3_785_412
    assert brine(litres, gallons, salt()).measures == ()


def test_a_litre_of_anything_else_needs_its_weight() -> None:
    with pytest.raises(BadQuantity, match="A L of vinegar weighs what"):
        part_from("other", "vinegar", "1", "L")


@pytest.mark.parametrize(
    ("kind", "name", "as_read", "unit", "per", "nitrite", "said"),
    [
        ("salt", "salt", "3", "cup", "", "", "A cup of salt weighs what? Weigh one"),
        ("salt", "salt", "3", "", "", "", "How is salt measured"),
        ("curing salt", "pink salt", "2", "teaspoon", "6", "6.25 %", "weighed, never measured"),
        ("curing salt", "pink salt", "50", "g", "", "", "type the share from its label"),
        ("salt", "sea salt", "50", "g", "", "6.25 %", "Only a curing salt has nitrite"),
        ("salt", "salt", "0", "kg", "", "", "more than nothing"),
        ("salt", "salt", "-1", "kg", "", "", "more than nothing"),
        ("salt", "salt", "0.0000001", "g", "", "", "more than nothing"),
        ("salt", "salt", "0", "cup", "240", "", "more than nothing"),
        ("salt", "salt", "3", "cup", "0", "", "more than nothing"),
        ("salt", "salt", "a lot", "kg", "", "", "is not a number"),
        ("salt", "salt", "1,500", "g", "", "", "can be read two ways"),
        ("salt", "salt", "99999999999", "kg", "", "", "more than can be kept"),
        ("pepper", "pepper", "1", "kg", "", "", "is none of water, salt"),
    ],
)
def test_what_cannot_be_is_refused_in_words(
    kind: str, name: str, as_read: str, unit: str, per: str, nitrite: str, said: str
) -> None:
    with pytest.raises(BadQuantity) as refused:
        part_from(kind, name, as_read, unit, per, "g", nitrite)
    assert said.lower() in str(refused.value).lower()


@pytest.mark.parametrize(
    ("typed", "share"),
    [
        ("6.25 %", 62_500),
        ("6.25%", 62_500),
        ("6,25 %", 62_500),
        ("0.0625", 62_500),
        ("0,0625", 62_500),
        (" .0625 ", 62_500),
        ("0.6 %", 6_000),
        ("20 %", 200_000),
        ("99.9999 %", 999_999),
    ],
)
def test_a_share_of_nitrite_is_read_as_per_cent_or_fraction(typed: str, share: int) -> None:
    assert nitrite_share(typed) == share


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("6.25", "“6.25” alone would be 625 % nitrite. Type 6.25 % or 0.0625, as the label says."),
        ("1", "“1” alone would be 100 % nitrite. Type 1 % or 0.01, as the label says."),
        ("100", "is no share of nitrite"),
        ("625", "is no share of nitrite"),
        ("100 %", "is no share of nitrite"),
        ("120 %", "is no share of nitrite"),
        ("0", "is no share of nitrite"),
        ("-6.25 %", "is no share of nitrite"),
        ("0.0000001", "is no share of nitrite"),
        ("", "How much nitrite is in this curing salt?"),
        ("pink", "is not a number"),
    ],
)
def test_a_share_that_cannot_be_is_refused_in_words(typed: str, said: str) -> None:
    with pytest.raises(BadQuantity) as refused:
        nitrite_share(typed)
    assert said in str(refused.value)


# --- sums of a batch ------------------------------------------------------------------------------


def test_a_curing_salt_brings_its_nitrite_and_the_rest_of_it_as_salt() -> None:
    batch = brine(
        water("10"), salt("2"), cure("160"), sugar("1"), part_from("other", "dill", "20", "g")
    )
    assert batch.nitrite_mg == 10_000  # 160 g × 6.25 %
    assert batch.cure_mg == 160_000
    assert batch.salt_mg == 2_150_000  # 2 kg and the 150 g of the curing salt that are not nitrite
    assert (batch.water_mg, batch.sugar_mg) == (10_000_000, 1_000_000)
    assert batch.total_mg == 13_180_000


# --- content --------------------------------------------------------------------------------------

names = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), min_size=1, max_size=20
)


@st.composite
def parts(draw: st.DrawFn) -> Part:
    kind = draw(st.sampled_from(PART_KINDS))
    cures = kind == "curing salt"
    unit = draw(
        st.sampled_from(["g", "kg", "oz", "lb"] if cures else ["g", "kg", "oz", "lb", "cup"])
    )
    return Part(
        kind,
        draw(names),
        draw(names),
        unit,
        draw(st.integers(1, 10**12)),
        0 if unit != "cup" else draw(st.integers(1, 10**9)),
        draw(st.integers(1, 999_999)) if cures else 0,
    )


batches = st.builds(
    Batch, st.sampled_from(METHODS), st.lists(parts(), min_size=1, max_size=6).map(tuple)
)


@given(batches)
def test_a_batch_comes_back_from_its_content(batch: Batch) -> None:
    assert batch_from(content_of(batch)) == batch


def test_content_is_what_the_book_keeps() -> None:
    assert content_of(brine(salt("2"))) == {
        "form": 1,
        "method": "brine",
        "parts": [
            {
                "kind": "salt",
                "name": "pickling salt",
                "as_read": "2",
                "unit": "kg",
                "mg": 2_000_000,
                "mg_per_measure": 0,
                "nitrite_millionths": 0,
            }
        ],
    }


def spoilt(**part: Any) -> dict[str, Any]:
    content = content_of(brine(cure()))
    content["parts"][0] |= part
    return content


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ({}, "has a form, a method and parts"),
        ({**content_of(brine()), "more": 1}, "nothing else"),
        ({**content_of(brine()), "form": 2}, "Form 2"),
        ({**content_of(brine()), "form": True}, "Form True"),
        ({**content_of(brine()), "method": "kench"}, "neither a brine nor a dry salting"),
        ({**content_of(brine()), "parts": []}, "has parts"),
        ({**content_of(brine()), "parts": "salt"}, "has parts"),
        ({**content_of(brine()), "parts": ["salt"]}, "A part has kind"),
        (spoilt(more=1), "nothing else"),
        (spoilt(kind="pepper"), "none of water"),
        (spoilt(mg=0), "outside what a batch can hold"),
        (spoilt(mg=-5), "outside what a batch can hold"),
        (spoilt(mg=2**53 + 1), "outside what a batch can hold"),
        (spoilt(mg="5"), "mg of a part is not a whole number"),
        (spoilt(mg=True), "mg of a part is not a whole number"),
        (spoilt(mg=5.0), "mg of a part is not a whole number"),
        (spoilt(mg_per_measure=-1), "outside what a batch can hold"),
        (spoilt(name=7), "name of a part is not text"),
        (spoilt(nitrite_millionths=1_000_000), "outside 0 to 100 %"),
        (spoilt(nitrite_millionths=-1), "outside 0 to 100 %"),
        (spoilt(kind="salt"), "no curing salt"),
    ],
)
def test_content_that_is_no_batch_is_refused(content: Mapping[str, Any], said: str) -> None:
    with pytest.raises(BadBatch, match=said):
        batch_from(content)


# --- scaling --------------------------------------------------------------------------------------


def test_a_scaled_batch_is_said_in_grams() -> None:
    twice = scaled(brine(water("10"), part_from("salt", "salt", "3", "cup", "240")), Fraction(2))
    assert [(p.as_read, p.unit, p.mg, p.mg_per_measure) for p in twice.parts] == [
        ("20000", "g", 20_000_000, 0),
        ("1440", "g", 1_440_000, 0),
    ]
    third = scaled(brine(water("1"), salt("1")), Fraction(1, 3))
    assert third.parts[0].as_read == "333.333"


@given(batches, st.fractions(Fraction(1, 1000), 1000, max_denominator=1000))
def test_scaling_keeps_the_shares_to_half_a_milligram(batch: Batch, factor: Fraction) -> None:
    if min(part.mg for part in batch.parts) * factor < 1:
        return
    other = scaled(batch, factor)
    for part, times in zip(batch.parts, other.parts, strict=True):
        assert abs(times.mg - part.mg * factor) <= Fraction(1, 2)
        assert Fraction(times.as_read) * 1000 == times.mg
        assert (times.kind, times.name) == (part.kind, part.name)
        assert times.nitrite_millionths == part.nitrite_millionths
    assert batch_from(content_of(other)) == other


@pytest.mark.parametrize("factor", ["0", "-1"])
def test_a_factor_of_nothing_is_refused(factor: str) -> None:
    with pytest.raises(BadQuantity, match="more than nothing"):
        scaled(brine(), Fraction(factor))


def test_a_part_that_would_vanish_is_refused() -> None:
    with pytest.raises(BadQuantity, match="less than a milligram of pink salt"):
        scaled(brine(water(), salt(), cure("0.5")), Fraction(1, 100_000))


def test_a_batch_is_made_to_a_total_and_to_the_fish() -> None:
    assert to_total(brine(), 6_000_000).total_mg == 6_000_000
    batch = to_fish(
        brine(), 25_000, Fraction(3, 2)
    )  # 25 kg of fish, one and a half times the brine
    assert batch.total_mg == 37_500_000
    assert salt_pct(batch.salt_mg, batch.water_mg) == salt_pct(2, 10)
    rubbed = to_fish(dry(salt("2"), sugar("1")), 30_000, Fraction(1, 10))
    assert (rubbed.salt_mg, rubbed.sugar_mg) == (2_000_000, 1_000_000)


def test_a_batch_is_made_to_fill_a_volume() -> None:
    batch = to_volume(brine(water("8"), salt("2")), Fraction(60), COLD)  # 20 % salt
    kilograms = Fraction(batch.total_mg, 1_000_000)
    assert abs(kilograms - 60 * density_kg_m3(Fraction(20), COLD) / 1000) < Fraction("0.001")
    assert abs(volume_litres(batch, COLD) - 60) < Fraction("0.001")


def test_sugar_takes_its_room() -> None:
    # CRC Handbook, Concentrative Properties: sucrose in water at 20 °C, 10 % 1.0381 and 20 % 1.0810 g/cm³
    for pct, density in ((10, "1.0381"), (20, "1.0810")):
        batch = brine(water(str(100 - pct)), sugar(str(pct)))
        litres = volume_litres(batch, to_ninths("20", "C"))
        assert abs(litres - 100 / Fraction(density)) < Fraction("0.04")


def test_what_has_no_strength_fills_no_volume() -> None:
    for batch in (dry(), brine(salt())):
        with pytest.raises(BadBatch, match="brine with water"):
            to_volume(batch, Fraction(10), COLD)
    with pytest.raises(BadQuantity, match="more than nothing"):
        to_volume(brine(), Fraction(0), COLD)
    with pytest.raises(BadQuantity, match="more than nothing"):
        to_fish(brine(), 0, Fraction(1))


# --- doubts ---------------------------------------------------------------------------------------


def said(found: list[Doubt]) -> list[tuple[str, bool]]:
    return [(doubt.field, doubt.refused) for doubt in found]


def test_a_good_batch_is_not_doubted() -> None:
    assert doubts(brine(water("10"), salt("2"), cure("50"), sugar("1")), COLD, 12_000) == []
    assert doubts(dry(salt("2"), sugar("1"), cure("20")), COLD, 20_000) == []


def test_what_was_typed_as_curing_salt_by_the_spoon_is_refused_wherever_it_comes_from() -> None:
    spoon = replace(cure(), unit="tablespoon", mg_per_measure=18_000)
    (doubt,) = doubts(brine(water(), salt(), spoon), COLD)
    assert (doubt.field, doubt.refused) == ("part_3", True)
    assert "never measured by the cup or spoon" in doubt.text


def test_a_measure_without_its_weight_is_refused() -> None:
    (doubt,) = doubts(brine(water(), Part("salt", "salt", "3", "cup", 720_000)), COLD)
    assert (doubt.field, doubt.refused) == ("part_2", True)
    assert "what one cup of salt weighs" in doubt.text


@pytest.mark.parametrize(
    ("share", "refused", "text"),
    [
        (6_250_000, True, "625 % nitrite cannot be. Type 6.25 % or 0.0625."),
        (1_000_000, True, "100 % nitrite cannot be"),
        (0, True, "Type the share of nitrite in pink salt from its label"),
        (200_001, False, "20 % nitrite is far more than curing salts have"),
        (625, False, "0.063 % nitrite is less than curing salts have"),
        (3_999, False, "0.4 % nitrite is less than curing salts have"),
    ],
)
def test_an_odd_share_of_nitrite_is_asked_about_or_refused(
    share: int, refused: bool, text: str
) -> None:
    found = doubts(brine(water(), salt(), replace(cure(), nitrite_millionths=share)), COLD)
    assert ("part_3", refused) in said(found)
    assert text in found[0].text


@pytest.mark.parametrize("share", [4_000, 62_500, 200_000])
def test_a_share_within_what_curing_salts_have_is_not_asked_about(share: int) -> None:
    part = replace(cure("1"), nitrite_millionths=share)
    assert doubts(brine(water(), salt(), part), COLD) == []


def test_more_salt_than_dissolves_is_asked_about() -> None:
    # at 38 °F 26.33 % dissolves: 3.574 kg in 10 kg of water
    assert doubts(brine(water("10"), salt("3.57")), COLD) == []
    (doubt,) = doubts(brine(water("10"), salt("5")), COLD)
    assert (doubt.field, doubt.refused) == ("parts", False)
    assert "at most 26.3 % salt dissolves; this would be 33.3 %" in doubt.text
    assert "About 1.4 kg of salt lies undissolved at the bottom" in doubt.text
    (little,) = doubts(brine(water("10"), salt("3.6")), COLD)
    assert "About 26 g of salt" in little.text


def test_without_salt_it_is_refused() -> None:
    assert said(doubts(brine(water(), sugar()), COLD)) == [("parts", True)]
    assert said(doubts(dry(sugar()), COLD)) == [("parts", True)]


def test_a_brine_without_water_is_refused_and_a_dry_salting_with_water_asked_about() -> None:
    (doubt,) = doubts(brine(salt()), COLD)
    assert doubt.refused and "enter it as a dry salting" in doubt.text
    (asked,) = doubts(dry(salt(), water()), COLD)
    assert not asked.refused and "Is it a brine?" in asked.text


def test_a_temperature_that_no_brine_in_use_has_is_refused() -> None:
    for temp in (COLDEST - 1, WARMEST + 1):
        assert said(doubts(brine(), temp)) == [("temp", True)]
        assert doubts(dry(), temp) == []  # a dry salting is asked no temperature
    strong = brine(water("10"), salt("2.8"))  # 21.9 %: liquid at the coldest
    assert doubts(strong, COLDEST) == doubts(strong, WARMEST) == []


def test_a_brine_colder_than_it_freezes_is_asked_about() -> None:
    weak = brine(water("96"), salt("4"))  # 4 %: −2.41 °C
    assert doubts(weak, to_ninths("-2.41", "C")) == []
    (doubt,) = doubts(weak, to_ninths("-2.411", "C"))
    assert (doubt.field, doubt.refused) == ("temp", False)
    assert "begins to freeze at 27.7 °F (−2.4 °C)" in doubt.text


def test_ounces_that_look_like_grams_are_asked_about_with_both_figures() -> None:
    # 20 oz at 6.25 % is 35.4 g of nitrite in 12.57 kg: 2,820 ppm; 20 g is 1.25 g in 12.02 kg: 104 ppm
    (doubt,) = doubts(brine(water(), salt(), cure("20", "oz")), COLD)
    assert (doubt.field, doubt.refused) == ("part_3", False)
    assert "That gives 2820 ppm nitrite in the brine" in doubt.text
    assert "With 20 g for 20 oz it would be 104 ppm" in doubt.text


def test_grams_beyond_any_cure_are_asked_about_too() -> None:
    (doubt,) = doubts(brine(water(), salt(), cure("500")), COLD)
    assert (
        doubt.text
        == "That gives 2500 ppm nitrite in the brine, more than any cure in use. Is the weight right?"
    )


def test_a_thousand_ppm_are_not_yet_asked_about() -> None:
    # 160 g of 6.25 % is 10 g of nitrite; in 10 kg of brine 1,000 ppm
    assert doubts(brine(water("8.34"), salt("1.5"), cure("160")), COLD) == []
    assert said(doubts(brine(water("8.34"), salt("1.5"), cure("160.1")), COLD)) == [
        ("part_3", False)
    ]


def test_the_nitrite_of_a_dry_salting_is_held_against_the_fish() -> None:
    # 200 g of 6.25 % on 12 kg: 1,042 ppm; on 13 kg 962
    rub = dry(salt(), cure("200"))
    assert said(doubts(rub, COLD, 12_000)) == [("part_2", False)]
    assert doubts(rub, COLD, 13_000) == []
    assert doubts(rub, COLD) == []  # no fish named yet: nothing to hold it against
    (doubt,) = doubts(dry(salt(), cure("10", "oz")), COLD, 12_000)
    assert "With 10 g for 10 oz it would be 52 ppm" in doubt.text


@pytest.mark.parametrize(
    ("fish_g", "found"),
    [
        (12_000, []),  # 12 kg of brine, 1:1
        (12_001, [("fish_g", False)]),
        (24_000, [("fish_g", False)]),  # half of the fish's weight
        (24_001, [("fish_g", True)]),
        (0, [("fish_g", True)]),
    ],
)
def test_brine_that_hardly_covers_the_fish_is_asked_about_and_less_refused(
    fish_g: int, found: list[tuple[str, bool]]
) -> None:
    assert said(doubts(brine(), COLD, fish_g)) == found


def test_a_dry_salting_need_not_cover_but_needs_fish() -> None:
    assert doubts(dry(), COLD, 100_000) == []
    assert said(doubts(dry(), COLD, 0)) == [("fish_g", True)]


def test_the_refused_come_first() -> None:
    found = doubts(brine(water("1"), salt("1")), COLD, 24_000)
    assert said(found) == [("fish_g", True), ("parts", False)]


@given(
    batches,
    st.integers(to_ninths("-40", "C"), to_ninths("120", "C")),
    st.none() | st.integers(0, 10**6),
)
def test_every_batch_is_doubted_without_falling_over(
    batch: Batch, temp: int, fish_g: int | None
) -> None:
    for doubt in doubts(batch, temp, fish_g):
        assert doubt.text.endswith((".", "?"))
        assert doubt.field in ("parts", "temp", "fish_g") or doubt.field.startswith("part_")
