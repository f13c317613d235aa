"""Delays of exported C by a clock on the wall: never sooner than the file says, later by two
calls at most, and begun anew when what they wait for has ceased.

The clock knows fractions of a millisecond; the C is told whole ones, as a counter reads."""

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from random import Random

import pytest

import verifier
from tests.junction_files import spec
from verifier.engines.smt.bitvectors import Numbers
from verifier.exports.c_program import BOOL, CType, parse_program
from verifier.exports.c_semantics import CMachine, CValue, Store
from verifier.exports.c_source import CExport, c_source
from verifier.exports.interface import LONGEST_CALL
from verifier.plan.observables import Observable

SLOW_BOTH_WAYS = """
edge W, E
block A, B
track W = A | B = E
relay Late picks when B clear slow to pick 2 s slow to release 65 s
timer Wait 1.5 s runs while A occupied
signal 2 at A | B
  Clear when Late up and Wait done
  Stop otherwise
"""


@dataclass
class Controller:
    """A program that is called again and again. ``inputs``: what comes in, each as it usually
    is until it is changed."""

    export: CExport
    inputs: dict[str, int] = field(default_factory=dict)
    state: Store = field(default_factory=dict)

    def __post_init__(self) -> None:
        face = self.export.face
        self._machine = CMachine(parse_program(self.export.text), Numbers(), 16)
        for name in (n for lit in face.lit for n in (lit.aspect, *lit.heads)):
            self.state[f"out->{name}"] = CValue(CType(8), 0)
        for points in face.points:
            if points.unlocked:
                self.state[f"out->{points.unlocked}"] = CValue(BOOL, None, False)
            if points.throw:
                self.state[f"out->{points.throw}"] = CValue(CType(8), 0)
        for found in face.memory:
            self.state[f"memory->{found.name}"] = CValue(CType(8), 0)
        for clock in face.clocks:
            self.state[f"memory->{clock.name}"] = CValue(CType(clock.bits), 0)
        self.state["memory->check"] = CValue(CType(16), 0)
        for found in face.inputs:
            self.put(found.what, found.what.usual)

    def put(self, what: Observable, value: str) -> None:
        found = self.export.face.by_what[what]
        self.state[f"in->{found.name}"] = CValue(CType(8), found.state(value).number)

    def start(self) -> None:
        name = f"{self.export.prefix}_start"
        self.state, _ = self._machine.call(name, ["memory"], self.state)

    def any_state(self, chance: Random) -> dict[str, str]:
        """Puts anything in and has anything remembered, each delay over or not begun. Says what,
        as a truth table has it."""
        face, said = self.export.face, {}
        for found in (*face.inputs, *face.memory):
            state = chance.choice(found.states)
            self.state[face.place(found)] = CValue(CType(8), state.number)
            said[f"{found.what.kind.removesuffix(' report')} {found.what.name}"] = state.value
        for clock in face.clocks:
            over = chance.random() < 0.5
            number = clock.most if over else 0
            self.state[f"memory->{clock.name}"] = CValue(CType(clock.bits), number)
            said[f"delay of {clock.of.what.name} over"] = "yes" if over else "no"
        name = f"{self.export.prefix}_check"
        _, check = self._machine.call(name, ["memory"], self.state)
        assert check is not None
        self.state["memory->check"] = check
        return said

    def step(self, elapsed: int) -> bool:
        time = [CValue(CType(16), elapsed)] * bool(self.export.face.clocks)
        given: list[CValue | str] = ["in", *time, "memory", "out"]
        name = f"{self.export.prefix}_step"
        self.state, sound = self._machine.call(name, given, self.state)
        assert sound is not None
        return bool(sound.truth)

    def memory(self, what: Observable) -> str:
        found = self.export.face.by_what[what]
        number = self.state[f"memory->{found.name}"].word
        return next(s.value for s in found.states if s.number == number)


@dataclass(frozen=True)
class Call:
    """When it was, what was put in, and what was remembered after it."""

    at: float
    value: str
    remembered: str


def history(
    controller: Controller, asked: Observable, of: Observable, calls: int, gap: Callable[[], float],
    chance: Random, hold: float,
) -> list[Call]:  # fmt: skip
    """Calls at chance times. ``asked`` changes about once in ``hold`` milliseconds."""
    controller.start()
    found: list[Call] = []
    now, value = 0.0, asked.usual
    for _ in range(calls):
        later = now + gap()
        if chance.random() < (later - now) / hold:
            value = chance.choice(asked.values)
        controller.put(asked, value)
        assert controller.step(min(int(later) - int(now), 65_535))
        now = later
        found.append(Call(now, value, controller.memory(of)))
    return found


