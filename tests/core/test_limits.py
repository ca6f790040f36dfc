"""Limits read from a plan's data, said back in words, compared, and refused."""

from typing import Any

import pytest

from lots.core.limits import (
    BadLimit,
    Verdict,
    demand,
    limit_from,
    looser,
    mildest,
    operating_demand,
    worst,
)
from tests.core.make import make_limit

STAGES = [
    {"to": "70 °F (21 °C)", "within": "2 h"},
    {"to": "40 °F (4 °C)", "within": "4 h", "counted_from": "the stage before"},
]
SALT = {"kind": "measured", "quantity": "water-phase salt", "at_least": "3.5 %"}


def test_the_verdicts_go_from_mildest_to_worst() -> None:
    assert [v.value for v in sorted(Verdict, key=lambda v: v.rank)] == [
        "MET",
        "ADJUST",
        "PENDING",
        "DEVIATION",
    ]
    assert worst([Verdict.MET, Verdict.PENDING, Verdict.ADJUST]) is Verdict.PENDING
    assert mildest([Verdict.DEVIATION, Verdict.ADJUST]) is Verdict.ADJUST
    assert (worst([]), mildest([])) == (Verdict.MET, Verdict.DEVIATION)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"kind": "at most", "of": "fish", "at_most": "40 °F (4.4 °C)"}, "the fish: at most 40 °F (4.4 °C)"),
        ({"kind": "at least", "at_least": "0 °C", "window": "last reading"}, "the place: at least 0 °C at the last reading"),
        ({"kind": "between", "of": "room", "at_least": "50 °F", "at_most": "70 °F"}, "the room that the place stands in: at least 50 °F and at most 70 °F"),
        (
            {"kind": "maintained", "of": "fish", "at_least": "145 °F", "for": "30 min", "longest_gap": "10 min", "probes": 3},
            "the fish (at least 3 of them): at least 145 °F for 30 min without a break, readings no more than 10 min apart",
        ),
        (
            {"kind": "cooling", "of": "fish", "from": "140 °F", "stages": STAGES},
            "the fish: cooled from 140 °F to 70 °F (21 °C) within 2 h counted from the start, then to 40 °F (4 °C) within 4 h counted from the stage before",
        ),
        ({"kind": "duration", "at_least": "6 h", "at_most": "24 h"}, "the step lasts at least 6 h and at most 24 h"),
        ({"kind": "duration", "longer_than": "4 h"}, "the step lasts longer than 4 h"),
        ({"kind": "every", "within": "2 h", "file_within": "12 h"}, "the place: a reading at least every 2 h; a logger's file within 12 h of the end"),
        (SALT | {"laboratory": "yes"}, "water-phase salt at least 3.5 %, measured by the laboratory"),
        ({"kind": "observed", "what": "ice round the fish"}, "looked for and found so: ice round the fish"),
        (
            {"kind": "given", "if": {"kind": "duration", "longer_than": "4 h"}, "then": {"kind": "at most", "of": "room", "at_most": "38 °F"}},
            "where the step lasts longer than 4 h: the room that the place stands in: at most 38 °F",
        ),
        ({"kind": "lethality"}, "lethality: its figures are not stated, so it is kept and printed, not judged"),
    ],
)  # fmt: skip
def test_a_limit_is_said_back_in_one_sentence(data: dict[str, Any], words: str) -> None:
    assert demand(limit_from({"id": "x", **data})) == words


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"kind": "fish"}, "kind"),
        ({}, "“kind” is missing"),
        ({"kind": "at most"}, "at_most"),
        ({"kind": "at most", "at_most": "cold"}, "not a temperature"),
        ({"kind": "at most", "at_most": "40 °F", "of": "moon"}, "moon"),
        ({"kind": "at most", "at_most": "40 °F", "window": "at noon"}, "window"),
        ({"kind": "at most", "at_most": "40 °F", "probes": 0}, "probes"),
        ({"kind": "between", "at_least": "5 °C", "at_most": "4 °C"}, "cannot both hold"),
        ({"kind": "maintained", "for": "30 min"}, "at_least"),
        ({"kind": "maintained", "for": "30 min", "at_least": "1 °C", "at_most": "2 °C"}, "either"),
        ({"kind": "maintained", "at_least": "63 °C"}, "for"),
        ({"kind": "maintained", "at_least": "63 °C", "for": "30 min", "window": "first reading"}, "window"),
        ({"kind": "cooling", "from": "60 °C"}, "stage"),
        ({"kind": "cooling", "from": "60 °C", "stages": [{"to": "60 °C", "within": "2 h"}]}, "go down"),
        ({"kind": "cooling", "from": "60 °C", "stages": [{"to": "21 °C", "within": "2 h"}, {"to": "4 °C", "within": "2 h"}]}, "longer"),
        ({"kind": "duration"}, "at_least"),
        ({"kind": "duration", "at_least": "6 h", "at_most": "5 h"}, "cannot both hold"),
        ({"kind": "every"}, "within"),
        ({"kind": "measured", "quantity": "salt"}, "at_least"),
        ({"kind": "measured", "quantity": "salt", "at_least": "4 %", "at_most": "3 %"}, "cannot both hold"),
        ({"kind": "measured", "quantity": "love", "at_least": "4 %"}, "love"),
        ({"kind": "observed"}, "what"),
        ({"kind": "any of", "limits": [SALT]}, "at least two"),
        ({"kind": "all of", "limits": [SALT | {"id": "a"}, SALT | {"id": "a"}]}, "same id"),
        ({"kind": "given", "if": SALT}, "then"),
    ],
)  # fmt: skip
def test_data_that_is_no_limit_is_refused(data: dict[str, Any], said: str) -> None:
    with pytest.raises(BadLimit, match=said):
        limit_from({"id": "x", **data})


