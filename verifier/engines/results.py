"""The answers of the engines. Always three-valued: running out of time is not "no".

About situations: :class:`Exists`, :class:`Impossible` or :class:`Unknown`. About histories:
:class:`Reachable`, :class:`Unreachable` or :class:`Unknown`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from verifier.logic.expr import Expr
from verifier.logic.transition_system import System, Window
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation


@dataclass(frozen=True, slots=True)
class Exists:
    """An allowed situation in which the goal holds. ``smallest`` is False when time ran out before
    it was minimized."""

    situation: Situation
    smallest: bool = True


@dataclass(frozen=True, slots=True)
class Impossible:
    """The goal holds in no allowed situation. ``rests_on`` are the positions of the assumptions in
    a minimal core."""

    rests_on: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Conflict:
    """Why a trace of a timed system has no times. ``facts``: what holds at which step; no trace in
    which all of them hold has times. ``windows``: those in it, and ``chain``: the delays that last
    longer, by clock and seconds; both in order."""

    facts: tuple[tuple[Expr, int], ...]
    windows: tuple[Window, ...]
    chain: tuple[tuple[Observable, Fraction], ...]


@dataclass(frozen=True, slots=True)
class Unknown:
    """Not decided, with the reason. No trace of up to ``depth`` moments reaches the bad state.
    ``final``: the engine finished, and more time would not help it. ``conflicts``: why traces of a
    timed system that reach it have no times; as long as these are allowed there is no proof."""

    reason: str
    depth: int = 0
    final: bool = False
    conflicts: tuple[Conflict, ...] = ()


@dataclass(frozen=True, slots=True)
class Unreachable:
    """The bad state is never reached: the clauses together are an inductive invariant (they hold
    initially, and after each step from a state in which they hold), and they exclude it."""

    clauses: tuple[Expr, ...]


@dataclass(frozen=True, slots=True)
class Reachable:
    """A trace to the bad state: the states and inputs of each moment, the bad one last.
    ``smallest`` is False when time ran out before it was minimized."""

    trace: tuple[Mapping[Observable, str], ...]
    smallest: bool = True


class Interrupted(Exception):
    """Work was stopped before its end: the user pressed Ctrl-C, or the time for all of it is over
    (:mod:`verifier.engines.stopping`)."""


class SolversDiffer(Exception):
    """Two solvers gave opposite answers to one question: one of them is wrong, or what we gave
    them (:mod:`verifier.engines.second_solver`)."""


SituationAnswer = Exists | Impossible | Unknown
Answer = Reachable | Unreachable | Unknown


class Engine(Protocol):
    """Decides whether a bad state of a transition system is reachable.

    Bounded model checking and property-directed reachability are engines once their own options
    are bound; :mod:`verifier.engines.temporal.localization` runs them in turn."""

    def __call__(self, system: System, bad: Expr, *, deadline: float | None = None) -> Answer:
        """``deadline`` is a time of :func:`time.monotonic`, None for no limit. Raises
        :class:`Interrupted` on Ctrl-C."""
        ...
