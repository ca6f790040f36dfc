"""What was declared, the nitrite that went in, where packs went on to, and what laboratories said: judged
as it is entered, dated to when it broke, and never milder for being said late."""

from datetime import datetime
from typing import Any

import pytest

from lots.core.limits import Verdict
from lots.entries import plan as plans
from lots.entries.brining import Salting
from lots.entries.lapses import lapsed, notice_lapses
from lots.entries.load import Portion, end_load, move_start, start_load
from lots.entries.lot import destroy_part, split_lot
from lots.entries.moments import Moments
from lots.entries.reading import accept_late
from lots.models.book import BookLine
from lots.models.deviation import Deviation, DeviationNote
from lots.models.lot import Load, Lot
from lots.queries.judgements import Judged, judge_lot, judge_parts
from lots.queries.lineage import lineage
from lots.queries.plans import starting_plans
from lots.queries.release import bars
from lots.queries.sight import Sight
from tests.entries.roads import LABEL, finished, what_of
from tests.laboratory import NewResult, enter_laboratory_result
from tests.make import Book, moment, seen
from tests.salted import answer, batch, name_batch, send

MET, PENDING, DEVIATION = Verdict.MET, Verdict.PENDING, Verdict.DEVIATION


def found(one: Lot, step: str, limit: str, at: str, sight: Sight | None = None) -> Judged:
    """A limit of the lot's last load of a step, folded from the rows."""
    part = one.parts.filter(step=step).select_related("load__place__within", "lot__plan_version")
    judged = judge_parts(
        [(part.latest("id"), lineage(one))],
        moment(at),
        anew=True,
        **({"sight": sight} if sight else {}),
    )
    return next(judged for judged in judged if judged.limit.id == limit)


def lines() -> int:
    return BookLine.objects.count()


# --- declared -------------------------------------------------------------------------------------


def brining(book: Book, declared: str = "", at: str = "07:30", **more: Any) -> tuple[Lot, Load]:
    one = book.open_lot(**more)
    return one, book.start("brine", "Brine tank 1", at, one, declared=declared)


@pytest.mark.parametrize(("declared", "verdict"), [("short", DEVIATION), ("long", MET)])
def test_a_brining_is_held_to_what_was_declared(
    book: Book, declared: str, verdict: Verdict
) -> None:
    one, _ = brining(book, declared)
    assert found(one, "brine", "declared", "11:30").verdict is MET
    assert found(one, "brine", "declared", "11:31").verdict is verdict


def test_a_night_undeclared_leaves_a_deviation_dated_to_the_four_hours(book: Book) -> None:
    one, _ = brining(book, "short")
    book.at_place("Brine tank 1", "07:30 38")
    notice_lapses([one], moment("2026-03-05 06:00"))
    row = Deviation.objects.get(limit_id="declared")
    assert (row.broke_at, row.line.person) == (moment("11:30"), None)


def test_a_declaration_entered_late_counts_once_it_is_accepted(book: Book) -> None:
    one = book.open_lot()
    portions = [Portion(one, "brine", one.quantity_g)]
    when = seen("07:30", "12:30", "the tablet lay in the office")
    load = start_load(
        book.operator, book.place("Brine tank 1"), portions, when, salting=Salting("long")
    )
    judged = found(one, "brine", "declared", "12:30")
    assert (judged.verdict, judged.judgement.rests_on_late) == (DEVIATION, True)
    accept_late(book.reviewer, [load], "seen going in", moment("13:00"))
    assert found(one, "brine", "declared", "13:00").verdict is MET


def test_a_declaration_made_in_time_stands_when_the_start_is_moved_back(book: Book) -> None:
    one, load = brining(book, "long")
    move_start(book.operator, load, seen("07:25", "07:31"), "it was in at five and twenty")
    assert found(one, "brine", "declared", "14:00").verdict is MET


# --- cure -----------------------------------------------------------------------------------------


