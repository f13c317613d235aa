"""Equivalence check: exported C, read back from its text, against the rules, for every input,
every memory and every elapsed time.

In: an export. Out: nothing to say against it; the first difference; or not decided. The C is worked
out by the rules of C (:mod:`verifier.exports.c_semantics`), what the rules give from the world that
is proved (:mod:`verifier.exports.expected_semantics`). What they share is the list of fields
(:mod:`verifier.exports.interface_of`), which is what the structures of the text say in words. The
writer of the text takes from that world only what signals in a circle come to; the tests run such
files against the evaluator, which knows nothing of it.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from verifier.engines.smt.equivalence import Always, Differs, NotDecided, Terms
from verifier.exports.c_lexer import NotReadable
from verifier.exports.c_program import BOOL, CProgram, CType, ParameterTypes, parse_program
from verifier.exports.c_semantics import CMachine, CValue, Store
from verifier.exports.c_source import CExport
from verifier.exports.expected_coils import coil_claims
from verifier.exports.expected_semantics import ExpectedSemantics
from verifier.exports.interface import LONGEST_CALL, Clock, Interface
from verifier.plan.devices import Device

# How wide an `int` may be: on small controllers, and on all others.
INT_BITS = (16, 32)


@dataclass(frozen=True, slots=True)
class Equivalent:
    """Equivalent for both widths of ``int``. ``questions``: how many claims were checked."""

    questions: int


@dataclass(frozen=True, slots=True)
class NotEquivalent:
    """It does not: what differs, and with which numbers going in; none where the text could not
    be read."""

    what: str
    values: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Inconclusive:
    reason: str


class _Call(NamedTuple):
    """A call: by which machine, and what it left and returned."""

    machine: CMachine[Any, Any]
    after: Store
    returned: CValue | None


class Claim(NamedTuple):
    """What must always hold, in words and as a term."""

    what: str
    term: Any


def compare(
    export: CExport, timeout: float | None = None
) -> Equivalent | NotEquivalent | Inconclusive:
    """``timeout`` in seconds for all of it, None for no limit.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    asked = 0
    always = Always(timeout)
    try:
        read = parse_program(export.text)
        _same_names(read, export)
        comparison = _Comparison(export, read)
        for int_bits in INT_BITS:
            for assumed, claims in comparison.claims(int_bits):
                asked += len(claims)
                match always.hold(assumed, [claim.term for claim in claims]):
                    case Differs(which=which, values=values):
                        return NotEquivalent(claims[which].what, tuple(sorted(values.items())))
                    case NotDecided(reason=reason):
                        return Inconclusive(reason)
                    case None:
                        pass
    except NotReadable as error:
        return NotEquivalent(f"the text cannot be read back: {error}")
    except RecursionError:
        return Inconclusive("a signal has too many lines, or conditions that stand too deep")
    return Equivalent(asked)


def _same_names(read: CProgram, export: CExport) -> None:
    """Require exactly the expected fields, functions and enumerators."""
    face, prefix = export.face, export.prefix
    byte = CType(8)
    wanted = {f"{prefix}_outputs": dict(_outputs(face))}
    if face.inputs:
        wanted[f"{prefix}_inputs"] = {f.name: byte for f in face.inputs}
    if face.memory:
        wanted[f"{prefix}_memory"] = {
            **{f.name: byte for f in face.memory},
            **{c.name: CType(c.bits) for c in face.clocks},
            "check": CType(16),
        }
    if face.pulses:
        wanted[f"{prefix}_coils"] = dict(_coils(face))
    if read.structs != wanted:
        raise NotReadable("other fields than there should be")
    if {n: (f.returns, f.given) for n, f in read.functions.items()} != _functions(face, prefix):
        raise NotReadable("other functions than there should be")
    states = [s for f in (*face.inputs, *face.memory) for s in f.all_states]
    numbers = {s.enumerator: s.number for s in (*states, *face.colors.values())}
    numbers |= {s.enumerator: s.number for s in face.aspects.values()}
    if any(points.throw for points in face.points):
        numbers |= {"THROW_HOLD": 0, "THROW_NORMAL": 1, "THROW_REVERSE": 2}
    numbers |= {p.pulse_name: p.pulse for p in face.points if p.throw and p.pulse is not None}
    numbers |= {"COIL_CALL_MS": face.coil_call} if face.pulses else {}
    if read.enumerators != numbers:
        raise NotReadable("other enumerators than there should be")


