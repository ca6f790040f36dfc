"""What an entry refuses, in words, and beside which field.  A refused entry writes nothing."""

from collections.abc import Mapping
from hashlib import sha256

USED = "This page was already used for another entry. Open it again."


class Refused(Exception):
    """The act cannot be taken into the book.

    Args:
        fields: field name → what is wrong and what to do; "" for the act as a whole.
    """

    def __init__(self, fields: Mapping[str, str] | str) -> None:
        self.fields = {"": fields} if isinstance(fields, str) else dict(fields)
        super().__init__("; ".join(self.fields.values()))


class Unlikely(Refused):
    """The figure is possible but unlikely: it goes in once the person says that it does read so."""

    @property
    def mark(self) -> str:
        """A name of these very words, so that a yes to them is never taken for a yes to others."""
        return sha256(repr(sorted(self.fields.items())).encode()).hexdigest()[:16]


class NotAllowed(Refused):
    """The person lacks the right."""


class Changed(Refused):
    """Somebody else was quicker: what the person saw is no longer so."""
