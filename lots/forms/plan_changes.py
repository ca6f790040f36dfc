"""What the plan page's buttons do to the plan's content: take in what was typed, add, remove."""

import re
from collections.abc import Callable, Iterable, Mapping
from copy import deepcopy
from typing import Any, Final

from lots.core.operating import NoProposal, propose
from lots.core.plan import PLACE_KINDS, STEP_KINDS, Content
from lots.core.plan_content import OTHER_HAZARD, rows, said
from lots.forms.plan_kinds import new_limit
from lots.forms.plan_parts import part_group
from lots.forms.plan_spots import Group, Offer, Spot, get, put, shown, typed
from lots.queries.house import species
from lots.queries.instrument_accuracy import accuracy_at
from lots.queries.plans import starting_limits

Draft = dict[str, Any]
_FIGURES: Final = (
    "at_least", "at_most", "for", "from", "longer_than", "within", "file_within", "longest_gap", "to",
    "reference", "z", "z_above", "lowest", "above", "up_to", "tolerance",
    "verified_within",
)  # fmt: skip
_COMMA: Final = re.compile(r"(?<=\d),(?=(?:\d{1,2}|\d{4,})(?!\d))")  # 1,000 may be a thousand
_WHOLE: Final = re.compile(r"[0-9]{1,4}", re.ASCII)


class NotOffered(ValueError):
    """The page offers no such button or choice; the message says it to the person."""


def taken_in(content: Content, part: str, data: Mapping[str, Any]) -> Draft:
    """The content with what was typed on a part of the page; what was not touched stays as it was."""
    new: Draft = deepcopy(dict(content))
    for spot in part_group(content, part).spots():
        text = typed(spot, data)
        before = shown(content, spot)
        if text is None or text == before:
            continue
        put(new, spot.path, _kept(spot, text, before))
        if ".operating." in spot.path:
            _tidy(new, spot.path.rpartition(".operating.")[0])
    return new


def _kept(spot: Spot, text: Any, before: Any) -> Any:
    """What is stored for what was typed; None takes the key out."""
    if not text and spot.optional:
        return None
    if spot.kind == "ticks" and spot.optional:
        return text  # in the plan's order, as the page offers them
    if spot.kind == "ticks":
        return [each for each in before if each in text] + [t for t in text if t not in before]
    if spot.path.endswith(".probes") and _WHOLE.fullmatch(text):
        return int(text)
    if spot.path.startswith("control_points.") and spot.path.rpartition(".")[2] in _FIGURES:
        return _COMMA.sub(".", text)
    return text


def _tidy(content: Draft, path: str) -> None:
    """Takes out an operating limit that has been emptied; its stages count as the critical ones do."""
    limit = get(content, path)
    operating = limit.get("operating", {})
    stages = operating.get("stages", [])
    for stage, critical in zip(stages, limit.get("stages", []), strict=False):
        if "counted_from" in critical:
            stage["counted_from"] = critical["counted_from"]
    if stages and not any(stage.get("to") or stage.get("within") for stage in stages):
        del operating["stages"]
    if not operating:
        limit.pop("operating", None)


def changed(content: Draft, part: str, action: str, choice: str) -> tuple[Draft, str]:
    """The content after a button's action, and the path to show next.

    Args:
        action: "add PATH", "remove PATH", "earlier PATH", "kind PATH", "fill PATH" or "propose PATH",
            as the part offers it.
        choice: what was chosen beside an add, kind or fill button.
    Raises:
        NotOffered: the part has no such button, or not this choice, or nothing can be proposed.
    """
    group = part_group(content, part)
    verb, _, path = action.partition(" ")
    if action not in group.actions():
        raise NotOffered("This page no longer offers that: look at it again.")
    if verb in _CHOSEN:
        _check(group, verb, path, choice)
    new = deepcopy(content)
    return new, _VERBS[verb](new, path, choice)


def _check(group: Group, verb: str, path: str, choice: str) -> None:
    offers: Iterable[Offer | None] = (_CHOSEN[verb](one) for one in group.groups())
    offer = next(one for one in offers if one and one.path == path)
    if offer.choices and choice not in {key for key, _ in offer.choices}:
        what = f"“{choice}” is not on this list" if choice else "Nothing was chosen"
        raise NotOffered(f"{what}: choose one of those offered.")


def _remove(content: Draft, path: str, choice: str) -> str:
    above, _, number = path.rpartition(".")
    del get(content, above)[int(number)]
    _drop_empty_stages(content, above, int(number))
    return above


def _drop_empty_stages(content: Draft, path: str, number: int) -> None:
    """A stage that goes takes its operating figures with it."""
    if path.endswith(".stages"):
        stages = get(content, path.removesuffix("stages") + "operating.stages") or []
        del stages[number : number + 1]


def _earlier(content: Draft, path: str, choice: str) -> str:
    above, _, number = path.rpartition(".")
    at, found = int(number), get(content, above)
    found[at - 1], found[at] = found[at], found[at - 1]
    return f"{above}.{at - 1}"


def _kind(content: Draft, path: str, choice: str) -> str:
    before = get(content, path)
    kept = {key: before[key] for key in ("id", "of", "source", "flag") if key in before}
    put(content, path, kept | new_limit(choice))
    return path


def _fill(content: Draft, path: str, choice: str) -> str:
    """Published figures in place of those that stand there; an operating limit goes with them."""
    before = get(content, path)
    kept = {key: before[key] for key in ("id", "of", "probes", "steps") if key in before}
    row = {key: value for key, value in starting_limits()[int(choice)].items() if key != "offer"}
    put(content, path, kept | deepcopy(row))
    return path


