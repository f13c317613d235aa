"""The card tries the locks: a slip in them, made from the file, is found by who follows it."""

from functools import cache

import pytest

from tests.testcard.cards import bench, card
from tests.testcard.test_results import filled_in
from tests.testcard.test_stateful_steps import Person
from verifier.diagnosis.observations import Observation, Sight
from verifier.language.source import Source
from verifier.sheets.test_card import sheet_of
from verifier.testcard.card_model import Found
from verifier.testcard.fault_list import CardFault, lock_slips
from verifier.testcard.results import observed
from verifier.testcard.sequence_diagnosis import diagnose_sequence

# Their cards take no more than a second each; an electric lock, traffic, relays, a junction.
TRIED = (
    "electric-lock", "single-track-traffic", "loop-fills-up-mended", "slow-track-relay-3-s",
    "absolute-permissive-block",
)  # fmt: skip


@cache
def slips_found(name: str) -> dict[str, Found]:
    return {found.fault.text: found for found in card(name).found if found.fault.slip}


@pytest.mark.parametrize("name", TRIED)
def test_a_slip_is_seen_where_the_card_says_by_who_does_what_it_says(name: str) -> None:
    made = card(name)
    for found in slips_found(name).values():
        number, look = found.at[0]
        person = Person(made, found.fault)
        person.goes_through(made.steps[: number - 1])
        person.goes_through(made.steps[number - 1 : number])
        assert person.departs(made.steps[number - 1], look), found.fault.text


@pytest.mark.parametrize("name", TRIED)
def test_every_slip_shows_or_is_said_not_to(name: str) -> None:
    unseen = {u.what.text for u in card(name).unseen if isinstance(u.what, CardFault)}
    every = {slip.text for slip in lock_slips(bench(name))}
    shown = set(slips_found(name))
    assert every and shown | unseen >= every and not shown & unseen
    why = (
        next(t for t in sheet_of(card(name)).tables if "cannot show" in t.title) if unseen else None
    )
    assert why is None or {row[0] for row in why.rows} >= unseen


def test_a_lock_left_out_and_a_timer_too_short_are_found() -> None:
    """Of the electric lock at Quarry (30 s): tried by hand under a train, and after 20 s."""
    found = slips_found("electric-lock")
    short = found["timer Lock-Time runs for less than its 30 s"]
    kept = found["the lock of T7 leaves out `Lock-Time done`"]
    for one, words in ((short, "wait 20 s by the clock"), (kept, "try to throw T7 by hand")):
        (number, look), *_ = one.at
        step = card("electric-lock").steps[number - 1]
        assert look == "T7" and any(words in act.text for act in step.instructions)
    traffic = slips_found("single-track-traffic")
    assert any("the lock of traffic" in text for text in traffic)


def test_a_filled_card_names_the_slip() -> None:
    made, text = card("electric-lock"), "timer Lock-Time runs for less than its 30 s"
    found = slips_found("electric-lock")[text]
    person, seen = Person(made, found.fault), dict[int, Observation]()
    for step in made.steps:
        person.goes_through([step])
        shown = person.sees()
        sights = tuple(
            Sight(s.name, frozenset({tuple(shown[head.lens] for head in s.heads)}))
            for s in made.plan.signals.values()
        )
        lies = {name: shown[bench("electric-lock").lies(name)] for name in step.lies}
        setup = step.setup
        changed = tuple({**dict(setup.lies), **lies}.items())
        seen[step.number] = Observation("", type(setup)(
            setup.stands, setup.told, changed, setup.facts), sights)  # fmt: skip
    assert made.simulator is not None
    told = diagnose_sequence(bench("electric-lock"), made, made.simulator, seen)
    assert told.verdict == "explained"
    assert text in {s.text for group in told.groups for member in group.members for s in member}


@pytest.mark.parametrize(("written", "left"), [("ok", False), ("", True)])
def test_only_who_looks_rules_a_slip_out(written: str, left: bool) -> None:
    """All is as it must be; of the points that are tried by hand, where somebody has looked."""
    name, text = "electric-lock", "timer Lock-Time runs for less than its 30 s"
    filled = filled_in(name, lambda step, look: written if look.turnouts else "ok")
    seen = observed(bench(name), card(name), Source("card.csv", filled))
    simulator = card(name).simulator
    assert simulator is not None
    told = diagnose_sequence(bench(name), card(name), simulator, seen)
    assert told.verdict == "nothing wrong"
    named = {s.text for group in told.groups for member in group.members for s in member}
    assert (text in named) == left
