"""The test bench: what the signals of a layout show, given its setup and what is wrong.

In: a plan, a setup (stock, points, levers), a group of suspects. Out: the colors each signal can
then show, by the evaluator, without a solver. Where no suspect of the group affects a signal, its
colors are looked up and not evaluated again.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import product
from typing import NamedTuple

from verifier.diagnosis.suspects import LEAVES, Influence, Stood, Suspect, Suspects, suspects
from verifier.plan import observables
from verifier.plan.devices import devices
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.plan.wiring.derive_equipment import with_wiring
from verifier.plan.wiring.faults import Fault, FaultKind
from verifier.plan.wiring.miswiring import miswired
from verifier.plan.wiring.wiring_model import Machine
from verifier.reference.evaluator import Evaluator, Unsettled
from verifier.reference.standing import can_be
from verifier.reference.train_extents import train_positions

Colors = tuple[str, ...]
UNSETTLED: Colors = ("?",)

# The positions of a lever that throws something.
_LEGS = ("normal", "reverse")
_LYING = ("points", "derail", "gate")

_Facts = list[tuple[Observable, str]]


@dataclass(frozen=True, slots=True, eq=False)
class Setup:
    """How a layout is set up for a look at its signals. ``stands``: by block, the places at
    one of which stock stands; ``told``: the positions that turnouts, derails and gates were
    commanded to; ``lies``: the positions they were seen in; ``facts``: other levers, buttons,
    derails, gates. Everything else is as usual: vacant, points normal, levers normal."""

    stands: tuple[tuple[str, tuple[str, ...]], ...] = ()
    told: tuple[tuple[str, str], ...] = ()
    lies: tuple[tuple[str, str], ...] = ()
    facts: tuple[tuple[Observable, str], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """One situation that a setup allows, without faults and mistakes. ``stood``: where stock
    stands; ``lies``: the positions of what is thrown and the setup mentions."""

    situation: Situation
    stood: Stood
    lies: tuple[tuple[str, str], ...]


class Moment(NamedTuple):
    """One situation with what is wrong: each suspect in one state."""

    truth: Truth
    group: Suspects


class Bench:
    """One plan, simulated with any of its suspects present."""

    def __init__(self, plan: Plan):
        self.given = plan
        self.plan = without_machines(plan)
        self.influence = Influence(self.plan)
        self.suspects = suspects(plan)
        self.looks = 0  # how often the evaluator was called
        self._machines = {
            m.turnout: m for m in plan.wiring.machines.values() if m.motor or m.contacts == ()
        }
        self._levers = {name: _lever_of(plan, m) for name, m in self._machines.items()}
        self._lying = {device.name: device.lies for device in devices(plan).values()}
        self._inputs = {(what.kind, what.name): what for what in self.plan.inputs}
        self._truths: dict[Situation, Truth] = {}
        self._look = cache(self._evaluated)
        self._wired = cache(self._plan_with)
        self._evaluator = cache(lambda mistakes: Evaluator(self.wired(mistakes)))
        self._truths_of = cache(self._possible_truths)
        self._one_by_one = cache(_one_state_each)

    # -------------------------------------------------------------- what signals show

    def shows(self, moment: Moment, signal: str) -> Colors:
        """The colors of a signal's lenses, top to bottom."""
        truth, group = moment
        if group:
            cone = self.influence.cone(signal, group)
            group = tuple(s for s in group if self.influence.affects(s, cone, truth.stood, group))
        return self._look(group, truth, signal)

    def _evaluated(self, group: Suspects, truth: Truth, signal: str) -> Colors:
        self.looks += 1
        lenses = [head.lens for head in self.plan.signals[signal].heads]
        evaluator = self._evaluator(tuple(s for s in group if s.mistake is not None))
        broken = faults_in(evaluator.plan, group).items()
        try:
            seen = evaluator.states(Situation.of((*truth.situation, *broken)), lenses)
        except Unsettled:
            return UNSETTLED
        # Wires that were swapped may light a head that has no such lamp.
        return tuple(seen[lens] if seen[lens] in lens.values else "dark" for lens in lenses)

    def wired(self, group: Suspects) -> Plan:
        """The plan with the mistakes of a group made."""
        return self._wired(tuple(s for s in group if s.mistake is not None))

    def _plan_with(self, group: Suspects) -> Plan:
        wiring = self.plan.wiring
        for suspect in group:
            if suspect.mistake is not None:
                wiring = miswired(wiring, suspect.mistake)
        return self.plan if wiring is self.plan.wiring else with_wiring(self.plan, wiring)

    # -------------------------------------------------------------- situations of a setup

    def moments(self, setup: Setup, group: Suspects) -> Iterator[Moment]:
        """Every situation that a setup allows with these suspects present."""
        fixed = list(product(*(self._one_by_one(suspect) for suspect in group)))
        moving = tuple(s for s in group if s.trouble is not None or s.takes_power)
        mistakes = tuple(s for s in group if s.mistake is not None)
        truths = self._truths_of(setup, moving, mistakes)
        return (Moment(t, states) for t in truths for states in fixed)

    def _possible_truths(self, setup: Setup, moving: Suspects, mistakes: Suspects) -> list[Truth]:
        """The situations of a setup; ``moving`` are the suspects that affect how points lie,
        ``mistakes`` those that affect how current divides."""
        found = (
            self._truth(Situation.of((*setup.facts, *points, *standing)), points)
            for points in self._points(setup, moving)
            for standing in self._standing(setup, mistakes)
        )
        return [truth for truth in found if truth is not None]

    def _truth(
        self, situation: Situation, points: Sequence[tuple[Observable, str]]
    ) -> Truth | None:
        """None where no stock can stand like this."""
        if situation not in self._truths:
            lies = tuple((what.name, state) for what, state in points if what.kind in _LYING)
            self._truths[situation] = Truth(situation, self._stood(situation), lies)
        return self._truths[situation] if can_be(self.plan, situation) else None

    def _stood(self, situation: Situation) -> Stood:
        blocks = {what.name for what, _ in situation if what.kind in ("standing", "stock")}
        # Current divides between all feeders of a block.
        at = {
            feeder.name
            for what, state in situation
            if what.kind == "standing"
            for place in self.plan.equipment.places[what.name]
            if place.name == state and (place.feeder or place.dead)
            for feeder in self.plan.wiring.feeders_of(what.name)
        }
        return Stood(frozenset(blocks), frozenset(at))

    def _standing(self, setup: Setup, mistakes: Suspects) -> Iterator[_Facts]:
        """Where stock stands, and how current flows where no gap keeps blocks apart, and divides
        between feeders with these mistakes made."""
        options = []
        for block, places in setup.stands:
            what = self._inputs.get(("standing", block)) or observables.stock(block)
            options.append([(what, place) for place in places])
        stock = {block for block, _ in setup.stands}
        for beside in self.plan.equipment.joined:
            current = self._inputs.get(("current", beside.name))
            if current is not None and stock.intersection(beside.blocks):
                options.append([(current, state) for state in current.values])
        for division in self.wired(mistakes).equipment.divisions.values():
            if division.block in stock:
                options.append([(division.what, state) for state in division.what.values])
        return (list(chosen) for chosen in product(*options))

    def places(
        self,
        block: str,
        feeder: str | None = None,
        covers: tuple[int, ...] | None = None,
        *,
        draws: bool = False,
    ) -> tuple[str, ...]:
        """The places of a block where trains of the lengths given can stand: nearest to a feeder,
        over some spots, or anywhere; ``draws``: only stock that draws current, and stands on this
        block alone. Just ``occupied`` where its wiring tells no places apart."""
        geometry = self.plan.equipment.geometry.get(block)
        places = self.plan.equipment.places.get(block)
        if places is None:
            return ("occupied",)
        electric = bool(self.plan.wiring.feeders_of(block))
        return tuple(
            place.name
            for place in places
            if (geometry is None or place.covers in train_positions(geometry))
            and (feeder is None or place.feeder == feeder)
            and (covers is None or place.covers == covers)
            and not (draws and electric and not place.draws)
            # (A test puts no stock on two blocks at once.)
            and not (draws and place.dead is not None and place.dead.reaches)
        )

    # -------------------------------------------------------------- what is thrown

    @property
    def thrown(self) -> Collection[str]:
        """All turnouts, slips, derails and gates that follow a command."""
        return self._machines

    def throws(self, name: str) -> bool:
        """Whether a turnout, slip, derail or gate follows a command, so that it may lie otherwise
        than commanded."""
        return name in self._machines

    def lies(self, name: str) -> Observable:
        """How a turnout, slip, derail or gate truly lies."""
        return self._lying[name]

    def positions(self, name: str) -> tuple[str, str]:
        """The positions in which it rests, the normal one first."""
        normal, reverse, *_ = self._lying[name].values
        return normal, reverse

    def told_with(self, name: str, position: str) -> dict[str, str]:
        """Commands by name: this one, and those of all that the same lever throws."""
        lever, leg = self.lever_of(name), _LEGS[self.positions(name).index(position)]
        return self.told_by(lever, leg) if lever else {name: position}

    def told_by(self, lever: str, leg: str) -> dict[str, str]:
        """The positions that a lever commands by name, while it lies normal or reverse."""
        at = _LEGS.index(leg)
        return {name: self.positions(name)[at] for name in self.thrown_by(lever)}

    def moves(self, suspect: Suspect, mentioned: Collection[str]) -> bool:
        """Whether a suspect can change how what is thrown lies, or what it was commanded to;
        ``mentioned`` is all of which an observation says so."""
        mine = [suspect.trouble[0]] if suspect.trouble else self.unpowered_by(suspect)
        levers = {self.lever_of(name) for name in mentioned} - {None}
        return any(
            name in mentioned or self.lever_of(name) in levers
            or self._machines[name].contacts == ()
            for name in mine
        )  # fmt: skip

    def unpowered_by(self, suspect: Suspect) -> list[str]:
        """All that is thrown whose motors have no power with a suspect present."""
        lost = {suspect.takes_power}
        return [n for n, m in self._machines.items() if m.motor and lost & set(self._fed(m))]

    def lever_of(self, name: str) -> str | None:
        """The lever that something always obeys, if it is thrown by one."""
        return self._levers.get(name)

    def thrown_by(self, lever: str) -> tuple[str, ...]:
        """All that a lever throws."""
        return tuple(name for name, by in self._levers.items() if by == lever)

    def _points(self, setup: Setup, group: Suspects) -> Iterator[_Facts]:
        """Every way in which what is thrown can lie, and has been commanded to."""
        told, lies = dict(setup.told), dict(setup.lies)
        by_hand = [(self._lying[name], state) for name, state in lies.items()
                   if name not in self._machines]  # fmt: skip
        troubles = dict(s.trouble for s in group if s.trouble is not None)
        dead = {s.takes_power for s in group if s.takes_power}
        touched = {
            self._levers[name] or name
            for name in (*told, *lies, *troubles)
            if name in self._machines
        }
        levers: dict[str, list[Machine]] = {}
        for name, machine in self._machines.items():
            key = self._levers[name] or name
            if key in touched:
                if dead.intersection(self._fed(machine)):
                    troubles[name] = "stays"
                levers.setdefault(key, []).append(machine)
        options = [self._thrown(machines, told, lies, troubles) for machines in levers.values()]
        for chosen in product(*options):
            yield [*by_hand, *(fact for facts in chosen for fact in facts)]

    def _fed(self, machine: Machine) -> Iterator[Fault]:
        """The faults with which a machine has no power."""
        fault = self.given.equipment.fault
        if machine.motor and machine.supply:
            yield fault(FaultKind.POWER_WIRE, machine.turnout)
        for supply in self.plan.wiring.chain_of(machine.supply):
            yield fault(FaultKind.SUPPLY, supply)

    def _thrown(
        self,
        machines: Sequence[Machine],
        told: dict[str, str],
        lies: dict[str, str],
        troubles: dict[str, str],
    ) -> list[tuple[tuple[Observable, str], ...]]:
        """Every way in which all that one lever throws can lie, and has been commanded to."""
        told_legs = (_LEGS[m.positions.index(told[m.turnout])] for m in machines
                     if m.turnout in told)  # fmt: skip
        commands = set(told_legs)
        if len(commands) > 1:
            return []
        unmentioned = not commands and not any(m.turnout in lies for m in machines)
        ways = []
        for command in commands or _LEGS:
            each = []
            for m in machines:
                position = m.positions[_LEGS.index(command)]
                seen = m.positions[0] if unmentioned else lies.get(m.turnout)
                found = _lies(m, position, seen, troubles.get(m.turnout))
                each.append([(m.lies, state) for state in found])
            ways += [(*self._command(machines, command), *chosen) for chosen in product(*each)]
        return list(dict.fromkeys(ways))

    def _command(self, machines: Sequence[Machine], command: str) -> _Facts:
        """A command, as ``normal`` or ``reverse``, where anything but the machine itself reads
        it: the lever, and what reports the command for want of contacts."""
        lever = self._inputs.get(("lever", self._levers[machines[0].turnout] or ""))
        told = [
            (m.told, m.positions[_LEGS.index(command)]) for m in machines
            if ("thrown", m.turnout) in self._inputs
        ]  # fmt: skip
        return [*([(lever, command)] if lever is not None else []), *told]


