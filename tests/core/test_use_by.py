"""How long a pack may be used: read from a plan's text, and what bars a plan about it."""

import pytest

from lots.core.units import BadQuantity
from lots.core.use_by import keeps_for, listed, use_by_faults

SOURCED = {"use_by_source": "own tests", "use_by_flag": "to be confirmed"}
THAWED = {"use_by_thawed_source": "own tests", "use_by_thawed_flag": "to be confirmed"}
FROZEN = {
    "pack": "vacuum", "storage": "frozen", "use_by": "6 months", "use_by_from": "packing",
    "use_by_thawed": "5 days",
} | SOURCED | THAWED  # fmt: skip
CHILLED = {
    "pack": "vacuum", "storage": "chilled", "use_by": "21 days", "use_by_from": "smoking",
} | SOURCED  # fmt: skip


@pytest.mark.parametrize(
    ("text", "count", "unit"),
    [
        ("14 days", 14, "days"),
        ("1 day", 1, "days"),
        ("3 weeks", 21, "days"),
        ("6 months", 6, "months"),
        (" 1  year ", 12, "months"),
        ("2 Weeks", 14, "days"),
    ],
)
def test_a_time_on_the_calendar_is_read(text: str, count: int, unit: str) -> None:
    found = keeps_for(text)
    assert (found.count, found.unit) == (count, unit)


@pytest.mark.parametrize(
    "text",
    ["", "14", "days", "0 days", "-3 days", "1.5 months", "48 h", "6 months 2 days", "forever"],
)
def test_what_cannot_be_counted_on_a_calendar_is_refused(text: str) -> None:
    with pytest.raises(BadQuantity, match="calendar"):
        keeps_for(text)


@pytest.mark.parametrize("text", ["11 years", "3701 days", "120 months"])
def test_a_time_longer_than_any_pack_keeps_is_refused(text: str) -> None:
    with pytest.raises(BadQuantity, match="longer than any pack"):
        keeps_for(text)


@pytest.mark.parametrize(
    ("one", "other", "shorter"),
    [
        ("5 days", "6 months", True),
        ("27 days", "1 month", True),
        ("28 days", "1 month", False),  # a February has no more
        ("1 month", "32 days", True),
        ("1 month", "31 days", False),
        ("11 months", "1 year", True),
        ("12 months", "1 year", False),
        ("2 weeks", "15 days", True),
    ],
)
def test_a_time_is_shorter_only_where_it_is_in_every_month(
    one: str, other: str, shorter: bool
) -> None:
    assert keeps_for(one).shorter_than(keeps_for(other)) is shorter


@pytest.mark.parametrize("product", [FROZEN, CHILLED])
def test_a_product_that_says_all_of_it_has_no_fault(product: dict[str, str]) -> None:
    assert list(use_by_faults(product)) == []


def test_an_old_plan_that_says_nothing_of_it_has_no_fault_unless_it_is_chilled_without_air() -> (
    None
):
    assert list(use_by_faults({"pack": "vacuum", "storage": "frozen"})) == []
    assert list(use_by_faults({"pack": "air", "storage": "chilled"})) == []


CASES: dict[str, tuple[dict[str, str], str, str]] = {
    "a chilled vacuum pack without one": (CHILLED | {"use_by": ""}, "use_by", "needs a use-by date"),
    "another pack without air without one": (
        CHILLED | {"use_by": "", "pack": "other reduced oxygen"}, "use_by", "needs a use-by date"
    ),
    "a time that cannot be read": (CHILLED | {"use_by": "3"}, "use_by", "calendar"),
    "no beginning": (CHILLED | {"use_by_from": ""}, "use_by_from", "smoking, packing"),
    "another beginning": (CHILLED | {"use_by_from": "freezing"}, "use_by_from", "smoking, packing"),
    "no source": (CHILLED | {"use_by_source": ""}, "use_by_source", "comes from"),
    "no flag": (CHILLED | {"use_by_flag": "sure"}, "use_by_flag", "to be confirmed"),
    "thawed as long as frozen": (FROZEN | {"use_by_thawed": "6 months"}, "use_by_thawed", "shorter"),
    "thawed longer than frozen": (FROZEN | {"use_by_thawed": "1 year"}, "use_by_thawed", "shorter"),
    "a time once thawed that cannot be read": (
        FROZEN | {"use_by_thawed": "soon"}, "use_by_thawed", "calendar"
    ),
    "a chilled pack that would be thawed": (
        CHILLED | {"use_by_thawed": "5 days"} | THAWED, "use_by_thawed", "not thawed"
    ),
    "only a time once thawed": (FROZEN | {"use_by": ""}, "use_by", "before it is thawed"),
    "thawed without source": (FROZEN | {"use_by_thawed_source": ""}, "use_by_thawed_source", "comes from"),
    "thawed without flag": (FROZEN | {"use_by_thawed_flag": ""}, "use_by_thawed_flag", "one of"),
}  # fmt: skip


@pytest.mark.parametrize(("product", "key", "words"), CASES.values(), ids=CASES)
def test_each_fault_stands_beside_its_field_and_says_what_to_do(
    product: dict[str, str], key: str, words: str
) -> None:
    [fault] = use_by_faults(product)
    assert fault.path == f"product.{key}"
    assert words in fault.text


def test_what_a_text_lists_is_told_apart_by_commas_but_not_inside_brackets() -> None:
    text = "salt, brown  sugar;\nspice (pepper, bay), salt."
    assert listed(text) == ("salt", "brown sugar", "spice (pepper, bay)")
    assert listed("  ") == ()
