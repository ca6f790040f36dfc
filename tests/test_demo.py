"""The invented week: what was meant is in it, and nothing else went wrong by accident."""

import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import transaction
from django.db.models import Sum

from lots.core.cure import ingoing_of
from lots.core.limits import Verdict
from lots.core.pieces import pieces_from
from lots.core.units import MILLIONTHS
from lots.entries.book import GENESIS, line_digest
from lots.entries.load import ONE_LOAD_AT_A_TIME
from lots.entries.passphrase import DEMO_FILE
from lots.entries.sealing import ready_sealer
from lots.management.commands import demo
from lots.management.demo.folder import check_may_fill, stale_ms, throw_away
from lots.management.demo.house import found
from lots.management.demo.people import (
    keep_people,
    new_passwords,
    new_pins,
    people_file,
    smokehouse,
)
from lots.management.demo.salt import POINTS
from lots.management.demo.scenario import fill
from lots.management.demo.script import Script
from lots.management.sealing import made_passphrase
from lots.models.book import BookLine
from lots.models.deviation import Deviation, ProcessAdjustment
from lots.models.house import Establishment, Place
from lots.models.lot import LaboratoryResult, Load, LoadPart, Lot, LotLink
from lots.models.people import Person
from lots.models.reading import Accepted, PackedSeries, Reading
from lots.models.review import HeadSealed, RecordIssued, Review
from lots.models.salt import PieceSample, Thawed, UptakePoint
from lots.pdf.check import check
from lots.pdf.key import load_sealer
from lots.pdf.seal import trusted_certificates
from lots.queries.batches import Ask, batch_of, batch_value, before_load, figures_of
from lots.queries.board import loads_now, lots_between_steps
from lots.queries.brined import brined
from lots.queries.evidence import end_of, started_at
from lots.queries.heads import head_faults
from lots.queries.house import file_bytes
from lots.queries.judgements import judge_lot, told
from lots.queries.lineage import balance, in_loads_now
from lots.queries.plans import plan_value
from lots.queries.release import bars
from lots.queries.shift_review import lots_to_review, needs_an_eye
from lots.queries.uptake_points import known_now
from lots.queries.yields import weights_page
from tests.make import Book, moment

HOUR_MS = 3_600_000
MOMENTS = {
    "afternoon": "2026-03-12 14:20",
    "night": "2026-03-12 03:10",
    "clocks put back": "2026-11-01 10:00",
}


@dataclass
class Week:
    script: Script
    now: int
    passwords: dict[str, str]
    keys: Path

    def key(self, lot: Lot | int) -> str:
        """The scenario's own name of a lot."""
        code = lot.code if isinstance(lot, Lot) else Lot.objects.get(pk=lot).code
        return next(key for key, known in self.script.codes.items() if known == code)


@pytest.fixture(scope="module", params=MOMENTS.values(), ids=MOMENTS.keys())
def week(
    request: Any, django_db_setup: None, django_db_blocker: Any, tmp_path_factory: Any
) -> Iterator[Week]:
    """The week filled once for all tests of a moment, and taken back after them."""
    folder = tmp_path_factory.mktemp("demo")
    now, passwords = moment(request.param), new_passwords()
    with pytest.MonkeyPatch.context() as patch, django_db_blocker.unblock(), transaction.atomic():
        for name in ("FILES_DIR", "KEYS_DIR", "STAGED_DIR"):
            patch.setattr(settings, name, folder / name)
        yield Week(fill(now, passwords), now, passwords, folder / "KEYS_DIR")
        transaction.set_rollback(True)


def test_the_book_is_in_order_of_time_and_ends_by_now(week: Week) -> None:
    lines = list(BookLine.objects.order_by("number"))
    assert all(a.at <= b.at for a, b in pairwise(lines))
    assert lines[-1].at <= week.now
    assert week.now - lines[-1].at < HOUR_MS


def test_every_line_is_tied_to_the_line_before(week: Week) -> None:
    prev = GENESIS
    for line in BookLine.objects.order_by("number"):
        assert line.prev == prev
        assert line.digest == line_digest(line)
        prev = line.digest


