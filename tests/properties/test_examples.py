"""Every property has a shortest broken file and the same one mended, and they are that."""

from importlib.resources import files
from pathlib import Path

import pytest

import verifier
from tests.junction_files import EXAMPLE_FILES
from tests.proofs import proved
from verifier.language.format.formatter import format_text
from verifier.properties.catalog import BY_NAME, FAILURES
from verifier.properties.examples import example
from verifier.reference.explicit_situations import tally

_STUCK = {"locked-for-good", "train-cannot-leave"}
_UNDER_TRAINS = {"points-move-under-train", "collision", "derailment"} | _STUCK
# Where a trouble cannot come alone: what is broken with it.
COMES_WITH = {
    # A train that is not seen may be run into.
    "rail-dead": {"proceed-into-occupied", "supply-lost"},
    # Points that join two tracks lie wrong for one of the two trains.
    "converging-proceeds": {"proceed-over-open-points"},
    # What nobody watches may be occupied.
    "undetected-track": {"proceed-into-occupied"},
    # What hides from a detector hides from the rules.
    "train-hidden": {"proceed-into-occupied"},
    "detector-cannot-sense": {"proceed-into-occupied", "never-shown"},
    "feeder-undetected": {"proceed-into-occupied", "wire-broken"},
    # Of the block it should not watch the detector sees no more when that feeder is broken.
    "detector-misplaced": {"wire-broken"},
    # What a single contact does not tell, a broken wire does not tell either.
    "indicator-misleads": {"wire-broken"},
    # A driver that hears nothing, or no driver at all, never clears a signal.
    # A machine without power does what one does that does not obey.
    "supply-lost": {"points-stalled", "wire-broken"},
    "supply-mismatch": {"never-shown", "route-never-clears"},
    "input-unread": {"never-shown", "route-never-clears"},
    "head-without-driver": {"never-shown", "route-never-clears"},
    # Trains that were let come find the points moved, or the track beyond taken.
    "points-move-under-train": _UNDER_TRAINS,
    "points-move-under-signal": _UNDER_TRAINS,
    "approach-locking": _UNDER_TRAINS | {"collision", "time-locking"},
    "route-locking": _UNDER_TRAINS,
    "hand-points-unlocked": _UNDER_TRAINS | {"points-move-under-signal"},
    # What was told is not so yet.
    "indication-locking": _UNDER_TRAINS
    | {
        "points-move-under-signal",
        "proceed-over-open-points",
        "proceed-into-occupied",
        "aspect-against-route",
    },
    # A signal that does not ask how points lie does not wait until they have come to rest.
    "derailment": {"proceed-over-open-points", "points-stalled"}
    | {"points-move-under-train", "points-move-under-signal", "indication-locking"}
    | _STUCK,
    # Two trains are let onto one track at once.
    "collision": {"opposing-proceeds"},
    # Trains that face each other stand in the way of all others.
    "opposing-signals-drop": _STUCK,
    "train-cannot-leave": {"locked-for-good"},
    # What can never be set cannot be set again, and its signal never clears.
    "route-never-set": {"locked-for-good", "never-shown", "route-never-clears"},
}
# Advice that every file gets with a detector, or with points that a machine moves: no detector
# survives being stuck, and few files guard against stock that is not seen for a moment, or seen
# where there is none.
ALWAYS = frozenset(("report-stuck", "loss-of-shunt", "false-occupancy"))
# Two whole ends of a siding take more lines.
LONGER = {"cannot-pass": 34}
# Its broken example is refused before anything is proved: that is how it is found.
REFUSED = "assumptions-contradict"

_BY_NAME = {path.name: path for path in EXAMPLE_FILES}


def example_file(name: str, kind: str) -> Path:
    """The file that :func:`example` reads."""
    return _BY_NAME[f"{name}.{kind}.ixl"]


every_property = pytest.mark.parametrize("name", BY_NAME)


def test_the_folder_holds_two_files_a_property_and_no_others() -> None:
    found = {
        entry.name
        for entry in files("verifier.properties.examples").iterdir()
        if entry.name.endswith(".ixl")
    }
    assert found == {f"{name}.{kind}.ixl" for name in BY_NAME for kind in ("broken", "mended")}


@every_property
def test_the_broken_one_is_broken_for_that_and_as_little_else_as_can_be(name: str) -> None:
    if name == REFUSED:
        with pytest.raises(verifier.InputError) as caught:
            verifier.prove(verifier.load_text(example(name, "broken")))
        assert [d.code for d in caught.value.diagnostics] == ["CP501"]
        return
    verdicts = proved(example_file(name, "broken")).verdicts
    broken = {v.obligation.property for v in verdicts if v.status == "broken"}
    assert name in broken
    assert broken <= {name, *ALWAYS} | COMES_WITH.get(name, set())


@every_property
def test_the_mended_one_is_proved_altogether(name: str) -> None:
    report = proved(example_file(name, "mended"))
    asked = [v for v in report.verdicts if v.obligation.property not in ALWAYS - {name}]
    # Whether all can always be done again is looked at for a while only.
    assert {v.status for v in asked if v.obligation.over != "for good"} == {"proved"}
    assert not any(v.status == "broken" for v in asked)
    assert any(v.obligation.property == name for v in report.verdicts)


@every_property
def test_the_enumerator_says_the_same_of_both(name: str) -> None:
    for kind in ("mended", "broken") if name != REFUSED else ("mended",):
        report = proved(example_file(name, kind))
        plan = report.plan
        # What is broken, and what memory comes to over time, is not enumerated here: see
        # tests/differential.
        if plan.locking.over_time:
            continue
        verdicts = [
            v
            for v in report.verdicts
            if v.obligation.property not in FAILURES and v.obligation.over == "situations"
        ]
        for verdict, found in zip(
            verdicts, tally(plan, [v.obligation.holds_in for v in verdicts]), strict=True
        ):
            fine = (found.count > 0) == (verdict.obligation.mode == "possible")
            assert verdict.status == ("proved" if fine else "broken"), verdict.obligation.key
            if verdict.finding is not None and verdict.finding.story is None:
                assert verdict.finding.situation == found.smallest, verdict.obligation.key


@every_property
def test_both_are_short_and_tidy(name: str) -> None:
    for text in (example(name, "broken"), example(name, "mended")):
        assert format_text(text) == text
        assert len(text.splitlines()) <= LONGER.get(name, 22)
        assert all(len(line) <= 88 for line in text.splitlines())


@every_property
def test_mending_changes_little(name: str) -> None:
    """Most lines of the two are the same, so a reader sees at once what was mended."""
    broken = example(name, "broken").splitlines()
    mended = example(name, "mended").splitlines()
    kept = [line for line in broken if line in mended]
    assert broken != mended
    assert len(kept) >= len(broken) * 2 / 3
