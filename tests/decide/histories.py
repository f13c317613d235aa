"""Histories for tests: what is chosen at each moment is given, the rest is worked out."""

from collections.abc import Mapping, Sequence

from verifier.api import load_text
from verifier.explain.trace_slicing import following
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.properties.catalog import obligations
from verifier.properties.obligation import Obligation
from verifier.world.history import Histories
from verifier.world.world import World

Chosen = Mapping[tuple[str, str], str]

END_OF_SIDING = """
layout "Heron Falls, east switch"

edge West-Main, West-Siding, Quarry
block Main, Siding, Switch, Single

button Clear-4L
lever T1-lever positions normal, reverse

turnout T1 in Switch
  thrown by T1-lever
  {lock}

relay 4L-route
  picks when Clear-4L pressed and Switch, Main clear and T1 normal
  sticks while not Switch occupied

track West-Main   = Main   | normal  T1 | Single = Quarry
track West-Siding = Siding | reverse T1

signal 4L at Single | T1
  heads upper, lower
  Clear when 4L-route up and T1 normal and Switch, Main clear
  Stop  otherwise
signal 4RA at Main | T1
  Stop   otherwise
signal 4RB at Siding | T1
  Stop   otherwise
"""


def end_of_siding(lock: str = "locked while Switch occupied") -> Plan:
    return load_text(END_OF_SIDING.format(lock=lock), "heron-falls.ixl")


def obligation(plan: Plan, key: str) -> Obligation:
    """``points-move-under-train: T1``."""
    lower = World(plan).lower
    return next(o for o in obligations(plan, lower) if o.key == key)


def course(
    histories: Histories, chosen: Sequence[Chosen], start: Chosen | None = None
) -> tuple[dict[Observable, str], ...]:
    """The moments of a history: by kind and name, what is not as usual at each; ``start``: the
    states that are not at the beginning."""
    system = histories.system
    named: dict[tuple[str, str], Observable] = {
        (w.kind, w.name): w for w in (*system.states, *system.inputs)
    }
    states = {w: w.usual for w in system.states}
    states |= {named[key]: state for key, state in (start or {}).items()}
    moments = []
    for asked in chosen:
        now = states | {w: w.usual for w in system.inputs}
        now |= {named[key]: state for key, state in asked.items()}
        moments.append(now)
        states = following(system, now)
    return tuple(moments)
