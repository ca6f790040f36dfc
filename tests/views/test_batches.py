"""Pages of brine batches: made, read, scaled, put under fish; what cannot be comes back with all that was
typed."""

import html
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lots.entries.batch import Typed
from lots.models.lot import BrineBatch, Load, Lot
from lots.models.reading import Reading
from lots.models.salt import BatchDiscarded, BatchReading
from lots.queries.batches import batch_of, batch_value
from lots.queries.load_page import startable
from tests.make import Book, make_book, moment
from tests.views.pages import above, as_person, beside, kept, lines, refused, taken

Clock = Callable[[str], int]
MAKE = "batch_make"
CURE = Typed(3, "curing salt", "pink salt", "30", "g", nitrite="6.25 %")


@pytest.fixture
def morning(book: Book, clock: Clock) -> Book:
    clock("07:30")
    return book


@pytest.fixture
def chilled(db: None, clock: Clock) -> Book:
    """A house whose pack is vacuum and chilled."""
    clock("07:30")
    return make_book("hot-smoked-vacuum-chilled", process_study="Invented study 7, 2 Feb 2026")


def typed(**changed: str) -> dict[str, str]:
    """10 kg of brine of 20 % salt, as the page sends it."""
    rows = {
        "kind_1": "water", "amount_1": "8", "unit_1": "kg",
        "kind_2": "salt", "amount_2": "2", "unit_2": "kg",
        "kind_3": "curing salt", "unit_3": "g", "kind_4": "sugar", "unit_4": "kg",
        "kind_5": "other", "unit_5": "kg",
    }  # fmt: skip
    head = {"code": "B-7", "method": "brine", "as_read": "40", "unit": "F"}
    return head | rows | changed


def page(client: Client, name: str, *args: Any) -> str:
    answer = client.get(reverse(name, args=args))
    assert answer.status_code == 200
    return html.unescape(answer.content.decode())


# --- making ---------------------------------------------------------------------------------------


def test_a_batch_is_made_and_its_figures_are_shown(morning: Book, olga: Client) -> None:
    answer = taken(olga, reverse(MAKE), typed(note="coarse salt"))
    row = BrineBatch.objects.get()
    assert batch_value(row).total_mg == 10_000_000
    shown = html.unescape(answer.content.decode())
    # 2 of 10 kg is 20 % by weight; 20 / 26.395 is 75.8 °SAL; 250 g to each kg of water
    for words in (
        "75.8 °SAL",
        "20 % salt by weight",
        "250 g to each litre",
        "2.08 lb to each US gallon",
    ):
        assert words in shown, words
    assert "coarse salt" in shown
    assert "made 4 Mar 2026 07:30 −05:00 by OO" in " ".join(
        shown.replace("<time>", "").replace("</time>", "").split()
    )


