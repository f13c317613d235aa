"""The program around an exported board, whole and unchanged, on an 8-bit controller in its
simulator, pin by pin.

In: an export, and for each step which inputs are closed. Out: which outputs are on at the end of
each step. A closed input is a pin held low; an open one is left to the pull-up that the program
gives it. The world goes on after each millisecond of the program, where it resets the watchdog.
"""

import re
import subprocess
from collections.abc import Sequence
from pathlib import Path

from tests.exports.compiled import AVR, SIMULATOR, SMALL
from verifier.exports.c_source import CExport
from verifier.exports.skeleton import pins_of, skeleton

# Longer than an input bounces, by which it counts.
STEP_MS = 22
# Timer 0 comes round more often than on a board, as the program counts how often it does, and goes
# by no other time: after so many times 64 cycles, or as soon as the last millisecond is done with.
_TICK = 20

_WORLD = """\
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
static void world(void);
#undef wdt_reset
#define wdt_reset() do {{ __asm__ __volatile__ ("wdr"); world(); }} while (0)
#include "board.c"
static const uint32_t closed_at[] PROGMEM = {{ {rows} }};
static void put(char c)
{{
    loop_until_bit_is_set(UCSR0A, UDRE0);
    UDR0 = (uint8_t)c;
}}
/* The ports themselves: what a wire at the pin has. */
static bool is_high(uint8_t pin)
{{
    const uint8_t ways = pin < 8 ? DDRD : pin < 14 ? DDRB : DDRC;
    const uint8_t levels = pin < 8 ? PORTD : pin < 14 ? PORTB : PORTC;
    const uint8_t bit = (uint8_t)(pin < 8 ? pin : pin < 14 ? pin - 8 : pin - 14);
    return (ways >> bit & 1) && (levels >> bit & 1);
}}
static void wire(uint8_t pin, bool is_closed)
{{
    volatile uint8_t *way = pin < 8 ? &DDRD : pin < 14 ? &DDRB : &DDRC;
    volatile uint8_t *level = pin < 8 ? &PORTD : pin < 14 ? &PORTB : &PORTC;
    const uint8_t bit = (uint8_t)(1 << (pin < 8 ? pin : pin < 14 ? pin - 8 : pin - 14));
    *level = (uint8_t)(is_closed ? *level & ~bit : *level | bit);
    *way = (uint8_t)(is_closed ? *way | bit : *way & ~bit);
}}
static void world(void)
{{
    static uint16_t step;
    static uint8_t passed;
    if (step > 0 && ++passed < {step_ms}) return;
    passed = 0;
    UCSR0B = 1 << TXEN0;
    OCR0A = {tick};
    for (uint8_t i = 0; step > 0 && i < {outputs}; i++)
        put(is_high({inputs} + i) == output_on[i] ? '1' : '0');
    if (step > 0) put('\\n');
    if (step == {steps}) {{
        cli();
        sleep_enable();
        sleep_cpu();
    }}
    const uint32_t now = pgm_read_dword(&closed_at[step++]);
    for (uint8_t i = 0; i < {inputs}; i++) wire(i, now >> i & 1);
}}
"""


def run_on_pins(export: CExport, closed: Sequence[str], folder: Path) -> list[str]:
    """The outputs at the end of each step, as ``0`` and ``1`` in the order of the pin table.
    ``closed``: the inputs of each step, alike."""
    pins = pins_of(export)
    rows = (sum(1 << i for i, one in enumerate(step) if one == "1") for step in closed)
    world = _WORLD.format(
        rows=", ".join(f"{row}ul" for row in rows), steps=len(closed), step_ms=STEP_MS, tick=_TICK,
        inputs=len(pins.inputs), outputs=len(pins.outputs),
    )  # fmt: skip
    (folder / "core.c").write_text(export.text, "utf-8")
    (folder / "board.c").write_text(skeleton(export, "core.c"), "utf-8")
    (folder / "world.c").write_text(world, "utf-8")
    build = [str(AVR), *SMALL, "-DF_CPU=16000000UL", "world.c", "-o", "board.elf"]
    subprocess.run(build, cwd=folder, check=True, timeout=60)
    done = subprocess.run(
        [str(SIMULATOR), "-m", "atmega328p", "-f", "16000000", "board.elf"],
        cwd=folder, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    plain = re.sub(r"\x1b\[[\d;]*m", "", done.stdout + done.stderr)
    return re.findall(rf"(?<!\d)[01]{{{len(pins.outputs)}}}(?=\.)", plain)
