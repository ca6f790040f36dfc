"""The pages of deviations: the list, the evidence, the action, the decision."""

import pytest
from django.test import Client

from lots.entries import people
from lots.entries.deviation import Action, Decision, decide, take_action
from lots.models.book import BookLine
from lots.models.deviation import CorrectiveAction, Deviation, Disposition
from lots.models.people import Person
from lots.templatetags.trade import day
from tests.make import Book, moment
from tests.views.test_logger_upload import come, errors

DONE = Action(True, "iced and held", "brine chilled", "pump off")
TYPED = {
    "plan_followed": "yes",
    "fish": "iced and held",
    "control_restored": "brine chilled",
    "cause": "pump off",
    "taken_at": "07:45",
}


@pytest.fixture(autouse=True)
def eight(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: moment("08:00"))


@pytest.fixture
def warm(book: Book) -> Deviation:
    book.start("brine", "Brine tank 1", "07:30", book.open_lot())
    book.at_place("Brine tank 1", "07:30 62.5")
    return Deviation.objects.get()


def act(book: Book, warm: Deviation) -> None:
    take_action(book.operator, warm, DONE, moment("07:40"), moment("07:45"))


def test_the_list_has_open_ones_first_and_ended_ones_below(
    book: Book, warm: Deviation, client: Client
) -> None:
    come(client, book.inspector)
    page = client.get("/deviations/").content.decode()
    assert "1 open · 0 ended" in page
    assert "first reading 62.5 °F" in page
    act(book, warm)
    decide(book.reviewer, warm, Decision("destroy", 20_000, "warm"), moment("07:50"))
    page = client.get("/deviations/").content.decode()
    assert "0 open · 1 ended" in page
    assert "No deviation is open" in page


def test_the_list_shows_what_lapsed_and_is_not_written_yet(
    book: Book, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    book.fish(book.start("smoke", "Smokehouse 1", "08:00", book.open_lot()), "08:10 90")
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: moment("11:00"))
    lines = BookLine.objects.count()
    page = come(client, book.inspector).get("/deviations/").content.decode()
    assert "broken since <time>4 Mar 2026 10:10 −05:00</time>" in page
    assert BookLine.objects.count() == lines  # a page only shows


def test_the_page_shows_evidence_limit_and_the_plans_action(
    book: Book, warm: Deviation, client: Client
) -> None:
    page = come(client, book.inspector).get(f"/deviations/{warm.pk}/").content.decode()
    for words in (
        "first reading 62.5 °F",
        "at most 60 °F (15.6 °C)",
        "4 Mar 2026 07:30 −05:00",
        "Chill the fish to 40 °F",
        "62.5 °F",
        "Nothing is decided yet",
    ):
        assert words in page
    assert "Write down the action" not in page  # the inspector only reads


def test_an_action_is_written_down(book: Book, warm: Deviation, client: Client) -> None:
    come(client, book.operator)
    answer = client.post(f"/deviations/{warm.pk}/action/", TYPED, follow=True)
    assert "is in the book" in answer.content.decode()
    assert CorrectiveAction.objects.get().taken_at == moment("07:45")
    assert "pump off" in answer.content.decode()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"plan_followed": "no"}, "kept apart and held (21 CFR 123.7(c)(1))"),
        ({"plan_followed": ""}, "written action followed"),
        ({"cause": ""}, "What caused it"),
        ({"taken_at": "07:29"}, "before the limit broke"),
        ({"taken_at": "08:10"}, "still to come"),
        ({"taken_at": "noonish"}, "is not a time"),
        ({"reassessment_due": "soon"}, "Type the day as"),
    ],
)
def test_a_refused_action_keeps_what_was_typed_and_writes_nothing(
    book: Book, warm: Deviation, client: Client, changes: dict[str, str], words: str
) -> None:
    come(client, book.operator)
    before = BookLine.objects.count()
    answer = client.post(f"/deviations/{warm.pk}/action/", TYPED | changes)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert words in errors(page)
    assert "brine chilled" in page
    assert BookLine.objects.count() == before


def test_what_was_not_the_plans_action_is_kept_item_by_item(
    book: Book, warm: Deviation, client: Client
) -> None:
    come(client, book.operator)
    more = {
        "plan_followed": "no",
        "segregated": "tub 3, red tape",
        "acceptability_by": "René Reviewer",
        "reassessment_by": "Cora Coordinator",
        "reassessment_due": "11 Mar 2026",
    }
    client.post(f"/deviations/{warm.pk}/action/", TYPED | more)
    row = CorrectiveAction.objects.get()
    assert (row.plan_followed, row.reassessment_due) == (False, "2026-03-11")
    assert day(row.reassessment_due) == "11 Mar 2026"


def test_a_reviewer_decides_and_the_deviation_ends(
    book: Book, warm: Deviation, client: Client
) -> None:
    act(book, warm)
    come(client, book.reviewer)
    url = f"/deviations/{warm.pk}/decide/"
    assert 'name="seen" value="0"' in client.get(url).content.decode()
    typed = {"kind": "destroy", "grams": "20 kg", "reason": "too long warm", "seen": "0"}
    page = client.post(url, typed, follow=True).content.decode()
    assert "ended: destroy" in page
    assert Disposition.objects.get().grams == 20_000


