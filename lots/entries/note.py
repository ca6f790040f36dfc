"""A note: something worth keeping that is no reading."""

from lots.entries.book import act, already, taken_once
from lots.entries.moments import Moments
from lots.entries.refusals import Refused
from lots.entries.signing import require
from lots.models.lot import Load, LoadPart, Lot, Note
from lots.models.people import Person, Right

LONGEST = 2000


@taken_once
def write_note(
    person: Person,
    load: Load | None,
    lot: Lot | None,
    text: str,
    when: Moments,
    client_key: str | None = None,
) -> Note:
    """Keeps a note about a load, a lot, or (with neither) the house."""
    require(person, Right.OPERATOR)
    done = already(client_key, "note written", person)
    if done is not None:
        return Note.objects.get(line=done)
    plain = text.strip()
    if not plain:
        raise Refused({"text": "Write the note."})
    if len(plain) > LONGEST:
        raise Refused({"text": f"A note has at most {LONGEST} letters; this one has {len(plain)}."})
    when.check_to_come()
    with act("note written", person, when.recorded_at, client_key) as writing:
        if load is not None:
            parts = LoadPart.objects.filter(load=load).values_list("lot", flat=True)
            writing.concerns(*parts)
        if lot is not None:
            writing.concerns(lot)
        writing.say(**when.said())
        return writing.write(
            Note(
                load=load,
                lot=lot,
                text=plain,
                observed_at=when.observed_at,
                entered_at=when.entered_at,
            )
        )
