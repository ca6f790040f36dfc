"""Where things go on the pages.  Nothing is painted here: a page is a list of marks, in reading
order, so that a test can ask whether any two overlap or leave the paper."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from lots.pdf.faces import PAGE_MARK, Face, printable, width, wrapped
from lots.pdf.shapes import SHAPE_ROOM, Path, verdict_shape

SIZE = 9.0
LEADING = 11.6
SMALL = 8.4
RULE = 0.4
HAIR = 0.25
ASCENT = 0.93
"""Height of the tallest letters and depth of the lowest, in sizes, so that boxes clear each other.
Source: measured on the faces used."""
DESCENT = 0.24


class Text(NamedTuple):
    """One line of text; x is its left end, y its base line, in points from the paper's lower left."""

    x: float
    y: float
    face: Face
    size: float
    text: str
    grey: float = 0.0


Mark = Text | Path


class Entry(NamedTuple):
    """A bookmark: its words, how deep it stands, and where on the page it points."""

    text: str
    depth: int
    key: str
    y: float


@dataclass(slots=True)
class Page:
    """The marks of one page and the bookmarks that point into it."""

    marks: list[Mark] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper size and its margins, in points."""

    width: float
    height: float
    left: float = 54.0
    right: float = 46.0
    top: float = 62.0
    bottom: float = 62.0

    @property
    def room(self) -> float:
        """The width that text may take."""
        return self.width - self.left - self.right


PAPERS = {"letter": Paper(612.0, 792.0), "A4": Paper(595.276, 841.89)}


class Shaped(NamedTuple):
    """A cell that shows a verdict's shape before its words."""

    verdict: str
    words: str


class Struck(NamedTuple):
    """A cell whose first lines are struck through: still legible, no longer counting."""

    words: str
    lines: int = 1


Cell = str | Shaped | Struck


class Column(NamedTuple):
    """A table's column: its heading, its share of the width, its face, and whether it runs right."""

    title: str
    share: float
    face: Face = "Body"
    right: bool = False


NUMBER = Column("No.", 8.8, right=True)  # seven digits in one line: an entry's number is the book's
MOMENT = 24.3  # share of a column that holds a day, an hour and its offset beside NUMBER


class Row(NamedTuple):
    """A table's row, and what is written under it across the columns after the first."""

    cells: Sequence[Cell]
    below: str = ""


class _Set(NamedTuple):
    """A row's lines, already wrapped."""

    columns: list[tuple[str, ...]]
    below: tuple[str, ...]

    @property
    def depth(self) -> int:
        return max(map(len, self.columns), default=0) + len(self.below)


