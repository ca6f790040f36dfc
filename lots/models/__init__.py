"""What is kept and what is scratch; see kept.py for the two lists."""

from lots.models.kept import KEPT, SCRATCH

__all__ = ["KEPT", "SCRATCH"]
