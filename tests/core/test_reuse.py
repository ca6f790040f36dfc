"""How often a batch of brine may be used again: counted to the processor's disfavour, said in words."""

from typing import Any

import pytest

from lots.core.plan import faults, plan_from
from lots.core.reuse import Brining, Use, bars_use, brining_faults, brining_from
from lots.core.units import MS_PER_H, MS_PER_MIN

START = 1_772_600_000_000
TABLE = {"most_loads": "3", "most_age": "4 h", "source": "an invented rule", "flag": "published"}
SPECIES = [{"code": "SAB"}, {"code": "TRR"}]


def rule(**changed: Any) -> Brining:
    found = brining_from({"brining": TABLE | changed, "species": SPECIES})
    assert found is not None
    return found


def use(after_ms: int = 0, *species: str) -> Use:
    return Use(START + after_ms, frozenset(species or ("TRR",)))


def test_a_plan_without_the_table_limits_nothing() -> None:
    assert brining_from({}) is None
    assert brining_from({"brining": {}}) is None
    assert brining_from({"brining": {"most_loads": "", "apart": []}}) is None


def test_the_last_load_that_the_plan_lets_in_is_let_in_and_the_next_is_not() -> None:
    assert bars_use(rule(most_age=""), [use(), use(1)], use(2), filtered=False) == []
    [told] = bars_use(rule(most_age=""), [use(), use(1), use(2)], use(3), filtered=False)
    assert "used for 3 loads" in told
    assert "Make a new batch" in told


def test_exactly_the_longest_age_is_let_in_and_a_millisecond_more_is_not() -> None:
    assert bars_use(rule(), [use()], use(4 * MS_PER_H), filtered=False) == []
    [told] = bars_use(rule(), [use()], use(4 * MS_PER_H + MS_PER_MIN), filtered=False)
    assert "more than 4 h before this one" in told
    assert bars_use(rule(), [use()], use(4 * MS_PER_H + 1), filtered=False) != []


def test_the_age_counts_from_the_first_load_in_whatever_order_they_come() -> None:
    late = use(3 * MS_PER_H)
    assert bars_use(rule(), [late, use()], use(5 * MS_PER_H), filtered=False) != []
    assert bars_use(rule(), [late], use(5 * MS_PER_H), filtered=False) == []


def test_a_batch_that_was_never_used_has_no_age() -> None:
    assert bars_use(rule(), [], use(90 * MS_PER_H), filtered=False) == []


def test_filtering_lifts_the_age_only_where_the_plan_says_so() -> None:
    before, now = [use()], use(9 * MS_PER_H)
    assert bars_use(rule(filtering_lifts="yes"), before, now, filtered=True) == []
    [told] = bars_use(rule(filtering_lifts="yes"), before, now, filtered=False)
    assert "unless it is filtered" in told
    assert bars_use(rule(filtering_lifts="no"), before, now, filtered=True) != []


def test_filtering_never_lifts_the_number_of_loads() -> None:
    found = rule(filtering_lifts="yes")
    assert bars_use(found, [use(), use(1), use(2)], use(3), filtered=True) != []


def test_a_species_that_lies_alone_is_kept_from_others_at_once_and_one_after_the_other() -> None:
    alone = rule(apart=["SAB"])
    assert bars_use(alone, [], use(0, "SAB"), filtered=False) == []
    assert bars_use(alone, [use(0, "SAB")], use(1, "SAB"), filtered=False) == []
    assert bars_use(alone, [use(0, "TRR")], use(1, "TRR"), filtered=False) == []
    for before, now in [
        ([], use(0, "SAB", "TRR")),
        ([use(0, "TRR")], use(1, "SAB")),
        ([use(0, "SAB")], use(1, "TRR")),
    ]:
        [told] = bars_use(alone, before, now, filtered=False)
        assert "SAB shares a batch with no other species" in told
        assert "TRR" in told


@pytest.mark.parametrize(
    ("changed", "path", "words"),
    [
        ({"most_loads": "three"}, "brining.most_loads", "whole number"),
        ({"most_loads": "0"}, "brining.most_loads", "whole number"),
        ({"most_loads": True}, "brining.most_loads", ""),
        ({"most_age": "4"}, "brining.most_age", "such as 4 h"),
        ({"most_age": "0 h"}, "brining.most_age", "such as 4 h"),
        ({"source": ""}, "brining.source", "come from"),
        ({"flag": "certain"}, "brining.flag", "Choose one of"),
        ({"filtering_lifts": "perhaps"}, "brining.filtering_lifts", "Choose one of"),
        ({"apart": ["COD"]}, "brining.apart", "no species of this plan"),
        ({"apart": "SAB"}, "brining.apart", "must be a list"),
    ],
)
def test_what_is_wrong_in_the_table_is_told_at_its_field(
    changed: dict[str, Any], path: str, words: str
) -> None:
    content = {"brining": TABLE | changed, "species": SPECIES}
    found = [one for one in [*brining_faults(content), *faults(content)] if one.path == path]
    assert found
    assert words in found[0].text


def test_a_table_that_is_none_is_told_and_an_empty_one_is_not() -> None:
    assert [one.path for one in brining_faults({"brining": "often"})] == ["brining"]
    assert [*brining_faults({"brining": {"apart": []}})] == []
    assert [*brining_faults({})] == []


def test_a_right_table_has_no_fault_and_the_plan_carries_it() -> None:
    content = {"brining": TABLE | {"apart": ["SAB"]}, "species": SPECIES}
    assert [*brining_faults(content)] == []
    plan = plan_from(content)
    assert plan.brining == rule(apart=["SAB"])
    assert plan.brining.words == (
        "a batch is used for at most 3 loads; a load begins at most 4 h after the batch's first; "
        "SAB shares a batch with no other species"
    )
