"""Boards that are told by wire what signals of other boards show: proved, and run beside the
stepper with the outputs of one board wired to the inputs of the other."""

from pathlib import Path
from random import Random

import pytest

import verifier
from tests.differential.rings import write_ring
from tests.differential.steps import any_moments
from tests.exports.compiled import as_one_program, differences, known, needs_gcc
from tests.exports.compiled import run as run_core
from tests.exports.test_boards import run
from verifier.cli import main
from verifier.exports.c_source import CExport, c_source
from verifier.exports.checked_export import NothingToExport, checked_export
from verifier.exports.equivalence import Equivalent, NotEquivalent, compare
from verifier.exports.skeleton import pins_of
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan.model import Plan
from verifier.plan.observables import Observable, block_report, button, facts_unfolded
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.derive_equipment import without_wiring
from verifier.reference.step import Stepper

RULES = """\
edge West, East
supply Bus-1 DC 12 V
block Far, Near, Mid, Ahead
track West = Far | Near | Mid | Ahead = East
button Go
signal 2R at Mid | Ahead
  Clear        when Ahead clear
  Restricting  when Go pressed
  Stop         otherwise
signal 1R at Near | Mid
  Clear        when Mid clear and 2R shows Clear
  Approach     when Mid clear and 2R shows Stop
  Restricting  when 2R at stop
  Stop         otherwise
signal 0R at Far | Near
  Clear        when Near clear and 1R proceeds and not 2R at stop
  Stop         otherwise
driver B2 drives 2R
  powered by Bus-1
driver B1 drives 1R
  powered by Bus-1
  reads 2R
"""
# B0 has no `reads`: the wires for 2R, which B1 reads, reach it too; it works out 1R itself.
LIGHTS = RULES + "driver B0 drives 0R\n  powered by Bus-1\n"
# The relays, on B1, depend on 2R; B0 is told of every relay.
REMEMBERS = (
    RULES.replace("when Near clear", "when Seen up and Near clear")
    + """\
driver B0 drives 0R
  powered by Bus-1
  reads 1R, 2R, Seen
relay Seen
  picks when 2R proceeds and Go pressed
  sticks while Mid clear or 2R at stop
timer Later 2 s runs while Seen up and 2R shows Clear
built as one program on B1
"""
)


def board(text: str, name: str) -> CExport:
    return c_source(verifier.load_text(text), "fern.ixl", "0" * 64, board=name)


@pytest.mark.parametrize("text", [LIGHTS, REMEMBERS], ids=["lights", "remembers"])
@pytest.mark.parametrize("name", ["B0", "B1", "B2"])
def test_each_board_does_what_the_whole_does(text: str, name: str) -> None:
    assert isinstance(compare(board(text, name)), Equivalent)


def test_what_is_told_goes_in_and_is_not_worked_out() -> None:
    told = {
        name: [f.what.name for f in board(LIGHTS, name).face.inputs if f.what.kind == "aspect"]
        for name in ("B0", "B1", "B2")
    }
    assert told == {"B0": ["2R"], "B1": ["2R"], "B2": []}
    worked_out = {name: list(board(LIGHTS, name).face.plan.signals) for name in told}
    assert worked_out == {"B0": ["1R", "0R"], "B1": ["1R"], "B2": ["2R"]}
    listed = [f.what.name for f in board(REMEMBERS, "B0").face.inputs]
    assert listed == ["Near", "Seen", "1R", "2R"]
    assert not board(REMEMBERS, "B2").face.memory and board(REMEMBERS, "B1").face.memory


@needs_gcc
@pytest.mark.parametrize("name", ["B0", "B1", "B2"])
def test_each_board_does_what_the_stepper_does_where_it_is_told_the_truth(
    name: str, tmp_path: Path
) -> None:
    made = board(REMEMBERS, name)
    cases = known(made, 120, Random(name))
    assert differences(made, cases, run_core(made, cases.cases, tmp_path)) == []


@pytest.mark.parametrize(
    ("name", "right", "wrong"),
    [
        ("B1", "in->signal_2R == TOLD_CLEAR", "in->signal_2R == TOLD_APPROACH"),
        ("B1", "in->signal_2R == TOLD_UNLISTED)", "in->signal_2R == TOLD_CLEAR)"),
        ("B2", "out->aspect_2R = ASPECT_RESTRICTING", "out->aspect_2R = ASPECT_STOP"),
    ],
)
def test_a_board_that_hears_or_tells_otherwise_is_found(name: str, right: str, wrong: str) -> None:
    made = board(LIGHTS, name)
    changed = made.text.replace(right, wrong)
    assert changed != made.text
    assert isinstance(compare(CExport(changed, made.prefix, made.face)), NotEquivalent)


