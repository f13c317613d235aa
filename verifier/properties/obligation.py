"""Proof obligations: what is to be proved, whichever engine proves it."""

from builtins import property as computed
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from verifier.language.source import Span
from verifier.logic.expr import Expr, holds
from verifier.plan.model import Route, Signal
from verifier.plan.observables import Condition, Observable

Mode = Literal["never", "possible"]

# Where the formula is evaluated: in single situations; in every state of a trace; in every state
# of a trace in which detection may be lost for up to 5 seconds (49 CFR 236.309), or in which a
# block is once reported occupied falsely, for however long (``blips``), or in which it is kept in
# mind what became of signals while buttons stay pressed (``held``); or, for ``for good``, from
# every reachable state onward: a state in which it holds stays reachable.
Over = Literal["situations", "histories", "lossy", "blips", "held", "for good"]


@dataclass(frozen=True, slots=True)
class Lock:
    """The lock that a hint proposes: a turnout or a direction of traffic is also locked while
    ``held``."""

    name: str
    held: Condition


@dataclass(frozen=True, slots=True)
class Obligation:
    """One thing to prove, about one or more subjects.

    ``formula`` is an expression over observables. Mode ``never`` is proved when no allowed
    situation makes it true, mode ``possible`` when some allowed situation does. ``over`` extends
    both to the states of traces; ``for good`` goes with ``possible`` only.

    ``trouble`` is the sentence printed when the obligation is broken. ``routes`` are the moves in
    question, ``pieces`` the track where trains would meet or derail, and ``place`` its name.
    ``hint`` says what to do when no addition to a rule helps, and ``lock`` is a lock to try.
    An ``advice`` obligation never fails a file.
    """

    property: str
    subjects: tuple[str, ...]
    formula: Expr
    trouble: str
    spans: tuple[Span, ...]
    signals: tuple[str, ...] = ()
    routes: tuple[Route, ...] = ()
    pieces: tuple[str, ...] = ()
    place: str = ""
    advice: bool = False
    hint: str = ""
    over: Over = "situations"
    lock: Lock | None = None
    mode: Mode = "never"

    @computed
    def key(self) -> str:
        """``property: subject, subject``, unique within a file."""
        return f"{self.property}: {', '.join(self.subjects)}"

    def holds_in(self, states: Mapping[Observable, str]) -> bool:
        """Whether the formula holds, given the state of every observable in it."""
        return holds(self.formula, states)

    @computed
    def of_situations(self) -> bool:
        """Whether it is about single situations, whatever led to them."""
        return self.over == "situations"


def at_signal(
    name: str,
    signal: Signal,
    place: str,
    span: Span,
    formula: Expr,
    trouble: str,
    routes: Sequence[Route],
    pieces: tuple[str, ...],
    hint: str = "",
) -> Obligation:
    """What a signal must not do at a place on its routes; the first of ``routes`` is drawn."""
    return Obligation(
        name,
        (signal.name, place),
        formula,
        trouble,
        (signal.span, span),
        (signal.name,),
        tuple(routes[:1]),
        pieces,
        place,
        hint=hint,
    )
