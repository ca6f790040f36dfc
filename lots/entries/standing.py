"""A lot as it stands now, for an act that it must not be voided for."""

from lots.entries.refusals import Refused
from lots.models.lot import Lot


def standing(lot: Lot) -> Lot:
    """The lot read anew.

    Raises:
        Refused: it was voided.
    """
    lot = Lot.objects.select_related("plan_version", "voided", "finish").get(pk=lot.pk)
    if hasattr(lot, "voided"):
        raise Refused(f"Lot {lot.code} was voided: {lot.voided.reason}")
    return lot