def _propose(content: Draft, path: str, choice: str) -> str:
    """An operating limit stricter by the accuracy of the instruments of the step's places."""
    limit = path.removesuffix(".operating")
    point = get(content, ".".join(path.split(".")[: len(("control_points", "number"))]))
    kinds = {said(row, "id"): said(row, "place_kind") for _, row in rows(content, "steps")}
    accuracy = accuracy_at(kinds.get(said(point, "step"), ""), _subject(content, limit))
    found = propose(get(content, limit), accuracy.ninths, accuracy.words)
    if isinstance(found, NoProposal):
        raise NotOffered(found.reason)
    put(content, path, found)
    return path


def _subject(content: Draft, path: str) -> str:
    """What a limit is held against: its own word, or that of the nearest limit around it."""
    while path:
        here = get(content, path)
        if isinstance(here, Mapping) and said(here, "of"):
            return said(here, "of")
        path = path.rpartition(".")[0]
    return "place"


def _add(content: Draft, path: str, choice: str) -> str:
    above, _, name = path.rpartition(".")
    holder = get(content, above) if above else content
    found = holder.setdefault(name, [])
    if name == "steps":
        at = _place_for(found, choice)
        found.insert(at, _new_step(content, choice))
        return f"{path}.{at}"
    found.append(_NEW[name](content, above, choice))
    return f"{path}.{len(found) - 1}"


def _place_for(steps: list[Draft], kind: str) -> int:
    order = {name: number for number, name in enumerate(STEP_KINDS)}
    before = [
        n for n, step in enumerate(steps, 1) if order.get(said(step, "kind"), 0) <= order[kind]
    ]
    return max(before, default=0)


def _free(base: str, have: Iterable[str]) -> str:
    """An id that nothing bears yet."""
    plain = re.sub(r"[^a-z0-9]+", "-", base.lower()).strip("-") or "new"
    have = set(have)
    numbered = (f"{plain}-{n}" for n in range(len("ab"), len(have) + len("abc")))
    return plain if plain not in have else next(name for name in numbered if name not in have)


def _ids(content: Content, key: str) -> list[str]:
    return [said(row, "id") for _, row in rows(content, key)]


def _new_species(content: Draft, above: str, code: str) -> Draft:
    row = next(row for row in species() if row["code"] == code)
    return {
        "code": code,
        "name": row["english_name"],
        "scientific_name": row["scientific_name"],
        "origin": "",
        "scombrotoxin": "yes" if row["scombrotoxin"] == "yes" else "no",
    }


def _new_step(content: Draft, kind: str) -> Draft:
    return {
        "id": _free(kind, _ids(content, "steps")),
        "name": kind.capitalize(),
        "kind": kind,
        "place_kind": PLACE_KINDS[0] if kind in ("receiving", "dispatch") else "",
        "required": "no",
        "logger": "no",
    }


def _new_prerequisite(content: Draft, above: str, choice: str) -> Draft:
    return {"id": _free("programme", _ids(content, "prerequisites")), "name": "", "text": ""}


def _new_hazard(content: Draft, above: str, kind: str) -> Draft:
    name = "" if kind == OTHER_HAZARD else kind[:1].upper() + kind[1:]
    return {
        "id": _free(kind, _ids(content, "hazards")),
        "hazard": kind,
        "name": name,
        "significant": "",
        "why": "",
        "prerequisites": [],
    }


def _new_point(content: Draft, above: str, step: str) -> Draft:
    names = {said(row, "id"): said(row, "name") for _, row in rows(content, "steps")}
    return {
        "id": _free(step, _ids(content, "control_points")),
        "name": names.get(step, ""),
        "step": step,
        "hazards": [],
        "limits": [],
        "monitoring": [],
        "corrective_action": {"fish": "", "cause": ""},
        "verification": "",
        "record": "",
    }


def _new_limit(content: Draft, above: str, kind: str) -> Draft:
    if "limits" in above or above.endswith((".if", ".then")):
        return new_limit(kind)  # a limit inside another needs no id of its own
    points = rows(content, "control_points")
    have = [said(row, "id") for _, point in points for _, row in rows(point, "limits")]
    name = said(get(content, above), "id")
    return {"id": _free(f"{name}-{kind}", have), "of": "place"} | new_limit(kind)


def _new_monitoring(content: Draft, above: str, choice: str) -> Draft:
    return {"what": "", "how": "", "frequency": "", "who": "operator"}


def _new_stage(content: Draft, above: str, choice: str) -> Draft:
    return {"to": "", "within": "", "counted_from": "the stage before"}


def _new_permitted(content: Draft, above: str, choice: str) -> Draft:
    return {"words": "", "species": [], "at_most": "", "rule": ""}


_NEW: Final[Mapping[str, Callable[[Draft, str, str], Draft]]] = {
    "species": _new_species,
    "prerequisites": _new_prerequisite,
    "hazards": _new_hazard,
    "control_points": _new_point,
    "limits": _new_limit,
    "monitoring": _new_monitoring,
    "stages": _new_stage,
    "permitted": _new_permitted,
}
_VERBS: Final[Mapping[str, Callable[[Draft, str, str], str]]] = {
    "add": _add,
    "remove": _remove,
    "earlier": _earlier,
    "kind": _kind,
    "fill": _fill,
    "propose": _propose,
}
_CHOSEN: Final[Mapping[str, Callable[[Group], Offer | None]]] = {
    "add": lambda group: group.add,
    "kind": lambda group: group.change,
    "fill": lambda group: group.fill,
}
