"""Limits on what was declared, nitrite, where the fish goes on to, and laboratories: every edge of each.

Figures of nitrite: 21 CFR 172.175(a) (2006) and 172.177 (2015).  Water-phase salt: FDA warning letter
FLA-02-27 (12 Feb 2002).
"""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lots.core import judging
from lots.core.basis import Pool, SideValues, side_values
from lots.core.finding import Finding, Span
from lots.core.judging import CureUse, Facts, Sample, Went
from lots.core.limits import (
    BadLimit,
    Limit,
    Verdict,
    cure_rows,
    demand,
    knowing_cures,
    limit_from,
    looser,
)
from lots.core.measures import measures
from lots.core.named import named
from lots.core.operating import NoProposal, propose
from lots.core.units import MILLIONTHS, MS_PER_DAY, MS_PER_H, MS_PER_MIN
from tests.core.make import at, make_limit, make_step

MET, PENDING, DEVIATION = Verdict.MET, Verdict.PENDING, Verdict.DEVIATION
SALMON = {"species": ["SAL", "SAB"], "at_most": "200 ppm", "rule": "21 CFR 172.175(a)(2)",
          "words": "smoked, cured salmon and sablefish"}  # fmt: skip
CHUB = {"species": ["CIS"], "at_least": "100 ppm", "at_most": "200 ppm", "rule": "21 CFR 172.177",
        "words": "smoked chub"}  # fmt: skip
CURE = make_limit("cure", permitted=[SALMON, CHUB], rule="21 CFR names no other fish")
DECLARED = make_limit("declared", longer_than="4 h")
FREEZER = make_limit("followed", by="freeze", within="6 h")
SALT = make_limit(
    "measured", quantity="water-phase salt", at_least="3.5 %", laboratory="yes",
    verified_within="90 days",
)  # fmt: skip
SAMPLED = make_limit(
    "measured", quantity="histamine", at_most="35 ppm", laboratory="yes", when_sampled="yes"
)


def of_laboratory(*figures: str, when: int = at("09:00")) -> list[Sample]:
    return [Sample(round(float(one) * MILLIONTHS), when, laboratory=True) for one in figures]


def found(limit: Limit, step: str = "08:00 to 11:00", now: str = "", **facts: Any) -> Finding:
    span = make_step(step)
    moment = at(now) if now else span.end
    assert moment is not None
    return judging.judge(limit, {}, Facts(span, **facts), moment)


# --- declared -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("end", "declared", "verdict"),
    [
        ("12:00", "", MET),  # exactly on it
        ("12:00", "short", MET),
        ("12:01", "short", DEVIATION),
        ("12:01", "", DEVIATION),
        ("20:00", "long", MET),
        ("08:00", "long", MET),
    ],
)
def test_what_lies_longer_than_declared_deviates(end: str, declared: str, verdict: Verdict) -> None:
    assert found(DECLARED, f"08:00 to {end}", declared=declared).verdict is verdict


def test_an_undeclared_brining_breaks_at_four_hours_and_not_when_it_is_seen() -> None:
    finding = found(DECLARED, "08:00 on", now="15:00", declared="short")
    assert finding.verdict is DEVIATION
    assert finding.broke_at == at("12:00")
    assert "7 h, declared short" in finding.figure


def test_while_it_runs_it_says_when_it_would_break() -> None:
    finding = found(DECLARED, "08:00 on", now="10:00")
    assert (finding.verdict, finding.next_at) == (MET, at("12:00"))
    assert found(DECLARED, "08:00 on", now="10:00", declared="long").next_at is None
    assert found(DECLARED, "08:00 to 10:00", now="11:00").next_at is None


def test_an_operating_limit_of_a_declaration_asks_for_adjusting() -> None:
    limit = make_limit("declared", longer_than="4 h", operating={"longer_than": "3 h"})
    assert found(limit, "08:00 to 11:01").verdict is Verdict.ADJUST
    assert found(limit, "08:00 to 11:00").verdict is MET


# --- cure -----------------------------------------------------------------------------------------


def used(ppm: float = 150) -> tuple[CureUse, ...]:
    return (CureUse("B-7", round(ppm * MILLIONTHS), at("08:00")),)