def cured(book: Book, species: str, cure_g: int, **more: Any) -> tuple[Lot, Load]:
    wild = {"species": species, "origin": "wild"} if species != "TRR" else {}
    one = book.open_lot(**wild, **more)
    which = batch(book, "B-7", cure_g)
    return one, book.start("brine", "Brine tank 1", "07:30", one, brine_batch=which)


def test_nitrite_in_trout_opens_a_deviation_as_the_fish_goes_in(book: Book) -> None:
    one, load = cured(book, "TRR", 96)
    row = Deviation.objects.get(lot=one, load=load, limit_id="cure")
    # 96 g of 6.25 % is 6 g nitrite in 20 kg brine and 20 kg fish: 150 ppm by equilibrium
    assert "150 ppm ingoing as planned" in row.figure
    assert "21 CFR 172.175(a)(2)" in row.why
    assert "not in Rainbow trout" in row.why
    assert row.broke_at == moment("07:30")


def test_nitrite_in_sablefish_waits_for_the_laboratory_and_holds_the_lot(book: Book) -> None:
    one, _ = cured(book, "SAB", 96)
    judged = found(one, "brine", "cure", "11:00")
    assert judged.verdict is PENDING
    assert any("150 ppm ingoing as planned" in bar for bar in bars(one, moment("11:00")))
    result = NewResult("sodium nitrite", "ppm", ["140", "88"], "Invented Bay Laboratory")
    at = moment("2026-03-05 10:00")
    enter_laboratory_result(book.operator, one, result, at, at, at)
    assert found(one, "brine", "cure", "2026-03-05 11:00").verdict is MET
    assert not Deviation.objects.filter(limit_id="cure").exists()


def test_too_much_nitrite_in_the_finished_fish_opens_a_deviation(book: Book) -> None:
    one, _ = cured(book, "SAB", 96)
    result = NewResult("sodium nitrite", "ppm", ["140", "200.1"], "Invented Bay Laboratory")
    at = moment("2026-03-05 10:00")
    enter_laboratory_result(book.operator, one, result, at, at, at)
    assert "outside at most 200 ppm" in Deviation.objects.get(limit_id="cure").why


@pytest.mark.parametrize("species", ["TRR", "SAB"])
def test_a_batch_without_nitrite_holds_nobody(book: Book, species: str) -> None:
    one, _ = cured(book, species, 0)
    judged = found(one, "brine", "cure", "11:00")
    assert (judged.verdict, judged.finding.figure) == (MET, "no nitrite used (B-7)")


def test_a_batch_named_afterwards_is_judged_as_if_named_at_once(book: Book) -> None:
    one, load = brining(book)
    assert found(one, "brine", "cure", "08:00").finding.figure.startswith("no nitrite known of")
    before = lines()
    name_batch(book, load, batch(book, "B-8", 96), "09:00")
    row = Deviation.objects.get(limit_id="cure")
    assert (row.broke_at, "B-8" in row.figure) == (moment("07:30"), True)
    # what the book held before that line is judged without it
    earlier = found(one, "brine", "cure", "09:00", Sight(up_to=before))
    assert earlier.verdict is MET


def test_only_the_brine_poured_on_this_fish_counts(book: Book) -> None:
    one, load = brining(book)
    # 10 of 20 kg: 3 g nitrite in 10 kg brine and 20 kg fish, 100 ppm
    name_batch(book, load, batch(book, "B-9", 96), "09:00", brine_g=10_000)
    assert "100 ppm ingoing" in found(one, "brine", "cure", "09:00").finding.figure


def test_dry_salt_gives_the_fish_all_its_nitrite(book: Book) -> None:
    one, load = brining(book)
    which = batch(book, "D-1", 48, kg=2, method="dry salt")
    name_batch(book, load, which, "09:00")  # 3 g nitrite on 20 kg fish
    assert "150 ppm ingoing" in found(one, "brine", "cure", "09:00").finding.figure


def test_a_lot_split_off_takes_its_nitrite_along(book: Book) -> None:
    one, load = cured(book, "SAB", 96)
    book.at_place("Brine tank 1", "07:30 38, 09:00 38")
    book.end(load, "10:00")
    child = split_lot(book.operator, one, "SB-2", 8000, "a smaller smoke", moment("10:05"))
    [judged] = [j for j in judge_lot(child, moment("10:06")) if j.limit.id == "cure"]
    assert judged.verdict is PENDING


