"""What is said of a batch before the fish goes in: each figure from a source or by hand, each bar in words.

The formula of ingoing nitrite is that of USDA FSIS Directive 7620.3 (equilibrium: nitrite over fish and
brine together); water-phase salt at full equilibrium is salt over salt and all water, by hand.
"""

from fractions import Fraction

from lots.core.batch import Batch, Part
from lots.core.beforehand import NO_PROOF, NOT_PROOF, Beforehand, FishIn, beforehand
from lots.core.cure import CureRule
from lots.core.units import to_ninths

SALMON = CureRule(("SAB", "SAL"), None, 200_000_000, "rule 1", "salmon and sablefish")
CHUB = CureRule(("CIS",), 100_000_000, 200_000_000, "rule 2", "chub", "160 °F for 30 min", "cold")
ROWS = (SALMON, CHUB)
COLD = to_ninths("40", "F")


def part(kind: str, kg: float, nitrite: int = 0) -> Part:
    return Part(kind, kind, f"{kg}", "kg", round(kg * 1_000_000), 0, nitrite)


def brine(*more: Part, water: float = 8, salt: float = 2) -> Batch:
    return Batch("brine", (part("water", water), part("salt", salt), *more))


def fish(species: str = "SAB", grams: int = 10_000, target: str | None = None) -> FishIn:
    wanted = None if target is None else Fraction(target)
    return FishIn("L-1", species.lower(), species, grams, ROWS, "rules 1 and 2", wanted)


def said(batch: Batch, *of: FishIn, brine_g: int | None = None, moisture: str = "65") -> Beforehand:
    return beforehand(
        batch, brine_g, of or (fish(),), COLD, Fraction(moisture), lambda g: f"{g / 1000:g} kg"
    )


def test_ratio_and_strength_are_said_of_what_is_on_the_fish() -> None:
    facts = dict(said(brine(), brine_g=5_000).facts)
    assert facts["Brine to fish"] == "0.5 : 1 by weight, 5 kg on 10 kg of fish"
    # 20 % of salt over 26.395 %
    assert facts["Strength by the recipe"] == "75.8 °SAL (20 % salt)"
    assert "Ingoing nitrite" not in facts


def test_half_the_fishs_weight_is_asked_about_and_less_is_barred() -> None:
    exactly = said(brine(), brine_g=5_000)
    assert exactly.barred == ()
    assert "Does it cover all of the fish?" in exactly.asks[0]
    [told] = said(brine(), brine_g=4_999).barred
    assert "cannot cover the fish" in told
    assert said(brine(), brine_g=10_000).asks == ()


def test_fish_of_several_lots_shares_the_brine() -> None:
    both = said(brine(), fish("SAB", 6_000), fish("SAL", 4_000))
    assert dict(both.facts)["Brine to fish"].startswith("1 : 1")


CURE = part("curing salt", 0.048, 62_500)  # 3 g of nitrite


def test_ingoing_nitrite_is_by_equilibrium_and_a_planning_figure() -> None:
    """3 g in 10 kg of brine and 10 kg of fish is 150 ppm."""
    told = said(brine(CURE, water=7.952), fish())
    assert dict(told.facts)["Ingoing nitrite"] == "150 ppm by equilibrium; a planning figure"
    [words] = told.nitrite
    assert words.startswith("sab: rule 1 permits sodium nitrite of at most 200 ppm")
    assert "only a laboratory result in the finished fish" in words
    assert (told.asks, told.barred) == ((), ())


def test_dry_all_of_the_nitrite_is_in_the_fish() -> None:
    """3 g of nitrite on 20 kg of fish is 150 ppm."""
    dry = Batch("dry salt", (part("salt", 1), CURE))
    told = said(dry, fish(grams=20_000))
    assert dict(told.facts)["Ingoing nitrite"].startswith("150 ppm all of it in the fish")
    assert dict(told.facts)["Salting to fish"].startswith("0.05 : 1")
    assert "Strength by the recipe" not in dict(told.facts)


