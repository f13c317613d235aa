"""Locking between levers, against published locking.

Sources are in the project's notes: the testing chapter of an Indian signal engineering manual and
*Engineering Wonders of the World*, vol. I, p. 229 [V]; the numbers of legal states are our
arithmetic [C]. 49 CFR 236.304: mechanical locking, or the same protection by circuits.
"""

import pytest

import verifier
from tests.differential.truth import Truth
from verifier.language.diagnostics.diagnostic import InputError
from verifier.sheets.catalog import SHEETS
from verifier.world.world import World

TRACK = """
edge West, East
block Main, Single
track West = Main | Single = East
signal S at Main | Single
  Clear  when {clears} reverse and Single clear
  Stop   otherwise
"""


def frame(levers: str, *locks: str) -> str:
    text = TRACK.format(clears=levers.split(",")[0])
    return (
        text
        + f"lever {levers} positions normal, reverse\n"
        + "\n".join(f"lever {lock}" for lock in locks)
    )


def legal(text: str) -> set[str]:
    """The positions the levers may be in together, as the evaluator and the logic have them."""
    plan = verifier.load_text(text)
    truth, world = Truth(plan), World(plan)
    allowed = truth.possible
    for assumption in plan.assumptions:
        allowed &= truth.of(world.expand(world.lower(assumption.condition)))
    assert allowed == truth.allowed
    levers = [what for what in plan.inputs if what.kind == "lever"]
    return {
        "".join(situation.state(what)[0].upper() for what in levers)
        for situation in truth.listed(allowed)
    }


def test_a_conditional_lock_forbids_one_state_of_eight() -> None:
    """1 is released by 3 when 2 is normal: RNN is the one forbidden state."""
    states = legal(frame("1, 2, 3", "1 reverse locks 3 reverse when 2 normal"))
    assert states == {"NNN", "NNR", "NRN", "NRR", "RNR", "RRN", "RRR"}


def test_four_rules_leave_27_of_128_states() -> None:
    """Siding points 4 reversed lock signal 2; 5 needs 4; 7 needs 8; distant 1 needs 2 and 3."""
    states = legal(
        frame("1, 2, 3, 4, 5, 7, 8", "4 reverse locks 2 normal", "5 reverse locks 4 reverse",
              "7 reverse locks 8 reverse", "1 reverse locks 2 reverse, 3 reverse")
    )  # fmt: skip
    assert len(states) == 27


def test_a_lock_works_both_ways() -> None:
    """Lever 2 when normal locks lever 1 normal (Clarke, *The American Railway*, 1889): the distant
    cannot be cleared before the home signal, nor the home put back before the distant."""
    assert legal(frame("1, 2", "2 normal locks 1 normal")) == {"NN", "NR", "RR"}
    assert legal(frame("1, 2", "1 reverse locks 2 reverse")) == {"NN", "NR", "RR"}


def test_the_locking_sheet_lists_every_lock() -> None:
    text = frame("1, 2, 3", "1 reverse locks 3 reverse, 2 normal when Single clear")
    sheet = SHEETS["locking"].make(verifier.load_text(text))
    (table,) = (t for t in sheet.tables if t.title == "Locking between levers")
    assert table.rows == (
        ("1", "reverse", "3", "reverse", "Single clear"),
        ("1", "reverse", "2", "normal", "Single clear"),
    )


def test_a_frame_that_locks_a_signal_for_good_is_told() -> None:
    """The lock keeps trains from the signal, and the report says so by name."""
    report = verifier.prove(
        verifier.load_text(frame("1, 2", "1 reverse locks 2 reverse", "1 reverse locks 2 normal"))
    )
    assert report.exit_code == 1
    assert ("route-never-clears", "broken") in {
        (v.obligation.property, v.status) for v in report.verdicts
    }


@pytest.mark.parametrize(
    ("lock", "code"),
    [("1 reverse locks 1 normal", "CP217"), ("1 sideways locks 2 normal", "CP204"),
     ("1 reverse locks Main normal", "CP203"), ("1 reverse locks 9 normal", "CP201")],
)  # fmt: skip
def test_bad_locks_have_messages(lock: str, code: str) -> None:
    with pytest.raises(InputError) as caught:
        verifier.load_text(frame("1, 2", lock))
    assert [d.code for d in caught.value.diagnostics] == [code]