def test_nitrite_in_the_brine_is_said_in_ppm(morning: Book, olga: Client) -> None:
    """26 g of a 6.25 % cure in 3,781.82 g of water is 429.7 ppm of the water (FSIS Directive 7620.3's
    formula); of water, salt and cure together less."""
    more = {"amount_3": "32", "nitrite_3": "6.25 %"}
    taken(olga, reverse(MAKE), typed(**more))
    assert "199 ppm of sodium nitrite" in page(olga, "batch_show", 1)  # 2 g in 10.032 kg


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"amount_3": "30", "nitrite_3": "6.25"}, "nitrite_3", "Type 6.25 % or 0.0625"),
        ({"amount_3": "30"}, "nitrite_3", "from its label"),
        ({"amount_3": "30", "nitrite_3": "120 %"}, "nitrite_3", "is no share of nitrite"),
        ({"amount_3": "2", "unit_3": "teaspoon", "nitrite_3": "6.25 %", "per_3": "6"}, "amount_3", "never measured by the cup"),
        ({"unit_2": "cup"}, "per_2", "weighs what?"),
        ({"amount_2": "2 cups"}, "amount_2", "is not a number"),
        ({"amount_2": "-2"}, "amount_2", "more than nothing"),
        ({"amount_2": "1,234"}, "amount_2", "can be read two ways"),
        ({"as_read": ""}, "as_read", "Type the temperature"),
        ({"as_read": "145"}, "as_read", "no temperature of a brine"),
        ({"kind_3": "other", "name_3": "soy sauce"}, "amount_3", "Nothing was entered"),
        ({"as_read": "cold"}, "as_read", "is not a number"),
        ({"code": ""}, "code", "Fill this in"),
        ({"made_at": "09:00"}, "made_at", "still to come"),
        ({"made_at": "06:00"}, "late_reason", "Say why it comes late"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_beside_its_field_and_stays_typed(
    morning: Book, olga: Client, changed: dict[str, str], field: str, words: str
) -> None:
    refused(olga, reverse(MAKE), typed(**changed), field, words)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"amount_1": ""}, "A brine has water in it"),
        ({"amount_2": ""}, "There is no salt in it"),
        ({"amount_1": "", "amount_2": ""}, "Type what went in"),
    ],
)
def test_a_brine_without_water_or_salt_is_refused(
    morning: Book, olga: Client, changed: dict[str, str], words: str
) -> None:
    refused(olga, reverse(MAKE), typed(**changed), None, words)


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"amount_2": "4"}, None, "undissolved at the bottom"),  # more salt than dissolves
        ({"amount_3": "30", "unit_3": "oz", "nitrite_3": "6.25 %"}, "amount_3", "With 30 g for 30 oz it would be"),
        ({"amount_3": "30", "nitrite_3": "25 %"}, "amount_3", "far more than curing salts have"),
        ({"amount_2": "0.5", "as_read": "20"}, "as_read", "begins to freeze at"),
    ],
)  # fmt: skip
def test_what_is_odd_is_asked_about_and_taken_with_a_yes(
    morning: Book, olga: Client, changed: dict[str, str], field: str | None, words: str
) -> None:
    asked = refused(olga, reverse(MAKE), typed(**changed), field, words)
    shown = asked.content.decode()
    assert "It is so: keep the batch as it is typed" in shown
    mark = asked.context["form"].fields["seen"].widget.attrs["value"]
    taken(olga, reverse(MAKE), typed(**changed, seen=mark))
    assert BrineBatch.objects.count() == 1


def test_a_yes_to_one_figure_is_no_yes_to_the_next(morning: Book, olga: Client) -> None:
    asked = refused(olga, reverse(MAKE), typed(amount_2="4"), None, "undissolved at the bottom")
    mark = asked.context["form"].fields["seen"].widget.attrs["value"]
    again = olga.post(reverse(MAKE), typed(amount_2="5", seen=mark))
    assert "undissolved at the bottom" in above(again)
    assert not BrineBatch.objects.exists()


def test_a_household_measure_counts_by_its_grams_with_a_caution(
    morning: Book, olga: Client
) -> None:
    answer = taken(olga, reverse(MAKE), typed(amount_2="7", unit_2="cup", per_2="290"))
    [_, salt] = batch_value(BrineBatch.objects.get()).parts
    assert salt.mg == 7 * 290_000
    assert "went in by measure" in html.unescape(answer.content.decode())


def test_more_rows_keep_what_was_typed_and_judge_nothing(morning: Book, olga: Client) -> None:
    sent = typed(amount_3="30", nitrite_3="6.25")
    answer = olga.post(reverse(MAKE), sent | {"more": "1", "rows": "5"})
    shown = answer.content.decode()
    assert kept(answer, sent) == []
    assert 'name="amount_8"' in shown
    assert 'class="wrong"' not in shown
    assert not BrineBatch.objects.exists()


def test_a_batch_is_made_once_from_one_page(morning: Book, olga: Client) -> None:
    for _ in range(2):
        olga.post(reverse(MAKE), typed(client_key="a" * 32))
    assert BrineBatch.objects.count() == 1


