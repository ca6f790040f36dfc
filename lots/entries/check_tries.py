"""How often files were given to be checked from an address: the page is open to everybody."""

from django.db import transaction

from lots.entries.refusals import Refused
from lots.models.scratch import CheckTry
from lots.queries.house import rules


def count_check(address: str, at: int) -> None:
    """Counts one more file from the address, or refuses where there were too many of late."""
    most, within = rules().check_tries, rules().check_within_ms
    with transaction.atomic():
        CheckTry.objects.filter(at__lte=at - within).delete()
        if CheckTry.objects.filter(address=address).count() >= most:
            minutes = -(-within // 60_000)
            raise Refused(
                f"{most} files were checked from here within {minutes} minutes. Wait a little, or check "
                "on a machine of your own: python -m lots.pdf.check FILE."
            )
        CheckTry.objects.create(address=address, at=at)
