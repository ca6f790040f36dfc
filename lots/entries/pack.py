"""Packs after they are made: frozen ones thawed, from when on they keep for a shorter time."""

from lots.core.units import MS_PER_MIN
from lots.entries.book import act, already, taken_once
from lots.entries.lapses import notice_lapses
from lots.entries.moments import Moments
from lots.entries.refusals import Refused
from lots.entries.signing import require
from lots.models.lot import Lot
from lots.models.people import Person, Right
from lots.models.salt import Thawed
from lots.queries.house import say_weight
from lots.queries.lineage import packs_in_hand
from lots.queries.plans import plan_value
from lots.queries.release import decided_grams
from lots.queries.use_by import thawed_g


@taken_once
def thaw_packs(
    person: Person,
    lot: Lot,
    grams: int,
    reason: str,
    when: Moments,
    client_key: str | None = None,
) -> Thawed:
    """Keeps that frozen packs of a finished lot were thawed: a new and shorter time to use them by
    begins.  Refused for a lot that is kept chilled, before it is packed, and beyond the packs that are
    still frozen: what was thawed is not thawed again.

    Args:
        grams: what was thawed.
        reason: why, in words.
        when: observed when it came out of the freezer.
    """
    require(person, Right.OPERATOR)
    done = already(client_key, "packs thawed", person)
    if done is not None:
        return Thawed.objects.get(line=done)
    when.check("thawed_at")
    notice_lapses([lot], when.recorded_at)
    with act("packs thawed", person, when.recorded_at, client_key) as writing:
        rows = Lot.objects.select_related("plan_version", "voided", "finish", "release")
        lot = rows.get(pk=lot.pk)
        _check_thaw(lot, grams, reason, when)
        row = writing.write(
            Thawed(
                lot=lot,
                grams=grams,
                at=when.observed_at,
                entered_at=when.entered_at,
                reason=". ".join(filter(None, [reason.strip(), when.late_reason.strip()])),
            )
        )
        writing.concerns(lot)
        writing.say(code=lot.code, **when.said())
    return row


def _check_thaw(lot: Lot, grams: int, reason: str, when: Moments) -> None:
    _check_lot(lot)
    wrong: dict[str, str] = {}
    if text := _wrong_grams(lot, grams):
        wrong["grams"] = text
    if not reason.strip():
        wrong["reason"] = "Say why it was thawed, such as for the shop's counter."
    if when.observed_at < lot.finish.finished_at - lot.finish.finished_at % MS_PER_MIN:
        wrong["thawed_at"] = (
            "This is before the lot was finished. Type when it came out of the freezer."
        )
    if wrong:
        raise Refused(wrong)


def _check_lot(lot: Lot) -> None:
    if hasattr(lot, "voided"):
        raise Refused(f"Lot {lot.code} was voided: {lot.voided.reason}")
    if plan_value(lot.plan_version).product.storage != "frozen":
        raise Refused(
            f"Lot {lot.code} is kept chilled by its plan: there is nothing frozen to thaw."
        )
    if not hasattr(lot, "finish"):
        raise Refused(
            f"Lot {lot.code} is not packed yet: only packs are thawed here. Finish the lot first."
        )


def _wrong_grams(lot: Lot, grams: int) -> str:
    """Why so much cannot have been thawed; "" where it can."""
    there = packs_in_hand(lot)
    if not hasattr(lot, "release"):
        there -= sum(decided_grams(lot).values())
    thawed = thawed_g(lot)
    left = max(0, there - thawed)
    if grams <= 0:
        return "Type a weight of more than nothing."
    if thawed and not left:
        return f"All of it, {say_weight(thawed)}, was thawed already: what was thawed is not thawed again."
    if grams > left:
        so_far = f", after {say_weight(thawed)} that was thawed already" if thawed else ""
        return (
            f"Only {say_weight(left)} of lot {lot.code} is there to thaw{so_far}. Check the weight."
        )
    return ""
