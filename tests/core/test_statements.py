"""What must stand on a pack, by jurisdiction and storage, and what a plan's own words say of it."""

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest

from lots.core.statements import (
    BadStatements,
    holds,
    statement_faults,
    statements_from,
)

FIXTURES = Path(__file__).parents[2] / "fixtures"
FILE = tomllib.loads((FIXTURES / "statements.toml").read_text(encoding="utf-8"))
KNOWN = statements_from(FILE)
FROZEN = "Keep frozen. Thaw under refrigeration immediately before use."

SMALL: dict[str, Any] = {
    "jurisdiction": [{"name": "Land", "within": ""}, {"name": "Shire", "within": "Land"}],
    "statement": [
        {"jurisdiction": "Land", "storage": "chilled", "pack": "any", "text": "Keep cold.",
         "source": "an invented act", "flag": "published"},
        {"jurisdiction": "Shire", "storage": "chilled", "pack": "air", "text": "Keep at 3 °C.",
         "source": "an invented rule", "flag": "published"},
    ],
    "allergen": [{"name": "soybeans", "words": ["soy"], "source": "an invented act", "flag": "published"}],
}  # fmt: skip


def with_row(key: str, number: int, **fields: Any) -> dict[str, Any]:
    content = copy.deepcopy(SMALL)
    rows = content[key]
    rows[number:] = [(rows[number] if number < len(rows) else {}) | fields, *rows[number + 1 :]]
    return content


def test_the_nearest_jurisdiction_that_says_anything_of_such_a_pack_governs() -> None:
    small = statements_from(SMALL)
    near, far = small.asked("Shire", "chilled", False), small.asked("Shire", "chilled", True)
    assert near is not None and near.text == "Keep at 3 °C."
    assert far is not None and far.text == "Keep cold."
    assert small.asked("Shire", "frozen", True) is None
    assert small.asked("Elsewhere", "chilled", True) is None


@pytest.mark.parametrize(
    ("jurisdiction", "storage", "reduced", "words"),
    [
        # FDA guidance, ch. 13 (from memory)
        ("United States", "frozen", True, FROZEN),
        ("Maine", "frozen", True, FROZEN),
        # Maine 01-001 ch. 359 s. 2-3: storage at 38 °F
        ("Maine", "chilled", True, "Keep refrigerated at 38 °F or below."),
        # ATCP 70.18: reduced-oxygen packs of fish at 38 °F; of others it says nothing
        ("Wisconsin", "chilled", True, "Keep refrigerated at 38 °F or below."),
        ("Wisconsin", "chilled", False, "Keep refrigerated at 40 °F or below."),
        # 21 CFR 172.177: smoked chub, label and storage at 38 °F
        ("United States, smoked chub with nitrite", "chilled", True, "Keep refrigerated at 38 °F or below."),
        # from memory
        ("Michigan", "chilled", False, "Keep refrigerated at 38 °F or below."),
        ("New York", "chilled", True, "Keep refrigerated at 38 °F or below."),
    ],
)  # fmt: skip
def test_the_statements_that_are_kept_with_their_sources(
    jurisdiction: str, storage: str, reduced: bool, words: str
) -> None:
    found = KNOWN.asked(jurisdiction, storage, reduced)
    assert found is not None and found.text == words and found.source


def test_what_rests_on_memory_is_never_called_published() -> None:
    rows = [*KNOWN.statements, *KNOWN.allergens]
    assert [row for row in rows if "memory" in row.source and row.flag == "published"] == []


@pytest.mark.parametrize(
    ("written", "asked", "held"),
    [
        (FROZEN, FROZEN, True),
        ("KEEP FROZEN! Thaw under refrigeration, immediately before use", FROZEN, True),
        ("Keep frozen.", FROZEN, False),
        ("Do not keep frozen.", "Keep frozen.", False),
        (
            "Keep refrigerated at 38 °F (3.3 °C) or below.",
            "Keep refrigerated at 38 °F or below.",
            True,
        ),
        ("Keep refrigerated at 38°F or below", "Keep refrigerated at 38 °F or below.", True),
        ("Keep refrigerated at 40 °F or below.", "Keep refrigerated at 38 °F or below.", False),
        ("Keep refrigerated at 3,3 °C or below.", "Keep refrigerated at 3.3 °C or below.", True),
        ("", "Keep frozen.", False),
        ("Keepfrozen", "Keep frozen.", False),
    ],
)
def test_a_text_holds_a_statement_whatever_its_capitals_and_stops(
    written: str, asked: str, held: bool
) -> None:
    assert holds(written, asked) is held


