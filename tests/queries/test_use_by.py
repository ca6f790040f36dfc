"""Until what day packs may be used: counted on the calendar of the house, the earliest load first."""

from datetime import date

import pytest

from lots.core.use_by import keeps_for
from lots.entries.load import end_load, move_start
from lots.entries.lot import merge_lots, split_lot
from lots.entries.pack import thaw_packs
from lots.models.lot import Lot
from lots.queries.lot_page import past_use_by
from lots.queries.use_by import (
    UseBy,
    day_after,
    not_yet,
    thawed_past_g,
    thawed_use_by,
    use_by,
    use_by_bars,
)
from tests.entries.roads import finished
from tests.make import Book, moment, seen
from tests.packs import AIR, FROZEN, smoked, under


def day(text: str) -> date:
    return date.fromisoformat(text)


@pytest.mark.parametrize(
    ("start", "span", "last"),
    [
        # the same day of the month, or the month's last where it has no such day
        ("2026-03-04", "6 months", "2026-09-04"),
        ("2026-08-31", "6 months", "2027-02-28"),
        ("2027-08-31", "6 months", "2028-02-29"),
        ("2026-01-31", "1 month", "2026-02-28"),
        ("2026-03-31", "1 month", "2026-04-30"),
        ("2026-12-31", "2 months", "2027-02-28"),
        # leap days
        ("2028-02-29", "1 year", "2029-02-28"),
        ("2024-02-29", "4 years", "2028-02-29"),
        ("2028-02-28", "1 day", "2028-02-29"),
        ("2027-02-28", "1 day", "2027-03-01"),
        # over the end of a year, and over days of 23 and 25 hours
        ("2026-12-20", "2 weeks", "2027-01-03"),
        ("2026-03-07", "1 day", "2026-03-08"),
        ("2026-03-07", "14 days", "2026-03-21"),
        ("2026-10-31", "1 day", "2026-11-01"),
    ],
)
def test_days_and_months_are_counted_on_the_calendar(start: str, span: str, last: str) -> None:
    assert day_after(day(start), keeps_for(span)) == day(last)


def of(lot: Lot) -> UseBy:
    found = use_by(Lot.objects.get(pk=lot.pk))
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("start", "ended", "counted", "last"),
    [
        # midnight is the house's own: 23:30 in New York is the next day in Greenwich
        ("2026-03-04 21:00", "2026-03-04 23:30", "2026-03-04", "2026-03-18"),
        ("2026-03-04 21:00", "2026-03-05 00:10", "2026-03-05", "2026-03-19"),
        # 8 Mar 2026 has 23 hours there, 1 Nov 2026 has 25
        ("2026-03-07 20:00", "2026-03-08 03:30", "2026-03-08", "2026-03-22"),
        ("2026-03-08 20:00", "2026-03-08 23:40", "2026-03-08", "2026-03-22"),
        ("2026-10-31 22:00", "2026-11-01 23:40", "2026-11-01", "2026-11-15"),
    ],
)
def test_from_smoking_the_end_of_the_load_counts_on_the_day_of_the_house(
    book: Book, start: str, ended: str, counted: str, last: str
) -> None:
    under(book, AIR)
    lot = book.open_lot(at="2026-03-04 07:00")
    smoked(book, lot, start, ended)
    found = of(lot)
    assert (found.counted, found.day) == (day(counted), day(last))
    assert found.counted_from == "the end of smoking"


def test_nothing_is_said_before_the_fish_is_out_of_the_smokehouse(book: Book) -> None:
    under(book, AIR)
    lot = book.open_lot()
    book.start("smoke", "Smokehouse 1", "10:00", lot)
    assert use_by(lot) is None
    assert not_yet(lot) == "not yet out of the smokehouse"
    assert use_by_bars(lot, moment("2027-03-04 10:00")) == []


