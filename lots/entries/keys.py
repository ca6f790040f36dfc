"""A sealing key in place of the one before: made anew after loss or exposure, or taken from outside."""

from lots.entries.book import act
from lots.entries.refusals import Refused
from lots.entries.sealing import KIND, key_row, seal_folder
from lots.entries.signing import require
from lots.models.people import Person, Right
from lots.models.sealing import SealKey
from lots.pdf.key import NewKey, install


def replace_key(person: Person, new: NewKey, reason: str, at: int) -> SealKey:
    """Makes the new key the one that seals.  The certificate of the one before stays trusted for what
    it sealed; its key is thrown away.  The person's password was asked for before."""
    require(person, Right.KEEPER)
    if not reason.strip():
        raise Refused({"reason": "Say why: lost, exposed, or what else."})
    with act(KIND, person, at) as writing:
        if SealKey.objects.filter(fingerprint=new.fingerprint).exists():
            raise Refused("The book knows this certificate already. Make or ask for a new one.")
        row = writing.write(key_row(new, reason.strip(), at))
        writing.say(fingerprint=new.fingerprint, reason=reason.strip())
        install(seal_folder(), new)
    return row
