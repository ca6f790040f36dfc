"""Lots put into places, moved and ended; what the place or the fish does not allow is refused."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from lots.models.lot import Load, LoadEnd, LoadStartMoved, Lot, ProbeLeft
from lots.models.reading import Reading
from lots.queries.load_page import startable
from tests.make import Book, moment
from tests.views.pages import as_person, beside, lines, refused, taken

Clock = Callable[[str], int]


@pytest.fixture
def lot(book: Book, clock: Clock) -> Lot:
    """20 kg of trout, received at 07:00; it is half past seven."""
    clock("07:30")
    return book.open_lot("TR-1")


def start_at(step: str) -> str:
    key = next(one.key for one in startable() if one.step_id == step)
    return f"{reverse('load_start')}?step={key}"


def put(book: Book, place: str, note: str = "skin down", **weights: str) -> dict[str, str]:
    lots = {f"lot_{book.lots[code.replace('_', '-')].pk}": kg for code, kg in weights.items()}
    said = {"declared": "short"} if "tank" in place else {}
    return {"place": str(book.place(place).pk), "note": note, **said, **lots}


def test_a_load_begins_with_the_weights_that_went_in(book: Book, lot: Lot, olga: Client) -> None:
    book.open_lot("TR-2", at="07:10", kg=8)
    answer = taken(olga, start_at("brine"), put(book, "Brine tank 1", TR_1="15,5", TR_2="8"))
    load = Load.objects.latest("id")
    assert {(part.lot.code, part.grams) for part in load.parts.all()} == {
        ("TR-1", 15_500),
        ("TR-2", 8_000),
    }
    page = answer.content.decode()
    assert "15.5 kg" in page
    assert "Brine tank 1" in page


@pytest.mark.parametrize(
    ("weight", "words"),
    [
        ("20.5", "Only 20 kg of lot TR-1 is free"),
        ("0", "Type how much of lot TR-1 goes in"),
        ("all", "is not a weight"),
        ("1,234", "can be read two ways"),
    ],
)
def test_a_weight_that_cannot_go_in_is_refused_beside_its_lot(
    book: Book, lot: Lot, olga: Client, weight: str, words: str
) -> None:
    typed = put(book, "Brine tank 1", TR_1=weight)
    refused(olga, start_at("brine"), typed, f"lot_{lot.pk}", words)


def test_no_more_goes_in_than_is_free(book: Book, lot: Lot, olga: Client) -> None:
    url, typed = start_at("smoke"), put(book, "Smokehouse 1", TR_1="15")
    book.start("brine", "Brine tank 1", "07:20", lot, kg=12)
    refused(olga, url, typed, f"lot_{lot.pk}", "Only 8 kg of lot TR-1 is free")


def test_no_lot_at_all_is_refused(book: Book, lot: Lot, olga: Client) -> None:
    typed = put(book, "Brine tank 1", TR_1="")
    refused(olga, start_at("brine"), typed, f"lot_{lot.pk}", "at least one lot")


@pytest.mark.parametrize(("step", "place"), [("smoke", "Smokehouse 1"), ("brine", "Brine tank 1")])
def test_a_smoker_or_tank_that_still_holds_a_load_is_refused(
    book: Book, lot: Lot, olga: Client, step: str, place: str
) -> None:
    standing = book.start(step, place, "07:20", lot, kg=10)
    book.open_lot("TR-2", at="07:25")
    typed = put(book, place, TR_2="5")
    refused(olga, start_at(step), typed, "place", f"still holds load {standing.pk}")


def test_a_cooler_holds_several_loads(book: Book, lot: Lot, olga: Client) -> None:
    book.start("hold", "Cooler", "07:20", lot, kg=10)
    book.open_lot("TR-2", at="07:25")
    taken(olga, start_at("hold"), put(book, "Cooler", TR_2="5"))


def test_the_wrong_kind_of_place_is_no_choice(book: Book, lot: Lot, olga: Client) -> None:
    typed = put(book, "Freezer", TR_1="5")
    refused_at = olga.post(start_at("smoke"), typed)
    assert "cannot be chosen" in beside(refused_at, "place")
    assert not Load.objects.exclude(step_kind="receiving").exists()


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"started_at": "07:33"}, "started_at", "still to come"),
        ({"started_at": "07:10"}, "late_reason", "Say why it comes late"),
        ({"started_at": "soon"}, "started_at", "is not a time"),
        ({"place": ""}, "place", "Choose one"),
        ({"note": "x" * 10_000}, "note", "at most 200"),
    ],
)
def test_a_start_that_cannot_be_is_refused(
    book: Book, lot: Lot, olga: Client, changed: dict[str, str], field: str, words: str
) -> None:
    typed = put(book, "Brine tank 1", TR_1="5") | changed
    refused(olga, start_at("brine"), typed, field, words)


def test_a_start_before_the_lot_came_in_is_refused(book: Book, lot: Lot, olga: Client) -> None:
    typed = put(book, "Brine tank 1", TR_1="5") | {"started_at": "06:50", "late_reason": "x"}
    refused(olga, start_at("brine"), typed, f"lot_{lot.pk}", "received later than this")


def test_the_same_start_sent_again_begins_one_load(book: Book, lot: Lot, olga: Client) -> None:
    url, typed = start_at("brine"), put(book, "Brine tank 1", TR_1="5") | {"client_key": "k"}
    taken(olga, url, typed)
    before, loads = lines(), Load.objects.count()
    again = olga.post(url, typed)
    assert again["Location"] == reverse("load_show", args=[Load.objects.latest("id").pk])
    assert (lines(), Load.objects.count()) == (before, loads)


@pytest.fixture
def brine(book: Book, lot: Lot) -> Load:
    return book.start("brine", "Brine tank 1", "07:20", lot)


def to_end(load: Load) -> str:
    return reverse("load_end", args=[load.pk])


@pytest.mark.parametrize(
    ("ended_at", "field", "words"),
    [
        ("07:19", "ended_at", "1 min before the load began"),
        ("07:33", "ended_at", "still to come"),
        ("7", "ended_at", "is not a time"),
        ("07:10", "ended_at", "before the load began"),
    ],
)
def test_an_end_that_cannot_be_is_refused(
    brine: Load, olga: Client, ended_at: str, field: str, words: str
) -> None:
    typed = {"ended_at": ended_at, "note": "drained", "late_reason": "busy"}
    refused(olga, to_end(brine), typed, field, words)
    assert not LoadEnd.objects.filter(load=brine).exists()


def test_an_end_long_ago_asks_for_the_reason(brine: Load, olga: Client, clock: Clock) -> None:
    clock("09:00")
    typed = {"ended_at": "08:00", "note": "drained"}
    refused(olga, to_end(brine), typed, "late_reason", "Say why it comes late")
    taken(olga, to_end(brine), typed | {"late_reason": "at the truck"})


def test_a_load_ends_once_and_its_end_is_put_right_with_a_reason(
    brine: Load, olga: Client, clock: Clock
) -> None:
    taken(olga, to_end(brine), {"note": "drained"})
    clock("07:40")
    refused(olga, to_end(brine), {"ended_at": "07:35"}, "correct_because", "Fill this in")
    assert "Put the end right" in olga.get(to_end(brine)).content.decode()
    answer = taken(olga, to_end(brine), {"ended_at": "07:35", "correct_because": "wrong tank"})
    assert LoadEnd.objects.filter(load=brine).count() == 2
    assert "wrong tank" in answer.content.decode()


def test_a_start_is_moved_with_a_reason_and_judged_anew(
    book: Book, lot: Lot, olga: Client, clock: Clock
) -> None:
    hold = book.start("hold", "Cooler", "07:20", lot)
    book.at_place("Cooler", "07:21 36.0")
    clock("07:25")
    url = reverse("load_move", args=[hold.pk])
    typed = {"started_at": "07:05", "reason": "it was carried in before it was entered"}
    refused(olga, url, typed | {"reason": ""}, "reason", "Fill this in")
    refused(olga, url, typed | {"started_at": ""}, "started_at", "Fill this in")
    refused(olga, url, typed | {"started_at": "07:40"}, "started_at", "only be moved back")
    refused(olga, url, typed | {"started_at": "06:30"}, "started_at", "received later than this")
    answer = taken(olga, url, typed)
    assert LoadStartMoved.objects.get().started_at == moment("07:05")
    assert "carried in before it was entered" in answer.content.decode()


def test_a_moved_start_takes_an_earlier_reading_in(
    book: Book, lot: Lot, olga: Client, clock: Clock
) -> None:
    book.at_place("Cooler", "07:10 44.0")
    hold = book.start("hold", "Cooler", "07:20", lot)
    book.at_place("Cooler", "07:21 36.0")
    clock("07:25")
    assert not lot.deviations.exists()
    typed = {"started_at": "07:05", "reason": "it stood there already"}
    taken(olga, reverse("load_move", args=[hold.pk]), typed)
    assert lot.deviations.get().broke_at == moment("07:10")


def test_a_start_is_not_moved_forward(brine: Load, olga: Client, clock: Clock) -> None:
    taken(olga, to_end(brine), {"note": "x"})
    clock("08:00")
    typed = {"started_at": "07:45", "reason": "x"}
    url = reverse("load_move", args=[brine.pk])
    refused(olga, url, typed, "started_at", "only be moved back")


def test_why_a_probe_left_is_kept(book: Book, lot: Lot, olga: Client, clock: Clock) -> None:
    smoke = book.start("smoke", "Smokehouse 1", "07:20", lot)
    book.fish(smoke, "07:22 41.0")
    url = reverse("probe_left", args=[smoke.pk])
    typed = {"probe": "fish 2", "reason": "slipped out"}
    refused(olga, url, typed | {"reason": ""}, "reason", "Fill this in")
    refused(olga, url, typed | {"observed_at": "07:40"}, "observed_at", "still to come")
    refused(olga, url, typed | {"probe": "fish 9"}, "probe", "cannot be chosen")
    answer = taken(olga, url, typed)
    assert ProbeLeft.objects.get().reason == "slipped out"
    assert "Fish 2 left" in answer.content.decode()


def test_a_load_shows_its_readings_late_ones_said_so(
    book: Book, brine: Load, olga: Client, clock: Clock
) -> None:
    clock("08:00")
    url = reverse("reading_place", args=[book.place("Brine tank 1").pk])
    late = {"read_": "44", "unit": "F", "observed_at": "07:30", "late_reason": "wet hands"}
    taken(olga, url, late)
    assert Reading.objects.get(place=book.place("Brine tank 1")).late_reason == "wet hands"
    page = olga.get(reverse("load_show", args=[brine.pk])).content.decode()
    assert "Entered late, <time>08:00</time>: wet hands" in page


def test_nobody_but_an_operator_starts_moves_or_ends(book: Book, brine: Load) -> None:
    before = lines()
    for person in (book.inspector, book.reviewer, book.coordinator):
        browser = as_person(person)
        for name in ("load_move", "load_end", "probe_left"):
            answer = browser.post(reverse(name, args=[brine.pk]), {"reason": "x"})
            assert answer.status_code == 403
        assert browser.post(reverse("load_start"), {"note": "x"}).status_code == 403
        assert browser.get(reverse("load_show", args=[brine.pk])).status_code == 200
    assert lines() == before
