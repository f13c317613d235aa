"""Repairs of a race: a contact that the circuit of a relay lacks, or a relay that acts slowly.

In: a plan, and a history in which two act in one step and one still sees the other as it was. Out:
the order of the two that saves it, and what to add so that the order no longer matters. Both are
proved: the order for the obligation, an addition for all of the file that was proved before. Where
no order of two saves it, several orders that do so together, and an addition for each of them; or
that those in a circle have no such order.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import chain, islice, pairwise, permutations, product

from verifier.decide.histories import HistoryProver
from verifier.engines.stopping import checkpoint
from verifier.explain.trace_view import TraceView
from verifier.plan import observables
from verifier.plan.locking.locking_model import Relay
from verifier.plan.locking.temporal_plan import running_plan
from verifier.plan.model import Plan
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, Observable, facts_in
from verifier.properties.catalog import FAILURES, obligations
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Addition, Finding, History, Race, Rewiring, Tangle, Verdict
from verifier.world.world import World

# So many pairs that race in one history are looked at, and so many additions are tried for each.
MAX_PAIRS = 3
MAX_TRIED = 6
# Where no order of two saves it: so many orders together, and so many proofs in search of them for
# all of a file.
MAX_TOGETHER = 3
MAX_PROOFS = 6
# Of a circle of more than so many, not every order of acting is tried, only those along it.
LARGEST_CIRCLE = 4

Orders = tuple[tuple[str, str], ...]

# The keys of all that is proved of a plan; none where it lacks any that the plan at hand has.
ProveWhole = Callable[[Plan], frozenset[str]]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A relay with its circuit changed, and how a file says it."""

    relay: Relay
    text: str
    addition: Addition | None = None
    slower: Rewiring | None = None