class Sheet:
    """The growing pages, written from top to bottom; `y` is how high the next line may reach."""

    def __init__(self, paper: Paper) -> None:
        self.paper = paper
        self.pages: list[Page] = []
        self.y = 0.0
        self.new_page()

    @property
    def marks(self) -> list[Mark]:
        return self.pages[-1].marks

    @property
    def left_over(self) -> float:
        """The height still free on this page."""
        return self.y - self.paper.bottom

    def new_page(self) -> None:
        self.pages.append(Page())
        self.y = self.paper.height - self.paper.top

    def need(self, height: float) -> bool:
        """Makes sure of that much height, on a new page if this one has it not; says if it did."""
        full = self.paper.height - self.paper.top - self.paper.bottom
        if self.left_over >= height or self.left_over >= full:
            return False
        self.new_page()
        return True

    def gap(self, height: float) -> None:
        self.y -= height

    def rule(self, thick: float = RULE, grey: float = 0.0, right: float = 0.0) -> None:
        ends = ((self.paper.left, self.y), (self.paper.width - self.paper.right - right, self.y))
        self.marks.append(Path(ends, stroke=grey, thick=thick))

    def heading(self, text: str, key: str, depth: int = 0, keep: float = 70.0) -> None:
        """A heading with its bookmark, kept together with at least `keep` of what follows."""
        size = (13.0, 10.5)[depth]
        lines = wrapped(printable(text), "Bold", size, self.paper.room)
        above = (22.0, 12.0)[depth]
        self.need(above + len(lines) * size * 1.25 + keep)
        if self.pages[-1].marks:
            self.gap(above)
        self.pages[-1].entries.append(Entry(text, depth, key, self.y))
        for line in lines:
            self._line(self.paper.left, "Bold", size, size * 1.25, line)
        self.gap(4.0)

    def text(
        self, text: str, face: Face = "Body", size: float = SIZE, indent: float = 0.0,
        grey: float = 0.0, right: float = 0.0,
    ) -> None:  # fmt: skip
        """A paragraph over the whole width, save what is left free at the right."""
        leading = size * LEADING / SIZE
        for line in wrapped(printable(text), face, size, self.paper.room - indent - right):
            self.need(leading)
            self._line(self.paper.left + indent, face, size, leading, line, grey)

    def _line(
        self, x: float, face: Face, size: float, leading: float, text: str, grey: float = 0.0
    ) -> None:
        if text:
            self.marks.append(Text(x, self.y - ASCENT * size, face, size, text, grey))
        self.y -= leading

    def pairs(self, pairs: Iterable[tuple[str, str]], share: float = 0.27) -> None:
        """Labels at the left, what they say at the right; a pair without words is left out."""
        label_room = self.paper.room * share - 10
        words_x = self.paper.left + self.paper.room * share
        for label, words in pairs:
            if words:
                left = wrapped(printable(label), "Body", SIZE, label_room)
                self._pair(
                    left, wrapped(printable(words), "Body", SIZE, self._to_edge(words_x)), words_x
                )

    def _to_edge(self, x: float) -> float:
        return self.paper.width - self.paper.right - x

    def _pair(self, left: tuple[str, ...], right: tuple[str, ...], words_x: float) -> None:
        deep = max(len(left), len(right))
        self.need(min(deep, 6) * LEADING)
        for index, line in enumerate(left):
            base = self.y - ASCENT * SIZE - index * LEADING
            self.marks.append(Text(self.paper.left, base, "Body", SIZE, line, 0.35))
        for index in range(deep):
            self.need(LEADING)
            self._line(words_x, "Body", SIZE, LEADING, right[index] if index < len(right) else "")
        self.gap(2.2)

    def table(self, columns: Sequence[Column], rows: Iterable[Row], size: float = SIZE) -> None:
        """A table under thin rules; its headings come again on every page that it runs over."""
        Table(self, columns, size).draw(rows)