def test_a_refusal_names_the_limit_that_it_is_about() -> None:
    with pytest.raises(BadLimit, match=r"^salt/2: "):
        limit_from({"id": "salt", "kind": "any of", "limits": [SALT, {"kind": "measured"}]})


def test_parts_are_named_after_the_whole_and_take_its_subject() -> None:
    whole = make_limit(
        "all of", of="room", limits=[{"kind": "at most", "at_most": "3 °C"}, SALT | {"of": "lot"}]
    )
    assert [(leaf.id, leaf.of) for leaf in whole.leaves()] == [
        ("limit/1", "room"),
        ("limit/2", "lot"),
    ]


@pytest.mark.parametrize(
    ("kind", "critical", "stricter", "milder"),
    [
        ("at most", {"at_most": "40 °F"}, {"at_most": "38 °F"}, {"at_most": "41 °F"}),
        ("at least", {"at_least": "145 °F"}, {"at_least": "150 °F"}, {"at_least": "144 °F"}),
        ("maintained", {"at_least": "145 °F", "for": "30 min"}, {"for": "35 min"}, {"for": "29 min"}),
        ("maintained", {"at_most": "-4 °F", "for": "168 h"}, {"at_most": "-6 °F"}, {"at_most": "0 °F"}),
        ("cooling", {"from": "140 °F", "stages": STAGES}, {"stages": [STAGES[0] | {"within": "90 min"}, STAGES[1]]}, {"stages": [STAGES[0] | {"within": "121 min"}, STAGES[1]]}),
        ("duration", {"at_most": "20 h"}, {"at_most": "19 h"}, {"at_most": "21 h"}),
        ("duration", {"longer_than": "4 h"}, {"longer_than": "5 h"}, {"longer_than": "3 h"}),
        ("every", {"within": "2 h"}, {"within": "1 h"}, {"within": "3 h"}),
        ("measured", {"quantity": "salt", "at_least": "3 %"}, {"at_least": "3.2 %"}, {"at_least": "2.9 %"}),
    ],
)  # fmt: skip
def test_an_operating_limit_that_asks_for_less_is_looser(
    kind: str, critical: dict[str, Any], stricter: dict[str, Any], milder: dict[str, Any]
) -> None:
    for operating, expected in ((stricter, False), ({}, False), (milder, True)):
        limit = limit_from(
            {"id": "x", "kind": kind, **critical, "operating": operating or critical}
        )
        assert limit.operating is not None
        assert looser(limit.rule, limit.operating) is expected


def test_an_operating_limit_is_said_in_words() -> None:
    assert (
        operating_demand(make_limit("at most", at_most="40 °F", operating={"at_most": "38 °F"}))
        == "at most 38 °F"
    )
    assert operating_demand(make_limit("at most", at_most="40 °F")) == ""
