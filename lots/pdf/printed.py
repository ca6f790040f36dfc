"""What a sealed record's pages say and show, read from the pages themselves.

Only what records are painted with is read: text in the embedded faces, and lines.  A page that holds
anything else (a picture, a form, an annotation) is no page of a record.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final, NamedTuple

from lots.pdf.layout import Mark, Text
from lots.pdf.shapes import Path

PAINTED_WITH: Final = frozenset(
    [
        "cm",
        "BT",
        "ET",
        "Tm",
        "Tf",
        "TL",
        "Tj",
        "T*",
        "g",
        "G",
        "w",
        "d",
        "n",
        "m",
        "l",
        "h",
        "S",
        "f*",
        "B*",
    ]
)
"""The operators of a record's pages.  Source: ISO 32000-1, annex A."""
PAGE_HOLDS: Final = frozenset(
    ["/Contents", "/Type", "/Trans", "/Parent", "/Resources", "/MediaBox", "/Rotate", "/Annots"]
)
CLOSE: Final = 0.02  # points by which a place may be off: what the writing of numbers rounds
NO_PAINT: Final = -1.0
_PAIR = re.compile(rb"<([0-9A-Fa-f]{2})>\s*<([0-9A-Fa-f]{4,})>")


class NotOurPage(ValueError):
    """A page that was not painted as records are; the message says how."""


class Drawn(NamedTuple):
    """One thing on a page: a line of text (where, how large, how grey) or strokes through points (how
    they are filled and drawn, how thick, and where)."""

    words: str
    numbers: tuple[float, ...]

    def like(self, other: "Drawn") -> bool:
        """Whether it is the same, to what the writing of numbers rounds."""
        return (
            self.words == other.words
            and len(self.numbers) == len(other.numbers)
            and all(abs(a - b) <= CLOSE for a, b in zip(self.numbers, other.numbers, strict=True))
        )


def drawn_by(marks: Iterable[Mark]) -> Iterator[Drawn]:
    """The marks of a page as they come out when they are painted."""
    for mark in marks:
        if isinstance(mark, Path):
            yield _path(mark.points, mark.closed, mark.fill, mark.stroke, mark.thick)
        elif mark.text:
            yield _text(mark)


def _text(mark: Text) -> Drawn:
    return Drawn(mark.text, (mark.x, mark.y, mark.size, mark.grey))


def _path(
    points: Iterable[Any], closed: bool, fill: float | None, stroke: float | None, thick: float
) -> Drawn:
    paint = NO_PAINT if fill is None else fill
    line = (NO_PAINT, 0.0) if stroke is None else (stroke, thick)
    flat = (float(number) for point in points for number in point)
    return Drawn("", (float(closed), paint, *line, *flat))


def printed(file: Any) -> list[list[Drawn]]:
    """What is on each page of an open PDF, in the order in which it was painted.

    Args:
        file: a pikepdf.Pdf.
    Raises:
        NotOurPage: a page holds something else than text and lines.
    """
    return [list(_Reading(page, number).drawn()) for number, page in enumerate(file.pages, 1)]


class _Reading:
    """One page being read, with the state that its operators leave."""

    def __init__(self, page: Any, number: int) -> None:
        _only_text_and_lines(page, number)
        self.page, self.number = page, number
        self.faces = {str(name): _letters(font) for name, font in page.Resources.Font.items()}
        self.letters: Mapping[int, str] = {}
        self.fill = self.stroke = 0.0
        self.thick = 1.0
        self.size = 0.0
        self.at: tuple[float, ...] = ()
        self.said: list[str] = []
        self.points: list[tuple[float, ...]] = []
        self.closed = False

    def drawn(self) -> Iterator[Drawn]:
        import pikepdf

        for operands, operator in pikepdf.parse_content_stream(self.page):
            name = str(operator)
            if name not in PAINTED_WITH:
                raise NotOurPage(f"page {self.number} is painted with “{name}”, as no record is")
            if name in ("S", "f*", "B*"):
                yield self._stroked(name)
            elif name == "ET":
                if self.said:
                    yield Drawn("".join(self.said), (*self.at, self.size, self.fill))
            else:
                self._take(name, operands)

    def _stroked(self, name: str) -> Drawn:
        fill = None if name == "S" else self.fill
        stroke = None if name == "f*" else self.stroke
        return _path(self.points, self.closed, fill, stroke, self.thick)

    def _take(self, name: str, operands: Any) -> None:
        match name:
            case "BT":
                self.said = []
            case "Tf":
                self.letters, self.size = self.faces[str(operands[0])], float(operands[1])
            case "Tj":
                self.said += [self.letters.get(code, "\ufffd") for code in bytes(operands[0])]
            case "Tm" | "cm":
                self._place(name, [float(one) for one in operands])
            case "g":
                self.fill = float(operands[0])
            case "G":
                self.stroke = float(operands[0])
            case "w":
                self.thick = float(operands[0])
            case "n":
                self.points, self.closed = [], False
            case "m" | "l":
                self.points.append(tuple(float(one) for one in operands))
            case "h":
                self.closed = True

    def _place(self, name: str, matrix: list[float]) -> None:
        """Text stands upright and unscaled; nothing else is ever moved."""
        if matrix[:4] != [1, 0, 0, 1] or (name == "cm" and matrix[4:] != [0, 0]):
            raise NotOurPage(f"page {self.number} is turned or scaled, as no record is")
        if name == "Tm":
            self.at = tuple(matrix[4:])


def _only_text_and_lines(page: Any, number: int) -> None:
    odd = [name for name in list(page.keys()) if name not in PAGE_HOLDS]
    odd += [name for name in list(page.Resources.keys()) if name not in ("/Font", "/ProcSet")]
    if odd or page.get("/Rotate", 0) != 0:
        held = ", ".join(odd) or "/Rotate"
        raise NotOurPage(f"page {number} holds {held}, as no record’s page does")
    for note in page.get("/Annots", ()):
        if note.get("/Subtype") != "/Widget" or note.get("/FT") != "/Sig":
            raise NotOurPage(f"something was laid over page {number}")


def _letters(font: Any) -> dict[int, str]:
    """The letter that each code of an embedded face stands for, by the face's own map."""
    found = _PAIR.findall(font.ToUnicode.read_bytes())
    return {int(code, 16): bytes.fromhex(text.decode()).decode("utf-16-be") for code, text in found}
