"""How often a repair is the right one: ``python -m tests.benchmarks.repairs [--number 40]``.

Files that are proved are spoiled in one place: something left out, turned into its opposite or
joined with `or`, in rules, locks and wiring. Of those that are then broken it prints whether the
original, or what means the same, is among the first three repairs. Never part of a test run.
"""

import argparse
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, is_dataclass
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

from tests.junction_files import spec
from verifier.api import checked, mend_text
from verifier.engines.results import Impossible
from verifier.engines.smt.situations import SituationCheck
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.source import Source, Span
from verifier.language.syntax import tree
from verifier.language.syntax.parse import parse
from verifier.logic.expr import Expr, atom, conjunction, disjunction, negation
from verifier.mending.changes import Change, changed, instead, without
from verifier.mending.mend import Mended
from verifier.plan.model import Plan
from verifier.world.world import World

BASES = (
    "both-green-mended", "end-of-siding-mended", "red-over-green-mended", "spur-mended",
    "crossover-mended", "diamond-mended", "lift-gate-mended", "team-track-mended",
    "stop-and-proceed-mended", "order-of-lines-mended", "lever-frame-mended",
    "missed-feeder-mended", "two-supplies-mended", "one-contact-mended", "lamp-out-mended",
    "broken-wire-mended", "no-track-power-mended", "short-train-mended", "gap-inside-mended",
    "bridged-gap-mended", "drawbridge-mended", "start-position-mended", "relay-race-mended",
)  # fmt: skip
_OPPOSITE = {"normal": "reverse", "reverse": "normal", "clear": "occupied", "left": "right",
             "right": "left", "up": "down", "down": "up", "derailing": "non-derailing",
             "occupied": "clear", "at stop": "proceeds", "proceeds": "at stop"}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    base: str
    kind: str
    said: str
    original: str
    text: str


def mutants(base: str) -> Iterator[Mutant]:
    """Every way to spoil a file in one place."""
    text = spec(base).read_text("utf-8")
    for kind, said, changes in _changes(text):
        spoiled = changed(text, changes)
        if spoiled is not None:
            yield Mutant(base, kind, said, text, spoiled)


def _changes(text: str) -> Iterator[tuple[str, str, list[Change]]]:
    for statement in parse(Source("base", text)):
        if isinstance(statement, tree.Prove | tree.Assume | tree.Expect):
            continue
        for condition in _conditions(statement):
            yield from _of_condition(condition, text)
        if isinstance(statement, tree.LeverLock):
            yield "drop", _said(statement.span), [without(text, statement.span)]
            for held, also in pairwise(statement.locks):
                yield "drop", _said(also.span), [Change(held.span.end, also.span.end, 0, "")]
        if isinstance(statement, tree.Detector | tree.Driver):
            for clause in statement.clauses:
                if clause.kind in ("without track power", "when lamp out", "when input missing"):
                    yield "drop", _said(clause.span), [instead(clause.span, "")]
                if clause.kind == "through" and len(clause.names) > 1:
                    one, two = clause.names[-2:]
                    yield "drop", _said(two.span), [Change(one.span.end, two.span.end, 0, "")]
                if clause.kind == "output":
                    words = text[clause.span.start : clause.span.end]
                    other = words.replace("clear", "occupied")
                    yield "swap", words, [instead(clause.span, other)]
                if clause.kind == "turns":
                    yield "weaken", _said(clause.span), [instead(clause.span, "turns 1")]
        if isinstance(statement, tree.Timer):
            yield "weaken", _said(statement.span), [instead(_of(statement.length), "2 s")]


def _of(length: tree.Length) -> Span:
    return length[0].span.to(length[-1].span)


def _said(span: Span) -> str:
    return span.one_line


def _conditions(node: Any) -> Iterator[tree.Condition]:
    """Whole conditions, not their parts."""
    if isinstance(node, tree.Fact | tree.AllOf | tree.AnyOf | tree.Negation):
        yield node
    else:
        for part in tree.parts_of(node):
            yield from _conditions(part)


def _of_condition(condition: tree.Condition, text: str) -> Iterator[tuple[str, str, list[Change]]]:
    match condition:
        case tree.AllOf(parts=parts) | tree.AnyOf(parts=parts):
            for one, two in pairwise(parts):
                yield "drop", _said(two.span), [Change(one.span.end, two.span.end, 0, "")]
            first, second = parts[:2]
            yield "drop", _said(first.span), [Change(first.span.start, second.span.start, 0, "")]
            if isinstance(condition, tree.AllOf):
                joints = [
                    Change(one.span.end, two.span.start, 0, " or ") for one, two in pairwise(parts)
                ]
                yield "weaken", _said(condition.span), joints
            for part in parts:
                yield from _of_condition(part, text)
        case tree.Negation(part=part):
            yield from _of_condition(part, text)
        case tree.Fact(state=state) if state is not None:
            written = text[state.span.start : state.span.end]
            if written in _OPPOSITE:
                change = instead(state.span, _OPPOSITE[written])
                yield "swap", _said(condition.span), [change]
            for name, other in pairwise(condition.names):
                yield "drop", _said(other.span), [Change(name.span.end, other.span.end, 0, "")]