# --- scaling --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("query", "total", "salt"),
    [
        ({"by": "total", "total": "25 kg"}, "25 kg", "5 kg"),
        ({"by": "fish", "fish": "12 kg", "ratio": "1.5"}, "18 kg", "3.6 kg"),
    ],
)
def test_a_batch_is_scaled_and_made_anew_from_its_weights(
    morning: Book, olga: Client, query: dict[str, str], total: str, salt: str
) -> None:
    row = morning.mix()
    answer = olga.get(reverse("batch_scale", args=[row.pk]), query)
    shown = html.unescape(answer.content.decode())
    assert f"<b>{total}</b>" in shown
    assert f'<td class="number">{salt}</td>' in shown
    begun = olga.get(reverse(MAKE), query | {"from": str(row.pk)})
    form = begun.context["form"]
    grams = str(int(float(salt.removesuffix(" kg")) * 1000))
    assert (form["amount_2"].value(), form["unit_2"].value()) == (grams, "g")
    assert BrineBatch.objects.count() == 1


def test_a_brine_is_scaled_to_a_volume_by_its_density(morning: Book, olga: Client) -> None:
    """A 20 % brine at 40 °F weighs about 1,155 g/L (CoolProp: 1,155): 100 L are about 115.5 kg."""
    row = morning.mix()
    query = {"by": "volume", "volume": "100", "volume_unit": "L"}
    answer = olga.get(reverse("batch_scale", args=[row.pk]), query)
    assert 115_000_000 < answer.context["scaled"].total_mg < 116_000_000


@pytest.mark.parametrize(
    ("query", "field", "words"),
    [
        ({"by": "total"}, "total", "Type how much"),
        ({"by": "total", "total": "much"}, "total", "is not a weight"),
        ({"by": "volume", "volume": "-1", "volume_unit": "L"}, "volume", "more than nothing"),
        ({"by": "fish", "fish": "10 kg", "ratio": ""}, "ratio", "Nothing was entered"),
        ({"by": "fish", "fish": "10 kg", "ratio": "0"}, "ratio", "more than nothing"),
    ],
)
def test_a_size_that_cannot_be_is_told_beside_its_field(
    morning: Book, olga: Client, query: dict[str, str], field: str, words: str
) -> None:
    answer = olga.get(reverse("batch_scale", args=[morning.mix().pk]), query)
    assert words in beside(answer, field)
    assert answer.context["scaled"] is None


# --- its strength ---------------------------------------------------------------------------------


def strength(**changed: str) -> dict[str, str]:
    return {
        "means": "salometer", "as_read": "78", "brine_as_read": "40", "brine_unit": "F"
    } | changed  # fmt: skip


