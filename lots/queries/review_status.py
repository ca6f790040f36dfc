"""Which records of a lot were reviewed, by whom, and whether within a week of being made."""

from collections.abc import Iterable
from dataclasses import dataclass

from lots.models.book import BookLine, LineLot
from lots.models.lot import Lot
from lots.models.review import Review
from lots.queries.house import rules
from lots.queries.release import NOT_REVIEWED


@dataclass(frozen=True)
class Reviewed:
    """One review: how many lines it was of, and how long after the oldest of them it came."""

    review: Review
    lines: int
    after_ms: int

    @property
    def late_ms(self) -> int:
        """How much longer than the week it took; 0 where it was within it."""
        return max(0, self.after_ms - rules().review_within_ms)


@dataclass(frozen=True)
class ReviewStatus:
    """A lot with its reviews, oldest first, and what nobody has reviewed yet."""

    lot: Lot
    reviews: list[Reviewed]
    waiting: int
    deadline_at: int  # of the oldest line that waits; 0 where none does
    now: int

    @property
    def left_ms(self) -> int:
        return self.deadline_at - self.now

    @property
    def overdue_ms(self) -> int:
        """How long the oldest unreviewed line is past its week; 0 where it is not."""
        return max(0, self.now - self.deadline_at) if self.waiting else 0

    @property
    def in_time(self) -> bool:
        """Whether every review came within the week and nothing is past it now.

        Source: 21 CFR 123.8(a)(3), counted from the moment that each line was written.
        """
        return not self.overdue_ms and not any(one.late_ms for one in self.reviews)


def review_status(lots: Iterable[Lot], at: int) -> list[ReviewStatus]:
    """How the review of each of the lots stands, in the order given."""
    each = list(lots)
    numbers = [lot.pk for lot in each]
    lines: dict[int, list[BookLine]] = {number: [] for number in numbers}
    rows = LineLot.objects.filter(lot__in=numbers).exclude(line__kind__in=NOT_REVIEWED)
    for row in rows.select_related("line").order_by("line"):
        lines[row.lot_id].append(row.line)
    reviews: dict[int, list[Review]] = {number: [] for number in numbers}
    for review in Review.objects.filter(lot__in=numbers).select_related("signature").order_by("pk"):
        reviews[review.lot_id].append(review)
    return [_status(lot, lines[lot.pk], reviews[lot.pk], at) for lot in each]


def _status(lot: Lot, lines: list[BookLine], reviews: list[Review], at: int) -> ReviewStatus:
    done, first = [], 0
    for review in reviews:
        new = [line for line in lines if first < line.number <= review.up_to_id]
        oldest = min((line.at for line in new), default=review.signature.at)
        done.append(Reviewed(review, len(new), review.signature.at - oldest))
        first = max(first, review.up_to_id)
    waiting = [line for line in lines if line.number > first]
    oldest = min((line.at for line in waiting), default=0)
    deadline = oldest + rules().review_within_ms if waiting else 0
    return ReviewStatus(lot, done, len(waiting), deadline, at)