def test_of_two_loads_in_the_smokehouse_the_earlier_end_governs(book: Book) -> None:
    under(book, AIR)
    lot = book.open_lot()
    smoked(book, lot, "2026-03-06 10:00", "2026-03-06 14:00", kg=8)
    smoked(book, lot, "2026-03-05 10:00", "2026-03-05 14:00", "Smokehouse 2", kg=12)
    assert of(lot).counted == day("2026-03-05")


def test_of_two_smoking_steps_the_later_one_of_the_plan_counts(book: Book) -> None:
    again = {"id": "smoke-2", "name": "Smoke again", "kind": "smoke", "place_kind": "smokehouse"}
    under(book, AIR, (again | {"required": "no", "logger": "no"},))
    lot = book.open_lot()
    smoked(book, lot, "2026-03-04 10:00", "2026-03-04 14:00")
    load = book.start("smoke-2", "Smokehouse 1", "2026-03-05 10:00", lot)
    assert use_by(lot) is None
    book.end(load, "2026-03-05 12:00")
    assert of(lot).counted == day("2026-03-05")


def test_an_end_put_right_to_a_later_day_does_not_lengthen_it_until_it_is_accepted(
    book: Book,
) -> None:
    under(book, AIR)
    lot = book.open_lot()
    load = smoked(book, lot, "2026-03-04 20:00", "2026-03-04 23:50")
    late = seen("2026-03-05 00:05", "2026-03-05 00:10")
    end_load(book.operator, load, late, correct_because="it went on past midnight")
    assert of(lot).counted == day("2026-03-04")


def test_an_end_put_right_to_an_earlier_day_shortens_it_at_once(book: Book) -> None:
    under(book, AIR)
    lot = book.open_lot()
    load = smoked(book, lot, "2026-03-04 20:00", "2026-03-05 00:05")
    early = seen("2026-03-04 23:55", "2026-03-05 00:10")
    end_load(book.operator, load, early, correct_because="the clock was read wrong")
    assert of(lot).counted == day("2026-03-04")


def test_from_packing_the_first_load_at_the_table_counts_and_moves_back_with_its_start(
    book: Book,
) -> None:
    lot = book.open_lot()
    smoked(book, lot, "2026-03-04 10:00", "2026-03-04 14:00")
    assert use_by(lot) is None
    assert not_yet(lot) == "not yet packed"
    book.start("pack", "Table", "2026-03-06 09:00", lot, kg=8)
    load = book.start("pack", "Table", "2026-03-05 00:30", lot, kg=12)
    found = of(lot)
    assert (found.counted, found.day) == (day("2026-03-05"), day("2026-09-05"))
    assert found.counted_from == "the first packing"
    back = seen("2026-03-04 23:50", "2026-03-06 10:00", "written on the board")
    move_start(book.operator, load, back, "it began earlier")
    assert of(lot).day == day("2026-09-04")


def test_a_split_lot_takes_its_date_along(book: Book) -> None:
    under(book, AIR)
    lot = book.open_lot()
    smoked(book, lot, "2026-03-04 10:00", "2026-03-04 14:00")
    new = split_lot(book.operator, lot, "TR-1b", 5_000, "", moment("2026-03-08 09:00"))
    assert of(new).day == day("2026-03-18")


def test_of_merged_lots_the_earliest_date_governs(book: Book) -> None:
    under(book, AIR)
    old, young = book.open_lot("TR-1"), book.open_lot("TR-2", at="07:10")
    smoked(book, old, "2026-03-04 10:00", "2026-03-04 14:00")
    smoked(book, young, "2026-03-08 10:00", "2026-03-08 14:00")
    at = moment("2026-03-09 09:00")
    both = merge_lots(book.operator, [(young, 10_000), (old, 2_000)], "TR-12", "one rack", at)
    assert of(both).day == day("2026-03-18")
    assert of(young).day == day("2026-03-22")


def test_a_plan_from_before_says_nothing_and_bars_nothing(book: Book) -> None:
    keys = ("use_by", "use_by_from", "use_by_thawed")
    under(book, FROZEN, **dict.fromkeys(keys, ""))
    lot = finished(book)
    assert use_by(lot) is None
    assert "names no time" in not_yet(lot)
    assert use_by_bars(lot, moment("2036-03-04 10:00")) == []


