"""A history in the trade's words: one line for each event, in a possible order.

In: a plan, what may happen on it, the moments of one history and the obligation that its last
moment breaks (or meets). Out: a :class:`History`, what does not matter left out
(:mod:`verifier.explain.trace_slicing`), and why it was allowed
(:mod:`verifier.explain.trace_causes`).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice

from verifier.engines.temporal.scheduling import Scheduled, scheduled
from verifier.explain.trace_causes import Allowed, why_allowed
from verifier.explain.trace_slicing import HELD, Moment, Tidied, sufficient, tidied, untidied
from verifier.explain.trace_view import (
    TraceView,
    TrainMove,
    acting_span,
    falsely_occupied,
    imagined_at,
    occupied_blocks,
)
from verifier.language.listing import listing
from verifier.language.source import Span
from verifier.logic.expr import Expr, atom, holds, support
from verifier.logic.transition_system import System
from verifier.plan import observables
from verifier.plan.devices import Device
from verifier.plan.locking.locking_model import Throw
from verifier.plan.model import Signal
from verifier.plan.observables import Observable, facts_unfolded
from verifier.plan.situation import Situation
from verifier.plan.wiring.faults import all_ways
from verifier.properties.failures import fault_words, works_again
from verifier.properties.obligation import Obligation
from verifier.verdicts.causes import Cause
from verifier.verdicts.report import History, HistoryEvent
from verifier.world.history import Histories

_COMMANDS = ("lever", "button")


@dataclass(frozen=True, slots=True)
class Narrative:
    """A history with its events in words, and the causes that allowed it."""

    story: History
    causes: tuple[Cause, ...]


def narrative(
    histories: Histories, played: Scheduled, obligation: Obligation, *, calm: bool = False
) -> Narrative:
    """A history and why it was allowed. Inputs that do not matter are reset, so the moments
    differ from those given: replay them before relying on them. ``calm``: no train collides or
    derails in it."""
    bad, system = histories.expand(obligation.formula), histories.system
    if calm:
        system = replace(system, always=(*system.always, *histories.no_mishap()))
    tidy, timed = tidied_in_time(system, bad, played)
    record = TraceView(histories.plan, tidy.moments, tidy.after)
    asked = _asked(histories, tidy.moments[-1], obligation.formula)
    teller = _Teller(record, obligation, asked, tidy.matters, timed.seconds)
    events = list(teller.events())
    possible = obligation.mode == "possible"
    allowed = (
        []
        if possible
        else list(why_allowed(record, obligation, asked, teller.numbers, tidy.matters[-1]))
    )
    if not possible:
        events.append(_hazard(obligation, allowed, record.last))
    return Narrative(
        History(tidy.moments, tuple(events), len(record.origins), timed.seconds),
        tuple(a.cause for a in allowed),
    )


def tidied_in_time(system: System, bad: Expr, played: Scheduled) -> tuple[Tidied, Scheduled]:
    """A history without what does not matter, and its times; as it is, where what does not matter
    for its end does for its times."""
    tidy = tidied(system, bad, played.moments)
    timed = scheduled(system, tidy.moments)
    if timed is not None:
        return tidy, timed
    return untidied(system, bad, played.moments), played


def _asked(histories: Histories, last: Moment, formula: Expr) -> tuple[Observable, ...]:
    """Observables of the formula that suffice to show that it holds at the last moment."""
    states = {
        what: next(
            value for value in what.values if holds(histories.expand(atom(what, value)), last)
        )
        for what in support(formula)
    }
    facts_ = sufficient([formula], states)
    return tuple(what for what in states if what in facts_)


def _hazard(obligation: Obligation, allowed: Sequence[Allowed], moment: int) -> HistoryEvent:
    """The last event: what is wrong, and the rules that allowed it."""
    rules = list(dict.fromkeys(a.rule for a in allowed if a.rule))
    text = obligation.trouble
    if rules:
        text += f": {listing(rules)}"
    return HistoryEvent(moment, text, obligation.spans[0] if obligation.spans else None)


class _Teller:
    """Makes the events of a history; ``numbers`` has the number of each, by moment and subject."""

    def __init__(
        self,
        record: TraceView,
        obligation: Obligation,
        asked: Sequence[Observable],
        matters: Sequence[frozenset[Observable]],
        seconds: Sequence[Fraction],
    ):
        self.record = record
        self.plan = record.plan
        self.numbers: dict[tuple[int, Observable | int], int] = {}
        self._obligation = obligation
        self._matters = matters
        self._seconds = seconds
        self._asked = asked
        self._about = {(w.kind, w.name) for facts_ in matters for w in facts_}
        self._uses = self._signals_used()
        self._signals = tuple(s for n, s in self.plan.signals.items() if n in self._uses)
        self._stands: dict[Observable, str] = {}
        self._told = 0

    def events(self) -> Iterator[HistoryEvent]:
        """Everything that happens, moment by moment, up to the last line."""
        yield from self._start()
        passed = Fraction(0)
        for k in range(self.record.last + 1):
            said: list[_Said] = [
                *self._blips(k), *self._aspects(k, told=False), *self._commands(k),
                *self._aspects(k, told=True),
            ]  # fmt: skip
            if said and passed:
                yield self._time(k, passed)
                passed = Fraction(0)
            yield from (self._numbered(event, what) for event, what in said)
            # What comes of a moment does so at its end.
            passed += self._seconds[k] if self._seconds else 0
            if k == self.record.last:
                moves = [*self._at_the_end(k)]
            else:
                moves = [
                    (replace(event, seen_after=True), what)
                    for event, what in (
                        *self._memory(k), *self._points(k), *self._trains(k), *self._losses(k),
                        *self._breaks(k),
                    )
                ]  # fmt: skip
            if moves and passed:
                yield self._time(k, passed)
                passed = Fraction(0)
            yield from (self._numbered(event, what) for event, what in moves)

    def _numbered(self, event: HistoryEvent, what: Observable | int | None = None) -> HistoryEvent:
        self._told += 1
        if what is not None:
            self.numbers[event.moment, what] = self._told
        return event

    def _start(self) -> Iterator[HistoryEvent]:
        for piece in self.record.where[0]:
            text = f"a train stands on {self.record.title(piece)} at the start"
            yield self._numbered(HistoryEvent(0, text))

    def _time(self, k: int, seconds: Fraction) -> HistoryEvent:
        return self._numbered(HistoryEvent(k, f"{float(seconds):g} s pass"))

    # -------------------------------------------------------------- people

    def _commands(self, k: int) -> Iterator["_Said"]:
        for what in self._inputs(k):
            state = self.record.now(k, what)
            match what.kind:
                case "lever":
                    if state != self._stands.get(what, what.usual):
                        self._stands[what] = state
                        yield HistoryEvent(k, f"operator throws {what.name} {state}"), what
                case "button":
                    before = self.record.now(k - 1, what) if k else what.usual
                    if state == "pressed" and before != "pressed":
                        yield HistoryEvent(k, f"operator presses {what.name}"), what
                case "throw" if state == "yes":
                    yield self._thrown(k, what.name), what
                case _:
                    pass

    def _inputs(self, k: int) -> list[Observable]:
        """What matters of what people do, in the order of the file."""
        kinds = (*HELD, "button", "throw")
        place = {what: i for i, what in enumerate(self.plan.inputs)}
        found = [w for w in self._matters[k] if w.kind in kinds]
        return sorted(found, key=lambda w: (place.get(w, len(place)), w.name))

    def _thrown(self, k: int, name: str) -> HistoryEvent:
        throw, device = self.plan.locking.throws.get(name), self.record.devices[name]
        by_hand = " by hand" if throw is not None and throw.by == "hand" else ""
        other = device.other(self.record.now(k, device.told))
        what = name if device.has_points else device.title
        text = f"somebody throws {what} {other}{by_hand}"
        if device.kind == "gate":
            text = f"somebody {'opens' if other == 'open' else 'closes'} {what}{by_hand}"
        return HistoryEvent(k, text, _span_of(throw))

    # -------------------------------------------------------------- signals

    def _signals_used(self) -> Mapping[str, frozenset[int]]:
        """The moments at which it matters what signals show: a train passes one, relevant memory or
        points change that read it, the obligation is about it."""
        uses: dict[str, set[int]] = {}
        ends = (*self._obligation.signals, *(w.name for w in self._asked if w.kind == "reading"))
        for name in ends:
            uses.setdefault(name, set()).add(self.record.last)
        for k, steps in enumerate(self.record.went):
            for went in steps:
                if went.under:
                    uses.setdefault(went.under, set()).update(self._seen_at(k, went))
        for what, conditions in self._conditions():
            named = facts_unfolded(conditions, lambda n: self.plan.conditions[n].condition)
            read = {says.what.name for says in named if says.what.kind == "aspect"}
            for name in read:
                at = (k for k in range(self.record.last + 1) if self._changes(k, what))
                uses.setdefault(name, set()).update(at)
        return {name: frozenset(moments) for name, moments in uses.items()}

    def _seen_at(self, k: int, went: TrainMove) -> Iterator[int]:
        """When the train that passes a signal at ``k`` sees what matters: then, and if it is too
        late to stop, when the signal was last clear."""
        yield k
        if went.under and self.record.is_too_late(k, went):
            signal = self.plan.signals[went.under]
            clear = (j for j in range(k, -1, -1) if self.record.clears(j, signal))
            yield from islice(clear, 1)

    def _changes(self, k: int, what: Observable) -> bool:
        return self.record.then(k, what) != self.record.now(k, what)

    def _conditions(self) -> Iterator[tuple[Observable, list[observables.Condition]]]:
        """What is relevant of memory and of what is thrown, with the conditions that it reads."""
        locking = self.plan.locking
        for kind, name in sorted(self._about):
            if kind == "relay":
                relay = locking.relays[name]
                yield observables.relay(name), [c for c in (relay.picks, relay.sticks) if c]
            elif kind == "timer":
                yield observables.timer(name), [locking.timers[name].runs]
            elif kind == "traffic":
                traffic = locking.traffic[name]
                locks = [traffic.locked] if traffic.locked else []
                yield observables.traffic(name), [traffic.rightward, traffic.leftward, *locks]
            elif kind in ("points", "derail", "gate") and name in locking.throws:
                throw, told = locking.throws[name], self.record.devices[name].told
                yield told, [c for c in (throw.locked, throw.away_when) if c]

    def _is_used(self, k: int, signal: Signal) -> bool:
        """Whether it matters what a signal shows from ``k`` on, before it shows something else."""
        shows = self.record.aspect(k, signal)
        for j in range(k, self.record.last + 1):
            if self.record.aspect(j, signal) != shows:
                return False
            if j in self._uses[signal.name]:
                return True
        return False

    def _aspects(self, k: int, *, told: bool) -> Iterator["_Said"]:
        """Signals that change: because of what people do now (``told``), or without it."""
        record = self.record
        for signal in self._signals:
            now = record.aspect(k, signal)
            without = self._without_commands(k, signal)
            before = record.aspect(k - 1, signal) if k else without
            if (without != now) != told or not self._is_used(k, signal):
                continue
            span = acting_span(record, k, signal)
            if before != now:
                verb = _change(before in record.clearing, now in record.clearing)
                yield HistoryEvent(k, f"{signal.name} {verb} {now}", span), signal.aspect
            elif k == 0 and now in record.permitting:
                event = HistoryEvent(k, f"{signal.name} shows {now} from the start", span)
                yield event, signal.aspect

    def _without_commands(self, k: int, signal: Signal) -> str:
        """What it would show had people done nothing since the previous moment."""
        earlier = self.record.situation(k - 1) if k else Situation.of(())
        kept = [(w, s) for w, s in self.record.situation(k) if w.kind not in _COMMANDS]
        kept += [(w, s) for w, s in earlier if w.kind in _COMMANDS]
        situation = Situation.of(kept)
        if situation == self.record.situation(k):
            return self.record.aspect(k, signal)
        return self.record.evaluator.states(situation, [signal.reading])[signal.reading]

    # -------------------------------------------------------------- memory and points

    def _losses(self, k: int) -> Iterator["_Said"]:
        for what, state in self.record.moments[k].items():
            if what.kind == "lost":
                was, will = state != "no", self.record.then(k, what) != "no"
                if will and not was:
                    yield HistoryEvent(k, f"the train on {what.name} is no longer detected"), what
                elif was and not will:
                    yield HistoryEvent(k, f"the train on {what.name} is detected again"), what

    def _blips(self, k: int) -> Iterator["_Said"]:
        moment, before = self.record.moments[k], self.record.moments[k - 1]
        on = occupied_blocks(self.plan, moment)
        still = (*on, *falsely_occupied(self.plan, moment))
        for name in falsely_occupied(self.plan, before) if k else ():
            if name not in still:
                text = f"{name} is reported clear again"
                yield HistoryEvent(k, text, self.plan.blocks[name].span), observables.blip_lasts
        for name in imagined_at(self.plan, moment):
            span, held = self.plan.blocks[name].span, observables.window("held", name)
            if name in on:
                continue
            if moment.get(held) != "yes":
                if name not in (falsely_occupied(self.plan, before) if k else ()):
                    text = f"{name} is reported occupied, though nothing stands there"
                    yield HistoryEvent(k, text, span), observables.blip_lasts
            elif k and name in occupied_blocks(self.plan, before):
                text = f"{name} is still reported occupied, though its train has left"
                yield HistoryEvent(k, text, span), held

    def _breaks(self, k: int) -> Iterator["_Said"]:
        for what in self.record.moments[k]:
            if what.kind != "broken" or (label := self.record.then(k, what)) == observables.NOTHING:
                continue
            fault, way = all_ways(self.plan.equipment.faults)[label]
            broken = self.plan.equipment.fault_of(fault)
            acts = [self.record.now(j, observables.works) == "no" for j in range(k + 1)]
            acted = [a for j, a in enumerate(acts) if self.record.now(j, what) == label]
            was, will = acted[-1:] == [True], self.record.then(k, observables.works) == "no"
            if will and not was:
                text = f"{fault_words(broken, way)}{' again' if True in acted else ''}"
                yield HistoryEvent(k, text, broken.span), what
            elif was and not will:
                yield HistoryEvent(k, works_again(broken), broken.span), what

    def _memory(self, k: int, only: Sequence[str] | None = None) -> Iterator["_Said"]:
        locking = self.plan.locking
        for what in self._memories():
            will = self.record.then(k, what)
            if will == self.record.now(k, what) or (only is not None and what.name not in only):
                continue
            if only is None and not (self._matters_next(k, what) or self._is_seen(k, what.name)):
                continue
            match what.kind:
                case "relay":
                    verb = "picks" if will == "up" else "drops"
                    text, span = f"relay {what.name} {verb}", locking.relays[what.name].span
                case "timer":
                    verb = {"running": "starts", "done": "is done", "idle": "is reset"}[will]
                    text, span = f"timer {what.name} {verb}", locking.timers[what.name].span
                case _:
                    text = f"the direction of traffic {what.name} turns {will}"
                    span = locking.traffic[what.name].span
            yield HistoryEvent(k, text + self._race(k, what), span), what

    def _is_seen(self, k: int, name: str) -> bool:
        """Whether what else matters acts in the same step on what one has just come to."""
        return any(
            name in self.record.seen_after(k, what.name)
            for what in self._memories()
            if self._changes(k, what) and self._matters_next(k, what)
        )

    def _race(self, k: int, what: Observable) -> str:
        """That a relay moves as another does, which it still sees as it was."""
        seen = self.record.seen_before(k, what.name)
        still: dict[str, list[str]] = {}
        for other in self._memories():
            if other.name in seen:
                still.setdefault(self.record.now(k, other), []).append(other.name)
        if not still:
            return ""
        each = [f"{listing(names, 'and')} still {state}" for state, names in still.items()]
        return f" while it sees {listing(each, 'and')}"

    def _matters_next(self, k: int, what: Observable) -> bool:
        """Whether it matters what something is after ``k``, before it is something else."""
        state = self.record.then(k, what)
        for j in range(k + 1, self.record.last + 1):
            if self.record.now(j, what) != state:
                return False
            if what in self._matters[j] or (j == self.record.last and what in self._asked):
                return True
        return False

    def _memories(self) -> Iterator[Observable]:
        """Relevant relays, timers and directions of traffic, in the order in which they act."""
        locking = self.plan.locking
        for name in locking.memory:
            if name in locking.relays:
                what = observables.relay(name)
            elif name in locking.timers:
                what = observables.timer(name)
            else:
                what = observables.traffic(name)
            if (what.kind, name) in self._about or what in self._asked:
                yield what

    def _points(self, k: int, only: Sequence[str] | None = None) -> Iterator["_Said"]:
        for name, device in self.record.devices.items():
            if device.pipe is not None:
                continue
            about = self._about.intersection(((device.lies.kind, name), ("thrown", name)))
            places = (*self._obligation.pieces, *self._obligation.subjects)
            if not about and name not in places:
                continue
            if only is not None and not self._moves_one_of(device, only):
                continue
            text = self._moving_text(k, device)
            if text:
                throw = self.plan.locking.throws.get(name)
                yield HistoryEvent(k, text, _span_of(throw)), device.lies

    def _moves_one_of(self, device: Device, names: Sequence[str]) -> bool:
        """Whether it is one of these, or one of them is pipe-connected to it."""
        known = self.record.devices
        piped = {d.pipe.points for n in names if (d := known.get(n)) and d.pipe}
        return device.name in names or device.name in piped

    def _moving_text(self, k: int, device: Device) -> str:
        now, will = self.record.now(k, device.lies), self.record.then(k, device.lies)
        told = self.record.then(k, device.told)
        turned = told != self.record.now(k, device.told)
        if device.kind == "gate":
            return _gate_text(device, now, will, closes=turned and told == "seated")
        name = device.name if device.has_points else device.title
        if now == will == "open":
            return f"{name} turns back toward {told}" if turned else ""
        if now == will:
            return ""
        if now == "open":
            return f"{name} now lies {will}"
        if will == "open":
            return f"{name} begins to move toward {told}"
        return f"{name} goes over to {will}"

    # -------------------------------------------------------------- trains

    def _trains(self, k: int) -> Iterator["_Said"]:
        for went in self.record.went[k]:
            yield self._went(k, went), went.train

    def _went(self, k: int, went: TrainMove) -> HistoryEvent:
        record = self.record
        name = record.name(went.train)
        onto = record.title(went.onto.piece) if went.onto else ""
        off = record.title(went.off.piece) if went.off else ""
        stands = self._blocked(k, went)
        match went.move:
            case "turns":
                text = f"{name} turns back on {onto}"
            case "enters":
                newcomer = record.newcomer(went.train)
                past = f" past {went.under}{self._seen(k, went)}" if went.under else ""
                text = f"{newcomer} comes in at {off}{past}, onto {onto}{stands}"
            case "out":
                text = f"the front of {name} goes out at {onto}"
            case "tail in":
                text = f"the tail of {name} comes in at {off}"
            case "tail" if went.off and self._is_edge(went):
                text = f"{name} has left"
            case "tail":
                text = f"the tail of {name} leaves {off}"
            case _ if went.under:
                text = f"the front of {name} passes {went.under}{self._seen(k, went)}"
                text += f" and comes onto {onto}{stands}"
            case _:
                text = f"the front of {name} comes onto {onto}{stands}"
        span = self.plan.signals[went.under].span if went.under else None
        return HistoryEvent(k, text, span)

    def _blocked(self, k: int, went: TrainMove) -> str:
        """That the track which the train enters is not free."""
        if not went.blocked or went.onto is None:
            return ""
        stands = self.record.is_occupied(k, went.onto.piece)
        return ", where a train stands" if stands else " as another train does"

    def _is_edge(self, went: TrainMove) -> bool:
        """Whether a tail goes out at an edge."""
        assert went.off is not None
        beyond = self.plan.track.joint_at[went.off].other(went.off)
        return self.plan.track.pieces[beyond.piece].kind == "edge"

    def _seen(self, k: int, went: TrainMove) -> str:
        if self.record.is_too_late(k, went):
            return ", too late to stop,"
        stops = went.under and not self.record.clears(k, self.plan.signals[went.under])
        return ", after a stop," if stops else ""

    # -------------------------------------------------------------- the end

    def _at_the_end(self, k: int) -> Iterator["_Said"]:
        """Events of the last step that the obligation is about."""
        events = [what for what in self._asked if what.kind in _TOLD_AT_THE_END]
        moving = [w.name for w in events if w.kind in ("points move", "train derails")]
        yield from self._memory(k, [w.name for w in events if w.kind == "traffic turns"])
        yield from self._points(k, moving)
        met = {w.name for w in events if w.kind == "trains meet"}
        derailed = {w.name for w in events if w.kind == "train derails"}
        for went in self.record.went[k]:
            onto = went.onto.piece if went.onto and went.move in ("front", "enters") else ""
            if onto in derailed or (went.blocked and onto in met):
                yield self._went(k, went), went.train


_TOLD_AT_THE_END = ("points move", "trains meet", "train derails", "traffic turns")
# An event, and what it tells of; of a train, which.
_Said = tuple[HistoryEvent, Observable | int]


def _gate_text(gate: Device, now: str, will: str, *, closes: bool) -> str:
    if now == will:
        return f"{gate.title} begins to close" if closes and now == "open" else ""
    return f"{gate.title} opens" if will == "open" else f"{gate.title} is seated"


def _change(cleared: bool, clears: bool) -> str:
    if clears:
        return "changes to" if cleared else "clears to"
    return "drops to" if cleared else "changes to"


def _span_of(throw: Throw | None) -> Span | None:
    return None if throw is None else throw.span