# --- followed -------------------------------------------------------------------------------------


def packing(book: Book, one: Lot, at: str = "16:00", end: str = "17:00", kg: float = 0) -> Load:
    load = book.start("pack", "Table", at, one, kg=kg)
    book.observe(load, what_of(one, LABEL), True, at)
    if end:
        book.end(load, end)
    return load


def test_packs_that_no_freezer_takes_in_time_lapse_at_the_six_hours(book: Book) -> None:
    one = book.open_lot()
    packing(book, one)
    assert notice_lapses([one], moment("22:00")) == 0
    assert notice_lapses([one], moment("22:01")) == 1
    row = Deviation.objects.get(limit_id="to-freezer")
    assert (row.broke_at, row.line.person) == (moment("22:00"), None)
    assert notice_lapses([one], moment("23:30")) == 0  # told


def test_packs_in_the_freezer_in_time_are_within_limits(book: Book) -> None:
    one = book.open_lot()
    packing(book, one)
    book.start("freeze", "Freezer", "22:00", one)
    judged = found(one, "pack", "to-freezer", "22:00")
    assert (judged.verdict, judged.finding.figure) == (MET, "all of it after 6 h")
    assert lapsed([one], moment("23:59")) == []


def test_packs_a_minute_late_deviate_as_they_go_in(book: Book) -> None:
    one = book.open_lot()
    packing(book, one)
    book.start("freeze", "Freezer", "22:01", one)
    row = Deviation.objects.get(limit_id="to-freezer")
    assert (row.broke_at, row.load.step_kind) == (moment("22:00"), "pack")


def test_the_load_that_comes_too_late_judges_the_packing_by_itself(book: Book) -> None:
    one = book.open_lot()
    pack = packing(book, one)
    book.start("freeze", "Freezer", "21:59", one, kg=19.9)
    assert found(one, "pack", "to-freezer", "22:00").verdict is PENDING
    book.start("freeze", "Freezer", "22:30", one, kg=0.1)
    assert Deviation.objects.get(limit_id="to-freezer").load_id == pack.pk


def test_a_freezer_s_start_entered_late_counts_from_its_entry_until_accepted(book: Book) -> None:
    one = book.open_lot()
    packing(book, one)
    when = seen("17:00", "22:30", "forgotten")
    portions = [Portion(one, "freeze", one.quantity_g)]
    load = start_load(book.operator, book.place("Freezer"), portions, when)
    judged = found(one, "pack", "to-freezer", "22:30")
    assert (judged.verdict, judged.judgement.rests_on_late) == (DEVIATION, True)
    accept_late(book.reviewer, [load], "the camera shows it", moment("23:00"))
    assert found(one, "pack", "to-freezer", "23:00").verdict is MET


def test_moving_the_freezer_s_start_back_judges_the_packing_anew(book: Book) -> None:
    one = book.open_lot()
    packing(book, one)
    load = book.start("freeze", "Freezer", "22:01", one)
    assert Deviation.objects.filter(limit_id="to-freezer").count() == 1
    move_start(book.operator, load, seen("21:55", "22:02"), "the clock was read wrong")
    assert DeviationNote.objects.filter(kind="not reproduced").exists()
    assert found(one, "pack", "to-freezer", "22:03").verdict is MET


def test_of_two_packings_what_goes_on_is_taken_to_be_of_the_newest(book: Book) -> None:
    one = book.open_lot()
    first = packing(book, one, "12:00", "12:30", kg=10)
    second = packing(book, one, "15:00", "15:30", kg=10)
    book.start("freeze", "Freezer", "16:00", one, kg=10)
    verdicts = {
        judged.part.load_id: judged.verdict
        for judged in judge_lot(one, moment("18:01"), anew=True)
        if judged.limit.id == "to-freezer"
    }
    assert verdicts == {first.pk: DEVIATION, second.pk: MET}


