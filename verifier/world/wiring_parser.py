"""Facts of wired layouts alone, in words: `train at m2`, `stock that draws no
current on Main`, `feeder m3 broken`, `T1 still moving`.

In: a plan and the text of a situation. Out: the facts found, and the text with these parts
left blank, for what is read like a rule. The words are those in which reports tell facts.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from verifier.language.diagnostics.diagnostic import Diagnostic, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import Source, Span
from verifier.plan.model import Plan
from verifier.plan.observables import AS_BEFORE, DIVIDED, Observable
from verifier.plan.wiring.derive_equipment import by_way_of, current_by
from verifier.plan.wiring.equipment import StockPlace
from verifier.plan.wiring.faults import FaultKind

# A part that begins so belongs to the one before it.
_GOES_ON = re.compile(
    r"\s*(over (no )?spots?\b|all current by way of |the rest of it|longer than the block"
    r"|drawing no current|which draws no current|on \S+\s*$|at \S+ (from|up)\b)"
)
_STOCK = re.compile(
    r"(a )?train at |.*\b(a )?train\b.*\bover |a train of |the middle of a train"
    r"|stock (that draws|drawing) |stock on \S+ at |.*\bbeyond the frog of "
)
_OVER = re.compile(r"\bover (no spot|spots? \d+(?:(?: to| and) \d+)*)")
_MOTION = re.compile(r"(\S+) (still moving|moving|at rest|not moved yet)")
_COMMANDED = re.compile(r"(\S+) told (?:to lie )?(\S+)")
_SHARE = re.compile(r"current on (\S+ at \S+) (divides|stays whole)")
_LIES = re.compile(r"(\S+) lies (\S+)")
# The words of reports, where rules have others.
_PLAIN = re.compile(r"stock on (\S+)|(gate|button) (\S+) (\S+)")
_VACANT = re.compile(r"(\S+(?:, \S+)*) and (\S+) vacant")
# What the names of things that can break begin with.
_BREAKS = frozenset(kind.words.split()[0] for kind in FaultKind if kind.words)
# So many names are listed where none is similar to the one given.
_LISTED = 12


@dataclass(slots=True)
class WiredFacts:
    """What was found: facts, errors, and the rest of the text."""

    facts: list[tuple[Observable, str, Span]] = field(default_factory=list)
    errors: list[Diagnostic] = field(default_factory=list)
    rest: str = ""


def wired_facts(plan: Plan, text: str) -> WiredFacts:
    """The facts of a situation that the grammar of rules has no words for."""
    found = WiredFacts()
    source = Source("situation", text)
    known = {what.name for what in plan.inputs}
    rest = [" "] * len(text)
    kept = 0
    for start, end in _parts(text):
        part = " ".join(text[start:end].split())
        if not part:
            continue
        indent = len(text[start:end]) - len(text[start:end].lstrip())
        if not _read(plan, part, Span(source, start + indent, end), known, found):
            rest[start:end] = text[start:end]
            if kept:
                rest[start - 1] = ","
            kept += 1
    found.rest = "".join(rest).rstrip()
    return found


def _parts(text: str) -> Iterator[tuple[int, int]]:
    """Where each part of a situation begins and ends."""
    pieces = [(m.start(), m.end()) for m in re.finditer(r"[^,;]+", text)]
    while pieces:
        start, end = pieces.pop(0)
        # A lone word is the first of several: `Main, Siding and Switch vacant`.
        while pieces and (
            _GOES_ON.match(text[slice(*pieces[0])]) or len(text[start:end].split()) == 1
        ):
            end = pieces.pop(0)[1]
        yield start, end


def _read(plan: Plan, part: str, span: Span, known: set[str], found: WiredFacts) -> bool:
    """Whether a part of the text is one of ours."""
    first = part.split()[0]
    if first in _BREAKS and first not in known:
        _fault(plan, part, span, found)
    elif part.startswith("no gap at "):
        _no_gap(plan, part, span, found)
    elif _STOCK.match(part):
        _stock(plan, part, span, found)
    elif motion := _MOTION.fullmatch(part):
        state = {"at rest": "settled", "not moved yet": AS_BEFORE}.get(motion[2], "moving")
        return _turnout(plan, motion[1], "motion", state, span, found)
    elif commanded := _COMMANDED.fullmatch(part):
        return _turnout(plan, commanded[1], "thrown", commanded[2], span, found)
    elif share := _SHARE.fullmatch(part):
        shares = {what.name: what for what in plan.inputs if what.kind == "share"}
        if share[1] not in shares:
            _unknown("current that divides", share[1], shares, span, found)
        else:
            divides = shares[share[1]]
            state = DIVIDED if share[2] == "divides" else divides.usual
            found.facts.append((divides, state, span))
    elif lies := _LIES.fullmatch(part):
        return _turnout(plan, lies[1], "points", lies[2], span, found)
    elif plain := _PLAIN.fullmatch(part):
        kind, name, state = ("stock", plain[1], "occupied") if plain[1] else plain.groups()[1:]
        what = next((w for w in plan.inputs if (w.kind, w.name) == (kind, name)), None)
        if what is None or state not in what.values:
            return False
        found.facts.append((what, state, span))
    elif vacant := _VACANT.fullmatch(part):
        names = [*vacant[1].split(", "), vacant[2]]
        stock = {w.name: w for w in plan.inputs if w.kind in ("stock", "standing")}
        if not set(names) <= stock.keys():
            return False
        found.facts += [(stock[name], "vacant", span) for name in names]
    else:
        return False
    return True


# ------------------------------------------------------------------ stock


def _stock(plan: Plan, part: str, span: Span, found: WiredFacts) -> None:
    wiring = plan.wiring
    on = re.search(r"\bon (\S+?)(?=,|\s|$)", part)
    at = re.search(r"\bat (\S+?)(?=,|\s|$)(?! (mm|m)\b)", part)
    feeder = wiring.feeders.get(at[1]) if at else None
    if at and feeder is None:
        _unknown("feeder", at[1], wiring.feeders, span, found)
        return
    block = on[1] if on else feeder.block if feeder else ""
    if block not in plan.blocks:
        _unknown("block", block, plan.blocks, span, found)
        return
    places = plan.equipment.places.get(block, ())
    over = _OVER.search(part)
    unseen = "no current" in part or "too little" in part
    fitting = [p for p in places if (p.dead is not None and p.dead.name in part) == bool(p.dead)]
    if any(p.dead is not None for p in fitting):
        fitting = [p for p in fitting if p.dead is not None]
    place = _place(fitting, feeder.name if feeder else None, over[0] if over else "", unseen)
    if place is None:
        found.errors.append(
            diagnostic(
                "CP204",
                span,
                "place" if places else "no_places",
                block=block,
                places=[p.name for p in places],
            )
        )
        return
    standing = next(w for w in plan.inputs if w.kind == "standing" and w.name == block)
    found.facts.append((standing, place.name, span))


def _place(
    places: Iterable[StockPlace], feeder: str | None, over: str, unseen: bool
) -> StockPlace | None:
    """The first place that fits, of those that draw current if there are any."""
    fitting = [
        place
        for place in places
        if (feeder is None or place.feeder == feeder)
        and (not over or place.name.endswith(over))
        and not (unseen and place.draws)
    ]
    return next((place for place in fitting if place.draws), fitting[0] if fitting else None)


# ------------------------------------------------------------------ points


def _turnout(plan: Plan, name: str, kind: str, state: str, span: Span, found: WiredFacts) -> bool:
    """Whether the motion, the true or the commanded position of a turnout is an input; if it is,
    its fact is noted."""
    machine = plan.wiring.machines.get(name)
    if machine is None:
        return False
    names = (machine.lever or name, name)
    what = next((w for w in plan.inputs if w.name in names and w.kind == kind), None)
    if kind == "thrown" and machine.lever:
        what = next((w for w in plan.inputs if w.name == machine.lever), None)
    if what is None:
        return False
    if state not in what.values:
        found.errors.append(impossible_state(f"turnout {name}", state, span, what.values))
    else:
        found.facts.append((what, state, span))
    return True


def _no_gap(plan: Plan, part: str, span: Span, found: WiredFacts) -> None:
    name, _, said = (word.strip() for word in part.removeprefix("no gap at ").partition(":"))
    places = {what.name: what for what in plan.inputs if what.kind == "current"}
    what = places.get(name)
    if what is None:
        _unknown("joint without a gap", name, places, span, found)
        return
    states = {current_by(block): by_way_of(block) for block in plan.blocks}
    if states.get(said) in what.values:
        found.facts.append((what, states[said], span))
    else:
        ways = [way for way, state in states.items() if state in what.values]
        found.errors.append(impossible_state(f"joint {what.name}", said, span, ways))


# ------------------------------------------------------------------ faults


def _fault(plan: Plan, part: str, span: Span, found: WiredFacts) -> None:
    """`feeder m3 broken`: the name of something that may break, and how it is broken."""
    faults = {fault.name: fault.what for fault in plan.equipment.faults}
    name = max((n for n in faults if part == n or part.startswith(f"{n} ")), key=len, default=None)
    first = part.split()[0]
    if name is None:
        alike = {n.split(maxsplit=1)[1]: n for n in faults if n.startswith(f"{first} ")}
        words = part.removeprefix(first).strip()
        named = _without_state(words, faults.values())
        _unknown(f"{first} that can break", named, alike, span, found)
        return
    what = faults[name]
    said = part[len(name) :].strip().removeprefix("is ")
    state = next((v for v in what.values if said and v.startswith(said)), None)
    if state is None:
        found.errors.append(
            impossible_state(name, said or "(no state given)", span, what.values[1:])
        )
    else:
        found.facts.append((what, state, span))


def _without_state(words: str, faults: Iterable[Observable]) -> str:
    """The name in what may be a name and a state."""
    for what in faults:
        for state in what.values[1:]:
            if words.endswith(f" {state}"):
                return words.removesuffix(f" {state}").removesuffix(" is")
    return words


# ------------------------------------------------------------------ what is wrong


def impossible_state(thing: str, state: str, span: Span, values: Iterable[str]) -> Diagnostic:
    """The error for a state that a thing cannot be in."""
    return diagnostic("CP204", span, "situation", thing=thing, state=state, values=values)


def _unknown(kind: str, name: str, known: Iterable[str], span: Span, found: WiredFacts) -> None:
    listed = list(known)
    hints: tuple[str, ...] = ("known",) if len(listed) <= _LISTED else ()
    near = nearest(name, listed)
    if near:
        hints = ()
    elif not listed:
        hints = ("none",)
    found.errors.append(
        diagnostic(
            "CP201",
            span,
            "kind",
            near=near,
            hints=hints,
            name=name,
            kind=kind,
            known=listed,
        )
    )
