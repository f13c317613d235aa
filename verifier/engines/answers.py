"""What an engine answers when asked whether a situation of some kind exists.

Three answers, never two: an engine that ran out of time has not said "no".
"""

from dataclasses import dataclass

from verifier.world.situation import Situation


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
    """Not decided: why."""

    reason: str


class Interrupted(Exception):
    """The user pressed Ctrl-C while an engine was at work."""


Answer = Exists | Impossible | Unknown
