"""Derails and gates with machines of their own, diagnosed as points are."""

import pytest

import verifier
from verifier.diagnosis.bench import Bench
from verifier.diagnosis.observations import observations
from verifier.language.diagnostics.diagnostic import InputError

# A gate and a derail with machines of their own.
MOVED = """
edge West
edge East leaving only
block A, Bridge, C
supply Bus-1 DC 12 V
lever G-lever, D-lever positions normal, reverse
gate G1 on Bridge
  thrown by G-lever
  motor slow
  powered by Bus-1
  contacts seated, open
derail D1 on C toward Bridge
  thrown by D-lever
  motor slow
  powered by Bus-1
  contacts derailing, non-derailing
track West = A | Bridge | C = East
signal 2 at A | Bridge
  Clear  when G1 seated and D1 non-derailing
  Stop   otherwise
driver B1 drives 2 powered by Bus-1
"""


def test_the_machine_of_a_derail_that_lies_as_told_is_no_suspect() -> None:
    found = verifier.diagnose(
        verifier.load_text(MOVED), ["D1 non-derailing, lever D-lever reverse: 2 red"]
    )
    texts = {suspect.text for group in found.groups for one in group.members for suspect in one}
    assert "wire from D1 non-derailing to B1 is broken" in texts
    assert not any("machine of" in text or "motor wires" in text for text in texts)


def _texts(*said: str) -> set[str]:
    found = verifier.diagnose(verifier.load_text(MOVED), said)
    return {one.text for group in found.groups for some in group.members for one in some}


@pytest.mark.parametrize(
    ("name", "lever", "normal", "reverse"),
    [("D1", "D-lever", "derailing", "non-derailing"), ("G1", "G-lever", "seated", "open")],
)
def test_the_machine_of_a_derail_or_gate_is_a_suspect_as_that_of_points_is(
    name: str, lever: str, normal: str, reverse: str
) -> None:
    stays = {
        position: f"the machine of {name} leaves it {position}, whatever it is told"
        for position in (normal, reverse)
    }
    swapped = f"the motor wires of {name} are swapped: it goes the other way"
    for told in (f"{name} told {reverse}", f"lever {lever} reverse"):
        assert _texts(f"{told}, {name} {normal}") >= {
            stays[normal], swapped, f"power wire of {name} is broken"
        }  # fmt: skip
        assert stays[reverse] not in _texts(f"{told}, {name} {normal}")
    back = _texts(f"{name} told {normal}, {name} {reverse}")
    assert {stays[reverse], swapped} <= back
    assert stays[normal] not in back
    both = [f"{name} told {reverse}, {name} {normal}", f"{name} told {normal}, {name} {normal}"]
    assert stays[normal] in _texts(*both)
    assert swapped not in _texts(*both)


def test_a_derail_that_stopped_between_its_ends_is_told_from_one_that_is_moving() -> None:
    assert "the machine of D1 stopped between its ends" in _texts(
        "D1 told non-derailing, D1 open", "D1 told derailing, D1 open"
    ) | _texts("lever D-lever reverse: 2 red")
    # Gates: to stop on the way is to lie open.
    assert not any("stopped" in text for text in _texts("G1 told seated, G1 open"))


def test_one_lever_commands_points_and_derail_alike() -> None:
    text = MOVED.replace("thrown by G-lever", "thrown by D-lever")
    found = verifier.diagnose(verifier.load_text(text), ["D1 told non-derailing, G1 seated: 2 red"])
    texts = {one.text for group in found.groups for some in group.members for one in some}
    assert "the machine of G1 leaves it seated, whatever it is told" in texts


@pytest.mark.parametrize(
    ("said", "code", "hint"),
    [("D1 thrown open: 2 red", "CP621", "It is thrown derailing or non-derailing."),
     ("D1 told reverse: 2 red", "CP621", "It can be derailing, non-derailing or open."),
     ("G1 told open, G1 told seated: 2 red", "CP622", None)],
)  # fmt: skip
def test_what_a_derail_or_gate_cannot_be_told_is_refused(
    said: str, code: str, hint: str | None
) -> None:
    with pytest.raises(InputError) as refused:
        observations(Bench(verifier.load_text(MOVED)), [said])
    [found] = refused.value.diagnostics
    assert found.code == code
    assert hint in (None, found.hint)