def test_the_day_itself_may_be_used_and_the_day_after_is_past(book: Book) -> None:
    lot = finished(book)
    assert of(lot).day == day("2026-09-04")
    assert use_by_bars(lot, moment("2026-09-04 23:59")) == []
    assert use_by_bars(lot, moment("2026-09-05 00:00")) == ["its use-by date is past: 4 Sep 2026"]


# --- thawed ---------------------------------------------------------------------------------------


def whole(text: str) -> UseBy:
    return UseBy(day(text), day("2026-03-04"), "the first packing", "6 months")


@pytest.mark.parametrize(
    ("thawed", "span", "old", "last", "counted_from"),
    [
        ("2026-05-01 10:00", "5 days", "2026-09-04", "2026-05-06", "thawing"),
        ("2026-08-30 10:00", "5 days", "2026-09-04", "2026-09-04", "thawing"),
        # never later than the frozen pack
        ("2026-09-02 10:00", "5 days", "2026-09-04", "2026-09-04", "the first packing"),
        ("2026-10-02 10:00", "5 days", "2026-09-04", "2026-09-04", "the first packing"),
        # a plan without a time after thawing: the very day
        ("2026-05-01 10:00", "", "2026-09-04", "2026-05-01", "thawing"),
        ("2026-05-01 10:00", "", "", "2026-05-01", "thawing"),
        # over the night on which the clock is set back
        ("2026-10-31 23:30", "1 day", "", "2026-11-01", "thawing"),
    ],
)
@pytest.mark.usefixtures("book")
def test_what_was_thawed_has_a_shorter_date_of_its_own(
    thawed: str, span: str, old: str, last: str, counted_from: str
) -> None:
    before = whole(old) if old else None
    found = thawed_use_by(moment(thawed), keeps_for(span) if span else None, before)
    assert (found.day, found.counted_from) == (day(last), counted_from)


def test_a_lot_all_thawed_and_past_its_day_bars_the_release_and_a_part_of_it_does_not(
    book: Book,
) -> None:
    lot = finished(book)
    thaw_packs(book.operator, lot, 8_000, "for the counter", seen("2026-03-10 09:00"))
    after = moment("2026-03-16 09:00")
    assert thawed_past_g(lot, moment("2026-03-15 23:00")) == 0
    assert thawed_past_g(lot, after) == 8_000
    assert use_by_bars(lot, after) == []
    thaw_packs(book.operator, lot, 10_000, "for the counter", seen("2026-03-10 10:00"))
    [words] = use_by_bars(lot, after)
    assert "thawed" in words and "past" in words


# --- the list -------------------------------------------------------------------------------------


def test_lots_in_the_house_past_their_date_are_listed_with_what_is_past(book: Book) -> None:
    lot = finished(book)
    other = finished(book, "TR-2")
    book.open_lot("TR-3")
    thaw_packs(book.operator, other, 2_500, "for the counter", seen("2026-03-10 09:00"))
    assert past_use_by(moment("2026-03-15 12:00")) == {}
    found = past_use_by(moment("2026-03-16 12:00"))
    assert found == {other.pk: "2.5 kg thawed, past its use-by date, 15 Mar 2026"}
    found = past_use_by(moment("2026-09-05 12:00"))
    assert found[lot.pk] == "past its use-by date, 4 Sep 2026"
    assert set(found) == {lot.pk, other.pk}


def test_a_lot_of_which_nothing_is_left_is_not_listed(book: Book) -> None:
    under(book, AIR)
    one, other = book.open_lot("TR-1"), book.open_lot("TR-2", at="07:10")
    smoked(book, one, "10:00", "14:00")
    smoked(book, other, "10:05", "14:00", "Smokehouse 2")
    portions = [(one, one.quantity_g), (other, 5_000)]
    both = merge_lots(book.operator, portions, "TR-12", "one rack", moment("15:00"))
    assert set(past_use_by(moment("2026-03-19 12:00"))) == {other.pk, both.pk}
