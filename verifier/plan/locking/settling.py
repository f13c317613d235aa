"""Which relays, timers and directions of traffic surely come to rest, whatever acts first.

In: a plan. Out: those that move so many times at most while people, trains, machines and delays do
nothing. No time passes before they have moved (:mod:`verifier.world.memory`,
:mod:`verifier.reference.acting`). Left out are those that may go on forever, such as a relay that
picks when it is down, and all that read them: they may take time.

Those that read one another in a circle are gone through, state by state: whatever is so outside of
it, no moves, one at a time or several at once, lead back to where they began.
"""

from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import product

from verifier.plan import observables
from verifier.plan.locking.locking_model import conditions_of
from verifier.plan.model import Plan
from verifier.plan.observables import (
    All,
    AnyOne,
    Condition,
    Fact,
    Not,
    Observable,
    conditions_in,
    facts_unfolded,
)
from verifier.plan.signals.heads import signal_of

_MEMORY = ("relay", "timer", "traffic", "points report", "derail report", "gate report")
_SHOWN = ("aspect", "color")
# A circle that has more states, reads more, or takes longer is taken to go on forever.
MOST_STATES = 300
MOST_NAMED = 30
MOST_TRIED = 40_000

State = Mapping[Observable, str]


def settling(plan: Plan) -> frozenset[str]:
    """The names of those that surely come to rest."""
    locking = plan.locking
    reads = {name: _read_by(plan, conditions_of(name, locking)) for name in locking.memory}
    beyond = {name: _closure(name, reads) for name in locking.memory}
    # What moves at once by a rule may do so forever.
    restless = {n for n, throw in locking.throws.items() if throw.snap and throw.by == "rule"}
    gone_through: dict[frozenset[str], bool] = {}
    for name in locking.memory:
        circle = frozenset(other for other in beyond[name] if name in beyond.get(other, ()))
        if circle and circle not in gone_through:
            gone_through[circle] = _comes_to_rest(plan, circle)
        if circle and not gone_through[circle]:
            restless.add(name)
    return frozenset(
        name for name in locking.memory
        if name not in restless and restless.isdisjoint(beyond[name])
    )  # fmt: skip


def _closure(start: str, reads: Mapping[str, frozenset[str]]) -> frozenset[str]:
    """All that one reads, directly or through others; itself where in a circle."""
    found: set[str] = set()
    waiting = [start]
    while waiting:
        new = reads.get(waiting.pop(), frozenset()) - found
        found |= new
        waiting += new
    return frozenset(found)


def _read_by(plan: Plan, conditions: Iterable[Condition]) -> frozenset[str]:
    """What acts and is read by some conditions, by signals too."""
    facts = facts_unfolded(conditions, lambda name: plan.conditions[name].condition)
    return frozenset(name for fact in facts for name in _movers(plan, fact.what))


def _movers(plan: Plan, what: Observable) -> Iterator[str]:
    """What acts when something changes; of what a signal shows, all that its rules read."""
    waiting, passed = [what], set[str]()
    while waiting:
        read = waiting.pop()
        if read.kind in _MEMORY:
            derail = plan.derails.get(read.name) if read.kind == "derail report" else None
            yield derail.pipe.points if derail and derail.pipe else read.name
        elif read.kind in _SHOWN:
            signal = signal_of(read.name, plan.signals)
            if signal not in passed:
                passed.add(signal)
                waiting += [fact.what for fact in plan.facts_read(plan.signals[signal])]


# ------------------------------------------------------------------ circles


# Of circles gone through, the answers, by all that they can depend on: each replay and each edit
# asks again. So many are kept; those asked for first go first.
MOST_KEPT = 500
_known: dict[Hashable, bool] = {}


def _comes_to_rest(plan: Plan, names: frozenset[str]) -> bool:
    """Whether the moves of some that read one another come to an end."""
    question = names, _said(plan)
    found = _known.get(question)
    if found is None:
        found = _known[question] = _Circle(plan, names).comes_to_rest()
        while len(_known) > MOST_KEPT:
            del _known[next(iter(_known))]
    return found


