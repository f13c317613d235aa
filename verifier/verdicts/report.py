"""The report model: verdicts, findings and failures as plain data."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Literal

from verifier.language.source import Span
from verifier.logic.expr import Expr
from verifier.logic.transition_system import System
from verifier.plan.claims import never_has_trains
from verifier.plan.locking.locking_model import Promise
from verifier.plan.model import Assumption, Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.properties.obligation import Obligation
from verifier.verdicts.causes import Cause
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.grade import (
    Grade,
    KeptOut,
    Shortfall,
    ShortfallKind,
    exit_code_of,
    grade_of,
)


@dataclass(frozen=True, slots=True)
class Addition:
    """One condition to add to one line of a rule."""

    owner: str
    shows: str
    condition: str
    span: Span


# Where a change of the wiring is written: as a clause of a statement, in place of one of its
# kind; as one clause more; instead of the statement; as a statement of its own after it.
Writing = Literal["clause", "further clause", "instead", "after"]


@dataclass(frozen=True, slots=True)
class Rewiring:
    """One change of the wiring: what to do and how a file says it, in words. ``write`` is that
    alone, to be written at the statement of which ``span`` is at least the beginning, as
    ``how`` says; ``cost`` ranks it among other changes, the cheapest being 1."""

    text: str
    span: Span
    cost: int
    write: str
    how: Writing = "clause"


@dataclass(frozen=True, slots=True)
class HistoryEvent:
    """One event of a history as a sentence; ``moment`` counts from 0. ``span``: the rule or
    thing that caused it. ``seen_after``: its effect, such as a train that has moved, shows at the
    next moment only."""

    moment: int
    text: str
    span: Span | None = None
    seen_after: bool = False


@dataclass(frozen=True, slots=True)
class History:
    """A history from the start to what is wrong, replayed by the reference. ``moments``: the
    states and choices of each; ``events``: the relevant events in a possible order; ``trains``:
    how many trains take part; ``seconds``: how long each moment lasts, where durations matter."""

    moments: tuple[Mapping[Observable, str], ...]
    events: tuple[HistoryEvent, ...]
    trains: int
    seconds: tuple[Fraction, ...] = ()


@dataclass(frozen=True)
class InductiveProof:
    """A proof that ``bad`` never holds: ``clauses`` are an inductive invariant that excludes it.
    A certificate can be written from it."""

    system: System
    bad: Expr
    clauses: tuple[Expr, ...]


class LaterProof(InductiveProof):
    """One that is worked out when it is first read. The verdict does not wait for it: it rests on
    another proof, which depends on what was proved before."""

    def __init__(self, find: Callable[[], InductiveProof]):
        object.__setattr__(self, "_find", find)

    def __getattr__(self, name: str) -> Any:
        # Called for what is not set yet.
        if name not in ("system", "bad", "clauses"):
            raise AttributeError(name)
        found = self.__dict__["_find"]()
        for part in ("system", "bad", "clauses"):
            object.__setattr__(self, part, getattr(found, part))
        return getattr(found, name)


@dataclass(frozen=True, slots=True)
class Race:
    """Two that act in one step of a history, ``waits`` on what ``other`` was before. ``orders``:
    in which order of the two it was proved that it cannot happen, the first one first."""

    waits: str
    other: str
    orders: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Tangle:
    """Several pairs that race in one history, where no order of one pair saves it. ``orders``: were
    proved to save it together, the first of each acting before the second; ``circle``: where no
    order in which they act does, each of which acts in the same step as the next one, and as the
    first one at last, and sees it as it was."""

    orders: tuple[tuple[str, str], ...]
    circle: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """A counterexample: a situation that breaks an obligation, replayed by the reference.

    Where only a history leads there, ``story`` is that history and ``situation`` its last moment.
    ``relevant`` are the inputs that matter: whatever the others are (as far as the assumptions
    allow), the obligation stays broken; ``covered`` counts those situations. ``mending`` are
    additions to the rules that were proved to repair it, empty when none was found; ``rewiring``
    the same for the wiring, in the order to write them. ``hint_proved``: following the
    obligation's hint was proved to repair it. ``race``: what races, if an order of acting was
    proved to save it; ``tangle``: all that race, if no order of two was."""

    situation: Situation
    relevant: tuple[Observable, ...]
    covered: int
    causes: tuple[Cause, ...]
    mending: tuple[Addition, ...] = ()
    smallest: bool = True
    rewiring: tuple[Rewiring, ...] = ()
    story: History | None = None
    hint_proved: bool = False
    race: Race | None = None
    tangle: Tangle | None = None


Status = Literal["proved", "broken", "undecided", "waived"]


@dataclass(frozen=True, slots=True)
class Verdict:
    """How one obligation ended.

    proved
        ``never``: no allowed situation breaks it, of the ``covered`` situations the plan
        can be in. ``possible``: ``witness`` is a situation, replayed.
    broken
        ``finding`` shows a replayed situation; None where the trouble is that no situation
        exists, or that it lies in the plan itself.
    undecided
        ``why`` says which limit was reached.
    waived
        ``why`` is the file's reason, verbatim; ``needless`` when it is proved anyway.

    ``expected``: the file says it is broken; ``known``: a baseline does. ``rests_on``: titles of
    the assumptions used. ``before_mishaps``: decided of histories in which no train has collided
    or derailed.
    """

    obligation: Obligation
    status: Status
    why: str = ""
    covered: int = 0
    rests_on: tuple[str, ...] = ()
    finding: Finding | None = None
    witness: Situation | None = None
    expected: bool = False
    needless: bool = False
    before_mishaps: bool = False
    # Of what was proved over time, or can be reached in time.
    lasting: InductiveProof | None = None
    story: History | None = None
    known: bool = False

    @property
    def fails(self) -> bool:
        """Broken, and neither advice nor expected nor known."""
        set_apart = self.obligation.advice or self.expected or self.known
        return self.status == "broken" and not set_apart

    @property
    def sets_aside(self) -> bool:
        """Waived, a question of safety, and not proved all the same."""
        asked = self.obligation
        waived = self.status == "waived" and not self.needless
        return waived and asked.mode == "never" and not asked.advice


def grade_of_verdict(verdict: Verdict, plan: Plan) -> Grade:
    """What one verdict is worth: of a file with histories, what is proved holds in each of them."""
    if verdict.status != "proved":
        return Grade.NONE
    return Grade.OPERATION if plan.locking.over_time else Grade.MOMENT


@dataclass(frozen=True, slots=True)
class Unmet:
    """An expectation of the file that was not met."""

    text: str
    span: Span


@dataclass(frozen=True, slots=True)
class SecondOpinion:
    """How many answers on which proofs rest were asked of a second ``solver`` (its name and
    version) too; it ``agreed`` with all of them."""

    solver: str
    agreed: int


Consequence = Literal[
    "false proceed", "unlocked", "false indication", "undecided", "more restrictive", "none"
]


@dataclass(frozen=True, slots=True)
class Failure:
    """A row of the failure table: one fault or two, and the worst consequence. ``why`` is the
    sentence of the first harm found, or the limit that was reached. ``silent``: those of
    ``faults`` after which no signal ever shows anything else, so that nobody finds them."""

    faults: tuple[str, ...]
    kind: str
    consequence: Consequence
    why: str = ""
    silent: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Stopped:
    """Why a proof ended before its end: ``brief`` of the whole, ``why`` of each obligation that
    was not reached."""

    brief: str
    why: str


@dataclass(frozen=True, slots=True)
class Report:
    """All verdicts of one file, in the order of the catalog and the file. ``failures`` is
    the failure table, worst first. ``stopped``: the proof ended before all was decided. ``only``:
    the properties that were selected; all were, when empty. ``kept_out``: what the file's
    assumptions keep trains from. ``nothing_clears``: no signal ever lets a train pass.
    ``always_true``: assumptions that hold whatever happens, and so change nothing.
    ``all_pairs``: every two faults were to be looked at, not only those with a silent one.
    ``promises``: with which everything over time is proved, of a file without locks that is broken
    there; empty where there are none, or none were looked for. ``follows``: by the key of a broken
    obligation that follows from another, the key of that one. ``second``: what a second solver
    said, where it was asked."""

    plan: Plan
    verdicts: tuple[Verdict, ...]
    assumed: tuple[str, ...]
    unmet: tuple[Unmet, ...]
    stopped: Stopped | None = None
    failures: tuple[Failure, ...] = ()
    promises: tuple[Promise, ...] = ()
    only: tuple[str, ...] = ()
    kept_out: tuple[KeptOut, ...] = ()
    nothing_clears: bool = False
    always_true: tuple[Assumption, ...] = ()
    all_pairs: bool = False
    follows: Mapping[str, str] = field(default_factory=dict)
    second: SecondOpinion | None = None

    @property
    def interrupted(self) -> bool:
        """Whether the proof ended before all was decided: by Ctrl-C, or for lack of time or
        memory."""
        return self.stopped is not None

    @property
    def shortfalls(self) -> tuple[Shortfall, ...]:
        """What keeps the file from being proved in operation, the gravest first."""
        broken = [v for v in self.verdicts if v.status == "broken"]
        pairs = sum(f.kind == "pair" and f.consequence == "undecided" for f in self.failures)
        counts = {
            ShortfallKind.BROKEN: sum(v.fails for v in broken),
            ShortfallKind.UNMET: len(self.unmet),
            ShortfallKind.UNDECIDED: sum(v.status == "undecided" for v in self.verdicts) + pairs,
            ShortfallKind.STOPPED: int(self.interrupted),
            ShortfallKind.NOTHING_CLEARS: int(self.nothing_clears),
            ShortfallKind.KEPT_OUT: len(self.kept_out),
            ShortfallKind.NO_TRAINS: int(never_has_trains(self.plan)),
            ShortfallKind.NOTHING_ASKED: int(all(v.status == "waived" for v in self.verdicts)),
            ShortfallKind.KNOWN: sum(v.known for v in broken),
            ShortfallKind.EXPECTED: sum(v.expected for v in broken),
            ShortfallKind.WAIVED: sum(v.sets_aside for v in self.verdicts),
            ShortfallKind.SELECTED: len(self.only) if self.verdicts else 0,
            ShortfallKind.NO_HISTORIES: int(not self.plan.locking.over_time),
        }
        names = {
            ShortfallKind.KEPT_OUT: tuple(
                dict.fromkeys(title for kept in self.kept_out for title in kept.titles)
            ),
            ShortfallKind.SELECTED: self.only,
        }
        return tuple(Shortfall(k, n, names.get(k, ())) for k, n in counts.items() if n)

    @property
    def grade(self) -> Grade:
        """What is proved of the file as a whole."""
        return grade_of(self.shortfalls)

    @property
    def exit_code(self) -> ExitCode:
        return exit_code_of(self.shortfalls)


class InternalError(Exception):
    """A bug of clearproof's own: two of its parts disagree. Never the user's fault."""
