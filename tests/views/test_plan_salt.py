"""The plan page for limits on brining, cure, packing and laboratories: read, written, changed, tried."""

from typing import Any

import pytest
from django.urls import reverse

from lots.core.plan import faults
from lots.entries.plan import begin_draft
from lots.forms.plan_parts import parts
from lots.queries.plans import starting_plans
from tests.make import Book
from tests.views.test_plans import (
    FROZEN,
    NOW,
    STEMS,
    Log,
    _clock,
    add,
    beside,
    draft_of,
    fill,
    kept,
    log,
    page,
    send,
    words,
)

__all__ = ["NOW", "_clock", "log"]

POINTS = starting_plans()["hot-smoked-vacuum-frozen"]["control_points"]
AT = {
    limit["id"]: f"control_points.{n}.limits.{k}"
    for n, point in enumerate(POINTS)
    for k, limit in enumerate(point["limits"])
}
BRINE, PACK = (AT[name].partition(".limits")[0] for name in ("cure", "to-freezer"))
CURE = AT["cure"]
EXTRA = f"{PACK}.limits.{len(POINTS[int(PACK.rpartition('.')[2])]['limits'])}"
SOURCED = {"source": "invented", "flag": "to be confirmed"}


def limit_at(content: dict[str, Any], path: str) -> dict[str, Any]:
    spot: Any = content
    for key in path.split("."):
        spot = spot[int(key)] if isinstance(spot, list) else spot[key]
    return dict(spot)


def typed(at: str, **texts: Any) -> dict[str, Any]:
    return {f"{at}.{key}": text for key, text in texts.items()}


@pytest.mark.parametrize("stem", STEMS)
def test_saving_a_part_untouched_changes_nothing(book: Book, log: Log, stem: str) -> None:
    draft, client = draft_of(book, stem), log(book.coordinator)
    before = kept(draft)
    for part, _ in parts(before):
        assert send(client, draft, part).status_code in (200, 302)
    assert kept(draft) == before


def test_the_rows_of_a_cure_are_shown_with_what_they_demand(book: Book, log: Log) -> None:
    draft, client = draft_of(book), log(book.coordinator)
    text = page(client, draft, BRINE)
    shown = words(text)
    assert "smoked chub, 100 ppm to 200 ppm by 21 CFR 172.177" in shown
    assert "What goes in is a planning figure and proves nothing" in shown
    assert "Sablefish" in shown
    assert "salmon (not in the plan)" in shown  # the rule's other salmons stay ticked
    assert f'name="{CURE}.operating.' not in text


def test_rows_are_changed_added_and_removed(book: Book, log: Log) -> None:
    draft, client = draft_of(book), log(book.coordinator)
    send(client, draft, BRINE, do=f"remove {CURE}.permitted.2")
    send(client, draft, BRINE, do=f"add {CURE}.permitted")
    row = f"{CURE}.permitted.2"
    told = words(page(client, draft, BRINE))
    assert "nothing that can be read yet" in told
    send(client, draft, BRINE, **typed(row, words="white fish", species=["", "WHL"],
         at_most="50,5 ppm", rule="Invented rule 1"))  # fmt: skip
    stored = limit_at(kept(draft), row)
    assert stored == {"words": "white fish", "species": ["WHL"], "at_most": "50.5 ppm",
                      "rule": "Invented rule 1"}  # fmt: skip
    assert faults(kept(draft)) == []
    assert "white fish, at most 50.5 ppm by Invented rule 1" in words(page(client, draft, BRINE))


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [
        ("at_most", "0.02 %", "needs its unit"),
        ("at_most", "", "State the most nitrite"),
        ("rule", "", "State the number of the rule"),
        ("at_least", "300 ppm", "above the most"),
        ("species", [""], "List the FAO codes"),
    ],
)
def test_what_is_wrong_with_a_row_stands_beside_its_field(
    book: Book, log: Log, field: str, text: Any, said: str
) -> None:
    draft, client = draft_of(book), log(book.coordinator)
    at = f"{CURE}.permitted.1.{field}"
    send(client, draft, BRINE, **{at: text})
    assert said in beside(page(client, draft, BRINE), at)