def test_nitrite_in_a_fish_on_no_row_deviates_at_once_with_the_rule_s_number() -> None:
    finding = found(CURE, "08:00 on", "08:01", species="TRR", fish="Rainbow trout", cures=used())
    assert (finding.verdict, finding.broke_at) == (DEVIATION, at("08:00"))
    assert "21 CFR 172.175(a)(2)" in finding.why
    assert "not in Rainbow trout" in finding.why
    assert "21 CFR names no other fish" in finding.why
    assert "B-7, 150 ppm ingoing as planned" in finding.figure


def test_the_least_nitrite_that_can_be_told_is_nitrite() -> None:
    least = (CureUse("B-7", 1, at("08:00")),)
    assert found(CURE, species="TRR", cures=least).verdict is DEVIATION
    assert found(CURE, species="SAB", cures=least).verdict is PENDING


@pytest.mark.parametrize("species", ["TRR", "SAB", "CIS", ""])
def test_without_nitrite_every_fish_is_within_limits(species: str) -> None:
    finding = found(CURE, species=species, cures=used(0))
    assert (finding.verdict, finding.figure) == (MET, "no nitrite used (B-7)")


def test_where_no_batch_is_named_nothing_is_said_of_one() -> None:
    finding = found(CURE, species="TRR")
    assert (finding.verdict, finding.figure) == (MET, "no nitrite known of: no batch is named")


@pytest.mark.parametrize("now", ["08:30", "11:00", "9/08:00"])
def test_a_fish_on_a_row_waits_for_the_laboratory_however_long(now: str) -> None:
    finding = found(CURE, "08:00 to 11:00", now, species="SAB", cures=used())
    assert (finding.verdict, finding.next_at) == (PENDING, None)
    assert "150 ppm ingoing as planned" in finding.figure


@pytest.mark.parametrize(
    ("species", "figures", "verdict"),
    [
        ("SAB", ["200"], MET),
        ("SAB", ["200.000001"], DEVIATION),
        ("SAB", ["0"], MET),
        ("SAB", ["10", "200.1", "20"], DEVIATION),
        ("CIS", ["100"], MET),
        ("CIS", ["99.9"], DEVIATION),
        ("CIS", ["200", "100"], MET),
        ("CIS", ["200.1"], DEVIATION),
    ],
)
def test_the_finished_fish_keeps_to_its_row(
    species: str, figures: list[str], verdict: Verdict
) -> None:
    measured = {"sodium nitrite": of_laboratory(*figures)}
    finding = found(CURE, species=species, cures=used(), measured=measured)
    assert finding.verdict is verdict
    assert ("by 21 CFR" in finding.why) is (verdict is DEVIATION)


def test_a_figure_that_no_laboratory_found_shows_nothing_of_the_finished_fish() -> None:
    by_hand = {"sodium nitrite": [Sample(100 * MILLIONTHS, at("09:00"))]}
    assert found(CURE, species="SAB", cures=used(), measured=by_hand).verdict is PENDING


def test_what_went_in_decides_nothing_once_a_row_permits_it() -> None:
    measured = {"sodium nitrite": of_laboratory("180")}
    assert found(CURE, species="SAB", cures=used(900), measured=measured).verdict is MET


def test_nitrite_found_where_none_is_said_to_have_gone_in_speaks_against_it() -> None:
    measured = {"sodium nitrite": of_laboratory("3")}
    assert found(CURE, species="TRR", cures=used(0), measured=measured).verdict is DEVIATION
    assert found(CURE, species="TRR", measured=measured).verdict is DEVIATION
    assert found(CURE, species="SAB", cures=used(0), measured=measured).verdict is MET
    none = {"sodium nitrite": of_laboratory("0")}
    assert found(CURE, species="TRR", cures=used(0), measured=none).verdict is MET


def test_without_rows_nitrite_is_permitted_in_no_fish() -> None:
    limit = make_limit("cure", permitted=[])
    assert "no fish" in demand(limit)
    assert found(limit, species="SAB", cures=used()).verdict is DEVIATION


# --- the way with nitrite -------------------------------------------------------------------------

