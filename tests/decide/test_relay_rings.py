"""What can always be done again where relays wait for each other in a ring, with no delay."""

import pytest

import verifier

RING = """
edge West entering only
edge East leaving only
block Near, Far
lever L positions normal, reverse
track West = Near | Far = East
trains obey signals
built of relays
relay A
  picks when L reverse and B down
  sticks while {lasts}B down
relay B
  picks when L reverse and A down
  sticks while {lasts}A down
signal 2 at Near | Far
  Clear  when {clear} up and {other} down and Far clear
  Stop   otherwise
"""


@pytest.mark.parametrize("clear, other", [("A", "B"), ("B", "A")])
@pytest.mark.parametrize("lasts, status", [("L reverse and ", "proved"), ("", "broken")])
def test_a_way_back_may_take_either_order(clear: str, other: str, lasts: str, status: str) -> None:
    """One of the two is the way only if relays act in another order than that of the file. Where
    they stick without the lever, the one that picks first never drops."""
    text = RING.format(lasts=lasts, clear=clear, other=other)
    report = verifier.prove(verifier.load_text(text), only=["locked-for-good"])
    assert [v.status for v in report.verdicts] == [status]