def _functions(face: Interface, prefix: str) -> dict[str, tuple[CType | None, ParameterTypes]]:
    """What each function returns, and is given."""
    inputs, memory, outputs = (f"{prefix}_{n}" for n in ("inputs", "memory", "outputs"))
    step: list[CType | str] = [inputs] * bool(face.inputs)
    step += [CType(16)] * bool(face.clocks) + [memory] * bool(face.memory)
    found: dict[str, tuple[CType | None, ParameterTypes]] = {
        "step": (BOOL, (*step, outputs)),
        "restrict": (None, (outputs,)),
    }
    if face.inputs:
        found["inputs_are"] = BOOL, (inputs,)
    if face.memory:
        found |= {"memory_is": (BOOL, (memory,)), "check": (CType(16), (memory,))}
        found["start"] = None, (memory,)
    if face.pulses:
        found["pulse"] = None, (outputs, CType(16), f"{prefix}_coils")
    return {f"{prefix}_{name}": signature for name, signature in found.items()}


def _outputs(face: Interface) -> Iterator[tuple[str, CType]]:
    for lit in face.lit:
        yield from ((name, CType(8)) for name in (lit.aspect, *lit.heads))
    for points in face.points:
        if points.unlocked:
            yield points.unlocked, BOOL
        if points.throw:
            yield points.throw, CType(8)
    yield from ((each.name, BOOL) for each in face.panel)


def _coils(face: Interface) -> Iterator[tuple[str, CType]]:
    for _, pulse in face.pulses:
        yield from ((pulse.coil, CType(8)), (pulse.told, CType(8)), (pulse.clock, CType(16)))


