"""The reviews at shift end, the releases and the records that were issued."""

from lots.entries.head import seal_head
from lots.entries.reading import accept_late, needs_acceptance
from lots.entries.record import issue_record
from lots.entries.review import release_lot, sign_reviews
from lots.management.demo.calendar import MINUTE
from lots.management.demo.script import Script
from lots.models.reading import Reading
from lots.queries.lineage import balance
from lots.queries.release import last_line

STORED = "Freezer, shelf by lot; 0 °F or below"


def plan_reviews(s: Script) -> None:
    t = s.calendar.at
    _sign(s, t(-5, "15:30"), "A")
    _release(s, t(-5, "15:45"), "A")
    _sign(s, t(-4, "15:40"), "A", "B", "C")
    s.add(t(-3, "15:30"), lambda now: _accept(s, now))
    _sign(s, t(-3, "15:40"), "B", "C")
    _release(s, t(-3, "15:50"), "B")
    _sign(s, t(-1, "16:30"), "A", "B", "C")


def _sign(s: Script, at: int, *keys: str) -> None:
    def act(now: int) -> None:
        seen = []
        for key in keys:
            lot = s.lot(key)
            line = last_line(lot)
            assert line is not None
            seen.append((lot, line.number))
        sign_reviews(s.stage.people["rowena"], seen, "", now)
        seal_head(s.stage.house, now)

    s.add(at, act)


def _accept(s: Script, now: int) -> None:
    rows = Reading.objects.filter(corrects__isnull=False, load=s.loads["cool B C"])
    late = [row for row in rows if needs_acceptance(row)]
    reason = "Put right within minutes by the person who read it; the logged rounds agree"
    accept_late(s.stage.people["rowena"], late, reason, now)


def _release(s: Script, at: int, key: str) -> None:
    def release(now: int) -> None:
        lot = s.lot(key)
        packed = balance(lot).packed or 0
        release_lot(s.stage.people["rowena"], lot, {"release": packed}, "", now, STORED)
        seal_head(s.stage.house, now)

    s.add(at, release)
    s.add(
        at + 4 * MINUTE,
        lambda now: issue_record(s.stage.people["rowena"], s.lot(key), s.stage.house, now),
    )