def test_fish_frozen_before_the_packing_began_is_not_of_it(book: Book) -> None:
    one = book.open_lot()
    early = book.start("freeze", "Freezer", "10:00", one, kg=10)
    book.at_place("Freezer", "10:00 -2")
    book.end(early, "11:00")
    packing(book, one, "12:00", "12:30")
    judged = found(one, "pack", "to-freezer", "12:40")
    assert judged.finding.figure == "0 kg of 20 kg so far"


def test_a_part_split_off_after_packing_is_followed_into_its_own_freezer(book: Book) -> None:
    one = book.open_lot()
    packing(book, one)
    child = split_lot(book.operator, one, "TR-1-B", 5000, "for another shop", moment("17:05"))
    book.start("freeze", "Freezer", "17:30", one, kg=15)
    assert found(one, "pack", "to-freezer", "17:31").finding.figure == "15 kg of 20 kg so far"
    book.start("freeze", "Freezer", "18:00", child, kg=5)
    judged = found(one, "pack", "to-freezer", "18:01")
    assert (judged.verdict, judged.finding.figure) == (MET, "all of it after 2 h")
    [inherited] = [j for j in judge_lot(child, moment("18:01")) if j.limit.id == "to-freezer"]
    assert inherited.verdict is MET


def test_what_was_destroyed_need_not_be_frozen(book: Book) -> None:
    one = book.open_lot()
    packing(book, one)
    destroy_part(book.operator, one, 2000, "a pouch burst", moment("17:10"))
    book.start("freeze", "Freezer", "17:30", one, kg=18)
    assert found(one, "pack", "to-freezer", "17:31").verdict is MET


def test_what_was_never_packed_is_taken_to_be_what_was_destroyed(book: Book) -> None:
    one = book.open_lot()
    packing(book, one, kg=15)
    destroy_part(book.operator, one, 5000, "heads and bones", moment("17:10"))
    book.start("freeze", "Freezer", "17:30", one, kg=14)
    assert found(one, "pack", "to-freezer", "17:31").finding.figure == "14 kg of 15 kg so far"


def test_what_the_packs_weigh_in_the_end_is_all_that_had_to_follow(book: Book) -> None:
    one = finished(book)  # 20 kg through each step, 18 kg packed
    assert found(one, "pack", "to-freezer", "23:59").verdict is MET


@pytest.mark.parametrize(("at", "verdict"), [("06:00", MET), ("06:01", DEVIATION)])
def test_six_hours_over_the_hour_had_twice_are_six_hours(
    book: Book, at: str, verdict: Verdict
) -> None:
    def utc(text: str, offset: str) -> Moments:
        ms = round(datetime.fromisoformat(f"2026-11-01T{text}{offset}").timestamp() * 1000)
        return Moments(ms, ms, ms, 0)

    one = book.open_lot(at="2026-10-31 20:00")
    began = utc("01:00", "-04:00")  # 01:00 for the first time; 06:00 −05:00 is six hours later
    part = [Portion(one, "pack", one.quantity_g)]
    load = start_load(book.operator, book.place("Table"), part, began)
    end_load(book.operator, load, utc("01:10", "-05:00"))
    into = utc(at, "-05:00")
    start_load(book.operator, book.place("Freezer"), [Portion(one, "freeze", one.quantity_g)], into)
    assert found(one, "pack", "to-freezer", f"2026-11-01 {at}").verdict is verdict


# --- verifications of the process ------------------------------------------------------------------


@pytest.fixture
def verified(book: Book) -> Book:
    """The book with a plan whose salt a verification of the process within 90 days may show."""
    content = starting_plans()["hot-smoked-vacuum-frozen"]
    content["title"] = "Salt verified now and then"
    pack = next(point for point in content["control_points"] if point["id"] == "pack")
    pack["limits"].append(
        {"id": "salt", "kind": "measured", "of": "lot", "quantity": "water-phase salt",
         "at_least": "3.5 %", "laboratory": "yes", "verified_within": "90 days",
         "source": "common practice", "flag": "to be confirmed"}
    )  # fmt: skip
    at = moment("2026-03-01 10:00")
    draft = plans.begin_draft(book.coordinator, content["title"], content, None, at)
    book.version = plans.publish_plan(book.coordinator, draft, "", at)
    return book


