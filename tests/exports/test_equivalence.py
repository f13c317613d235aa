"""What shows exported C to be the same as the rules: every mutant of a text is refused, or does
the same by being run; a text that compilers may read in two ways is not read at all."""

import re
from collections.abc import Iterator
from functools import cache
from random import Random

import pytest

import verifier
from tests.exports.mutants import mutants
from tests.junction_files import spec
from tests.sweep import NIGHTLY
from verifier.engines.smt.bitvectors import Numbers
from verifier.exports.c_program import BOOL, CType, parse_program
from verifier.exports.c_semantics import CMachine, CValue, Store
from verifier.exports.c_source import CExport, c_source
from verifier.exports.equivalence import Equivalent, Inconclusive, NotEquivalent, compare


@cache
def exported(name: str) -> CExport:
    return c_source(verifier.load(spec(name)), name, "0" * 64)


def with_text(export: CExport, text: str) -> CExport:
    return CExport(text, export.prefix, export.face)


# ------------------------------------------------------------------ run on plain numbers


class Runs:
    """What texts do, run by themselves, with the same numbers going in."""

    def __init__(self, export: CExport, count: int):
        self._export = export
        self._machine = self._of(export)
        chance = Random(export.prefix)
        self._cases = [self._case(chance) for _ in range(count)]
        self._known = [self._outcome(self._machine, case) for case in self._cases]

    def _of(self, export: CExport) -> CMachine[int, bool]:
        return CMachine(parse_program(export.text), Numbers(), 16)

    def _case(self, chance: Random) -> Store:
        face = self._export.face
        case: Store = {}
        for struct, fields in (("in", face.inputs), ("memory", face.memory)):
            for field in fields:
                numbers = [s.number for s in field.all_states]
                wrong = chance.random() < 0.02
                number = chance.randrange(256) if wrong else chance.choice(numbers)
                case[f"{struct}->{field.name}"] = CValue(CType(8), number)
        for clock in face.clocks:
            near = [0, 1, *(n + d for n in clock.limits.values() for d in (-900, -1, 0))]
            case[f"memory->{clock.name}"] = CValue(CType(clock.bits), chance.choice(near))
        case["elapsed"] = CValue(CType(16), chance.choice([0, 1, 20, 1000, 65_535]))
        if face.memory:
            case["memory->check"] = CValue(CType(16), 0)
            _, total = self._machine.call(f"{self._export.prefix}_check", ["memory"], case)
            assert total is not None
            case["memory->check"] = total
        return case | dict(self._nothing_yet())

    def _nothing_yet(self) -> Iterator[tuple[str, CValue]]:
        for lit in self._export.face.lit:
            yield from ((f"out->{name}", CValue(CType(8), 77)) for name in (lit.aspect, *lit.heads))
        for points in self._export.face.points:
            if points.unlocked:
                yield f"out->{points.unlocked}", CValue(BOOL, None, True)
            if points.throw:
                yield f"out->{points.throw}", CValue(CType(8), 77)

    def _outcome(self, machine: CMachine[int, bool], case: Store) -> dict[str, int | bool]:
        face = self._export.face
        given: list[CValue | str] = ["in"] * bool(face.inputs)
        given += [case["elapsed"]] * bool(face.clocks) + ["memory"] * bool(face.memory)
        after, returned = machine.call(f"{self._export.prefix}_step", [*given, "out"], case)
        assert returned is not None
        told = {name: v.truth if v.type == BOOL else v.word for name, v in after.items()}
        return {**told, "returned": returned.truth}

    def differ(self, text: str) -> bool:
        machine = self._of(with_text(self._export, text))
        return any(
            self._outcome(machine, case) != known
            for case, known in zip(self._cases, self._known, strict=True)
        )


@pytest.mark.parametrize(
    ("name", "every"),
    [("order-of-lines-mended", 1), ("lamp-out-mended", 2), ("head-by-head-mended", 3),
     ("single-track-traffic", 4), ("slow-track-relay", 3), ("electric-lock", 3)],
)  # fmt: skip
def test_every_mutant_is_refused_or_does_the_same(name: str, every: int) -> None:
    export = exported(name)
    assert isinstance(compare(export), Equivalent)
    runs = Runs(export, 150)
    refused, spared = 0, []
    for mutant in list(mutants(export.text))[:: 1 if NIGHTLY else every]:
        match compare(with_text(export, mutant.text)):
            case NotEquivalent(what=what):
                assert "read back" not in what, mutant.done
                refused += 1
            case Equivalent():
                assert not runs.differ(mutant.text), f"accepted: {mutant.done}"
                spared.append(mutant.done)
            case Inconclusive(reason=reason):
                raise AssertionError(reason)
    # What is spared sets again what is set already, or is one more than where a clock stops.
    assert refused >= 20 and len(spared) <= refused // 3, spared


