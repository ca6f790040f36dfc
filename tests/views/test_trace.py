"""From a lot's code or a supplier's lot, back and forth."""

import pytest
from django.test import Client

from lots.entries.lot import destroy_part, merge_lots, split_lot
from lots.entries.review import release_lot, sign_reviews
from lots.queries.release import last_line
from tests.entries.roads import finished
from tests.make import Book, moment
from tests.views.test_logger_upload import come


@pytest.fixture(autouse=True)
def evening(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: moment("21:00"))


def page(client: Client, words: str) -> str:
    return client.get("/trace/", {"q": words}).content.decode()


def test_a_merged_lot_is_traced_back_through_the_splits(book: Book, client: Client) -> None:
    one, two = book.open_lot("TR-1"), book.open_lot("TR-2", supplier_lot="ISF-200")
    part = split_lot(book.operator, one, "TR-1B", 6_000, "two racks", moment("08:00"))
    merge_lots(book.operator, [(part, 6_000), (two, 4_500)], "TR-9", "ends", moment("09:00"))
    come(client, book.inspector)
    found = page(client, "TR-9")
    assert "Fish that came into it from other lots" in found
    for code, weight in (("TR-1", "6 kg"), ("TR-1B", "6 kg"), ("TR-2", "4.5 kg")):
        assert f"q={code}" in found
        assert weight in found
    assert "as TR-1</span>" in found  # it stood at the dock as the lots it came from
    forward = page(client, "TR-1")
    assert "Fish that went on into other lots" in forward
    assert "q=TR-9" in forward
    assert "q=TR-1B" in forward


def test_a_suppliers_lot_leads_to_every_lot_made_of_it(book: Book, client: Client) -> None:
    book.open_lot("TR-1", supplier_lot="ISF-200")
    book.open_lot("TR-2", supplier_lot="ISF-200")
    book.open_lot("TR-3", supplier_lot="ISF-999")
    come(client, book.inspector)
    found = page(client, "ISF-200")
    assert "q=TR-1" in found
    assert "q=TR-2" in found
    assert "TR-3" not in found
    assert "q=TR-2" in page(client, "TR-1")  # the same delivery


def test_loads_say_with_which_lots_they_were_shared(book: Book, client: Client) -> None:
    one, two = book.open_lot("TR-1"), book.open_lot("TR-2")
    book.start("hold", "Cooler", "08:00", one, two)
    found = page(come(client, book.inspector), "TR-1")
    assert "stands there now" in found
    assert "q=TR-2" in found


def test_what_was_released_and_destroyed_is_on_the_page(book: Book, client: Client) -> None:
    lot = finished(book)
    last = last_line(lot)
    assert last is not None
    sign_reviews(book.reviewer, [(lot, last.number)], "", moment("20:40"))
    release_lot(book.reviewer, lot, {"release": 17_000, "divert": 1_000}, "", moment("20:45"))
    other = book.open_lot("TR-7", at="20:50")
    destroy_part(book.operator, other, 1_500, "fell on the floor", moment("20:55"))
    come(client, book.inspector)
    found = page(client, "TR-1")
    assert "release: 17 kg" in found
    assert "divert: 1 kg" in found
    assert "fell on the floor" in page(client, "TR-7")


def test_nothing_found_says_so_and_keeps_the_words(book: Book, client: Client) -> None:
    found = page(come(client, book.inspector), "<nothing>")
    assert "Nothing found for “&lt;nothing&gt;”" in found
    assert 'value="&lt;nothing&gt;"' in found


def test_several_lots_are_listed_and_a_whole_code_is_traced(book: Book, client: Client) -> None:
    book.open_lot("TR-1")
    book.open_lot("TR-10")
    come(client, book.inspector)
    assert "Lots found" in page(client, "TR")
    whole = page(client, "TR-1")
    assert "Where it came from" in whole
    assert "Others that match" in whole


def test_a_merged_lot_names_every_supplier_with_its_weight(book: Book, client: Client) -> None:
    one = book.open_lot("A", supplier="First Invented Farm", supplier_lot="F-1")
    two = book.open_lot("B", supplier="Second Invented Farm", supplier_lot="S-2")
    merge_lots(book.operator, [(one, 12_000), (two, 8_000)], "M", "", moment("08:00"))
    come(client, book.inspector)
    said = page(client, "M")
    assert "First Invented Farm, lot F-1: 12 kg as A" in said
    assert "Second Invented Farm, lot S-2: 8 kg as B" in said
