"""A history looked at moment by moment: what signals showed, where each train was, what moved.

In: the running plan (:func:`verifier.plan.locking.temporal_plan.running_plan`) and the states and
choices of each moment. Out: situations, aspects, and the moves of trains, each train with a name.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from verifier.language.source import Span
from verifier.plan import observables
from verifier.plan.devices import derails_at, devices, signaled_entries
from verifier.plan.locking.false_reports import blips
from verifier.plan.model import Joint, Line, Plan, Port, Signal
from verifier.plan.observables import Condition, Observable
from verifier.plan.situation import Situation
from verifier.plan.track.routes import entered_under_signal
from verifier.plan.wiring.faults import all_ways
from verifier.reference.evaluator import Evaluator
from verifier.reference.places import Places
from verifier.reference.sights import in_some_order, sights_of

Moment = Mapping[Observable, str]
Move = Literal["turns", "enters", "front", "out", "tail", "tail in"]

ENDS = ("edge", "bumper")
_GIVEN = (
    "points", "thrown", "lever", "button", "derail", "gate", "relay", "timer", "traffic", "current",
    "share",
)  # fmt: skip
_NUMBERED = ("first", "second", "third", "fourth", "fifth", "sixth")


@dataclass(frozen=True, slots=True)
class TrainMove:
    """One move of a train at one step. ``onto``: the end by which its front comes onto a piece,
    ``under`` the signal it passes there; ``off``: the end by which front or tail leaves one.
    ``blocked``: the piece is not free, so that trains meet there."""

    move: Move
    train: int
    onto: Port | None = None
    off: Port | None = None
    under: str | None = None
    blocked: bool = False


class TraceView:
    """``after`` is what follows the last moment."""

    def __init__(self, plan: Plan, moments: Sequence[Moment], after: Moment):
        self.plan = plan
        self.moments = tuple(moments)
        self.evaluator = Evaluator(plan)
        self.permitting = {a.name for a in plan.chart.aspects if a.permits}
        self.clearing = {a.name for a in plan.chart.aspects if a.clears}
        self._following = (*self.moments[1:], after)
        self._facing = entered_under_signal(
            {s.name: (s.enters, s.span) for s in plan.signals.values()}
        )
        self.devices = devices(plan)
        self._signaled, self._derails = signaled_entries(plan), derails_at(plan)
        self._pieces = {n: p for n, p in plan.track.pieces.items() if p.kind not in ENDS}
        self._shown: list[dict[str, str]] = [{} for _ in self.moments]
        self._situations: dict[int, Situation] = {}
        # By train: the edge or the track it comes from, and whether it came in by an edge.
        acting = (*plan.locking.memory, *devices(plan))
        self._sights = tuple(sights_of(plan, acting)) if plan.locking.building.of_relays else ()
        self.origins: list[str] = []
        # By moment: which train is on each occupied piece.
        self.where: list[dict[str, int]] = [self._at_start()]
        self.went: list[tuple[TrainMove, ...]] = []
        for k in range(len(self.moments)):
            self.went.append(tuple(self._moves(k)))

    @property
    def last(self) -> int:
        return len(self.moments) - 1

    # -------------------------------------------------------------- states

    def now(self, k: int, what: Observable) -> str:
        return self.moments[k].get(what, what.usual)

    def then(self, k: int, what: Observable) -> str:
        """The state one moment later."""
        return self._following[k].get(what, what.usual)

    def chosen(self, k: int, kind: observables.Choice, name: str) -> bool:
        return self.now(k, observables.choice(kind, name)) == "yes"

    def seen_after(self, k: int, reader: str) -> frozenset[str]:
        """Of what acts at a moment, what one sees after it has acted."""
        chosen = [s for s in self._sights if self.now(k, s.choice) == "yes"]
        seen = in_some_order(chosen, self._sights, self.plan.locking.building.orders)
        return frozenset(s.read for s in seen if s.reader == reader and not s.by_signals)

    def seen_before(self, k: int, reader: str) -> tuple[str, ...]:
        """Of the memory that changes at a moment as one that reads it does, what that one still
        sees as it was: the two race."""
        seen = self.seen_after(k, reader)
        read = dict.fromkeys(s.read for s in self._sights if s.reader == reader)
        return tuple(name for name in read if name not in seen and self._changes(k, name))

    def _changes(self, k: int, name: str) -> bool:
        locking = self.plan.locking
        kinds = (
            (locking.relays, observables.relay),
            (locking.timers, observables.timer),
            (locking.traffic, observables.traffic),
        )
        what = next((made(name) for names, made in kinds if name in names), None)
        return what is not None and self.now(k, what) != self.then(k, what)

    def is_occupied(self, k: int, piece: str) -> bool:
        return self.now(k, observables.train(piece)) == "occupied"

    def heading(self, k: int, piece: str) -> str:
        return self.now(k, observables.heading(piece, self._pieces[piece].ends))

    def situation(self, k: int) -> Situation:
        """A moment as the rules see it."""
        if k not in self._situations:
            self._situations[k] = situation_of(self.plan, self.moments[k])
        return self._situations[k]

    def where_at(self, k: int) -> tuple[str, ...]:
        """The pieces that are occupied at a moment."""
        return tuple(piece for piece in self._pieces if self.is_occupied(k, piece))

    def unseen(self, k: int) -> tuple[str, ...]:
        """The blocks on which detection has lost a train."""
        return tuple(w.name for w, s in self.moments[k].items() if w.kind == "lost" and s != "no")

    def aspect(self, k: int, signal: Signal) -> str:
        shown = self._shown[k]
        if signal.name not in shown:
            states = self.evaluator.states(self.situation(k), [signal.reading])
            shown[signal.name] = states[signal.reading]
        return shown[signal.name]

    def permits(self, k: int, signal: Signal) -> bool:
        """Whether the signal lets trains pass, be it after a stop."""
        return self.aspect(k, signal) in self.permitting

    def clears(self, k: int, signal: Signal) -> bool:
        """Whether the signal lets trains pass without a stop."""
        return self.aspect(k, signal) in self.clearing

    def is_too_late(self, k: int, went: TrainMove) -> bool:
        """Whether a train that passes a signal could not stop before it any more."""
        if went.under is None or self.clears(k, self.plan.signals[went.under]):
            return False
        slow = went.off and self.now(k, observables.pace(went.off.piece)) == "restricted"
        return self.is_late(k, went.under) and not slow

    def holds(self, k: int, condition: Condition) -> bool:
        return self.evaluator.allows(self.situation(k), condition)

    # -------------------------------------------------------------- trains

    def name(self, train: int) -> str:
        """``the train``, ``the train from Quarry``, ``the second train from Quarry``."""
        if len(self.origins) == 1:
            return "the train"
        origin = self.origins[train]
        if self.origins.count(origin) == 1:
            return f"the train from {origin}"
        number = self.origins[: train + 1].count(origin)
        return f"the {_numbered(number)} train from {origin}"

    def newcomer(self, train: int) -> str:
        """How a train is spoken of when it first appears."""
        earlier = Counter(self.origins[:train])
        if earlier[self.origins[train]]:
            return f"a {_numbered(earlier[self.origins[train]] + 1)} train"
        return "another train" if train else "a train"

    def title(self, piece: str) -> str:
        return self.plan.track.pieces[piece].title

    def _at_start(self) -> dict[str, int]:
        here = {}
        for piece in self.where_at(0):
            here[piece] = len(self.origins)
            self.origins.append(self.title(piece))
        return here

    def _moves(self, k: int) -> Iterator[TrainMove]:
        """What trains do from one moment to the next."""
        here = self.where[k]
        there: dict[str, int] = {}
        yield from self._turns(k, here)
        for piece in self._pieces:
            if self.then(k, observables.train(piece)) != "occupied":
                continue
            if piece in here:
                there[piece] = here[piece]
                continue
            by = Port(piece, self.then(k, observables.heading(piece, self._pieces[piece].ends)))
            front = self._front(k, self.plan.track.joint_at[by].other(by), by, here)
            there[piece] = front.train
            yield front
        if k == self.last:
            yield from self._meetings(k, here)
        yield from self._over_ends(k, here)
        for piece, train in here.items():
            if piece not in there:
                yield TrainMove("tail", train, off=self._left_by(k, piece))
        self.where.append(there)

    def _turns(self, k: int, here: Mapping[str, int]) -> Iterator[TrainMove]:
        turned: dict[int, str] = {}
        for piece, train in here.items():
            heading = observables.heading(piece, self._pieces[piece].ends)
            stays = self.then(k, observables.train(piece)) == "occupied"
            if stays and self.then(k, heading) != self.now(k, heading):
                turned.setdefault(train, piece)
        for train, piece in turned.items():
            yield TrainMove("turns", train, onto=Port(piece, self.heading(k, piece)))

    def _front(self, k: int, frm: Port, onto: Port, here: Mapping[str, int]) -> TrainMove:
        if self.plan.track.pieces[frm.piece].kind == "edge":
            self.origins.append(frm.piece)
            return TrainMove("enters", len(self.origins) - 1, onto, frm, self._facing.get(onto))
        return TrainMove("front", here[frm.piece], onto, frm, self._facing.get(onto))

    def _meetings(self, k: int, here: Mapping[str, int]) -> Iterator[TrainMove]:
        """Fronts that come onto track where a train is, or onto which another comes."""
        fronts: dict[str, list[tuple[Port, Port]]] = {}
        for joint in self.plan.track.joints:
            for frm, onto in ((joint.a, joint.b), (joint.b, joint.a)):
                if onto.piece in self._pieces and self._comes(k, joint, frm, onto):
                    fronts.setdefault(onto.piece, []).append((frm, onto))
        for piece, coming in fronts.items():
            if piece in here or len(coming) > 1:
                for frm, onto in coming:
                    went = self._front(k, frm, onto, here)
                    yield TrainMove(went.move, went.train, onto, frm, went.under, blocked=True)

    def _comes(self, k: int, joint: Joint, frm: Port, onto: Port) -> bool:
        """Whether a front would come over a joint."""
        name = joint.name
        if self.now(k, observables.across(name)) != "free":
            return False
        if self.plan.track.pieces[frm.piece].kind == "edge":
            own = self.plan.locking.running.entering.get(frm.piece)
            lets_in = not self.is_occupied(k, onto.piece) if own is None else self.holds(k, own)
            return self.chosen(k, "entry", frm.piece) and lets_in
        if frm.piece not in self._pieces or not self.is_occupied(k, frm.piece):
            return False
        heading = observables.heading(frm.piece, self._pieces[frm.piece].ends)
        if not self.chosen(k, "advance", name) or self.then(k, heading) != self.now(k, heading):
            return False
        return (
            self._leaves(k, frm)
            and self._is_let(k, frm, onto)
            and not self._is_held_at_derail(k, joint, onto)
        )

    def _is_held_at_derail(self, k: int, joint: Joint, onto: Port) -> bool:
        """Whether a train with no signal to go by stops short of a derail."""
        here = () if onto in self._signaled else self._derails.get(joint, ())
        return any(self.lies(k, name) != "non-derailing" for name in here)

    def lies(self, k: int, name: str) -> str:
        """How something that moves lies at a moment."""
        device = self.devices[name]
        if device.pipe is None:
            return self.now(k, device.lies)
        return device.pipe.derail_for(self.lies(k, device.pipe.points))

    def _leaves(self, k: int, by: Port) -> bool:
        lies = self.now(k, observables.points(by.piece))
        ways = self.plan.track.onward.get(Port(by.piece, self.heading(k, by.piece)), ())
        return any(way.move.leave == by.end and way.move.position in (None, lies) for way in ways)

    def _is_let(self, k: int, frm: Port, onto: Port) -> bool:
        signal = self._facing.get(onto)
        if signal is None or self.permits(k, self.plan.signals[signal]):
            return True
        at_restricted_speed = self.now(k, observables.pace(frm.piece)) == "restricted"
        return self.is_late(k, signal) and not at_restricted_speed

    def is_late(self, k: int, signal: str) -> bool:
        """Whether a train that saw it clear may still pass the signal."""
        return any(
            w.kind == "late" and w.name == signal and state != "no"
            for w, state in self.moments[k].items()
        )

    def _over_ends(self, k: int, here: Mapping[str, int]) -> Iterator[TrainMove]:
        """Fronts that go out at an edge, and tails that come in from one."""
        for joint in self.plan.track.joints:
            for edge, port in ((joint.a, joint.b), (joint.b, joint.a)):
                if self.plan.track.pieces[edge.piece].kind != "edge" or port.piece not in here:
                    continue
                across = observables.across(joint.name)
                was, is_now = self.now(k, across), self.then(k, across)
                if was == "free" and is_now == "spanned":
                    yield TrainMove("out", here[port.piece], edge, port)
                elif (
                    was == "spanned"
                    and is_now == "free"
                    and (self.then(k, observables.train(port.piece)) == "occupied")
                ):
                    yield TrainMove("tail in", here[port.piece], port, edge)

    def _left_by(self, k: int, piece: str) -> Port:
        """The end by which a tail leaves a piece."""
        ports = [Port(piece, end) for end in self._pieces[piece].ends]
        for port in ports:
            across = observables.across(self.plan.track.joint_at[port].name)
            if self.now(k, across) == "spanned" and self.then(k, across) == "free":
                return port
        raise AssertionError(f"the train on {piece} vanished")


def _numbered(number: int) -> str:
    return _NUMBERED[number - 1] if number <= len(_NUMBERED) else f"{number}th"


def situation_of(plan: Plan, moment: Moment) -> Situation:
    """A moment of a history as the rules see it: stock that detection has lost is not there."""
    lost = {w.name for w, state in moment.items() if w.kind == "lost" and state != "no"}
    given = {w: s for w, s in moment.items() if w.kind in _GIVEN}
    given |= dict(broken_at(plan, moment))
    on = occupied_blocks(plan, moment)
    imagined = imagined_at(plan, moment)
    seen = {*on, *imagined}
    stock = [w for w in plan.inputs if w.kind in ("stock", "standing") and w.name in seen]
    given |= {w: "occupied" if w.kind == "stock" else moment.get(w, w.usual) for w in stock}
    settled = Places(plan).settled(given, seen.difference(on))
    missed = lost.difference(imagined)
    return Situation.of(
        (w, s) for w, s in settled.items() if w not in stock or w.name not in missed
    )


def imagined_at(plan: Plan, moment: Moment) -> tuple[str, ...]:
    """The blocks that are falsely reported occupied at a moment, or still."""
    held = tuple(w.name for w, state in moment.items() if w.kind == "held" and state == "yes")
    return tuple(dict.fromkeys((*held, *falsely_occupied(plan, moment))))


def falsely_occupied(plan: Plan, moment: Moment) -> tuple[str, ...]:
    """The blocks that the one false report of a history is about, while it lasts."""
    lasting = next((s for w, s in moment.items() if w.kind == "blipped"), observables.NOTHING)
    begun = next((s for w, s in moment.items() if w.kind == "blip"), observables.NOTHING)
    place = begun if lasting == observables.NOTHING else lasting
    return () if place in (observables.NOTHING, observables.OVER) else blips(plan)[place]


def broken_at(plan: Plan, moment: Moment) -> Iterator[tuple[Observable, str]]:
    """The fault that is present at a moment of a history, if any, and its state; none while what
    is broken works all the same."""
    labels = [s for w, s in moment.items() if w.kind == "broken" and s != observables.NOTHING]
    if labels and moment.get(observables.works) != "yes":
        ways = all_ways(plan.equipment.faults)
        yield from (ways[label] for label in labels)


def occupied_blocks(plan: Plan, moment: Moment) -> tuple[str, ...]:
    """The blocks on which trains stand."""
    on = {w.name for w, s in moment.items() if w.kind == "train" and s == "occupied"}
    blocks = (p.block for n, p in plan.track.pieces.items() if n in on and p.block)
    return tuple(dict.fromkeys(blocks))


def acting_line(record: TraceView, k: int, signal: Signal) -> Line | None:
    """The line of a signal's rules that acts; None where each head has rules of its own."""
    if len(signal.rules) > 1:
        return None
    ((owner, lines),) = signal.rules
    wanted = {line.index: observables.line(owner, line.index) for line in lines}
    states = record.evaluator.states(record.situation(k), wanted.values())
    return next((line for line in lines if states[wanted[line.index]] == "acts"), None)


def acting_span(record: TraceView, k: int, signal: Signal) -> Span:
    """Where the file says that the signal shows what it shows."""
    line = acting_line(record, k, signal)
    return signal.span if line is None else line.span
