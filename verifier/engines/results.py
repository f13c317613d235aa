"""What an engine answers when asked whether a situation of some kind exists, or whether
something ever happens.

Three answers, never two: an engine that ran out of time has not said "no".
"""

from collections.abc import Mapping
from dataclasses import dataclass

from verifier.logic.expr import Expr
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation


@dataclass(frozen=True, slots=True)
class Exists:
    """Yes: here is one. ``smallest`` is False when time ran out before it was made small."""

    situation: Situation
    smallest: bool = True


@dataclass(frozen=True, slots=True)
class Impossible:
    """No allowed situation is of that kind. ``rests_on`` are the positions of the
    assumptions the answer needs."""

    rests_on: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Unknown:
    """Not decided: why. ``depth``: it does not happen in so many first moments."""

    reason: str
    depth: int = 0


@dataclass(frozen=True, slots=True)
class Lasts:
    """Never: the clauses hold at the start and together last from each moment to the next, what
    is taken for granted being so at both. With ``steps`` of 1 they leave no room for what was
    asked; with more, they leave none after ``steps - 1`` moments free of it in a row, and the
    first ``steps - 1`` moments of every history are free of it."""

    clauses: tuple[Expr, ...]
    steps: int = 1


@dataclass(frozen=True, slots=True)
class Happens:
    """At times: here is how. The states and inputs of each moment, the last one being when it
    happens. ``smallest`` is False when time ran out before the history was made small."""

    trace: tuple[Mapping[Observable, str], ...]
    smallest: bool = True


class Interrupted(Exception):
    """The user pressed Ctrl-C while an engine was at work."""


Answer = Exists | Impossible | Unknown
Outcome = Lasts | Happens | Unknown
