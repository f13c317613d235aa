"""Exported C compiled and run: for this machine, and for an 8-bit controller in its simulator.

A *case* is what goes into one call: a number for each input, each thing remembered, each clock,
and the time passed. What comes out is a number for each output and for what is remembered next.
"""

import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

import pytest

from tests.differential.steps import any_moments, walk
from verifier.exports.c_source import CExport, c_source
from verifier.exports.interface import Field
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.derive_equipment import without_wiring
from verifier.reference.step import Stepper
from verifier.reference.transition import Transition, Valuation

GCC, AVR, SIMULATOR = (shutil.which(name) for name in ("gcc", "avr-gcc", "simavr"))
needs_gcc = pytest.mark.skipif(GCC is None, reason="needs a C compiler (Debian's package gcc)")
needs_avr = pytest.mark.skipif(
    not (AVR and SIMULATOR), reason="needs Debian's packages gcc-avr, avr-libc and simavr"
)
STRICT = ("-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Wconversion", "-O2")
SMALL = ("-std=c99", "-Wall", "-Wextra", "-Werror", "-mmcu=atmega328p", "-Os")

Case = tuple[int, ...]


def exported(plan: Plan) -> CExport:
    return c_source(plan, "junction", "0" * 64)


# ------------------------------------------------------------------ what goes in and comes out


def fields_in(export: CExport) -> list[str]:
    face = export.face
    names = [f"in.{f.name}" for f in face.inputs]
    names += [f"memory.{f.name}" for f in face.memory]
    return [*names, *(f"memory.{clock.name}" for clock in face.clocks)]


def fields_out(export: CExport) -> list[str]:
    face = export.face
    names = [f"out.{name}" for lit in face.lit for name in (lit.aspect, *lit.heads)]
    for points in face.points:
        names += [f"out.{name}" for name in (points.unlocked, points.throw) if name]
    return [*names, *(f"memory.{f.name}" for f in face.memory)]


def call(export: CExport) -> str:
    face, prefix = export.face, export.prefix
    given = ["&in"] * bool(face.inputs) + ["elapsed"] * bool(face.clocks)
    given += ["&memory"] * bool(face.memory) + ["&out"]
    check = f"memory.check = {prefix}_check(&memory); " if face.memory else ""
    return f"{check}sound = {prefix}_step({', '.join(given)});"


def variables(export: CExport) -> str:
    face, prefix = export.face, export.prefix
    made = [f"struct {prefix}_outputs out;", "bool sound;"]
    made += [f"struct {prefix}_inputs in;"] * bool(face.inputs)
    made += [f"struct {prefix}_memory memory;"] * bool(face.memory)
    made += ["uint16_t elapsed = 0;"] * bool(face.clocks)
    return " ".join(made)


MAIN = """\
#include <stdio.h>
#include "junction.c"
int main(void) {{
    {variables}
    unsigned long n;
    for (;;) {{
        {reads}
        {call}
        printf("%d", (int)sound);
        {prints}
        printf("\\n");
    }}
}}
"""


def run(export: CExport, cases: Sequence[Case], folder: Path) -> list[Case]:
    """What comes out of each case: whether all was in order, then :func:`fields_out`. The file by
    itself must pass the strictest reading; what drives it here need not."""
    read = 'if (scanf("%lu", &n) != 1) return 0;'
    # One number a case even where nothing goes in.
    reads = " ".join(f"{read} {name} = n;" for name in fields_in(export)) or read
    prints = " ".join(f'printf(" %lu", (unsigned long){name});' for name in fields_out(export))
    program = MAIN.format(
        variables=variables(export), reads=reads, call=call(export), prints=prints
    )
    (folder / "junction.c").write_text(export.text, encoding="utf-8")
    (folder / "main.c").write_text(program, encoding="utf-8")
    for arguments in ((*STRICT, "-c", "junction.c", "-o", "junction.o"),
                      ("-std=c99", "-O1", "main.c", "-o", "main")):  # fmt: skip
        subprocess.run([str(GCC), *arguments], cwd=folder, check=True, timeout=60)
    given = "\n".join(" ".join(map(str, case or (0,))) for case in cases) + "\n"
    done = subprocess.run(
        [str(folder / "main")], input=given, capture_output=True, text=True, check=True, timeout=60
    )
    return [tuple(map(int, line.split())) for line in done.stdout.splitlines()]


# ------------------------------------------------------------------ what the stepper makes of it


@dataclass(frozen=True)
class Known:
    """Cases, what the stepper says comes out of each, and by turnout how it was told to lie and
    how it is told to lie next."""

    cases: list[Case]
    wanted: list[Case]
    thrown: list[Mapping[str, tuple[str, str]]]


def as_one_program(plan: Plan) -> Plan:
    """The same plan; its memory acts in the order of the file, as C does."""
    building = replace(plan.locking.building, kind="as one program")
    return replace(plan, locking=replace(plan.locking, building=building))


