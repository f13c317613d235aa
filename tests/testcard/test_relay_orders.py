"""What depends on which relay acts first is on no test card, and the page's play says so."""

import pytest

import verifier
from verifier.diagnosis.bench import Bench
from verifier.sheets.test_card import sheet_of
from verifier.testcard.card import card_on
from verifier.testcard.stateful_steps import StateGraph
from verifier.workbench.document import Document
from verifier.workbench.situation_play import Play
from verifier.workbench.temporal_play import BY_ORDER, TemporalPlay
from verifier.world.world import World

HEAD = """\
edge West, East
block Main, Single
button P, Q
track West = Main | Single = East
signal 2 at Main | Single
  Clear  when A up and B down and Single clear
  Stop   otherwise
signal 4 at Single | Main
  Clear  when B up and A down and Main clear
  Stop   otherwise
"""
# One button, two relays: which of them stays up nobody knows.
RACE = """\
relay A
  picks when P pressed and B down
  sticks while not Q pressed and B down
relay B
  picks when P pressed and A down
  sticks while not Q pressed and A down
"""
# The back contact of P: A waits for B.
NO_RACE = """\
relay A
  picks when Q pressed and not P pressed and B down
  sticks while not P pressed
relay B
  picks when P pressed and not Q pressed and A down
  sticks while not Q pressed
"""


def graph_of(text: str) -> StateGraph:
    return StateGraph(Bench(verifier.load_text(HEAD + text)))


@pytest.mark.parametrize(
    ("text", "by_order"),
    [(RACE, True), (RACE + "built as one program\n", False), (NO_RACE, False)],
)
def test_what_depends_on_the_order_is_left_out(text: str, by_order: bool) -> None:
    graph = graph_of(text)
    assert bool(graph.by_order) == by_order
    pressed = [way for way in graph.rest.onward if way.acts[0].text == "press and hold button P"]
    assert bool(pressed) != by_order
    card = card_on(Bench(verifier.load_text(HEAD + text)))
    said = any("which relay acts first" in note for note in sheet_of(card).notes)
    assert said == by_order


def test_a_delay_that_ends_as_another_does() -> None:
    """Two delays of the same length: either may end first, and then keeps the other one down."""
    slow = RACE.replace("  sticks", "  slow to pick 2 s\n  sticks")
    slow = "\n".join([*sorted_clauses(slow)])
    assert graph_of(slow).by_order
    quicker = slow.replace("slow to pick 2 s", "slow to pick 1 s", 1)
    assert not graph_of(quicker).by_order


def sorted_clauses(text: str) -> list[str]:
    """The clauses of relays in the order of the language: delays last."""
    relays = text.split("relay ")[1:]
    found = []
    for relay in relays:
        name, *clauses = relay.strip().split("\n")
        found += [f"relay {name}", *sorted(clauses, key=lambda c: "slow" in c)]
    return [*found, ""]


@pytest.mark.parametrize(
    ("text", "by_order"),
    [(RACE, True), (RACE + "built as one program\n", False), (NO_RACE, False)],
)
def test_the_play_says_it(text: str, by_order: bool) -> None:
    plan = verifier.load_text(HEAD + text)
    document = Document(plan, World(plan))
    play = TemporalPlay(document, Play({}, over_time=True))
    play._press(play.moment, next(w for w in play.moment if w.name == "P"))
    assert (BY_ORDER in play.notes) == by_order