def test_nothing_deviates_but_what_is_meant(week: Week) -> None:
    rows = Deviation.objects.select_related("lot").prefetch_related("dispositions", "actions")
    seen = {
        (week.key(row.lot), row.limit_id): (
            [action.plan_followed for action in row.actions.all()],
            [one.kind for one in row.dispositions.all()],
        )
        for row in rows
    }
    assert seen == {
        ("F", "cool-read"): ([True], ["release"]),
        ("D", "smoke-heat"): ([False], ["hold"]),
        ("V", "brine-strength"): ([False], ["hold"]),
        ("W1", "brine-room"): ([True], []),
        ("W2", "brine-room"): ([], []),
    }
    assert rows.count() == 5
    assert not any(row.notes.exists() for row in rows)


def test_the_verdicts_are_those_meant(week: Week) -> None:
    seen: dict[str, set[tuple[str, str]]] = {}
    for lot in Lot.objects.all():
        for one in judge_lot(lot, week.now, anew=True):
            if one.verdict is not Verdict.MET:
                seen.setdefault(one.verdict.value, set()).add((week.key(lot), one.limit.id))
            assert one.verdict is not Verdict.DEVIATION or told(one)
    assert seen == {
        "DEVIATION": {
            ("F", "cool-read"),
            ("D", "smoke-heat"),
            ("V", "brine-strength"),
            ("W1", "brine-room"),
            ("W2", "brine-room"),
        },
        "ADJUST": {
            ("J", "hold-cold"),
            ("G", "storage-cold"),
            ("S", "hold-cold"),
            ("V", "hold-cold"),
        },
        "PENDING": {
            ("G", "water-phase-salt"),
            ("S", "cure"),
            ("P1", "smoke-heat"),
            ("P2", "smoke-heat"),
            ("Q", "cooling"),
            ("R", "brine-room"),
        },
    }


def test_lots_stand_at_different_steps(week: Week) -> None:
    lots = list(Lot.objects.select_related("finish", "release"))
    assert {week.key(lot) for lot in lots if hasattr(lot, "release")} == {"A", "B"}
    finished = {week.key(lot) for lot in lots if hasattr(lot, "finish")}
    assert finished == {"A", "B", "C", "F", "G", "J", "J2", "S"}
    standing = loads_now(week.now)
    seen = {
        (one.load.place.name, tuple(week.key(part.lot) for part in one.parts))
        for one in standing
        if one.load.place.name != "Freezer"
    }
    assert seen == {
        ("Smokehouse 1", ("P1", "P2")),
        ("Brine tank 1", ("R",)),
        ("Cooler", ("G",)),
        ("Cooler", ("D",)),
        ("Cooler", ("W1",)),
        ("Cooler", ("W2",)),
        ("Cooler", ("Q",)),
        ("Cooler", ("V",)),
        ("Cooler", ("U",)),
    }
    assert [week.key(lot) for lot in lots_between_steps(standing)] == ["N", "T"]
    due = next(one.due for one in standing if one.load.place.name == "Smokehouse 1")
    assert due is not None
    assert 0 < due.at - week.now < HOUR_MS


def test_each_brining_lies_in_a_batch_that_was_weighed_and_read(week: Week) -> None:
    brinings = Load.objects.filter(step_kind="brine").order_by("pk")
    assert brinings.count() > 10
    for load in brinings:
        row = batch_of(load)
        assert row is not None
        [read] = row.readings.all()
        figures = figures_of(row)
        assert figures is not None
        assert abs(read.value / MILLIONTHS - figures.salometer_deg) < 1.5
    assert {load.declared for load in brinings} == {"short", "long"}


def test_cured_sablefish_waits_for_the_laboratory_and_for_nothing_else(week: Week) -> None:
    load, lot = week.script.loads["brine S"], week.script.lot("S")
    row = batch_of(load)
    assert row is not None
    ingoing = ingoing_of(batch_value(row), lot.quantity_g, None)
    assert abs(ingoing - 150) < 2
    waits = [text for text in bars(lot, week.now) if "sampled for" in text]
    assert len(waits) == 3
    assert all("the result has not come" in text for text in waits)
    assert not Deviation.objects.filter(lot=lot).exists()


def test_a_household_brine_waits_beside_trout_for_a_chilled_vacuum_pack(week: Week) -> None:
    lot, row = week.script.lot("T"), week.script.batches["household"]
    assert plan_value(lot.plan_version).product.reduced_oxygen
    assert plan_value(lot.plan_version).product.storage == "chilled"
    said = before_load(Ask(row, None, ((lot, lot.quantity_g),), week.now)).said.salt
    words = " ".join(said)
    for part in (
        "full equilibrium",
        "dried from",
        "no time in it reaches",
        "a brine of at least",
        "dry salting",
        "keep it frozen",
        "Neither is proof",
    ):
        assert part in words, (part, words)


