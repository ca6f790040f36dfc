"""The book's head, sealed after what a person signed."""

import logging

from django.contrib import messages

from lots.entries.head import seal_head
from lots.entries.refusals import Refused
from lots.views.base import HouseRequest

log = logging.getLogger("lots")


def seal_the_head(request: HouseRequest) -> None:
    """After a review or a release: what was signed stands whether the head can be sealed or not, and
    the page says which.  The next sealing covers this line too."""
    try:
        seal_head(request.house, request.now_ms)
    except Refused as refusal:
        _say_not_sealed(request, str(refusal))
    except Exception:
        log.exception("the head of the book could not be sealed")
        _say_not_sealed(request, "The program failed; its log says more.")


def _say_not_sealed(request: HouseRequest, why: str) -> None:
    messages.warning(
        request,
        f"What you signed stands, but the head of the book was not sealed with it. {why} The next review "
        "or release seals this too.",
    )
