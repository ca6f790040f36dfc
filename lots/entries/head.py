"""The book's head under the establishment's key, so that a chain recomputed later disagrees with it."""

import base64

from lots.entries.book import act, canonical
from lots.entries.sealing import ready_sealer
from lots.models.book import BookLine
from lots.models.house import Establishment
from lots.models.review import HeadSealed
from lots.queries.heads import head_content


def seal_head(house: Establishment, at: int) -> HeadSealed:
    """Seals the last line of the book, in the name of the book.

    Raises:
        Refused: the key cannot seal; nothing was written, and the next sealing covers this line too.
    """
    sealer = ready_sealer(house, at)
    with act("head sealed", None, at) as writing:
        head = BookLine.objects.get(pk=writing.number - 1)
        content = head_content(house.name, head.number, head.digest, at, sealer.fingerprint)
        signature = base64.b64encode(sealer.sign(canonical(content).encode())).decode()
        row = writing.write(
            HeadSealed(
                head=head,
                head_digest=head.digest,
                seal=canonical({**content, "signature": signature}),
            )
        )
        writing.say(head=head.number)
    return row
