"""Nothing is proved of a layout on which nothing can happen, nor said to be possible again that
never was possible."""

import pytest

import verifier
from verifier.language.diagnostics.diagnostic import InputError
from verifier.verdicts.report import Report

TWO_BLOCKS = """
edge West
edge East leaving only
block A, M
relay R
  picks when {picks}
track West = A | M = East
signal 2 at A | M
  Clear  when M clear and R {state}
  Stop   otherwise
"""


def prove(text: str) -> Report:
    return verifier.prove(verifier.load_text(text), only=["locked-for-good", "collision"])


def test_an_assumption_that_no_start_allows_is_refused() -> None:
    """A situation with a train on A there is; but no history begins with one."""
    text = TWO_BLOCKS.format(picks="M occupied", state="down")
    text += 'assume "a train is always there" always train on A\n'
    text += 'assume "nobody minds" never 2 proceeds and 2 at stop\n'
    with pytest.raises(InputError) as caught:
        prove(text)
    (told,) = caught.value.diagnostics
    assert told.code == "CP501"
    assert told.message == 'no sequence of events meets the assumption "a train is always there"'


def test_an_assumption_that_histories_can_keep_to_is_taken() -> None:
    text = TWO_BLOCKS.format(picks="M occupied", state="down")
    text += 'assume "M stays empty" never train on M\n'
    assert {v.status for v in prove(text).verdicts if v.obligation.property == "collision"} == {
        "proved"
    }


def test_what_was_never_possible_is_not_possible_again() -> None:
    """From everywhere there is a way back to the start; but 2 does not clear from there."""
    report = prove(TWO_BLOCKS.format(picks="M occupied and M clear", state="up"))
    by_key = {v.obligation.key: v.status for v in report.verdicts}
    assert by_key["locked-for-good: 2 to East"] == "broken"
    report = prove(TWO_BLOCKS.format(picks="M occupied", state="down"))
    by_key = {v.obligation.key: v.status for v in report.verdicts}
    assert by_key["locked-for-good: 2 to East"] == "proved"