def test_a_reading_is_kept_corrected_and_shown(morning: Book, olga: Client) -> None:
    row = morning.mix()
    answer = taken(olga, reverse("batch_check", args=[row.pk]), strength())
    kept_row = BatchReading.objects.get()
    shown = html.unescape(answer.content.decode())
    assert f"<b>{kept_row.value / 1e6:.1f} °SAL</b>" in shown
    assert "true at 60 °F, 100 is 26.395 %" in shown


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"as_read": "101"}, "as_read", "from 0 to 100"),
        ({"brine_as_read": ""}, "brine_as_read", "Fill this in"),
        ({"as_read": "60"}, "note", "say why"),
        ({"full_scale": "90 %"}, "full_scale", "25 or 26.4"),
        ({"means": "refractometer", "as_read": "20"}, "brine_as_read", "corrects itself from"),
        ({"observed_at": "06:00", "late_reason": "x"}, "observed_at", "made later"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_and_stays_typed(
    morning: Book, olga: Client, changed: dict[str, str], field: str, words: str
) -> None:
    row = morning.mix()
    refused(olga, reverse("batch_check", args=[row.pk]), strength(**changed), field, words)


def test_a_reading_is_put_right_and_both_are_shown(morning: Book, olga: Client) -> None:
    row = morning.mix()
    taken(olga, reverse("batch_check", args=[row.pk]), strength(as_read="87", note="it floats so"))
    wrong = BatchReading.objects.get()
    url = reverse("batch_reading_correct", args=[wrong.pk])
    refused(olga, url, strength(), "reason", "Fill this in")
    answer = taken(olga, url, strength(reason="read upside down"))
    shown = html.unescape(answer.content.decode())
    assert '<del class="struck">87 °</del>' in shown
    assert "read upside down" in shown


def test_a_salometer_is_registered_with_what_it_was_made_for(morning: Book) -> None:
    client = as_person(morning.coordinator)
    url = reverse("instruments")
    new = {"name": "Float 2", "kind": "salometer", "reference": "38 °F", "full_scale": "25 %"}
    refused(client, url, new | {"full_scale": "100 %"}, "full_scale", "25 or 26.4")
    refused(client, url, new | {"reference": "cold"}, "reference", "is not a temperature")
    refused(client, url, new | {"kind": "thermometer"}, "full_scale", "Only a salometer")
    answer = taken(client, url, new)
    assert "reads true at 38 °F, 100 is 25 % salt" in html.unescape(answer.content.decode())


# --- fish into it ---------------------------------------------------------------------------------


def start_at(step: str = "brine") -> str:
    key = next(one.key for one in startable() if one.step_id == step)
    return f"{reverse('load_start')}?step={key}"


def put(book: Book, lot: Lot, kg: str = "10", **changed: str) -> dict[str, str]:
    tank = str(book.place("Brine tank 1").pk)
    return {"place": tank, f"lot_{lot.pk}": kg, "declared": "short", "note": "skin up"} | changed


def test_how_long_it_is_to_lie_is_asked_of_a_brining_and_of_nothing_else(
    morning: Book, olga: Client
) -> None:
    lot = morning.open_lot(kg=10)
    without = put(morning, lot)
    del without["declared"]
    refused(olga, start_at(), without, "declared", "Choose one")
    assert "declared" not in olga.get(start_at("hold")).context["form"].fields
    taken(olga, start_at(), put(morning, lot, declared="long"))
    load = Load.objects.latest("pk")
    assert load.declared == "long"
    assert "long: longer than 4 h" in page(olga, "load_show", load.pk)


def test_what_the_batch_can_do_is_shown_first_and_then_the_load_begins(
    chilled: Book, clock: Clock
) -> None:
    """A household brine: 4 % salt at 1 : 1 on fish of 65 % moisture comes to 2.42 % at most."""
    olga = as_person(chilled.operator)
    lot = chilled.open_lot("SA-1", 10, species="SAL")
    row = chilled.mix(parts=(("water", "9.6", "kg"), ("salt", "0.4", "kg")))
    sent = put(chilled, lot, brine_batch=str(row.pk))
    before = lines()
    shown_first = olga.post(start_at(), sent)
    words = html.unescape(shown_first.content.decode())
    for said in (
        "Before the fish goes in",
        "1 : 1 by weight, 10 kg on 10 kg of fish",
        "highest water-phase salt possible at full equilibrium, before any drying, is 2.42 %",
        "would have to be dried from 65 % to",
        "Neither is proof",
        "a brine of at least 22 °SAL",
        "dry salting",
        "keep it frozen",
    ):
        assert said in words, said
    assert kept(shown_first, sent) == []
    assert lines() == before
    mark = shown_first.context["before"].mark
    taken(olga, start_at(), sent | {"seen": mark})
    load = Load.objects.latest("pk")
    assert batch_of(load) == row
    assert "2.42 %" in page(olga, "load_show", load.pk)


def test_nitrite_in_trout_is_refused_with_the_rules_number_and_nothing_is_lost(
    morning: Book, olga: Client
) -> None:
    lot, row = morning.open_lot(kg=10), morning.mix("B-1", "06:30", CURE)
    sent = put(morning, lot, brine_batch=str(row.pk))
    answer = refused(olga, start_at(), sent, "brine_batch", "21 CFR 172.175")
    words = html.unescape(answer.content.decode())
    assert "not in Rainbow trout" in words
    assert "The fish already lies in it: keep the load as it is" in words
    assert not Load.objects.filter(step_kind="brine").exists()
    taken(olga, start_at(), sent | {"already": answer.context["before"].mark})
    load = Load.objects.latest("pk")
    assert load.brine_batch == row
    shown = page(olga, "load_show", load.pk)
    assert "not in Rainbow trout" in shown
    assert "The fish already lay in it" in shown


def test_sablefish_is_told_that_150_ppm_is_planned_and_no_proof(
    morning: Book, olga: Client
) -> None:
    lot = morning.open_lot("SA-1", 10, species="SAB", origin="wild")
    cure = Typed(3, "curing salt", "", "48", "g", nitrite="6.25 %")
    row = morning.mix("B-1", "06:30", cure, parts=(("water", "7.952", "kg"), ("salt", "2", "kg")))
    sent = put(morning, lot, brine_batch=str(row.pk))
    answer = olga.post(start_at(), sent)
    words = html.unescape(answer.content.decode())
    assert "150 ppm by equilibrium; a planning figure" in words
    assert "only a laboratory result in the finished fish" in words
    taken(olga, start_at(), sent | {"seen": answer.context["before"].mark})


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"brine_g": "4"}, "brine_batch", "cannot cover the fish"),  # a ratio below what covers
        ({"brine_g": "11"}, "brine_g", "weighs 10 kg in all"),
        ({"brine_g": "0"}, "brine_g", "Type how much"),
        ({"brine_g": "some"}, "brine_g", "is not a weight"),
    ],
)
def test_a_batch_that_the_load_cannot_lie_in_is_refused_and_all_stays_typed(
    morning: Book, olga: Client, changed: dict[str, str], field: str, words: str
) -> None:
    lot, row = morning.open_lot(kg=10), morning.mix()
    sent = put(morning, lot, **({"brine_batch": str(row.pk)} | changed))
    refused(olga, start_at(), sent, field, words)


