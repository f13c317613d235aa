"""The search for repairs: proposals are tried one after another, and proved.

In: a text. Out: what is wrong with it, mistake by mistake, and for each the repairs that were
proved; and one repair of all that can be mended. A mistake is what its first repair mends.
"""

from collections.abc import Callable, Iterator, Sequence, Set
from dataclasses import dataclass, field

from verifier.decide.claims import matches
from verifier.engines.results import Interrupted
from verifier.engines.stopping import OutOfTime, stoppable, time_limit
from verifier.explain.roots import causes_first
from verifier.language.format.formatter import format_text
from verifier.mending.changes import Proposal, changed, without
from verifier.mending.judge import Judge, Judged, Read, worse
from verifier.mending.proposals import proposals, proved_already
from verifier.verdicts.report import Verdict

# So many repairs of one mistake are shown; so many proposals are looked at for it, and so many of
# them proved.
SHOWN = 3
MOST_TRIED = 600
MOST_PROVED = 60
MOST_OVER_TIME = 25
# Of a repair that breaks something else, so many further steps are tried that mend that.
MOST_STEPS = 4


@dataclass(frozen=True, slots=True)
class Repair:
    """A text that is better: ``text``, what was done to it, and the keys of what it mends.
    ``whole``: nothing stays broken, and the file proves as it says. ``raw``: the text with all that
    the file expects to be broken."""

    text: str
    steps: tuple[str, ...]
    mends: tuple[str, ...]
    whole: bool
    raw: str

    @property
    def sentence(self) -> str:
        """What is done, in plain words."""
        said = "; then ".join(self.steps)
        return f"{said[0].upper()}{said[1:]}."


@dataclass(frozen=True, slots=True)
class Mistake:
    """What is broken by one cause: the finding to look at, the others that its first repair mends
    too, and the repairs, the smallest first."""

    root: Verdict
    also: tuple[Verdict, ...]
    repairs: tuple[Repair, ...]


@dataclass(slots=True)
class Mended:
    """What was found: ``mistakes`` with repairs; ``left``: what no repair was found for;
    ``together``: one repair that makes the first one of each mistake. ``stopped``: why the search
    ended early."""

    before: Judged
    mistakes: list[Mistake] = field(default_factory=list)
    left: list[Verdict] = field(default_factory=list)
    together: Repair | None = None
    stopped: str = ""

    @property
    def repairs(self) -> tuple[Repair, ...]:
        """All repairs as they are numbered: that of everything first, where it takes several."""
        single = [repair for mistake in self.mistakes for repair in mistake.repairs]
        several = self.together if self.together not in single else None
        return (several, *single) if several else tuple(single)

    @property
    def is_whole(self) -> bool:
        """Whether some repair leaves nothing broken."""
        return any(repair.whole for repair in self.repairs)


def mend(
    read: Read,
    text: str,
    *,
    timeout: float | None = None,
    within: float | None = None,
    alternatives: bool = True,
    step: Callable[[int, int], None] = lambda _done, _of: None,
) -> Mended:
    """The repairs of a text. ``read`` reads one; ``timeout`` in seconds for each obligation,
    ``within`` for the whole search; without ``alternatives`` the first repair of each mistake is
    enough; ``step`` is told how many findings of how many were looked at.

    Raises :class:`~verifier.language.diagnostics.diagnostic.InputError` where the text is no
    junction."""
    with stoppable(), time_limit(within):
        judge = Judge(read, timeout)
        before = judge.judged(text, repairs=True)
        search = _Search(judge, before, alternatives, step)
        try:
            search.run()
        except OutOfTime as over:
            search.found.stopped = str(over)
        except (KeyboardInterrupt, Interrupted):
            search.found.stopped = "it was interrupted"
        except MemoryError:
            search.found.stopped = "the memory ran out"
        return search.found


