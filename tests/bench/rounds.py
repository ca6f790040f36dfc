"""Two sides of a ratio measured in turn, so that the machine's noise falls on both."""

import gc
import statistics
import sys
import time
from collections.abc import Callable, Mapping

Act = Callable[[], object]


def took_ms(act: Act) -> float:
    """What one call takes, ms."""
    gc.collect()
    began = time.perf_counter()
    act()
    return 1000 * (time.perf_counter() - began)


def in_turn(acts: Mapping[str, Act], rounds: int, warm: int = 1) -> dict[str, float]:
    """The median of so many rounds of each act, ms; every round calls each of them once, in an order
    that turns with the rounds, and the first `warm` rounds are left out."""
    took: dict[str, list[float]] = {name: [] for name in acts}
    names = list(acts)
    for number in range(warm + rounds):
        turned = names if number % 2 else names[::-1]
        for name in turned:
            ms = took_ms(acts[name])
            if number >= warm:
                took[name].append(ms)
    return {name: statistics.median(each) for name, each in took.items()}


class Verdicts:
    """The figures of a bench held against what is promised; ends the process with 1 if one is over."""

    def __init__(self) -> None:
        self.over: list[str] = []

    def hold(self, what: str, figure: float, most: float, unit: str = "times") -> None:
        word = "ok" if figure <= most else "OVER"
        print(f"{figure:10.2f} {unit:5}  at most {most:g}  {word:4}  {what}")
        if figure > most:
            self.over.append(what)

    def leave(self) -> None:
        """Says what is over and ends the process."""
        for what in self.over:
            print(f"over: {what}")
        sys.exit(1 if self.over else 0)