class Table:
    """Sets rows in columns of fixed width; a row moves to the next page whole unless it is huge."""

    pad = 3.2
    gutter = 8.0

    def __init__(self, sheet: Sheet, columns: Sequence[Column], size: float) -> None:
        self.sheet, self.columns, self.size = sheet, columns, size
        self.leading = size * LEADING / SIZE
        total = sum(column.share for column in columns)
        room = sheet.paper.room + self.gutter
        self.rooms = [room * column.share / total - self.gutter for column in columns]
        self.lefts, x = [], sheet.paper.left
        for one in self.rooms:
            self.lefts.append(x)
            x += one + self.gutter
        self.top = True

    def draw(self, rows: Iterable[Row]) -> None:
        for row in rows:
            done = self._wrap(row)
            height = done.depth * self.leading + 2 * self.pad
            self.top = self.sheet.need(height + self._head_height() * self.top) or self.top
            if self.top:
                self._head()
            self._row(row, done)
        self.sheet.rule(HAIR)
        self.sheet.gap(4.0)

    def _wrap(self, row: Row) -> _Set:
        parts = zip(row.cells, self.columns, self.rooms, strict=True)
        lines = [self._wrap_cell(cell, column.face, room) for cell, column, room in parts]
        if not row.below:
            return _Set(lines, ())
        room = self.sheet._to_edge(self._below_x())
        return _Set(lines, wrapped(printable(row.below), "Body", self.size, room))

    def _below_x(self) -> float:
        return self.lefts[1] if len(self.lefts) > 1 else self.lefts[0]

    def _wrap_cell(self, cell: Cell, face: Face, room: float) -> tuple[str, ...]:
        words = cell if isinstance(cell, str) else cell.words
        room -= SHAPE_ROOM if isinstance(cell, Shaped) else 0
        return wrapped(printable(words), face, self.size, room)

    def _head_height(self) -> float:
        lines = [
            wrapped(c.title, "Body", SMALL, r)
            for c, r in zip(self.columns, self.rooms, strict=True)
        ]
        return max(map(len, lines)) * SMALL * 1.25 + 2 * self.pad

    def _head(self) -> None:
        self.top = False
        sheet, height = self.sheet, self._head_height()
        for column, x, room in zip(self.columns, self.lefts, self.rooms, strict=True):
            lines = wrapped(column.title, "Body", SMALL, room)
            base = sheet.y - height + self.pad + SMALL * (1.25 * len(lines) - ASCENT) - 1.0
            for line in lines:
                at = x + room - width(line, "Body", SMALL) if column.right else x
                sheet.marks.append(Text(at, base, "Body", SMALL, line, 0.35))
                base -= SMALL * 1.25
        sheet.gap(height)
        sheet.rule(RULE)

    def _row(self, row: Row, done: _Set) -> None:
        """One row, cell after cell so that each reads whole; a huge one goes on on the next page."""
        sheet = self.sheet
        if self._not_first_row():
            sheet.rule(HAIR, 0.7)
        sheet.gap(self.pad)
        depth, start = done.depth - len(done.below), 0
        while start < depth:
            self._new_page_if_full()
            end = min(depth, start + max(1, int(sheet.left_over / self.leading + 1e-6)))
            self._cells(row, done, start, end)
            sheet.gap((end - start) * self.leading)
            start = end
        for line in done.below:
            self._new_page_if_full()
            sheet._line(self._below_x(), "Body", self.size, self.leading, line)
        sheet.gap(self.pad)

    def _not_first_row(self) -> bool:
        last = self.sheet.marks[-1] if self.sheet.marks else None
        return not (isinstance(last, Path) and last.thick == RULE and len(last.points) == 2)

    def _new_page_if_full(self) -> None:
        if self.sheet.need(self.leading):
            self._head()
            self.sheet.gap(self.pad)

    def _cells(self, row: Row, done: _Set, start: int, end: int) -> None:
        """The lines from start to end of each cell, from the sheet's height downwards."""
        for index, cell in enumerate(row.cells):
            lines = done.columns[index][start:end]
            x, base = self.lefts[index], self.sheet.y - ASCENT * self.size
            if isinstance(cell, Shaped):
                if start == 0:
                    self.sheet.marks.extend(verdict_shape(cell.verdict, x + 4, base + 3.1))
                x += SHAPE_ROOM
            struck = max(0, cell.lines - start) if isinstance(cell, Struck) else 0
            self._cell(self.columns[index], x, self.rooms[index], base, lines, struck)

    def _cell(
        self,
        column: Column,
        x: float,
        room: float,
        base: float,
        lines: tuple[str, ...],
        struck: int,
    ) -> None:
        marks = self.sheet.marks
        for number, line in enumerate(lines):
            wide = width(line, column.face, self.size)
            at, y = x + room - wide if column.right else x, base - number * self.leading
            if line:
                marks.append(Text(at, y, column.face, self.size, line))
            if number < struck:
                middle = y + 0.27 * self.size
                marks.append(Path(((at, middle), (at + wide, middle)), stroke=0.0, thick=0.7))


def page_of(key: str) -> str:
    """Stands for the page number of the section with that key until the pages are counted."""
    return f"{PAGE_MARK}{key}{PAGE_MARK}"