def _said(plan: Plan) -> Hashable:
    """All that memory and signals go by, without the places where the file says it."""
    locking = plan.locking
    return (
        tuple(
            (r.name, _shape(r.picks), _shape(r.sticks), r.slow_pick, r.slow_release)
            for r in locking.relays.values()
        ),
        tuple((t.name, t.seconds, _shape(t.runs)) for t in locking.timers.values()),
        tuple(
            (w.name, _shape(w.rightward), _shape(w.leftward), _shape(w.locked))
            for w in locking.traffic.values()
        ),
        tuple((name, _shape(c.condition)) for name, c in plan.conditions.items()),
        tuple(
            (s.name, s.aspect, tuple((n.shows, _shape(n.when)) for n in s.lines),
             tuple((n.shows, _shape(n.when)) for head in s.heads for n in head.lines))
            for s in plan.signals.values()
        ),
        tuple((d.name, d.pipe.points if d.pipe else None) for d in plan.derails.values()),
        tuple(locking.memory),
    )  # fmt: skip


def _shape(condition: Condition | None) -> Hashable:
    """A condition without the places where the file says it."""
    match condition:
        case None:
            return None
        case Fact(what=what, values=values):
            return what, values
        case Not(part=part):
            return "not", _shape(part)
        case All(parts=parts):
            return "all", tuple(map(_shape, parts))
        case AnyOne(parts=parts):
            return "any", tuple(map(_shape, parts))


class _Open(Exception):
    """Something outside of a circle is read, and its state is not given yet."""

    def __init__(self, what: Observable):
        self.what = what


class _TooMuch(Exception):
    """It takes too long, or is not worked out here."""


@dataclass(slots=True)
class _Read:
    """What is read next to find out where one comes to; then, by its state, what is after that: a
    further one, or where it comes to."""

    what: Observable
    then: "dict[str, _Read | str]" = field(default_factory=dict)