def test_brine_that_hardly_covers_is_asked_about(morning: Book, olga: Client) -> None:
    lot, row = morning.open_lot(kg=10), morning.mix()
    sent = put(morning, lot, brine_batch=str(row.pk), brine_g="8")
    answer = olga.post(start_at(), sent)
    assert "Does it cover all of the fish?" in html.unescape(answer.content.decode())
    taken(olga, start_at(), sent | {"seen": answer.context["before"].mark})
    assert Load.objects.latest("pk").brine_g == 8000


def test_a_changed_batch_is_shown_anew(morning: Book, olga: Client) -> None:
    lot, row = morning.open_lot(kg=10), morning.mix()
    weak = morning.mix("B-2", "06:40", parts=(("water", "9", "kg"), ("salt", "1", "kg")))
    sent = put(morning, lot, brine_batch=str(row.pk))
    mark = olga.post(start_at(), sent).context["before"].mark
    again = olga.post(start_at(), sent | {"brine_batch": str(weak.pk), "seen": mark})
    assert again.status_code == 200
    assert not Load.objects.filter(step_kind="brine").exists()


def test_the_fourth_load_of_a_batch_is_refused(morning: Book, olga: Client) -> None:
    row = morning.mix(at="06:00")
    for n in range(3):
        lot = morning.open_lot(f"U-{n}", 5, at="06:00")
        at = f"07:{n * 5:02}"
        load = morning.start(
            "brine", "Brine tank 1", at, lot, salting=morning.in_batch(row, at, lot)
        )
        morning.end(load, f"07:{n * 5 + 4:02}")
    lot = morning.open_lot("TR-9", 5)
    sent = put(morning, lot, "5", brine_batch=str(row.pk))
    refused(olga, start_at(), sent, "brine_batch", "used for 3 loads")


