"""The three moments of an entry, and what is refused about them."""

from dataclasses import dataclass

from lots.core.units import show_span
from lots.entries.refusals import Refused
from lots.queries.house import rules


@dataclass(frozen=True, slots=True)
class Moments:
    """observed_at: the person or instrument says; entered_at: the device, with its measured offset
    applied; recorded_at: the server heard it.  All ms UTC."""

    observed_at: int
    entered_at: int
    recorded_at: int
    device_offset_ms: int = 0
    late_reason: str = ""
    by: str = ""  # how the entry came, where not by the person's own open log-in: "PIN", "paper"

    def said(self) -> dict[str, str | int]:
        """What the line says of how the entry came: nothing of one made on the server's own page."""
        told: dict[str, str | int] = {"by": self.by} if self.by else {}
        return told | ({"offset_ms": self.device_offset_ms} if self.device_offset_ms else {})

    def check(self, field: str = "observed_at") -> None:
        """Refuses a moment to come, and an earlier one that says no reason."""
        self.check_to_come(field)
        self.check_late()

    def check_to_come(self, field: str = "observed_at") -> None:
        """Refuses a moment to come."""
        grace = rules().future_grace_ms
        if self.observed_at > self.recorded_at + grace:
            raise Refused({field: "This time is still to come. Type when it was seen."})
        if self.entered_at > self.recorded_at + grace:
            raise Refused({field: "The device's clock runs ahead. Set it and enter this again."})

    def check_late(self) -> None:
        late = self.entered_at - self.observed_at
        if late > rules().late_after_ms and not self.late_reason.strip():
            raise Refused(
                {
                    "late_reason": f"This is entered {show_span(late // 60000 * 60000)} after it was "
                    "seen. Say why it comes late."
                }
            )


def moments(observed_at: int, recorded_at: int, late_reason: str = "") -> Moments:
    """The moments of an entry made on the server's own page."""
    return Moments(observed_at, recorded_at, recorded_at, 0, late_reason)
