"""What a lock lacks is offered first: what the lines over it ask for, and a part of it put right.

Each is a slip in a spec that proves; the proof of what is offered is tried in ``test_mend.py``.
"""

import pytest

from tests.junction_files import spec
from verifier import load_text
from verifier.language.format.formatter import format_text
from verifier.mending.changes import changed
from verifier.mending.given import Given
from verifier.mending.of_locks import locks
from verifier.mending.of_rules import left_out
from verifier.pipeline import prove
from verifier.properties.catalog import BY_NAME
from verifier.properties.obligation import Obligation

# By spec: what stands there, the slip, and what is offered for it.
SLIPS = [
    # A relay that the signal over it asks for.
    ("panel-and-boards", "locked while Free down or Switch occupied",
     "locked while Switch occupied", "locked while Switch occupied or Free down"),
    ("panel-and-boards", "locked while Free down or Switch occupied",
     "locked while Free down and Switch occupied", "locked while Free down or Switch occupied"),
    # A relay for each of two signals.
    ("relay-race-mended", "Switch occupied or any of 4L-route, 4R-route up",
     "Switch occupied", "Switch occupied or any of 4L-route, 4R-route up"),
    # One of them is there.
    ("relay-race-mended", "Switch occupied or any of 4L-route, 4R-route up",
     "Switch occupied or 4R-route up", "Switch occupied or 4R-route up or 4L-route up"),
    # Of what is joined by the other word, only that is joined anew.
    ("relay-race-mended", "Switch occupied or any of 4L-route, 4R-route up",
     "(Switch occupied and 4L-route up) or 4R-route up",
     "Switch occupied or 4L-route up or 4R-route up"),
    # A gate: `not` left out; a timer that nothing asks for.
    ("drawbridge-mended", "Bridge occupied or not Bridge-Time done",
     "Bridge occupied or Bridge-Time done", "Bridge occupied or not Bridge-Time done"),
    ("drawbridge-mended", "Bridge occupied or not Bridge-Time done",
     "Bridge occupied", "Bridge occupied or not Bridge-Time done"),
    # An electric lock.
    ("electric-lock", "7 reverse and Lock-Time done",
     "7 reverse", "7 reverse and Lock-Time done"),
    ("electric-lock", "7 reverse and Lock-Time done",
     "Lock-Time done", "Lock-Time done and 7 reverse"),
    ("electric-lock", "7 reverse and Lock-Time done",
     "7 reverse or Lock-Time done", "7 reverse and Lock-Time done"),
    ("electric-lock", "7 reverse and Lock-Time done",
     "7 normal and Lock-Time done", "7 reverse and Lock-Time done"),
]  # fmt: skip
# Of what is offered for a lock, so many are looked at.
FIRST = 6


def given_of(text: str) -> tuple[Given, Obligation]:
    """A text with a report on a property that it has no place for, and what a lock is for."""
    plan = load_text(text)
    given = Given(plan, prove(plan, only=["crossing-proceeds"], repairs=False))
    return given, next(iter(BY_NAME["points-move-under-train"].make(plan)))


@pytest.mark.parametrize(("name", "there", "slip", "wanted"), SLIPS)
def test_what_a_lock_lacks_is_offered_first(name: str, there: str, slip: str, wanted: str) -> None:
    original = spec(name).read_text("utf-8")
    assert there in original
    text = original.replace(there, slip)
    given, broken = given_of(text)
    made = sorted(locks(given, broken), key=lambda one: one.cost)
    offered = [changed(text, given.localized(one.changes)) for one in made]
    assert original.replace(there, wanted) in offered[:FIRST]
    assert text not in offered
    for one in offered:
        assert one is None or format_text(one)


def test_what_stands_there_is_not_offered_again() -> None:
    """Nothing is held by the same twice: neither track, nor signals, nor relays."""
    text = spec("relay-race-mended").read_text("utf-8")
    text = text.replace("any of 4L-route, 4R-route up", "4R-route up")
    given, broken = given_of(text)
    for one in locks(given, broken):
        [lock] = [
            line for line in (changed(text, one.changes) or "").splitlines()
            if "locked while" in line
        ]  # fmt: skip
        assert lock.count("Switch occupied") <= 1 and lock.count("4R-route") <= 1, lock


def test_what_the_file_asks_nowhere_is_offered_early() -> None:
    """A relay that picks without the condition that was written for it."""
    original = spec("panel-and-boards").read_text("utf-8")
    text = original.replace(" and T1-Obeys and", " and")
    given, broken = given_of(text)
    assert given.unasked == {"T1-Obeys"}
    made = sorted(left_out(given, broken), key=lambda one: one.cost)
    picks = [one.why for one in made if "`picks when …` of Route" in one.why]
    assert picks[0] == "ask `T1-Obeys` too in `picks when …` of Route"
