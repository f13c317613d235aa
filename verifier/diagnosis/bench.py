"""The layout on the bench: what its signals show, given how it is set up and what is wrong.

In: a plan, a way it is set up (stock, points, levers), a group of suspects. Out: the colors
each signal can then show, by the evaluator, without a solver. What no suspect of the group
bears on is looked up rather than worked out again.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import NamedTuple

from verifier.diagnosis.suspects import Bearing, Stood, Suspect, Suspects, suspects
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.plan.wiring.derive_equipment import with_wiring
from verifier.plan.wiring.equipment import StockPlace
from verifier.plan.wiring.faults import Fault, FaultKind
from verifier.plan.wiring.miswiring import miswired
from verifier.plan.wiring.wiring_model import Machine
from verifier.reference.equipment import can_be
from verifier.reference.evaluator import Evaluator, Unsettled
from verifier.reference.train_extents import train_positions

Colors = tuple[str, ...]
NOBODY_KNOWS: Colors = ("?",)


@dataclass(frozen=True, slots=True, eq=False)
class Setup:
    """How a layout is set up for a look at its signals. ``stands``: by block, the places at
    one of which stock stands; ``told`` how turnouts were told to lie; ``lies`` how they were
    seen to lie; ``facts`` other levers, buttons, derails, gates. All the rest is as usual:
    vacant, points normal, levers normal."""

    stands: tuple[tuple[str, tuple[str, ...]], ...] = ()
    told: tuple[tuple[str, str], ...] = ()
    lies: tuple[tuple[str, str], ...] = ()
    facts: tuple[tuple[Observable, str], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """One way in which things can be, faults and mistakes left out. ``stood``: where stock
    stands; ``lies``: how those turnouts lie that are spoken of."""

    situation: Situation
    stood: Stood
    lies: tuple[tuple[str, str], ...]


class Moment(NamedTuple):
    """One way in which things can be, and what is wrong: each suspect in one state."""

    truth: Truth
    group: Suspects


class Bench:
    """One plan, with anything that may be wrong with it tried out."""

    def __init__(self, plan: Plan):
        self.given = plan
        self.plan = without_machines(plan)
        self.bearing = Bearing(self.plan)
        self.suspects = suspects(plan)
        self.looks = 0  # how often the evaluator was asked
        self._machines = {
            m.turnout: m for m in plan.wiring.machines.values() if m.motor or m.contacts == ()
        }
        self._inputs = {(what.kind, what.name): what for what in self.plan.inputs}
        self._evaluators: dict[Suspects, Evaluator] = {}
        self._truths: dict[Situation, Truth] = {}
        self._ways: dict[tuple[Setup, Suspects], list[Truth]] = {}
        self._states: dict[Suspect, list[Suspect]] = {}
        self._known: dict[tuple[Suspects, Truth, str], Colors] = {}

    # -------------------------------------------------------------- what signals show

    def shows(self, moment: Moment, signal: str) -> Colors:
        """The colors of a signal's lenses, top to bottom."""
        truth, group = moment
        if group:
            cone = self.bearing.cone(signal, group)
            group = tuple(s for s in group if self.bearing.bears(s, cone, truth.stood, group))
        key = group, truth, signal
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = self._look(group, truth.situation, signal)
        return found

    def _look(self, group: Suspects, situation: Situation, signal: str) -> Colors:
        self.looks += 1
        lenses = [head.lens for head in self.plan.signals[signal].heads]
        evaluator = self._evaluator(tuple(s for s in group if s.mistake is not None))
        broken = faults_in(evaluator.plan, group).items()
        try:
            seen = evaluator.states(Situation.of((*situation, *broken)), lenses)
        except Unsettled:
            return NOBODY_KNOWS
        # Wires that were swapped may light a head that has no such lamp.
        return tuple(seen[lens] if seen[lens] in lens.values else "dark" for lens in lenses)

    def _evaluator(self, group: Suspects) -> Evaluator:
        if group not in self._evaluators:
            self._evaluators[group] = Evaluator(self.wired(group))
        return self._evaluators[group]

    def wired(self, group: Suspects) -> Plan:
        """The plan with the mistakes of a group made."""
        wiring = self.plan.wiring
        for suspect in group:
            if suspect.mistake is not None:
                wiring = miswired(wiring, suspect.mistake)
        return self.plan if wiring is self.plan.wiring else with_wiring(self.plan, wiring)

    # -------------------------------------------------------------- how things can be

    def moments(self, setup: Setup, group: Suspects) -> Iterator[Moment]:
        """Every way in which a setup can be, with these suspects at work."""
        fixed = list(product(*(self._one_by_one(suspect) for suspect in group)))
        return (Moment(t, states) for t in self._truths_of(setup, group) for states in fixed)

    def _one_by_one(self, suspect: Suspect) -> list[Suspect]:
        """A suspect in one state at a time."""
        if len(suspect.states) < 2:
            return [suspect]
        if suspect not in self._states:
            self._states[suspect] = [replace(suspect, states=(s,)) for s in suspect.states]
        return self._states[suspect]

    def _truths_of(self, setup: Setup, group: Suspects) -> list[Truth]:
        shaping = tuple(s for s in group if s.trouble is not None or s.takes_power)
        key = setup, shaping
        if key not in self._ways:
            found = (
                self._truth(Situation.of((*setup.facts, *points, *standing)), points)
                for points in self._points(setup, shaping)
                for standing in self._standing(setup)
            )
            self._ways[key] = [truth for truth in found if truth is not None]
        return self._ways[key]

    def _truth(
        self, situation: Situation, points: Iterable[tuple[Observable, str]]
    ) -> Truth | None:
        """None where no stock can stand like this."""
        if situation not in self._truths:
            lies = tuple((what.name, state) for what, state in points if what.kind == "points")
            self._truths[situation] = Truth(situation, self._stood(situation), lies)
        truth = self._truths[situation]
        return truth if can_be(self.plan, situation) else None

    def _stood(self, situation: Situation) -> Stood:
        blocks = {what.name for what, _ in situation if what.kind in ("standing", "stock")}
        at = {
            place.feeder
            for what, state in situation
            if what.kind == "standing"
            for place in self.plan.equipment.places[what.name]
            if place.name == state and place.feeder is not None
        }
        return Stood(frozenset(blocks), frozenset(at))

    def _standing(self, setup: Setup) -> Iterator[list[tuple[Observable, str]]]:
        """Where stock stands, and how current flows where no gap keeps blocks apart."""
        options = []
        for block, places in setup.stands:
            what = self._inputs.get(("standing", block)) or observables.stock(block)
            options.append([(what, place) for place in places])
        stock = {block for block, _ in setup.stands}
        for beside in self.plan.equipment.joined:
            current = self._inputs.get(("current", beside.name))
            if current is not None and stock.intersection(beside.blocks):
                options.append([(current, state) for state in current.values])
        return (list(chosen) for chosen in product(*options))

    def places(self, block: str) -> tuple[StockPlace, ...]:
        """The places of a block where trains of the lengths given can stand; none where its
        wiring tells no places apart."""
        geometry = self.plan.equipment.geometry.get(block)
        places = self.plan.equipment.places.get(block, ())
        if geometry is None:
            return places
        return tuple(place for place in places if place.covers in train_positions(geometry))

    # -------------------------------------------------------------- points

    @property
    def thrown(self) -> Collection[str]:
        """All turnouts that are told how to lie."""
        return self._machines

    def throws(self, turnout: str) -> bool:
        """Whether a turnout is told how to lie, so that it may lie otherwise."""
        return turnout in self._machines

    def moves(self, suspect: Suspect, mentioned: Collection[str]) -> bool:
        """Whether a suspect can change how turnouts lie, or what they were told, of which
        those ``mentioned`` are spoken of."""
        mine = [suspect.trouble[0]] if suspect.trouble else self.unpowered_by(suspect)
        levers = {self.lever_of(name) for name in mentioned} - {None}
        return any(
            name in mentioned or self.lever_of(name) in levers
            or self._machines[name].contacts == ()
            for name in mine
        )  # fmt: skip

    def unpowered_by(self, suspect: Suspect) -> list[str]:
        """The turnouts whose motors have no power with a suspect at work."""
        lost = {suspect.takes_power}
        return [n for n, m in self._machines.items() if m.motor and lost & set(self._fed(m))]

    def lever_of(self, turnout: str) -> str | None:
        machine = self._machines.get(turnout)
        return machine.lever if machine else None

    def thrown_by(self, lever: str) -> tuple[str, ...]:
        """The turnouts a lever throws."""
        return tuple(name for name, machine in self._machines.items() if machine.lever == lever)

    def _points(self, setup: Setup, group: Suspects) -> Iterator[list[tuple[Observable, str]]]:
        """Every way in which points can lie, and have been told to."""
        told, lies = dict(setup.told), dict(setup.lies)
        plain = [
            (observables.points(name), state) for name, state in lies.items()
            if name not in self._machines
        ]  # fmt: skip
        troubles = {s.trouble[0]: s.trouble[1] for s in group if s.trouble is not None}
        dead = {s.takes_power for s in group if s.takes_power}
        touched = {
            self._machines[name].lever or name
            for name in (*told, *lies, *troubles)
            if name in self._machines
        }
        levers: dict[str, list[Machine]] = {}
        for name, machine in self._machines.items():
            idle = dead.intersection(self._fed(machine))
            key = machine.lever or name
            if key in touched:
                if idle:
                    troubles[name] = "stays"
                levers.setdefault(key, []).append(machine)
        options = [
            self._thrown(machines, told, lies, troubles) for machines in levers.values()
        ]  # fmt: skip
        for chosen in product(*options):
            yield [*plain, *(fact for facts_ in chosen for fact in facts_)]

    def _fed(self, machine: Machine) -> Iterator[Fault]:
        """The faults with which a machine has no power."""
        supply, fault = machine.supply, self.given.equipment.fault
        if machine.motor and supply:
            yield fault(FaultKind.POWER_WIRE, machine.turnout)
        while supply is not None:
            yield fault(FaultKind.SUPPLY, supply)
            supply = self.plan.wiring.supplies[supply].fed_by

    def _thrown(
        self,
        machines: Sequence[Machine],
        told: dict[str, str],
        lies: dict[str, str],
        troubles: dict[str, str],
    ) -> list[tuple[tuple[Observable, str], ...]]:
        """Every way in which the turnouts of one lever can lie, and have been told to."""
        said = {told[m.turnout] for m in machines if m.turnout in told}
        seen_to = any(m.turnout in lies for m in machines)
        ways: dict[tuple[tuple[Observable, str], ...], None] = {}
        for command in sorted(said) if said else ("normal", "reverse"):
            if len(said) > 1:
                break
            each = []
            for m in machines:
                seen = lies.get(m.turnout)
                if seen is None and not said and not seen_to:
                    seen = "normal"
                found = _lies(m, command, seen, troubles.get(m.turnout))
                each.append([(observables.points(m.turnout), state) for state in found])
            for chosen in product(*each):
                ways[*self._command(machines, command), *chosen] = None
        return list(ways)

    def _command(self, machines: Sequence[Machine], command: str) -> list[tuple[Observable, str]]:
        """A command, where anything but the machine itself asks for it."""
        lever = machines[0].lever
        what = self._inputs.get(("lever", lever) if lever else ("thrown", machines[0].turnout))
        return [(what, command)] if what is not None else []


