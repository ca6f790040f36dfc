"""Whether the instruments that readings were taken with were checked, recently enough and within tolerance."""

import pytest

from lots.core import judging
from lots.core.finding import Finding
from lots.core.judging import Checked, Facts, Use
from lots.core.units import MS_PER_H, read_difference
from tests.core.make import at, make_limit, make_step

DAILY = make_limit("accurate", within="24 h", tolerance="2 °F")
LOOSE = make_limit("accurate", within="24 h")
STEP = "2/08:00 to 2/16:00"


def check(when: str, off: str | None = "0", within: bool = True) -> Checked:
    return Checked(at(when), None if off is None else read_difference(f"{off} °F"), within)


def used(*checks: Checked, first: str = "2/08:00", last: str = "2/12:00", name: str = "T-1") -> Use:
    return Use(name, at(first), at(last), checks)


def found(*uses: Use, limit: object = DAILY, step: str = STEP, now: str = "") -> Finding:
    span = make_step(step)
    facts = Facts(span, uses={"place": uses})
    moment = at(now) if now else span.end
    assert moment is not None
    return judging.judge(limit, {}, facts, moment)  # type: ignore[arg-type]


# --- how long ago ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("when", "verdict"),
    [("12:00", "MET"), ("11:59.99", "DEVIATION"), ("2/08:00", "MET"), ("2/07:59", "MET")],
)
def test_a_check_holds_for_exactly_so_long_to_the_last_reading(when: str, verdict: str) -> None:
    assert found(used(check(when))).verdict == verdict


def test_it_broke_when_the_check_grew_too_old_not_before_it_was_used() -> None:
    assert found(used(check("10:00"))).broke_at == at("2/10:00")
    assert found(used(check("01:00"))).broke_at == at("2/08:00")


@pytest.mark.parametrize(
    ("second", "verdict"), [("2/06:00", "MET"), ("2/06:01", "DEVIATION"), ("2/05:59", "DEVIATION")]
)
def test_each_time_between_checks_counts_while_it_is_used(second: str, verdict: str) -> None:
    """From 06:00 on the first day to 06:00 on the third, with one check between."""
    use = used(check("06:00"), check(second), first="07:00", last="3/06:00")
    assert found(use, step="07:00 to 3/08:00").verdict == verdict


def test_the_oldest_check_of_several_instruments_is_told() -> None:
    told = found(used(check("2/07:00")), used(check("2/04:00"), name="T-2"))
    assert told.verdict == "MET"
    assert (told.figure, told.numbers["age_ms"]) == ("T-2 last checked 8 h before", 8 * MS_PER_H)


# --- how far off ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("off", "verdict"),
    [("2", "MET"), ("-2", "MET"), ("2.1", "DEVIATION"), ("-2.1", "DEVIATION"), ("0", "MET")],
)
def test_exactly_the_tolerance_is_within_it(off: str, verdict: str) -> None:
    assert found(used(check("2/07:00", off))).verdict == verdict


def test_a_difference_in_celsius_is_held_against_one_in_fahrenheit_exactly() -> None:
    nine_fifths = Checked(at("2/07:00"), read_difference("1 °C"), within=True)
    exact = make_limit("accurate", within="24 h", tolerance="1.8 °F")
    less = make_limit("accurate", within="24 h", tolerance="1.7 °F")
    assert found(used(nine_fifths), limit=exact).verdict == "MET"
    assert found(used(nine_fifths), limit=less).verdict == "DEVIATION"


def test_without_a_tolerance_of_its_own_the_checks_counts() -> None:
    assert found(used(check("2/07:00", "5")), limit=LOOSE).verdict == "MET"
    assert found(used(check("2/07:00", "1", within=False)), limit=LOOSE).verdict == "DEVIATION"
    assert found(used(check("2/07:00", "1", within=False))).verdict == "DEVIATION"


def test_a_check_of_something_else_than_a_temperature_holds_by_its_own_word() -> None:
    assert found(used(check("2/07:00", None))).verdict == "MET"
    assert found(used(check("2/07:00", None, within=False))).verdict == "DEVIATION"


@pytest.mark.parametrize(
    ("bad", "broke"),
    [
        ("2/07:00", "2/08:00"),  # before it was used: from the first reading on
        ("2/10:00", "2/08:00"),  # while it was used: since the last good check, so from the first
        ("2/14:00", "2/08:00"),  # after it was used: the same
    ],
)
def test_out_of_tolerance_before_while_or_after_use_puts_its_readings_in_doubt(
    bad: str, broke: str
) -> None:
    checks = sorted((check("2/06:00"), check(bad, "3")), key=lambda one: one.at)
    told = found(used(*checks))
    assert (told.verdict, told.broke_at) == ("DEVIATION", at(broke))
    assert told.why == "its readings are in doubt"


def test_readings_before_a_good_check_are_not_in_doubt_for_a_bad_one_after_it() -> None:
    use = used(check("2/06:00"), check("2/10:00"), check("2/11:00", "3"))
    told = found(use)
    assert told.verdict == "DEVIATION"
    # the core dates it to the first reading since the last check before use; never too late
    assert told.broke_at is not None and at("2/08:00") <= told.broke_at <= at("2/10:00")


def test_a_bad_check_put_right_by_a_good_one_before_use_does_not_count() -> None:
    assert found(used(check("2/06:00", "3"), check("2/07:00"))).verdict == "MET"


def test_a_bad_check_after_the_next_good_one_does_not_count() -> None:
    assert found(used(check("2/07:00"), check("2/13:00"), check("2/14:00", "3"))).verdict == "MET"


def test_a_check_still_to_come_is_not_looked_at() -> None:
    use = used(check("2/07:00"), check("2/14:00", "3"))
    assert found(use, now="2/13:00").verdict == "MET"
    assert found(use, now="2/14:00").verdict == "DEVIATION"


# --- not checked, not named -----------------------------------------------------------------------


def test_an_instrument_without_any_check_before_it_was_used_is_a_deviation() -> None:
    assert found(used()).figure == "T-1 not checked"
    assert found(used(check("2/09:00"))).verdict == "DEVIATION"
    assert found(used(check("2/08:00"))).verdict == "MET"


def test_a_reading_whose_instrument_nobody_named_is_a_deviation() -> None:
    told = found(used(check("2/07:00")), used(name="", first="2/09:00", last="2/09:00"))
    assert (told.verdict, told.figure) == ("DEVIATION", "instrument not named")
    assert told.broke_at == at("2/09:00")


def test_no_instrument_in_use_is_pending_while_the_step_runs_and_a_deviation_after() -> None:
    assert found(step="2/08:00 on", now="2/09:00").verdict == "PENDING"
    assert found().verdict == "DEVIATION"


def test_all_instruments_that_broke_are_counted_and_the_first_dates_it() -> None:
    told = found(used(check("10:00")), used(name="T-2"), used(check("2/07:00"), name="T-3"))
    assert (told.verdict, told.breaches, told.broke_at) == ("DEVIATION", 2, at("2/08:00"))


def test_instruments_of_another_subject_do_not_count() -> None:
    span = make_step(STEP)
    limit = make_limit("accurate", within="24 h", of="fish")
    facts = Facts(span, uses={"place": (used(),), "fish": (used(check("2/07:00")),)})
    assert judging.judge(limit, {}, facts, at("2/16:00")).verdict == "MET"