WAYS = limit_from(
    {"id": "salt", "kind": "any of", "limits": [
        {"kind": "measured", "quantity": "water-phase salt", "at_least": "3.5 %", "laboratory": "yes"},
        {"kind": "all of", "limits": [
            {"kind": "measured", "quantity": "water-phase salt", "at_least": "3.0 %", "laboratory": "yes"},
            {"kind": "measured", "quantity": "sodium nitrite", "at_least": "100 ppm", "laboratory": "yes"},
        ]},
    ]}
)  # fmt: skip
KNOWING = knowing_cures(WAYS, cure_rows([CURE]))
SALTED = {"water-phase salt": of_laboratory("3.2"), "sodium nitrite": of_laboratory("120")}


def test_the_way_with_nitrite_is_open_only_to_fish_on_a_row() -> None:
    assert found(KNOWING, species="SAB", measured=SALTED).verdict is MET
    finding = found(KNOWING, species="TRR", fish="Rainbow trout", measured=SALTED)
    assert finding.verdict is DEVIATION
    assert "not in Rainbow trout" in finding.why


def test_a_closed_way_is_not_waited_for() -> None:
    short = {"water-phase salt": of_laboratory("3.2")}
    assert found(KNOWING, species="SAB", measured=short).verdict is PENDING
    assert found(KNOWING, species="TRR", measured=short).verdict is DEVIATION
    assert found(KNOWING, species="TRR").verdict is PENDING  # 3.5 % may still come


def test_a_plan_without_a_limit_on_cure_judges_the_way_as_before() -> None:
    assert cure_rows([WAYS]) is None
    assert knowing_cures(WAYS, None) == WAYS
    assert found(WAYS, species="TRR", measured=SALTED).verdict is MET


# --- followed -------------------------------------------------------------------------------------


def into(*rows: tuple[str, int]) -> dict[str, list[Went]]:
    return {"freeze": [Went(at(clock), grams) for clock, grams in rows]}


@pytest.mark.parametrize(
    ("rows", "now", "verdict"),
    [
        ([("14:00", 20_000)], "14:00", MET),  # exactly on it
        ([("14:01", 20_000)], "14:01", DEVIATION),
        ([("10:00", 19_999)], "14:00", PENDING),
        ([("10:00", 19_999)], "14:01", DEVIATION),
        ([("10:00", 12_000), ("14:00", 8_000)], "15:00", MET),
        ([("10:00", 12_000), ("14:01", 8_000)], "15:00", DEVIATION),
        ([("10:00", 25_000)], "11:00", MET),
        ([], "08:00", PENDING),
        ([], "14:00", PENDING),
        ([], "14:01", DEVIATION),
    ],
)
def test_all_of_it_is_in_the_later_step_in_time(
    rows: list[tuple[str, int]], now: str, verdict: Verdict
) -> None:
    finding = found(FREEZER, "08:00 to 09:00", now, grams=20_000, followed=into(*rows))
    assert finding.verdict is verdict
    if verdict is DEVIATION:
        assert (finding.broke_at, finding.last_broke_at) == (at("14:00"), at("14:00"))
    if verdict is PENDING:
        assert finding.next_at == at("14:00")


def test_what_is_not_yet_there_is_not_counted() -> None:
    finding = found(FREEZER, "08:00 on", "09:00", grams=20_000, followed=into(("10:00", 20_000)))
    assert (finding.verdict, finding.figure) == (PENDING, "0 kg of 20 kg so far")


def test_another_step_is_no_way_there() -> None:
    went = {"chill": [Went(at("09:00"), 20_000)]}
    assert found(FREEZER, now="14:01", grams=20_000, followed=went).verdict is DEVIATION


def test_being_late_and_being_short_break_at_the_same_moment() -> None:
    late = found(FREEZER, now="16:00", grams=20_000, followed=into(("15:00", 20_000)))
    short = found(FREEZER, now="14:30", grams=20_000)
    assert (late.broke_at, late.breaches) == (short.broke_at, short.breaches)


# --- measured, by a verification of the process ----------------------------------------------------


