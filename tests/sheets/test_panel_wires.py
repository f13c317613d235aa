"""What levers, buttons and boards are wired to: whole in the list, and wrong where it is wrong."""

from collections import Counter
from pathlib import Path

import pytest

from tests.properties.asked import asked, said
from verifier.api import load_text, prove
from verifier.language.diagnostics.diagnostic import InputError
from verifier.sheets.conductors import conductors
from verifier.sheets.terminals import harness

ROOT = Path(__file__).resolve().parents[2]
SPEC = (ROOT / "specs" / "wiring" / "panel-and-boards.ixl").read_text("utf-8")

LEVER = """\
edge West, East
supply Bus-1 DC 12 V
supply Panel-1 DC 5 V
block Near, Ahead
track West = Near | Ahead = East
lever 2 positions left, normal, right
  contacts left, right
  powered by Bus-1
signal 2R at Near | Ahead
  Clear  when 2 right and Ahead clear
  Stop   otherwise
driver B1 drives 2R
  powered by Bus-1
  reads 2
"""

# B1 throws T1, and nothing tells how it lies; B2 lights the signal by the lever.
THROWN = """\
edge West, Main-End, Siding-End
supply Bus-1 DC 12 V
block Approach, Switch, Main, Siding
lever T1-lever positions normal, reverse
turnout T1 in Switch
  thrown by T1-lever
  motor snap
  {contacts}
track West = Approach | T1 normal  | Main   = Main-End
track                   T1 reverse | Siding = Siding-End
signal 2 at Approach | T1
  heads upper, lower
  Clear            when T1 normal and Switch, Main clear
  Diverging-Clear  when T1 reverse and Switch, Siding clear
  Stop             otherwise
driver B1
  throws T1
  powered by Bus-1
driver B2 drives 2.upper, 2.lower
"""


def test_wires_of_a_panel_and_two_boards_counted_by_hand() -> None:
    """Fuses 2; lever 2; button 2; bus 2; feeders 4; detector 2 and 2 outputs; T1: 4 from contacts,
    1 return, 2 of power, 2 to the motor; power of boards 4; from board to board 2; lamps 6."""
    wires = conductors(load_text(SPEC))
    assert len(wires) == 2 + 2 + 2 + 2 + 4 + 4 + 9 + 4 + 2 + 6
    assert Counter(wire.function.role for wire in wires)["told"] == 2
    ends = [(str(wire.start), str(wire.end)) for wire in wires]
    assert ("lever T1-lever reverse contact", "B1 input T1-lever reverse") in ends
    assert ("B1 output Route up", "B2 input Route up") in ends
    assert ("B1, T1 throw + for normal", "machine of T1, throw + for normal") in ends


def test_every_wire_of_the_panel_has_a_terminal_at_both_ends() -> None:
    wired = harness(load_text(SPEC))
    assert all(wire.start and wire.end for wire in wired.wires)


def test_a_lever_on_another_supply_is_not_heard() -> None:
    assert asked("supply-mismatch", LEVER) == {"B1, 2": "proved"}
    apart = LEVER.replace("right\n  powered by Bus-1", "right\n  powered by Panel-1")
    assert asked("supply-mismatch", apart) == {"B1, 2": "broken"}
    trouble, hint = said("supply-mismatch", apart, "B1", "2")
    assert trouble == (
        "driver B1 on Bus-1 cannot read lever 2 on Panel-1: their supplies have no common return"
    )
    assert "common return Bus-1, Panel-1" in hint


def test_a_lever_wired_to_another_board_is_missed() -> None:
    other = LEVER.replace("  reads 2\n", "  reads Go\n") + (
        "button Go\nsignal 2L at Ahead | Near\n"
        "  Clear when 2 left and Near clear\n  Stop otherwise\n"
        "driver B2 drives 2L reads 2\n"
    )
    assert asked("input-unread", other) == {"B1, 2": "broken", "B2, 2": "proved"}


def test_a_file_that_says_nothing_of_levers_is_asked_nothing() -> None:
    silent = LEVER.replace("  contacts left, right\n  powered by Bus-1\n", "")
    silent = silent.replace("  reads 2\n", "")
    assert asked("input-unread", silent) == {} and asked("supply-mismatch", silent) == {}


def test_without_its_board_a_machine_stays() -> None:
    """The report by command alone is then wrong: replayed by the reference."""

    def lost(contacts: str) -> str:
        verdicts = prove(load_text(THROWN.format(contacts=contacts)), only=["wire-broken"]).verdicts
        found = {v.obligation.subjects: v.status for v in verdicts}
        return found["power wire of B1",]

    assert lost("no contacts") == "broken"
    assert lost("contacts normal, reverse") == "proved"


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (("reads 2\n", "reads 2R\n"), "CP672"),
        (("contacts left, right", "contact left"), "CP673"),
        (("contacts left, right", "contacts left, up"), "CP673"),
        (("  reads 2\n", "  reads 2\ndriver B2\n"), "CP670"),
        (("  reads 2\n", "  reads 2\nbuilt of relays on B1\n"), "CP619"),
        (("  reads 2\n", "  reads 2\nbuilt as one program on B1 powered by Bus-1\n"), "CP619"),
        (("  reads 2\n", "  inputs 20000\n"), "CP604"),
    ],
)  # fmt: skip
def test_what_boards_and_levers_cannot_be(change: tuple[str, str], code: str) -> None:
    with pytest.raises(InputError) as raised:
        load_text(LEVER.replace(*change))
    assert [found.code for found in raised.value.diagnostics] == [code]


def test_a_board_misnamed_for_the_program_is_one_mistake() -> None:
    """What the board of the program alone may do is not told again of every other one."""
    with pytest.raises(InputError) as raised:
        load_text(SPEC.replace("built as one program on B1", "built as one program on B7"))
    assert [found.code for found in raised.value.diagnostics] == ["CP201"]
