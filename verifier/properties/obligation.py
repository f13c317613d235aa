"""What is to be proved, apart from proving it."""

from builtins import property as computed
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from verifier.language.source import Span
from verifier.logic.expr import Expr, holds
from verifier.plan.model import Route
from verifier.plan.observables import Condition, Observable

Mode = Literal["never", "possible"]

# Where the formula is looked for: in any situation; at a moment of a history; at a moment of one
# in which detection may be lost for up to 5 seconds (49 CFR 236.309); or again and again: whatever
# has happened, a moment at which it holds can still come.
Over = Literal["situations", "histories", "lossy", "for good"]


@dataclass(frozen=True, slots=True)
class Lock:
    """What a hint asks for: that a turnout (or a direction of traffic) is locked while ``held``
    too."""

    name: str
    held: Condition


@dataclass(frozen=True, slots=True)
class Obligation:
    """One thing to prove of one subject.

    ``formula`` speaks of observables. Mode ``never``: proved when no allowed situation
    makes it true. Mode ``possible``: proved when some allowed situation does. ``over``: the
    same of moments of histories; ``for good`` goes with ``possible`` only.

    ``trouble`` says what is wrong when it is broken, as one sentence. ``routes`` are the
    moves concerned and ``pieces`` the track where trains would meet (or derail), which
    people call ``place``. ``hint`` says what to do where no addition to a rule would mend
    it; ``lock`` the same, where it is a lock that can be tried. ``advice`` obligations never
    fail a file.
    """

    property: str
    subjects: tuple[str, ...]
    mode: Mode
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

    @computed
    def key(self) -> str:
        """``property: subject, subject``, unique within a file."""
        return f"{self.property}: {', '.join(self.subjects)}"

    def holds_in(self, states: Mapping[Observable, str]) -> bool:
        """Whether the formula holds, given the state of every observable it reads."""
        return holds(self.formula, states)

    @computed
    def of_situations(self) -> bool:
        """Whether it speaks of single situations, whatever led to them."""
        return self.over == "situations"