class _Comparison:
    """All that must hold of one export. The rules are worked out once, the C for each width of
    ``int``."""

    def __init__(self, export: CExport, read: CProgram):
        self._face = face = export.face
        self._prefix = export.prefix
        self._read = read
        self._terms = terms = Terms()
        self._before: Store = dict(self._given())
        self._expected = ExpectedSemantics(face, terms, self._before)
        # The same, with what it is told of other boards worked out from what goes in there.
        self._together = (
            ExpectedSemantics(face, terms, self._before, worked_out=True) if face.told else None
        )
        self._elapsed = CValue(CType(16), terms.variable("elapsed_ms", 16))
        # Time that counts: as much as there was, up to a limit.
        longest = terms.number(LONGEST_CALL, 32)
        passed = terms.resize(self._elapsed.word, 16, 32)
        self._passed = terms.choose(terms.less(longest, passed), longest, passed)

    def _given(self) -> Iterator[tuple[str, CValue]]:
        """A free variable for every field."""
        terms, face = self._terms, self._face

        def free(name: str, bits: int) -> tuple[str, CValue]:
            return name, CValue(CType(bits), terms.variable(name, bits))

        yield from (free(face.place(f), 8) for f in (*face.inputs, *face.memory))
        yield from (free(f"memory->{clock.name}", clock.bits) for clock in face.clocks)
        if face.memory:
            yield free("memory->check", 16)
        for name, kind in _coils(face):
            yield free(f"coils->{name}", kind.bits)
        for name, kind in _outputs(face):
            if kind == BOOL:
                bit = terms.variable(f"out->{name}", 1)
                truth = terms.equal(bit, terms.number(1, 1))
                yield f"out->{name}", CValue(BOOL, None, truth)
            else:
                yield free(f"out->{name}", 8)

    def claims(self, int_bits: int) -> Iterator[tuple[Any, Sequence[Claim]]]:
        """What must hold, by what is given."""
        machine = CMachine(self._read, self._terms, int_bits)
        face = self._face
        given: list[CValue | str] = ["in"] * bool(face.inputs)
        given += [self._elapsed] * bool(face.clocks) + ["memory"] * bool(face.memory)
        run = _Call(machine, *machine.call(f"{self._prefix}_step", [*given, "out"], self._before))
        sound = self._sound(machine, self._before)
        yield sound, self._outcome(run, self._expected)
        if self._together is not None:
            told = self._terms.all_of([sound, *self._together.as_told()])
            yield told, self._outcome(run, self._together)
        yield self._terms.opposite(sound), list(self._when_out_of_order(run))
        if face.memory:
            yield self._terms.truth(True), [*self._starts(machine), *self._flips(machine)]
        if face.pulses:
            yield self._terms.truth(True), list(self._coils(machine))

    # -------------------------------------------------------------- what is given

    def _sound(self, machine: CMachine[Any, Any], state: Store) -> Any:
        """Every input and memory field is in one of its states, and the checksum fits."""
        terms, face = self._terms, self._face
        parts = [
            self._expected.is_in(state[face.place(f)], (s.number for s in f.all_states))
            for f in (*face.inputs, *face.memory)
        ]
        for clock in face.clocks:
            word = state[f"memory->{clock.name}"].word
            most = terms.number(clock.most, clock.bits)
            parts.append(terms.opposite(terms.less(most, word)))
        if face.memory:
            parts.append(self._checked(machine, state))
        return terms.all_of(parts)

    def _checked(self, machine: CMachine[Any, Any], state: Store) -> Any:
        return self._terms.equal(state["memory->check"].word, self._sum(machine, state).word)

    def _sum(self, machine: CMachine[Any, Any], state: Store) -> CValue:
        _, found = machine.call(f"{self._prefix}_check", ["memory"], state)
        assert found is not None
        return found

    # -------------------------------------------------------------- claims

    def _comes_to(
        self, what: str, value: CValue, numbers: Iterable[tuple[int, Any]]
    ) -> Iterator[Claim]:
        """The field has each number exactly when it should, and no other number."""
        pairs = [(self._expected.is_number(value, number), when) for number, when in numbers]
        yield Claim(what, self._terms.any_of(found for found, _ in pairs))
        for found, when in pairs:
            yield Claim(what, self._terms.same(found, when))

    def _outcome(self, run: _Call, rules: ExpectedSemantics) -> Sequence[Claim]:
        """That a call gives what the rules do."""
        found = *self._signals(run, rules), *self._points(run, rules), *self._panel(run, rules)
        return [*found, *self._remembered(run, rules)]

    def _signals(self, run: _Call, rules: ExpectedSemantics) -> Iterator[Claim]:
        face = self._face
        assert run.returned is not None
        yield Claim("that all is in order", run.returned.truth)
        for lit in face.lit:
            shown = [(lit.signal.aspect, lit.aspect, face.aspects)]
            shown += [
                (head.color, name, face.colors)
                for head, name in zip(lit.signal.heads, lit.heads, strict=True)
            ]
            for what, name, words in shown:
                yield from self._comes_to(
                    f"{what.kind} of {what.name}", run.after[f"out->{name}"],
                    ((words[v].number, when) for v, when in rules.shown(what).items()),
                )  # fmt: skip

    def _points(self, run: _Call, rules: ExpectedSemantics) -> Iterator[Claim]:
        for points in self._face.points:
            name = points.device.name
            if points.unlocked:
                found = run.after[f"out->{points.unlocked}"].truth
                free = rules.unlocked(name)
                yield Claim(f"whether {name} is locked", self._terms.same(found, free))
            if points.throw:
                yield from self._thrown(points.device, run.after[f"out->{points.throw}"], rules)

    def _panel(self, run: _Call, rules: ExpectedSemantics) -> Iterator[Claim]:
        for each in self._face.panel:
            found = run.after[f"out->{each.name}"].truth
            wanted = rules.indicated(each.indicator)
            yield Claim(f"whether {each.indicator.name} is on", self._terms.same(found, wanted))

    def _thrown(self, device: Device, value: CValue, rules: ExpectedSemantics) -> Iterator[Claim]:
        """That what is told, or was where nothing is, is how it is thrown next."""
        terms, what = self._terms, f"how {device.name} is thrown"
        yield Claim(what, self._expected.is_in(value, range(3)))
        for told in device.positions:
            for number, leg in enumerate(device.positions, start=1):
                holds = terms.both(self._expected.is_number(value, 0), terms.truth(told == leg))
                found = terms.either(self._expected.is_number(value, number), holds)
                yield Claim(what, terms.same(found, rules.thrown(device, told, leg)))

    def _remembered(self, run: _Call, rules: ExpectedSemantics) -> Iterator[Claim]:
        for field in self._face.memory:
            yield from self._comes_to(
                f"next {field.what.kind} {field.what.name}", run.after[self._face.place(field)],
                rules.remembered(field).items(),
            )  # fmt: skip
        for clock in self._face.clocks:
            yield self._counts(clock, run, rules)
        if self._face.memory:
            yield Claim("the check of the memory", self._checked(run.machine, run.after))

    def _counts(self, clock: Clock, run: _Call, rules: ExpectedSemantics) -> Claim:
        """A clock begins at 1 and counts the time passed, until it is full, while what would
        move a relay (or what a timer runs by) goes on and its time is not over; else it is at 0."""
        terms = self._terms
        counted = terms.resize(self._before[f"memory->{clock.name}"].word, clock.bits, 32)
        nothing, one = terms.number(0, 32), terms.number(1, 32)
        wanted = nothing
        if clock.of.what.kind == "timer":
            wanted = terms.choose(rules.begins(clock), one, nothing)
        for to, limit in clock.limits.items():
            most, more = terms.number(limit, 32), terms.add(counted, self._passed, 32)
            then = terms.choose(terms.less(most, more), most, more)
            then = terms.choose(terms.equal(counted, nothing), one, then)
            wanted = terms.choose(rules.waits(clock, to), then, wanted)
        found = terms.resize(run.after[f"memory->{clock.name}"].word, clock.bits, 32)
        return Claim(f"the clock of {clock.of.what.name}", terms.equal(found, wanted))

    def _coils(self, machine: CMachine[Any, Any]) -> Iterator[Claim]:
        """Which coils have current after a call that times them."""
        given: list[CValue | str] = ["out", self._elapsed, "coils"]
        after, _ = machine.call(f"{self._prefix}_pulse", given, self._before)
        found = coil_claims(self._face, self._terms, self._before, after, self._passed)
        yield from (Claim(*each) for each in found)

    def _when_out_of_order(self, run: _Call) -> Iterator[Claim]:
        """Everything is at its most restrictive, and memory as it was."""
        face, terms = self._face, self._terms
        assert run.returned is not None
        yield Claim("that something is out of order", terms.opposite(run.returned.truth))
        for lit in face.lit:
            aspect, colors = face.restrictive(lit.signal)
            told = run.after[f"out->{lit.aspect}"]
            yield Claim(
                f"{lit.signal.name} at stop",
                self._expected.is_number(told, face.aspects[aspect].number),
            )
            for name, color in zip(lit.heads, colors, strict=True):
                told = run.after[f"out->{name}"]
                yield Claim(
                    f"{name} at stop", self._expected.is_number(told, face.colors[color].number)
                )
        for points in face.points:
            if points.unlocked:
                locked = terms.opposite(run.after[f"out->{points.unlocked}"].truth)
                yield Claim(f"{points.device.name} locked", locked)
            if points.throw:
                yield Claim(
                    f"{points.device.name} held",
                    self._expected.is_number(run.after[f"out->{points.throw}"], 0),
                )
        for each in face.panel:
            found = run.after[f"out->{each.name}"].truth
            wanted = terms.truth(each.restrictive)
            yield Claim(f"{each.indicator.name} as it warns", terms.same(found, wanted))
        for name, value in self._before.items():
            if name.startswith("memory->"):
                same = terms.equal(run.after[name].word, value.word)
                yield Claim(f"{name} left as it was", same)

    def _starts(self, machine: CMachine[Any, Any]) -> Iterator[Claim]:
        """Memory starts in the initial state of the proof over time, with a valid checksum."""
        after, _ = machine.call(f"{self._prefix}_start", ["memory"], self._before)
        for field in self._face.memory:
            usual = field.state(field.what.usual).number
            begins = self._expected.is_number(after[self._face.place(field)], usual)
            yield Claim(f"how {field.what.name} begins", begins)
        for clock in self._face.clocks:
            yield Claim(
                "clocks begin at 0", self._expected.is_number(after[f"memory->{clock.name}"], 0)
            )
        yield Claim("the check of the memory", self._checked(machine, after))

    def _flips(self, machine: CMachine[Any, Any]) -> Iterator[Claim]:
        """Any single bit flip in the memory flips just one bit of the checksum: each bit is
        counted, and counted once."""
        terms = self._terms
        before = self._sum(machine, self._before).word
        for name, value in self._before.items():
            if not name.startswith("memory->") or name == "memory->check":
                continue
            bits = value.type.bits
            bit = terms.variable(f"bit of {name}", bits)
            single = self._is_one_bit(bit, bits)
            flipped = CValue(value.type, terms.bits_xor(value.word, bit, bits))
            after = self._sum(machine, {**self._before, name: flipped})
            width = after.type.bits
            seen = self._is_one_bit(terms.bits_xor(before, after.word, width), width)
            yield Claim(f"a bit of {name} that flips", terms.either(terms.opposite(single), seen))

    def _is_one_bit(self, word: Any, bits: int) -> Any:
        """Just one bit of a word is set."""
        terms = self._terms
        nothing = terms.number(0, bits)
        less = terms.subtract(word, terms.number(1, bits), bits)
        rest = terms.equal(terms.bits_and(word, less, bits), nothing)
        return terms.both(terms.opposite(terms.equal(word, nothing)), rest)
