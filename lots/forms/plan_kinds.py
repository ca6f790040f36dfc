"""The kinds of limit as the plan page names them, their figures, and what a new limit starts as."""

from typing import Any, Final

from lots.core.plan import FLAGS
from lots.core.plan_content import NOT_BOTULINUM
from lots.core.units import QUANTITIES
from lots.forms.plan_spots import Choices

KINDS_SAID: Final = {
    "at most": "a temperature at most",
    "at least": "a temperature at least",
    "between": "a temperature between two",
    "maintained": "a temperature kept for a time without a break",
    "lethality": "heat counted together, as minutes at one temperature",
    "exposure": "time too warm counted together, over one or several steps",
    "cooling": "cooling in stages",
    "duration": "how long the step lasts",
    "every": "how often it is read",
    "measured": "a quantity measured",
    "observed": "something looked at: so or not so",
    "accurate": "how recently its thermometers were checked",
    "declared": "a long brining said to be long at its start",
    "cure": "in which fish nitrite may go, and how much",
    "followed": "all of it in a later step within a time",
    "all of": "all of several limits",
    "any of": "any one of several limits",
    "given": "a limit that applies only under a condition",
}
LEAVES: Final = tuple(kind for kind in KINDS_SAID if kind not in ("all of", "any of", "given"))
DEEPEST: Final = 3  # combinations inside combinations that the page offers to build
FLAG_CHOICES: Final[Choices] = (
    ("", "not yet said"),
    *((flag, flag) for flag in FLAGS),
)
BY_WHOM: Final = "What is to be confirmed, the trained person confirms."
TEMPERATURE: Final = "Such as 40 °F (4.4 °C), or 4.4 °C."
SPAN: Final = "Such as 30 min, or 2 h 30 min."
WINDOWS: Final[Choices] = (
    ("", "every reading of the step"),
    ("first reading", "the first reading"),
    ("last reading", "the last reading"),
    ("after", "from some time after the start on"),
)
_AT_MOST: Final = ("at_most", "At most", TEMPERATURE)
_AT_LEAST: Final = ("at_least", "At least", TEMPERATURE)
FIGURES: Final = {
    "at most": (_AT_MOST,),
    "at least": (_AT_LEAST,),
    "between": (_AT_LEAST, _AT_MOST),
    "maintained": (
        ("at_least", "At least", "For heat. Leave empty for freezing."),
        ("at_most", "At most", "For freezing. Leave empty for heat."),
        ("for", "For", SPAN),
        ("longest_gap", "Readings at most so far apart", "A longer gap counts for nothing."),
    ),
    "lethality": (
        ("at_least", "Equivalent to at least", "The table's time, such as 2 min."),
        ("reference", "At the temperature", "The table's own, such as 70 °C."),
        ("z", "z", "How many degrees warmer count tenfold, such as 7.5 °C or 13.5 °F."),
        ("z_above", "z above that temperature", "Only where the table gives another."),
        ("lowest", "Nothing counts below", "The lowest temperature of the table."),
        ("longest_gap", "Readings at most so far apart", "A longer gap counts for nothing."),
    ),
    "exposure": (
        ("above", "Warmer than", TEMPERATURE),
        ("up_to", "Up to", "Empty where all that is warmer counts."),
        ("at_most", "No longer in all than", SPAN),
        ("longest_gap", "Readings at most so far apart", "A longer gap counts as too warm."),
    ),
    "accurate": (
        ("within", "Checked no longer before than", "Such as 24 h."),
        ("tolerance", "No further off than", "Such as 2 °F. Empty: what the check itself allows."),
    ),
    "cooling": (("from", "From", "A temperature, or: end of the step before"),),
    "duration": (
        ("at_least", "At least", SPAN),
        ("longer_than", "Longer than", "Where exactly so long is not enough."),
        ("at_most", "At most", SPAN),
    ),
    "every": (
        ("within", "At least every", SPAN),
        ("file_within", "Logger's file within", "After the step's end; empty without a logger."),
    ),
    "measured": (
        ("at_least", "At least", "With its unit, such as 3.5 %."),
        ("at_most", "At most", "With its unit, such as 1.5 in."),
        (
            "verified_within",
            "Or in a verification of the process within",
            "Such as 90 days before or after. Empty: each lot needs a result of its own.",
        ),
    ),
    "declared": (("longer_than", "Longer than", "Such as 4 h. A longer one must be declared."),),
    "followed": (("within", "Within", "From this step's start, such as 6 h."),),
    "cure": (
        ("rule", "Rule that leaves out all other fish", "Its number; empty where none does."),
    ),
}
# kinds that are of the lot, whatever is measured where
OF_LOT: Final = ("declared", "cure", "followed")
NO_OPERATING: Final = ("observed", "cure")
OPTIONAL_KINDS: Final = ("maintained", "duration", "measured")
MAY_BE_EMPTY: Final = ("file_within", "z_above", "lowest", "up_to", "tolerance", "rule")
READ_IN_PROBES: Final = (
    "at most", "at least", "between", "maintained", "lethality", "exposure", "cooling"
)  # fmt: skip
GAP_APART: Final = ("maintained", "lethality", "exposure")  # the gap has a source of its own
# what an operating limit takes over from its critical limit
NOT_OPERATING: Final = ("from", "file_within", "reference", "z", "z_above", "verified_within")
ABOUT: Final = {
    "lethality": "Heat is counted minute by minute: a minute at the temperature named counts as one, "
    "a minute one z warmer as ten, one z cooler as a tenth of one. The cooler of two readings counts "
    "for all the time between them.",
    "exposure": "All the time that the fish is too warm is added up, whether in one stretch or many. "
    "The time between two readings counts whole if either was too warm.",
    "accurate": "Looks at every thermometer and logger with which this step's readings were taken: "
    "its last accuracy check before them, and the next one after.",
    "declared": "Whoever puts the fish in says whether it is to lie short or long. What then lies longer "
    "than this, and was not declared long, is a deviation.",
    "cure": "Fish on no row may have no nitrite at all. Fish on a row waits for the laboratory's figure "
    "in the finished fish, which must keep to the row.",
    "followed": "Counted from this step's start until all of the fish is in a load of the later step.",
}
CAUTION: Final = {
    "lethality": NOT_BOTULINUM,
    "cure": "Where nitrite may go differs from one country to the next: the rows are the law's, the "
    "trained person answers for them. What goes in is a planning figure and proves nothing.",
}


