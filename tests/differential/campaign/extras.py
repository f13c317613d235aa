"""What a generated file may have besides: named routes, a number of trains, locks between levers,
plates, a module around everything, boards that do more than light lamps.

In: the text of a file that is read. Out: one that is read too; what it then means is up to chance.
"""

import re
from collections.abc import Callable, Sequence
from random import Random

import verifier
from tests.differential.indicators import with_indicators
from tests.differential.junctions import built, checked
from tests.differential.test_lever_locks import with_lever_locks
from tests.differential.test_plates import with_plates


def with_extras(r: Random, text: str) -> str:
    """Each by chance; what would be refused is left out."""
    for extra, one_in in EXTRAS.items():
        if r.randrange(one_in) == 0:
            more = extra(text, r)
            text = more if is_read(more) else text
    return text


def is_read(text: str) -> bool:
    """Whether the file is accepted, or refused for a circle only."""
    try:
        checked(text)
    except verifier.InputError as error:
        return {d.code for d in error.diagnostics} == {"CP409"}
    return True


def with_named_routes(text: str, r: Random) -> str:
    """Some routes have names: claims ask of them, and a rule now and then."""
    plan = built(text)
    lines = text.splitlines()
    for number, signal in enumerate(r.sample(list(plan.signals), min(2, len(plan.signals)))):
        routes = list(plan.routes_of(signal))
        if not routes:
            continue
        route, name = r.choice(routes), f"Way-{number}"
        via = ", ".join(f"{need.points} {need.position}" for need in route.needs)
        lines.append(f"route {name} from {signal} to {route.exit}{f' via {via}' if via else ''}")
        says = f"{name} {r.choice(['clear', 'lined'])}"
        lines.append(f'prove "route {number}" {r.choice(["never", "possible"])} {says} and '
                     f"{signal} {r.choice(['at stop', 'proceeds'])}")  # fmt: skip
        for at, line in enumerate(lines):
            if line.startswith("  ") and " when " in line and r.random() < 0.15:
                lines[at] = f"{line} {r.choice(['and', 'or'])} {says}"
    return "\n".join(lines) + "\n"


def with_train_count(text: str, r: Random) -> str:
    most = r.choice([1, 1, 2, 2, 3])
    return f"{text}at most {most} train{'s' * (most > 1)}\n"


# Statements about the whole layout stand outside modules.
_OUTSIDE = re.compile(
    r"^(aspect|layout|trains|crew|at most|built|scale|stopping|rail|wire) .*(\n  .*)*\n", re.M
)


def with_module(text: str, r: Random) -> str:
    """Everything in a module, used once: as it is, or seen from the other side of the track."""
    outside = "".join(found[0] for found in _OUTSIDE.finditer(text))
    inside = _OUTSIDE.sub("", text)
    blocks = re.findall(r"^block (\S+)", text, re.M)
    outside = re.sub(rf"(?<![\w.-])({'|'.join(map(re.escape, blocks)) or '-'})(?![\w.-])",
                     r"Here.\1", outside)  # fmt: skip
    turned = r.choice(["", "", " turned round"])
    return f"{outside}module Everything\n{inside}end\nuse Everything as Here{turned}\n"


# By the first word of a statement, clauses it may have besides.
_CLAUSES = {
    "turnout": ("frog live by points", "frog live by contacts gap normal 100 mm, reverse 250 mm",
                "fouling point 180 mm", "pulse 50 ms", "starts reverse", "starts normal"),
    "slip": ("starts reverse",),
    "derail": ("starts non-derailing",),
    "gate": ("starts open",),
    "driver": ("inputs 40", "outputs 20", "needs 9 V", "throws {points}", "unlocks {points}"),
    "lever": ("contacts {positions}", "contacts {positions} powered by {supply}"),
    "detector": ("hold 4 s", "needs 5 V"),
}  # fmt: skip
_ONCE = (
    "scale HO\n",
    "scale 1:87.1\n",
    "stopping distance 900 mm\n",
    "stopping distance 3000 mm\n",
)


def with_clauses(text: str, r: Random) -> str:
    """Some statements have more clauses; those that do not fit are left out."""
    points = re.findall(r"^(?:turnout|slip|derail|gate) (\S+)", text, re.M) or ["T1"]
    supplies = re.findall(r"^supply (\S+)", text, re.M) or ["Bus-1"]
    added: list[tuple[str, str]] = []
    for statement in re.findall(r"^\w+ \S.*(?:\n  .*)*$", text, re.M):
        word = statement.split()[0]
        if word not in _CLAUSES or r.random() < 0.4:
            continue
        positions = re.search(r"positions (.*)$", statement, re.M)
        clause = r.choice(_CLAUSES[word]).format(
            points=r.choice(points), supply=r.choice(supplies),
            positions=positions[1] if positions else "normal, reverse",
        )  # fmt: skip
        added.append((statement, clause))
    found, once = _as_many_as_fit(text, added), r.choice(_ONCE)
    return f"{found}{once}\n" if is_read(f"{found}{once}\n") else found


def _as_many_as_fit(text: str, added: Sequence[tuple[str, str]]) -> str:
    """The text with clauses behind statements: all of them or, where that is refused, what fits
    of the one half and then of the other."""
    more = text
    for statement, clause in added:
        more = more.replace(statement, f"{statement}\n  {clause}", 1)
    if is_read(more):
        return more
    if len(added) <= 1:
        return text
    half = len(added) // 2
    return _as_many_as_fit(_as_many_as_fit(text, added[:half]), added[half:])


def with_boards(text: str, r: Random) -> str:
    """A board that runs the program."""
    boards = re.findall(r"^driver (\S+)", text, re.M)
    if not boards or "\nbuilt " in text:
        return text
    return f"{text}built as one program on {r.choice(boards)}\n"


def with_released_buttons(text: str, r: Random) -> str:
    """A button that is closed until it is pressed; a claim set aside."""
    found = re.sub(r"^button (\S+)$", r"button \1\n  contact released", text, count=1, flags=re.M)
    asked = re.search(r"^signal ", text, re.M)  # else there is nothing to set aside
    waived = asked and r.random() > 0.7
    return f'{found}waive never-shown because "tried"\n' if waived else found


EXTRAS: dict[Callable[[str, Random], str], int] = {
    with_named_routes: 3, with_train_count: 5, with_lever_locks: 8, with_plates: 10,
    with_indicators: 3, with_boards: 2, with_clauses: 2, with_released_buttons: 6, with_module: 6,
}  # fmt: skip
