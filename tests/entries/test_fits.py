"""What not every database keeps is refused in words, on each of them alike."""

import pytest
from django.db import transaction

from lots.entries.fits import check_fits
from lots.entries.load import end_load
from lots.entries.note import write_note
from lots.entries.refusals import Refused
from lots.models.house import Place
from lots.models.kept import KEPT
from lots.models.lot import LotFinish, Note
from tests.make import Book, moment, seen


def refused(row: object) -> dict[str, str]:
    with pytest.raises(Refused) as refusal:
        check_fits(row)  # type: ignore[arg-type]
    return refusal.value.fields


@pytest.mark.parametrize("sign", ["\0", "\ud800"])
def test_a_sign_that_is_no_letter_is_refused(sign: str, book: Book) -> None:
    with pytest.raises(Refused, match="no letter"):
        write_note(book.operator, None, None, f"salt{sign}ed", seen("10:00"))
    assert not Note.objects.exists()


def test_a_text_as_long_as_its_column_is_kept_and_one_longer_is_refused(book: Book) -> None:
    check_fits(Place(name="x" * 80, kind="table"))
    assert refused(Place(name="x" * 81, kind="table")) == {
        "name": "The name has 81 letters with all that goes into it; 80 can be kept. Shorten it."
    }


def test_letters_are_counted_and_not_bytes(book: Book) -> None:
    line = book.operator.line
    with transaction.atomic():
        Place(name="é" * 80, kind="table", line=line).save()  # or the database itself refuses it


def test_two_texts_that_go_into_one_column_are_told_of_together(book: Book) -> None:
    """A reason of 300 letters and a late reason of 300 are each right, and together too long."""
    load = book.start("hold", "Cooler", "08:00", book.open_lot())
    book.end(load, "08:30")
    late = seen("08:20", "09:30", "l" * 200)
    with pytest.raises(Refused) as refusal:
        end_load(book.operator, load, late, correct_because="r" * 200)
    assert refusal.value.fields == {
        "reason": "The reason has 402 letters with all that goes into it; 300 can be kept. Shorten it."
    }


def test_a_number_beyond_its_column_is_refused(book: Book) -> None:
    row = LotFinish(packed_g=1, packs=2**31, finished_at=moment("10:00"), entered_at=0)
    assert list(refused(row)) == ["packs"]
    check_fits(LotFinish(packed_g=2**63 - 1, packs=2**31 - 1, finished_at=0, entered_at=0))
    assert list(refused(LotFinish(packed_g=2**63, packs=0, finished_at=0, entered_at=0))) == [
        "packed_g"
    ]


def test_no_kept_column_is_of_a_kind_that_is_not_looked_at() -> None:
    """Text, whole numbers, yes or no, bytes, and the numbers of other rows: nothing else is kept."""
    kinds = {field.get_internal_type() for model in KEPT for field in model._meta.concrete_fields}
    assert kinds == {
        "AutoField", "BigIntegerField", "BinaryField", "BooleanField", "CharField", "ForeignKey",
        "OneToOneField", "PositiveIntegerField", "TextField",
    }  # fmt: skip
