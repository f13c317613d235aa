"""The rules of a plan as one C99 file.

In: a plan. Out: its text, the same for the same plan: no dates, no paths of the machine it was
written on. Whether it says what the rules say is found out from the text itself
(:mod:`verifier.exports.equivalence`).
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

from verifier import __version__
from verifier.exports.c_lexer import guard_macros
from verifier.exports.c_text import (
    CWriter,
    SimpleTest,
    Test,
    all_tests,
    any_test,
    comment,
    comment_safe,
)
from verifier.exports.coils_to_c import coil_fields, pulse_function, pulse_signature
from verifier.exports.condition_to_c import ConditionWriter
from verifier.exports.header import paragraphs
from verifier.exports.interface import FLASHING, LONGEST_CALL, Field, Interface, interface_of
from verifier.exports.memory_to_c import MemoryRules
from verifier.exports.names import CNames, plain
from verifier.exports.rules import SignalRules
from verifier.plan.model import Plan
from verifier.verdicts.grade_words import grade_asked
from verifier.world.report_abstraction import ReportedWorld

# What the first line of every export begins with.
MARK = "/* Written by clearproof"
_PREFIX_LENGTH = 20
_FIRST_WORDS = frozenset({
    "block", "points", "derail", "gate", "lever", "button", "relay", "timer", "traffic", "lamp",
    "input", "aspect", "head", "color", "throw", "unlocked", "clock", "is", "again", "part",
    "settled", "indicator", "bell", "memory", "in", "out", "elapsed", "coil", "coils", "told",
    "pulse", "signal",
})  # fmt: skip
_THROW = (("THROW_HOLD", 0), ("THROW_NORMAL", 1), ("THROW_REVERSE", 2))


@dataclass(frozen=True, slots=True)
class CExport:
    """A C file: its text, what its functions begin with, and what goes in and out of them."""

    text: str
    prefix: str
    face: Interface


def c_source(
    plan: Plan, name: str, sha256: str, graded: str = "", board: str | None = None
) -> CExport:
    """The C file of a plan, or of one ``board`` of it. ``name`` is that of its file, ``sha256``
    that of the bytes in it; ``graded``: what is proved of its rules, where that was worked out.

    Raises :class:`~verifier.exports.interface.TooManyPositions`."""
    face = interface_of(plan, board)
    prefix = _prefix(f"{board}_{name.removesuffix('.ixl')}" if board is not None else name)
    code = CWriter()
    _header(face, name, sha256, prefix, graded or grade_asked(plan), code)
    whole, said = guard_macros(prefix.upper())
    code.put("", f"#ifndef {whole}", f"#define {whole}", "")
    code.put("#include <stdbool.h>", "#include <stdint.h>", "")
    _enumerators(face, prefix, code)
    _structs(face, prefix, code)
    _prototypes(face, prefix, code)
    code.put("", f"#ifndef {said}", "")
    _functions(face, prefix, code)
    code.put("", "#endif", "", "#endif")
    return CExport("\n".join(code.lines) + "\n", prefix, face)


def _prefix(name: str) -> str:
    """What functions, structures and macros begin with: the name of the file. Not a word with
    which the names of inputs, outputs and variables begin."""
    found = plain(name.removesuffix(".ixl")).lower()[:_PREFIX_LENGTH].strip("_")
    own = found[:1].isalpha() and found.split("_")[0] not in _FIRST_WORDS
    return found if own else f"junction_{found}".rstrip("_")


# ------------------------------------------------------------------ the head of the file


def _header(
    face: Interface, name: str, sha256: str, prefix: str, graded: str, code: CWriter
) -> None:
    code.put(f"{MARK} {__version__} from the junction file {comment_safe(name)}.", "")
    for lines in paragraphs(face, sha256, prefix, graded):
        code.put(*(f"   {line}".rstrip() for line in lines), "")
    code.lines[-1] = "*/"


# ------------------------------------------------------------------ declarations


def _enumerators(face: Interface, prefix: str, code: CWriter) -> None:
    told_apart = min(
        ((one.number ^ other.number).bit_count()
         for field in (*face.inputs, *face.memory)
         for one, other in combinations(field.all_states, 2)),
        default=8,
    )  # fmt: skip
    code.say(
        f"States of inputs and memory. Any two of one field differ in at least {told_apart} bits."
    )
    known: dict[str, int] = {}
    for field in (*face.inputs, *face.memory):
        new = [s for s in field.all_states if s.enumerator not in known]
        known |= {state.enumerator: state.number for state in new}
        if new:
            _enum(((state.enumerator, state.number) for state in new), code, "0x{:02X}")
    code.say(f"Colors. A flashing one is the steady one and {FLASHING}.")
    _enum(((s.enumerator, s.number) for s in face.colors.values()), code, "{}")
    code.say("Aspects, the most restrictive first; 0 where the colors are none of the chart's.")
    _enum(((s.enumerator, s.number) for s in face.aspects.values()), code, "{}")
    if any(points.throw for points in face.points):
        code.say("What a switch machine is to do; HOLD leaves it as it was last thrown.")
        _enum(_THROW, code, "{}")
    pulses = [(p.pulse_name, p.pulse) for p in face.points if p.throw and p.pulse is not None]
    if pulses:
        code.say(
            "Twin-coil machines: a coil may have current for so many ms at most, once each time "
            f"that THROW_NORMAL or THROW_REVERSE is new. {_pulse_of(prefix)} sees to that."
        )
        _enum(pulses, code, "{}")
        code.say(f"The most ms between two calls of {_pulse_of(prefix)}.")
        _enum([("COIL_CALL_MS", face.coil_call)], code, "{}")


def _pulse_of(prefix: str) -> str:
    return f"{prefix}_pulse()"


def _enum(words: Iterable[tuple[str, int]], code: CWriter, number: str) -> None:
    code.put("enum {")
    parts = [f"    {word} = {number.format(value)}" for word, value in words]
    code.put(*(f"{part}," for part in parts[:-1]), parts[-1], "};", "")


def _structs(face: Interface, prefix: str, code: CWriter) -> None:
    if face.inputs:
        code.say("Inputs: write every field before every call.")
        _struct(f"{prefix}_inputs", ((f"uint8_t {f.name};", _about(f)) for f in face.inputs), code)
    if face.memory:
        code.say("Memory: only the functions below may write it.")
        fields = [(f"uint8_t {f.name};", _about(f)) for f in face.memory]
        fields += [
            (
                f"uint{c.bits}_t {c.name};",
                f"1 plus the milliseconds counted for {c.of.what.name}; 0 while idle",
            )
            for c in face.clocks
        ]
        _struct(f"{prefix}_memory", [*fields, ("uint16_t check;", "over all of the above")], code)
    code.say("Outputs.")
    told = []
    for lit in face.lit:
        told.append((f"uint8_t {lit.aspect};", f"ASPECT_ of signal {lit.signal.name}"))
        for head, name in zip(lit.signal.heads, lit.heads, strict=True):
            told.append((f"uint8_t {name};", f"COLOR_ of head {head.name}"))
    for points in face.points:
        if points.unlocked:
            told.append((f"bool {points.unlocked};", f"{points.device.control} may be moved"))
        if points.throw:
            told.append((f"uint8_t {points.throw};", f"THROW_ of {points.device.control}"))
    told += [(f"bool {p.name};", f"{p.indicator.kind} {p.indicator.name} is on")
             for p in face.panel]  # fmt: skip
    _struct(f"{prefix}_outputs", told, code)
    if face.pulses:
        code.say("Coils: all zero at the start, as C has what is static; none has current then.")
        _struct(f"{prefix}_coils", coil_fields(face), code)


def _struct(name: str, fields: Iterable[tuple[str, str]], code: CWriter) -> None:
    fields = list(fields)
    width = max(len(declared) for declared, _ in fields)
    code.put(f"struct {name} {{")
    for declared, about in fields:
        line = f"    {declared:<{width}}  /* {comment_safe(about)} */"
        if len(line) > 96:
            code.lines += comment(about, 1)
            line = f"    {declared}"
        code.put(line)
    code.put("};", "")


def _about(field: Field) -> str:
    words = [state.enumerator for state in field.all_states]
    return f"{field.what.kind} {field.what.name}: {', '.join(words)}"


def _prototypes(face: Interface, prefix: str, code: CWriter) -> None:
    if face.memory:
        code.say("Starts the memory; see above for when.")
        code.put(f"{_start(prefix)};", "")
    code.say("One scan. Returns false where something is out of order.")
    code.put(*_step(face, prefix, ";"))
    if face.pulses:
        code.put("")
        code.say("Coils: call it again and again, also between scans.")
        code.put(*pulse_signature(prefix, ";"))


def _start(prefix: str) -> str:
    return f"void {prefix}_start(struct {prefix}_memory *memory)"


def _step(face: Interface, prefix: str, after: str) -> list[str]:
    given = [f"const struct {prefix}_inputs *in"] * bool(face.inputs)
    given += ["uint16_t elapsed_ms"] * bool(face.clocks)
    given += [f"struct {prefix}_memory *memory"] * bool(face.memory)
    given.append(f"struct {prefix}_outputs *out")
    first, *rest = given
    lines = [f"bool {prefix}_step({first}", *(f"        {part}" for part in rest)]
    return [*(f"{line}," for line in lines[:-1]), f"{lines[-1]}){after}"]


# ------------------------------------------------------------------ functions


def _functions(face: Interface, prefix: str, code: CWriter) -> None:
    if face.inputs:
        code.say("Whether every input is in one of its states.")
        code.put(f"static bool {prefix}_inputs_are(const struct {prefix}_inputs *in)")
        _returns(all_tests(*(_is_a_state("in", f) for f in face.inputs)), code)
    if face.memory:
        _memory_functions(face, prefix, code)
    code.say("Everything at its most restrictive.")
    code.put(f"static void {prefix}_restrict(struct {prefix}_outputs *out)")
    code.open()
    code.put(*_restrictive(face))
    code.close()
    code.put("")
    code.put(*_step(face, prefix, ""))
    code.open()
    code.take(_body(face, prefix))
    code.close()
    if face.pulses:
        code.put("")
        pulse_function(face, prefix, code)


def _returns(test: Test, code: CWriter) -> None:
    code.open()
    code.test("return ", test, ";")
    code.close()
    code.put("")


def _is_a_state(struct: str, field: Field) -> Test:
    return any_test(
        *(SimpleTest(f"{struct}->{field.name} == {s.enumerator}") for s in field.all_states)
    )


def _memory_functions(face: Interface, prefix: str, code: CWriter) -> None:
    code.say("A checksum over every bit of the memory.")
    code.put(f"static uint16_t {prefix}_check(const struct {prefix}_memory *memory)")
    code.open()
    code.put("uint16_t sum = 0xA5C3u;")
    for part in _words_of(face):
        code.put(f"sum = (uint16_t)((sum * 2u) ^ (sum >> 15) ^ {part});")
    code.put("return sum;")
    code.close()
    code.put("")
    code.say("Whether the memory was started and is intact.")
    code.put(f"static bool {prefix}_memory_is(const struct {prefix}_memory *memory)")
    _returns(
        all_tests(
            SimpleTest(f"memory->check == {prefix}_check(memory)"),
            *(_is_a_state("memory", f) for f in face.memory),
            *(SimpleTest(f"memory->{c.name} <= {c.most}u") for c in face.clocks),
        ),
        code,
    )
    code.put(_start(prefix))
    code.open()
    for field in face.memory:
        code.put(f"memory->{field.name} = {field.state(field.what.usual).enumerator};")
    code.put(*(f"memory->{clock.name} = 0u;" for clock in face.clocks))
    code.put(f"memory->check = {prefix}_check(memory);")
    code.close()
    code.put("")


def _words_of(face: Interface) -> Iterator[str]:
    """The memory in words of sixteen bits or fewer."""
    yield from (f"memory->{field.name}" for field in face.memory)
    for clock in face.clocks:
        if clock.bits == 32:
            yield f"(uint16_t)(memory->{clock.name} >> 16)"
        yield f"(uint16_t)memory->{clock.name}"


def _restrictive(face: Interface) -> Iterator[str]:
    for lit in face.lit:
        aspect, colors = face.restrictive(lit.signal)
        yield f"out->{lit.aspect} = {face.aspects[aspect].enumerator};"
        for name, color in zip(lit.heads, colors, strict=True):
            yield f"out->{name} = {face.colors[color].enumerator};"
    for points in face.points:
        if points.unlocked:
            yield f"out->{points.unlocked} = false;"
        if points.throw:
            yield f"out->{points.throw} = THROW_HOLD;"
    for each in face.panel:
        yield f"out->{each.name} = {'true' if each.restrictive else 'false'};"


def _body(face: Interface, prefix: str) -> list[str]:
    names = CNames()
    world = ReportedWorld(face.whole, face.told)
    signals = SignalRules(face, world, names)
    rest = MemoryRules(face, signals, names)
    points, panel, memory = rest.points(), rest.panel(), rest.memory()
    code = CWriter(indent=1)
    if face.clocks:
        code.put("const unsigned int elapsed =")
        code.put(f"    (elapsed_ms > {LONGEST_CALL}u) ? {LONGEST_CALL}u : elapsed_ms;")
    code.take(ConditionWriter(face, signals.named.__getitem__).noticed().lines)
    code.put("", f"{prefix}_restrict(out);")
    sound = [f"{prefix}_inputs_are(in)"] * bool(face.inputs)
    sound += [f"{prefix}_memory_is(memory)"] * bool(face.memory)
    if sound:
        tests = " || ".join(f"!{test}" for test in sound)
        code.put(f"if ({tests}) {{", "    return false;", "}")
    code.put("")
    code.take(signals.written(rest.needed).lines)
    code.take(points.lines)
    code.take(panel.lines)
    code.take(memory.lines)
    if face.memory:
        code.put(f"memory->check = {prefix}_check(memory);")
    code.put("return true;")
    return code.lines
