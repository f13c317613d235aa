"""Repairs of a race: a contact that the circuit of a relay lacks, or a relay that acts slowly.

In: a plan, and a history in which two act in one step and one still sees the other as it was. Out:
the order of the two that saves it, and what to add so that the order no longer matters. Both are
proved: the order for the obligation, an addition for all of the file that was proved before.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice

from verifier.decide.histories import HistoryProver
from verifier.engines.stopping import checkpoint
from verifier.explain.trace_view import TraceView
from verifier.plan import observables
from verifier.plan.locking.locking_model import Relay
from verifier.plan.locking.temporal_plan import running_plan
from verifier.plan.model import Plan
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, Observable, facts_in
from verifier.properties.catalog import obligations
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Addition, Finding, History, Race, Rewiring
from verifier.world.world import World

# So many pairs that race in one history are looked at, and so many additions are tried for each.
MAX_PAIRS = 3
MAX_TRIED = 6

# The keys of all that is proved of a plan; none where it lacks any that the plan at hand has.
ProveWhole = Callable[[Plan], frozenset[str]]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A plan with a circuit changed, and how a file says it."""

    plan: Plan
    text: str
    addition: Addition | None = None
    slower: Rewiring | None = None


class RaceRepairer:
    """Repairs races of one plan. ``broken``: what is broken over time (what cannot be done again is
    left out: to work that out for every order takes too long); ``whole``: as it says."""

    def __init__(
        self, plan: Plan, broken: Iterable[Obligation], timeout: float | None, whole: ProveWhole
    ):
        self._plan, self._timeout, self._whole = plan, timeout, whole
        self._broken = {o.key for o in broken if o.over != "for good"}
        self._saved: dict[tuple[str, str], frozenset[str]] = {}
        self._mended: dict[str, frozenset[str]] = {}

    def repaired(self, obligation: Obligation, finding: Finding) -> Finding:
        """The finding with the race that leads to it, and what removes that, as far as they were
        found and proved.

        Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C, or when the time for all of
        the work is over."""
        story, building = finding.story, self._plan.locking.building
        races = building.of_relays and obligation.key in self._broken
        if story is None or len(story.moments) < 2 or not races:
            return finding
        for waits, other in islice(_races(self._plan, story), MAX_PAIRS):
            orders = ((other, waits), (waits, other))
            if obligation.key not in self._saved_by(orders[0]):
                continue
            safe = tuple(order for order in orders if obligation.key in self._saved_by(order))
            found = replace(finding, race=Race(waits, other, safe))
            for candidate in islice(_candidates(self._plan, waits, other), MAX_TRIED):
                if obligation.key in self._mended_by(candidate):
                    return replace(
                        found,
                        mending=(candidate.addition,) if candidate.addition else (),
                        rewiring=(candidate.slower,) if candidate.slower else (),
                    )
            return found
        return finding

    def _saved_by(self, order: tuple[str, str]) -> frozenset[str]:
        """What cannot happen where two act in this order."""
        if order not in self._saved:
            checkpoint()
            self._saved[order] = self._proved_in(order)
        return self._saved[order]

    def _proved_in(self, order: tuple[str, str]) -> frozenset[str]:
        building = self._plan.locking.building
        ordered = replace(building, orders=(*building.orders, order))
        tried = replace(self._plan, locking=replace(self._plan.locking, building=ordered))
        histories = HistoryProver(tried, self._timeout, checkpoint)
        if histories.contradiction() != ():
            return frozenset()
        asked = [o for o in obligations(tried, World(tried).lower) if o.key in self._broken]
        found = histories.decide(asked)
        return frozenset(key for key, verdict in found.items() if verdict.status == "proved")

    def _mended_by(self, candidate: Candidate) -> frozenset[str]:
        """What is proved with it, if nothing else is lost."""
        if candidate.text not in self._mended:
            checkpoint()
            self._mended[candidate.text] = self._whole(candidate.plan)
        return self._mended[candidate.text]