class _Search:
    def __init__(
        self, judge: Judge, before: Judged, alternatives: bool, step: Callable[[int, int], None]
    ):
        self._judge, self._before, self._step = judge, before, step
        self._wanted = SHOWN if alternatives else 1
        self.found = Mended(before, left=list(before.broken.values()))

    def run(self) -> None:
        """First each finding of the text as it stands, but for those that an earlier repair mends;
        then one repair after another, as long as something is broken that can be mended."""
        before, mended = self._before, set[str]()
        hopeless: set[str] = set()
        for root in causes_first(before.broken.values()):
            key = root.obligation.key
            if key in mended:
                continue
            self._step(len(mended), len(before.broken))
            repairs = self._repairs_of(root)
            if not repairs:
                hopeless.add(key)
                continue
            self.found.mistakes.append(self._mistake(root, repairs, mended))
            mended.update(repairs[0].mends)
        self._all_together(hopeless)

    def _repairs_of(self, root: Verdict) -> list[Repair]:
        """The first repairs of a finding; those first that mend most, and of these the smallest. An
        end is made where enough of them leave nothing broken."""
        repairs: list[Repair] = []
        for after, steps in self._accepted(self._before, root):
            repairs.append(self._repair(after, steps))
            enough = sum(repair.whole for repair in repairs) >= self._wanted
            if enough or self._wanted == 1:
                break
        repairs.sort(key=lambda repair: -len(repair.mends))
        return repairs[: self._wanted]

    def _mistake(self, root: Verdict, repairs: Sequence[Repair], known: Set[str]) -> Mistake:
        also = [
            self._before.broken[key] for key in repairs[0].mends
            if key != root.obligation.key and key not in known
        ]  # fmt: skip
        return Mistake(root, tuple(also), tuple(repairs))

    def _all_together(self, hopeless: Set[str]) -> None:
        """One repair after another. What could not be mended in the text as it stands is looked at
        once more at the end: it may be when all else is mended."""
        firsts = [mistake.repairs[0] for mistake in self.found.mistakes]
        if not firsts:
            return
        now, steps = self._judge.judged(firsts[0].raw, repairs=True), firsts[0].steps
        self._reached(now, steps)
        looked_at: set[str] = set()
        while True:
            waiting = [
                v for v in causes_first(now.broken.values()) if v.obligation.key not in looked_at
            ]
            waiting.sort(key=lambda v: v.obligation.key in hopeless)
            if not waiting:
                return
            looked_at.add(waiting[0].obligation.key)
            found = next(self._accepted(now, waiting[0]), None)
            if found is not None:
                steps = (*steps, *found[1])
                now = self._judge.judged(found[0].text, repairs=True)
                self._reached(now, steps)

    def _reached(self, now: Judged, steps: tuple[str, ...]) -> None:
        self.found.together = self._repair(now, steps)
        self.found.left = list(now.broken.values())

    def _repair(self, after: Judged, steps: tuple[str, ...]) -> Repair:
        mends = tuple(k for k in self._before.broken if k not in after.broken)
        text, whole = self._with_expectations(after)
        if format_text(self._before.text) == self._before.text:
            text = format_text(text)
        return Repair(text, steps, mends, whole, after.text)

    def _with_expectations(self, after: Judged) -> tuple[str, bool]:
        """The text without those expectations that are no longer so; whether it is as it says."""
        broken = [v.obligation for v in after.broken.values()]
        spans = [e.span for e in after.told.expectations if not any(matches(e, o) for o in broken)]
        here = [s for s in spans if s.source.name == after.told.source.name]
        gone = [without(after.text, span) for span in here]
        text = changed(after.text, gone) if gone else None
        # An expectation that an included file has stays there, and is not met.
        whole = not broken and len(here) == len(spans)
        return text or after.text, whole

    # ------------------------------------------------------------------ one finding

    def _accepted(self, now: Judged, root: Verdict) -> Iterator[tuple[Judged, tuple[str, ...]]]:
        """The texts that mend a finding and make nothing worse."""
        key = root.obligation.key
        seen, proofs = set[str](), 0
        for proposal in proposals(now.given, root)[:MOST_TRIED]:
            text = changed(now.text, proposal.changes)
            if text is None or text in seen:
                continue
            seen.add(text)
            helps = self._judge.may_help(text, root)
            proofs += helps is not None
            if proofs > (MOST_OVER_TIME if now.told.locking.over_time else MOST_PROVED):
                return
            if not helps:
                continue
            after = self._settled(now, text, proposal)
            if after is None or key in after[0].broken:
                continue
            if self._judge.keeps_moving(now, after[0]):
                yield after

    def _settled(
        self, now: Judged, text: str, proposal: Proposal
    ) -> tuple[Judged, tuple[str, ...]] | None:
        """A text that makes nothing worse, with further steps where what it adds asks for them."""
        after = self._judge.tried(text)
        steps = [proposal.why]
        for _ in range(MOST_STEPS):
            if after is None:
                return None
            lost = list(worse(now, after, proposal.trades))
            if not lost:
                return after, tuple(steps)
            new = [after.broken[key] for key in lost if key in after.broken]
            if len(new) < len(lost) or any(v.obligation.key in now.verdicts for v in new):
                return None
            further = self._further(after, new[0])
            if further is None:
                return None
            after, why = further
            steps.append(why)
        return None

    def _further(self, now: Judged, new: Verdict) -> tuple[Judged, str] | None:
        """One step that mends what a proposal has newly broken: the repair that its proof found."""
        proved = self._judge.judged(now.text, repairs=True)
        verdict = proved.broken.get(new.obligation.key)
        if verdict is None:
            return None
        proposal = next(proved_already(proved.given, verdict), None)
        text = changed(now.text, proposal.changes) if proposal else None
        after = self._judge.tried(text) if text else None
        return (after, proposal.why) if after is not None and proposal is not None else None
