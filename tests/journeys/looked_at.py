"""What is measured of a page in a real browser: axe, sideways scroll, sizes of what is tapped, contrast."""

from dataclasses import dataclass
from typing import Any, Final

from axe_playwright_python.sync_playwright import Axe

LANDSCAPE: Final = {"width": 1280, "height": 800}
UPRIGHT: Final = {"width": 800, "height": 1280}
PHONE: Final = {"width": 390, "height": 844}
TAGS: Final = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
READ_FROM_AFAR: Final = ".figure, .verdict, .far, .due, .verdict-of-deviation"
TAPPED: Final = (
    "main button, main .button, main [role=button], main input:not([type=hidden]), main select, "
    ".rod a, .rod summary, .who button, .who a"
)
LEAST_TAP_PX: Final = 60

SMALL = """([tapped, least]) => [...document.querySelectorAll(tapped)].filter(one => {
    const aim = one.closest('label.tick') || one;
    const box = aim.getBoundingClientRect();
    return one.checkVisibility({visibilityProperty: true}) && box.width && box.height
        && (box.height < least - 0.5 || box.width < least - 0.5);
}).map(one => `${one.tagName} “${(one.innerText || one.name || one.ariaLabel || '').trim().slice(0, 30)}” `
    + `${Math.round(one.getBoundingClientRect().width)}x${Math.round(one.getBoundingClientRect().height)}`)"""
SIDEWAYS = """() => {
    const wide = document.documentElement.clientWidth;
    if (document.documentElement.scrollWidth <= wide) return [];
    return [...document.querySelectorAll('body *')]
        .filter(one => one.getBoundingClientRect().right > wide + 1).slice(0, 4)
        .map(one => `${one.tagName}.${one.className}`);
}"""


@dataclass(frozen=True)
class Fault:
    where: str
    rule: str
    what: str


def _axe(page: Any, context: Any, options: dict[str, Any], where: str) -> list[Fault]:
    found = Axe().run(page, context, options).response["violations"]
    return [
        Fault(where, rule["id"], f"{node['target']} {node['html'][:120]}")
        for rule in found
        for node in rule["nodes"]
    ]


def faults(
    page: Any, where: str, sizes: tuple[dict[str, int], ...] = (LANDSCAPE, UPRIGHT)
) -> list[Fault]:
    """What axe finds by day and by night, upright and lengthwise; what scrolls sideways; small targets."""
    out: list[Fault] = []
    for size in sizes:
        page.set_viewport_size(size)
        out += [
            Fault(f"{where} {size['width']}", "sideways", one) for one in page.evaluate(SIDEWAYS)
        ]
        small = page.evaluate(SMALL, [TAPPED, LEAST_TAP_PX])
        out += [Fault(f"{where} {size['width']}", "small target", one) for one in small]
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            place = f"{where} {size['width']} {scheme}"
            out += _axe(page, None, {"runOnly": TAGS}, place)
            if page.locator(READ_FROM_AFAR).count():
                only = {"runOnly": ["color-contrast-enhanced"]}
                out += _axe(page, {"include": [READ_FROM_AFAR]}, only, place)
    page.emulate_media(color_scheme="light")
    return out


def told(found: list[Fault]) -> str:
    """The faults, each rule and place once."""
    return "\n".join(dict.fromkeys(f"{one.where}: {one.rule}: {one.what}" for one in found))