def plan_saying(**product: str) -> dict[str, Any]:
    made = {
        "storage": "chilled",
        "pack": "air",
        "statement": "Keep at 3 °C (37 °F).",
        "jurisdiction": "Shire",
    }
    return {"product": made | product}


def faults_of(**product: str) -> list[tuple[str, str]]:
    found = statement_faults(plan_saying(**product), statements_from(SMALL))
    return [(fault.path, fault.text) for fault in found]


def test_a_plan_that_says_what_is_asked_has_no_fault() -> None:
    assert faults_of() == []
    assert faults_of(jurisdiction="", statement="") == []
    assert faults_of(storage="frozen", statement="Keep frozen.") == []


def test_a_plan_that_does_not_say_it_is_told_the_words_and_their_source() -> None:
    [(path, text)] = faults_of(statement="Keep cold.")
    assert path == "product.statement"
    assert "“Keep at 3 °C.”" in text and "an invented rule" in text and "say why" in text


def test_a_reason_is_taken_where_the_statement_is_to_be_confirmed() -> None:
    why = {"statement": "Keep cold.", "statement_why": "the Shire let us off in writing"}
    assert faults_of(**why, statement_flag="to be confirmed") == []
    [(path, text)] = faults_of(**why, statement_flag="published")
    assert path == "product.statement_flag" and "to be confirmed" in text


def test_an_unknown_jurisdiction_is_a_fault_that_names_the_known_ones() -> None:
    [(path, text)] = faults_of(jurisdiction="Elsewhere")
    assert path == "product.jurisdiction" and "Land, Shire" in text


UNREADABLE: dict[str, tuple[dict[str, Any], str, str]] = {
    "a jurisdiction without name": (with_row("jurisdiction", 2, name=""), "jurisdiction.2.name", "Name"),
    "a jurisdiction twice": (with_row("jurisdiction", 2, name="Land"), "jurisdiction.2.name", "Two"),
    "within nothing known": (with_row("jurisdiction", 1, within="Isle"), "jurisdiction.1.within", "Isle"),
    "of nothing known": (with_row("statement", 0, jurisdiction="Isle"), "statement.0.jurisdiction", "Land"),
    "no storage": (with_row("statement", 0, storage=""), "statement.0.storage", "chilled"),
    "no pack": (with_row("statement", 0, pack="tin"), "statement.0.pack", "air"),
    "no words": (with_row("statement", 0, text=" "), "statement.0.text", "words"),
    "no source": (with_row("statement", 0, source=""), "statement.0.source", "comes from"),
    "no flag": (with_row("statement", 0, flag="law"), "statement.0.flag", "published"),
    "the same packs twice": (
        with_row("statement", 2, **SMALL["statement"][0] | {"pack": "air"}), "statement.2", "keep one"
    ),
    "an allergen without words": (with_row("allergen", 0, words="soy"), "allergen.0.words", "list"),
    "an allergen without source": (with_row("allergen", 0, source=""), "allergen.0.source", "comes from"),
    "no list of rows": (SMALL | {"allergen": "soy"}, "allergen", "list of rows"),
}  # fmt: skip


@pytest.mark.parametrize(("content", "path", "words"), UNREADABLE.values(), ids=UNREADABLE)
def test_data_that_cannot_be_read_is_refused_with_the_row_and_what_is_wrong(
    content: dict[str, Any], path: str, words: str
) -> None:
    with pytest.raises(BadStatements) as refused:
        statements_from(content)
    assert [fault.path for fault in refused.value.faults] == [path]
    assert words in refused.value.faults[0].text


def test_jurisdictions_that_lie_within_each_other_are_refused() -> None:
    with pytest.raises(BadStatements, match="within itself"):
        statements_from(with_row("jurisdiction", 0, within="Shire"))


@pytest.mark.parametrize(
    ("name", "allergens"),
    [
        ("soy sauce", ("soybeans", "wheat")),
        ("Soya (fermented)", ("soybeans",)),
        ("buttermilk powder", ("milk",)),
        ("brown sugar", ()),
        ("salt", ()),
        ("soyless", ()),
    ],
)
def test_the_words_of_a_recipe_betray_allergens(name: str, allergens: tuple[str, ...]) -> None:
    assert KNOWN.allergens_in(name) == allergens
