"""What the record prints of batches, pieces, weights, samples sent and the pack."""

from dataclasses import replace

import pytest

from lots.core.record import canonical_bytes, record_from
from tests.pdf.make import make_record
from tests.pdf.test_render import RICH, section, whole


@pytest.mark.parametrize(
    "words",
    [
        "Brine B-0304 Made 4 Mar 2026 16:10 −05:00 TQ Temperature when made 50.0 °F Loads brined in it 2",
        "Done with 5 Mar 2026 09:00 −05:00 JW: two loads were enough",
        "water 12 L of 1 kg each 12 kg",
        "curing salt: curing salt no. 1 160 g 160 g 6.25 %, 10 g",
        "strength 63.1 °SAL of 26.395 % salt at 100 °SAL, 60 °F",
        "61.5 °SAL in brine of 50.0 °F",
        "reads true at 60 °F, 100 is 26.395 %",
        "Corrects no. 3. Note: stirred twice. Entered 4 Mar 2026 16:31 −05:00.",
        "Load 2 7.5 kg of fish; declared long",
        "ingoing sodium nitrite 444 ppm 10 g over fish and brine, 22.53 kg",
        "Dry salting S-0304",
        "Load 8 15.0 kg of fish; not declared",
        "Named late the fish lay in it already when it was entered",
        "forecast for the thickest piece 3.1 to 4.4 %",
        "planning figures",
    ],
)
def test_the_salt_section_says(words: str) -> None:
    assert words in section(RICH, "salt")


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("pieces", "28 mm, 412 g 1.4 in"),
        ("pieces", "thickest: 35.6 mm spread: 7.6 mm load 2, Calliper C-1"),
        ("pieces", "smoked, load 3 172 lb"),
        ("pieces", "Why: typed from the scale’s slip. Entered 4 Mar 2026 17:40 −05:00."),
        ("pieces", "trimmed 78.5 % 94.2 kg of 120 kg received"),
        ("results", "salt, moisture, sodium nitrite Invented Lab, Ltd. loin, fish 4 has not come"),
        ("pack", "To be kept frozen Because no laboratory has shown its salt"),
        ("pack", "“Keep frozen. Thaw under refrigeration immediately before use.”"),
        ("pack", "Ingredients and additives salt, sugar, sodium nitrite"),
        ("pack", "use by 5 Sep 2026 6 months from 5 Mar 2026, the first packing"),
        ("pack", "10.0 kg ordered fresh"),
    ],
)
def test_pieces_results_and_pack_say(key: str, words: str) -> None:
    assert words in section(RICH, key)


def test_the_loads_say_their_batch_and_what_was_declared() -> None:
    loads = tuple(
        replace(one, batch="B-0304", declared="short") if one.number == 2 else one
        for one in RICH.loads
    )
    said = section(replace(RICH, loads=loads), "loads")
    assert "batch B-0304" in said
    assert "Declared short." in said
    assert "Declared" not in section(RICH, "loads")


def test_a_result_of_the_plans_process_and_a_corrected_one_say_so() -> None:
    first, second = RICH.results
    other = replace(second, of="process of the plan, version 3", reason="a digit was misread")
    said = section(replace(RICH, results=(first, other)), "results")
    assert "process of the plan, version 3" in said
    assert "Corrects no. 1. a digit was misread" in said


def test_a_lot_without_any_of_it_says_none() -> None:
    bare = make_record(batches=(), pieces=(), weights=(), yields=(), sent=(), salt=(), pack=())
    text = whole(bare)
    assert "No batch of brine or dry salt was entered for this lot." in text
    assert "Nothing is packed yet." in text
    assert "Samples sent" not in text


@pytest.mark.parametrize("form", [1, 2])
def test_a_record_of_an_earlier_form_has_none_of_it_and_keeps_its_bytes(form: int) -> None:
    data = canonical_bytes(replace(RICH, form=form))
    assert b"batches" not in data
    assert canonical_bytes(record_from(data)) == data