def waited(calls: list[Call], at: int, since: str) -> float:
    """How long before call ``at`` the input was first seen as it is now, and the memory was
    ``since`` already, or became it."""
    first = at
    while (
        first > 0
        and calls[first - 1].value == calls[at].value
        and (first < 2 or calls[first - 2].remembered == since)
    ):
        first -= 1
    return calls[at].at - calls[first].at


@pytest.mark.parametrize(("seed", "most"), [*enumerate((25.0, 40.0, 990.0) * 2)])
def test_a_slow_relay_by_the_clock_on_the_wall(seed: int, most: float) -> None:
    chance = Random(f"relay {seed}")
    export = c_source(verifier.load(spec("slow-track-relay")), "slow", "0" * 64)
    [block] = [f.what for f in export.face.inputs if f.what.name == "Switch"]
    [relay] = [f.what for f in export.face.memory]
    calls = history(
        Controller(export), block, relay, int(40_000 / most) + 300,
        lambda: chance.uniform(0.3, most), chance, 15_000,
    )  # fmt: skip
    moved = 0
    for i, (before, call) in enumerate(pairwise(calls), start=1):
        if before.remembered == "down" and call.value == "clear":
            long = waited(calls, i, "down")
            if call.remembered == "up":
                moved += 1
                assert long > 6000, (seed, i)
            else:
                # Two calls, and the two milliseconds that cannot be told.
                assert long <= 6000 + 2 * most + 2, (seed, i)
        else:
            assert (call.remembered == "up") == (call.value == "clear"), (seed, i)
    assert moved, "it never came to that"


@pytest.mark.parametrize(
    ("kind", "gap"),
    [("up", 7), ("up", 250), ("up", 999), ("down", 250), ("down", 999), ("done", 7), ("done", 250)],
)
def test_each_delay_to_the_call(kind: str, gap: int) -> None:
    export = c_source(verifier.load_text(SLOW_BOTH_WAYS), "both", "0" * 64)
    bits = {clock.of.what.name: clock.bits for clock in export.face.clocks}
    assert bits == {"Late": 32, "Wait": 16}
    blocks = {f.what.name: f.what for f in export.face.inputs}
    relay, timer = (f.what for f in export.face.memory)
    what, seconds = {"up": (relay, 2), "down": (relay, 65), "done": (timer, 1.5)}[kind]
    controller = Controller(export)
    controller.put(blocks["B"], "occupied")
    controller.start()
    if kind == "down":
        controller.put(blocks["B"], "clear")
        while controller.memory(relay) == "down":
            controller.step(1000)
    controller.step(gap)
    controller.put(blocks["A"], "occupied")
    controller.put(blocks["B"], "clear" if kind == "up" else "occupied")
    calls = 0
    while controller.memory(what) != kind:
        # The first call is the one that sees it, whatever time has gone before.
        controller.step(60_000 if calls == 0 else gap)
        calls += 1
    passed = (calls - 1) * gap
    assert seconds * 1000 < passed <= seconds * 1000 + 2 * gap + 1


def test_a_call_counts_no_more_than_its_share() -> None:
    """A loop that hung has not looked: what lies between does not count."""
    export = c_source(verifier.load_text(SLOW_BOTH_WAYS), "both", "0" * 64)
    relay = export.face.memory[0].what
    controller = Controller(export)
    controller.start()
    calls = 0
    while controller.memory(relay) == "down":
        controller.step(65_535)
        calls += 1
    assert calls - 1 > 2000 / LONGEST_CALL


def test_memory_that_was_never_started_or_has_flipped_is_out_of_order() -> None:
    export = c_source(verifier.load_text(SLOW_BOTH_WAYS), "both", "0" * 64)
    for number in (0, 0xFF):
        controller = Controller(export)
        for name, value in controller.state.items():
            if name.startswith("memory->"):
                every = (1 << value.type.bits) - 1
                controller.state[name] = CValue(value.type, every if number else 0)
        assert not controller.step(10)
    controller.start()
    assert controller.step(10)
    for name, value in dict(controller.state).items():
        for bit in range(value.type.bits if name.startswith("memory->") else 0):
            whole = controller.state
            controller.state = {**whole, name: CValue(value.type, value.word ^ 1 << bit)}
            assert not controller.step(10), (name, bit)
            assert {k: v for k, v in controller.state.items() if k.startswith("memory->")} == {
                k: CValue(value.type, value.word ^ 1 << bit) if k == name else v
                for k, v in whole.items()
                if k.startswith("memory->")
            }
            controller.state = whole