SALT = "water-phase salt"


def test_a_verification_speaks_for_lots_packed_after_it(verified: Book) -> None:
    answer(verified, None, SALT, 3.5, "2026-03-02 10:00", process=True)
    one = verified.open_lot()
    packing(verified, one)
    judged = found(one, "pack", "salt", "17:00")
    assert (judged.verdict, "verification of the process" in judged.finding.figure) == (MET, True)


def test_a_lot_waits_for_a_verification_and_its_coming_judges_it(verified: Book) -> None:
    one = verified.open_lot()
    packing(verified, one)
    assert found(one, "pack", "salt", "17:00").verdict is PENDING
    answer(verified, None, SALT, 3.4, "2026-03-20 10:00", process=True)
    row = Deviation.objects.get(limit_id="salt")
    assert (row.lot, row.broke_at >= moment("16:00")) == (one, True)


def test_a_verification_that_fails_speaks_against_the_lots_since_the_last(verified: Book) -> None:
    answer(verified, None, SALT, 3.9, "2026-03-02 10:00", process=True)
    first, second = verified.open_lot("TR-1"), verified.open_lot("TR-2")
    packing(verified, first)
    answer(verified, None, SALT, 3.6, "2026-03-05 10:00", process=True)
    packing(verified, second, "2026-03-06 09:00", "2026-03-06 10:00")
    answer(verified, None, SALT, 3.1, "2026-03-20 10:00", process=True)
    # the first lot lies between two good ones, the second between a good one and a bad one
    assert [row.lot for row in Deviation.objects.filter(limit_id="salt")] == [second]
    line = BookLine.objects.order_by("-number").first()
    assert line is not None
    assert [one.lot_id for one in line.lots.all()] == [second.pk]


def test_a_corrected_verification_speaks_no_more(verified: Book) -> None:
    wrong = answer(verified, None, SALT, 3.1, "2026-03-02 10:00", process=True)
    one = verified.open_lot()
    packing(verified, one)
    assert found(one, "pack", "salt", "17:00").verdict is DEVIATION
    before = lines()
    answer(verified, None, SALT, 3.7, "2026-03-03 10:00", process=True, corrects=wrong)
    assert found(one, "pack", "salt", "17:00").verdict is MET
    assert found(one, "pack", "salt", "17:00", Sight(up_to=before)).verdict is DEVIATION


def test_without_any_verification_the_wait_lapses_after_ninety_days(verified: Book) -> None:
    one = verified.open_lot()
    packing(verified, one)
    verified.start("freeze", "Freezer", "17:00", one)
    notice_lapses([one], moment("2026-06-02 15:59"))  # summer time has begun: 17:00 is ninety days
    assert not Deviation.objects.filter(limit_id="salt").exists()
    notice_lapses([one], moment("2026-06-02 17:01"))
    assert Deviation.objects.get(limit_id="salt").broke_at == moment("2026-06-02 17:00")


def test_another_plan_s_verification_shows_nothing(verified: Book) -> None:
    one = verified.open_lot()
    packing(verified, one)
    content = starting_plans()["hot-smoked-air-chilled"]
    draft = plans.begin_draft(
        verified.coordinator, content["title"], content, None, moment("06:00")
    )
    mine = verified.version
    verified.version = plans.publish_plan(verified.coordinator, draft, "", moment("06:00"))
    answer(verified, None, SALT, 3.9, "12:00", process=True)
    verified.version = mine
    assert found(one, "pack", "salt", "17:00").verdict is PENDING


# --- samples on their way ---------------------------------------------------------------------------


