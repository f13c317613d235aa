"""How often the first three repairs of a slip are what stood there before it, or the same by
another word: of seeded slips in rules, locks and wiring of files that prove.

python -m tests.mending.mutants 40 3 first-steps track   # slips, seed, folders of specs
"""

import re
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path
from random import Random
from typing import NamedTuple

from tests.junction_files import SPEC_FILES
from verifier.api import load_text, mend_text
from verifier.engines.results import Impossible
from verifier.engines.smt.situations import SituationCheck
from verifier.farm.mutants import without_one
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.format.formatter import format_text
from verifier.logic.expr import atom, conjunction, disjunction, negation
from verifier.mending.changes import Change, changed
from verifier.plan.model import Plan
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not
from verifier.world.world import World

SHOWN = 3
_OTHER = {"normal": "reverse", "reverse": "normal", "clear": "occupied", "left": "right",
          "right": "left"}  # fmt: skip


class Slip(NamedTuple):
    """``kind``: what was done to what; ``text``: the file with it."""

    kind: str
    text: str


# ------------------------------------------------------------------ slips


def slips(plan: Plan) -> Iterator[Slip]:
    """Each condition of a rule, lock, relay or timer dropped, weakened, or said of the other state;
    two names of a list swapped; each feeder no detector has, and each gap in the wrong rail."""
    for signal in plan.signals.values():
        for lines in (signal.lines, *(head.lines for head in signal.heads)):
            for line in lines:
                if line.when is not None:
                    yield from _of_condition("rule", line.when, plan)
    for throw in plan.locking.throws.values():
        match throw.locked:
            case Not(part=released) if throw.electric:
                yield from _of_condition("lock", released, plan)
            case Fact() | All() | AnyOne() | Not():
                yield from _of_condition("lock", throw.locked, plan)
    for relay in plan.locking.relays.values():
        for when in (relay.picks, relay.sticks):
            if when is not None and not relay.after and not relay.step_of:
                yield from _of_condition("memory", when, plan)
    for timer in plan.locking.timers.values():
        yield from _of_condition("memory", timer.runs, plan)
    text = plan.source.text
    for found in re.finditer(r"through ((?:[\w-]+, )+)([\w-]+)", text):
        shorter = f"through {found[1].removesuffix(', ')}"
        yield Slip("wiring drop", text[: found.start()] + shorter + text[found.end() :])
    for found in re.finditer(r"closed when ([\w-]+) (normal|reverse)", text):
        other = f"closed when {found[1]} {_OTHER[found[2]]}"
        yield Slip("wiring swap", text[: found.start()] + other + text[found.end() :])


def _of_condition(where: str, when: Condition, plan: Plan) -> Iterator[Slip]:
    if when.span.source.name != plan.source.name or when.span.source.used is not None:
        return
    ways = [("drop", left) for _, left in without_one(when)]
    ways += [("swap", other) for other in _swapped(when)]
    ways += [("weaken", other) for other in _weakened(when)]
    for how, condition in ways:
        edit = Change(when.span.start, when.span.end, 0, say(condition))
        text = changed(plan.source.text, [edit])
        if text is not None:
            yield Slip(f"{where} {how}", text)


def _swapped(when: Condition) -> Iterator[Condition]:
    match when:
        case Fact(what=what, values=(value,), span=span) if value in _OTHER:
            other = _OTHER[value]
            if other in what.values:
                yield Fact(what, (other,), span, f"{what.name} {other}")
        case Not(part=part):
            yield part
        case All(parts=parts, span=span) | AnyOne(parts=parts, span=span):
            for i, part in enumerate(parts):
                for turned in _swapped(part):
                    yield type(when)((*parts[:i], turned, *parts[i + 1 :]), span)


def _weakened(when: Condition) -> Iterator[Condition]:
    match when:
        case All(parts=parts, span=span):
            for i in range(len(parts) - 1):
                either = AnyOne(parts[i : i + 2], span)
                rest = (*parts[:i], either, *parts[i + 2 :])
                yield All(rest, span) if len(rest) > 1 else either
        case AnyOne(parts=parts, span=span) if len(parts) > 1:
            both = All(parts[:2], span)
            yield AnyOne((both, *parts[2:]), span) if parts[2:] else both