def test_a_limit_becomes_a_cure_and_its_rows_are_filled_in(book: Book, log: Log) -> None:
    draft, client = draft_of(book), log(book.coordinator)
    send(client, draft, BRINE, do=f"remove {CURE}")
    add(client, draft, "cure", BRINE)
    at = f"{BRINE}.limits.{len(POINTS[1]['limits']) - 1}"
    assert limit_at(kept(draft), at)["of"] == "lot"
    offer = "nitrite in the United States: salmon, sablefish, shad, chub, tuna; no other fish"
    fill(client, draft, offer, at)
    assert faults(kept(draft)) == []
    mine, theirs = limit_at(kept(draft), at), POINTS[1]["limits"][-1]
    assert mine["permitted"] == theirs["permitted"]


def test_packs_on_their_way_are_written_with_the_step_they_go_to(book: Book, log: Log) -> None:
    draft, client = draft_of(book), log(book.coordinator)
    add(client, draft, "followed", PACK)
    send(client, draft, PACK, **typed(EXTRA, by="storage", within="2 days", **SOURCED))
    shown = words(page(client, draft, PACK))
    assert "all of it in a load of “Frozen storage” within 2 days of the start" in shown
    assert faults(kept(draft)) == []
    send(client, draft, PACK, **typed(EXTRA, by="smoke"))
    assert "does not come after" in beside(page(client, draft, PACK), f"{EXTRA}.by")


def test_a_declaration_is_written_at_the_brine_alone(book: Book, log: Log) -> None:
    draft, client = draft_of(book), log(book.coordinator)
    send(client, draft, BRINE, **typed(AT["declared"], longer_than="3 h"))
    assert "where it lasts longer than 3 h" in words(page(client, draft, BRINE))
    add(client, draft, "declared", PACK)
    send(client, draft, PACK, **typed(EXTRA, longer_than="4 h", **SOURCED))
    assert "Only of brining" in words(page(client, draft, PACK))


def test_who_is_asked_for_a_laboratory_s_result_can_be_said(book: Book, log: Log) -> None:
    draft, client = draft_of(book), log(book.coordinator)
    add(client, draft, "measured", PACK)
    figures = typed(
        EXTRA, quantity="water-phase salt", at_least="3.5 %", laboratory="yes", **SOURCED
    )
    send(client, draft, PACK, **figures, **typed(EXTRA, verified_within="90 days"))
    assert "in a verification of the process within 90 days of it" in words(
        page(client, draft, PACK)
    )
    assert faults(kept(draft)) == []
    send(client, draft, PACK, **typed(EXTRA, verified_within="", when_sampled="yes"))
    assert "where the lot was sampled for it" in words(page(client, draft, PACK))
    assert "verified_within" not in limit_at(kept(draft), EXTRA)
    send(client, draft, PACK, **typed(EXTRA, laboratory=""))
    assert "by a laboratory" in beside(page(client, draft, PACK), f"{EXTRA}.when_sampled")


def test_a_row_that_permits_more_is_told_of_before_it_is_signed(book: Book, log: Log) -> None:
    client, title = log(book.coordinator), starting_plans()[FROZEN]["title"]
    content = starting_plans()[FROZEN]
    draft = begin_draft(book.coordinator, title, content, book.version, NOW)
    send(client, draft, BRINE, **typed(f"{CURE}.permitted.0", at_most="300 ppm"))
    shown = words(client.get(reverse("draft_publish", args=[draft.pk])).content.decode())
    assert "You changed 200 ppm to 300 ppm" in shown


def test_past_lots_are_held_against_other_limits_on_their_cure_and_packs(
    book: Book, log: Log
) -> None:
    one = book.open_lot()
    pack = book.start("pack", "Table", "08:00", one)
    book.end(pack, "08:30")
    book.start("freeze", "Freezer", "09:30", one)
    content = starting_plans()[FROZEN]
    draft = begin_draft(book.coordinator, content["title"], content, book.version, NOW)
    client = log(book.coordinator)
    send(client, draft, PACK, **typed(AT["to-freezer"], within="1 h"))
    text = words(client.get(reverse("draft_try", args=[draft.pk])).content.decode())
    assert "would have failed" in text
    assert "within 1 h of the start" in text


def test_the_whole_plan_is_shown_with_the_new_kinds(book: Book, log: Log) -> None:
    client = log(book.coordinator)
    text = words(client.get(reverse("version_show", args=[book.version.pk])).content.decode())
    for said in ("goes into no fish but", "declared at its start", "in a load of “Freeze”",
                 "where the lot was sampled for it"):  # fmt: skip
        assert said in text, said
