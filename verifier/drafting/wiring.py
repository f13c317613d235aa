"""The wiring of a draft: what feeds the track, watches it, throws points and lights heads.

In: a plan, and the statements of its file. Out: what is missing, by name, and its text. What the
file has already is left alone and used: supplies, districts, feeders, detectors, boards.

All amounts are common practice, no source. They are what the proof rests on, so that single
faults do no harm: two feeders, since one may break; a detector that senses a wheelset by the tenth
of its current that is left beside a bridged gap; and points that are told to lie as they do before
a signal counts on them, since a machine that did not obey may move later, under a train.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from verifier.drafting.words import dashed, free_name
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import Source
from verifier.language.syntax import tree
from verifier.plan.model import Plan

Movable = tree.Turnout | tree.Slip | tree.Derail | tree.Gate

# At least two feeders, and one for each so many meters of track.
_FEW, _APART = 2, 2
# So many heads are lit by one supply: with 15 mA each, less than its fuse of 2 A.
_HEADS = 100
# What a device reports at its two ends, as `contacts` names them.
_ENDS = {
    tree.Turnout: "normal, reverse", tree.Slip: "normal, reverse",
    tree.Derail: "derailing, non-derailing", tree.Gate: "seated, open",
}  # fmt: skip
_AWAY = {"normal": "reverse", "derailing": "non-derailing"}


@dataclass(frozen=True, slots=True)
class Wired:
    """What is added, by its name. ``agrees``: of each turnout, slip and derail with a machine, the
    relay that is up while it lies as it was told. ``feeders``: the new ones of each block;
    ``detectors``: of each block that has none. ``track``, ``power``: the supplies; ``new``: those
    of them that the file lacks; ``district``: that of blocks in none, or empty."""

    plan: Plan
    agrees: Mapping[str, str]
    feeders: Mapping[str, tuple[str, ...]]
    detectors: Mapping[str, str]
    track: str
    power: str
    new: tuple[str, ...]
    district: str

    @property
    def made(self) -> set[str]:
        """The names of all that is added."""
        made = {*self.agrees.values(), *self.detectors.values(), *self.new}
        return made.union(*self.feeders.values(), {self.district} - {""})

    @property
    def powered(self) -> str:
        """What powers relays, timers and boards, as a clause."""
        return f"powered by {self.power}"


def wired_for(
    plan: Plan,
    statements: Sequence[tree.Statement],
    taken: set[str],
    *,
    by_hand: bool,
    automatic: bool,
) -> Wired:
    """The wiring that a plan lacks. Its names are added to ``taken``."""
    supplies = plan.wiring.supplies.values()
    rails = {d.supply for d in plan.wiring.districts.values()}
    rails |= {s.name for s in supplies if s.track_power}
    on_hand = (
        next((s.name for s in supplies if s.track_power), ""),
        next((s.name for s in supplies if s.name not in rails), ""),
    )
    track, power = (
        known or free_name(name, taken)
        for known, name in zip(on_hand, ("Track-A", "Bus-1"), strict=True)
    )
    new = tuple(s for s, known in zip((track, power), on_hand, strict=True) if not known)
    ends = {end: c.name for c in plan.crossovers.values() for end in c.ends}
    agrees: dict[str, str] = {}
    relays: dict[str, str] = {}
    for name in _obeying(plan, statements, by_hand=by_hand, automatic=automatic):
        of = ends.get(name, name)
        relays[of] = relays.get(of) or free_name(f"{dashed(of)}-agrees", taken)
        agrees[name] = relays[of]
    feeders = {
        block: tuple(
            free_name(f"{dashed(block)}-feed-{i}", taken) for i in range(1, _count(plan, block) + 1)
        )
        for block in plan.blocks
        if not plan.wiring.feeders_of(block)
    }
    detectors = {
        name: free_name(f"D-{dashed(name)}", taken)
        for name, block in plan.blocks.items()
        if block.detected and not plan.wiring.detectors_of(name)
    }
    lost = [block for block in plan.blocks if block not in plan.wiring.district_of]
    district = free_name("District-1", taken) if lost else ""
    return Wired(plan, agrees, feeders, detectors, track, power, new, district)


def _count(plan: Plan, block: str) -> int:
    length = plan.wiring.lengths.get(block, Fraction(0))
    return max(_FEW, ceil(length / _APART))


def _obeying(
    plan: Plan, statements: Sequence[tree.Statement], *, by_hand: bool, automatic: bool
) -> Iterator[str]:
    """What has a machine that is told, and may not do, where it should lie."""
    for statement in statements:
        if isinstance(statement, tree.Turnout | tree.Slip | tree.Derail):
            kinds = {clause.kind for clause in statement.clauses}
            names = [name.text for name in names_of(statement)]
            throws = [plan.locking.throws.get(name) for name in names]
            by_lever = all(throw is not None and throw.by == "lever" for throw in throws)
            hand = automatic if isinstance(statement, tree.Derail) else by_hand
            if by_lever or not (kinds & SAID or hand or len(names) > 1):
                yield from names


def names_of(statement: Movable) -> tuple[tree.DeclaredName, ...]:
    """What a statement declares: a derail has one of its own."""
    return (statement.name,) if isinstance(statement, tree.Derail) else statement.names


# Clauses that say how something is thrown.
SAID = {"thrown by", "thrown when", "electric lock", "pipe-connected"}


# ------------------------------------------------------------------ clauses below statements


def feeders_below(block: tree.Block, source: Source, wired: Wired) -> Iterator[str]:
    """The feeders of the blocks of a statement.

    Raises :class:`InputError` where it is written in another text."""
    alone = len(block.names) == 1
    for name in block.names:
        feeders = wired.feeders.get(name.text, ())
        if feeders and block.span.source is not source:
            raise InputError([diagnostic("CP904", block.span, "feeders", name=name.text)])
        if feeders:
            yield f"feeders {', '.join(feeders)}{'' if alone else f' on {name.text}'}"


def machine_below(statement: Movable, wired: Wired) -> Iterator[str]:
    """The machine of points, a derail or a gate, and its contacts."""
    said = {clause.kind for clause in statement.clauses}
    if "pipe-connected" in said:
        return
    if any(name.text in wired.agrees for name in names_of(statement)):
        if "motor" not in said:
            yield "motor slow"
        if "powered by" not in said:
            yield wired.powered
    if "contacts" not in said:
        yield f"contacts {_ENDS[type(statement)]}"


# ------------------------------------------------------------------ power, detectors, boards


def agreeing(wired: Wired, told: Mapping[str, tuple[str, str]]) -> Iterator[str]:
    """The relays that say whether points and derails lie as they were told. ``told``: by what they
    are of, in words when they are told to lie normal, and when the other way."""
    for of, (normal, away) in told.items():
        one = "derailing" if of in wired.plan.derails else "normal"
        yield f"relay {_relay_of(of, wired)}"
        yield f"  picks when {normal} and {of} {one} or {away} and {of} {_AWAY[one]}"


def _relay_of(of: str, wired: Wired) -> str:
    crossover = wired.plan.crossovers.get(of)
    return wired.agrees[crossover.ends[0] if crossover else of]


def power(wired: Wired) -> Iterator[str]:
    """Supplies, the district, and the trains that are to be seen."""
    wiring, feet = wired.plan.wiring, wired.plan.wiring.units.track == "ft"
    if wired.track in wired.new:
        yield f"supply {wired.track} track power DCC 15 V 5 A fuse 5 A electronic"
    if wired.power in wired.new:
        yield f"supply {wired.power} DC 12 V 5 A fuse 2 A"
    if wired.district:
        lost = [block for block in wired.plan.blocks if block not in wiring.district_of]
        yield f"district {wired.district} on {', '.join(lost)} fed by {wired.track}"
    if wiring.trains is None:
        lengths = "12 in to 8 ft" if feet else "300 mm to 2400 mm"
        yield f"trains {lengths}, detectable throughout, wheelsets 2 kohm"


def detectors(wired: Wired) -> Iterator[str]:
    """A detector for each block that has none: all its feeders pass through it."""
    kind = {s.name: s.current for s in wired.plan.wiring.supplies.values()}
    for block, name in wired.detectors.items():
        own = [feeder.name for feeder in wired.plan.wiring.feeders_of(block)]
        district = wired.plan.wiring.districts.get(wired.plan.wiring.district_of.get(block, ""))
        fed = kind.get(district.supply if district else wired.track)
        yield f"detector {name} current-sensing by {'biased diodes' if fed == 'DC' else 'coil'}"
        yield f"  through {', '.join(own or wired.feeders[block])}"
        if fed != "DC":
            yield "  turns 2"
        yield "  sensitivity 1 mA"
        yield f"  {wired.powered}"
        yield "  output closed when clear"
        yield "  without track power reads occupied"


def boards(heads: Mapping[str, Sequence[str]], wired: Wired, taken: set[str]) -> Iterator[str]:
    """A board for the heads of each control point, and a further supply for each so many heads."""
    lit = {head for driver in wired.plan.wiring.drivers.values() for head in driver.heads}
    closed = [d.closed_when for d in wired.plan.wiring.detectors.values()]
    supplies, load = [wired.power], 0
    for center, all_of_it in heads.items():
        left = [head for head in all_of_it if head not in lit]
        if not left:
            continue
        if load and load + len(left) > _HEADS:
            supplies.append(free_name("Bus-2", taken))
            yield f"supply {supplies[-1]} DC 12 V 5 A fuse 2 A"
            load = 0
        load += len(left)
        yield f"driver {free_name(f'Board-{dashed(center)}', taken)} drives {', '.join(left)}"
        yield f"  powered by {supplies[-1]}"
        if "occupied" not in closed:
            yield "  when input missing shows red"
        yield "  when lamp out shows red"
        yield "  lamps 15 mA"
    if len(supplies) > 1:
        yield f"common return {', '.join(supplies)}"


def heads_of(signals: Iterable[tuple[str, str, bool]], plan: Plan) -> Mapping[str, list[str]]:
    """The heads of each control point. ``signals``: its center, name, and whether it has two."""
    found: dict[str, list[str]] = {}
    for center, name, two in signals:
        if name in plan.signals:
            own = [head.name for head in plan.signals[name].heads]
        else:
            own = [f"{name}.upper", f"{name}.lower"] if two else [name]
        found.setdefault(center, []).extend(own)
    return found