def test_the_uneven_sides_are_thicker_by_more_than_twice_the_thinnest(week: Week) -> None:
    [sample] = PieceSample.objects.filter(lot=week.script.lot("U"))
    um = [one.um for one in pieces_from(json.loads(sample.pieces))]
    assert max(um) > 2 * min(um)
    assert brined(week.script.lot("U"), week.now).pieces_um == tuple(sorted(um, reverse=True))


def test_the_forecast_is_fitted_to_results_of_the_house_and_a_process_was_verified(
    week: Week,
) -> None:
    assert known_now().own is not None
    assert UptakePoint.objects.count() == len(POINTS)
    verified = LaboratoryResult.objects.filter(plan__isnull=False)
    assert {row.quantity for row in verified} == {"salt", "moisture", "water-phase salt"}


def test_a_lot_was_weighed_through_and_some_of_its_packs_thawed(week: Week) -> None:
    lot = week.script.lot("A")
    stages = [one.stage for one in weights_page(lot)["stages"]]
    assert stages == ["received", "trimmed", "brined", "smoked", "packed"]
    assert not any(one.gained for one in weights_page(lot)["stages"])
    assert Thawed.objects.get().lot == lot


def test_two_lots_share_a_load_and_one_was_split_and_two_merged(week: Week) -> None:
    shared = week.script.loads["smoke B C"].parts.all()
    assert {week.key(part.lot) for part in shared} == {"B", "C"}
    links = [
        (week.key(x.source), x.how, week.key(x.target)) for x in LotLink.objects.order_by("id")
    ]
    assert links == [("J", "split", "J2"), ("Q1", "merge", "Q"), ("Q2", "merge", "Q")]


def test_several_thousand_readings_are_in_it(week: Week) -> None:
    logged = PackedSeries.objects.aggregate(sum=Sum("count"))["sum"]
    assert logged > 8_000
    assert Reading.objects.count() > 300


def test_one_reading_is_late_one_is_corrected_and_one_was_missed(week: Week) -> None:
    late = Reading.objects.exclude(late_reason="")
    assert late.count() == 1
    corrected = Reading.objects.get(corrects__isnull=False)
    assert corrected.correction_reason
    assert Accepted.objects.get().reading == corrected
    noticed = BookLine.objects.get(kind="lapse noticed")
    assert noticed.person is None
    missed = Deviation.objects.get(line=noticed)
    assert 0 < noticed.at - missed.broke_at < 5 * 60_000


def test_the_operating_limit_exceeded_was_answered_by_an_adjustment(week: Week) -> None:
    assert {week.key(row.lot) for row in ProcessAdjustment.objects.all()} == {"J", "G", "S", "V"}


def test_the_warm_night_is_seen_in_the_loggers_series(week: Week) -> None:
    row = Deviation.objects.get(lot__code=week.script.codes["W1"])
    assert "°F" in row.figure
    assert row.line.kind == "logger file imported"
    assert row.line.at > row.broke_at + 6 * HOUR_MS


def test_the_records_issued_are_intact_and_trusted(week: Week) -> None:
    rows = list(RecordIssued.objects.select_related("lot", "file"))
    assert {week.key(row.lot) for row in rows} == {"A", "B"}
    for row in rows:
        result = check(file_bytes(row.file), trusted_certificates(week.keys))
        assert result.exit_code == 0, result.lines


def test_the_review_page_has_work_to_do(week: Week) -> None:
    waiting = lots_to_review(week.now)
    assert not any(one.overdue for one in waiting)
    assert {week.key(one.lot) for one in waiting if one.near} >= {"F", "G"}
    eye = needs_an_eye(waiting, week.now)
    assert len(eye.deviations) == 4
    assert len(eye.missed) == 1
    assert len(eye.late) == 1
    assert len(eye.adjusted) == 4
    assert not eye.broken_since


def test_a_reviewed_lot_waits_only_for_its_newest_storage_lines(week: Week) -> None:
    lot = week.script.lot("C")
    assert Review.objects.filter(lot=lot).exists()
    assert bars(lot, week.now) == ["something was entered after its review: review it again"]


