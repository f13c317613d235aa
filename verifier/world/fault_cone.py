"""The cone of a fault: everything whose meaning can differ while the fault is present.

In: the sound world of a plan, and faults. Out: a :class:`World` that evaluates the cone of these
faults anew and reuses the sound world for everything else. Cost grows with the cone, not with
the layout.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping

from verifier.logic.expr import Atom, Expr, atom, nodes, support
from verifier.plan import observables
from verifier.plan.devices import devices
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.faults import FaultKind
from verifier.world.circuits import Circuits
from verifier.world.world import World

_SHOWN = ("color", "aspect")


class FaultCone:
    """The cones of the faults of one plan: direct effects, and what reads what."""

    def __init__(self, sound: World):
        self._sound = sound
        self._plan = sound.plan
        self._direct = _direct(sound)
        self._read_by = read_by(self._plan)
        self._sound_reads: dict[str, frozenset[str]] = {}

    def directly(self, fault: Observable) -> frozenset[str]:
        """The blocks and turnouts whose reports, and the signals whose heads, depend on it.

        Raises :class:`~verifier.plan.wiring.faults.UnknownFault`."""
        return frozenset(self._direct.get(self._plan.equipment.fault_of(fault).what, ()))

    def world(self, faults: Iterable[Observable]) -> World:
        """The world in which just these may be broken."""
        faults = tuple(faults)
        touched = {name for fault in faults for name in self.directly(fault)}
        touched |= {s for name in touched for s in self._signals_reading(name)}
        while True:
            world = World(self._plan, self._sound, faults, frozenset(touched))
            more = {
                reader
                for name in touched
                for reader, read in self._read_by.get(name, {}).items()
                if reader not in touched
                and any(world.expand(a) is not self._sound.expand(a) for a in read)
            }
            more = more or self._round_about(touched, world)
            if not more:
                return world
            touched |= more

    def _round_about(self, touched: Collection[str], world: World) -> set[str]:
        """Signals outside the cone that lie on a cycle through it. Their meaning without the
        fault would be one fixed point of that cycle; with the fault there may be others."""
        starts = (self._reads(name, world) for name in touched if name in self._plan.signals)
        waiting = {read for reads in starts for read in reads if read not in touched}
        read_by: dict[str, set[str]] = {}
        seen = set(waiting)
        back: set[str] = set()
        while waiting:
            name = waiting.pop()
            for read in self._reads(name, self._sound):
                if read in touched:
                    back.add(name)
                    continue
                read_by.setdefault(read, set()).add(name)
                if read not in seen:
                    seen.add(read)
                    waiting.add(read)
        waiting = set(back)
        while waiting:
            new = read_by.get(waiting.pop(), set()) - back
            back |= new
            waiting |= new
        return back

    def _reads(self, name: str, world: World) -> frozenset[str]:
        """The signals on which the aspect and colors of a signal depend."""
        if world is self._sound and name in self._sound_reads:
            return self._sound_reads[name]
        heads = self._plan.signals[name].heads
        parts = [atom(head.color, color) for head in heads for color in head.color.values]
        parts += [part for read in self._read_by.get(name, {}).values() for part in read]
        shown = [w for part in parts if isinstance(part, Atom) and part.what.kind in _SHOWN
                 for w in support(world.one_step(part)) if w.kind in _SHOWN]  # fmt: skip
        found = frozenset(signal_of(what.name, self._plan.signals) for what in shown)
        if world is self._sound:
            self._sound_reads[name] = found
        return found

    def places(self) -> dict[str, int]:
        """Numbers for names, such that signals and the blocks they read have close ones."""
        near: dict[str, dict[str, None]] = {}
        for name, readers in self._read_by.items():
            for reader in readers:
                if name in self._plan.blocks:
                    near.setdefault(name, {})[reader] = None
                    near.setdefault(reader, {})[name] = None
        order: dict[str, int] = {}
        for start in near:
            waiting = [start]
            while waiting:
                name = waiting.pop(0)
                if name not in order:
                    order[name] = len(order)
                    waiting += near.get(name, ())
        return order

    def _signals_reading(self, name: str) -> Iterable[str]:
        """Signals that read a block's or turnout's report."""
        return () if name in self._plan.signals else self._read_by.get(name, ())


class FaultsNear:
    """The faults that can matter to something with at most one other fault beside.

    One that matters with another beside, and not alone, is hidden behind it: it is where something
    is read only with the other one present. So two rounds are enough: the faults at all that is
    read with nothing broken, and then at all that is read with any of these."""

    def __init__(self, sound: World):
        self._sound = sound
        self._names = frozenset((*sound.plan.blocks, *devices(sound.plan), *sound.plan.signals))
        self._at: dict[str, list[Observable]] = {}
        for fault, names in _direct(sound).items():
            for name in names:
                self._at.setdefault(name, []).append(fault)
        self._worlds: dict[frozenset[Observable], World] = {}

    def to(self, formula: Expr) -> frozenset[Observable]:
        """These faults, for a formula over observables."""
        first = self._faults_at(self._read(formula, frozenset()))
        return first | self._faults_at(self._read(formula, first))

    def _faults_at(self, names: Iterable[str]) -> frozenset[Observable]:
        return frozenset(fault for name in names for fault in self._at.get(name, ()))

    def _read(self, formula: Expr, faults: frozenset[Observable]) -> set[str]:
        """The names of all that a formula reads, directly or through others, where these faults
        may be present."""
        if faults not in self._worlds:
            sound = self._sound
            self._worlds[faults] = World(sound.plan, sound, faults, self._names)
        world = self._worlds[faults]
        waiting, seen = [*_atoms(formula)], set[Atom]()
        while waiting:
            part = waiting.pop()
            if part not in seen:
                seen.add(part)
                if part.what not in world.is_input:
                    waiting += _atoms(world.one_step(part))
        names = {part.what.name for part in seen}
        return names | {signal_of(name, self._sound.plan.signals) for name in names}


def _atoms(expr: Expr) -> Iterator[Atom]:
    return (node for node in nodes(expr) if isinstance(node, Atom))


def _direct(sound: World) -> dict[Observable, dict[str, None]]:
    plan = sound.plan
    circuits = Circuits(plan, [fault.what for fault in plan.equipment.faults])
    direct: dict[Observable, dict[str, None]] = {}

    def note(name: str, exprs: Iterable[Expr]) -> None:
        for expr in exprs:
            for what in support(expr):
                if what.kind == "fault":
                    direct.setdefault(what, {})[name] = None

    for block in plan.blocks.values():
        if block.detected:
            note(block.name, circuits.meanings(observables.block_report(block.name)))
    for device in devices(plan).values():
        note(device.name, circuits.meanings(device.report))
        note(device.name, circuits.meanings(device.lies))
    for signal in plan.signals.values():
        if signal.plate:
            note(signal.name, [circuits.sound(FaultKind.PLATE, signal.name)])
        for head in signal.heads:
            driver = plan.wiring.driver_of(head.name)
            if driver is None:
                continue
            note(signal.name, [circuits.fed(driver.name, driver.supply)])
            note(signal.name, [circuits.flashes(head.name)])
            for color in head.color.values:
                note(signal.name, [circuits.lights(head.name, color)])
            read = dict.fromkeys(says.what for says in plan.facts_read(signal))
            note(signal.name, [circuits.dead_inputs(driver, read)])
            for what in read:
                if what.kind in observables.REPORTED:
                    note(what.name, circuits.meanings(observables.at_reader(what, driver.name)))
    _note_indicators(plan, circuits, note)
    return direct


def _note_indicators(
    plan: Plan, circuits: Circuits, note: Callable[[str, Iterable[Expr]], None]
) -> None:
    """What faults do to indicators and bells, and to the reports that their boards go by."""
    for indicator in plan.indicators.values():
        driver = plan.wiring.driver_of(indicator.name)
        if driver is None:
            continue
        note(indicator.name, [circuits.turns_on(indicator.name)])
        for says in plan.facts_repeated(indicator.name):
            if says.what.kind in observables.REPORTED:
                report = observables.at_reader(says.what, driver.name)
                note(says.what.name, circuits.meanings(report))


def read_by(plan: Plan) -> Mapping[str, dict[str, list[Expr]]]:
    """By the name of what is read: the signals that read it, and the states they test."""
    found: dict[str, dict[str, list[Expr]]] = {}
    for signal in plan.signals.values():
        for says in plan.facts_read(signal):
            what, values = says.what, says.values
            owner = signal_of(what.name, plan.signals) if what.kind == "color" else what.name
            found.setdefault(owner, {}).setdefault(signal.name, []).append(atom(what, *values))
    return found
