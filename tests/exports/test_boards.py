"""One C file for each board: proved against the whole, and run pin by pin beside the stepper."""

import subprocess
from collections.abc import Sequence
from pathlib import Path
from random import Random

import pytest

import verifier
from tests.differential.steps import any_moments, walk
from tests.exports.compiled import (
    AVR,
    GCC,
    SMALL,
    STRICT,
    as_one_program,
    needs_avr,
    needs_gcc,
)
from tests.exports.simulated_board import run_on_pins
from tests.junction_files import spec
from verifier.cli import main
from verifier.exports.c_source import CExport, c_source
from verifier.exports.checked_export import NothingToExport, checked_export
from verifier.exports.equivalence import Equivalent, NotEquivalent, compare
from verifier.exports.skeleton import pins_of, skeleton
from verifier.plan.observables import relay
from verifier.plan.wiring.derive_equipment import without_wiring
from verifier.reference.step import Stepper

PLAN = verifier.load(spec("panel-and-boards"))
B1, B2 = (c_source(PLAN, "fern.ixl", "0" * 64, board=name) for name in ("B1", "B2"))

SIMULATOR = """\
#include <stdio.h>
static bool levels[64], outputs[64];
bool board_closed(uint8_t pin) { return levels[pin]; }
void board_output(uint8_t pin, bool on) { outputs[pin] = on; }
int main(void) {
    unsigned long ticks;
    char closed[80];
    while (scanf("%lu %79s", &ticks, closed) == 2) {
        for (uint8_t i = 0; i < sizeof input_pins; i++) levels[input_pins[i]] = closed[i] == '1';
        for (; ticks; ticks--) board_tick();
        for (uint8_t i = 0; i < sizeof output_pins; i++)
            putchar(outputs[output_pins[i]] ? '1' : '0');
        putchar('\\n');
    }
    return 0;
}
"""


def run(
    export: CExport, steps: Sequence[tuple[int, str]], folder: Path, *options: str
) -> list[str]:
    """The outputs after so many milliseconds with so many inputs closed, one step after another."""
    (folder / "core.c").write_text(export.text, "utf-8")
    (folder / "board.c").write_text(skeleton(export, "core.c") + SIMULATOR, "utf-8")
    build = [str(GCC), *STRICT, "-DBOARD_HOST", *options, "board.c", "-o", "board"]
    subprocess.run(build, cwd=folder, check=True, timeout=60)
    given = "".join(f"{ticks} {closed}\n" for ticks, closed in steps)
    done = subprocess.run(
        [str(folder / "board")], input=given, capture_output=True, text=True, check=True, timeout=60
    )
    return done.stdout.split()


@pytest.mark.parametrize("export", [B1, B2], ids=["B1", "B2"])
def test_each_board_does_what_the_whole_does(export: CExport) -> None:
    assert isinstance(compare(export), Equivalent)


def test_a_board_that_does_something_else_is_found() -> None:
    wrong = B2.text.replace("in->relay_Route == RELAY_UP", "in->relay_Free == RELAY_UP")
    assert wrong != B2.text
    assert isinstance(compare(CExport(wrong, B2.prefix, B2.face)), NotEquivalent)


def test_what_goes_in_and_out_is_what_the_board_has() -> None:
    assert [f.what.name for f in B2.face.inputs if f.what.kind == "relay"] == ["Route", "Free"]
    assert not B2.face.memory and not B2.face.points
    assert [f.what.name for f in B1.face.memory] == ["Route", "Entered", "Release", "Free"]
    assert not B1.face.lit and [p.device.name for p in B1.face.points] == ["T1"]
    assert pins_of(B1).outputs == ["machine T1 normal", "machine T1 reverse", "Route up", "Free up"]


