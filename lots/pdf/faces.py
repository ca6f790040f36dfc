"""The type that the pages are set in: widths, wrapping, and what a face cannot show.

Source: DejaVu fonts 2.37, whose licence lies beside them in fonts/LICENSE.
"""

import re
import unicodedata
from functools import cache, lru_cache
from importlib import resources
from typing import Any, Literal

Face = Literal["Body", "Bold", "Mono"]

FILES: dict[Face, str] = {
    "Body": "DejaVuSansCondensed.ttf",
    "Bold": "DejaVuSansCondensed-Bold.ttf",
    "Mono": "DejaVuSansMono.ttf",
}
PAGE_MARK = "\ue000"
"""Stands in a text for the page number of a section (its key follows, then the mark again)."""
_TIED = re.compile(
    r"(?<=\d) (?=°|%|[−+]\d\d:\d\d|(?:kg|lb|h|min|s|ppm)\b|(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec) \d)"
    f"|(?<=page) (?={PAGE_MARK})"
    r"|(?<=[A-Za-z]{3}) (?=\d{4} \d\d:)|(?<= \d{4}) (?=\d\d:\d\d)"
)
_TIE = "\u00a0"
_MARKED = re.compile(f"{PAGE_MARK}[^{PAGE_MARK}]*{PAGE_MARK}")


class Own(str):
    """The pages' own words, in which section marks stand for page numbers."""


@cache
def _font(face: Face) -> Any:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    path = resources.files("lots.pdf") / "fonts" / FILES[face]
    with resources.as_file(path) as file:
        font = TTFont(face, str(file), shapable=False)
    pdfmetrics.registerFont(font)
    return font


def load_faces() -> None:
    """Makes every face known to the PDF writer."""
    for face in FILES:
        _font(face)


@cache
def _widths(face: Face) -> dict[int, float]:
    return dict(_font(face).face.charWidths)


def width(text: str, face: Face, size: float) -> float:
    """The text's width in points; a section's mark counts as a page number of three digits."""
    if PAGE_MARK in text:
        text = _MARKED.sub("000", text)
    widths = _widths(face)
    return sum([widths.get(ord(c), 600) for c in text]) * size / 1000


def _shows(char: str) -> bool:
    """Whether every face has the character and can set it as it stands (left to right, visible)."""
    if unicodedata.category(char) in ("Cc", "Cf", "Co", "Cn", "Cs"):
        return False
    if unicodedata.bidirectional(char) in ("R", "AL"):
        return False
    return all(ord(char) in _font(face).face.charToGlyph for face in FILES)


@lru_cache(maxsize=4096)
def _shown(char: str) -> str:
    return char if _shows(char) else f"[U+{ord(char):04X}]"


def missing_glyphs(text: str) -> tuple[str, ...]:
    """The characters of the text that the pages cannot show, each once, in order of appearance."""
    plain = unicodedata.normalize("NFC", text).replace("\n", " ").replace("\t", " ")
    return tuple(dict.fromkeys(c for c in plain if _shown(c) != c))


def printable(text: str) -> str:
    """The text as it is printed: a character without a glyph as its code, so that none vanishes."""
    if isinstance(text, Own) or (text.isascii() and text.isprintable()):
        return text
    lines = unicodedata.normalize("NFC", text).replace("\t", " ").splitlines()
    return "\n".join("".join(map(_shown, line)) for line in lines)


@lru_cache(maxsize=16384)
def wrapped(text: str, face: Face, size: float, room: float) -> tuple[str, ...]:
    """The text in lines no wider than the room; a word that is too long is broken anywhere."""
    lines: list[str] = []
    for paragraph in text.split("\n"):
        lines += _wrapped_paragraph(paragraph, face, size, room)
    return tuple(lines)


def _wrapped_paragraph(text: str, face: Face, size: float, room: float) -> list[str]:
    if width(text, face, size) <= room:
        return [text]
    lines, line = [], ""
    for word in _TIED.sub(_TIE, text).split(" "):
        longer = f"{line} {word}" if line else word
        if width(longer, face, size) <= room:
            line = longer
            continue
        if line:
            lines.append(line)
        *full, line = _broken(word, face, size, room)
        lines += full
    return [one.replace(_TIE, " ") for one in [*lines, line]]


def _broken(word: str, face: Face, size: float, room: float) -> list[str]:
    """The word in pieces that fit, broken after a mark such as / or - where one is near."""
    pieces = []
    while width(word, face, size) > room and len(word) > 1:
        fit = 1
        while fit < len(word) and width(word[: fit + 1], face, size) <= room:
            fit += 1
        near = max((word.rfind(mark, fit // 2, fit) for mark in f"/-_.,;{_TIE}"), default=-1) + 1
        cut = near or fit
        pieces.append(word[:cut])
        word = word[cut:]
    return [*pieces, word]


def shortened(text: str, face: Face, size: float, room: float) -> str:
    """The text, ended by "…" where it is wider than the room."""
    if width(text, face, size) <= room:
        return text
    while text and width(text + "…", face, size) > room:
        text = text[:-1]
    return text.rstrip() + "…"
