"""The core's code holds no number of a rule: only 0, 1, 2 and named constants that say what they are."""

import ast
from pathlib import Path

CORE = Path(__file__).parents[2] / "lots" / "core"
PLAIN = {0, 1, 2}


def _named(tree: ast.Module) -> set[ast.AST]:
    """Everything inside the value of a module-level CONSTANT, and the pattern of a regex."""
    inside: set[ast.AST] = set()
    for node in tree.body:
        if isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            names = [t.id for one in targets for t in ast.walk(one) if isinstance(t, ast.Name)]
            if all(name.strip("_").isupper() for name in names):
                inside.update(ast.walk(node))
    return inside


def test_the_core_holds_no_number_without_a_name() -> None:
    found = []
    for file in sorted(CORE.glob("*.py")):
        tree = ast.parse(file.read_text())
        named = _named(tree)
        found += [
            f"{file.name}:{node.lineno}: {node.value}"
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant)
            and isinstance(node.value, int | float)
            and not isinstance(node.value, bool)
            and node.value not in PLAIN
            and node not in named
        ]
    assert found == []


def test_the_test_sees_a_number_without_a_name() -> None:
    tree = ast.parse("LIMIT = 40\ndef f(x):\n    return x > 40\n")
    named = _named(tree)
    loose = [n for n in ast.walk(tree) if isinstance(n, ast.Constant) and n not in named]
    assert [n.lineno for n in loose] == [3]
