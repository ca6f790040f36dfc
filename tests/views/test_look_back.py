"""The pages of a failed accuracy check: the look-back, what is held, the recall and who was told."""

from collections.abc import Callable

import pytest
from django.http import HttpResponse
from django.urls import reverse

from lots.entries.deviation import Consignee, Decision, decide, take_action
from lots.models.deviation import Deviation, Disposition, RecallConsignee
from lots.models.house import AccuracyCheck
from tests.entries.failed_check import DONE, Scene, checked, scene
from tests.make import Book, moment
from tests.views.pages import as_person, lines, refused, taken

NOON = "2026-03-06 12:00"
ICE = {"method": "ice point", "as_read": "35", "unit": "F", "altitude": "", "expected": "", "note": "",
       "observed_at": "", "late_reason": ""}  # fmt: skip
RECALL = {
    "kind": "recall", "grams": "18 kg", "reason": "may have been 143 °F", "seen": "0", "rows": "4",
    "acceptability_review": "",
    "who_0": "Invented Inn, 2 Nowhere Street", "had_0": "10 kg", "told_0": "11:50", "note_0": "phone",
    "who_1": "Nowhere Market", "had_1": "8", "told_1": "", "note_1": "",
}  # fmt: skip


@pytest.fixture
def then(book: Book, clock: Callable[[str], int]) -> Scene:
    clock(NOON)
    return scene(book)


def text(answer: HttpResponse) -> str:
    return answer.content.decode()


def gone(then: Scene) -> Deviation:
    return then.deviation(then.gone)


def decide_url(then: Scene) -> str:
    """The page where it is decided about the lot that has left, its action written down."""
    then.fail()
    at = moment(NOON)
    take_action(then.book.operator, gone(then), DONE, at, at)
    return reverse("deviation_decide", args=[gone(then).pk])


def test_a_check_that_finds_it_off_shows_every_lot_that_relied_on_it(then: Scene) -> None:
    """The instrument is 3 °F off: the list, the lots held, the shipped one asked about."""
    client = as_person(then.book.operator)
    answer = taken(client, reverse("instrument_show", args=[then.probe.pk]), ICE)
    check = AccuracyCheck.objects.get(within=False)
    assert answer.redirect_chain[-1][0] == reverse("look_back_show", args=[check.pk])
    page = text(answer)
    assert "A deviation was opened on 4 lots" in page
    assert "Found 3.0 °F high" in page
    left, held = page.index("Left the house: recall or not?"), page.index("Held in the house")
    assert left < page.index("B-GONE") < held < page.index("C-PACKED") < page.index("E-RUN")
    assert "F-CHILD" in page
    assert "A-BEFORE" not in page
    assert "D-OTHER" not in page
    assert "Recall decision needed" in page
    assert "60.0 °F to 146.0 °F; may have been <b>57.0 °F to 143.0 °F</b>" in page
    assert page.count("It could matter.") == 1
    for row in Deviation.objects.filter(limit_id__startswith="accuracy"):
        assert reverse("deviation_show", args=[row.pk]) in page


def test_the_look_back_is_linked_from_the_instrument_and_each_deviation(then: Scene) -> None:
    url = reverse("look_back_show", args=[then.fail().pk])
    client = as_person(then.book.inspector)
    assert url in text(client.get(reverse("instrument_show", args=[then.probe.pk])))
    for one in (then.gone, then.packed, then.running, then.child):
        assert url in text(client.get(reverse("deviation_show", args=[then.deviation(one).pk])))


def test_a_good_check_has_nothing_to_look_back_on(then: Scene) -> None:
    check = checked(then.book, then.probe, "32", NOON)
    page = text(as_person(then.book.inspector).get(reverse("look_back_show", args=[check.pk])))
    assert "nothing to look back on" in page


def test_the_list_and_the_review_ask_about_what_has_left(then: Scene) -> None:
    then.fail()
    client = as_person(then.book.reviewer)
    for name in ("deviations", "review"):
        page = text(client.get(reverse(name)))
        assert page.count("Left the house: recall decision needed") == 1


@pytest.mark.parametrize("name", ["lot_show", "lot_release"])
def test_the_pages_of_a_held_lot_work_and_name_it(then: Scene, name: str) -> None:
    then.fail()
    page = as_person(then.book.reviewer).get(reverse(name, args=["C-PACKED"]))
    assert page.status_code == 200
    number = then.deviation(then.packed).pk
    assert f"deviation {number}" in text(page).lower()