def say(condition: Condition) -> str:
    """A condition as text."""
    match condition:
        case Fact(text=text):
            return text
        case Not(part=part):
            return f"not ({say(part)})"
        case All(parts=parts):
            return " and ".join(f"({say(p)})" if isinstance(p, AnyOne) else say(p) for p in parts)
        case AnyOne(parts=parts):
            return " or ".join(f"({say(p)})" if isinstance(p, All) else say(p) for p in parts)


# ------------------------------------------------------------------ the same


def is_same(text: str, original: Plan) -> bool:
    """Whether a text says what the original did: to the letter, or signals show and locks hold the
    same in every situation."""
    if format_text(text) == format_text(original.source.text):
        return True
    plan = load_text(text)
    alike = (
        {*plan.signals} == {*original.signals}
        and plan.wiring.detectors.keys() == original.wiring.detectors.keys()
        and plan.inputs == original.inputs
        and _locks(plan) == _locks(original)
    )
    return alike and _show_the_same(plan, original)


def _locks(plan: Plan) -> dict[str, object]:
    throws = plan.locking.throws.items()
    return {name: _form(throw.locked) for name, throw in throws if throw.locked is not None}


def _form(when: Condition) -> object:
    match when:
        case Fact(what=what, values=values):
            return what, values
        case Not(part=part):
            return "not", _form(part)
        case All(parts=parts) | AnyOne(parts=parts):
            kind, forms = type(when), {*map(_form, parts)}
            inner = [form for form in forms if isinstance(form, tuple) and form[0] is kind]
            flat = forms.difference(inner).union(*(form[1] for form in inner))
            return kind, frozenset(flat)


def _show_the_same(plan: Plan, original: Plan) -> bool:
    one, two = World(plan), World(original)
    check = SituationCheck.of(two, 20)
    for name, signal in original.signals.items():
        other = plan.signals[name]
        if signal.reading.values != other.reading.values:
            return False
        for value in signal.reading.values:
            a, b = one.expand(atom(other.reading, value)), two.expand(atom(signal.reading, value))
            differ = disjunction(conjunction(a, negation(b)), conjunction(b, negation(a)))
            if not isinstance(check.find(differ), Impossible):
                return False
    return True


# ------------------------------------------------------------------ counting


def place_of(slip: Slip, original: Plan, path: Path) -> int | str:
    """The number of the repair that is the original, ``harmless`` where nothing is broken."""
    try:
        found = mend_text(slip.text, path.name, path)
    except InputError:
        return "unreadable"
    if not found.before.broken:
        return "harmless"
    for number, repair in enumerate(found.repairs, start=1):
        try:
            if is_same(repair.text, original):
                return number
        except InputError:
            continue
    return "other" if found.repairs else "none"


def main(number: str, seed: str, *folders: str) -> None:
    """Print each slip that its first repairs do not undo, and the rate by kind."""
    by_kind: dict[str, list[tuple[Path, Plan, Slip]]] = defaultdict(list)
    for path in SPEC_FILES:
        if path.parent.name in folders and not path.stem.endswith("-broken"):
            plan = load_text(path.read_text("utf-8"))
            for slip in () if plan.expectations else slips(plan):
                by_kind[slip.kind].append((path, plan, slip))
    random, found = Random(int(seed)), defaultdict[str, Counter[str]](Counter)
    for kind, every in sorted(by_kind.items()):
        for path, plan, slip in random.sample(every, min(len(every), int(number))):
            began = time.process_time()
            place = place_of(slip, plan, path)
            good = isinstance(place, int) and place <= SHOWN
            found[kind]["good" if good else str(place)] += 1
            took = time.process_time() - began
            print(f"{kind}: {path.stem}: {place} ({took:.1f} s)", flush=True)
            if not good and place not in ("harmless", "unreadable"):
                print(_difference(plan.source.text, slip.text), flush=True)
    for kind, counts in found.items():
        tried = sum(n for what, n in counts.items() if what not in ("harmless", "unreadable"))
        print(f"{kind}: {counts['good']} of {tried}; {dict(counts)}")


def _difference(one: str, two: str) -> str:
    lines: Sequence[tuple[str, str]] = [
        (a, b) for a, b in zip(one.splitlines(), two.splitlines(), strict=False) if a != b
    ]
    return "\n".join(f"  - {a.strip()}\n  + {b.strip()}" for a, b in lines[:2])


if __name__ == "__main__":
    main(*sys.argv[1:])