def _lies(machine: Machine, command: str, seen: str | None, trouble: str | None) -> list[str]:
    """How a turnout can lie that was told to lie so, and was seen to lie so (None: nobody
    looked)."""
    opposite = "reverse" if command == "normal" else "normal"
    if not machine.motor:
        # Thrown by hand, and told nobody: it lies as seen.
        return [seen or command]
    can = {
        None: [command],
        "stays": ["normal", "reverse"],
        "stays normal": ["normal"],
        "stays reverse": ["reverse"],
        "stops": ["open"],
        "other way": [opposite],
    }[trouble]
    if trouble is None and machine.motor == "slow":
        can = [*can, "open"] if seen == "open" else can
    return can if seen is None else [state for state in can if state == seen]


def faults_in(plan: Plan, group: Suspects) -> dict[Observable, str]:
    """The faults of a group, each in the first of its states, without those that a plan wired
    otherwise does not have: points that no machine moves do not feel what becomes of it."""
    return {
        fault.what: suspect.states[0]
        for suspect in group
        if suspect.fault is not None and (fault := plan.equipment.same(suspect.fault))
    }


def without_machines(plan: Plan) -> Plan:
    """The plan with all points free to lie as they like: what its machines make of their
    commands is worked out here, as it differs with what is wrong with them."""
    machines = {
        name: replace(machine, motor=None) for name, machine in plan.wiring.machines.items()
    }
    return with_wiring(plan, replace(plan.wiring, machines=machines))
