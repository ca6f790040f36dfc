from dataclasses import replace
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from lots.core.record import (
    LARGEST,
    BookHead,
    LotRecord,
    NotARecord,
    PersonFacts,
    canonical_bytes,
    record_from,
)
from tests.pdf.make import make_long_record, make_record


def plain(value: Any) -> Any:
    """The value as the reference library takes it, by a road of its own."""
    if hasattr(value, "__dataclass_fields__"):
        return {name: plain(getattr(value, name)) for name in value.__dataclass_fields__}
    return [plain(one) for one in value] if isinstance(value, tuple) else value


@pytest.mark.parametrize("record", [make_record(), make_long_record()], ids=["rich", "long"])
def test_the_bytes_are_those_of_the_reference_library(record: LotRecord) -> None:
    assert canonical_bytes(record) == rfc8785.dumps(plain(record))


@given(st.text(st.characters(exclude_categories=["Cs"])), st.integers(-LARGEST, LARGEST))
def test_any_text_and_any_whole_number_are_written_as_the_reference_writes_them(
    text: str, number: int
) -> None:
    record = make_record(series=(), changed=text, book=BookHead(number, text))
    data = canonical_bytes(record)
    assert data == rfc8785.dumps(plain(record))
    assert record_from(data) == record


def test_a_record_comes_back_as_it_was() -> None:
    record = make_record()
    assert record_from(canonical_bytes(record)) == record


@pytest.mark.parametrize(
    "value",
    [1.5, None, True, LARGEST + 1, -LARGEST - 1, b"text", ["list"], {"a": 1}, "lone \ud800"],
    ids=repr,
)
def test_a_value_that_json_readers_might_bend_is_refused(value: Any) -> None:
    with pytest.raises(NotARecord, match="record"):
        canonical_bytes(make_record(revision=value))


@pytest.mark.parametrize("value", [True, LARGEST + 1, 0.5])
def test_such_a_value_inside_a_series_is_refused(value: Any) -> None:
    record = make_record()
    bent = replace(record.series[0], at=(1, 2, value))
    with pytest.raises(NotARecord):
        canonical_bytes(replace(record, series=(bent,)))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b'"revision":2', b'"revision": 2'),
        (b'"revision":2', b'"revision":"2"'),
        (b'"revision":2', b'"revision":true'),
        (b'"revision":2', b'"revision":2.0'),
        (b'"revision":2', b'"revision":null'),
        (b'"revision":2', b'"revision":2,"revision":2'),
        (b'"revision":2', b'"revised":2'),
        (b'"revision":2', b'"extra":1,"revision":2'),
        (b'"people":[', b'"people":[3,'),
        (b'"unjudged":["lethality"]', b'"unjudged":"lethality"'),
        (b"{", b"["),
        (b"}", b""),
        (b"lethality", b"l\xffthality"),
    ],
)
def test_bytes_that_are_not_exactly_canonical_are_refused(old: bytes, new: bytes) -> None:
    data = canonical_bytes(make_record(series=()))
    assert old in data
    with pytest.raises(NotARecord):
        record_from(data.replace(old, new, 1))


def test_the_refusal_says_where() -> None:
    with pytest.raises(NotARecord, match=r"record\.people\[1\]\.initials"):
        canonical_bytes(make_record(people=(PersonFacts("A", "B"), PersonFacts(3, "C"))))  # type: ignore[arg-type]
