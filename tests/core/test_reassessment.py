"""Which changes of a plan could bear on the hazards: 21 CFR 123.8(a)(1)."""

import copy
from typing import Any

import pytest

from lots.core.reassessment import bearing

BEFORE: dict[str, Any] = {
    "product": {
        "name": "Trout",
        "use_by": "6 months",
        "ingredients": "salt",
        "jurisdiction": "Maine",
    }
}


@pytest.mark.parametrize(
    ("field", "text", "found"),
    [
        ("use_by", "7 months", ("pack",)),
        ("use_by_from", "smoking", ("pack",)),
        ("use_by_thawed", "5 days", ("pack",)),
        ("jurisdiction", "New York", ("pack",)),
        ("statement_why", "let off", ("pack",)),
        ("ingredients", "salt, sodium nitrite", ("material",)),  # product formulation
        ("use_by_source", "our own tests", ()),
        ("use_by", " 6 months ", ()),
    ],
)
def test_a_change_of_use_by_or_ingredients_bears_on_the_hazards_and_one_of_its_source_does_not(
    field: str, text: str, found: tuple[str, ...]
) -> None:
    now = copy.deepcopy(BEFORE)
    now["product"][field] = text
    assert bearing(BEFORE, now) == found
