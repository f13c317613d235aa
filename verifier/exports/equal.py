"""Whether exported C gives what the rules give: read back from its text, and asked of the solver
for every input, every memory and every time passed.

In: an export. Out: nothing to say against it; the first difference; or not decided. The C is worked
out by the rules of C (:mod:`verifier.exports.reread`); what the rules give is worked out elsewhere
(:class:`~verifier.world.reported.ReportedWorld`). What they share is the list of fields
(:mod:`verifier.exports.interface`), which is what the structures of the text say in words.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from time import monotonic
from typing import Any, NamedTuple

from verifier.engines.equality import Always, Differs, NotDecided, Terms
from verifier.exports.c_source import LONGEST_CALL, Export
from verifier.exports.c_text import NotReadable
from verifier.exports.interface import RESTRICTIVE, Clock, Field, Interface
from verifier.exports.reread import BOOL, Machine, Program, State, Type, Value, program
from verifier.logic.expr import Atom, Expr, atom, opposite
from verifier.plan import facts
from verifier.plan.facts import Observable
from verifier.world.reported import ReportedWorld

# How wide an `int` may be: on small controllers, and on all others.
INT_BITS = (16, 32)
_LEGS = {"normal": 1, "reverse": 2}


@dataclass(frozen=True, slots=True)
class Equal:
    """It does, with ``int`` of either width. ``questions``: how many were asked."""

    questions: int


@dataclass(frozen=True, slots=True)
class Unequal:
    """It does not: what differs, and with which numbers going in; none where the text could not
    be read."""

    what: str
    values: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Undecided:
    reason: str


class Claim(NamedTuple):
    """What must always hold, in words and as a term."""

    what: str
    term: Any


def compare(export: Export, timeout: float | None = None) -> Equal | Unequal | Undecided:
    """``timeout`` in seconds for all of it, None for no limit.

    Raises :class:`~verifier.engines.answers.Interrupted` on Ctrl-C."""
    asked = 0
    deadline = None if timeout is None else monotonic() + timeout

    def left() -> float | None:
        return None if deadline is None else deadline - monotonic()

    try:
        read = program(export.text)
        _same_names(read, export)
        for int_bits in INT_BITS:
            comparison = _Comparison(export, read, int_bits)
            for assumed, claims in comparison.claims():
                asked += len(claims)
                different = _first_that_differs(claims, Always(assumed, left()), comparison)
                if different is not None:
                    return different
    except NotReadable as error:
        return Unequal(f"the text cannot be read back: {error}")
    except RecursionError:
        return Undecided("its conditions stand inside one another too deep")
    return Equal(asked)


def _first_that_differs(
    claims: Sequence[Claim], always: Always, comparison: "_Comparison"
) -> Unequal | Undecided | None:
    """None where all of them hold. They are asked together, which is ten times as quick, and
    one by one only to say which does not."""
    for claim in (Claim("all of it", comparison.all_of(c.term for c in claims)), *claims):
        match always.holds(claim.term):
            case None if claim.what == "all of it":
                return None
            case NotDecided(reason=reason):
                return Undecided(reason)
            case Differs(values=values) if claim.what != "all of it":
                return Unequal(claim.what, tuple(sorted(values.items())))
            case _:
                pass
    raise AssertionError("together they do not hold, yet each of them does")


def _same_names(read: Program, export: Export) -> None:
    """That the text has the fields and the numbers it should, and no others."""
    face, prefix = export.face, export.prefix
    byte = Type(8)
    wanted = {f"{prefix}_outputs": dict(_outputs(face))}
    if face.inputs:
        wanted[f"{prefix}_inputs"] = {f.name: byte for f in face.inputs}
    if face.memory:
        wanted[f"{prefix}_memory"] = {
            **{f.name: byte for f in face.memory},
            **{c.name: Type(c.bits) for c in face.clocks},
            "check": Type(16),
        }
    if read.structs != wanted:
        raise NotReadable("other fields than there should be")
    states = [s for f in (*face.inputs, *face.memory) for s in f.all_states]
    numbers = {s.enumerator: s.number for s in (*states, *face.colours.values())}
    numbers |= {s.enumerator: s.number for s in face.aspects.values()}
    if any(points.throw for points in face.points):
        numbers |= {"THROW_HOLD": 0, "THROW_NORMAL": 1, "THROW_REVERSE": 2}
    if read.enumerators != numbers:
        raise NotReadable("other enumerators than there should be")


def _outputs(face: Interface) -> Iterator[tuple[str, Type]]:
    for lit in face.lit:
        yield from ((name, Type(8)) for name in (lit.aspect, *lit.heads))
    for points in face.points:
        if points.unlocked:
            yield points.unlocked, BOOL
        if points.throw:
            yield points.throw, Type(8)


class _Comparison:
    """All that must hold of one export, for one width of ``int``."""

    def __init__(self, export: Export, read: Program, int_bits: int):
        self._face = face = export.face
        self._prefix = export.prefix
        self._terms = terms = Terms()
        self._machine = Machine(read, terms, int_bits)
        self._world = ReportedWorld(face.plan)
        self._memory = self._world.memory()
        self._before: State = dict(self._given())
        elapsed = Value(Type(16), terms.variable("elapsed_ms", 16))
        given: list[Value | str] = ["in"] * bool(face.inputs)
        given += [elapsed] * bool(face.clocks) + ["memory"] * bool(face.memory)
        self._after, self._returned = self._machine.call(
            f"{export.prefix}_step", [*given, "out"], self._before
        )
        # Time that counts: as much as there was, up to a limit.
        longest = terms.number(LONGEST_CALL, 32)
        passed = terms.resize(elapsed.word, 16, 32)
        self._passed = terms.choose(terms.less(longest, passed), longest, passed)

    def _given(self) -> Iterator[tuple[str, Value]]:
        """Any number at all in every field."""
        terms, face = self._terms, self._face

        def free(name: str, bits: int) -> tuple[str, Value]:
            return name, Value(Type(bits), terms.variable(name, bits))

        yield from (free(f"in->{f.name}", 8) for f in face.inputs)
        yield from (free(f"memory->{f.name}", 8) for f in face.memory)
        yield from (free(f"memory->{clock.name}", clock.bits) for clock in face.clocks)
        if face.memory:
            yield free("memory->check", 16)
        for name, kind in _outputs(face):
            if kind == BOOL:
                bit = terms.variable(f"out->{name}", 1)
                truth = terms.equal(bit, terms.number(1, 1))
                yield f"out->{name}", Value(BOOL, None, truth)
            else:
                yield free(f"out->{name}", 8)

    def claims(self) -> Iterator[tuple[Any, Sequence[Claim]]]:
        """What must hold, by what is given."""
        sound = self._sound(self._before)
        yield sound, [*self._signals(), *self._points(), *self._remembered()]
        yield self._terms.opposite(sound), list(self._when_out_of_order())
        if self._face.memory:
            yield self._terms.truth(True), [*self._starts(), *self._flips()]

    # -------------------------------------------------------------- what is given

    def _sound(self, state: State) -> Any:
        """That everything given is in one of its states, and memory whole."""
        terms, face = self._terms, self._face
        parts = [self._is_in(state[f"in->{f.name}"], f) for f in face.inputs]
        parts += [self._is_in(state[f"memory->{f.name}"], f) for f in face.memory]
        for clock in face.clocks:
            word = state[f"memory->{clock.name}"].word
            most = terms.number(clock.most, clock.bits)
            parts.append(terms.opposite(terms.less(most, word)))
        if face.memory:
            parts.append(self._checked(state))
        return self.all_of(parts)

    def _is_in(self, value: Value, field: Field) -> Any:
        return self._any(self._is(value, state.number) for state in field.all_states)

    def _checked(self, state: State) -> Any:
        return self._terms.equal(state["memory->check"].word, self._sum(state).word)

    def _sum(self, state: State) -> Value:
        _, found = self._machine.call(f"{self._prefix}_check", ["memory"], state)
        assert found is not None
        return found

    def _is(self, value: Value, number: int) -> Any:
        return self._terms.equal(value.word, self._terms.number(number, value.type.bits))

    def all_of(self, parts: Iterable[Any]) -> Any:
        found = self._terms.truth(True)
        for part in parts:
            found = self._terms.both(found, part)
        return found

    def _any(self, parts: Iterable[Any]) -> Any:
        found = self._terms.truth(False)
        for part in parts:
            found = self._terms.either(found, part)
        return found

    # -------------------------------------------------------------- what the rules give

    def _rule(self, expr: Expr, told: str = "", over: str = "") -> Any:
        """An expression of the world, at what is given. ``told``: how points were last thrown;
        ``over``: of which relay or timer the delay is over, whatever its clock says."""

        def meaning(part: Atom) -> Any:
            what = part.what
            match what.kind:
                case "thrown":
                    return self._terms.truth(told in part.values)
                case "expiry" if what.name == over:
                    return self._terms.truth("yes" in part.values)
                case "expiry":
                    expired = self._is_over(what.name)
                    return expired if "yes" in part.values else self._terms.opposite(expired)
                case "fault":
                    return self._fault(what, part.values)
                case _:
                    return self._reads(self._face.by_what[what], part.values)

        return self._terms.expression(expr, meaning)

    def _reads(self, field: Field, values: tuple[str, ...]) -> Any:
        value = self._before[self._name(field)]
        numbers = [field.state(v).number for v in values]
        if field.missing and RESTRICTIVE[field.what.kind] in values:
            numbers.append(field.missing.number)
        return self._any(self._is(value, number) for number in numbers)

    def _name(self, field: Field) -> str:
        return f"{'memory' if field in self._face.memory else 'in'}->{field.name}"

    def _fault(self, what: Observable, values: tuple[str, ...]) -> Any:
        """That an input is missing, or a lamp out; not where nobody notices."""
        field = self._face.by_what.get(what)
        if field is not None:
            return self._reads(field, values)
        broken = self._any(
            self._is(self._before[f"in->{f.name}"], f.missing.number)
            for f in self._face.inputs
            if f.missing and f"{f.what.kind} {f.what.name}" == what.name
        )
        return broken if "sound" not in values else self._terms.opposite(broken)

    def _is_over(self, name: str) -> Any:
        """That the delay which a relay or a timer waits for has lasted long enough."""
        clock = self._face.clock_of(name)
        assert clock is not None
        counted = self._before[f"memory->{clock.name}"]
        over = self._terms.truth(True)
        for to, limit in clock.limits.items():
            most = self._terms.number(limit, clock.bits)
            lasted = self._terms.opposite(self._terms.less(counted.word, most))
            waits = self._waits(clock, to)
            over = self._terms.both(over, self._terms.either(self._terms.opposite(waits), lasted))
        return over

    def _waits(self, clock: Clock, to: str) -> Any:
        """That it is in the state from which it goes there."""
        origin = {"up": "down", "down": "up", "done": "running"}[to]
        return self._reads(clock.of, (origin,))

    # -------------------------------------------------------------- claims

    def _comes_to(
        self, what: str, name: str, numbers: Iterable[tuple[int, Any]]
    ) -> Iterator[Claim]:
        """That a field is each number just when it should be, and none but these."""
        value = self._after[name]
        pairs = list(numbers)
        yield Claim(what, self._any(self._is(value, number) for number, _ in pairs))
        for number, when in pairs:
            yield Claim(what, self._terms.same(self._is(value, number), when))

    def _signals(self) -> Iterator[Claim]:
        face = self._face
        assert self._returned is not None
        yield Claim("that all is in order", self._returned.truth)
        for lit in face.lit:
            shown = [(lit.signal.aspect, lit.aspect, face.aspects)]
            shown += [
                (head.colour, name, face.colours)
                for head, name in zip(lit.signal.heads, lit.heads, strict=True)
            ]
            for what, name, words in shown:
                yield from self._comes_to(
                    f"{what.kind} of {what.name}", f"out->{name}",
                    [
                        (words[v].number, self._rule(self._world.expand(atom(what, v))))
                        for v in what.values
                    ],
                )  # fmt: skip

    def _points(self) -> Iterator[Claim]:
        for points in self._face.points:
            name = points.turnout
            if points.unlocked:
                free = self._rule(opposite(self._memory.is_locked(name)))
                found = self._after[f"out->{points.unlocked}"].truth
                yield Claim(f"whether {name} is locked", self._terms.same(found, free))
            if points.throw:
                yield from self._thrown(name, f"out->{points.throw}")

    def _thrown(self, turnout: str, name: str) -> Iterator[Claim]:
        """That what is told, or was where nothing is, is how the points are thrown next."""
        value = self._after[name]
        what = f"how {turnout} is thrown"
        following = self._memory.following[facts.thrown(turnout)]
        yield Claim(what, self._any(self._is(value, number) for number in range(3)))
        for told in _LEGS:
            for leg, number in _LEGS.items():
                holds = self._terms.both(self._is(value, 0), self._terms.truth(told == leg))
                found = self._terms.either(self._is(value, number), holds)
                rule = self._rule(following[leg], told)
                yield Claim(what, self._terms.same(found, rule))

    def _remembered(self) -> Iterator[Claim]:
        for field in self._face.memory:
            following = self._memory.following[field.what]
            yield from self._comes_to(
                f"next {field.what.kind} {field.what.name}", self._name(field),
                [(s.number, self._rule(following[s.value])) for s in field.states],
            )  # fmt: skip
        for clock in self._face.clocks:
            yield self._counts(clock)
        if self._face.memory:
            yield Claim("the check of the memory", self._checked(self._after))

    def _counts(self, clock: Clock) -> Claim:
        """A clock begins at 1 and counts the time passed, until it is full, while what would
        move a relay (or what a timer runs by) goes on and its time is not over; else it is at 0."""
        terms = self._terms
        following = self._memory.following[clock.of.what]
        counted = terms.resize(self._before[f"memory->{clock.name}"].word, clock.bits, 32)
        nothing, one = terms.number(0, 32), terms.number(1, 32)
        wanted = nothing
        if clock.of.what.kind == "timer":
            begins = terms.both(self._reads(clock.of, ("idle",)), self._rule(following["running"]))
            wanted = terms.choose(begins, one, nothing)
        for to, limit in clock.limits.items():
            most, more = terms.number(limit, 32), terms.add(counted, self._passed, 32)
            then = terms.choose(terms.less(most, more), most, more)
            then = terms.choose(terms.equal(counted, nothing), one, then)
            wants = self._rule(following[to], over=clock.of.what.name)
            moves = self._rule(following[to])
            waiting = self.all_of((self._waits(clock, to), wants, terms.opposite(moves)))
            wanted = terms.choose(waiting, then, wanted)
        found = terms.resize(self._after[f"memory->{clock.name}"].word, clock.bits, 32)
        return Claim(f"the clock of {clock.of.what.name}", terms.equal(found, wanted))

    def _when_out_of_order(self) -> Iterator[Claim]:
        """Everything is at its most restrictive, and memory as it was."""
        face, terms = self._face, self._terms
        assert self._returned is not None
        yield Claim("that something is out of order", terms.opposite(self._returned.truth))
        for lit in face.lit:
            aspect, colours = face.restrictive(lit.signal)
            told = self._after[f"out->{lit.aspect}"]
            yield Claim(f"{lit.signal.name} at stop", self._is(told, face.aspects[aspect].number))
            for name, colour in zip(lit.heads, colours, strict=True):
                told = self._after[f"out->{name}"]
                yield Claim(f"{name} at stop", self._is(told, face.colours[colour].number))
        for points in face.points:
            if points.unlocked:
                locked = terms.opposite(self._after[f"out->{points.unlocked}"].truth)
                yield Claim(f"{points.turnout} locked", locked)
            if points.throw:
                yield Claim(
                    f"{points.turnout} held", self._is(self._after[f"out->{points.throw}"], 0)
                )
        for name, value in self._before.items():
            if name.startswith("memory->"):
                same = terms.equal(self._after[name].word, value.word)
                yield Claim(f"{name} left as it was", same)

    def _starts(self) -> Iterator[Claim]:
        """Memory begins as the proof over time does, and whole."""
        after, _ = self._machine.call(f"{self._prefix}_start", ["memory"], self._before)
        for field in self._face.memory:
            usual = field.state(field.what.usual).number
            begins = self._is(after[self._name(field)], usual)
            yield Claim(f"how {field.what.name} begins", begins)
        for clock in self._face.clocks:
            yield Claim("clocks begin at 0", self._is(after[f"memory->{clock.name}"], 0))
        yield Claim("the check of the memory", self._checked(after))

    def _flips(self) -> Iterator[Claim]:
        """Any one bit of the memory that flips makes the check another."""
        terms = self._terms
        for name, value in self._before.items():
            if not name.startswith("memory->") or name == "memory->check":
                continue
            bits = value.type.bits
            one = terms.number(1, bits)
            bit = terms.variable(f"bit of {name}", bits)
            single = terms.both(
                terms.opposite(terms.equal(bit, terms.number(0, bits))),
                terms.equal(
                    terms.bits_and(bit, terms.subtract(bit, one, bits), bits),
                    terms.number(0, bits),
                ),
            )
            flipped = Value(value.type, terms.bits_xor(value.word, bit, bits))
            seen = terms.opposite(
                terms.equal(
                    self._sum(self._before).word, self._sum({**self._before, name: flipped}).word
                )
            )
            yield Claim(f"a bit of {name} that flips", terms.either(terms.opposite(single), seen))
