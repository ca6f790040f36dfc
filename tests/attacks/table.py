"""The table that a run of the attacks prints: what was tried, and what caught it."""

from collections.abc import Iterable
from textwrap import shorten

NOT_FOUND = "not found"
WIDE = 110


def print_table(title: str, rows: Iterable[tuple[str, str]]) -> None:
    """One line an attack, as a person reads it."""
    print(f"\n{title}")
    for attack, caught in rows:
        print(f"  {attack:<62} {shorten(caught, WIDE, placeholder=' …')}")
