"""Scratch that is kept small: canonical JSON, deflated."""

import json
import zlib
from typing import Any

from lots.queries.digests import canonical


def deflated(content: Any) -> bytes:
    """The content as bytes; the same content gives the same bytes."""
    return zlib.compress(canonical(content).encode())


def inflated(data: bytes) -> Any:
    """The content that was deflated."""
    return json.loads(zlib.decompress(bytes(data)))


SAME = "="  # stands for a probe's state that is the same on the monitored side


def states_text(sides: dict[str, Any]) -> str:
    """A limit's states as they are stored: of the monitored side only what differs."""
    if "monitored" not in sides:
        return canonical(sides)
    known = sides["known"]
    monitored = {
        key: {
            probe: SAME if state == known.get(key, {}).get(probe) else state
            for probe, state in probes.items()
        }
        for key, probes in sides["monitored"].items()
    }
    return canonical({"known": known, "monitored": monitored})


def states_from(text: str) -> dict[str, Any]:
    """The states that were stored."""
    sides: dict[str, Any] = json.loads(text)
    known = sides["known"]
    for key, probes in sides.get("monitored", {}).items():
        for probe, state in probes.items():
            if state == SAME:
                probes[probe] = known[key][probe]
    return sides
