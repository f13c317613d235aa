"""One mistake, one finding: which broken obligations follow from another one.

In: verdicts, with their repairs. Out: for each that follows from another, the key of that one.

A finding follows from another where the same repair was proved to mend both, or its repair is made
of those of others; where its history moves points that nothing holds; where a detector that sees
nothing is told already. What follows stays broken, and is told with its root.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

from verifier.plan import observables
from verifier.plan.devices import Device, devices
from verifier.plan.model import Plan
from verifier.properties.catalog import BY_NAME
from verifier.verdicts.report import History, Verdict

_GROUPS = ("wiring", "distances", "track and signals", "locking", "failures", "usefulness")
# What is wrong in itself, and what mostly follows from something.
_MOVES = ("points-move-under-train", "points-move-under-signal")
_UNSEEN = (
    "feeder-undetected", "detector-misplaced", "detector-cannot-sense", "supply-mismatch",
    "input-unread", "train-hidden", "undetected-track",
)  # fmt: skip
_RUN_INTO = ("proceed-into-occupied", "points-move-under-train")
_LATE = ("collision", "derailment", "train-cannot-leave", "locked-for-good", "never-shown")

# One edit: where it is made, and what is written there.
_Edits = frozenset[tuple[int, str]]


def causes_first(verdicts: Iterable[Verdict]) -> list[Verdict]:
    """Verdicts in an order in which what others follow from comes first."""

    def rank(verdict: Verdict) -> tuple[bool, int]:
        entry = BY_NAME.get(verdict.obligation.property)
        group = entry.group if entry else ""
        late = verdict.obligation.property in _LATE
        return late, _GROUPS.index(group) if group in _GROUPS else len(_GROUPS)

    return sorted(verdicts, key=rank)


def roots(plan: Plan, verdicts: Iterable[Verdict]) -> Mapping[str, str]:
    """By the key of a broken obligation that follows from another, the key of that one. A root
    follows from nothing."""
    broken = causes_first(v for v in verdicts if v.status == "broken" and not v.obligation.advice)
    found: dict[str, str] = {}
    edits = {v.obligation.key: _edits(v) for v in broken}
    for k, verdict in enumerate(broken):
        key = verdict.obligation.key
        if verdict.obligation.property not in BY_NAME:
            continue  # what the file itself claims is told in any case
        apart = [
            v for v in broken if v.obligation.key not in found and v.expected == verdict.expected
        ]
        before = {v.obligation.key for v in broken[:k]}
        earlier = [v for v in apart if v.obligation.key in before]
        root = (
            _same_repair(key, earlier, edits)
            or _made_of(key, apart, edits)
            or _moved(verdict, earlier, plan)
            or _unseen(verdict, earlier, plan)
        )
        if root:
            found[key] = root
    # A root that turned out to follow from another one passes on what follows from it.
    return {key: found.get(root, root) for key, root in found.items()}


def _edits(verdict: Verdict) -> _Edits:
    finding = verdict.finding
    if finding is None:
        return frozenset()
    return frozenset(
        (
            *((a.span.start, a.condition) for a in finding.mending),
            *((step.span.start, step.write) for step in finding.rewiring),
        )
    )


def _same_repair(key: str, earlier: Sequence[Verdict], edits: Mapping[str, _Edits]) -> str:
    own = edits[key]
    same = (v.obligation.key for v in earlier if own and edits[v.obligation.key] == own)
    return next(same, "")


def _made_of(key: str, others: Sequence[Verdict], edits: Mapping[str, _Edits]) -> str:
    """The first of several findings whose repairs together are the repair of this one."""
    own = edits[key]
    parts = [v.obligation.key for v in others if edits[v.obligation.key] < own]
    parts = [part for part in parts if edits[part]]
    together = frozenset(edit for part in parts for edit in edits[part])
    return parts[0] if parts and together == own else ""


def _moved(verdict: Verdict, earlier: Sequence[Verdict], plan: Plan) -> str:
    """The finding that something moves which nothing holds, where it moves in this history."""
    story = verdict.finding.story if verdict.finding else None
    if story is None or verdict.obligation.property in _MOVES:
        return _same_mover(verdict, earlier)
    known = devices(plan)
    for other in earlier:
        asked = other.obligation
        if asked.property not in _MOVES:
            continue
        if any(_is_moved(known[name], story, plan) for name in asked.subjects if name in known):
            return asked.key
    return ""


def _is_moved(device: Device, story: History, plan: Plan) -> bool:
    """Whether it moves in a history, or is thrown at its last moment."""
    throw = plan.locking.throws.get(device.name)
    lever = throw.lever if throw else None
    levers = [what for what in plan.inputs if what.kind == "lever" and what.name == lever]
    for one, two in pairwise(story.moments):
        for what in (device.lies, *levers):
            if one.get(what, what.usual) != two.get(what, what.usual):
                return True
    thrown = observables.choice("throw", device.name)
    return any(moment.get(thrown) == "yes" for moment in story.moments)


def _same_mover(verdict: Verdict, earlier: Sequence[Verdict]) -> str:
    """The finding that the same thing moves under a train, or under another signal."""
    asked = verdict.obligation
    if asked.property not in _MOVES:
        return ""
    for other in earlier:
        same = set(other.obligation.subjects[-1:]) & set(asked.subjects[-1:])
        if other.obligation.property in _MOVES and same:
            return other.obligation.key
    return ""


def _unseen(verdict: Verdict, earlier: Sequence[Verdict], plan: Plan) -> str:
    """The finding that something on this track is not seen."""
    if verdict.obligation.property not in _RUN_INTO:
        return ""
    known = devices(plan)
    here = set(verdict.obligation.subjects)
    here |= {known[name].block for name in here if name in known}
    for other in earlier:
        if other.obligation.property in _UNSEEN:
            named = other.obligation.subjects
            wiring = plan.wiring
            parts = (
                part for name in named
                for part in (wiring.detectors.get(name), wiring.feeders.get(name)) if part
            )  # fmt: skip
            if here & {*named, *(part.block for part in parts)}:
                return other.obligation.key
    return ""
