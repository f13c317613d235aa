"""Suspects: each single thing that may be wrong on the bench, in words and with what it affects.

In: a plan. Out: every fault of its equipment and every wiring mistake, the likeliest first; and
whether one of them can change what a signal shows in a situation.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple, assert_never

from verifier.language.source import Span
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.faults import Fault, FaultKind
from verifier.plan.wiring.miswiring import Mistake, mistakes
from verifier.plan.wiring.wiring_model import Machine
from verifier.properties.failures import fault_words
from verifier.reference.inputs import heard_for

# The likelier the earlier. A wiring mistake is likelier on a new bench than a fault is, and
# of faults those that come with use or handling (common practice, no source).
LIKELY = (
    "feeder missed", "lamp-out", "wire-broken", "contacts swapped", "heads swapped",
    "feeders swapped", "no common return", "wrong feed", "detectors swapped", "not isolated",
    "lock built otherwise", "gap-bridged", "supply-lost", "flasher-stopped", "points-stalled",
    "report-stuck",
)  # fmt: skip


# How points, derails and gates lie, whatever the command, when their machine does not move them.
LEAVES = {
    "stays normal": "normal", "stays reverse": "reverse",
    "stays derailing": "derailing", "stays non-derailing": "non-derailing",
    "stays seated": "seated", "stays open": "open",
}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Suspect:
    """One thing that may be wrong. ``text`` says what, ``also`` other descriptions that no signal
    can tell from it. One of three is given: ``fault``, which may change between ``states`` from
    one moment to the next; ``mistake``; ``trouble``, a turnout, slip, derail or gate and what its
    machine does."""

    kind: str
    text: str
    span: Span
    also: tuple[str, ...] = ()
    fault: Fault | None = None
    states: tuple[str, ...] = ()
    mistake: Mistake | None = None
    trouble: tuple[str, str] | None = None

    @property
    def takes_power(self) -> Fault | None:
        """The fault, where it takes its power from something; else None."""
        lost = self.fault and self.fault.kind in (FaultKind.SUPPLY, FaultKind.POWER_WIRE)
        return self.fault if lost else None

    @property
    def divides_current(self) -> bool:
        """Whether it is a feeder that does not pass through its detector."""
        return self.kind in ("feeder missed", "feeders swapped")

    @property
    def rank(self) -> int:
        return LIKELY.index(self.kind)


Suspects = tuple[Suspect, ...]


def suspects(plan: Plan) -> Suspects:
    """Every single thing that may be wrong, the likelier first, else in file order."""
    found = [
        Suspect(m.kind, m.text, m.span, mistake=m)
        for m in mistakes(plan)
    ]  # fmt: skip
    for fault in plan.equipment.faults:
        kind, span = fault.kind.property_name, fault.span
        also: tuple[str, ...] = ()
        match fault.kind:
            case FaultKind.MACHINE:
                found += _machine(plan.wiring.machines[fault.subjects[0]], span)
                continue
            case FaultKind.GAP:
                text = f"{fault.name} is missing or bridged"
                found.append(Suspect(kind, text, span, (), fault, fault.ways))
                continue
            case FaultKind.DETECTOR_WIRE:
                source, reader = fault.subjects
                # A dead input is as dead for want of a return.
                driven = reader in plan.wiring.drivers
                also = (f"{source} and {reader} have no common return",) if driven else ()
            case FaultKind.PLATE | FaultKind.INDICATOR:
                continue  # to be seen, and no signal shows anything else
            case FaultKind.COMMON_RETURN:
                kind, also = "no common return", (f"{' and '.join(fault.subjects)} have none",)
            case _:
                pass
        found += [
            Suspect(kind, fault_words(fault, state), span, also, fault, (state,))
            for state in fault.ways
        ]
    return tuple(sorted(found, key=lambda suspect: suspect.rank))


def _machine(machine: Machine, span: Span) -> Iterator[Suspect]:
    """What the machine of points, a derail or a gate may do."""
    name = machine.turnout
    for position in machine.positions:
        text = f"the machine of {name} leaves it {position}, whatever it is told"
        # A gate that stopped on its way lies open, as one does that was not moved at all.
        also = (f"the machine of {name} stopped before it was seated",) * (position == "open")
        trouble = name, f"stays {position}"
        yield Suspect("points-stalled", text, span, also, trouble=trouble)
    if "open" not in machine.positions:
        text = f"the machine of {name} stopped between its ends"
        yield Suspect("points-stalled", text, span, trouble=(name, "stops"))
    text = f"the motor wires of {name} are swapped: it goes the other way"
    yield Suspect("points-stalled", text, span, trouble=(name, "other way"))


def can_be_together(group: Iterable[Suspect]) -> bool:
    """Whether these can all be present at once: not two states of one fault, nor a head swapped
    with two others."""
    used: set[object] = set()
    for suspect in group:
        mine: list[object] = []
        if suspect.fault is not None:
            mine = [suspect.fault]
        elif suspect.trouble is not None:
            mine = [("machine", suspect.trouble[0])]
        elif suspect.mistake is not None and suspect.mistake.kind == "heads swapped":
            mine = [("head", head) for head in suspect.mistake.about]
        if used.intersection(mine):
            return False
        used.update(mine)
    return True


# ------------------------------------------------------------------ what affects what


def _named(facts: Iterable[Observable], *kinds: str) -> set[str]:
    return {what.name for what in facts if what.kind in kinds}


@dataclass(frozen=True, slots=True)
class Cone:
    """The cone of influence of one signal: the equipment that can change what it shows."""

    heads: frozenset[str]
    drivers: frozenset[str]
    detectors: frozenset[str]
    turnouts: frozenset[str]
    supplies: frozenset[str]


_FEEDS = ("feeder missed", "feeders swapped", "wrong feed", "detectors swapped")


class Stood(NamedTuple):
    """Where stock stands: on which blocks, and through which feeders it may draw."""

    blocks: frozenset[str]
    feeders: frozenset[str]


class Influence:
    """What affects which signals of one plan. An overapproximation: what it rules out never
    matters."""

    def __init__(self, plan: Plan):
        self._plan = plan
        self._wiring = plan.wiring
        self._gap_blocks = {gap.name: gap.blocks for gap in plan.equipment.gaps}
        self._cones: dict[tuple[str, frozenset[tuple[str, ...]]], Cone] = {}
        self._loose: dict[tuple[Suspects, Suspect | bool], bool] = {}
        self.near = cache(self._near)
        self.power = cache(self._power)

    def cone(self, signal: str, group: Suspects) -> Cone:
        """The cone of a signal, with the heads swapped that ``group`` swaps."""
        swaps = frozenset(
            s.mistake.about for s in group if s.mistake and s.mistake.kind == "heads swapped"
        )
        key = signal, swaps
        if key not in self._cones:
            self._cones[key] = self._walk(signal, swaps)
        return self._cones[key]

    def _walk(self, start: str, swaps: frozenset[tuple[str, ...]]) -> Cone:
        plan, wiring = self._plan, self._wiring
        waiting, signals = [start], {start}
        heads: set[str] = set()
        detectors: set[str] = set()
        turnouts: set[str] = set()
        while waiting:
            signal = plan.signals[waiting.pop()]
            mine = {head.name for head in signal.heads}
            heads |= mine
            facts = self._facts(mine)
            turnouts |= _named(facts, *observables.OF_CONTACTS)
            detectors |= {d.name for block in _named(facts, "block report")
                          for d in wiring.detectors_of(block)}  # fmt: skip
            shown = _named(facts, "aspect", "color").union(*(p for p in swaps if mine & set(p)))
            read = {signal_of(name, plan.signals) for name in shown}
            waiting += read - signals
            signals |= read
        drivers = {d.name for head in heads if (d := wiring.driver_of(head))}
        supplies = (
            *(wiring.drivers[name].supply for name in drivers),
            *(wiring.detectors[name].supply for name in detectors),
            *(m.supply for name in turnouts if (m := wiring.machines.get(name))),
        )
        chains = frozenset(fed for supply in supplies for fed in self._wiring.chain_of(supply))
        return Cone(
            frozenset(heads), frozenset(drivers), frozenset(detectors), frozenset(turnouts),
            chains
        )  # fmt: skip

    def inputs_read(self, signal: str) -> tuple[set[str], set[Observable]]:
        """The turnouts, and the levers, buttons, derails, gates and memory, that a signal's own
        rules read."""
        facts = self._facts(head.name for head in self._plan.signals[signal].heads)
        others = {w for w in facts if w.kind in ("lever", "button", "relay", "timer", "traffic")}
        others |= {observables.derail(name) for name in _named(facts, "derail report")}
        others |= {observables.gate(name) for name in _named(facts, "gate report")}
        return _named(facts, "points report"), others

    def _facts(self, heads: Iterable[str]) -> set[Observable]:
        """What the rules of some heads read."""
        return {what for head in heads for what in heard_for(self._plan, head)}

    def _near(self, stock: frozenset[str]) -> frozenset[str]:
        """Blocks that hold stock, and those next to them."""
        beside = self._plan.equipment.beside
        return stock.union(*(joint.blocks for block in stock for joint in beside(block)))

    def _power(self, block: str) -> frozenset[str]:
        """The district a block is in, and what feeds it."""
        district = self._wiring.districts.get(self._wiring.district_of.get(block, ""))
        if district is None:
            return frozenset()
        return frozenset((district.name, *self._wiring.chain_of(district.supply)))

    def affects(self, suspect: Suspect, cone: Cone, stood: Stood, group: Suspects) -> bool:
        """Whether a suspect can change what the signal of this cone shows, with stock only as
        in ``stood`` and all the suspects of a group present.

        A signal that none of a group affects shows what it would without the group."""
        stock = stood.blocks
        if suspect.mistake is not None:
            near = self._draws_near(suspect, stood, group)
            return self._mistake_affects(suspect.mistake, cone, stood, near)
        if suspect.trouble is not None:
            return False  # it shows in how what is thrown lies, and that is given
        assert suspect.fault is not None
        return self._fault_affects(suspect.fault, cone, stock)

    def _fault_affects(self, fault: Fault, cone: Cone, stock: frozenset[str]) -> bool:
        name = fault.subjects[0]
        match fault.kind:
            case FaultKind.BUS:
                return self._feeds(name, cone, stock)
            case FaultKind.SUPPLY:
                return name in cone.supplies or self._feeds(name, cone, stock)
            case FaultKind.SUB_BUS | FaultKind.FEEDER | FaultKind.FROG:
                return not stock.isdisjoint(self._blocks_fed(fault))
            case FaultKind.DETECTOR_WIRE | FaultKind.CONTACT_WIRE:
                reader = fault.subjects[-1]
                heard = reader not in self._wiring.drivers or reader in cone.drivers
                sources = cone.turnouts if fault.kind is FaultKind.CONTACT_WIRE else cone.detectors
                return heard and name in sources
            case FaultKind.POWER_WIRE:
                return name in cone.detectors or name in cone.drivers
            case FaultKind.COMMON_RETURN:
                return bool(cone.detectors and cone.drivers)
            case FaultKind.GAP:
                return bool(cone.detectors and stock.intersection(self._gap_blocks[name]))
            case FaultKind.LAMP | FaultKind.HEAD | FaultKind.ARM:
                return name in cone.heads
            case FaultKind.LAMP_COMMON:
                return not cone.heads.isdisjoint(fault.subjects)
            case FaultKind.FLASHER:
                return name in cone.drivers
            case FaultKind.DETECTOR:
                return name in cone.detectors
            case FaultKind.CONTACT | FaultKind.CONTACT_RETURN:
                return name in cone.turnouts
            case FaultKind.MACHINE:
                return True
            case FaultKind.PLATE | FaultKind.INDICATOR:
                return False  # no signal shows anything else
            case FaultKind.INPUT_MISSING | FaultKind.HEAD_UNLIT:
                raise AssertionError(fault)  # of exported rules, not of a layout
            case _:
                assert_never(fault.kind)

    def _blocks_fed(self, fault: Fault) -> set[str]:
        """The blocks whose rails, or some of them, get their current by a wire."""
        (name,) = fault.subjects
        if fault.kind is FaultKind.FROG:
            return {self._plan.track.pieces[name].block or ""}
        sub_bus = fault.kind is FaultKind.SUB_BUS
        feeders = self._wiring.sub_buses[name].feeders if sub_bus else (name,)
        return {self._wiring.feeders[feeder].block for feeder in feeders}

    def _feeds(self, source: str, cone: Cone, stock: frozenset[str]) -> bool:
        """Whether losing a district or its supply can matter: to stock, or to a detector that
        then reads occupied."""
        detectors = (self._wiring.detectors[name] for name in cone.detectors)
        blocks = {*self.near(stock), *(d.block for d in detectors if d.without_power)}
        return bool(cone.detectors) and any(source in self.power(block) for block in blocks)

    def _draws_near(self, suspect: Suspect, stood: Stood, group: Suspects) -> frozenset[str] | None:
        """The feeders stock can draw through; None where any may matter: a broken feeder or a
        gap opens other ways, or another mistake leads other feeders through a detector."""
        key = group, suspect.kind in _FEEDS and suspect
        if key not in self._loose:
            self._loose[key] = bool(self._plan.equipment.joined) or any(
                s.kind == "gap-bridged"
                or (s.fault is not None and s.fault.kind in (FaultKind.FEEDER, FaultKind.SUB_BUS))
                or (s.kind in _FEEDS and key[1] and s is not suspect)
                for s in group
            )
        return None if self._loose[key] else stood.feeders

    def _mistake_affects(
        self, mistake: Mistake, cone: Cone, stood: Stood, near: frozenset[str] | None
    ) -> bool:
        about = mistake.about
        match mistake.kind:
            case "feeder missed":
                return self._heard(about[:1], cone, near) and self._may_draw(about[1:], stood, near)
            case "feeders swapped":
                heard = self._heard(about[::2], cone, near)
                return heard and self._may_draw(about[1::2], stood, near)
            case "wrong feed" | "detectors swapped":
                if not self._heard(about, cone, near):
                    return False
                feeders = [f for name in about for f in self._feeders_at(name)]
                return bool(stood.blocks) and (near is None or bool(near.intersection(feeders)))
            case "contacts swapped":
                return about[0] in cone.turnouts
            case "heads swapped":
                return bool(cone.heads.intersection(about))
            case "not isolated":
                return about[0] in cone.detectors

    def _heard(self, names: Iterable[str], cone: Cone, near: frozenset[str] | None) -> bool:
        """Whether other feeders through some of these can change what a detector of a cone sees:
        of those that share the feeders of a block, one sees what no other does."""
        if near is None:
            return bool(cone.detectors)
        of_block = self._plan.equipment.together.values()
        beside = {one for those in of_block if not set(those).isdisjoint(names) for one in those}
        return not cone.detectors.isdisjoint({*names, *beside})

    def _feeders_at(self, name: str) -> Iterator[str]:
        """The feeders of a block, or through a detector."""
        detector = self._wiring.detectors.get(name)
        if detector is not None:
            yield from detector.through
        else:
            yield from (feeder.name for feeder in self._wiring.feeders_of(name))

    def _may_draw(self, feeders: Iterable[str], stood: Stood, near: frozenset[str] | None) -> bool:
        """Whether stock may draw its current through one of these feeders."""
        if near is not None:
            return not near.isdisjoint(feeders)
        around = self.near(stood.blocks)
        return any(self._wiring.feeders[feeder].block in around for feeder in feeders)