def test_more_than_the_rule_permits_is_asked_about_and_exactly_as_much_is_not() -> None:
    """4 g in 20 kg is 200 ppm exactly; 4.0625 g a little more."""
    exactly = brine(part("curing salt", 0.064, 62_500), water=7.936)
    assert said(exactly, fish()).asks == ()
    more = brine(part("curing salt", 0.065, 62_500), water=7.935)
    [asked] = said(more, fish()).asks
    assert "more than the 200 ppm that rule 1 permits" in asked


def test_less_than_the_rule_asks_for_is_asked_about_with_its_heat_and_cooling() -> None:
    told = said(brine(part("curing salt", 0.016, 62_500), water=7.984), fish("CIS"))
    assert "less than the 100 ppm that rule 2 asks for" in told.asks[0]
    assert "It also asks for: 160 °F for 30 min; cold." in told.nitrite[0]


def test_a_species_on_no_row_is_barred_with_the_rules_numbers() -> None:
    told = said(brine(CURE), fish("TRR"))
    [barred] = told.barred
    assert barred == (
        "Nitrite is permitted in salmon and sablefish (rule 1) and chub (rule 2); not in trr (rules 1 and 2)."
    )
    assert said(brine(), fish("TRR")).barred == ()


def test_one_fish_that_may_not_bars_the_load_and_the_other_is_still_told() -> None:
    told = said(brine(CURE), fish("TRR", 5_000), fish("SAB", 5_000))
    assert len(told.barred) == 1
    assert len(told.nitrite) == 1


def test_a_household_brine_is_told_what_it_can_do_at_the_very_best() -> None:
    """4 % at 1 : 1 on fish of 65 % moisture: 0.04 / (1 + 0.65) is 2.42 %.  Salt 0.0161 to each part of
    raw fish: dried until water is 0.444 of it, of solids 0.35 and that salt and water, 54.8 % moisture."""
    words = said(brine(water=9.6, salt=0.4), fish(target="3.5")).salt
    assert words[0].endswith("is 2.42 % (raw fish taken at 65 % moisture).")
    assert "at least 3.5 %, which no time in it reaches" in words[1]
    assert "dried from 65 % to 54.8" in words[1]
    # 3.5 % of 1.65 is 5.775 % of salt in the brine: 21.88 °SAL, asked for upwards
    assert "at least 22 °SAL at this 1 : 1" in words[2]
    # 3.5 / 96.5 of 650 g of water is 23.6 g
    assert "more than 24 g of salt to each kg" in words[2]
    assert "keep it frozen" in words[2]
    assert words[-1] == NOT_PROOF


def test_a_brine_that_could_do_is_told_that_this_is_no_proof() -> None:
    words = said(brine(), fish(target="3.5")).salt
    assert "does not show that it does" in words[1]
    assert words[-1] == NO_PROOF


def test_two_packs_with_two_targets_are_told_of_both() -> None:
    both = said(
        brine(water=9.6, salt=0.4), fish("SAB", 5_000, "3.5"), fish("SAL", 5_000, "2.0")
    ).salt
    assert any("at least 2 %: fish left in long enough" in text for text in both)
    assert any("at least 3.5 %, which no time" in text for text in both)


def test_where_no_strength_does_more_brine_is_said_and_no_figure_made_up() -> None:
    """A fifth of brine on the fish of 80 % moisture for 12 %: 12 % of 1.0 over 0.2 is 60 %, beyond any."""
    words = said(brine(water=9, salt=1), fish(target="12"), brine_g=2_000, moisture="80").salt
    assert "no brine is strong enough at this 0.2 : 1" in " ".join(words)


def test_dry_salting_is_told_of_more_salt_and_not_of_a_brine() -> None:
    dry = Batch("dry salt", (part("salt", 0.1),))
    words = " ".join(said(dry, fish(target="3.5")).salt)
    assert "°SAL" not in words
    assert "more than 24 g of salt to each kg" in words


def test_a_pack_that_asks_for_no_salt_is_told_nothing() -> None:
    assert said(brine(), fish(target=None)).salt == ()