def test_runs_tell_texts_apart_that_the_comparison_refuses() -> None:
    """The check of the check: by running alone, most mutants are found as well."""
    export = exported("order-of-lines-mended")
    runs = Runs(export, 150)
    every = list(mutants(export.text))
    assert sum(runs.differ(mutant.text) for mutant in every) > len(every) // 2


# ------------------------------------------------------------------ texts that are not read


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("    return true;", "    for (;;) { }\n    return true;"),
        ("    return true;", "    out->aspect_2R = ASPECT_STOP; // ASPECT_CLEAR\n    return true;"),
        ("    return true;", '    (void)"text";\n    return true;'),
        ("    return true;", "    return true ? true : other(out);"),
        ("    return true;", "    { int8_t far = 3; }\n    return true;"),
        ("    return true;", "    {\n#define ASPECT_STOP ASPECT_CLEAR\n    }\n    return true;"),
        ("    return true;", "    /* ends with a joined line \\\n */\n    return true;"),
        ("    return true;", "    /* ??/ */\n    return true;"),
        ("    return true;", "    /* é */\n    return true;"),
        ("    return true;", "    return 1 + 1;"),
        ("    return true;", ""),
        ("    uint8_t aspect_2R;", "    uint8_t aspect_2R; uint8_t other;"),
        ("    COLOR_RED = 0,", "    COLOR_RED = 9,"),
        ("    COLOR_RED = 0,", "    COLOR_RED = 0, COLOR_RED_2 = 0,"),
        ("#include <stdint.h>", "#include <stdint.h>\n#include <string.h>"),
        ("#include <stdint.h>", "#include <stdint.h>\nstatic int count;"),
        ("    return true;", "    static uint8_t kept = 1;\n    return true;"),
        ("#include <stdint.h>", "#include <stdint.h>\ntypedef int uint8_t;"),
        ("    uint8_t aspect_2R;", "    uint8_t aspect_2R : 4;"),
        ("    COLOR_RED = 0,", "    COLOR_RED = 010,"),
        ("    COLOR_RED = 0,", "    COLOR_RED = 1 - 1,"),
    ],
)
def test_what_is_not_of_the_kind_that_is_exported_is_refused(old: str, new: str) -> None:
    export = exported("order-of-lines-mended")
    assert old in export.text
    assert isinstance(compare(with_text(export, export.text.replace(old, new, 1))), NotEquivalent)


