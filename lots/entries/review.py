"""Review of the shift's records, lot by lot, and the release of a lot."""

from collections.abc import Mapping, Sequence

from lots.entries.book import Act, act
from lots.entries.judging import keep_judgements
from lots.entries.lapses import notice_lapses
from lots.entries.refusals import Changed, Refused
from lots.entries.signing import require, require_training, sign
from lots.models.book import BookLine
from lots.models.lot import Lot
from lots.models.people import Person, Right
from lots.models.review import Release, ReleaseQuantity, Review
from lots.queries.house import say_weight
from lots.queries.judgements import judge_lot
from lots.queries.lineage import balance
from lots.queries.release import (
    bars,
    decided_grams,
    last_line,
    newest_review,
    releasable_grams,
    unreviewed,
)
from lots.queries.use_by import thawed_past_g

QUANTITY_KINDS = ("release", "rework", "divert", "destroy", "recall")


def sign_reviews(
    reviewer: Person, lots: Sequence[tuple[Lot, int]], note: str, at: int
) -> list[Review]:
    """Signs what was made of each lot up to the line that the reviewer saw.

    Args:
        lots: each lot with the number of its last line as it stood on the reviewer's page.
    """
    require(reviewer, Right.REVIEWER)
    require_training(reviewer, Right.REVIEWER)
    if not lots:
        raise Refused({"lots": "Tick at least one lot."})
    notice_lapses([lot for lot, _ in lots], at)
    with act("records reviewed", reviewer, at) as writing:
        reviews = [_review(writing, reviewer, lot, seen, note, at) for lot, seen in lots]
        writing.say(lots_reviewed=[lot.code for lot, _ in lots])
    return reviews


def _review(writing: Act, reviewer: Person, lot: Lot, seen: int, note: str, at: int) -> Review:
    last = last_line(lot)
    if last is None:
        raise Refused(f"Lot {lot.code} has nothing to review.")
    if last.number != seen:
        raise Changed(
            f"Something was entered on lot {lot.code} since this page was shown. Look at it again."
        )
    own = any(line.person_id == reviewer.pk for line in unreviewed(lot))
    signature = sign(
        writing,
        reviewer,
        Right.REVIEWER,
        "monitoring and corrective action records reviewed",
        f"lot {lot.code} up to line {seen} of the book",
    )
    review = writing.write(
        Review(
            lot=lot,
            up_to=BookLine.objects.get(pk=seen),
            signature=signature,
            note=note.strip(),
            also_logged=own,
        )
    )
    keep_judgements(writing, lot, at)
    writing.concerns(lot)
    return review


def release_lot(
    reviewer: Person,
    lot: Lot,
    quantities: Mapping[str, int],
    note: str,
    at: int,
    storage: str = "",
) -> Release:
    """Releases a lot once nothing stands against it; quantities by disposition add up to the lot.
    `storage` says how it is kept from now on.

    It says that each limit was met or its deviation ended by a person, never that the fish is safe.
    """
    require(reviewer, Right.REVIEWER)
    require_training(reviewer, Right.REVIEWER)
    notice_lapses([lot], at)
    with act("lot released", reviewer, at) as writing:
        lot = Lot.objects.select_related("plan_version", "voided", "finish").get(pk=lot.pk)
        if Release.objects.filter(lot=lot).exists():
            raise Changed(f"Lot {lot.code} is already released.")
        against = bars(lot, at, judge_lot(lot, at, anew=True))
        if against:
            raise Refused("Not released. What stands against it: " + "; ".join(against) + ".")
        _check_quantities(lot, quantities)
        _check_thawed(lot, quantities, at)
        signature = sign(
            writing, reviewer, Right.REVIEWER, "lot released for distribution", f"lot {lot.code}"
        )
        review = newest_review(lot)
        assert review is not None
        release = writing.write(
            Release(
                lot=lot,
                review=review,
                signature=signature,
                storage=storage.strip(),
                note=note.strip(),
            )
        )
        for kind, grams in quantities.items():
            if grams:
                writing.write(ReleaseQuantity(release=release, kind=kind, grams=grams))
        keep_judgements(writing, lot, at)
        writing.concerns(lot)
        writing.say(code=lot.code)
    return release


def _check_quantities(lot: Lot, quantities: Mapping[str, int]) -> None:
    packed = balance(lot).packed or 0
    total = sum(quantities.values())
    if any(grams < 0 for grams in quantities.values()):
        raise Refused({"release": "A weight below nothing cannot be."})
    if total != packed:
        raise Refused(
            {
                "release": f"The quantities add up to {say_weight(total)}, but {say_weight(packed)} was "
                "packed. They must agree."
            }
        )
    if not quantities.get("release"):
        raise Refused({"release": "Nothing would be released. Decide at the deviation instead."})
    allowed = releasable_grams(lot)
    if allowed is not None and quantities["release"] > allowed:
        raise Refused(
            {"release": f"Its deviations let go {say_weight(allowed)} at most; the rest was decided "
            "otherwise."}
        )  # fmt: skip
    decided = decided_grams(lot)
    for kind, grams in decided.items():
        if quantities.get(kind, 0) < min(grams, packed):
            raise Refused(
                {kind: f"A deviation ended in {kind} of {say_weight(grams)}; this says less."}
            )


def _check_thawed(lot: Lot, quantities: Mapping[str, int], at: int) -> None:
    """Refuses to let go packs that were thawed and are past their day."""
    past = thawed_past_g(lot, at)
    if past and quantities.get("release", 0) > (balance(lot).packed or 0) - past:
        raise Refused(
            {"release": f"{say_weight(past)} of it was thawed and is past its use-by date since: that much "
            "may not be released."}
        )  # fmt: skip
