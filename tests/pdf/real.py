"""A record made through entries, as a kept book of an invented house holds it: two sides, a logger's
series with a reading put right, a deviation with its action, and all that its verdicts rest on."""

from functools import lru_cache
from io import BytesIO
from pathlib import Path

import pikepdf

from lots.core.record import LotRecord, record_from
from lots.pdf.attached import attachments
from lots.pdf.render import ATTACHMENT, render

WARM = Path(__file__).parents[1] / "books" / "5" / "warm.pdf"


@lru_cache
def real_record() -> LotRecord:
    with pikepdf.open(BytesIO(WARM.read_bytes())) as file:
        return record_from(attachments(file)[ATTACHMENT])


@lru_cache
def unsealed() -> bytes:
    return render(real_record())