def _races(plan: Plan, story: History) -> Iterator[tuple[str, str]]:
    """Who acts in one step of a history and still sees whom as it was that acts then, too; the last
    ones first."""
    *moments, last = story.moments
    record = TraceView(running_plan(plan), moments, last)
    relays = plan.locking.relays
    found: dict[tuple[str, str], None] = {}
    for k in reversed(range(len(moments))):
        for name, relay in relays.items():
            what = observables.relay(name)
            if relay.step_of or record.now(k, what) == record.then(k, what):
                continue
            for other in record.seen_before(k, name):
                found[name, other] = None
    yield from found


# ------------------------------------------------------------------ what to add


def _candidates(plan: Plan, waits: str, other: str) -> Iterator[Candidate]:
    """What may remove a race, the usual cure first: a contact that is open before the other one
    acts; a contact of the other one; a relay that waits until the other one has acted."""
    for one, two in ((waits, other), (other, waits)):
        relay = plan.locking.relays.get(one)
        if relay is None or relay.after or relay.step_of or isinstance(relay.picks, AnyOne):
            continue
        for extra, text in (*_hands(plan, two), *_at_rest(plan, two)):
            if not _asks(relay.picks, extra):
                picks = All((relay.picks, extra), relay.picks.span)
                added = Addition(f"relay {one}", "picks", text, relay.picks.span)
                yield Candidate(_with(plan, replace(relay, picks=picks)), f"{one}: {text}", added)
    for one in (waits, other):
        relay = plan.locking.relays.get(one)
        if relay is not None and not relay.step_of:
            yield from _slower(plan, relay)


def _hands(plan: Plan, name: str) -> Iterator[tuple[Condition, str]]:
    """That nobody calls for it: the back contacts of its buttons and levers."""
    relay = plan.locking.relays.get(name)
    if relay is None:
        return
    inside_not = {id(fact) for part in _parts(relay.picks) if isinstance(part, Not)
                  for fact in facts_in(part)}  # fmt: skip
    for fact in facts_in(relay.picks):
        if fact.what.kind in ("button", "lever") and id(fact) not in inside_not:
            yield Not(fact, fact.span), f"not {fact.text}"


def _parts(condition: Condition) -> Iterator[Condition]:
    yield condition
    if isinstance(condition, All | AnyOne):
        for part in condition.parts:
            yield from _parts(part)


def _at_rest(plan: Plan, name: str) -> Iterator[tuple[Condition, str]]:
    """That it is at rest: a relay down, a timer neither running nor done."""
    locking = plan.locking
    if name in locking.relays:
        span = locking.relays[name].span
        yield Fact(observables.relay(name), ("down",), span, f"{name} down"), f"{name} down"
    elif name in locking.timers:
        span = locking.timers[name].span
        text = f"not {name} running and not {name} done"
        yield Fact(observables.timer(name), ("idle",), span, text), text


def _asks(condition: Condition, extra: Condition) -> bool:
    """Whether a condition asks for the same already."""
    wanted = _meaning(extra)
    return any(_meaning(part) == wanted for part in _parts(condition))


def _meaning(condition: Condition) -> tuple[bool, Observable, tuple[str, ...]] | None:
    match condition:
        case Fact():
            return True, condition.what, condition.values
        case Not(part=Fact() as fact):
            return False, fact.what, fact.values
    return None


def _slower(plan: Plan, relay: Relay) -> Iterator[Candidate]:
    """Let it wait for a second: what it sees must last for so long."""
    second = Fraction(1)
    if relay.slow_pick is None:
        yield _slow(plan, replace(relay, slow_pick=second), "slow to pick 1 s")
    if relay.slow_release is None:
        yield _slow(plan, replace(relay, slow_release=second), "slow to release 1 s")


def _slow(plan: Plan, relay: Relay, clause: str) -> Candidate:
    text = f"make relay {relay.name} `{clause}`"
    step = Rewiring(text, relay.span, 1, clause, "further clause")
    return Candidate(_with(plan, relay), text, slower=step)


def _with(plan: Plan, relay: Relay) -> Plan:
    relays = {**plan.locking.relays, relay.name: relay}
    return replace(plan, locking=replace(plan.locking, relays=relays))