STEP = "bool order_of_lines_mende_step("
HIDDEN = "#ifndef {}\n    out->head_2R = COLOR_RED;\n#endif\n    return true;"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        # What a compiler leaves out, since the macro is there: its own, a header's, the file's.
        ("    return true;", HIDDEN.format("__GNUC__")),
        ("    return true;", HIDDEN.format("UINT8_MAX")),
        ("    return true;", HIDDEN.format("ORDER_OF_LINES_MENDE_INCLUDED")),
        ("    return true;", "#ifndef COLOR_RED\n#define COLOR_RED\n#endif\n    return true;"),
        ("#include <stdint.h>", ""),
        ("#ifndef ORDER_OF_LINES_MENDE_INCLUDED\n", ""),
        ("    return true;", "#pragma pack(1)\n    return true;"),
        ("    return true;", '    _Pragma("once")\n    return true;'),
        ("    return true;", "%:define true false\n    return true;"),
        ("    return true;", "    return true ??!??! false;"),
        # What is said of functions, fields and variables beyond their types.
        ("static void", "static __attribute__((weak)) void"),
        (f"\n{STEP}", f"\n_Noreturn {STEP}"),
        (f"\n{STEP}", f"\nstatic {STEP}"),
        ("    uint8_t aspect_2R;", "    _Alignas(16) uint8_t aspect_2R;"),
        ("    uint8_t aspect_2R;", "    volatile uint8_t aspect_2R;"),
        ("    return true;", "    { volatile bool b = true; }\n    return true;"),
        # Functions that are others, or more.
        ("static void", "bool other(void)\n{\n    return true;\n}\nstatic void"),
        ("static void", "static bool main(void)\n{\n    return true;\n}\nstatic void"),
        ("_outputs *out);", "_outputs *out, uint8_t more);"),
        ("_inputs *in)", "_outputs *in)"),
        # Names that stand for two things.
        ("_outputs *out", "_outputs *BLOCK_CLEAR"),
        ("    return true;", "    { const bool BLOCK_CLEAR = true; }\n    return true;"),
        # Statements and expressions that no export has.
        ("_restrict(out);", "_restrict(out), order_of_lines_mende_restrict(out);"),
        ("    order_of_lines_mende_restrict(out);", "    (*order_of_lines_mende_restrict)(out);"),
        ("    return true;", "    goto end;\n    end: return true;"),
        ("    return true;", "    return false, true;"),
        ("    return true;", "    return (bool){true};"),
        ("    return true;", "    return sizeof(*out) > 1u;"),
        ("    return true;", "    return 1.0;"),
        ("    return true;", "    if (out->aspect_2R = 1) { }\n    return true;"),
        ("    return true;", "    if (true) ; else { }\n    return true;"),
        ("    return true;", "    return;"),
        ("    COLOR_DARK = 1,", "    COLOR_DARK = 4294967297,"),
        ("\n", "\r\n"),
    ],
)  # fmt: skip
def test_what_a_compiler_may_heed_and_a_reader_overlook_is_refused(old: str, new: str) -> None:
    export = exported("order-of-lines-mended")
    assert old in export.text
    found = compare(with_text(export, export.text.replace(old, new)))
    assert isinstance(found, NotEquivalent) and "read back" in found.what, found


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (">= 6002u", ">= 6001u"),
        ("> 1000u) ? 1000u", "> 1000u) ? 999u"),
        ("> 1000u) ? 1000u : elapsed_ms", "> 1000u) ? 1000u : elapsed_ms + 1u"),
        ("clock_Switch_track = 1u", "clock_Switch_track = 0u"),
        ("(uint16_t)(memory->clock_Switch_track +", "(uint8_t)(memory->clock_Switch_track +"),
        ("const unsigned int elapsed", "const uint8_t elapsed"),
        ("(memory->clock_Switch_track <= 6002u)", "(memory->clock_Switch_track <= 6003u)"),
        ("in->block_Main == BLOCK_CLEAR))", "in->block_House_Track == BLOCK_CLEAR))"),
        ("check = slow_track_relay_check(memory);\n    return", "check = 7u;\n    return"),
        ("if (!slow_track_relay_inputs_are(in) ||", "if (!slow_track_relay_inputs_are(in) &&"),
    ],
)  # fmt: skip
def test_a_single_slip_is_refused(old: str, new: str) -> None:
    export = exported("slow-track-relay")
    assert old in export.text
    found = compare(with_text(export, export.text.replace(old, new)))
    assert isinstance(found, NotEquivalent) and found.values, found


def test_a_slip_that_is_none_is_the_same() -> None:
    export = exported("slow-track-relay")
    old = "= (uint16_t)(memory->clock_Switch_track + elapsed)"
    assert old in export.text
    same = export.text.replace(old, "= memory->clock_Switch_track + elapsed")
    assert isinstance(compare(with_text(export, same)), Equivalent)


def test_a_check_that_overlooks_a_bit_is_refused() -> None:
    export = exported("slow-track-relay")
    for old, new in (
        ("(sum * 2u) ^ (sum >> 15) ^ (uint16_t)", "(sum >> 3) ^ (uint16_t)"),
        (" ^ (uint16_t)memory->clock_Switch_track", ""),
        ("return sum;", "return 7u;"),
    ):  # fmt: skip
        assert old in export.text
        found = compare(with_text(export, export.text.replace(old, new)))
        assert isinstance(found, NotEquivalent) and "flips" in found.what, found


def test_a_check_that_counts_a_bit_twice_is_refused() -> None:
    export = exported("slow-track-relay")
    found = re.findall(r"    sum = .*memory->.*;\n", export.text)
    assert len(found) > 1
    for line in found:
        twice = compare(with_text(export, export.text.replace(line, line * 2)))
        assert isinstance(twice, NotEquivalent) and "flips" in twice.what, twice


def test_no_time_is_undecided_and_never_equal() -> None:
    assert isinstance(compare(exported("slow-track-relay"), timeout=1e-6), Inconclusive)
