"""Heads that are not a lamp for each color: rows and arms in words, leads that no color needs,
what they are bought as.

In: a plan, or heads of it. Out: words for sheets, names of heads, kinds of parts.
"""

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction

from verifier.language.listing import listing
from verifier.plan.model import Head, Plan
from verifier.plan.signals.colors import steady
from verifier.plan.wiring.lamps import CENTER, LEADS, ROWS, HeadMake
from verifier.properties.wiring import heads_of
from verifier.sheets.buying.part_kinds import PartKind

# How the first color of a head, and each further one, is described.
_SHAPES: Mapping[HeadMake, tuple[str, str]] = {
    "position-light": ("{} is the {} row", "{} the {} one"),
    "semaphore": ("{} is the arm {}", "{} {}"),
}


def lamp_words(head: Head, lamp: str) -> str:
    """What the wire of a lamp is for: a color, at a row or an arm first how that stands."""
    if head.make not in _SHAPES or lamp == CENTER:
        return lamp
    return f"{ROWS[lamp]} ({lamp})"


def shapes(heads: Iterable[Head]) -> Iterator[str]:
    """What colors are at heads that show none: a sentence for all that are alike."""
    alike: dict[str, list[str]] = {}
    for head in heads:
        if head.make not in _SHAPES:
            continue
        first, further = _SHAPES[head.make]
        colors = [color for color in ROWS if color in map(steady, head.color.values)]
        said = [(further if i else first).format(c, ROWS[c]) for i, c in enumerate(colors[::-1])]
        alike.setdefault(", ".join(said), []).append(head.name)
    yield from (f"{listing(names)}: {said}." for said, names in alike.items() if said)


def open_leads(plan: Plan) -> Iterator[tuple[str, tuple[str, ...]]]:
    """LEDs of several colors in one case: by lead that no color of theirs needs, the heads."""
    bare: dict[str, list[str]] = {}
    for _, head in heads_of(plan):
        for lead in LEADS.get(head.make, ()):
            if lead not in head.lamps:
                bare.setdefault(lead, []).append(head.name)
    yield from ((lead, tuple(names)) for lead, names in bare.items())


def head_kind(head: Head, plan: Plan) -> PartKind:
    """What a head is bought as."""
    driver = plan.wiring.driver_of(head.name)
    bulbs = "-bulbs" if driver and driver.sold_as(head.name).incandescent else ""
    match head.make:
        case "semaphore" | "two-color" | "three-color":
            return PartKind(head.make)
        case "position-light":
            rows = [lamp for lamp in head.lamps if lamp != CENTER]
            return PartKind(f"position-light{bulbs}", Fraction(len(rows)))
        case "target":
            return PartKind(f"target{bulbs}", Fraction(len(head.lamps)))
        case "lamps":
            return PartKind(f"head{bulbs}", Fraction(len(head.lamps)))