def test_the_batch_is_named_on_the_loads_page_afterwards(morning: Book, olga: Client) -> None:
    lot, row = morning.open_lot(kg=10), morning.mix()
    load = morning.start("brine", "Brine tank 1", "07:20", lot)
    assert "Name the batch it lies in" in page(olga, "load_show", load.pk)
    url = reverse("load_batch", args=[load.pk])
    sent = {"brine_batch": str(row.pk), "brine_g": "", "reason": "forgotten at the start"}
    refused(olga, url, sent | {"reason": ""}, "reason", "Fill this in")
    asked = olga.post(url, sent)
    assert "75.8 °SAL" in html.unescape(asked.content.decode())
    answer = taken(olga, url, sent | {"seen": asked.context["before"].mark})
    assert "named later by OO: forgotten at the start" in html.unescape(answer.content.decode())


def test_strength_and_ratio_stand_among_the_loads_readings(chilled: Book, clock: Clock) -> None:
    olga = as_person(chilled.operator)
    lot, row = chilled.open_lot("SA-1", 5, species="SAL"), chilled.mix()
    taken(olga, reverse("batch_check", args=[row.pk]), strength())
    sent = put(chilled, lot, "5", brine_batch=str(row.pk))
    mark = olga.post(start_at(), sent).context["before"].mark
    answer = taken(olga, start_at(), sent | {"seen": mark})
    words = html.unescape(answer.content.decode())
    assert "From the weights: 10 kg of B-1 on 5 kg of fish" in words
    assert "B-1 by salometer: read 78 °, brine at 40.0 °F, corrected" in words
    assert Reading.objects.filter(quantity="brine strength").count() == 1


# --- list, discarding, queries --------------------------------------------------------------------


def test_the_list_says_which_batch_is_in_use_and_by_what(morning: Book, olga: Client) -> None:
    lot, row = morning.open_lot(kg=10), morning.mix()
    morning.mix("B-2", "06:40")
    morning.start(
        "brine", "Brine tank 1", "07:20", lot, salting=morning.in_batch(row, "07:20", lot)
    )
    shown = page(olga, "batches")
    assert "in use" in shown
    assert "fresh" in shown
    assert "Brine tank 1" in shown


def test_a_batch_is_poured_away_with_a_reason(morning: Book, olga: Client) -> None:
    row = morning.mix()
    url = reverse("batch_discard", args=[row.pk])
    refused(olga, url, {"reason": ""}, "reason", "Fill this in")
    answer = taken(olga, url, {"reason": "cloudy"})
    assert BatchDiscarded.objects.get().at == moment("07:30")
    assert "cloudy" in html.unescape(answer.content.decode())
    lot = morning.open_lot(kg=10)
    form = olga.get(start_at()).context["form"]
    assert row not in form.fields["brine_batch"].queryset
    assert lot.code == "TR-1"


def test_the_list_asks_no_more_for_twenty_batches_than_for_one(morning: Book, olga: Client) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as found:
            page(olga, "batches")
        return len(found)

    def use(n: int) -> None:
        row = morning.mix(f"B-{n}", "06:00")
        lot = morning.open_lot(f"U-{n}", 5, at="06:00")
        at = f"06:{30 + n}"
        load = morning.start(
            "brine", "Brine tank 1", at, lot, salting=morning.in_batch(row, at, lot)
        )
        morning.end(load, at)

    use(0)
    asked()  # what a page asks once and keeps
    one = asked()
    for n in range(1, 12):
        use(n)
    assert asked() == one


def test_a_tablet_asks_what_a_batch_can_do(morning: Book, olga: Client) -> None:
    lot, row = morning.open_lot(kg=10), morning.mix("B-1", "06:30", CURE)
    query = {"batch": row.pk, "lot": f"{lot.pk}:10000"}
    said = olga.get(reverse("batch_before"), query).json()
    assert "not in Rainbow trout" in said["barred"][0]
    assert ["Brine to fish", "1 : 1 by weight, 10.03 kg on 10 kg of fish"] in said["facts"]
    assert olga.get(reverse("batch_before"), {"batch": "x"}).status_code == 422
    assert olga.get(reverse("batch_before"), {"batch": row.pk}).status_code == 422
    much = query | {"brine_g": 10**9}
    assert "no more than there is" in str(olga.get(reverse("batch_before"), much).json())