def test_what_has_left_is_recalled_with_everybody_who_had_it(then: Scene) -> None:
    answer = taken(as_person(then.book.reviewer), decide_url(then), RECALL)
    assert "18 kg recall is decided; it is ended" in text(answer)
    rows = [
        (row.consignee, row.grams, row.told_at) for row in RecallConsignee.objects.order_by("id")
    ]
    assert rows == [
        ("Invented Inn, 2 Nowhere Street", 10_000, moment("2026-03-06 11:50")),
        ("Nowhere Market", 8_000, 0),
    ]
    assert "Not told yet" in text(answer)
    assert "Invented Inn, 2 Nowhere Street" in text(answer)


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"who_0": "", "had_0": "", "told_0": "", "note_0": "", "who_1": "", "had_1": ""},
         "who_0", "Name everybody"),
        ({"had_1": "7 kg"}, "grams", "17 kg together, but 18 kg is recalled"),
        ({"had_1": "lots"}, "had_1", "not a weight"),
        ({"had_1": ""}, "had_1", "how much they had"),
        ({"who_1": "Invented Inn, 2 nowhere street"}, "who_1", "stands here twice"),
        ({"who_1": ""}, "who_1", "Say who had it"),
        ({"told_1": "noonish"}, "told_1", "is not a time"),
        ({"told_1": "13:00"}, "told_1", "still to come"),
        ({"grams": "20 kg"}, "grams", "must agree"),
    ],
)  # fmt: skip
def test_a_refused_recall_keeps_what_was_typed_and_writes_nothing(
    then: Scene, change: dict[str, str], field: str, words: str
) -> None:
    url = decide_url(then)
    refused(as_person(then.book.reviewer), url, RECALL | change, field, words)
    assert not Disposition.objects.exists()


def test_more_rows_keep_what_was_typed_and_decide_nothing(then: Scene) -> None:
    client, url = as_person(then.book.reviewer), decide_url(then)
    before = lines()
    answer = client.post(url, RECALL | {"more": "1", "reason": "typed at length"})
    page = text(answer)
    assert 'name="who_7"' in page
    assert 'name="rows" value="8"' in page
    for words in ("Nowhere Market", "typed at length", "11:50", 'value="18 kg"'):
        assert words in page
    assert lines() == before
    many = RECALL | {"rows": "8", "had_1": "7 kg", "who_7": "Eighth", "had_7": "1"}
    taken(client, url, many)
    assert RecallConsignee.objects.filter(consignee="Eighth", grams=1_000).exists()


def test_it_may_be_let_stand_on_a_written_review(then: Scene) -> None:
    url, client = decide_url(then), as_person(then.book.reviewer)
    typed = RECALL | {"kind": "release", "who_0": "", "had_0": "", "told_0": "", "note_0": "",
                      "who_1": "", "had_1": ""}  # fmt: skip
    refused(client, url, typed, "acceptability_review", "written review")
    typed["acceptability_review"] = "the logger beside it read 151 °F for the same hour"
    taken(client, url, typed)
    assert Disposition.objects.get().kind == "release"
    assert not RecallConsignee.objects.exists()


def test_a_lot_in_the_house_is_not_offered_a_recall(then: Scene) -> None:
    then.fail()
    url = reverse("deviation_decide", args=[then.deviation(then.packed).pk])
    page = text(as_person(then.book.reviewer).get(url))
    assert 'value="recall"' not in page
    assert "who_0" not in page


def recalled(then: Scene) -> RecallConsignee:
    decide_url(then)
    shops = (Consignee("Nowhere Market", 18_000),)
    wanted = Decision("recall", 18_000, "143 °F", consignees=shops)
    decide(then.book.reviewer, gone(then), wanted, moment(NOON))
    return RecallConsignee.objects.get()


def test_who_was_told_later_is_kept_as_told(then: Scene) -> None:
    row = recalled(then)
    client = as_person(then.book.operator)
    url = reverse("consignee_told", args=[row.pk])
    assert "Nowhere Market (18 kg) is not told yet" in text(client.get(reverse("deviations")))
    assert url in text(client.get(reverse("deviation_show", args=[gone(then).pk])))
    answer = taken(client, url, {"told_at": "11:58", "note": "spoke to the owner"})
    assert "6 Mar 2026 11:58" in text(answer)
    assert "spoke to the owner" in text(answer)
    assert "Not told yet" not in text(answer)
    assert "is not told yet" not in text(client.get(reverse("deviations")))
    again = client.post(url, {"told_at": "", "note": ""})
    assert "already kept as told" in text(again)


@pytest.mark.parametrize(
    ("told_at", "words"), [("noonish", "is not a time"), ("12:30", "still to come")]
)
def test_a_telling_refused_keeps_what_was_typed(then: Scene, told_at: str, words: str) -> None:
    url = reverse("consignee_told", args=[recalled(then).pk])
    typed = {"told_at": told_at, "note": "spoke to the owner"}
    refused(as_person(then.book.operator), url, typed, "told_at", words)


def test_the_inspector_reads_but_tells_nobody(then: Scene) -> None:
    row = recalled(then)
    inspector = as_person(then.book.inspector)
    page = text(inspector.get(reverse("deviation_show", args=[gone(then).pk])))
    assert "Nowhere Market" in page
    assert "They were told" not in page
    assert inspector.post(reverse("consignee_told", args=[row.pk]), {}).status_code == 403