def known(export: CExport, number: int, chance: Random) -> Known:
    """Moments put together at random and moments of histories, looked at and gone on from by the
    stepper, which knows neither expressions nor C."""
    stepper = Stepper(without_wiring(as_one_program(export.face.whole)))
    moments = any_moments(stepper, number // 2, chance)
    steps = [stepper.step(moment) for moment in moments]
    while len(moments) < number:
        more, then = walk(stepper, min(25, number - len(moments)), chance)
        moments += more
        steps += then
    pairs = list(zip(moments, steps, strict=True))
    return Known(
        [goes_in(export, stepper, *pair) for pair in pairs],
        [comes_out(export, *pair) for pair in pairs],
        [
            {
                points.device.name: (moment[told], step.successor[told])
                for points in export.face.points
                if points.throw
                for told in [points.device.told]
            }
            for moment, step in pairs
        ],
    )


def goes_in(export: CExport, stepper: Stepper, moment: Valuation, step: Transition) -> Case:
    face = export.face
    numbers = [_number(f, step.observed) for f in face.inputs]
    numbers += [_number(f, moment) for f in face.memory]
    for clock in face.clocks:
        over = _is_over(stepper, moment, clock.of.what)
        limits = [n for to, n in clock.limits.items() if _waits(moment[clock.of.what], to)]
        numbers.append(max(limits, default=0) if over else 0)
    return tuple(numbers)


def _waits(state: str, to: str) -> bool:
    return {"up": "down", "down": "up", "done": "running"}[to] == state


def _is_over(stepper: Stepper, moment: Valuation, what: Observable) -> bool:
    clock = stepper.variables.clock(what.name)
    chosen = moment[observables.choice("expiry", what.name)] == "yes"
    return chosen and (clock is None or moment[clock] == "running")


def _number(field: Field, states: Mapping[Observable, str]) -> int:
    return field.state(states.get(field.what, field.what.usual)).number


def comes_out(export: CExport, moment: Valuation, step: Transition) -> Case:
    face = export.face
    numbers = [1]
    for lit in face.lit:
        numbers.append(face.aspects[step.observed[lit.signal.aspect]].number)
        numbers += [face.colors[step.observed[head.color]].number for head in lit.signal.heads]
    for points in face.points:
        # How they are told to lie is looked at apart: the C says nothing where nothing changes.
        numbers += [-1] * ((points.unlocked is not None) + (points.throw is not None))
    numbers += [f.state(step.successor[f.what]).number for f in face.memory]
    return tuple(numbers)


def differences(export: CExport, cases: Known, made: Sequence[Case]) -> list[str]:
    """Where the C and the stepper part, in words."""
    names = ["sound", *fields_out(export)]
    legs = {p.device.name: p.device.positions for p in export.face.points}
    throws = {p.device.name: names.index(f"out.{p.throw}") for p in export.face.points if p.throw}
    found = []
    for i, (case, wanted, got) in enumerate(zip(cases.cases, cases.wanted, made, strict=True)):
        for name, one, other in zip(names, wanted, got, strict=True):
            if one not in (other, -1):
                found.append(f"{name}: {other}, not {one}, for {case}")
        for turnout, (now, following) in cases.thrown[i].items():
            if dict(enumerate(legs[turnout], 1)).get(got[throws[turnout]], now) != following:
                found.append(f"{turnout} is thrown otherwise than {following}, for {case}")
    return found


# ------------------------------------------------------------------ an 8-bit controller


SMALL_MAIN = """\
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/sleep.h>
#include <stdio.h>
#include "junction.c"
static int put(char c, FILE *to) {{
    (void)to;
    loop_until_bit_is_set(UCSR0A, UDRE0);
    UDR0 = (uint8_t)c;
    return 0;
}}
static FILE line = FDEV_SETUP_STREAM(put, NULL, _FDEV_SETUP_WRITE);
static const uint32_t cases[][{width}] PROGMEM = {{ {cases} }};
int main(void) {{
    {variables}
    UCSR0B = 1 << TXEN0;
    stdout = &line;
    for (uint16_t i = 0; i < {count}; i++) {{
        {reads}
        {call}
        printf("%d", (int)sound);
        {prints}
        printf("\\n");
    }}
    cli();
    sleep_enable();
    sleep_cpu();
}}
"""


def run_small(export: CExport, cases: Sequence[Case], folder: Path) -> list[Case]:
    """The same on an 8-bit controller in its simulator, which ends when the controller sleeps for
    good."""
    ins = fields_in(export)
    reads = " ".join(f"{name} = pgm_read_dword(&cases[i][{n}]);" for n, name in enumerate(ins))
    prints = " ".join(f'printf(" %lu", (unsigned long){name});' for name in fields_out(export))
    rows = ", ".join("{" + ", ".join(f"{n}ul" for n in case or (0,)) + "}" for case in cases)
    program = SMALL_MAIN.format(
        width=max(len(ins), 1), cases=rows, variables=variables(export), count=len(cases),
        reads=reads, call=call(export), prints=prints,
    )  # fmt: skip
    (folder / "junction.c").write_text(export.text, encoding="utf-8")
    (folder / "small.c").write_text(program, encoding="utf-8")
    build = [str(AVR), *SMALL, "-Wno-conversion", "small.c", "-o", "small.elf"]
    subprocess.run(build, cwd=folder, check=True, timeout=60)
    done = subprocess.run(
        [str(SIMULATOR), "-m", "atmega328p", "-f", "16000000", "small.elf"],
        cwd=folder, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    said = re.findall(
        r"\b\d+(?: \d+)*(?=\.)", re.sub(r"\x1b\[[\d;]*m", "", done.stdout + done.stderr)
    )
    return [tuple(map(int, line.split())) for line in said]


def sizes(export: CExport, folder: Path) -> tuple[int, int]:
    """Bytes of program, and of what is remembered between calls, on the 8-bit controller."""
    (folder / "junction.c").write_text(export.text, encoding="utf-8")
    build = [str(AVR), *SMALL, "-c", "junction.c", "-o", "junction.o"]
    subprocess.run(build, cwd=folder, check=True, timeout=60)
    found = subprocess.run(
        ["avr-size", "junction.o"], cwd=folder, capture_output=True, text=True, check=True
    )
    text, data, bss = map(int, found.stdout.splitlines()[1].split()[:3])
    words = sum(clock.bits // 8 for clock in export.face.clocks) + len(export.face.memory)
    return text + data, bss + words + 2 * bool(export.face.memory)