def _lever_of(plan: Plan, machine: Machine) -> str | None:
    """The lever that what a machine moves always obeys; none where a lock may hold it."""
    throw = plan.locking.throws.get(machine.turnout)
    if throw is None or throw.by != "lever" or throw.locked is not None:
        return machine.lever
    return throw.lever


def _one_state_each(suspect: Suspect) -> list[Suspect]:
    """A suspect in one state at a time."""
    if len(suspect.states) < 2:
        return [suspect]
    return [replace(suspect, states=(state,)) for state in suspect.states]


def _lies(machine: Machine, command: str, seen: str | None, trouble: str | None) -> list[str]:
    """The positions of what is thrown with this command, of which one was ``seen`` (None: nobody
    looked)."""
    if not machine.motor:
        # Thrown by hand, and nothing was told: it lies as seen.
        return [seen or command]
    can = [command]
    if trouble == "stays":
        can = [*machine.positions]
    elif trouble == "other way":
        can = [machine.other(command)]
    elif trouble == "stops":
        can = ["open"]
    elif trouble is not None:
        can = [LEAVES[trouble]]
    if trouble is None and machine.motor == "slow":
        can = [*can, "open"] if seen == "open" else can
    return can if seen is None else [state for state in can if state == seen]


def faults_in(plan: Plan, group: Suspects) -> dict[Observable, str]:
    """The faults of a group, each in the first of its states, without those that an edited plan
    does not have: points that no machine moves are not affected by the machine's faults."""
    return {
        fault.what: suspect.states[0]
        for suspect in group
        if suspect.fault is not None and (fault := plan.equipment.same(suspect.fault))
    }


def without_machines(plan: Plan) -> Plan:
    """The plan with all that machines move unconstrained: the bench itself works out what
    machines make of their commands, since that depends on what is wrong with them."""
    machines = {
        name: replace(machine, motor=None) for name, machine in plan.wiring.machines.items()
    }
    return with_wiring(plan, replace(plan.wiring, machines=machines))
