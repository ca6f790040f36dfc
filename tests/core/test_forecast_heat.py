"""Forecasts of heat: a smoke with four probes beside what then happened, and sums done another way."""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, exp

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from lots.core.forecast import Forecast, Says, governing
from lots.core.forecast_heat import _lethal as curve_lethal
from lots.core.forecast_heat import forecast_heat, forecast_lethality
from lots.core.lag import Curve, Readings, Reason
from lots.core.units import MS_PER_MIN, to_ninths
from tests.core.scenarios import EVERY_MIN, START, Smoke, hot_smoke, minute

BOUND, HELD_MIN = to_ninths("145", "F"), 30
HELD_MS = HELD_MIN * MS_PER_MIN
CLOSE_MIN = 10
SETTLED_MIN = 15  # after the smokehouse's last change
PULLED_MIN = 40  # after it, as the scenario has it
SEEDS = (7, 8, 9)


def c(figure: str) -> int:
    return to_ninths(figure, "C")


# --- a hot smoke ----------------------------------------------------------------------------------


def unbroken(readings: Readings) -> int:
    """How long it has been at or above the bound by the latest reading, ms."""
    since = None
    for at, value in readings:
        since = (at if since is None else since) if value >= BOUND else None
    return 0 if since is None else readings[-1][0] - since


def asked(smoke: Smoke, readings: Readings, now: int, with_place: bool) -> Forecast:
    past = [pair for pair in readings if pair[0] <= now]
    place = [pair for pair in smoke.place if pair[0] <= now] if with_place else None
    return forecast_heat(BOUND, HELD_MS, unbroken(past), past, now, place)


def happened_min(core: list[float]) -> int:
    """The minute at which the true core had been at the bound for long enough; it only rises."""
    return next(m for m, f in enumerate(core) if f >= 145) + HELD_MIN


@dataclass(frozen=True)
class Asked:
    minute: int
    probe: str
    found: Forecast
    happened: int

    @property
    def off(self) -> float | None:
        """How far the moment forecast lies from what happened, minutes."""
        at = self.found.moment_at
        return None if at is None else minute(at) - self.happened

    def cell(self) -> str:
        if self.found.moment_at is None:
            return f"{self.found.says.value[:18]:18}"
        cell = f"{minute(self.found.moment_at):4.0f} ({self.off:+4.0f})"
        return f"{cell + ('?' if self.found.says is Says.CANNOT_SAY else ''):18}"


def all_asked(smoke: Smoke, with_place: bool, until: int = 330) -> list[Asked]:
    return [
        Asked(m, name, asked(smoke, readings, START + m * MS_PER_MIN, with_place), happened)
        for m in range(EVERY_MIN, until, EVERY_MIN)
        for name, readings in smoke.probes.items()
        for happened in (happened_min(smoke.cores[name]),)
    ]


def show(title: str, rows: list[Asked], smoke: Smoke) -> None:
    print(f"\n{title}: minute forecast for 145 °F held 30 min (off from what happened)")
    truth = "".join(f"{happened_min(core):<18}" for core in smoke.cores.values())
    print(f"happened at  {truth}")
    for m in sorted({row.minute for row in rows}):
        print(f"asked at {m:3} ", *(row.cell() for row in rows if row.minute == m), sep="")


@pytest.mark.parametrize("with_place", [True, False], ids=["air read", "air not read"])
def test_the_forecast_stands_beside_what_then_happened(with_place: bool) -> None:
    """Our own bound: within ten minutes, from a quarter hour after the last change on, air read."""
    smoke = hot_smoke()
    rows = all_asked(smoke, with_place)
    show(f"hot smoke, air {'read' if with_place else 'not read'}", rows, smoke)
    settled = [row for row in rows if row.minute >= smoke.last_stage_min + SETTLED_MIN]
    ahead = [row for row in settled if row.found.says is Says.REACHES]
    assert len(ahead) >= 8
    if with_place:
        assert all(row.found.says in (Says.REACHES, Says.REACHED) for row in settled)
        assert max(abs(row.off or 0) for row in ahead) <= CLOSE_MIN
    late = smoke.last_stage_min + 3 * EVERY_MIN  # the air must be learnt from the cores alone
    assert all(abs(row.off or 0) <= CLOSE_MIN for row in ahead if row.minute >= late)


