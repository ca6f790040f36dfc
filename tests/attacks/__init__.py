"""What an attacker may try, and what notices it: each run prints its table (pytest tests/attacks -s)."""
