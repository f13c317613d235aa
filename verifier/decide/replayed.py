"""Replay of the histories that engines find, by the reference; and what they must then not have.

The transition system allows a little more than can be: trains that met or derailed may move on, and
a delay may be over while a quicker relay has cause to move. Where a history found has that, it is
asked for again in a system that tells more histories apart.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from verifier.engines.results import Conflict
from verifier.explain.trace_view import broken_at
from verifier.language.listing import listing
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.plan.wiring.faults import Fault
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import Unsettled
from verifier.reference.step import is_prompt, replay
from verifier.reference.transition import Valuation
from verifier.verdicts.report import History, InternalError

_IN_SITUATIONS = (
    "points", "thrown", "lever", "button", "derail", "gate", "relay", "timer", "traffic"
)  # fmt: skip
AFTER_MISHAP = (
    "in every history found, a train that collided or derailed moves on afterwards, and trains "
    "do not"
)
TOO_SOON = "in every history found, a delay is over before a relay that had cause to move has moved"


@dataclass(frozen=True, slots=True)
class Finer:
    """What tells more histories apart than the system at hand does: that trains which
    met or derailed stay (``wrecks``); that no delay is over before what is quicker has moved
    (``prompt``)."""

    wrecks: bool = False
    prompt: bool = False


AS_FOUND = Finer()


class MovesOn(Exception):
    """In a history a train moves on after it met another or derailed."""


class Hasty(Exception):
    """In a history a delay is over, or time passes, while what is quicker has cause to move."""


@dataclass(frozen=True, slots=True)
class Tried:
    """What a history is tried on: a plan, what may break, and detection truthful or not."""

    plan: Plan
    faults: Sequence[Fault]
    lossy: bool
    blips: bool
    held: bool

    def check(
        self,
        obligation: Obligation,
        moments: Sequence[Valuation],
        seconds: Sequence[Fraction],
        finer: Finer,
        *,
        cleared: bool = False,
        calm: bool = False,
    ) -> None:
        """Whether it is a history of the plan at whose end an obligation is broken. ``cleared``:
        what collided or derailed moves on; ``calm``: nothing does either.

        Raises :class:`MovesOn`, :class:`Hasty`; :class:`InternalError` where it is none."""

        def replays(*, wrecks_stay: bool) -> bool:
            return replay(
                self.plan, moments, obligation.holds_in, lossy=self.lossy, blips=self.blips,
                faults=self.faults, held=self.held, seconds=seconds, wrecks_stay=wrecks_stay,
                mishaps=not calm, prompt=finer.prompt,
            )  # fmt: skip

        if replays(wrecks_stay=not cleared):
            if not (finer.prompt or cleared or calm or self._is_prompt(moments, seconds)):
                raise Hasty
        elif replays(wrecks_stay=False):
            raise MovesOn
        else:
            raise InternalError(f"{obligation.key}: the history found does not replay")

    def _is_prompt(self, moments: Sequence[Valuation], seconds: Sequence[Fraction]) -> bool:
        return is_prompt(
            self.plan, moments, lossy=self.lossy, blips=self.blips, faults=self.faults,
            held=self.held, seconds=seconds,
        )  # fmt: skip


def last_moment(plan: Plan, story: History) -> Situation:
    """The last moment of a history as a situation."""
    last = story.moments[-1]
    pieces = plan.track.pieces
    trains = (w.name for w, state in last.items() if w.kind == "train" and state == "occupied")
    occupied = dict.fromkeys(block for p in trains if (block := pieces[p].block) is not None)
    given = (w for w in last if w.kind in _IN_SITUATIONS)
    stock = ((observables.stock(block), "occupied") for block in occupied)
    broken = broken_at(plan, last)
    return Situation.of((*stock, *((w, last[w]) for w in given), *broken))


def late_words(conflicts: Sequence[Conflict]) -> str:
    """Why a history that was found does not count."""
    late = (w.what.name for c in conflicts for w in c.windows if w.closed)
    return f"every history found rests on {listing(dict.fromkeys(late))} taking longer than said"


def beyond_words(circle: Unsettled) -> str:
    """Why a history that was found cannot be replayed."""
    return (
        f"the history found cannot be replayed: what {circle} shows is not settled, since it "
        "depends, round in a circle, on signals that wait for it"
    )
