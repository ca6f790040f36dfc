"""A script of acts at moments, played in order of time across all lots; each verb is one entry."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Final

from lots.core.units import GRAMS_PER_LB
from lots.entries import load as loads
from lots.entries import logger, reading
from lots.entries import lot as lots_entries
from lots.entries.brining import NOT_SALTED, Salting
from lots.entries.files import Upload
from lots.entries.lot import NewLot
from lots.entries.moments import Moments, moments
from lots.entries.readings import Figure
from lots.logger.choices import Choices
from lots.management.demo.calendar import MINUTE, Calendar
from lots.management.demo.curves import Curve, csv_of
from lots.management.demo.house import Stage
from lots.models.lot import BrineBatch, LaboratorySent, Load, Lot
from lots.models.people import Person
from lots.models.reading import Reading
from lots.queries.batches import Ask, before_load
from lots.queries.lineage import balance
from lots.queries.plans import plan_value

Act = Callable[[int], object]
PACKED_SHARE: Final = 0.68  # of what came in; the rest is trim, drip and drying
PACKED_STEPS: Final = ("pack", "freeze", "storage")
SALTED_STEPS: Final = ("brine", "dry-salt")
EARLY: Final = range(5, 15)  # Olive's hours; the others are Bram's
PROBES: Final = ("probe 1", "probe 2", "probe 3")
FROZEN_FISH: Final = "fish frozen solid when it came"


def grams(lb: float) -> int:
    return round(lb * float(GRAMS_PER_LB))


class Script:
    """Acts waiting for their moment, and what they have made so far, by key."""

    def __init__(self, stage: Stage, calendar: Calendar) -> None:
        self.stage = stage
        self.calendar = calendar
        self.codes: dict[str, str] = {}
        self.loads: dict[str, Load] = {}
        self.curves: dict[str, list[Curve]] = {}
        self.rows: dict[str, list[Reading]] = {}
        self.batches: dict[str, BrineBatch] = {}
        self.sent: dict[str, LaboratorySent] = {}
        self._acts: list[tuple[int, int, Act]] = []

    def add(self, at: int, act: Act) -> None:
        """One act at a moment; what is still to come is left out."""
        if at <= self.calendar.now:
            self._acts.append((at, len(self._acts), act))

    def play(self) -> None:
        for at, _, act in sorted(self._acts, key=lambda one: one[:2]):
            act(at)

    # --- what acts look up ------------------------------------------------------------------------

    def lot(self, key: str) -> Lot:
        """The lot as it stands now."""
        rows = Lot.objects.select_related("plan_version")
        return rows.get(code=self.codes[key])

    def hand(self, at: int) -> Person:
        """Whose shift it is."""
        hour = datetime.fromtimestamp(at / 1000, self.calendar.zone).hour
        return self.stage.people["olive" if hour in EARLY else "bram"]

    def packed(self, lot: Lot) -> int:
        return round(balance(lot).left * PACKED_SHARE)

    # --- lots -------------------------------------------------------------------------------------

    def receive(
        self, key: str, at: int, stem: str, number: int, plan: str, species: str,
        supplier: str, supplier_lot: str, lb: float, read: Sequence[str], note: str = "",
    ) -> None:  # fmt: skip
        self.codes[key] = self.calendar.code(stem, at, number)

        def act(now: int) -> None:
            version = self.stage.plans[plan]
            value = plan_value(version)
            asked = lots_entries.asked_at_receiving(value)
            origin = next(one.origin for one in value.species if one.code == species)
            figures = [
                Figure(text, "F", f"fish {n}", instrument=self.stage.instruments["Thermometer 1"])
                for n, text in enumerate(read, 1)
            ]
            lots_entries.open_lot(
                self.hand(now),
                NewLot(
                    self.codes[key], version, species, origin, self.stage.suppliers[supplier],
                    supplier_lot, grams(lb), self.stage.places["Dock"], figures,
                    {what: True for what in asked if what != FROZEN_FISH}, note=note,
                ),
                moments(now, now),
            )  # fmt: skip

        self.add(at, act)

    def finish(self, key: str, at: int, pack_lb: float, note: str = "") -> None:
        def act(now: int) -> None:
            lot = self.lot(key)
            packed = self.packed(lot)
            packs = round(packed / grams(pack_lb))
            lots_entries.finish_lot(self.hand(now), lot, packed, packs, moments(now, now), note)

        self.add(at, act)

    # --- loads ------------------------------------------------------------------------------------

    def start(
        self,
        key: str,
        at: int,
        step: str,
        place: str,
        keys: Sequence[str],
        note: str = "",
        declared: str = "short",
    ) -> None:
        """`declared`: of a brining or dry salting, whether it is to be short or long."""

        def act(now: int) -> None:
            found = [self.lot(one) for one in keys]
            portions = [
                loads.Portion(
                    one, step, self.packed(one) if step in PACKED_STEPS else balance(one).left
                )
                for one in found
            ]
            salting = (
                self._salting(key, declared, portions, now) if step in SALTED_STEPS else NOT_SALTED
            )
            self.loads[key] = loads.start_load(
                self.hand(now), self.stage.places[place], portions, moments(now, now), note, salting
            )

        self.add(at, act)

    def _salting(
        self, key: str, declared: str, portions: Sequence[loads.Portion], now: int
    ) -> Salting:
        """The batch that was made for the load, whose words its people have seen."""
        row = self.batches.get(key)
        if row is None:
            return Salting(declared)
        fish = tuple((one.lot, one.grams) for one in portions)
        return Salting(declared, row, seen=before_load(Ask(row, None, fish, now)).mark)

    def end(self, key: str, at: int, note: str = "") -> None:
        self.add(
            at,
            lambda now: loads.end_load(self.hand(now), self.loads[key], moments(now, now), note),
        )

    # --- readings ---------------------------------------------------------------------------------

    def at_place(
        self, place: str, at: int, as_read: str, seen_at: int | None = None, because: str = ""
    ) -> None:
        """A place read by hand; `seen_at` where it is entered later than seen."""

        def act(now: int) -> None:
            figure = Figure(as_read, "F", instrument=self.stage.instruments["Thermometer 2"])
            when = Moments(seen_at or now, now, now, 0, because)
            reading.enter_readings(self.hand(now), self.stage.places[place], None, [figure], when)

        self.add(at, act)

    def round(self, key: str, at: int, wrong: Mapping[int, str] | None = None) -> None:
        """A round over the three probes of a load, read off the display; `wrong` are slips of the
        hand, by probe."""

        def act(now: int) -> None:
            load = self.loads[key]
            figures = [
                Figure((wrong or {}).get(n, curve.read(now)), "F", PROBES[n])
                for n, curve in enumerate(self.curves[key])
            ]
            done = reading.enter_readings(
                self.hand(now), load.place, load, figures, moments(now, now)
            )
            self.rows[f"{key} {at}"] = done.readings

        self.add(at, act)

    def measure(self, key: str, at: int, quantity: str, unit: str, as_read: Sequence[str]) -> None:
        def act(now: int) -> None:
            load = self.loads[key]
            figures = [Figure(text, unit, quantity=quantity) for text in as_read]
            reading.enter_readings(self.hand(now), load.place, load, figures, moments(now, now))

        self.add(at, act)

    def look(self, key: str, at: int, *words: str) -> None:
        """What the step's plan asks to be looked for and these words begin; found so."""

        def act(now: int) -> None:
            load = self.loads[key]
            part = load.parts.select_related("lot__plan_version").first()
            assert part is not None
            asked = [
                leaf.rule.what
                for point in plan_value(part.lot.plan_version).control_points
                if point.step == part.step
                for limit in point.limits
                for leaf in limit.leaves()
                if hasattr(leaf.rule, "what") and leaf.rule.what.startswith(words)
            ]
            looks = [reading.Look(what, True) for what in asked]
            reading.observe(self.hand(now), load, looks, moments(now, now))

        self.add(at, act)

    # --- logger files -----------------------------------------------------------------------------

    def file_of_place(
        self, place: str, at: int, name: str, instrument: str,
        read: Callable[[int], float], moments_of: Sequence[int],
    ) -> None:  # fmt: skip
        """A logger's file of a place, imported at a moment."""
        data = csv_of(f"{place} logger", [(place + " temp", read)], moments_of)
        self.add(at, lambda now: self._import(now, place, None, name, data, {1: ""}, instrument))

    def file_of_load(self, key: str, at: int, until: int, name: str, instrument: str) -> None:
        """The probes of a load, a row a minute from its start to `until`."""

        def act(now: int) -> None:
            curves = self.curves[key]
            rows = range(curves[0].start, min(until, curves[0].last) + 1, MINUTE)
            channels = [(f"Probe {n}", curve.read) for n, curve in enumerate(curves, 1)]
            data = csv_of(f"{instrument} logger", channels, rows)
            probes = dict(enumerate(PROBES, 1))
            load = self.loads[key]
            self._import(now, load.place.name, load, name, data, probes, instrument)

        self.add(at, act)

    def _import(
        self, now: int, place: str, load: Load | None, name: str, data: bytes,
        probes: Mapping[int, str], instrument: str,
    ) -> None:  # fmt: skip
        person = self.hand(now)
        staged = logger.stage_file(person, self.stage.places[place], load, Upload(name, data), now)
        logger.import_file(
            person, staged, Choices(), probes, self.stage.instruments[instrument],
            self.stage.house, now,
        )  # fmt: skip
