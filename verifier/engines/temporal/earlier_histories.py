"""Histories of earlier texts, tried on a system that was changed since.

In: a system, how trains and people went in earlier histories, and bad states. Out: traces of this
system that reach them.

Nothing is taken over but what was chosen at each moment: what follows from it is computed in the
system at hand, for all histories at once. What is gone from the system is left out, what is new is
as usual. So each trace is one of this system, and no shortest one; the reference replays it like
any other.
"""

from collections.abc import Hashable, Iterator, Mapping, Sequence

from verifier.engines.proof_store import ProofStore
from verifier.engines.results import Reachable
from verifier.engines.temporal.scheduling import scheduled
from verifier.engines.temporal.simulation import machine_of
from verifier.logic.expr import Expr, holds
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# As many histories of one kind are kept; those not useful for longest go first.
MOST_KEPT = 60
# Of a timed system, as many traces to one bad state are given times at most.
MOST_TRIED = 3

Trace = Sequence[Mapping[Observable, str]]


class EarlierHistories:
    """What a store has of histories of one ``kind``."""

    def __init__(self, store: ProofStore, kind: Hashable):
        self._store = store
        self._question = "histories", kind

    @property
    def _kept(self) -> Mapping[str, Trace]:
        return self._store.known(self._question) or {}

    def __len__(self) -> int:
        return len(self._kept)

    def learn(self, asked: str, trace: Trace) -> None:
        """Keep a history at whose end something happens that was asked about."""
        others = [(key, kept) for key, kept in self._kept.items() if key != asked]
        self._store.keep(self._question, dict([*others[1 - MOST_KEPT :], (asked, trace)]))

    def again(self, system: System, bads: Mapping[int, Expr]) -> Iterator[tuple[int, Reachable]]:
        """Those of the bad states that such a history reaches, each with a trace of ``system``."""
        traces = tuple(self._kept.values())
        if not traces or not bads:
            return
        run = _Run(system, traces, bads)
        for i in bads:
            for step, lane in run.hits(i):
                trace = run.trace(step, lane)
                if system.timing is None or _has_times(system, trace, bads[i]):
                    yield i, Reachable(trace, smallest=False)
                    break


def _has_times(system: System, trace: Trace, bad: Expr) -> bool:
    """Whether the trace has times, and comes to a bad state though no delay ends too soon."""
    played = scheduled(system, trace)
    return played is not None and holds(bad, played.moments[-1])


class _Run:
    """Histories taken together, one in each lane."""

    def __init__(self, system: System, traces: Sequence[Trace], bads: Mapping[int, Expr]):
        self._system = system
        self._traces = traces
        self._machine = machine_of(system)
        slots = {i: self._machine.slot(bad) for i, bad in bads.items()}
        self._moments: list[list[int]] = []
        # By the number of a bad state: the lanes in which it happens, by step.
        self._happens: dict[int, list[int]] = {i: [] for i in bads}
        values = self._machine.blank((1 << len(traces)) - 1)
        self._put(values, system.states, 0)
        alive = values[1]
        for step in range(max(map(len, traces))):
            self._put(values, system.inputs, step)
            self._machine.evaluate(values)
            alive &= self._machine.allowed(values) & self._go_on(step)
            self._moments.append(values[: self._machine.first_node])
            for i, slot in slots.items():
                self._happens[i].append(values[slot] & alive)
            if not alive:
                break
            self._machine.advance(values)

    def _go_on(self, step: int) -> int:
        """The lanes of histories that last so long."""
        return sum(1 << lane for lane, trace in enumerate(self._traces) if step < len(trace))

    def _put(self, values: list[int], whats: Sequence[Observable], step: int) -> None:
        for what in whats:
            lanes = dict.fromkeys(what.values, 0)
            for lane, trace in enumerate(self._traces):
                lanes[self._value(what, trace, step)] |= 1 << lane
            for value, cases in lanes.items():
                self._machine.put(values, what, value, cases)

    def _value(self, what: Observable, trace: Trace, step: int) -> str:
        """What something is at a step: a choice, or a state at the start."""
        initial = self._system.initial.get(what, what.values)
        first = self._system.starts_with(what)[0] if what in self._system.initial else what
        value = trace[step].get(first, "") if step < len(trace) else ""
        return value if value in initial else what.usual if what.usual in initial else initial[0]

    def hits(self, bad: int) -> Iterator[tuple[int, int]]:
        """Steps and lanes in which a bad state happens, the first steps first."""
        left = MOST_TRIED
        for step, cases in enumerate(self._happens[bad]):
            while cases and left:
                lane = (cases & -cases).bit_length() - 1
                cases &= cases - 1
                left -= 1
                yield step, lane

    def trace(self, last: int, lane: int) -> tuple[dict[Observable, str], ...]:
        """The states and choices of one lane up to a step."""
        whats = (*self._system.states, *self._system.inputs)
        return tuple(
            {
                what: next(v for v in what.values if self._machine.get(at, what, v) >> lane & 1)
                for what in whats
            }
            for at in self._moments[: last + 1]
        )