@pytest.mark.parametrize("seed", SEEDS)
def test_other_smokes_are_forecast_as_closely_once_the_last_stage_runs(seed: int) -> None:
    smoke = hot_smoke(seed=seed)
    rows = all_asked(smoke, True)
    settled = [row for row in rows if row.minute >= smoke.last_stage_min + SETTLED_MIN]
    assert max(abs(row.off or 0) for row in settled) <= CLOSE_MIN


def test_what_is_forecast_before_a_change_is_not_what_happens() -> None:
    """A forecast holds for the present course: hotter air later makes it too late, never too early."""
    smoke = hot_smoke()
    before = [row for row in all_asked(smoke, True) if 90 <= row.minute <= smoke.last_stage_min]
    said = [row.off for row in before if row.found.says is Says.REACHES and row.off is not None]
    assert said and min(said) > -CLOSE_MIN
    assert max(said) > 2 * CLOSE_MIN


def governed(smoke: Smoke, m: int, with_place: bool) -> tuple[str, Forecast]:
    now = START + m * MS_PER_MIN
    return governing(smoke.probes, lambda readings: asked(smoke, readings, now, with_place))


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("with_place", [True, False], ids=["air read", "air not read"])
def test_the_coldest_probe_pulled_out_never_makes_the_forecast_better(
    with_place: bool, seed: int
) -> None:
    smoke = hot_smoke(pulled=True, seed=seed)
    pulled = smoke.last_stage_min + PULLED_MIN
    name, before = governed(smoke, pulled - pulled % EVERY_MIN, with_place)
    if with_place:
        assert (name, before.says) == ("probe 4", Says.REACHES)
    else:
        assert before.says in (Says.REACHES, Says.CANNOT_SAY)
    print(f"\nprobe 4 pulled at {pulled}; before: {before.says.value} {before.moment_at}")
    for m in range(pulled + EVERY_MIN - pulled % EVERY_MIN, 465, EVERY_MIN):
        name, found = governed(smoke, m, with_place)
        print(f"asked at {m}: {name} {found.says.value} {found.why}")
        assert found.says in (Says.CANNOT_SAY, Says.NEVER, Says.MISSES)
        if m > pulled + 2 * EVERY_MIN:  # the others can be said by then, and are better
            assert name == "probe 4", "the others' better time never speaks for it"


@pytest.mark.parametrize("with_place", [True, False], ids=["air read", "air not read"])
def test_a_probe_that_slips_out_into_the_hot_air_is_not_believed_at_once(with_place: bool) -> None:
    smoke = hot_smoke()
    slipped = smoke.last_stage_min + PULLED_MIN
    readings = smoke.probes["probe 4"]
    last_in = max(at for at, _ in readings if minute(at) < slipped)
    air = [pair for pair in smoke.place if pair[0] > last_in]
    shown = [*(pair for pair in readings if pair[0] <= last_in), *air]
    for m in (195, 210):
        found = asked(smoke, shown, START + m * MS_PER_MIN, with_place)
        assert found.says is Says.CANNOT_SAY


def test_the_coldest_probe_governs_while_all_are_in() -> None:
    smoke = hot_smoke()
    name, found = governed(smoke, 180, True)
    latest = max(smoke.cores, key=lambda name: happened_min(smoke.cores[name]))
    assert (name, found.says) == (latest, Says.REACHES)