class RaceRepairer:
    """Repairs races of one plan. ``broken``: what is broken over time (what cannot be done again is
    left out: to work that out for every order takes too long; and what a fault does, since no fault
    is present in the histories asked here); ``whole``: as it says."""

    def __init__(
        self, plan: Plan, broken: Iterable[Obligation], timeout: float | None, whole: ProveWhole
    ):
        self._plan, self._timeout, self._whole = plan, timeout, whole
        self._broken = {
            o.key for o in broken if o.over != "for good" and o.property not in FAILURES
        }
        self._verdicts: dict[tuple[Orders, str], Verdict | None] = {}
        self._mended: dict[str, frozenset[str]] = {}
        self._proofs_left = MAX_PROOFS

    def repaired(self, obligation: Obligation, finding: Finding) -> Finding:
        """The finding with the race that leads to it, and what removes that, as far as they were
        found and proved.

        Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C, or when the time for all of
        the work is over."""
        story, building = finding.story, self._plan.locking.building
        races = building.of_relays and obligation.key in self._broken
        if story is None or len(story.moments) < 2 or not races:
            return finding
        pairs = list(_races(self._plan, story))
        for waits, other in pairs[:MAX_PAIRS]:
            orders = ((other, waits), (waits, other))
            if not self._is_saved_by(orders[0], obligation):
                continue
            safe = (orders[0], *(o for o in orders[1:] if self._is_saved_in(o, obligation)))
            found = replace(finding, race=Race(waits, other, safe))
            return self._with_cure(obligation, found, [(waits, other)])
        return self._untangled(obligation, finding, pairs)

    def _with_cure(
        self, obligation: Obligation, finding: Finding, pairs: Sequence[tuple[str, str]]
    ) -> Finding:
        """With one addition that mends it, or one for each of some pairs."""
        each = [list(islice(_candidates(self._plan, *pair), MAX_TRIED)) for pair in pairs]
        alone = {c.text: (c,) for here in each for c in here[: MAX_TRIED // len(each)]}
        # The same kind of addition for each, then any.
        ways = chain(zip(*each, strict=False), product(*each)) if len(each) > 1 else ()
        for candidates in (*alone.values(), *islice(ways, MAX_TRIED)):
            if len({c.relay.name for c in candidates}) < len(candidates):
                continue
            if not self._is_saved_with(candidates, obligation.key):
                continue
            if obligation.key in self._mended_by(candidates):
                return replace(
                    finding,
                    mending=tuple(c.addition for c in candidates if c.addition),
                    rewiring=tuple(c.slower for c in candidates if c.slower),
                )
        return finding

    # ------------------------------------------------------------------ several orders

    def _untangled(
        self, obligation: Obligation, finding: Finding, pairs: Sequence[tuple[str, str]]
    ) -> Finding:
        """Where no order of two saves it: with several that do so together, or with those that
        race in a circle, which no order saves."""
        circle = _circle(pairs)
        orders: Orders = ()
        if circle:
            verdicts: dict[Orders, Verdict | None] = {}
            for turn in _turns(circle):
                verdicts[turn] = verdict = self._verdict_in(turn, obligation)
                if verdict is not None and verdict.status == "proved":
                    orders = turn
                    break
            every = len(circle) <= LARGEST_CIRCLE
            if every and all(v is not None and v.status == "broken" for v in verdicts.values()):
                tangle = Tangle((), circle)
                return self._with_cure(obligation, replace(finding, tangle=tangle), pairs)
        orders = orders or self._saved_together(obligation, (), pairs[:MAX_PAIRS])
        if not orders:
            return finding
        for order in orders:
            fewer = tuple(o for o in orders if o != order)
            verdict = self._verdict_in(fewer, obligation)
            if verdict is not None and verdict.status == "proved":
                orders = fewer
        waiting = [(later, earlier) for earlier, later in orders]
        return self._with_cure(obligation, replace(finding, tangle=Tangle(orders)), waiting)

    def _saved_together(
        self, obligation: Obligation, orders: Orders, pairs: Iterable[tuple[str, str]]
    ) -> Orders:
        """Orders that save it, more than those given, by what races in the history found in these:
        one that waits there acts after the other. None where none were found."""
        for waits, other in pairs:
            more = (*orders, (other, waits))
            known = (other, waits) in orders
            if known or len(more) > MAX_TOGETHER or not self._proofs_left or _closes(more):
                continue
            self._proofs_left -= 1
            verdict = self._verdict_in(more, obligation)
            if verdict is None:
                continue
            if verdict.status == "proved":
                return more
            if verdict.finding is not None and verdict.finding.story is not None:
                racing = islice(_races(self._ordered(more), verdict.finding.story), MAX_PAIRS)
                found = self._saved_together(obligation, more, racing)
                if found:
                    return found
        return ()

    def _verdict_in(self, orders: Orders, obligation: Obligation) -> Verdict | None:
        """On one obligation, where some act in these orders; None where no history is left."""
        if (orders, obligation.key) not in self._verdicts:
            checkpoint()
            found = self._decided(self._ordered(orders), obligation.key)
            self._verdicts[orders, obligation.key] = found
        return self._verdicts[orders, obligation.key]

    def _is_saved_by(self, order: tuple[str, str], obligation: Obligation) -> bool:
        """Whether this cannot happen where two act in this order. As long as several orders may be
        tried together, what happens is told too, since these are found by what races there."""
        if not self._proofs_left:
            return self._is_saved_in(order, obligation)
        verdict = self._verdict_in((order,), obligation)
        return verdict is not None and verdict.status == "proved"

    def _is_saved_in(self, order: tuple[str, str], obligation: Obligation) -> bool:
        """The same, with nothing told."""
        return self._is_proved(self._ordered((order,)), obligation.key)

    def _is_proved(self, tried: Plan, key: str) -> bool:
        checkpoint()
        verdict = self._decided(tried, key, quick=True)
        return verdict is not None and verdict.status == "proved"

    def _decided(self, tried: Plan, key: str, *, quick: bool = False) -> Verdict | None:
        """``quick``: no history is told, where only what is proved matters."""
        histories = HistoryProver(tried, self._timeout, checkpoint, quick=quick)
        if histories.contradiction() != ():
            return None
        asked = [o for o in obligations(tried, World(tried).lower) if o.key == key]
        return histories.decide(asked).get(key)

    def _ordered(self, orders: Orders) -> Plan:
        building = self._plan.locking.building
        ordered = replace(building, orders=(*building.orders, *orders))
        return replace(self._plan, locking=replace(self._plan.locking, building=ordered))

    def _is_saved_with(self, candidates: Sequence[Candidate], key: str) -> bool:
        """Whether this cannot happen with some additions."""
        return self._is_proved(_with(self._plan, [c.relay for c in candidates]), key)

    def _mended_by(self, candidates: Sequence[Candidate]) -> frozenset[str]:
        """What is proved with some additions, if nothing else is lost."""
        text = "; ".join(candidate.text for candidate in candidates)
        if text not in self._mended:
            checkpoint()
            self._mended[text] = self._whole(_with(self._plan, [c.relay for c in candidates]))
        return self._mended[text]


def _circle(pairs: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """Some that wait for each other in a circle of three or more, each for the next one."""
    waits_for: dict[str, list[str]] = {}
    for waits, other in pairs:
        waits_for.setdefault(waits, []).append(other)
    ways: list[tuple[str, ...]] = [(name,) for name in waits_for]
    while ways:
        way = ways.pop()
        for other in waits_for.get(way[-1], ()):
            if other == way[0] and len(way) > 2:
                return way
            if other not in way:
                ways.append((*way, other))
    return ()


def _turns(circle: tuple[str, ...]) -> Iterator[Orders]:
    """The orders in which those of a circle may act one after the other: those along it, either
    way round, and of a small one all others."""
    along = [way[k:] + way[:k] for way in (circle[::-1], circle) for k in range(len(circle))]
    rest = permutations(circle) if len(circle) <= LARGEST_CIRCLE else ()
    yield from (tuple(pairwise(turn)) for turn in dict.fromkeys((*along, *rest)))


def _closes(orders: Orders) -> bool:
    """Whether the last of some orders closes a circle of them."""
    first, last = orders[-1]
    waiting, passed = [last], set[str]()
    while waiting:
        name = waiting.pop()
        passed.add(name)
        waiting += [later for earlier, later in orders if earlier == name and later not in passed]
    return first in passed


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
        for extra, text in (*_hands(plan, two, relay), *_at_rest(plan, two)):
            if not _asks(relay.picks, extra):
                picks = All((relay.picks, extra), relay.picks.span)
                added = Addition(f"relay {one}", "picks", text, relay.picks.span)
                yield Candidate(replace(relay, picks=picks), f"{one}: {text}", added)
    for one in (waits, other):
        relay = plan.locking.relays.get(one)
        if relay is not None and not relay.step_of:
            yield from _slower(relay)


def _hands(plan: Plan, name: str, seen_by: Relay) -> Iterator[tuple[Condition, str]]:
    """That nobody calls for it: the back contacts of its buttons and levers."""
    called = _called(plan, name, seen_by)
    inside_not = {id(fact) for condition in called for part in _parts(condition)
                  if isinstance(part, Not) for fact in facts_in(part)}  # fmt: skip
    for fact in chain.from_iterable(map(facts_in, called)):
        if fact.what.kind in ("button", "lever") and id(fact) not in inside_not:
            yield Not(fact, fact.span), f"not {fact.text}"


def _called(plan: Plan, name: str, seen_by: Relay) -> Sequence[Condition]:
    """What makes a relay pick, or a direction of traffic turn from what one that sees it needs."""
    if name in plan.locking.relays:
        return (plan.locking.relays[name].picks,)
    traffic = plan.locking.traffic.get(name)
    if traffic is None:
        return ()
    needed = {
        value
        for part in _needs(seen_by.picks)
        if isinstance(part, Fact) and part.what == observables.traffic(name)
        for value in part.values
    }
    turns = {"rightward": traffic.rightward, "leftward": traffic.leftward}
    return [condition for way, condition in turns.items() if way not in needed]


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
    """Whether a condition asks for the same already, or for what excludes it."""
    wanted = _meaning(extra)
    if wanted is None or wanted in (_meaning(part) for part in _parts(condition)):
        return wanted is not None
    is_so, what, values = wanted
    needed = (set(n[2]) for n in map(_meaning, _needs(condition)) if n and n[:2] == (True, what))
    return any(some.isdisjoint(values) if is_so else some <= set(values) for some in needed)


def _needs(condition: Condition) -> Iterator[Condition]:
    """What a condition asks for in any case."""
    if isinstance(condition, All):
        for part in condition.parts:
            yield from _needs(part)
    else:
        yield condition


def _meaning(condition: Condition) -> tuple[bool, Observable, tuple[str, ...]] | None:
    match condition:
        case Fact():
            return True, condition.what, condition.values
        case Not(part=Fact() as fact):
            return False, fact.what, fact.values
    return None


def _slower(relay: Relay) -> Iterator[Candidate]:
    """Let it wait for a second: what it sees must last for so long."""
    second = Fraction(1)
    if relay.slow_pick is None:
        yield _slow(replace(relay, slow_pick=second), "slow to pick 1 s")
    if relay.slow_release is None:
        yield _slow(replace(relay, slow_release=second), "slow to release 1 s")


def _slow(relay: Relay, clause: str) -> Candidate:
    text = f"make relay {relay.name} `{clause}`"
    step = Rewiring(text, relay.span, 1, clause, "further clause")
    return Candidate(relay, text, slower=step)


def _with(plan: Plan, changed: Iterable[Relay]) -> Plan:
    relays = {**plan.locking.relays, **{relay.name: relay for relay in changed}}
    return replace(plan, locking=replace(plan.locking, relays=relays))
