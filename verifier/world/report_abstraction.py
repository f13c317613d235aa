"""The report abstraction: commanded aspects and next memory states over reports and commands.

The wiring in front of the reports is left out: each report is a free input. Of a driver, its
reactions to a dead input and to a lamp that does not light are kept; both are inputs too.
"""

from collections.abc import Iterable, Iterator

from verifier.logic.expr import TRUE, Expr, atom, disjunction, negation
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring import faults
from verifier.plan.wiring.faults import FaultKind
from verifier.plan.wiring.wiring_model import Driver
from verifier.world.circuits import Circuits
from verifier.world.lenses import Lenses
from verifier.world.memory import Memory
from verifier.world.rules import Reader
from verifier.world.world import World

_REMEMBERED_OR_COMMANDED = ("lever", "button", "relay", "timer", "traffic")


def missing(report: Observable) -> Observable:
    """Whether an input is dead, and the drivers that read it notice."""
    return faults.observable(FaultKind.INPUT_MISSING, report.kind, report.name)


def lamp_out(head: str) -> Observable:
    """Whether the lamp that a head is commanded to light does not light."""
    return faults.observable(FaultKind.HEAD_UNLIT, head)


class ReportedWorld(World):
    """What every observable of the rules means, reports being inputs; and so are the aspects that
    a board is ``told``."""

    def __init__(self, plan: Plan, told: Iterable[Observable] = ()):
        super().__init__(plan)
        reports = tuple(reports_of(plan))
        self.faults = (
            *map(missing, reports),
            *(lamp_out(head.name) for s in plan.signals.values() for head in s.heads),
        )
        kept = (what for what in plan.inputs if what.kind in _REMEMBERED_OR_COMMANDED)
        self.inputs = (*reports, *kept, *self.faults, *told)
        self.is_input = frozenset(self.inputs)
        self._circuits = _AtTheInputs(plan, ())
        self._lenses = Lenses(plan, self._circuits, self._reader_of)

    def _reader_of(self, head: str) -> Reader:
        """All rules are read by the same inputs."""
        return self._readers[""]

    def memory(self) -> Memory:
        """The memory after one scan. Delays are of any length: ``expiry`` ends one."""
        return Memory(self.plan, self.lower, self.expand, timed=False)


def reports_of(plan: Plan) -> Iterator[Observable]:
    """Every report there is."""
    yield from (
        observables.block_report(block.name) for block in plan.blocks.values() if block.detected
    )
    pieces = plan.track.pieces.values()
    yield from (observables.points_report(p.name) for p in pieces if p.kind in ("turnout", "slip"))
    yield from map(observables.derail_report, plan.derails)
    yield from map(observables.gate_report, plan.gates)


class _AtTheInputs(Circuits):
    """The equipment beyond the inputs is in order: what it does is what they say."""

    hears_of_lamps = True

    def fed(self, name: str, supply: str | None) -> Expr:
        return TRUE

    def lights(self, head: str, color: str) -> Expr:
        return negation(atom(lamp_out(head), "out"))

    def turns_on(self, indicator: str) -> Expr:
        return TRUE

    def dead_inputs(self, driver: Driver, read: Iterable[Observable]) -> Expr:
        noticed = (what for what in read if what.kind in ("block report", *observables.OF_CONTACTS))
        return disjunction(*(atom(missing(what), "missing") for what in noticed))