def verified(*rows: tuple[int, str]) -> dict[str, list[Sample]]:
    """What was found so many ms after the step's start (before it where below 0)."""
    each = sorted(rows)
    start = at("08:00")
    return {
        "water-phase salt": [
            one for ms, text in each for one in of_laboratory(text, when=start + ms)
        ]
    }


DAYS = 90 * MS_PER_DAY


@pytest.mark.parametrize(
    ("rows", "verdict"),
    [
        ([(-DAYS, "3.5")], MET),  # exactly as old as it may be, exactly on the figure
        ([(-DAYS - 1, "3.5")], PENDING),
        ([(0, "3.499999")], DEVIATION),
        ([(-MS_PER_DAY, "3.49")], DEVIATION),
        ([(-2 * MS_PER_DAY, "3.1"), (-MS_PER_DAY, "3.6")], MET),  # the process was mended
        ([(-2 * MS_PER_DAY, "3.9"), (-MS_PER_DAY, "3.1")], DEVIATION),
        ([(-MS_PER_DAY, "3.9"), (MS_PER_DAY, "3.1")], DEVIATION),  # it was found off afterwards
        ([(-MS_PER_DAY, "3.9"), (MS_PER_DAY, "3.6"), (2 * MS_PER_DAY, "3.1")], MET),
        ([(DAYS, "3.5")], MET),
        ([(DAYS + 1, "3.5")], PENDING),
        ([(-MS_PER_DAY, "3.9"), (-MS_PER_DAY, "3.4")], DEVIATION),  # the least of the same day
        ([], PENDING),
    ],
)
def test_the_last_verification_before_and_the_first_after_speak(
    rows: list[tuple[int, str]], verdict: Verdict
) -> None:
    finding = found(SALT, "08:00 to 09:00", verified=verified(*rows))
    assert finding.verdict is verdict
    assert finding.broke_at is None or finding.broke_at >= at("08:00")


def test_the_lot_s_own_result_goes_before_the_process_s() -> None:
    good, bad = verified((-MS_PER_DAY, "3.9")), verified((-MS_PER_DAY, "3.1"))
    low, high = (
        {"water-phase salt": of_laboratory("3.4")},
        {"water-phase salt": of_laboratory("3.6")},
    )
    assert found(SALT, measured=low, verified=good).verdict is DEVIATION
    assert found(SALT, measured=high, verified=bad).verdict is MET


def test_what_waits_for_a_verification_lapses_when_none_can_come_any_more() -> None:
    waits = found(SALT, "08:00 to 09:00")
    assert (waits.verdict, waits.next_at) == (PENDING, at("08:00") + DAYS)
    span = make_step("08:00 to 09:00")
    over = judging.judge(SALT, {}, Facts(span), span.start + DAYS)
    assert over.verdict is PENDING
    over = judging.judge(SALT, {}, Facts(span), span.start + DAYS + 1)
    assert (over.verdict, over.broke_at, over.no_evidence) == (DEVIATION, span.start + DAYS, True)


def test_a_limit_on_each_lot_looks_at_no_verification() -> None:
    each = make_limit("measured", quantity="water-phase salt", at_least="3.5 %", laboratory="yes")
    finding = found(each, verified=verified((-MS_PER_DAY, "3.9")))
    assert (finding.verdict, finding.figure) == (PENDING, "waits for the laboratory's result")


# --- measured, where the lot was sampled -----------------------------------------------------------


@pytest.mark.parametrize(
    ("figures", "awaited", "verdict"),
    [
        ([], [], MET),
        ([], [at("09:00")], PENDING),
        (["35"], [], MET),
        (["35.000001"], [], DEVIATION),
        (["35"], [at("09:00")], PENDING),
        (["36"], [at("09:00")], DEVIATION),
        (["2", "36", "1"], [], DEVIATION),
    ],
)
def test_a_lot_that_was_sampled_waits_and_one_that_was_not_does_not(
    figures: list[str], awaited: list[int], verdict: Verdict
) -> None:
    measured = {"histamine": of_laboratory(*figures)} if figures else {}
    sampled = {"histamine": awaited} if awaited else {}
    assert found(SAMPLED, measured=measured, sampled=sampled).verdict is verdict


