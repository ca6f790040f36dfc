"""The whole week, up to a moment."""

from lots.entries.sealing import ready_sealer
from lots.management.demo.calendar import Calendar
from lots.management.demo.curves import room_f
from lots.management.demo.house import found
from lots.management.demo.past import plan_past
from lots.management.demo.people import smokehouse
from lots.management.demo.present import plan_present
from lots.management.demo.reviewing import plan_reviews
from lots.management.demo.routine import plan_days
from lots.management.demo.salt import plan_salt
from lots.management.demo.script import Script
from lots.management.sealing import made_passphrase


def fill(now: int, passwords: dict[str, str]) -> Script:
    """Fills an empty book with the invented house and its week of work.

    Args:
        now: the moment up to which it works, ms UTC.
        passwords: one for each person, by log-in name.
    """
    data = smokehouse()
    calendar = Calendar(now, data["house"]["zone"])
    opened = calendar.at(-7, "06:10")
    script = Script(found(data, passwords, opened), calendar)
    made_passphrase()  # the demo's lies beside its data
    ready_sealer(script.stage.house, opened)
    room = room_f(calendar.at(-1, "22:05"), calendar.at(0, "05:20"))
    plan_days(script, opened, room)
    plan_past(script)
    plan_present(script)
    plan_salt(script)
    plan_reviews(script)
    script.play()
    return script
