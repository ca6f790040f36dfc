"""What the folds share: a step's part in time, and what a rule's readings show at a moment."""

from dataclasses import dataclass, field
from typing import Any, Final

from lots.core.limits import Verdict
from lots.core.units import TempUnit

State = dict[str, Any]
UNITS: Final[tuple[TempUnit, TempUnit]] = ("C", "F")


@dataclass(frozen=True, slots=True)
class Span:
    """A step's part in time: from start to end (None while it runs), ms UTC.

    `counted_end` is the end that "at least" durations count to when the end was entered late, and
    `counted_start` the start that they count from when the start was; `before_end` is when the step
    before ended.
    """

    start: int
    end: int | None = None
    counted_end: int | None = None
    before_end: int | None = None
    counted_start: int | None = None

    def over(self, at: int) -> bool:
        """Whether the step is over at that moment."""
        return self.end is not None and self.end <= at

    def until(self, at: int) -> int:
        """That moment, or the step's end if it came earlier."""
        return at if self.end is None else min(at, self.end)


@dataclass(frozen=True, slots=True)
class Finding:
    """What a rule's readings show at a moment: the verdict and the conservative figure it rests on.

    broke_at: the moment the limit first broke; last_broke_at: the newest such moment; breaches: how
    often; next_at: when time alone would change the verdict; numbers: figures in ms (`margin`: the
    least distance from a bound, in ninths, below 0 outside it).
    """

    verdict: Verdict
    figure: str
    figure_at: int | None = None
    broke_at: int | None = None
    last_broke_at: int | None = None
    breaches: int = 0
    next_at: int | None = None
    estimate: str = ""
    why: str = ""
    numbers: dict[str, int] = field(default_factory=dict)
    no_evidence: bool = False  # a deviation because nothing shows it met, not because it was broken
    adjust: str = ""  # how the operating limit is exceeded, whatever the critical limit shows
    probe: str = ""  # whose series governs, where there are several


def nothing(span: Span, at: int, what: str = "no reading") -> Finding:
    if span.over(at):
        return Finding(
            Verdict.DEVIATION,
            what,
            None,
            span.end,
            span.end,
            1,
            why="the step is over without it",
            no_evidence=True,
        )
    return Finding(Verdict.PENDING, f"{what} yet")
