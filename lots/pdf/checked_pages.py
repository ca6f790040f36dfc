"""Whether a record's pages say what is attached to it: held line by line where the pages were set by
this version's layout, else fact by fact.

    attached record ──▶ what the pages must say ──┐
    pages' own text ──────────────────────────────┴──▶ the first difference of each page
"""

import re
from collections.abc import Iterable, Iterator
from itertools import zip_longest
from typing import Any, Final, NamedTuple

from lots.core.record import HandReading, LotRecord, ObservationFacts
from lots.pdf.layout import PAPERS, Paper
from lots.pdf.logged import slot_words
from lots.pdf.printed import Drawn, drawn_by
from lots.pdf.render import LAYOUT, lay_out
from lots.pdf.sections import as_read, in_order
from lots.pdf.words import VERDICTS, Shown, limit_number, point_name, shown_in

_SPACE = re.compile(r"\s+")
_MADE_WITH: Final = re.compile(r"lots\.pdf (\d+)")
CLOSE: Final = 0.5  # points by which a paper's size may be off


class Fact(NamedTuple):
    """Something that the pages must say, in the order of its section, and what it is."""

    what: str
    words: str


def page_faults(
    file: Any, pages: list[list[Drawn]], record: LotRecord, digest: str
) -> Iterator[str]:
    """What the pages say otherwise than the attached record, in words; nothing where they agree.

    Args:
        file: the open pikepdf.Pdf, for its paper and the layout that it names.
        pages: what is drawn on its pages.
        digest: SHA-256 of the attached record, as printed at the foot of each page.
    """
    paper = _paper(file)
    if whole_lines(file) and paper is not None:
        yield from _line_by_line(pages, _wanted(record, paper, digest))
    else:
        yield from _fact_by_fact(pages, record)


def whole_lines(file: Any) -> bool:
    """Whether the pages were set by this version's layout, so that every line can be held against it."""
    found = _MADE_WITH.fullmatch(str(file.docinfo.get("/Creator", "")))
    return found is not None and int(found[1]) == LAYOUT


def _paper(file: Any) -> Paper | None:
    box = [float(number) for number in file.pages[0].MediaBox]
    for paper in PAPERS.values():
        if abs(box[2] - paper.width) < CLOSE and abs(box[3] - paper.height) < CLOSE:
            return paper
    return None


def _wanted(record: LotRecord, paper: Paper, digest: str) -> list[list[Drawn]]:
    return [list(drawn_by(page.marks)) for page in lay_out(record, paper, digest)]


def _line_by_line(pages: list[list[Drawn]], wanted: list[list[Drawn]]) -> Iterator[str]:
    if len(pages) != len(wanted):
        yield f"it has {len(pages)} pages where the attached record fills {len(wanted)}"
    for number, (page, ours) in enumerate(zip(pages, wanted, strict=False), 1):
        yield from _first_difference(number, page, ours)


def _first_difference(number: int, page: list[Drawn], ours: list[Drawn]) -> Iterator[str]:
    """The first line of text that differs; failing that, the first stroke."""
    texts = zip_longest(_texts(page), _texts(ours))
    for said, want in texts:
        if said != want:
            says = f"where the attached record says {_quoted(want)}"
            yield f"page {number} prints {_quoted(said)} {says}"
            return
    same = all(a and b and a.like(b) for a, b in zip_longest(page, ours))
    if not same:
        yield f"page {number}: its lines and shapes are not those of the attached record"


def _texts(page: list[Drawn]) -> list[str]:
    return [one.words for one in page if one.words]


def _quoted(words: str | None) -> str:
    return "nothing" if words is None else f"“{words}”"


def _fact_by_fact(pages: list[list[Drawn]], record: LotRecord) -> Iterator[str]:
    text = _squeezed("".join(one.words for page in pages for one in page))
    shown = shown_in(record)
    for section in (_verdicts(record), _readings(record, shown), _observations(record, shown)):
        yield from _missing(text, section)
    yield from _missing(text, _logged(record, shown))
    if _squeezed(f"Lot {record.lot.code}") not in text:
        yield "the pages do not name the lot that the attached record names"


def _missing(text: str, facts: Iterable[Fact]) -> Iterator[str]:
    """The facts that are not found, each looked for after the one before."""
    at = 0
    for fact in facts:
        words = _squeezed(fact.words)
        found = text.find(words, at)
        if found < 0:
            yield f"the pages do not say {fact.what} as the attached record does: “{fact.words}”"
        else:
            at = found + 1


def _squeezed(words: str) -> str:
    return _SPACE.sub("", words)


def _verdicts(record: LotRecord) -> Iterator[Fact]:
    for one in record.verdicts:
        number = limit_number(record, one.control_point, one.limit)
        name = f"{number} {point_name(record, one.control_point)}"
        words = f"{name} {one.load or '—'} {VERDICTS[one.verdict]} {one.figure or '—'}"
        yield Fact(f"the verdict of {number} in load {one.load}", words)


def _readings(record: LotRecord, shown: Shown) -> Iterator[Fact]:
    for one in in_order(record.readings):
        yield Fact(f"reading {one.number}", f"{_said(one, shown)} {as_read(one)}")


def _said(one: HandReading, shown: Shown) -> str:
    load = f"load {one.load}" if one.load else ""
    where = ", ".join(filter(None, [one.place, one.probe, load]))
    heard = f"{shown.moment(one.entered_at)} {shown.moment(one.recorded_at)}"
    return f"{one.number} {shown.moment(one.observed_at)} {one.initials} {heard} {where}"


def _observations(record: LotRecord, shown: Shown) -> Iterator[Fact]:
    for one in in_order(record.observations):
        yield Fact(f"observation {one.number}", _seen(one, shown))


def _seen(one: ObservationFacts, shown: Shown) -> str:
    heard = f"{shown.moment(one.entered_at)} {shown.moment(one.recorded_at)}"
    what = f"{one.what}, load {one.load}" if one.load else one.what
    moment = shown.moment(one.observed_at)
    return f"{one.number} {moment} {one.initials} {heard} {what} {one.found}"


def _logged(record: LotRecord, shown: Shown) -> Iterator[Fact]:
    for one in record.series:
        for cells in slot_words(one, shown):
            yield Fact(f"the series {one.name} at {cells[0]}", " ".join(cells))
