"""What a proof is not about: track that the file's assumptions keep trains from, or that no train
comes to for want of cars that stand there at the start; and layouts in which no signal ever lets a
train pass. Also assumptions that are true whatever happens.

In: a plan and the provers of its obligations. Out: what trains never come to and which assumptions
that is due to, found by asking the same without them; the plan without assumptions that say
nothing.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from verifier.decide.situations import SituationProver
from verifier.engines.results import Impossible, Unreachable
from verifier.engines.session import fresh_context
from verifier.engines.smt.situations import SituationCheck
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import Expr, conjunction, disjunction, negation
from verifier.plan.claims import granted, limits_on_trains, never_has_trains, with_running
from verifier.plan.model import Assumption, Plan
from verifier.properties.locking_phrases import came_in_by, train_on
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import lined, occupied, permits, pieces_in
from verifier.properties.usefulness import is_meant_to_clear
from verifier.verdicts.grade import KeptOut
from verifier.verdicts.report import Verdict
from verifier.world.world import World

if TYPE_CHECKING:
    from verifier.decide.histories import HistoryProver

What = Literal["block", "signal", "route"]


@dataclass(frozen=True, slots=True)
class _Place:
    """Something that trains should come to: at a single moment, and in a history."""

    kind: What
    name: str
    moment: Expr
    history: Expr


def _places(plan: Plan) -> Iterator[_Place]:
    for block in plan.blocks:
        pieces = pieces_in(block, plan)
        if pieces:
            there = disjunction(*(train_on(piece) for piece in pieces))
            yield _Place("block", block, occupied(block), there)
    for signal in plan.signals.values():
        clear = permits(signal, plan)
        yield _Place("signal", signal.name, clear, came_in_by(signal.enters, plan))
    for route in plan.routes:
        if is_meant_to_clear(route, plan):
            cleared = conjunction(permits(plan.signals[route.signal], plan), lined(route))
            yield _Place("route", route.name, cleared, cleared)


# ------------------------------------------------------------------ what trains are kept from


def kept_out(
    plan: Plan,
    situations: SituationProver,
    histories: "HistoryProver | None",
    step: Callable[[], None],
) -> tuple[KeptOut, ...]:
    """The blocks, signals and routes that trains come to without some assumptions of the file,
    promises of the crew, or lines about where trains come in and turn back, and not with them.
    Over time also the blocks that no train comes to in any case, since nothing stands there at the
    start. ``step`` is called before each question."""
    places = list(_places(plan))
    if histories is None:
        taken = granted(plan)
        return tuple(_at_single_moments(places, situations, step)) if taken else ()
    if not _limits(histories.plan):
        places = [place for place in places if place.kind == "block"]
    return tuple(_over_time(places, histories, situations, step))


def _at_single_moments(
    places: Iterable[_Place], situations: SituationProver, step: Callable[[], None]
) -> Iterator[KeptOut]:
    for place in places:
        step()
        titles, sure = situations.ruled_out_by(place.moment)
        if titles:
            yield KeptOut(titles, place.kind, place.name, sure)


def _over_time(
    places: Sequence[_Place],
    histories: "HistoryProver",
    situations: SituationProver,
    step: Callable[[], None],
) -> Iterator[KeptOut]:
    from verifier.decide.histories import HistoryProver

    asked = {place: _reached(place) for place in places}
    verdicts = histories.decide(asked.values())
    unreached = {p: v for p, o in asked.items() if (v := verdicts[o.key]).status != "proved"}
    # What no history comes to for other reasons is not due to what is granted.
    due = {place: v for place, v in unreached.items() if v.status != "broken" or v.rests_on}

    def asked_again(plan: Plan, again: Iterable[_Place]) -> Mapping[str, Verdict]:
        prover = HistoryProver(plan, situations.timeout, step, situations.store, brief=True)
        return prover.decide(asked[place] for place in again)

    plan = histories.plan
    free = replace(plan, assumptions=(), locking=replace(plan.locking, promises=()))
    without = asked_again(free, due) if due else {}
    for place, verdict in due.items():
        other = without[asked[place].key]
        if other.status != "broken":
            titles = verdict.rests_on or tuple(taken.title for taken in granted(plan))
            sure = verdict.status == "broken" and other.status == "proved"
            yield KeptOut(titles, place.kind, place.name, sure)
            del unreached[place]
    limits: list[tuple[tuple[str, ...], Plan]]
    limits = [((title,), wider) for title, wider in limits_on_trains(plan)]
    if len(limits) > 1:
        running = replace(plan.locking.running, entering={}, reverse_on=None)
        limits.append(
            (tuple(t for titles, _ in limits for t in titles), with_running(plan, running))
        )
    for titles, wider in limits:
        if not unreached:
            break
        without = asked_again(wider, unreached)
        for place, verdict in list(unreached.items()):
            other = without[asked[place].key]
            if other.status != "broken":
                sure = verdict.status == "broken" and other.status == "proved"
                yield KeptOut(titles, place.kind, place.name, sure)
                del unreached[place]
    if not never_has_trains(plan):
        for place, verdict in unreached.items():
            if place.kind == "block" and verdict.status == "broken":
                yield KeptOut((), place.kind, place.name)


def _limits(plan: Plan) -> tuple[str, ...]:
    """The titles of all that may keep trains out over time."""
    titles = (taken.title for taken in granted(plan))
    return (*titles, *(title for title, _ in limits_on_trains(plan)))


def _reached(place: _Place) -> Obligation:
    """That some history comes to a place."""
    return Obligation(
        f"trains reach {place.kind}", (place.name,), place.history, "", (),
        over="histories", mode="possible",
    )  # fmt: skip


# ------------------------------------------------------------------ nothing ever clears

# What is proved by a situation or a history in which a signal lets a train pass.
_CLEARING = ("route-never-clears", "route-never-set")


def nothing_clears(
    plan: Plan,
    verdicts: Iterable[Verdict],
    situations: SituationProver,
    histories: "HistoryProver | None",
) -> bool:
    """Whether no signal of the plan ever lets a train pass."""
    proved = (v.obligation.property for v in verdicts if v.status == "proved")
    if not plan.signals or any(name in _CLEARING for name in proved):
        return False
    clears = disjunction(*(permits(signal, plan) for signal in plan.signals.values()))
    if situations.is_impossible(clears):
        return True
    if histories is None:
        return False
    asked = Obligation("some signal clears", (), clears, "", (), over="histories", mode="possible")
    return histories.decide([asked])[asked.key].status == "broken"


# ------------------------------------------------------------------ what is always true


def always_true(world: World, timeout: float | None) -> tuple[Assumption, ...]:
    """The assumptions that hold in every situation, with faults too, and at every moment of every
    trace: they say nothing."""
    plan = world.plan
    if not plan.assumptions:
        return ()
    bare = World(replace(plan, assumptions=()))
    faulty = World(bare.plan, bare, [fault.what for fault in plan.equipment.faults])
    worlds = [bare, faulty] if faulty.faults else [bare]
    checks = [(each, SituationCheck.of(each, timeout)) for each in worlds]
    # Over time a number of trains says more than at single moments.
    asked = [a for a in plan.assumptions if a.trains is None or not plan.locking.over_time]
    likely = [a for a in asked if _holds_in_all(a, checks)]
    if likely and plan.locking.over_time:
        likely = list(_hold_in_all_states(likely, bare.plan))
    return tuple(likely)


def _holds_in_all(assumption: Assumption, checks: Iterable[tuple[World, SituationCheck]]) -> bool:
    try:
        return all(
            isinstance(
                check.find(negation(world.expand(world.lower(assumption.condition)))), Impossible
            )
            for world, check in checks
        )
    except InputError:  # with some fault, what signals show goes round in a circle
        return False


def _hold_in_all_states(assumptions: Sequence[Assumption], bare: Plan) -> Iterator[Assumption]:
    """Those that hold in every state of the transition systems, reachable or not."""
    from verifier.engines.temporal import induction
    from verifier.world.history import Histories

    systems = [Histories(bare, lossy=lossy) for lossy in (False, True)]
    for assumption in assumptions:
        violated = [h.expand(negation(h.lower(assumption.condition))) for h in systems]
        if all(
            isinstance(induction.prove(h.system, bad), Unreachable)
            for h, bad in zip(systems, violated, strict=True)
        ):
            yield assumption


def with_what_restricts(plan: Plan, situations: SituationProver, step: Callable[[], None]) -> Plan:
    """The plan without the assumptions that hold at every moment of every history anyway: it has
    the same histories. ``step`` is called before each question."""
    if not plan.assumptions:
        return plan
    from verifier.decide.histories import HistoryProver

    fresh_context()
    free = HistoryProver(replace(plan, assumptions=()), situations.timeout, step, situations.store)
    asked = {
        f"violated: {number}": Obligation(
            "violated", (str(number),), negation(situations.world.lower(assumption.condition)), "",
            (), over="histories",
        )
        for number, assumption in enumerate(plan.assumptions)
    }  # fmt: skip
    found = free.decide(asked.values())
    kept = zip(plan.assumptions, asked, strict=True)
    left = tuple(a for a, key in kept if found[key].status != "proved" or a.trains is not None)
    return replace(plan, assumptions=left)