def test_a_probe_that_falls_silent_governs_and_cannot_be_said() -> None:
    smoke = hot_smoke()
    probes = {**smoke.probes, "probe 4": smoke.probes["probe 4"][:11]}
    now = START + 240 * MS_PER_MIN
    name, found = governing(probes, lambda readings: asked(smoke, readings, now, True))
    assert (name, found.says, found.why) == ("probe 4", Says.CANNOT_SAY, Reason.SILENT.value)


# --- one curve, summed another way ----------------------------------------------------------------


def heated(air: float, tau: float, last: int, start: float = 10.0, every: int = 5) -> Readings:
    """Readings along Newton's law, °C, each `every` minutes."""
    return [
        (START + m * MS_PER_MIN, round(9000 * (air + (start - air) * exp(-m / tau))))
        for m in range(0, last + 1, every)
    ]


def lethal(air: float, tau: float, start: float = 10.0) -> Callable[[float], float]:
    """Minutes at 70 °C in a minute, z 10 °C, of that course."""
    return lambda m: 10 ** ((air + (start - air) * exp(-m / tau) - 70) / 10)


@settings(max_examples=20, deadline=None)
@given(st.integers(74, 95), st.integers(20, 90), st.integers(1, 6))
def test_equivalent_minutes_are_there_when_numerical_integration_has_them(
    air: int, tau: int, wanted: int
) -> None:
    """SciPy: integrate.quad along the exact course, optimize.brentq for the moment."""
    readings = heated(air, tau, 2 * tau)
    last = (readings[-1][0] - START) // MS_PER_MIN
    rate = lethal(air, tau)
    moment = brentq(lambda m: quad(rate, last, m)[0] - wanted, last, last + 2000)
    found = forecast_lethality(
        c("70"), c("10"), wanted * MS_PER_MIN, 0, readings, readings[-1][0], c(str(air))
    )
    assert found.moment_at is not None
    assert abs((found.moment_at - START) / MS_PER_MIN - moment) < max(0.03 * moment, 1)


@given(st.floats(-60, -1), st.floats(0.01, 20), st.floats(0, 0.2))
def test_a_curves_equivalent_minutes_are_its_integral(
    away: float, need: float, outer: float
) -> None:
    """SciPy: integrate.quad of the rate along the curve up to the moment found gives what was wanted."""
    curve = Curve(40.0, 75.0, away, -outer * away)
    moment = curve_lethal(curve, lambda t: 10 ** ((t - 70) / 10), need)
    had = quad(lambda m: 10 ** ((curve.after(m) - 70) / 10), 0, moment, limit=200)[0]
    assert had == pytest.approx(need, abs=0.02 + 0.002 * need)


def test_equivalent_minutes_already_had_count() -> None:
    readings = heated(80, 40, 80)
    wanted, have = 5 * MS_PER_MIN, 3 * MS_PER_MIN

    def moment(wanted: int, have: int) -> int | None:
        now = readings[-1][0]
        return forecast_lethality(c("70"), c("10"), wanted, have, readings, now, c("80")).moment_at

    assert moment(wanted, have) == moment(wanted - have, 0)
    found = forecast_lethality(c("70"), c("10"), wanted, wanted, readings, readings[-1][0])
    assert found.says is Says.REACHED


def test_nothing_counts_below_the_lowest_temperature() -> None:
    readings = heated(80, 40, 60)
    args = (c("70"), c("10"), 2 * MS_PER_MIN, 0.0, readings, readings[-1][0], c("80"))
    free, bound = forecast_lethality(*args), forecast_lethality(*args, lowest=c("76"))
    assert free.moment_at and bound.moment_at and bound.moment_at > free.moment_at
    rate, begins = lethal(80, 40), brentq(lambda m: 80 - 70 * exp(-m / 40) - 76, 0, 1000)
    moment = brentq(lambda m: quad(rate, begins, m)[0] - 2, begins, 1000)
    assert abs((bound.moment_at - START) / MS_PER_MIN - moment) < 0.03 * moment