# ------------------------------------------------------------------ what means the same


def means_the_same(one: Plan, two: Plan) -> bool:
    """Whether two plans show the same in every situation, remember and lock the same, and are
    wired alike."""
    if _bare(one.wiring) != _bare(two.wiring) or set(one.inputs) != set(two.inputs):
        return False
    worlds = World(one), World(two)
    differ = [_differ(a, b) for a, b in zip(_meaning(one, worlds[0]), _meaning(two, worlds[1]),
                                           strict=False)]  # fmt: skip
    if len(list(_meaning(one, worlds[0]))) != len(list(_meaning(two, worlds[1]))):
        return False
    bounds = [_differ(worlds[0].expand(worlds[0].lower(a.condition)),
                      worlds[1].expand(worlds[1].lower(b.condition)))
              for a, b in zip(one.assumptions, two.assumptions, strict=False)]  # fmt: skip
    if len(one.assumptions) != len(two.assumptions):
        return False
    check = SituationCheck.of(worlds[0], None)
    return isinstance(check.find(disjunction(*differ, *bounds)), Impossible)


def _differ(one: Expr, two: Expr) -> Expr:
    return disjunction(conjunction(one, negation(two)), conjunction(two, negation(one)))


def _meaning(plan: Plan, world: World) -> Iterator[Expr]:
    for signal in plan.signals.values():
        for value in signal.aspect.values:
            yield world.expand(atom(signal.aspect, value))
    locking = plan.locking
    for relay in locking.relays.values():
        yield world.expand(world.lower(relay.picks))
        if relay.sticks is not None:
            yield world.expand(world.lower(relay.sticks))
    for timer in locking.timers.values():
        yield world.expand(world.lower(timer.runs))
    for throw in locking.throws.values():
        if throw.locked is not None:
            yield world.expand(world.lower(throw.locked))


def _bare(value: Any) -> Any:
    """A value without the places it was written at."""
    if isinstance(value, Span):
        return None
    if is_dataclass(value) and not isinstance(value, type):
        names = getattr(type(value), "__match_args__", ())
        return type(value).__name__, tuple(_bare(getattr(value, name)) for name in names)
    if isinstance(value, dict):
        return tuple((key, _bare(part)) for key, part in value.items())
    if isinstance(value, tuple | list):
        return tuple(map(_bare, value))
    return value


# ------------------------------------------------------------------ the run


def rank_of_original(mutant: Mutant, found: Mended, path: Path) -> int:
    """The number of the repair that gives back the original or what means the same; 0: none of
    the first three."""
    original, _ = checked(mutant.original, mutant.base, path)
    for number, repair in enumerate(found.repairs[:3], start=1):
        plan, _ = checked(repair.text, mutant.base, path)
        if means_the_same(original, plan):
            return number
    return 0


def main() -> None:
    """Print each mutant that is broken, and the rank of its original among the repairs."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--number", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--within", type=float, default=120.0)
    parser.add_argument("bases", nargs="*", default=BASES, help="specs to spoil")
    asked = parser.parse_args()
    every = [mutant for base in asked.bases for mutant in mutants(base)]
    Random(asked.seed).shuffle(every)
    ranks: Counter[str] = Counter()
    for mutant in every:
        if ranks.total() == asked.number:
            break
        path = spec(mutant.base)
        start = time.process_time()
        try:
            found = mend_text(mutant.text, mutant.base, path, within=asked.within)
        except InputError:
            continue
        if not found.before.broken:
            continue
        rank = rank_of_original(mutant, found, path)
        how = str(rank or ("other" if found.repairs else "none"))
        ranks[how] += 1
        took = time.process_time() - start
        print(f"{how:<6} {took:5.1f} s  {mutant.base}: {mutant.kind} {mutant.said}", flush=True)
        if not rank:
            for repair in found.repairs[:3]:
                print(f"{'':17}{repair.sentence}", flush=True)
            print(f"{'':17}broken: {'; '.join(found.before.broken)} {found.stopped}", flush=True)
    first = sum(n for how, n in ranks.items() if how.isdigit())
    print(f"{first} of {ranks.total()} among the first three: {dict(ranks)}")


if __name__ == "__main__":
    main()
