"""Results of cards of layouts that remember: what somebody sees who goes through the words of the
card with something wrong leads back to it."""

import pytest

from tests.testcard.cards import bench, card
from tests.testcard.test_results import filled_in
from tests.testcard.test_stateful_steps import WHOLE, Person
from verifier.language.source import Source
from verifier.plan import observables
from verifier.reports.diagnosis import diagnosis_lines
from verifier.reports.ink import Ink
from verifier.testcard.fault_list import CardFault
from verifier.testcard.observation_points import observation_points
from verifier.testcard.results import observed
from verifier.testcard.sequence_diagnosis import diagnose_sequence

SMALL = "lock-between-spots-mended"
of_whole = pytest.mark.xdist_group(WHOLE)  # one card for all


def seen_with(wrong: CardFault, steps: int) -> dict[tuple[int, str], str]:
    """What somebody writes who goes through the first steps of the card."""
    made = card(WHOLE)
    person, written = Person(made, wrong), {}
    for step in made.steps[:steps]:
        for act in step.instructions:
            person.does(act.text)
        seen = person.sees()
        for look in observation_points(step):
            said = []
            for at, must in look.expected:
                if look.turnouts:
                    lit: tuple[str, ...] = (seen[observables.points(at)],)
                else:
                    heads = made.plan.signals[at].heads
                    lit = tuple(seen[head.lens] for head in heads)
                said.append(f"{at} {'ok' if lit in must else ' over '.join(lit)}")
            written[step.number, look.at] = ", ".join(said)
    return written


@of_whole
@pytest.mark.parametrize("name", ["power wire of D-Switch is broken", "lamp 4L.upper green is out",
                                  "detector D-Switch is stuck at clear"])  # fmt: skip
def test_what_relays_heard_is_found_again(name: str) -> None:
    made = card(WHOLE)
    found = next(f for f in made.found if f.fault.text == name)
    written = seen_with(found.fault, found.at[0][0])
    text = filled_in(WHOLE, lambda step, look: written.get((step.number, look.at), ""))
    assert made.simulator is not None
    told = diagnose_sequence(
        bench(WHOLE), made, made.simulator, observed(bench(WHOLE), made, Source("card.csv", text))
    )
    assert told.verdict == "explained"
    assert name in {s.text for alike in told.groups for group in alike.members for s in group}
    assert told.explanations < 60


def test_a_sound_layout_has_nothing_wrong_and_more_to_look_at() -> None:
    made = card(SMALL)
    text = filled_in(SMALL, lambda step, look: "ok" if step.number < 3 else "")
    assert made.simulator is not None
    told = diagnose_sequence(
        bench(SMALL), made, made.simulator, observed(bench(SMALL), made, Source("card.csv", text))
    )
    assert told.verdict == "nothing wrong" and told.next_test is not None
    assert told.next_test.words.startswith("go on to step ")
    assert 0 < told.explanations < told.looked_at


@of_whole
def test_several_things_wrong_together_are_said_not_to_be_looked_for() -> None:
    made = card(WHOLE)
    written = {
        (1, "4RA"): "4RA red", (1, "4L, 4RB"): "4L green over green, 4RB red", (1, "T1"): "ok",
    }  # fmt: skip
    text = filled_in(WHOLE, lambda step, look: written.get((step.number, look.at), ""))
    assert made.simulator is not None
    told = diagnose_sequence(
        bench(WHOLE), made, made.simulator, observed(bench(WHOLE), made, Source("card.csv", text))
    )
    assert told.verdict == "unexplained"
    lines = "\n".join(diagnosis_lines(told, Ink()))
    assert "No one thing wrong explains this" in lines and "cut short" not in lines