def kind_choices(depth: int) -> Choices:
    """The kinds that may be chosen for a limit so deep inside others."""
    return tuple((k, v) for k, v in KINDS_SAID.items() if depth < DEEPEST or k in LEAVES)


def new_limit(kind: str) -> dict[str, Any]:
    """What a new limit of a kind starts as: its figures empty, to be filled in and sourced."""
    data: dict[str, Any] = {"kind": kind}
    if kind == "given":
        return data | {"if": new_limit("duration"), "then": new_limit("at most")}
    if kind in ("all of", "any of"):
        return data | {"limits": [new_limit("at most"), new_limit("every")]}
    if kind == "cooling":
        return data | {
            "from": "",
            "stages": [{"to": "", "within": "", "counted_from": "the start"}],
        }
    if kind == "observed":
        return data | {"what": ""}
    if kind == "cure":
        return data | {"of": "lot", "permitted": []}
    if kind == "followed":
        data |= {"of": "lot", "by": ""}
    if kind == "declared":
        data |= {"of": "lot"}
    if kind == "measured":
        return data | {"quantity": next(iter(QUANTITIES))}
    required = [key for key, _, _ in FIGURES[kind] if kind not in OPTIONAL_KINDS]
    return data | {key: "" for key in required if key not in MAY_BE_EMPTY}
