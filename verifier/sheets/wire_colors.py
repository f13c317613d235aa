"""Colors of wire, so that no two functions share one.

In: the functions of a layout's conductors, and the colors at hand. Out: a color for each
function. All functions can meet in one bundle under a table, so each has a color of its own;
where plain ones run out, two-colored wire (one color with a stripe of another) is used, if the
two can be told apart. :func:`color_conflicts` checks the outcome by itself.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations

from verifier.language.csv_reader import shortened
from verifier.language.diagnostics.diagnostic import Diagnostic, InputError
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import Source, Span
from verifier.plan.wiring.wiring_model import Wiring
from verifier.sheets.conductors import Conductor, Role, WireFunction

# Colors in which hook-up wire is commonly sold (common practice, no source).
USUAL = (
    "red", "black", "white", "green", "yellow", "blue", "orange", "brown", "violet", "gray",
)  # fmt: skip
# Each of these two are taken for one another in poor light (common practice, no source).
_ALIKE = frozenset(
    frozenset(pair)
    for pair in (
        ("yellow", "white"), ("white", "gray"), ("black", "brown"), ("black", "blue"),
        ("black", "violet"), ("blue", "violet"), ("brown", "red"), ("red", "orange"),
        ("orange", "yellow"), ("orange", "brown"), ("brown", "violet"), ("blue", "gray"),
        ("green", "blue"), ("green", "gray"),
    )
)  # fmt: skip
# The protective conductor of mains wiring (IEC 60445, from memory): for nothing else.
_EARTH = frozenset(("green", "yellow"))
# What people expect, where it is at hand (common practice, no source).
_EXPECTED: Mapping[Role, str] = {
    "track power": "orange", "track return": "brown", "power": "red", "return": "black",
    "lamp": "yellow", "lamp common": "white", "detector output": "blue", "contact": "green",
    "throw": "violet", "booster feed": "gray", "told": "gray", "lock": "brown", "frog": "violet",
}  # fmt: skip
_ANOTHER_NAME = {"grey": "gray", "purple": "violet"}
# One color in words, or two: one with a stripe of the other.
_WORDS = r"[^\W\d_]+(?:[ -][^\W\d_]+)*"
_COLOR = re.compile(rf"{_WORDS}(?: ?/ ?{_WORDS})?")

Colors = Mapping[WireFunction, str]


def functions_of(conductors: Iterable[Conductor]) -> tuple[WireFunction, ...]:
    """Each function once, in the order of the conductors."""
    return tuple(dict.fromkeys(conductor.function for conductor in conductors))


def available_colors(source: Source) -> tuple[tuple[str, Span], ...]:
    """The colors named in a text, separated by commas, semicolons or lines, each with its
    place. `red/white` is red with a stripe of white.

    Raises :class:`InputError` for what is no color, for one that stands there twice, for the
    one that is kept for mains wiring, or where there is none."""
    found: dict[str, Span] = {}
    # By their plain colors: red/white and white/red are taken for one another.
    stand: dict[frozenset[str], Span] = {}
    errors = []
    start = 0
    text = source.text
    for part in re.split("[,;\r\n]", text):
        words = part.split()
        first = start + len(part) - len(part.lstrip())
        span = Span(source, first, first + len(part.strip()))
        start += len(part) + 1
        if not words:
            continue
        plain = [one.strip() for one in " ".join(words).lower().split("/")]
        plain = [_ANOTHER_NAME.get(one, one) for one in plain]
        name, both = "/".join(plain), frozenset(plain)
        if not _COLOR.fullmatch(name):
            errors.append(diagnostic("CP801", span, said=shortened(name)))
        elif both == _EARTH:
            errors.append(diagnostic("CP801", span, "mains", name=name))
        elif both in stand:
            errors.append(diagnostic("CP801", span, "twice", others=[stand[both]], name=name))
        found.setdefault(name, span)
        stand.setdefault(both, span)
    if not found:
        errors.append(diagnostic("CP801", Span(source, 0, len(text)), "none"))
    if errors:
        raise InputError(errors)
    return tuple(found.items())


def assign_colors(
    functions: Sequence[WireFunction], given: Sequence[tuple[str, Span]] | None, source: Source
) -> dict[WireFunction, str]:
    """A color for each function, no two the same: those that people expect first, then what
    is left of the plain ones, then striped ones. ``source`` is the file, for messages.

    Raises :class:`InputError` where colors run out."""
    plain = [name for name, _ in given] if given is not None else list(USUAL)
    striped = list(_striped(plain))
    if len(functions) > len(plain) + len(striped):
        span = given[0][1].to(given[-1][1]) if given else Span(source, 0, 0)
        raise InputError([_run_out(functions, plain, striped, span)])
    free = [*plain, *striped]
    found: dict[WireFunction, str] = {}
    for function in functions:
        expected = _EXPECTED[function.role]
        if expected in free:
            free.remove(expected)
            found[function] = expected
    for function in functions:
        if function not in found:
            found[function] = free.pop(0)
    return {function: found[function] for function in functions}


def _striped(plain: Sequence[str]) -> Iterator[str]:
    """One color with a stripe of another: of each two, one way round only, and none that is
    there already."""
    there = {frozenset(name.split("/")) for name in plain}
    for one, other in combinations((name for name in plain if name.isalpha()), 2):
        both = frozenset((one, other))
        if both not in _ALIKE and both != _EARTH and both not in there:
            yield f"{one}/{other}"


def _run_out(
    functions: Sequence[WireFunction], plain: Sequence[str], striped: Sequence[str], span: Span
) -> Diagnostic:
    return diagnostic(
        "CP802",
        span,
        "many" if len(functions) > 4 else "",
        functions=len(functions),
        colors=len(plain) + len(striped),
        needed=functions[:4],
    )


def color_conflicts(
    conductors: Iterable[Conductor], colors: Colors, wiring: Wiring
) -> tuple[tuple[str, str, str], ...]:
    """The check of an assignment, apart from how it was made: every color under which lie two
    functions, or conductors of two supplies without a return in common; with the two of them.

    Empty: whoever joins two ends of one color joins nothing that must be apart."""
    functions: dict[str, set[str]] = {}
    supplies: dict[str, set[str]] = {}
    for conductor in conductors:
        color = colors[conductor.function]
        functions.setdefault(color, set()).add(str(conductor.function))
        supplies.setdefault(color, set()).update(conductor.joins)
    wrong = []
    for color, several in functions.items():
        wrong += [(color, one, other) for one, other in combinations(sorted(several), 2)]
    for color, joined in supplies.items():
        wrong += [
            (color, one, other)
            for one, other in combinations(sorted(joined), 2)
            if not wiring.share_a_return(one, other)
        ]
    return tuple(wrong)