class _Circle:
    """Some that read one another. All else may be so or so, and stays."""

    def __init__(self, plan: Plan, names: frozenset[str]):
        self._plan = plan
        self._names = tuple(name for name in plan.locking.memory if name in names)
        self._what = {name: self._memory(name) for name in self._names}
        self._left = MOST_TRIED
        # By what moves and its state: what it was found to come to, by what was read for it.
        self._known: dict[tuple[str, str], _Read | str] = {}
        self._reads: list[Observable] = []

    def comes_to_rest(self) -> bool:
        """Whether its moves come to an end; no, where that takes too long to find out."""
        number = 1
        for what in self._what.values():
            number *= len(what.values)
        if number > MOST_STATES or self._names_too_much():
            return False
        try:
            return self._rests_given({})
        except _TooMuch:
            return False

    def _memory(self, name: str) -> Observable:
        if name in self._plan.locking.relays:
            return observables.relay(name)
        if name in self._plan.locking.timers:
            return observables.timer(name)
        return observables.traffic(name)

    def _names_too_much(self) -> bool:
        """Whether named conditions are chained too long to look into them one in another."""
        conditions = [s.when for signal in self._plan.signals.values() for s in signal.lines]
        waiting = [c for c in conditions if c is not None]
        waiting += [c for name in self._names for c in conditions_of(name, self._plan.locking)]
        named: set[str] = set()
        while waiting:
            for name in conditions_in(waiting.pop()):
                if name not in named:
                    named.add(name)
                    waiting.append(self._plan.conditions[name].condition)
        return len(named) > MOST_NAMED

    def _rests_given(self, outside: State) -> bool:
        try:
            return not self._goes_round(outside)
        except _Open as open_:
            what = open_.what
        return all(self._rests_given({**outside, what: value}) for value in what.values)

    def _goes_round(self, outside: State) -> bool:
        """Whether some moves lead back to where they began."""
        after: dict[tuple[str, ...], set[tuple[str, ...]]] = {}
        for state in product(*(what.values for what in self._what.values())):
            self._left -= 1
            if self._left < 0:
                raise _TooMuch
            states = {**outside, **dict(zip(self._what.values(), state, strict=True))}
            ways = [
                {now, self._moved(name, now, states)}
                for name, now in zip(self._names, state, strict=True)
            ]
            after[state] = {*product(*ways)} - {state}
        # Take away what leads nowhere, until nothing is left or all that is goes on.
        while True:
            ends = {state for state, then in after.items() if then.isdisjoint(after)}
            if not ends:
                return bool(after)
            after = {state: then for state, then in after.items() if state not in ends}

    def _moved(self, name: str, now: str, states: State) -> str:
        """What one comes to at once: as it was found before, where all that was read then is so
        again."""
        known = self._known.get((name, now))
        while isinstance(known, _Read):
            if known.what not in states:
                raise _Open(known.what)
            known = known.then.get(states[known.what])
        if known is None:
            self._reads = []
            known = self._found(name, now, states)
            self._note((name, now), dict.fromkeys(self._reads), states, known)
        return known

    def _note(
        self, key: tuple[str, str], reads: Iterable[Observable], states: State, found: str
    ) -> None:
        """Keep what one was found to come to when these were read, in this order."""
        before: _Read | None = None
        at = self._known.get(key)
        value = ""
        for what in reads:
            if at is None:
                at = _Read(what)
                if before is None:
                    self._known[key] = at
                else:
                    before.then[value] = at
            assert isinstance(at, _Read) and at.what == what, "what is read next depends on those"
            before, value = at, states[what]
            at = at.then.get(value)
        if before is None:
            self._known[key] = found
        else:
            before.then[value] = found

    def _found(self, name: str, now: str, states: State) -> str:
        locking = self._plan.locking

        def holds(condition: Condition | None) -> bool:
            return condition is not None and self._holds(condition, states, ())

        if name in locking.relays:
            relay = locking.relays[name]
            wants = holds(relay.picks) or (now == "up" and holds(relay.sticks))
            slow = relay.slow_pick if wants else relay.slow_release
            return now if slow else "up" if wants else "down"
        if name in locking.timers:
            timer = locking.timers[name]
            if not holds(timer.runs):
                return "idle"
            over = now == "running" and not timer.seconds
            return "done" if over else "running" if now == "idle" else now
        way = locking.traffic[name]
        right, left = holds(way.rightward), holds(way.leftward)
        if right == left or holds(way.locked):
            return now
        return "rightward" if right else "leftward"

    def _holds(self, condition: Condition, states: State, within: tuple[str, ...]) -> bool:
        """``within``: the signals that are looked into."""
        match condition:
            case Fact(what=what, values=values):
                return self._state(what, states, within) in values
            case Not(part=part):
                return not self._holds(part, states, within)
            case All(parts=parts):
                return all(self._holds(part, states, within) for part in parts)
            case AnyOne(parts=parts):
                return any(self._holds(part, states, within) for part in parts)

    def _state(self, what: Observable, states: State, within: tuple[str, ...]) -> str:
        if what in states:
            self._reads.append(what)
            return states[what]
        if what.kind == "condition":
            named = self._plan.conditions[what.name].condition
            return "true" if self._holds(named, states, within) else "false"
        if set(self._names).isdisjoint(_movers(self._plan, what)):
            raise _Open(what)
        signal = self._plan.signals[signal_of(what.name, self._plan.signals)]
        if what != signal.aspect or signal.name in within or signal.by_head:
            raise _TooMuch
        deeper = (*within, signal.name)
        shown = (
            n.shows for n in signal.lines if n.when is None or self._holds(n.when, states, deeper)
        )
        return next(shown)