def test_a_sample_for_something_else_asks_nothing_of_it() -> None:
    assert found(SAMPLED, sampled={"Listeria": [at("09:00")]}).verdict is MET


# --- what they say, and how they are read ----------------------------------------------------------


def test_each_says_its_demand() -> None:
    assert demand(DECLARED) == "the step is declared at its start, where it lasts longer than 4 h"
    assert demand(FREEZER) == "all of it in a load of freeze within 6 h of the start"
    assert demand(named(FREEZER, {"freeze": "Freezing"})).startswith(
        "all of it in a load of “Freezing”"
    )
    assert "smoked chub, 100 ppm to 200 ppm by 21 CFR 172.177" in demand(CURE)
    assert demand(SALT).endswith(
        "measured by the laboratory in the lot, or in a verification of the process within 90 days of it"
    )
    assert demand(SAMPLED).endswith("where the lot was sampled for it")


@pytest.mark.parametrize(
    ("kind", "data", "words"),
    [
        ("declared", {}, "“longer_than” is missing"),
        ("declared", {"longer_than": "0 h"}, "longer than nothing"),
        ("followed", {"within": "6 h"}, "“by” is missing"),
        ("followed", {"by": "freeze", "within": "soon"}, "length of time"),
        ("followed", {"by": "freeze", "within": "0 min"}, "longer than nothing"),
        ("cure", {}, "List the fish"),
        ("cure", {"permitted": [SALMON | {"at_most": "200 %"}]}, "needs its unit"),
        ("cure", {"permitted": [SALMON, SALMON]}, "stands in two rows"),
        ("measured", {"quantity": "salt", "at_least": "3 %", "verified_within": "90 days"}, "laboratory"),
        ("measured", {"quantity": "salt", "at_least": "3 %", "when_sampled": "yes"}, "laboratory"),
        (
            "measured",
            {"quantity": "salt", "at_least": "3 %", "laboratory": "yes", "when_sampled": "yes",
             "verified_within": "90 days"},
            "exclude each other",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_said(kind: str, data: dict[str, Any], words: str) -> None:
    with pytest.raises(BadLimit, match=words):
        make_limit(kind, **data)


@pytest.mark.parametrize(
    ("critical", "operating", "is_looser"),
    [
        (DECLARED, make_limit("declared", longer_than="4 h"), False),
        (DECLARED, make_limit("declared", longer_than="4 h 1 min"), True),
        (FREEZER, make_limit("followed", by="freeze", within="5 h"), False),
        (FREEZER, make_limit("followed", by="freeze", within="7 h"), True),
        (FREEZER, make_limit("followed", by="storage", within="5 h"), True),
        (CURE, CURE, True),  # it has none: where nitrite may go is the law's
    ],
)
def test_an_operating_limit_is_never_looser(
    critical: Limit, operating: Limit, is_looser: bool
) -> None:
    assert looser(critical.rule, operating.rule) is is_looser  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("more", "is_looser"),
    [
        ({}, False),
        ({"at_least": "3.4 %"}, True),
        ({"verified_within": "91 days"}, True),
        ({"verified_within": "30 days"}, False),
        ({"verified_within": ""}, False),
        ({"verified_within": "", "laboratory": ""}, True),
        ({"verified_within": "", "when_sampled": "yes"}, True),
    ],
)
def test_an_operating_laboratory_limit_is_content_with_no_less(
    more: dict[str, str], is_looser: bool
) -> None:
    ours = make_limit(
        **{"kind": "measured", "quantity": "water-phase salt", "at_least": "3.5 %",
           "laboratory": "yes", "verified_within": "90 days"} | more
    )  # fmt: skip
    assert looser(SALT.rule, ours.rule) is is_looser  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["declared", "followed", "cure"])
def test_no_thermometer_makes_them_stricter(kind: str) -> None:
    data = {"declared": {"longer_than": "4 h"}, "followed": {"by": "freeze", "within": "6 h"},
            "cure": {"permitted": [SALMON]}}[kind]  # fmt: skip
    assert isinstance(propose({"id": "x", "kind": kind, **data}, 1), NoProposal)


def test_times_are_drawn_against_their_bounds() -> None:
    short = found(DECLARED, "08:00 to 11:00")
    [drawn] = measures(DECLARED, short, "F")
    assert (drawn.value, drawn.high, drawn.unit) == (3, 4, "h")
    went = found(FREEZER, now="14:00", grams=1, followed=into(("09:30", 1)))
    [drawn] = measures(FREEZER, went, "F")
    assert (drawn.value * 2, drawn.high) == (3, 6)
    assert list(measures(CURE, found(CURE), "F")) == []


# --- properties -----------------------------------------------------------------------------------

MINUTES = st.integers(-30, 30).map(lambda n: n * MS_PER_MIN)
ROWS = st.lists(st.tuples(st.integers(0, 12 * 60), st.integers(1, 9000)), max_size=6)


def packs(rows: list[tuple[int, int]]) -> dict[str, list[Went]]:
    start = at("08:00")
    return {"freeze": [Went(start + m * MS_PER_MIN, g) for m, g in sorted(rows)]}


@given(ROWS, st.integers(1, 20_000), st.integers(1, 11), st.integers(0, 14 * 60))
def test_a_shorter_way_is_never_judged_milder(
    rows: list[tuple[int, int]], grams: int, hours: int, minutes: int
) -> None:
    start = at("08:00")
    facts = Facts(Span(start, start + MS_PER_H), grams=grams, followed=packs(rows))
    now = start + minutes * MS_PER_MIN
    shorter = judging.judge(
        make_limit("followed", by="freeze", within=f"{hours} h"), {}, facts, now
    )
    longer = judging.judge(
        make_limit("followed", by="freeze", within=f"{hours + 1} h"), {}, facts, now
    )
    assert shorter.verdict.rank >= longer.verdict.rank


@given(ROWS, st.integers(1, 20_000), st.integers(0, 14 * 60))
def test_once_broken_it_stays_broken_whatever_follows(
    rows: list[tuple[int, int]], grams: int, minutes: int
) -> None:
    start = at("08:00")
    facts = Facts(Span(start, start + MS_PER_H), grams=grams, followed=packs(rows))
    first = judging.judge(FREEZER, {}, facts, start + minutes * MS_PER_MIN)
    later = judging.judge(FREEZER, {}, facts, start + (minutes + 60) * MS_PER_MIN)
    if first.verdict is DEVIATION:
        assert (later.verdict, later.broke_at) == (DEVIATION, first.broke_at)
    if first.verdict is MET:
        assert later.verdict is MET


FIGURES = st.lists(st.integers(0, 400).map(str), min_size=1, max_size=4)


@given(FIGURES, st.integers(0, 400).map(str), st.sampled_from(["SAB", "CIS", "TRR"]))
def test_another_sample_never_makes_a_cure_milder(
    figures: list[str], another: str, species: str
) -> None:
    def verdict(*each: str) -> Verdict:
        measured = {"sodium nitrite": of_laboratory(*each)}
        return found(CURE, species=species, cures=used(), measured=measured).verdict

    assert verdict(*figures, another).rank >= verdict(*figures).rank


@given(
    st.sampled_from(["", "short", "long"]),
    st.sampled_from(["", "TRR", "SAB"]),
    st.lists(st.tuples(st.integers(0, 10**12), st.integers(0, 10**12)), max_size=3),
    ROWS,
    st.lists(st.integers(0, 100), max_size=3),
)
def test_the_facts_come_back_from_a_record_as_they_went_in(
    declared: str,
    species: str,
    cures: list[tuple[int, int]],
    rows: list[tuple[int, int]],
    moments: list[int],
) -> None:
    span = make_step("08:00 to 09:00")
    facts = Facts(
        span, declared=declared, species=species, fish=species.lower(), grams=len(rows),
        cures=tuple(CureUse(f"B-{n}", ppm, when) for n, (ppm, when) in enumerate(cures)),
        followed={name: each for name, each in packs(rows).items() if each},
        verified={"salt": of_laboratory("3.5")} if moments else {},
        sampled={"Listeria": moments} if moments else {},
    )  # fmt: skip
    side = Pool().side(SideValues(span, {}, [], {}, facts))
    back = side_values(side, ()).facts
    assert replace(back, cures=tuple(back.cures)) == facts
