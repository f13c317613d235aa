"""What a step of a history comes to, as data. Part of the reference."""

from collections.abc import Mapping
from dataclasses import dataclass

from verifier.plan.locking.locking_model import Promise
from verifier.plan.model import Assumption
from verifier.plan.observables import Observable

Valuation = Mapping[Observable, str]


@dataclass(frozen=True, slots=True)
class Transition:
    """``observed``: everything that can be observed at a moment, events included.
    ``successor``: the next value of each state variable. ``begun``: the windows that begin with
    the next moment; ``ended``: the delays that are over, as in
    :meth:`~verifier.reference.state_variables.StateVariables.delay`. ``broken``: the promises of
    the crew that the step breaks, and how many trains there may be if it brings in more; no history
    has such a step. ``wrecked``: the pieces on which
    trains stand from now on that met or derailed, in this step or before. ``waiting``: the names of
    the timers and slow relays whose delays run on. ``hurries``: no time passes."""

    observed: Valuation
    successor: Valuation
    begun: tuple[Observable, ...] = ()
    ended: tuple[tuple[str, str], ...] = ()
    broken: tuple[Promise | Assumption, ...] = ()
    wrecked: frozenset[str] = frozenset()
    waiting: tuple[str, ...] = ()
    hurries: bool = False
