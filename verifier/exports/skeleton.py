"""A program around the exported rules: pins, debouncing, flashing, dimming, coils, other boards.

In: an export. Out: C that compiles for an 8-bit controller (ATmega328P, avr-gcc) and, with
``BOARD_HOST``, for any host, where a simulator gives the pins. It is not proved; the tests run it
pin by pin beside the stepper. It only reads pins into `in`, and brings `out` to pins.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from verifier.exports.c_source import CExport
from verifier.exports.c_text import comment_safe
from verifier.exports.interface import Field, Interface
from verifier.exports.skeleton_text import TEXT
from verifier.plan.model import Head, Plan
from verifier.plan.signals.colors import steady
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.hearing import told, wires_of
from verifier.world.report_abstraction import lamp_out

# Pins of the ATmega328P that a program may use: ports D, B (without the crystal) and C (without
# the reset).
PINS = 20
_ALL_OPEN = {"block report": "occupied", "points report": "moving", "derail report": "moving",
             "gate report": "open"}  # fmt: skip
_START = "start button: held for a second when all is as the proof begins"


@dataclass(slots=True)
class Pins:
    """What is wired to a board, pin by pin: its inputs first, then its outputs, in words. ``low``:
    for each output whether it is on while low; ``lamps``: whether it lights one; ``firsts``: for
    each input the first of those that count together."""

    inputs: list[str] = field(default_factory=list)
    outputs: list[str] = field(default_factory=list)
    low: list[bool] = field(default_factory=list)
    lamps: list[bool] = field(default_factory=list)
    firsts: list[int] = field(default_factory=list)

    def read(self, what: str) -> str:
        """The test that a new input is closed."""
        return self.read_together(what)[0]

    def read_together(self, *whats: str) -> tuple[str, ...]:
        """The tests that new inputs are closed, which another board sets together: none of them
        counts until all have been the same for a while."""
        first = len(self.inputs)
        self.inputs += whats
        self.firsts += [first] * len(whats)
        return tuple(f"closed({first + n})" for n in range(len(whats)))

    def drive(self, what: str, *, low: bool = False, lamp: bool = False) -> int:
        """The number of a new output."""
        self.outputs.append(what)
        self.low.append(low)
        self.lamps.append(lamp)
        return len(self.outputs) - 1


def skeleton(export: CExport, core: str) -> str:
    """The program, and ``core`` is what the file with the rules is called."""
    face, prefix = export.face, export.prefix
    pins = Pins()
    reads = list(_reads(face, pins))
    starts = pins.read(_START) if face.memory else ""
    writes = list(_writes(face, prefix, pins))
    count = len(pins.inputs) + len(pins.outputs)
    text = TEXT
    words = {
        "CORE": core, "PREFIX": prefix,
        "INPUTS": str(max(1, len(pins.inputs))), "OUTPUTS": str(max(1, len(pins.outputs))),
        "INPUT_PINS": _table(pins.inputs, 0), "OUTPUT_PINS": _table(pins.outputs, len(pins.inputs)),
        "OUTPUT_ON": ", ".join("01"[not low] for low in pins.low) or "1",
        "FIRSTS": ", ".join(map(str, pins.firsts)) or "0",
        "IS_LAMP": ", ".join("01"[lamp] for lamp in pins.lamps) or "0",
        "STATE": _lines(_state(face, prefix), 0), "READS": _lines(reads, 1),
        "STEP": _lines(_step(face, prefix, starts), 2), "WRITES": _lines(writes, 1),
        "PINS": str(count), "HAS": str(PINS),
        "ENOUGH": "" if count <= PINS else (
            f'#error "{count} pins are needed, and this controller has {PINS}: use a larger one, '
            'or shift registers behind board_closed() and board_output()"\n'
        ),
    }  # fmt: skip
    for name, value in words.items():
        text = text.replace(f"@{name}@", value)
    return text


def pins_of(export: CExport) -> Pins:
    """What is wired to the pins, in their order."""
    pins = Pins()
    list(_reads(export.face, pins))
    if export.face.memory:
        pins.read(_START)
    list(_writes(export.face, export.prefix, pins))
    return pins


def _table(words: Sequence[str], first: int) -> str:
    rows = [f"    {first + n:2},  /* {n}: {comment_safe(what)} */" for n, what in enumerate(words)]
    return "\n".join(rows) or "    0  /* none */"


def _lines(lines: Iterable[str], indent: int) -> str:
    return "\n".join(f"{'    ' * indent}{line}".rstrip() for line in lines)


# ------------------------------------------------------------------ inputs


def _reads(face: Interface, pins: Pins) -> Iterator[str]:
    for one in face.inputs:
        yield f"in.{one.name} = {_read(one, face, pins)};"


def _read(one: Field, face: Interface, pins: Pins) -> str:
    plan, what = face.whole, one.what
    wiring = plan.wiring

    def state(value: str) -> str:
        return one.state(value).enumerator

    match what.kind:
        case "block report":
            detectors = wiring.detectors_of(what.name)
            tests = [
                ("!" if d.closed_when == "occupied" else "") + pins.read(f"detector {d.name}")
                for d in detectors
            ] or [pins.read(f"{what.name}: closed when clear")]
            return f"{' && '.join(tests)} ? {state('clear')} : {state('occupied')}"
        case "points report" | "derail report" | "gate report":
            machine = wiring.machines.get(what.name)
            legs = (machine.contacts if machine else None) or what.values[:2]
            rest = _ALL_OPEN[what.kind]
            if len(legs) == 1:
                other = next(v for v in what.values[:2] if v != legs[0])
                test = pins.read(f"{what.name} {legs[0]} contact")
                return f"{test} ? {state(legs[0])} : {state(other)}"
            one_, two = (pins.read(f"{what.name} {leg} contact") for leg in legs)
            return (
                f"{one_} && !{two} ? {state(legs[0])} :\n        {two} && !{one_} ? "
                f"{state(legs[1])} : {state(rest)}"
            )
        case "lever":
            panel = wiring.panel.get(what.name)
            closed = panel.contacts if panel else what.values
            rest = next((v for v in what.values if v not in closed), what.usual)
            each = [(v, pins.read(f"lever {what.name} {v} contact")) for v in closed]
            chosen = "".join(f"{test} ? {state(v)} :\n        " for v, test in each)
            return f"{chosen}{state(rest)}"
        case "button":
            panel = wiring.panel.get(what.name)
            released = panel is not None and panel.contacts == ("released",)
            test = ("!" if released else "") + pins.read(f"button {what.name}")
            return f"{test} ? {state('pressed')} : {state('released')}"
        case "relay":
            return f"{pins.read(f'{what.name} up')} ? {state('up')} : {state('down')}"
        case "timer":
            running, done = pins.read_together(f"{what.name} running", f"{what.name} done")
            return (
                f"{done} ? {state('done')} :\n        {running} ? {state('running')} : "
                f"{state('idle')}"
            )
        case "aspect":
            return _aspect_told(one, plan, pins)
        case "traffic":
            test = pins.read(f"traffic {what.name} leftward")
            return f"{test} ? {state('leftward')} : {state('rightward')}"
        case _:
            lit, out = one.states
            heads = (h for s in plan.signals.values() for h in s.heads)
            head = next(h for h in heads if lamp_out(h.name) == what)
            train = _train_before(head, face)
            dark = f"!({train}) || " if train and not head.tested else ""
            test = pins.read(f"{what.name} lights")
            return f"{dark}{test} ? {lit.enumerator} : {out.enumerator}"


def _aspect_told(one: Field, plan: Plan, pins: Pins) -> str:
    """Of the wires that tell an aspect just one is closed, or none. More than one is none of its
    states: then the board shows what is most restrictive."""
    name = one.what.name
    closed = wires_of(("signal", name), plan)
    rest = next(v for v in one.what.values if v not in closed)
    tests = pins.read_together(*(f"{name} {value}" for value in closed))
    chosen = "".join(
        f"{test} ? {one.state(v).enumerator} :\n        "
        for v, test in zip(closed, tests, strict=True)
    )
    several = f"{' + '.join(tests)} > 1 ? 0u :\n        " if tests[1:] else ""
    return f"{several}{chosen}{one.state(rest).enumerator}"


# ------------------------------------------------------------------ outputs


def _writes(face: Interface, prefix: str, pins: Pins) -> Iterator[str]:
    board = face.board
    for lit in face.lit:
        for head, name in zip(lit.signal.heads, lit.heads, strict=True):
            if board is not None and head.name not in board.heads:
                continue
            yield from _light(head, name, face, pins)
    for each in face.panel:
        if board is not None and each.indicator.name not in board.indicators:
            continue
        bell = each.indicator.bell
        number = pins.drive(f"{each.indicator.kind} {each.indicator.name}", lamp=not bell)
        yield f"{'drive' if bell else 'drive_lamp'}({number}, out.{each.name});"
    for points in face.points:
        name = points.device.name
        if points.throw and points.twin_coil and points.timed is None:
            yield f"/* {comment_safe(name)}: no `pulse` in the file: its coils are not driven. */"
        elif points.throw and (board is None or name in board.throws):
            for to, word in zip(points.device.positions, ("NORMAL", "REVERSE"), strict=False):
                number = pins.drive(f"machine {name} {to}")
                if points.timed is not None:
                    yield f"drive({number}, coils.{points.timed.coil} == THROW_{word});"
                else:
                    yield f"drive({number}, {_last(points.throw)} == THROW_{word});"
        if points.unlocked and (board is None or name in board.unlocks):
            yield f"drive({pins.drive(f'lock {name}')}, out.{points.unlocked});"
    for source in told(board, face.whole) if board is not None else ():
        if source[0] == "signal":
            yield from _tell_aspect(source[1], face, pins)
            continue
        found = next((f for f in face.memory if f.what.name == source[1]), None)
        for value in wires_of(source, face.whole) if found is not None else ():
            number = pins.drive(f"{source[1]} {value}")
            assert found is not None
            state = found.state(value).enumerator
            yield f"drive({number}, started && memory.{found.name} == {state});"


def _tell_aspect(signal: str, face: Interface, pins: Pins) -> Iterator[str]:
    lit = next(lit for lit in face.lit if lit.signal.name == signal)
    for value in wires_of(("signal", signal), face.whole):
        number = pins.drive(f"{signal} {value}")
        yield f"drive({number}, out.{lit.aspect} == {face.aspects[value].enumerator});"


def _light(head: Head, name: str, face: Interface, pins: Pins) -> Iterator[str]:
    """The outputs of a head. An arm is held by a steady current: its coil is not dimmed."""
    driver = face.whole.wiring.driver_of(head.name)
    low = driver is not None and driver.sold_as(head.name).common == "anode"
    arm = head.make == "semaphore"
    kind, call = ("arm", "drive") if arm else ("lamp", "drive_lamp")
    for lamp in head.lamps:
        number = pins.drive(f"{kind} {head.name} {lamp}", low=low, lamp=not arm)
        shown = (c for c in map(steady, head.color.values) if c != "dark")
        colors = dict.fromkeys(c for c in shown if lamp in head.lamps_of(c))
        words = [face.colors[color].enumerator for color in colors]
        tests = (f"out.{name} == {w}" if arm else f"lit(out.{name}, {w})" for w in words)
        test = " || ".join(tests)
        train = _train_before(head, face)
        yield f"{call}({number}, {f'{train} && ({test})' if train else test});"


def _train_before(head: Head, face: Interface) -> str:
    """The test that a train lights a head; empty where it is always lit."""
    signal = face.whole.signals[signal_of(head.name, face.whole.signals)]
    if signal.lit is None or not head.approach:
        return ""
    field = face.by_what[signal.lit.what]
    return f"in.{field.name} == {field.state('occupied').enumerator}"


def _last(throw: str) -> str:
    return f"last_{throw}"


def _state(face: Interface, prefix: str) -> Iterator[str]:
    if face.inputs:
        yield f"static struct {prefix}_inputs in;"
    if face.memory:
        yield f"static struct {prefix}_memory memory;"
        yield "static uint16_t start_held;"
    yield f"static struct {prefix}_outputs out;"
    if face.pulses:
        yield f"static struct {prefix}_coils coils;"
    yield from (f"static uint8_t {_last(throw)};" for throw in _steady(face))


def _steady(face: Interface) -> list[str]:
    """What throws motors that get current all the time."""
    return [p.throw for p in face.points if p.throw is not None and not p.twin_coil]


def _step(face: Interface, prefix: str, starts: str) -> Iterator[str]:
    if starts:
        yield f"start_held = {starts} ? (uint16_t)(start_held + (start_held < 1000u)) : 0u;"
        yield "if (!started && start_held == 1000u) {"
        yield f"    {prefix}_start(&memory);"
        yield "}"
    given = ["&in"] * bool(face.inputs) + ["1u"] * bool(face.clocks)
    given += ["&memory"] * bool(face.memory) + ["&out"]
    yield f"started = {prefix}_step({', '.join(given)});"
    if face.pulses:
        yield f"{prefix}_pulse(&out, 1u, &coils);"
    for throw in _steady(face):
        yield f"if (out.{throw} != THROW_HOLD) {{"
        yield f"    {_last(throw)} = out.{throw};"
        yield "}"
