"""The fewest promises of a crew that make a plan safe in operation, and what replaces each.

In: a plan. Out: a set of promises with which every safety property over time is proved and none of
which can be left out; for each, the history that happens where it is broken (replayed) and a
lock that makes it unnecessary (proved). All promises that could apply are taken first: what is
broken even so, no promise prevents.

What is undecided is never counted as proved: a promise stays where it is not known whether it can
be left out.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from verifier.decide.claims import claimed
from verifier.decide.histories import HistoryProver
from verifier.engines.minimal_core import minimal_core
from verifier.engines.results import Interrupted
from verifier.engines.stopping import OutOfTime
from verifier.logic.expr import atom
from verifier.plan import observables
from verifier.plan.devices import Device, devices
from verifier.plan.locking.locking_model import Promise
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.properties.obligation import Obligation
from verifier.repair.crew_candidates import candidates
from verifier.repair.promise_equipment import equipment
from verifier.verdicts.report import Verdict
from verifier.world.world import World


@dataclass(frozen=True, slots=True)
class Needed:
    """A promise that cannot be left out: ``broken`` is what happens where it is broken, None where
    it is not known whether it can be left out. ``equipment``: what makes it unnecessary, proved;
    empty where nothing was found."""

    promise: Promise
    broken: Verdict | None = None
    equipment: str = ""


@dataclass(slots=True)
class Fewest:
    """What was found so far. ``suffices``: with the promises of ``needed`` everything over time is
    proved, but for what ``remaining`` has, which is broken, or undecided, whatever the crew
    promises. ``together``: by points, one lock for all promises about them, proved. ``stopped``:
    why the work ended early; then fewer promises may do."""

    plan: Plan
    suffices: bool = False
    needed: list[Needed] = field(default_factory=list)
    remaining: list[Verdict] = field(default_factory=list)
    together: dict[str, str] = field(default_factory=dict)
    stopped: str = ""

    @property
    def promised(self) -> Plan:
        """The plan over time with these promises in place of its own, and with nothing that it
        expects to be broken."""
        plan = with_promises(self.plan, [needed.promise for needed in self.needed])
        return replace(plan, expectations=())


def with_promises(plan: Plan, promises: Iterable[Promise]) -> Plan:
    """The plan over time, with these promises and no others."""
    return replace(plan, locking=replace(plan.locking, over_time=True, promises=tuple(promises)))


def has_locks(plan: Plan) -> bool:
    """Whether anything but people holds what moves, or remembers what trains do."""
    locking = plan.locking
    return bool(locking.memory) or any(throw.locked for throw in locking.throws.values())


def fewest_promises(
    plan: Plan, timeout: float | None, step: Callable[[], None], *, reasons: bool = True
) -> Fewest:
    """What the crew of a plan has to promise. ``timeout`` is in seconds, for each place; ``step``
    is called before each question. ``reasons``: what happens without each promise, and what
    replaces it, is worked out too. After Ctrl-C or when the time is over the answer has what was
    found until then."""
    search = _Search(plan, timeout, step)
    try:
        search.run()
        if reasons:
            search.give_reasons()
    except OutOfTime as over:
        search.found.stopped = str(over)
    except (KeyboardInterrupt, Interrupted):
        search.found.stopped = "it was interrupted"
    except MemoryError:
        search.found.stopped = "the memory ran out"
    return search.found


class _Search:
    def __init__(self, plan: Plan, timeout: float | None, step: Callable[[], None]):
        self._plan = plan
        self._timeout = timeout
        self._step = step
        self._asked = safety(with_promises(plan, ()))
        self.found = Fewest(plan)

    def run(self) -> None:
        every, used = self._ruled_out()
        self._keep(every)
        self.found.suffices = True
        # What the proofs with all promises used is likely to be enough.
        start = used if self._is_enough(used) else every
        self._keep(minimal_core(start, self._is_enough))

    def give_reasons(self) -> None:
        """What happens without each promise, and what replaces it."""
        core = [needed.promise for needed in self.found.needed]
        for i, promise in enumerate(core):
            others = [p for p in core if p is not promise]
            broken = self._broken_under(with_promises(self._plan, others))
            self.found.needed[i] = Needed(promise, broken)
        for i, needed in enumerate(self.found.needed):
            instead = self._replaced([needed.promise], core)
            self.found.needed[i] = replace(needed, equipment=instead)
        self._lock_each(core)

    def _keep(self, promises: Sequence[Promise]) -> None:
        self.found.needed = [Needed(promise) for promise in promises]

    def _ruled_out(self) -> tuple[Sequence[Promise], Sequence[Promise]]:
        """All promises of the first layer that prevents most, and those of them that its proofs
        used. What none prevents, and what is undecided with all of them, is left out. A layer
        with which less is possible than with the one before does not count: nothing happens where
        nothing runs."""
        best: tuple[Promise, ...] = ()
        used: set[str] = set()
        left: list[Verdict] | None = None
        can: set[str] = set()
        for every in candidates(self._plan):
            if every == best:
                continue
            plan = with_promises(self._plan, every)
            verdicts = list(self._verdicts(plan, self._asked))
            remaining = [v for v in verdicts if v.status != "proved"]
            if left is not None and len(remaining) >= len(left):
                continue
            possible = self._possible(plan)
            if can <= possible:
                best, left, can = every, remaining, possible
                used = {title for v in verdicts for title in v.rests_on}
            if not remaining:
                break
        self.found.remaining = left or []
        keys = {v.obligation.key for v in self.found.remaining}
        self._asked = [o for o in self._asked if o.key not in keys]
        return best, [promise for promise in best if promise.title in used]

    def _possible(self, plan: Plan) -> set[str]:
        """Which routes can be set, and what can be thrown."""
        asked = [o for o in obligations(plan, World(plan).lower) if o.property == "route-never-set"]
        found = self._verdicts(plan, [*asked, *map(can_move, devices(plan).values())])
        return {v.obligation.key for v in found if v.status == "proved"}

    def _verdicts(self, plan: Plan, asked: Iterable[Obligation]) -> Iterator[Verdict]:
        prover = HistoryProver(plan, self._timeout, self._step)
        return prover.verdicts(asked)

    def _is_enough(self, promises: Sequence[Promise]) -> bool:
        plan = with_promises(self._plan, promises)
        enough = all(v.status == "proved" for v in self._verdicts(plan, self._asked))
        if enough:
            self._keep(promises)
        return enough

    def _broken_under(self, plan: Plan) -> Verdict | None:
        """What is broken by the shortest history, replayed; None where nothing is known to be."""
        broken = [v for v in self._verdicts(plan, self._asked) if v.status == "broken"]
        return min(broken, key=_length, default=None)

    # -------------------------------------------------------------- equipment

    def _replaced(self, some: Sequence[Promise], core: Sequence[Promise]) -> str:
        """How equipment is written that makes these promises unnecessary; empty where that was not
        proved of any."""
        others = with_promises(self._plan, [p for p in core if p not in some])
        can = self._possible(with_promises(self._plan, core))
        for made in equipment(others, some):
            if self._is_safe(made.plan) and can <= self._possible(made.plan):
                return made.text
        return ""

    def _is_safe(self, plan: Plan) -> bool:
        """Whether everything is proved of a plan with equipment, that of the equipment too, but
        for what no promise prevents."""
        remaining = {v.obligation.key for v in self.found.remaining}
        asked = [o for o in safety(plan) if o.key not in remaining]
        return all(v.status == "proved" for v in self._verdicts(plan, asked))

    def _lock_each(self, core: Sequence[Promise]) -> None:
        """One lock for all promises about the same points."""
        for about in dict.fromkeys(p.about for p in core):
            some = [p for p in core if p.about == about]
            if len(some) > 1 and (text := self._replaced(some, core)):
                self.found.together[about[0]] = text


def _length(verdict: Verdict) -> int:
    story = verdict.finding.story if verdict.finding else None
    return len(story.events) if story else 0


def can_move(device: Device) -> Obligation:
    """That something can be thrown, once at least."""
    formula = atom(observables.event("points move", device.name), "yes")
    text = f"{device.title} can never be thrown"
    return Obligation(text, (device.name,), formula, text, (device.span,), over="histories",
                      mode="possible")  # fmt: skip


def safety(plan: Plan) -> list[Obligation]:
    """What must never happen over time, apart from notes and what the file waives."""
    return [
        o
        for o in obligations(plan, World(plan).lower)
        if not o.of_situations and o.mode == "never" and not o.advice and not _is_waived(plan, o)
    ]


def _is_waived(plan: Plan, obligation: Obligation) -> bool:
    return claimed(plan, Verdict(obligation, "broken")).status == "waived"
