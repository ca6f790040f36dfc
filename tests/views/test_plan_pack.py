"""The plan's page of the product: use-by dates, ingredients, and the statement that its jurisdiction asks."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from lots.entries.book import sha256
from lots.models.plan import Plan
from lots.queries.plans import bars, plan_value
from tests.make import PASSWORD, Book
from tests.packs import FROZEN, under
from tests.views.pages import as_person
from tests.views.test_plans import NOW, beside, draft_of, kept, page, send, words


@pytest.fixture(autouse=True)
def _clock(clock: Callable[[str], int], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: NOW)


@pytest.fixture
def cora(book: Book) -> Client:
    return as_person(book.coordinator)


def test_what_was_typed_of_use_and_ingredients_is_stored_and_an_emptied_field_goes(
    book: Book, cora: Client
) -> None:
    draft = draft_of(book)
    typed = {"product__use_by": "4 months", "product__use_by_from": "smoking"}
    send(cora, draft, "product", **typed, product__ingredients="salt, honey")
    product = kept(draft)["product"]
    assert (product["use_by"], product["use_by_from"]) == ("4 months", "smoking")
    assert product["ingredients"] == "salt, honey"
    send(cora, draft, "product", product__use_by_thawed="", product__ingredients="")
    assert "use_by_thawed" not in kept(draft)["product"]
    assert "ingredients" not in kept(draft)["product"]


@pytest.mark.parametrize(
    ("field", "text", "told"),
    [
        ("use_by", "half a year", "cannot be counted on a calendar"),
        ("use_by_thawed", "7 months", "once thawed it must be shorter"),
        ("use_by_from", "", "smoking, packing"),
        ("statement", "Keep it cold.", "Keep frozen. Thaw under refrigeration immediately before use."),
    ],
)  # fmt: skip
def test_a_fault_stands_beside_its_field_until_it_is_put_right(
    book: Book, cora: Client, field: str, text: str, told: str
) -> None:
    draft = draft_of(book)
    before = kept(draft)["product"][field]
    send(cora, draft, "product", **{f"product__{field}": text})
    shown = page(cora, draft, "product")
    assert told in beside(shown, f"product.{field}")
    assert kept(draft)["product"].get(field, "") == text
    send(cora, draft, "product", **{f"product__{field}": before})
    assert beside(page(cora, draft, "product"), f"product.{field}") == ""


def test_a_statement_of_ones_own_needs_a_reason_and_stays_to_be_confirmed(
    book: Book, cora: Client
) -> None:
    draft = draft_of(book, product__statement="Keep it cold.", product__statement_flag="published")
    assert [fault.path for fault in bars(kept(draft))] == ["product.statement"]
    send(cora, draft, "product", product__statement_why="the state let us off in writing")
    assert [fault.path for fault in bars(kept(draft))] == ["product.statement_flag"]
    send(cora, draft, "product", product__statement_flag="to be confirmed")
    assert bars(kept(draft)) == []


def test_a_jurisdiction_that_is_not_known_cannot_be_published(book: Book) -> None:
    draft = draft_of(book, product__jurisdiction="Atlantis")
    [fault] = bars(kept(draft))
    assert fault.path == "product.jurisdiction" and "Maine" in fault.text


def test_a_chilled_vacuum_pack_without_a_use_by_date_is_told_so_and_not_signed(
    book: Book, cora: Client
) -> None:
    draft = draft_of(
        book, "hot-smoked-vacuum-chilled", product__use_by="", product__process_study="a study"
    )
    assert "needs a use-by date" in beside(page(cora, draft, "product"), "product.use_by")
    typed = {"password": PASSWORD, "seen": sha256(draft.content)}
    answer = cora.post(reverse("draft_publish", args=[draft.pk]), typed)
    assert "Nothing was signed" in answer.content.decode()
    assert not Plan.objects.filter(title=draft.title).exists()


def test_the_plan_read_whole_shows_use_by_ingredients_and_jurisdiction(
    book: Book, cora: Client
) -> None:
    url = reverse("version_show", args=[book.version.pk])
    shown = words(cora.get(url).content.decode())
    assert "Use by 6 months from packing" in shown
    assert "5 days once thawed" in shown
    assert "Ingredients salt, brown sugar" in shown
    assert "as asked in United States" in shown
    assert plan_value(book.version).product.jurisdiction == "United States"


def test_a_plan_from_before_shows_none_of_it(book: Book, cora: Client) -> None:
    keys = ("use_by", "use_by_thawed", "ingredients", "jurisdiction")
    under(book, FROZEN, **dict.fromkeys(keys, ""))
    shown = words(cora.get(reverse("version_show", args=[book.version.pk])).content.decode())
    assert "Use by" not in shown and "as asked in" not in shown
