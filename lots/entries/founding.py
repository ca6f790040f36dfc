"""The one-time code that proves that whoever founds the house can see the server's console.

Only its digest is kept, in the data folder; it is gone once the house is founded.
"""

import hashlib
import hmac
import os
import secrets
from pathlib import Path
from typing import Final

from django.conf import settings

LETTERS: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # none that looks like another
LENGTH: Final = 16


def _file() -> Path:
    return Path(settings.DATA_DIR) / "founding_code"


def _digest(code: str) -> str:
    plain = "".join(code.split()).replace("-", "").upper()
    return hashlib.sha256(plain.encode()).hexdigest()


def new_founding_code() -> str:
    """A new code to print; the one before it stops working."""
    code = "".join(secrets.choice(LETTERS) for _ in range(LENGTH))
    forget_founding_code()
    descriptor = os.open(_file(), os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w") as file:
        file.write(_digest(code))
    return "-".join(code[at : at + 4] for at in range(0, LENGTH, 4))


def founding_code_stands() -> bool:
    """Whether a code was printed and not yet used."""
    return _file().exists()


def founding_code_is(code: str) -> bool:
    return founding_code_stands() and hmac.compare_digest(_file().read_text(), _digest(code))


def forget_founding_code() -> None:
    _file().unlink(missing_ok=True)
