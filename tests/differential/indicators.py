"""Indicators and bells for generated files, right and wrong alike.

In: the text of a file that is read, and a random source. Out: one that is read too.
"""

import re
from random import Random

from tests.differential.junctions import built
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan.model import Plan


def with_indicators(text: str, r: Random) -> str:
    """One to three, each driven by a board where there are boards (mostly). What would say two
    things is left out; so are all where there is nothing to repeat."""
    for number in range(r.choice([1, 2, 2, 3])):
        more = _with_one(text, f"Ind-{number}", r)
        text = more if _is_read(more) else text
    return text


def _is_read(text: str) -> bool:
    try:
        built(text)
    except InputError:
        return False
    return True


def _with_one(text: str, name: str, r: Random) -> str:
    facts = _facts(built(text), r)
    if not facts:
        return text
    says = r.choice(["indicator {} lit when {}", "bell {} rings when {}"])
    line = says.format(name, _condition(facts, r))
    boards = re.findall(r"^driver \S+ drives \S+", text, re.M)
    if boards and r.random() < 0.85:
        board = r.choice(boards)
        first, _, head = board.rpartition(" ")
        text = text.replace(board, f"{first} {name}, {head}", 1)
    return f"{text}{line}\n"


def _facts(plan: Plan, r: Random) -> list[str]:
    """Of everything that a condition may ask for, one state."""
    facts = [f"{name} {r.choice(['clear', 'occupied'])}"
             for name, block in plan.blocks.items() if block.detected]  # fmt: skip
    pieces = plan.track.pieces.values()
    facts += [f"{p.name} {r.choice(['normal', 'reverse', 'moving'])}"
              for p in pieces if p.kind in ("turnout", "slip")]  # fmt: skip
    facts += [f"{name} {r.choice(['derailing', 'non-derailing', 'moving'])}"
              for name in plan.derails]  # fmt: skip
    facts += [f"{name} {r.choice(['seated', 'open'])}" for name in plan.gates]
    facts += [f"{name} {r.choice(['at stop', 'at stop', 'proceeds', 'shows Clear'])}"
              for name in plan.signals]  # fmt: skip
    facts += list(plan.conditions)
    facts += [f"{head.name} {r.choice(head.color.values)}"
              for signal in plan.signals.values() for head in signal.heads]  # fmt: skip
    return facts


def _condition(facts: list[str], r: Random) -> str:
    """One fact, or two of a kind, perhaps the contrary."""
    if r.random() < 0.6:
        said = r.choice(facts)
        return f"not {said}" if r.random() < 0.2 else said
    return f" {r.choice(['and', 'or'])} ".join(r.choices(facts, k=2))