def test_a_course_that_stays_below_the_lowest_never_has_its_minutes() -> None:
    readings = heated(60, 40, 120)
    now = readings[-1][0]
    found = forecast_lethality(c("70"), c("10"), MS_PER_MIN, 0, readings, now, lowest=c("68"))
    assert found.says is Says.NEVER


def test_a_z_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        forecast_lethality(c("70"), 0, MS_PER_MIN, 0, [], START)


@pytest.mark.parametrize("last", [60, 75])
def test_heat_is_had_its_time_after_the_bound_is_reached(last: int) -> None:
    """From Newton's law by hand: 62.8 °C in air of 80 °C at 40 ln(70/17.2) = 56.1 min."""
    readings = heated(80, 40, last - 20)
    found = forecast_heat(c("62.8"), HELD_MS, 0, readings, readings[-1][0], c("80"))
    reached = brentq(lambda m: 80 - 70 * exp(-m / 40) - 62.8, 0, 1000)
    assert found.says is Says.REACHES
    assert found.moment_at is not None
    assert abs((found.moment_at - START) / MS_PER_MIN - reached - HELD_MIN) < 3
    assert (found.target, found.for_ms) == (c("62.8"), HELD_MS)


def test_heat_that_runs_is_had_when_the_rest_of_it_is_over() -> None:
    readings = heated(80, 40, 80)
    had = 20 * MS_PER_MIN
    found = forecast_heat(c("62.8"), HELD_MS, had, readings, readings[-1][0], c("80"))
    assert found.moment_at == readings[-1][0] + HELD_MS - had


@pytest.mark.parametrize(("short_ms", "says"), [(0, Says.REACHED), (1, Says.REACHES)])
def test_heat_that_was_had_long_enough_is_reached(short_ms: int, says: Says) -> None:
    readings = heated(80, 40, 120)
    found = forecast_heat(c("62.8"), HELD_MS, HELD_MS - short_ms, readings, readings[-1][0])
    assert found.says is says


def test_heat_that_cools_too_soon_is_never_had() -> None:
    """By Newton's law at 20 min it stands at 53 °C, and at 50 min at 36 °C."""
    cooling = heated(10, 60, 20, start=70)
    assert cooling[-1][1] >= c("50")
    found = forecast_heat(c("50"), HELD_MS, 0, cooling, cooling[-1][0], c("10"))
    assert found.says is Says.NEVER


STEADY = [(START + m * MS_PER_MIN, c("66")) for m in range(0, 31, 5)]


@pytest.mark.parametrize(
    ("over_min", "says"), [(None, Says.REACHES), (20, Says.MEETS), (19, Says.MISSES)]
)
def test_a_core_that_stands_hot_needs_but_the_time(over_min: int | None, says: Says) -> None:
    now = STEADY[-1][0]
    deadline = None if over_min is None else now + over_min * MS_PER_MIN
    have = 10 * MS_PER_MIN
    found = forecast_heat(c("62.8"), HELD_MS, have, STEADY, now, deadline_at=deadline)
    assert (found.says, found.moment_at) == (says, now + HELD_MS - have)


def test_a_core_that_stands_too_cold_cannot_be_said() -> None:
    found = forecast_heat(c("70"), HELD_MS, 0, STEADY, STEADY[-1][0])
    assert (found.says, found.why) == (Says.CANNOT_SAY, Reason.NO_TREND.value)


def test_a_core_that_stands_gains_equivalent_minutes_at_its_own_rate() -> None:
    now, wanted = STEADY[-1][0], 2 * MS_PER_MIN
    found = forecast_lethality(c("70"), c("10"), wanted, 0, STEADY, now)
    assert found.moment_at == now + ceil(wanted * 10**0.4)


def test_no_readings_cannot_be_said() -> None:
    for found in (
        forecast_heat(c("70"), HELD_MS, 0, [], START),
        forecast_lethality(c("70"), c("10"), MS_PER_MIN, 0, [], START),
    ):
        assert (found.says, found.why) == (Says.CANNOT_SAY, Reason.TOO_FEW.value)
