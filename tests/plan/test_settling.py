"""Which relays surely come to rest, so that no delay is over before they have moved."""

import pytest

import verifier
from verifier.plan.locking.settling import settling

HEAD = """
edge West, East
block A, B
track West = A | B = East
button P, Q
lever L positions left, right
signal 2 at A | B
  Clear  when L right and not T running and not T done and B clear
  Stop   otherwise
timer T 7 s runs while 2 at stop and L left
"""
PAIR = """
relay X picks when P pressed and Y down {0}
relay Y picks when Q pressed and X down {0}
"""


@pytest.mark.parametrize(
    ("lines", "restless"),
    [
        ("", set()),  # a circle through a signal, which the lever stops
        ("relay X picks when P pressed and T done slow to pick 3 s", set()),
        ("relay X picks when X down", {"X"}),
        ("relay X picks when X down\nrelay Y picks when X up", {"X", "Y"}),
        ("relay X picks when X down slow to pick 1 s", set()),
        (PAIR.format("sticks while B clear"), {"X", "Y"}),  # not where B is occupied
        (PAIR.format("and B clear sticks while B clear"), set()),
        (PAIR.format(""), {"X", "Y"}),  # both may pick, see each other and drop
        ("traffic W on B rightward when W leftward leftward when W rightward", {"W"}),
        ("traffic W on B rightward when L right leftward when L left locked while X up\n"
         "relay X picks when P pressed and W rightward and B clear sticks while B clear", set()),
    ],
)  # fmt: skip
def test_what_comes_to_rest(lines: str, restless: set[str]) -> None:
    plan = verifier.load_text(f"{HEAD}{lines}\n")
    assert {*plan.locking.memory} - settling(plan) == restless
