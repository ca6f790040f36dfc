"""What else speaks against a book that agrees with itself: what the house's key has signed, and what
stands in the records that were issued."""

from collections.abc import Iterator
from itertools import chain

from lots.queries.book_lines import Fault
from lots.queries.heads import head_faults, record_head_faults


def witness_faults() -> Iterator[Fault]:
    """Every sealed head and every issued record that says otherwise than the chain."""
    for line, words in chain(head_faults(), record_head_faults()):
        yield Fault(line, words)