def test_a_sample_sent_holds_the_lot_until_its_result_comes(book: Book) -> None:
    one = finished(book)
    said = "sampled for Listeria on 4 Mar 2026: the result has not come"
    assert said not in bars(one, moment("21:00"))
    sent = send(book, one, "20:30", "Listeria", "histamine")
    assert said in bars(one, moment("21:00"))
    assert found(one, "pack", "listeria-sampled", "21:00").verdict is PENDING
    answer(book, sent, "Listeria", 0, "2026-03-06 10:00")
    assert said not in bars(one, moment("2026-03-06 11:00"))
    assert found(one, "pack", "listeria-sampled", "2026-03-06 11:00").verdict is MET
    held = bars(one, moment("2026-03-06 11:00"))
    assert any(words.startswith("sampled for histamine") for words in held)


def test_what_was_sampled_of_a_lot_that_it_came_from_holds_it_too(book: Book) -> None:
    one = book.open_lot()
    send(book, one, "08:00", "Listeria")
    child = split_lot(book.operator, one, "TR-1-B", 5000, "for another shop", moment("08:05"))
    assert any(words.startswith("sampled for Listeria") for words in bars(child, moment("09:00")))


def test_listeria_found_opens_a_deviation(book: Book) -> None:
    one = finished(book)
    sent = send(book, one, "20:30", "Listeria")
    answer(book, sent, "Listeria", 1, "2026-03-06 10:00")
    assert Deviation.objects.get(limit_id="listeria-sampled").figure == "Listeria 1 per 25 g"


def test_what_a_laboratory_finds_bars_where_the_plan_says_nothing_of_it(book: Book) -> None:
    # FDA CPG 540.525 (Nov 2024): 35 ppm histamine
    content = starting_plans()["hot-smoked-vacuum-frozen"]
    content["title"] = "Says nothing of samples"
    pack = next(point for point in content["control_points"] if point["id"] == "pack")
    pack["limits"] = [one for one in pack["limits"] if not one["id"].endswith("-sampled")]
    at = moment("2026-03-01 10:00")
    draft = plans.begin_draft(book.coordinator, content["title"], content, None, at)
    book.version = plans.publish_plan(book.coordinator, draft, "", at)
    one = finished(book)
    for quantity, unit, figure in (("histamine", "ppm", "35"), ("Listeria", "per 25 g", "0")):
        result = NewResult(quantity, unit, [figure], "Invented Bay Laboratory")
        enter_laboratory_result(
            book.operator, one, result, moment("21:00"), moment("21:00"), moment("21:00")
        )
    assert not [words for words in bars(one, moment("21:10")) if "no limit for it" in words]
    for quantity, unit, figure in (("histamine", "ppm", "35.1"), ("Listeria", "per 25 g", "1")):
        result = NewResult(quantity, unit, [figure], "Invented Bay Laboratory")
        enter_laboratory_result(
            book.operator, one, result, moment("21:20"), moment("21:20"), moment("21:20")
        )
    held = bars(one, moment("21:30"))
    assert "Listeria was found (1 per 25 g), and the plan has no limit for it" in held
    assert "histamine 35.1 ppm is above 35 ppm, and the plan has no limit for it" in held


# --- chilled packs without air ----------------------------------------------------------------------


def test_a_chilled_pack_without_air_needs_its_salt_shown(db: None) -> None:
    from tests.make import make_book

    book = make_book("hot-smoked-air-chilled")
    content = starting_plans()["hot-smoked-vacuum-chilled"]
    content["product"]["process_study"] = "Study 1, 2026"
    at = moment("2026-03-01 10:00")
    draft = plans.begin_draft(book.coordinator, content["title"], content, None, at)
    book.version = plans.publish_plan(book.coordinator, draft, "", at)
    one = book.open_lot(species="SAL")
    not_out = "a chilled pack without air may not go out: "
    assert f"{not_out}water-phase salt is not yet shown" in bars(one, moment("08:00"))
    packing(book, one)
    assert any("waits for the laboratory's result" in words for words in bars(one, moment("18:00")))
    low = NewResult(SALT, "%", ["3.6", "2.9"], "Invented Bay Laboratory")
    enter_laboratory_result(
        book.operator, one, low, moment("18:10"), moment("18:10"), moment("18:10")
    )
    assert any(
        words.startswith(f"{not_out}water-phase salt is not shown to be within its limit")
        for words in bars(one, moment("18:20"))
    )