def test_a_smokehouse_and_a_tank_hold_one_load_at_a_time(week: Week) -> None:
    for place in Place.objects.filter(kind__in=ONE_LOAD_AT_A_TIME):
        loads = [
            (started_at(load), end.ended_at if (end := end_of(load)) else week.now)
            for load in Load.objects.filter(place=place).order_by("started_at")
        ]
        assert loads
        assert all(before[1] < after[0] for before, after in pairwise(loads))


def test_no_lot_gives_more_than_it_had_or_is_in_two_places(week: Week) -> None:
    for lot in Lot.objects.all():
        there = balance(lot)
        assert there.left >= (there.packed or 0)
        assert in_loads_now(lot) <= (there.packed or there.left)
        times = sorted(
            (started_at(part.load), end.ended_at if (end := end_of(part.load)) else week.now)
            for part in LoadPart.objects.filter(lot=lot).select_related("load")
        )
        assert all(before[1] <= after[0] for before, after in pairwise(times))


def test_the_house_is_marked_as_a_demo_and_everybody_can_log_in(week: Week) -> None:
    house = Establishment.objects.get()
    assert house.demo
    assert "invented" in house.name
    for person in Person.objects.select_related("login"):
        assert person.login.check_password(week.passwords[person.username])


def test_a_demo_grows_stale(week: Week) -> None:
    assert stale_ms(week.now) == 0
    assert stale_ms(week.now + 13 * HOUR_MS) > 12 * HOUR_MS


# --- the folder and the command -------------------------------------------------------------------


def only_found(now: int, passwords: dict[str, str]) -> None:
    """The house without its week, for tests of the command."""
    found(smokehouse(), passwords, now)


def run(**options: Any) -> str:
    out = io.StringIO()
    call_command("demo", no_serve=True, stdout=out, **options)
    return out.getvalue()


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name, where in (("DATA_DIR", ""), ("FILES_DIR", "files"), ("KEYS_DIR", "keys")):
        monkeypatch.setattr(settings, name, tmp_path / where)
    monkeypatch.setattr(demo, "fill", only_found)
    return tmp_path


def test_a_second_start_prints_the_same_people_and_fills_nothing(db: None, folder: Path) -> None:
    first = run()
    lines = BookLine.objects.count()
    second = run()
    people = people_file(folder).read_text()
    assert people in first
    assert people in second
    assert "invented" in second
    assert BookLine.objects.count() == lines


def test_the_people_file_is_for_its_owner_alone(tmp_path: Path) -> None:
    keep_people(tmp_path, new_passwords(), new_pins())
    assert people_file(tmp_path).stat().st_mode & 0o777 == 0o600


def test_the_demos_passphrase_lies_beside_its_data_and_the_start_says_why(
    db: None, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(settings, "SEAL_PASSPHRASE", "")

    def found_with_its_key(now: int, passwords: dict[str, str]) -> None:
        stage = found(smokehouse(), passwords, now)
        made_passphrase()
        ready_sealer(stage.house, now)

    monkeypatch.setattr(demo, "fill", found_with_its_key)
    told = run()
    file = folder / DEMO_FILE
    assert file.stat().st_mode & 0o777 == 0o600
    assert f"in {file}: only because all of it is invented" in told
    assert load_sealer(folder / "keys", file.read_text().strip().encode())
    monkeypatch.setattr("lots.management.demo.folder.database_file", lambda: folder / "none")
    monkeypatch.setattr(
        "lots.management.demo.folder.connection", SimpleNamespace(close=lambda: None)
    )
    throw_away(folder)
    assert not file.exists()


def test_each_review_and_release_of_the_week_is_sealed_under_the_houses_key(week: Week) -> None:
    signed = BookLine.objects.filter(kind__in=("records reviewed", "lot released")).count()
    assert HeadSealed.objects.count() == signed > 3
    assert list(head_faults()) == []


def test_passwords_differ_at_each_fill() -> None:
    first, second = new_passwords(), new_passwords()
    assert first != second
    assert all(len(password) >= 10 for password in first.values())


def test_a_folder_with_a_real_book_is_refused(book: Book, folder: Path) -> None:
    lines = BookLine.objects.count()
    for options in ({}, {"fresh": True}):
        with pytest.raises(CommandError, match="real logbook"):
            run(**options)
    assert BookLine.objects.count() == lines
    assert not people_file(folder).exists()


def test_keys_without_a_book_are_not_touched(db: None, folder: Path) -> None:
    (folder / "keys").mkdir()
    (folder / "keys" / "seal.pem").write_text("somebody's")
    with pytest.raises(CommandError, match="may belong to a real"):
        check_may_fill(folder)