def drawn(number: int, chance: Random) -> tuple[list[str], list[str]]:
    """Which inputs of B2 are closed at some moments, and which of its lamps the stepper then has
    lit. Half of the moments are put together at random (a route being set at every second one),
    half are of histories."""
    stepper = Stepper(without_wiring(as_one_program(PLAN)))
    moments = [dict(moment) for moment in any_moments(stepper, number // 2, chance)]
    for moment in moments[::2]:
        moment |= {relay("Route"): "up", relay("Free"): "down"}
    steps = [stepper.step(moment) for moment in moments]
    while len(moments) < number:
        more, then = walk(stepper, min(25, number - len(moments)), chance)
        moments += more
        steps += then
    pins = pins_of(B2)
    by_kind = [
        {(str(what.kind), what.name): state for what, state in step.observed.items()}
        for step in steps
    ]
    memory = [{what.name: moment[what] for what in moment if what.kind == "relay"}
              for moment in moments]  # fmt: skip

    def closed(pin: str, one: dict[tuple[str, str], str], relays: dict[str, str]) -> bool:
        block, _, _ = pin.partition(":")
        if pin == "detector D-Switch":
            return one["block report", "Switch"] == "clear"
        if pin.startswith("T1 "):
            return one["points report", "T1"] == pin.split()[1]
        if pin.endswith(" up"):
            return relays[pin.split()[0]] == "up"
        return pin.endswith("lights") or one["block report", block] == "clear"

    given = [
        "".join("01"[closed(pin, one, relays)] for pin in pins.inputs)
        for one, relays in zip(by_kind, memory, strict=True)
    ]
    wanted = [
        "".join("01"[one["color", pin.split()[1]] == pin.split()[2]] for pin in pins.outputs)
        for one in by_kind
    ]
    return given, wanted


@needs_gcc
def test_lamps_of_a_board_pin_by_pin_beside_the_stepper(tmp_path: Path) -> None:
    given, wanted = drawn(400, Random(3))
    assert run(B2, [(30, closed) for closed in given], tmp_path) == wanted
    assert len(set(wanted)) == 3  # Clear, Diverging-Clear and Stop


@needs_avr
def test_an_8_bit_controller_pin_by_pin_beside_the_stepper(tmp_path: Path) -> None:
    given, wanted = drawn(240, Random(8))
    assert run_on_pins(B2, given, tmp_path) == wanted
    assert len(set(wanted)) == 3


@needs_avr
def test_an_8_bit_controller_with_another_rule_is_told_apart(tmp_path: Path) -> None:
    """The same steps, and rules that hear Route for Free."""
    wrong = CExport(B2.text.replace("in->relay_Route ==", "in->relay_Free =="), B2.prefix, B2.face)
    given, wanted = drawn(40, Random(5))
    assert run_on_pins(wrong, given, tmp_path) != wanted


@needs_gcc
def test_the_board_of_the_program_over_time(tmp_path: Path) -> None:
    """Inputs: detector, T1 normal, T1 reverse, lever reverse, Set, start. Outputs: machine normal,
    machine reverse, Route, Free. Until it is started, and until Free has picked, nothing moves."""
    found = run(B1, [
        (2000, "110100"),  # not started: the lever is reverse, the points stay
        (1100, "110101"),  # start held for a second
        (29_000, "110100"),  # Free waits for 30 s
        (2000, "110100"),  # then T1 is thrown
        (100, "101100"), (100, "101110"),  # it lies reverse; Set: Route
        (1000, "101000"),  # the lever put back: locked by then
        (100, "001000"), (100, "001000"),  # a train comes: Route is done
    ], tmp_path)  # fmt: skip
    assert found == [
        "0000", "0000", "0000", "0101", "0101", "0110", "0110", "0100", "0100",
    ]  # fmt: skip


@needs_gcc
def test_a_contact_that_bounces_does_not_count(tmp_path: Path) -> None:
    pins = pins_of(B2).inputs
    alike = "".join("01"[pin not in ("T1 reverse contact", "Free up")] for pin in pins)
    bounced = "0" + alike[1:]
    shown = run(B2, [(100, alike), (5, bounced), (5, alike), (30, bounced)], tmp_path)
    assert shown[0] == shown[1] == shown[2] != shown[3]


@needs_avr
@pytest.mark.parametrize("export", [B1, B2], ids=["B1", "B2"])
def test_the_program_around_it_compiles_for_an_8_bit_board(export: CExport, tmp_path: Path) -> None:
    (tmp_path / "core.c").write_text(export.text, "utf-8")
    (tmp_path / "board.c").write_text(skeleton(export, "core.c"), "utf-8")
    build = [str(AVR), *SMALL, "-Wno-error", "-DF_CPU=16000000UL", "board.c", "-o", "board.elf"]
    done = subprocess.run(build, cwd=tmp_path, check=True, timeout=60, capture_output=True)
    assert done.stderr == b""


def test_a_board_that_is_none_and_a_program_on_no_board() -> None:
    with pytest.raises(NothingToExport, match="no board is called B9: its boards are B1 and B2"):
        checked_export(PLAN, board="B9")
    nowhere = Path(spec("panel-and-boards")).read_text("utf-8").replace("program on B1", "program")
    nowhere = nowhere.replace("driver B1\n  throws T1\n", "driver B1 drives 2.lower\n")
    nowhere = nowhere.replace("drives 2.upper, 2.lower", "drives 2.upper")
    with pytest.raises(NothingToExport, match="write `built as one program on B2`"):
        checked_export(verifier.load_text(nowhere), board="B2")


def test_the_command_writes_both_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    core, around = tmp_path / "b2.c", tmp_path / "board.c"
    file = str(spec("panel-and-boards"))
    command = ["export", file, "--board", "B2", "-o", str(core), "--around", str(around)]
    assert main([*command, "--within", "0.1"]) == 0
    assert '#include "b2.c"' in around.read_text("utf-8")
    assert "FOR BOARD B2, which lights 2.upper and 2.lower" in core.read_text("utf-8")
    assert "a program around b2.c, not proved" in capsys.readouterr().out
    assert main(["export", file, "--board", "B9"]) == 2


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("-o", "b.c", "--around", "./b.c"), "-o and --around both name ./b.c."),
        (("--format", "aiger", "--around", "b.c"), "--around is for C, not for --format aiger."),
        (("--format", "aiger", "--board", "B2"), "--board is for C, not for --format aiger."),
        (("--around", "-"), "`-` names no file here."),
    ],
)
def test_what_cannot_be_written_is_told_before_any_work(
    options: tuple[str, ...], told: str, tmp_path: Path,
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    assert main(["export", str(spec("panel-and-boards").resolve()), *options]) == 2
    captured = capsys.readouterr()
    assert captured.err.startswith(told) and not captured.out
    assert not [*tmp_path.iterdir()]


def test_c_that_is_printed_is_all_that_is_printed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    around = tmp_path / "board.c"
    command = ["export", str(spec("panel-and-boards")), "--board", "B2", "--around", str(around)]
    assert main([*command, "--within", "0.1"]) == 0
    captured = capsys.readouterr()
    assert captured.out.rstrip().endswith("#endif") and "a program around" in captured.err


@needs_gcc
def test_lamps_are_tested_one_after_another_after_a_reset(tmp_path: Path) -> None:
    """Each for 50 ms; then the signal shows what it has to, here stop."""
    pins = pins_of(B2)
    none = "0" * len(pins.inputs)
    lamps = [n for n, lamp in enumerate(pins.lamps) if lamp]
    assert [pins.outputs[n].split()[0] for n in lamps] == ["lamp"] * len(lamps)
    tested = [(25, none), *[(50, none)] * len(lamps)]
    *seen, after = run(B2, tested, tmp_path, "-DLAMP_TEST_MS=50")
    assert seen == ["".join("01"[n == at] for n in range(len(pins.outputs))) for at in lamps]
    assert after == run(B2, [(100, none)], tmp_path)[0]
    assert after != seen[-1]