def test_an_operator_may_hold_and_is_offered_nothing_else(
    book: Book, warm: Deviation, client: Client
) -> None:
    act(book, warm)
    come(client, book.operator)
    url = f"/deviations/{warm.pk}/decide/"
    assert 'value="destroy"' not in client.get(url).content.decode()
    typed = {"kind": "destroy", "grams": "20", "reason": "warm", "seen": "0"}
    assert "Choose what is to become of the fish" in errors(
        client.post(url, typed).content.decode()
    )
    assert not Disposition.objects.exists()
    client.post(url, typed | {"kind": "hold"})
    assert Disposition.objects.get().kind == "hold"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"kind": "release"}, "written review"),
        ({"grams": "25 kg"}, "at most 20 kg"),
        ({"grams": "much"}, "is not a weight"),
        ({"kind": ""}, "What becomes of the fish"),
        ({"reason": ""}, "Why"),
    ],
)
def test_a_refused_decision_keeps_what_was_typed_and_writes_nothing(
    book: Book, warm: Deviation, client: Client, changes: dict[str, str], words: str
) -> None:
    act(book, warm)
    come(client, book.reviewer)
    before = BookLine.objects.count()
    typed = {"kind": "divert", "grams": "19.5 kg", "reason": "bait for pots", "seen": "0"} | changes
    page = client.post(f"/deviations/{warm.pk}/decide/", typed).content.decode()
    assert words in errors(page)
    assert typed["reason"] in page
    assert typed["grams"] in page
    assert BookLine.objects.count() == before


def test_a_final_decision_before_any_action_is_refused(
    book: Book, warm: Deviation, client: Client
) -> None:
    come(client, book.reviewer)
    typed = {"kind": "destroy", "grams": "20", "reason": "warm", "seen": "0"}
    page = client.post(f"/deviations/{warm.pk}/decide/", typed).content.decode()
    assert "corrective action first" in errors(page)


def test_the_second_of_two_is_told_and_keeps_what_was_typed(
    book: Book, warm: Deviation, client: Client
) -> None:
    act(book, warm)
    come(client, book.reviewer)
    decide(book.operator, warm, Decision("hold", 20_000, "wait for Cora"), moment("07:55"))
    before = BookLine.objects.count()
    typed = {"kind": "destroy", "grams": "20 kg", "reason": "typed at length", "seen": "0"}
    answer = client.post(f"/deviations/{warm.pk}/decide/", typed)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Olga Operator has just decided “hold”" in errors(page)
    assert "typed at length" in page
    assert "wait for Cora" in page
    assert 'name="seen" value="1"' in page
    assert BookLine.objects.count() == before
    client.post(f"/deviations/{warm.pk}/decide/", typed | {"seen": "1"})
    assert Disposition.objects.count() == 2


def test_who_has_no_right_is_turned_away(book: Book, warm: Deviation, client: Client) -> None:
    for person in (book.inspector, book.coordinator):
        come(client, person)
        assert client.get(f"/deviations/{warm.pk}/").status_code == 200
        for act_on in ("action", "decide"):
            url = f"/deviations/{warm.pk}/{act_on}/"
            assert client.post(url, TYPED).status_code == 403


def test_a_deviation_that_is_none_is_not_found(book: Book, client: Client) -> None:
    assert come(client, book.operator).get("/deviations/99/").status_code == 404


def test_one_person_with_both_rights_decides_too(
    book: Book, warm: Deviation, client: Client
) -> None:
    one: Person = book.reviewer
    people.give_right(book.keeper, one, people.Grant("operator"), moment("06:00"))
    act(book, warm)
    come(client, one)
    typed = {"kind": "divert", "grams": "20", "reason": "bait", "seen": "0"}
    client.post(f"/deviations/{warm.pk}/decide/", typed)
    assert Disposition.objects.get().kind == "divert"


def test_a_decision_about_a_part_leaves_the_rest_open_and_in_sight(
    book: Book, client: Client
) -> None:
    from tests.entries.roads import finished

    lot = finished(book, hottest="140")
    deviation = Deviation.objects.get(lot=lot)
    done = Action(True, "held", "more wood", "wet wood")
    take_action(book.operator, deviation, done, moment("20:11"), moment("20:12"))
    decide(book.reviewer, deviation, Decision("destroy", 5_000, "the cold rack"), moment("20:15"))
    come(client, book.reviewer)
    page = client.get(f"/deviations/{deviation.pk}/decide/").content.decode()
    assert "13 kg of the fish is still undecided" in page
    assert 'value="13 kg"' in page
    assert "open, decided in part" in client.get(f"/deviations/{deviation.pk}/").content.decode()
    assert f"Deviation {deviation.pk}</a>" in client.get("/deviations/").content.decode()
