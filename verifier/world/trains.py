"""The transition relation of trains, over the states and choices of a time step: fronts, tails,
entries, reversals, collisions and derailments.

Twin of :mod:`verifier.reference.step`, which does the same with no expressions.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, disjunction, negation
from verifier.plan import observables
from verifier.plan.devices import derails_at, signaled_entries
from verifier.plan.locking.temporal_plan import approach, comes_in_at
from verifier.plan.model import Joint, Move, Piece, Plan, Port
from verifier.plan.observables import Condition
from verifier.plan.track.build_track import moves_over
from verifier.plan.track.routes import entered_under_signal

ENDS = ("edge", "bumper")


@dataclass(frozen=True, slots=True)
class Rules:
    """What trains must know of the signals: when one permits, when without a stop, when only at
    restricted speed, and a condition of the file over states and choices."""

    permits: Callable[[str], Expr]
    clears: Callable[[str], Expr]
    restricts: Callable[[str], Expr]
    now: Callable[[Condition], Expr]
    # By signal: that a train approaching may still pass it. It is known of the signal, not of
    # each train: one that follows another onto the same approach counts as having seen what
    # that one saw. Nothing is missed by it, and two trains under way on one approach are a
    # finding of their own.
    late: Callable[[str], Expr]


@dataclass(frozen=True, slots=True)
class FrontMove:
    """A front that would come over ``joint`` into ``to`` (``frm``: the end it leaves by),
    when it does, and when at restricted speed. An entry from an edge is one, too."""

    joint: Joint
    frm: Port
    to: Port
    when: Expr
    slow: Expr


class TrainDynamics:
    """The moves of trains of one running plan."""

    def __init__(
        self,
        plan: Plan,
        rules: Rules,
        *,
        paced: bool,
        hurt: Callable[[str], Expr] | None = None,
    ):
        self.plan = plan
        self._rules = rules
        self._paced = paced
        # That the train on a piece meets another or derails; given only where such trains stay.
        self._hurt = hurt
        self._facing = entered_under_signal(
            {s.name: (s.enters, s.span) for s in plan.signals.values()}
        )
        self.pieces: Mapping[str, Piece] = {
            n: p for n, p in plan.track.pieces.items() if p.kind not in ENDS
        }
        bumpers = {n for n, p in plan.track.pieces.items() if p.kind == "bumper"}
        self.joints = tuple(
            j for j in plan.track.joints if bumpers.isdisjoint({j.a.piece, j.b.piece})
        )
        self._signaled, self._derails_at = signaled_entries(plan), derails_at(plan)
        self._limits = {n for limits in plan.limits for n in limits.pieces}
        self._reverses = {n: self._flip(n) for n in self.pieces if self.may_reverse(n)}
        self._fronts: dict[str, list[FrontMove]] = {n: [] for n in self.pieces}
        self._outward: dict[Joint, list[Expr]] = {}
        for joint in self.joints:
            for frm, to in ((joint.a, joint.b), (joint.b, joint.a)):
                self._add_front(joint, frm, to)

    # -------------------------------------------------------------- states

    def occupied(self, piece: str) -> Expr:
        return atom(observables.train(piece), "occupied")

    def heading(self, piece: str, end: str) -> Expr:
        return atom(observables.heading(piece, self.pieces[piece].ends), end)

    def is_free(self, joint: Joint) -> Expr:
        return atom(observables.across(joint.name), "free")

    # -------------------------------------------------------------- fronts

    def _add_front(self, joint: Joint, frm: Port, to: Port) -> None:
        here, beyond = self.plan.track.pieces[frm.piece], self.plan.track.pieces[to.piece]
        past = self._past_derails(joint, to)
        if here.kind == "edge":
            if beyond.kind != "edge" and here.direction != "leaving":
                entry = conjunction(self._entry(here, joint, to), self._allowed(to), past)
                slow = self._is_slow(frm, to)
                self._fronts[to.piece].append(FrontMove(joint, frm, to, entry, slow))
            return
        moves = conjunction(
            self._goes(joint, frm), self.is_free(joint), self._passes(frm, to), past
        )
        if beyond.kind == "edge":
            if beyond.direction != "entering":
                self._outward.setdefault(joint, []).append(moves)
            return
        self._fronts[to.piece].append(FrontMove(joint, frm, to, moves, self._is_slow(frm, to)))

    def _past_derails(self, joint: Joint, to: Port) -> Expr:
        """No derail that is set against a train holds it at the joint. Only a train that has a
        signal to go by runs over one unawares."""
        if to in self._signaled:
            return TRUE
        return conjunction(*(self.lets_over(name) for name in self._derails_at.get(joint, ())))

    def lets_over(self, derail: str) -> Expr:
        """A derail lets trains pass."""
        pipe = self.plan.derails[derail].pipe
        if pipe is None:
            return atom(observables.derail(derail), "non-derailing")
        return atom(observables.points(pipe.points), pipe.points_for("non-derailing"))

    def _goes(self, joint: Joint, frm: Port) -> Expr:
        """A train on the piece of ``frm`` moves, and leaves by that end."""
        return conjunction(
            atom(observables.choice("advance", joint.name), "yes"),
            self.occupied(frm.piece),
            self._is_no_wreck(frm.piece),
            negation(self._reverses.get(frm.piece, FALSE)),
            self.leaves(frm),
        )

    def leaves(self, by: Port) -> Expr:
        """As the train heads and the points lie, it leaves the piece by this end."""
        return disjunction(
            *(
                conjunction(self.heading(by.piece, end), self.lies_for(way.move))
                for end in self.pieces[by.piece].ends
                for way in self.plan.track.onward.get(Port(by.piece, end), ())
                if way.move.leave == by.end
            )
        )

    def lies_for(self, move: Move) -> Expr:
        return atom(observables.points(move.piece), move.position) if move.position else TRUE

    def _allowed(self, to: Port) -> Expr:
        signal = self._facing.get(to)
        if signal is None:
            return TRUE
        return disjunction(self._rules.permits(signal), self._rules.late(signal))

    def _passes(self, frm: Port, to: Port) -> Expr:
        """A train at restricted speed is never too late to stop."""
        signal = self._facing.get(to)
        if signal is None:
            return TRUE
        late = conjunction(self._rules.late(signal), negation(self._is_restricted(frm)))
        return disjunction(self._rules.permits(signal), late)

    def _is_restricted(self, frm: Port) -> Expr:
        known = self._paced and frm.piece in self.pieces
        return atom(observables.pace(frm.piece), "restricted") if known else FALSE

    def _is_slow(self, frm: Port, to: Port) -> Expr:
        block = self.pieces[to.piece].block
        if block is not None and self.plan.blocks[block].switching:
            return TRUE
        signal = self._facing.get(to)
        if signal is None:
            return self._is_restricted(frm)
        # One that cannot stop any more passes a stop-and-proceed as it comes.
        late = conjunction(self._rules.late(signal), negation(self._is_restricted(frm)))
        stops = disjunction(self._rules.clears(signal), negation(late))
        return conjunction(self._rules.restricts(signal), stops)

    def fronts(self, pieces: Iterable[str]) -> Iterator[FrontMove]:
        """The fronts that may come onto some pieces."""
        return (front for piece in pieces for front in self._fronts[piece])

    def turns_back(self, piece: str) -> Expr:
        """The train on a piece turns back."""
        return self._reverses.get(piece, FALSE)

    def _sooner_fronts(self, front: FrontMove) -> Expr:
        """Another front comes onto the piece, from a joint before in the order of the track."""
        fronts = self._fronts[front.to.piece]
        return disjunction(*(f.when for f in fronts[: fronts.index(front)]))

    def goes_in(self, front: FrontMove) -> Expr:
        """The front comes onto the piece, which is vacant; of several that come at once, only the
        first does, and the others stand before it."""
        vacant = negation(self.occupied(front.to.piece))
        return conjunction(front.when, vacant, negation(self._sooner_fronts(front)))

    # -------------------------------------------------------------- entries

    def _entry(self, edge: Piece, joint: Joint, to: Port) -> Expr:
        chosen = conjunction(
            atom(observables.choice("entry", edge.name), "yes"), self.is_free(joint)
        )
        own = self.plan.locking.running.entering.get(edge.name)
        if own is not None:
            return conjunction(chosen, self._rules.now(own))
        coming = disjunction(*self._coming_out(joint.other(to), joint))
        return conjunction(chosen, negation(self.occupied(to.piece)), negation(coming))

    def _coming_out(self, edge: Port, joint: Joint) -> Iterator[Expr]:
        """Each way in which a train comes out to an edge, or is let go toward it."""
        stack: list[tuple[Port, Expr, frozenset[Port]]] = [(joint.other(edge), TRUE, frozenset())]
        while stack:
            out, lying, passed = stack.pop()
            if out.piece not in self.pieces:
                continue
            for move in moves_over(self.pieces[out.piece]):
                enter = Port(out.piece, move.enter)
                if move.leave != out.end or enter in passed:
                    continue
                way = conjunction(lying, self.lies_for(move))
                yield conjunction(self._under_way(move), lying)
                signal = self._facing.get(enter)
                if signal is not None:
                    yield conjunction(self._allowed(enter), self.approaching(signal), way)
                    continue
                back = self.plan.track.joint_at[enter].other(enter)
                stack.append((back, way, passed | {enter}))

    # -------------------------------------------------------------- reversing

    def may_reverse(self, piece: str) -> bool:
        return any(self.may_reverse_to(piece, end) for end in self.pieces[piece].ends)

    def may_reverse_to(self, piece: str, heading: str) -> bool:
        """Whether a train on the piece may turn so that it heads as if come in by this end."""
        here = self.pieces[piece]
        if here.kind != "plain":
            return False
        only = self.plan.locking.running.reverse_on
        if only is not None:
            return here.block in only
        return piece not in self._limits and self._is_governed(Port(piece, heading))

    def _is_governed(self, start: Port) -> bool:
        """Every way on leads to a signal that governs it, or to an end of the plan, before it
        crosses a joint where signals stand for the other way only."""
        stack, seen = [start], {start}
        while stack:
            for way in self.plan.track.onward.get(stack.pop(), ()):
                ahead = self.plan.track.pieces[way.leads_to.piece]
                if way.leads_to in self._facing:
                    continue
                if way.joint.other(way.leads_to) in self._facing:
                    return False
                if ahead.kind in ENDS:
                    continue
                if way.leads_to not in seen:
                    seen.add(way.leads_to)
                    stack.append(way.leads_to)
        return True

    def _flip(self, piece: str) -> Expr:
        """The train on the piece stops and heads the other way."""
        return conjunction(
            self._may_flip(piece), *(self._side(piece, e, (piece,)) for e in ("left", "right"))
        )

    def _may_flip(self, piece: str) -> Expr:
        may = disjunction(
            *(
                self.heading(piece, end)
                for end in ("left", "right")
                if self.may_reverse_to(piece, _other_end(end))
            )
        )
        chosen = atom(observables.choice("reversal", piece), "yes")
        return conjunction(chosen, self.occupied(piece), self._is_no_wreck(piece), may)

    def _side(self, piece: str, end: str, passed: tuple[str, ...]) -> Expr:
        """On this side the train ends, or goes on over a joint without signals on a piece where
        it reverses too."""
        port = Port(piece, end)
        joint = self.plan.track.joint_at[port]
        other = joint.other(port)
        if self.plan.track.pieces[other.piece].kind == "bumper":
            return TRUE
        free = self.is_free(joint)
        signalled = port in self._facing or other in self._facing
        if signalled or other.piece not in self.pieces or not self.may_reverse(other.piece):
            return free
        if other.piece in passed:
            return TRUE
        far = self._side(other.piece, _other_end(other.end), (*passed, other.piece))
        return disjunction(free, conjunction(self._may_flip(other.piece), far))

    # -------------------------------------------------------------- tails

    def tails(self, piece: str) -> Iterator[tuple[Joint, Expr]]:
        """For each joint, when the tail of a train leaves the piece over it."""
        ports = [Port(piece, end) for end in self.pieces[piece].ends]
        joints = [(p, j) for p in ports if (j := self.plan.track.joint_at[p]) in self.joints]
        for port, joint in joints:
            spanned = negation(self.is_free(joint))
            rest = (self.is_free(j) for p, j in joints if p != port)
            yield joint, conjunction(self._goes(joint, port), spanned, *rest)

    def _tail_in(self, joint: Joint) -> Expr:
        """The tail of a train comes in from an edge."""
        return disjunction(
            *(
                conjunction(
                    atom(observables.choice("advance", joint.name), "yes"),
                    negation(self.is_free(joint)),
                    self.occupied(port.piece),
                    self._is_no_wreck(port.piece),
                    negation(self._reverses.get(port.piece, FALSE)),
                    self.heading(port.piece, port.end),
                )
                for edge, port in ((joint.a, joint.b), (joint.b, joint.a))
                if self.plan.track.pieces[edge.piece].kind == "edge" and port.piece in self.pieces
            )
        )

    def pulled_in(self) -> Iterator[Expr]:
        """For each joint and way of running, that no train which heads that way spans the joint:
        all of a train has come over it, or is still to come. Joints behind others come first, since
        the tail of a train moves first."""
        waiting = {
            port: self._behind(port)
            for joint in self.joints
            for port in (joint.a, joint.b)
            if port.piece in self.pieces
        }
        while waiting:
            free = [at for at, behind in waiting.items() if not behind.intersection(waiting)]
            for at in free or list(waiting)[:1]:
                del waiting[at]
                yield disjunction(
                    self.is_free(self.plan.track.joint_at[at]),
                    negation(self.heading(at.piece, at.end)),
                )
        for joint in self.joints:
            if any(self.plan.track.pieces[p.piece].kind == "edge" for p in (joint.a, joint.b)):
                yield self.is_free(joint)

    def _behind(self, port: Port) -> frozenset[Port]:
        """The ports by which trains that come in by this one came onto the piece behind it."""
        out = self.plan.track.joint_at[port].other(port)
        if out.piece not in self.pieces:
            return frozenset()
        moves = moves_over(self.pieces[out.piece])
        return frozenset(Port(out.piece, m.enter) for m in moves if m.leave == out.end)

    def standing(self) -> Iterator[tuple[observables.Observable, Expr]]:
        """Of plain pieces outside of limits, those nearest to an edge first: the states of a train
        there, and that all of it is there."""
        for name in dict.fromkeys(at.piece for at in self._from_edges()):
            piece = self.pieces[name]
            if piece.kind == "plain" and name not in self._limits:
                joints = [j for j in self.joints if name in (j.a.piece, j.b.piece)]
                all_there = conjunction(*map(self.is_free, joints))
                yield observables.train(name), all_there
                yield observables.heading(name, piece.ends), all_there

    def ways_out(self) -> Iterator[Expr]:
        """For each piece and way of running, that no train on it heads that way: those nearest to
        an edge first, by the joints that trains have to cross and the turns they have to make."""
        for at in self._from_edges():
            yield negation(conjunction(self.occupied(at.piece), self.heading(at.piece, at.end)))

    def _from_edges(self) -> list[Port]:
        """Each piece and way of running, as the port that trains came in by, from the edges on."""
        every = [Port(n, end) for n, piece in self.pieces.items() for end in piece.ends]
        leads: dict[Port, list[Port]] = {at: [] for at in every}
        near: list[Port] = []
        for at in every:
            ways = self.plan.track.onward.get(at, ())
            if any(self.plan.track.pieces[w.leads_to.piece].kind == "edge" for w in ways):
                near.append(at)
            for to in [w.leads_to for w in ways if w.leads_to in leads]:
                leads[to].append(at)
            if self.may_reverse(at.piece) and self.may_reverse_to(at.piece, _other_end(at.end)):
                leads[Port(at.piece, _other_end(at.end))].append(at)
        met = dict.fromkeys(near)
        while near:
            near = [at for to in near for at in leads[to] if at not in met]
            met.update(dict.fromkeys(near))
            near = list(dict.fromkeys(near))
        return list(dict.fromkeys((*met, *every)))

    def consistent(self) -> Iterator[Expr]:
        """What is expected of trains that span joints: they are on both pieces, and head over the
        joint from one to the other, as the points lie."""
        for joint in self.joints:
            free = self.is_free(joint)
            ports = [port for port in (joint.a, joint.b) if port.piece in self.pieces]
            came = {port: self.heading(port.piece, port.end) for port in ports}
            for port in ports:
                rear = joint.other(port)
                yield disjunction(free, self.occupied(port.piece))
                if rear in came:
                    yield disjunction(free, negation(came[port]), negation(came[rear]))
                    yield disjunction(free, negation(came[port]), self.leaves(rear))
            if len(ports) == 2:
                yield disjunction(free, *came.values())
            else:
                yield disjunction(free, *came.values(), *map(self.leaves, ports))

    # -------------------------------------------------------------- what goes wrong

    def over(self, joint: Joint) -> Iterator[Expr]:
        """The fronts that would come over a joint."""
        yield from (f.when for fs in self._fronts.values() for f in fs if f.joint == joint)
        yield from self._outward.get(joint, ())

    def has_way_on(self, front: FrontMove) -> Expr:
        """Some way on over the piece lies for a train that comes onto it."""
        onward = self.plan.track.onward.get(front.to, ())
        return disjunction(*(self.lies_for(way.move) for way in onward))

    def _is_no_wreck(self, piece: str) -> Expr:
        return atom(observables.wreck(piece), "no") if self._hurt else TRUE

    # -------------------------------------------------------------- what follows

    def following(self) -> Iterator[tuple[observables.Observable, Mapping[str, Expr]]]:
        """For each state, when each of its values comes next."""
        spans: dict[Joint, list[Expr]] = {j: list(self._outward.get(j, ())) for j in self.joints}
        frees: dict[Joint, list[Expr]] = {j: [self._tail_in(j)] for j in self.joints}
        for piece in self.pieces:
            came = [(f, self.goes_in(f)) for f in self._fronts[piece]]
            gone = list(self.tails(piece))
            for front, when in came:
                spans[front.joint].append(when)
            for joint, when in gone:
                frees[joint].append(when)
            left = disjunction(*(when for _, when in gone))
            stays = conjunction(self.occupied(piece), negation(left))
            occupied = disjunction(*(when for _, when in came), stays)
            yield observables.train(piece), _two(observables.train(piece), occupied)
            yield self._next_heading(piece, came)
            if self._hurt:
                wreck = observables.wreck(piece)
                hurt = conjunction(occupied, self._hurt(piece))
                yield wreck, _two(wreck, disjunction(atom(wreck, "yes"), hurt))
            if self._paced:
                pace = observables.pace(piece)
                yield pace, _two(pace, self._next_pace(pace, came))
        for joint in self.joints:
            across = observables.across(joint.name)
            stays = conjunction(negation(self.is_free(joint)), negation(disjunction(*frees[joint])))
            yield across, _two(across, disjunction(*spans[joint], stays))

    def _next_heading(
        self, piece: str, came: Iterable[tuple[FrontMove, Expr]]
    ) -> tuple[observables.Observable, Mapping[str, Expr]]:
        ends = self.pieces[piece].ends
        any_came = disjunction(*(when for _, when in came))
        flips = self._reverses.get(piece, FALSE)
        stays = conjunction(negation(any_came), negation(flips))
        values = {}
        for end in ends:
            ways = [when for front, when in came if front.to.end == end]
            if len(ends) == 2:
                ways.append(conjunction(flips, self.heading(piece, _other_end(end))))
            values[end] = disjunction(*ways, conjunction(stays, self.heading(piece, end)))
        return observables.heading(piece, ends), values

    def _next_pace(
        self, pace: observables.Observable, came: Iterable[tuple[FrontMove, Expr]]
    ) -> Expr:
        any_came = disjunction(*(when for _, when in came))
        slow = disjunction(*(conjunction(when, front.slow) for front, when in came))
        return disjunction(slow, conjunction(atom(pace, "restricted"), negation(any_came)))

    # -------------------------------------------------------------- approaches

    def approaching(self, signal: str) -> Expr:
        """That a train is on the approach to a signal and heads for it."""
        return disjunction(*(self._under_way(move) for move in approach(self.plan, signal)))

    def _under_way(self, move: Move) -> Expr:
        """That a train heads over a piece by this move, and the points lie for it."""
        heads = self.heading(move.piece, move.enter)
        return conjunction(self.occupied(move.piece), heads, self.lies_for(move))

    def may_approach(self, signal: str) -> Expr:
        """The same, of trains beyond an edge as well, that nothing here knows of."""
        return TRUE if comes_in_at(self.plan, signal) else self.approaching(signal)


def _other_end(end: str) -> str:
    return "right" if end == "left" else "left"


def _two(what: observables.Observable, second: Expr) -> Mapping[str, Expr]:
    """The values of a state that has two, given when the second comes."""
    return {what.values[0]: negation(second), what.values[1]: second}
