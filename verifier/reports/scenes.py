"""What there is to draw of a finding: the layout as it is seen, what matters of it, and where.

In: a verdict with its finding. Out: scenes, for any way of drawing: the situation, or the moments
of a history.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from verifier.explain.trace_view import occupied_blocks, situation_of
from verifier.plan import observables
from verifier.plan.locking.temporal_plan import running_plan
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import Seen, evaluate
from verifier.verdicts.report import Finding, History, HistoryEvent


@dataclass(frozen=True, slots=True)
class Scene:
    """``telling`` is what matters of what is ``seen`` of the ``plan``; ``around`` the pieces of
    track that have to be in the picture."""

    plan: Plan
    seen: Seen
    telling: Collection[Observable]
    around: tuple[str, ...]


def situation_scene(finding: Finding, obligation: Obligation, plan: Plan) -> Scene:
    """The situation that breaks an obligation."""
    shown = [plan.signals[name] for name in obligation.signals]
    return Scene(
        plan,
        evaluate(plan, finding.situation),
        frozenset((*finding.relevant, *(signal.aspect for signal in shown))),
        tuple(dict.fromkeys((*_stands(obligation, plan), *obligation.pieces))),
    )


def last_scene(story: History, obligation: Obligation, plan: Plan) -> Scene:
    """The last moment of a history."""
    running = running_plan(plan)
    seen = seen_at(story, len(story.moments) - 1, running)
    return Scene(
        running, seen, _telling(obligation, running, seen), _around(story, obligation, running)
    )


@dataclass(frozen=True, slots=True)
class MomentScene:
    """A moment of a history, and what has happened since the one before it that is drawn:
    the events by their numbers, counted from 1."""

    moment: int
    scene: Scene
    events: Mapping[int, HistoryEvent]


def moment_scenes(story: History, obligation: Obligation, plan: Plan) -> Iterator[MomentScene]:
    """The moments of a history at which something new is to be seen; all with the same track, and
    with what matters at any of them."""
    running = running_plan(plan)
    events: dict[int, dict[int, HistoryEvent]] = {len(story.moments) - 1: {}}
    for number, event in enumerate(story.events, start=1):
        events.setdefault(event.moment + event.seen_after, {})[number] = event
    told = sorted(events)
    seen = {k: seen_at(story, k, running) for k in told}
    telling = frozenset(w for k in told for w in _telling(obligation, running, seen[k]))
    pieces = dict.fromkeys(
        piece for k in told for piece in (*_trains(story, k), *_around(story, obligation, running))
    )
    for k in told:
        yield MomentScene(k, Scene(running, seen[k], telling, tuple(pieces)), events[k])


def seen_at(story: History, k: int, running: Plan) -> Seen:
    """What is seen at a moment; stock is where it is, though detection may have lost it."""
    moment = story.moments[k]
    states = dict(evaluate(running, situation_of(running, moment)).states)
    states |= {observables.stock(b): "occupied" for b in occupied_blocks(running, moment)}
    return Seen(states)


def _trains(story: History, k: int) -> Iterator[str]:
    return (w.name for w, s in story.moments[k].items() if w.kind == "train" and s == "occupied")


def _around(story: History, obligation: Obligation, plan: Plan) -> tuple[str, ...]:
    last = len(story.moments) - 1
    pieces = (*_stands(obligation, plan), *obligation.pieces, *_trains(story, last))
    return tuple(dict.fromkeys(pieces))


def _stands(obligation: Obligation, plan: Plan) -> Iterator[str]:
    """The track before and beyond each signal that the obligation is about."""
    for name in obligation.signals:
        signal = plan.signals[name]
        yield from (signal.enters.piece, signal.joint.other(signal.enters).piece)


def _telling(obligation: Obligation, plan: Plan, seen: Seen) -> set[Observable]:
    """What is worth drawing: where stock is, points and signals that are not as they usually
    are, and all that the trouble is about."""
    telling = {w for w, s in seen.states.items() if w.kind == "stock" and s == "occupied"}
    telling |= {
        w
        for w, s in seen.states.items()
        if w.kind == "points" and (s != w.usual or w.name in obligation.pieces)
    }
    permitting = {a.name for a in plan.chart.aspects if a.permits}
    for signal in plan.signals.values():
        if signal.name in obligation.signals or seen.aspect(signal) in permitting:
            telling.add(signal.aspect)
    telling |= {w for w, s in seen.states.items() if w.kind in ("derail", "gate") and s != w.usual}
    return telling