def stepped(plan: Plan, number: int, chance: Random) -> list[dict[Observable, str]]:
    stepper = Stepper(without_wiring(as_one_program(plan)))
    moments = any_moments(stepper, number, chance)
    return [dict(stepper.step(moment).observed) for moment in moments]


def inputs(export: CExport, seen: dict[Observable, str], wires: dict[str, bool]) -> str:
    """The pins of a board that are closed: ``wires`` from other boards, by their words."""

    def closed(pin: str) -> bool:
        if pin in wires:
            return wires[pin]
        if pin == "button Go":
            return seen[button("Go")] == "pressed"
        return seen[block_report(pin.partition(":")[0])] == "clear"

    return "".join("01"[closed(pin)] for pin in pins_of(export).inputs)


@needs_gcc
def test_boards_wired_to_each_other_pin_by_pin_beside_the_stepper(tmp_path: Path) -> None:
    plan = verifier.load_text(LIGHTS)
    seen = stepped(plan, 200, Random(7))
    wires: list[dict[str, bool]] = [{}] * len(seen)
    for name in ("B2", "B1", "B0"):
        made = board(LIGHTS, name)
        given = [(25, inputs(made, *one)) for one in zip(seen, wires, strict=True)]
        found = run(made, given, tmp_path)
        outputs = [
            dict(zip(pins_of(made).outputs, (bit == "1" for bit in bits), strict=True))
            for bits in found
        ]
        for one, on in zip(seen, outputs, strict=True):
            for head in (h for s in plan.signals.values() for h in s.heads):
                if head.name in plan.wiring.drivers[name].heads:
                    lit = [lamp for lamp in head.lamps if on[f"lamp {head.name} {lamp}"]]
                    assert lit == [one[head.color]]
        if name == "B2":
            wires = outputs
    assert {one[plan.signals["0R"].aspect] for one in seen} == {"Clear", "Stop"}
    assert len({one[plan.signals["1R"].aspect] for one in seen}) == 4


def lamps_of_1r(closed: list[tuple[int, set[str]]], folder: Path) -> list[str]:
    """What B1 lights while Mid is clear and these wires from 2R are closed for so long."""
    made = board(LIGHTS, "B1")
    pins = pins_of(made)
    steps = [
        (ms, "".join("01"[not p.startswith("2R ") or p[3:] in wires] for p in pins.inputs))
        for ms, wires in closed
    ]
    outputs = [o.removeprefix("lamp 1R ") for o in pins.outputs]
    return [
        "+".join(o for o, bit in zip(outputs, bits, strict=True) if bit == "1")
        for bits in run(made, steps, folder)
    ]


@needs_gcc
def test_wires_that_tell_nothing_and_wires_that_contradict_each_other(tmp_path: Path) -> None:
    """A wire that is off tells no aspect, not that of another wire; two at once stop everything."""
    told: list[tuple[int, set[str]]] = [(50, {"Clear"}), (50, {"Stop"}), (50, set())]
    assert lamps_of_1r([*told, (50, {"Clear", "Stop"}), (50, {"Clear"})], tmp_path) == [
        "green", "yellow", "lunar", "red", "green",
    ]  # fmt: skip


@needs_gcc
def test_wires_that_change_one_after_the_other_count_together(tmp_path: Path) -> None:
    one_by_one: list[tuple[int, set[str]]] = [(1, {"Stop"})] * 40
    seen = lamps_of_1r([(50, {"Clear"}), *[(1, set[str]())] * 5, *one_by_one], tmp_path)
    assert list(dict.fromkeys(seen)) == ["green", "yellow"]


@needs_gcc
def test_until_inputs_can_count_heads_are_at_red(tmp_path: Path) -> None:
    assert set(lamps_of_1r([(1, {"Clear"})] * 20, tmp_path)) == {"red"}


CIRCLE = """\
edge West, East
supply Bus-1 DC 12 V
block Near, Mid, Ahead
track West = Near | Mid | Ahead = East
lever 1 positions normal, reverse
signal 2R at Near | Mid
  Clear  when 1 normal and 2L at stop and Mid, Ahead clear
  Stop   otherwise
signal 2L at Ahead | Mid
  Clear  when 1 reverse and 2R at stop and Near, Mid clear
  Stop   otherwise
driver B1 drives 2R
  powered by Bus-1
  reads 2L
driver B2 drives 2L
  powered by Bus-1
"""


