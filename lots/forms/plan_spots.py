"""What the plan page offers to be typed: spots (one text each, by its path) in groups."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from lots.core.plan import Content

Choices = tuple[tuple[str, str], ...]
YES_NO: Final[Choices] = (("yes", "yes"), ("no", "no"))


@dataclass(frozen=True, slots=True)
class Spot:
    """One field of the page; `path` says where its text stands in the plan's content.

    `kind` is line, long, choice, ticks (a list of ids) or window.  Where `optional`, an emptied field
    takes its key out of the content.
    """

    path: str
    label: str
    kind: str = "line"
    choices: Choices = ()
    help: str = ""
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Offer:
    """A choice with a button: add a row to the list at `path`, or make a limit another kind."""

    path: str
    label: str
    button: str
    choices: Choices = ()


@dataclass(slots=True)
class Group:
    """Spots that belong together, under a heading, with what may be added or removed there."""

    path: str
    heading: str
    rows: list[tuple[Spot, ...]] = field(default_factory=list)
    inner: "list[Group]" = field(default_factory=list)
    demands: str = ""
    operating: str = ""
    unread: str = ""
    about: str = ""
    caution: str = ""
    folded: str = ""  # what stands in its place while nothing in it is filled in
    remove: str = ""
    earlier: bool = False
    add: Offer | None = None
    change: Offer | None = None
    fill: Offer | None = None
    propose: bool = False  # an operating limit may be proposed here

    def spots(self) -> Iterator[Spot]:
        """Every spot in the group and the groups inside it."""
        for row in self.rows:
            yield from row
        for group in self.inner:
            yield from group.spots()

    def groups(self) -> "Iterator[Group]":
        """The group and all inside it."""
        yield self
        for group in self.inner:
            yield from group.groups()

    def actions(self) -> set[str]:
        """What the page's buttons may ask for here, as "verb path"."""
        found: set[str] = set()
        for group in self.groups():
            found |= {f"remove {group.path}"} if group.remove else set()
            found |= {f"earlier {group.path}"} if group.earlier else set()
            found |= {f"add {group.add.path}"} if group.add else set()
            found |= {f"kind {group.change.path}"} if group.change else set()
            found |= {f"fill {group.fill.path}"} if group.fill else set()
            found |= {f"propose {group.path}"} if group.propose else set()
        return found


def get(content: Any, path: str) -> Any:
    """What stands at a path; None where nothing does."""
    for key in path.split("."):
        if isinstance(content, Mapping):
            content = content.get(key)
        elif isinstance(content, list) and key.isdecimal() and int(key) < len(content):
            content = content[int(key)]
        else:
            return None
    return content


def put(content: Any, path: str, value: Any) -> None:
    """Sets what stands at a path, making the tables and lists on the way; None takes the key out."""
    first, _, rest = path.partition(".")
    if isinstance(content, list):
        number = int(first)
        content += [{} for _ in range(number + 1 - len(content))]
        if rest:
            put(content[number], rest, value)
        else:
            content[number] = value
    elif not rest and value is None:
        content.pop(first, None)
    elif not rest:
        content[first] = value
    elif value is not None or first in content:
        put(content.setdefault(first, [] if rest.split(".")[0].isdecimal() else {}), rest, value)


def shown(content: Content, spot: Spot) -> Any:
    """What the page shows in a spot: a text, or a list of ids for ticks."""
    value = get(content, spot.path)
    if spot.kind == "ticks":
        return [str(each) for each in value] if isinstance(value, list) else []
    return "" if value is None else str(value).strip()


def typed(spot: Spot, data: Mapping[str, Any]) -> Any:
    """What came back for a spot; None where the page that was sent did not hold it."""
    if spot.kind == "ticks":
        return _ticked(spot.path, data)
    text = _line_ends(data.get(spot.path))
    if spot.kind == "window" and text == "after":
        return f"after {_line_ends(data.get(spot.path + '_after')) or ''}".strip()
    return text


def _ticked(path: str, data: Mapping[str, Any]) -> list[str] | None:
    """The boxes ticked; the page sends an empty one along, so that none ticked is not none sent."""
    if path not in data:
        return None
    many = data.getlist(path) if hasattr(data, "getlist") else data[path]
    return [each for each in many if each]


def _line_ends(text: Any) -> str | None:
    # A browser sends CR LF; NUL is what no database keeps as text.
    return None if text is None else str(text).replace("\r\n", "\n").replace("\0", "").strip()