def test_boards_that_wait_for_each_other_have_no_c() -> None:
    both = verifier.load_text(CIRCLE + "  reads 2R\n")
    for name in ("B1", "B2"):
        with pytest.raises(NothingToExport, match="it matters which board is the quicker"):
            checked_export(both, board=name)


def test_one_of_two_signals_in_a_circle_may_be_told() -> None:
    """B2 works out both by itself, and tells B1 of 2L."""
    text = CIRCLE.replace("1 positions", "1, 3 positions")
    text += "  reads 3\n"
    for name in ("B1", "B2"):
        assert isinstance(checked_export(verifier.load_text(text), board=name)[1], Equivalent)


def test_colors_are_not_told() -> None:
    text = RULES.replace("Mid clear and 2R shows Clear", "Mid clear and 2R green")
    with pytest.raises(NothingToExport, match="let these rules ask which aspect 2R shows"):
        checked_export(verifier.load_text(text), board="B1")


def test_what_only_the_truth_about_another_signal_decides() -> None:
    """2L is clear with lever 1 reverse alone, so 2R and 3R are never both free to clear; told
    otherwise, B1 could not say which."""
    text = """\
edge West, East
block Near, Mid, Ahead
track West = Near | Mid | Ahead = East
lever 1 positions normal, reverse
signal 2L at Ahead | Mid
  Clear  when 1 reverse
  Stop   otherwise
signal 2R at Near | Mid
  Clear  when 3R at stop and 2L proceeds
  Stop   otherwise
signal 3R at Mid | Ahead
  Clear  when 2R at stop and 1 normal
  Stop   otherwise
driver B1 drives 2R, 3R reads 2L
driver B2 drives 2L
"""
    with pytest.raises(NothingToExport, match="works out depend on each other"):
        checked_export(verifier.load_text(text), board="B1")
    alone = verifier.load_text(text.replace(" reads 2L", ""))
    assert isinstance(checked_export(alone, board="B1")[1], Equivalent)


def boards_by_chance(text: str, r: Random) -> str:
    """A generated junction, its signals on boards by chance, which are told of some others."""
    plan = verifier.load_text(text)
    signals = plan.signals
    boards: dict[int, list[str]] = {}
    for name in signals:
        boards.setdefault(r.randrange(len(signals)), []).append(name)
    lines: list[str] = []
    for own in boards.values():
        heads = [head.name for name in own for head in signals[name].heads]
        conditions = [c for name in own for c in signals[name].conditions]
        facts = facts_unfolded(conditions, lambda name: plan.conditions[name].condition)
        asked = dict.fromkeys(
            signal_of(fact.what.name, signals) for fact in facts if fact.what.kind == "aspect"
        )
        told = [name for name in asked if name not in own and r.random() < 0.6]
        reads = f" reads {', '.join(told)}" if told else ""
        out = " when lamp out shows red" if r.random() < 0.3 else ""
        lines.append(f"driver Board-{len(lines)} drives {', '.join(heads)}{reads}{out}")
    return "\n".join((text, *lines, ""))


def test_boards_of_generated_rings() -> None:
    """Each is proved, or it is said why not."""
    proved = 0
    for seed in range(14):
        r = Random(f"told {seed}")
        try:
            plan = verifier.load_text(boards_by_chance(write_ring(r), r))
        except InputError as error:
            assert {d.code for d in error.diagnostics} == {"CP409"}
            continue
        for name in plan.wiring.drivers:
            try:
                made, answer = checked_export(plan, board=name)
            except NothingToExport:
                continue
            assert isinstance(answer, Equivalent)
            proved += bool(made.face.told)
    assert proved > 3


def test_the_command_writes_a_board_that_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, core, around = (tmp_path / name for name in ("fern.ixl", "b1.c", "board.c"))
    file.write_text(LIGHTS, "utf-8")
    command = ["export", str(file), "--board", "B1", "-o", str(core), "--around", str(around)]
    assert main([*command, "--within", "0.1"]) == 0
    assert "2R goes in as a wire tells it" in core.read_text("utf-8")
    assert "/* 6: 2R Stop */" in around.read_text("utf-8")
    capsys.readouterr()
    file.write_text(CIRCLE + "  reads 2R\n", "utf-8")
    assert main([*command, "--within", "0.1"]) == 2
    assert "it matters which board is the quicker. Let one board" in capsys.readouterr().err
