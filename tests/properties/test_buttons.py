"""A signal that a held button clears again behind a train, which is a note."""

import pytest

import verifier

JUNCTION = """
edge West, East
block Near, Far
button Clear-2R, Fleet
lever 2 positions normal, reverse
track West = Near | Far = East
condition Send is Clear-2R pressed and Far clear
"""
OTHERWISE = "\n  Stop   otherwise"
SIGNAL = "signal 2R at Near | Far\n  "
HEAD = "signal 2R at Near | Far\nhead 2R\n  "

# Two relays that a train drops: the first wants the button let go, the second pressed.
STICK = """
trains obey signals
relay Clear-2R-free
  picks when not Clear-2R pressed and Far clear
  sticks while Far clear
relay 2R-stick
  picks when Clear-2R pressed and Clear-2R-free up and Far clear
  sticks while Far clear
"""


def verdicts(text: str, name: str = "clears-again") -> dict[tuple[str, ...], str]:
    report = verifier.prove(verifier.load_text(JUNCTION + text + "\n"))
    found = [v for v in report.verdicts if v.obligation.property == name]
    assert not any(v.fails for v in found) or name != "clears-again"
    return {v.obligation.subjects: v.status for v in found}


@pytest.mark.parametrize(
    "text, notes",
    [
        (SIGNAL + "Clear  when Clear-2R pressed and Far clear" + OTHERWISE, {"Clear-2R": "broken"}),
        (SIGNAL + "Clear  when Send" + OTHERWISE, {"Clear-2R": "broken"}),
        (HEAD + "green  when Send\n  red    otherwise", {"Clear-2R": "broken"}),
        # Either one, by itself.
        (
            SIGNAL + "Clear  when Far clear and (Clear-2R pressed or Fleet pressed)" + OTHERWISE,
            {"Clear-2R": "broken", "Fleet": "broken"},
        ),
        # It proceeds without the button as well: the button only tells one aspect from another.
        (
            SIGNAL + "Clear  when Send\n  Approach  when Far clear" + OTHERWISE,
            {"Clear-2R": "proved"},
        ),
        # The button holds it.
        (
            SIGNAL + "Clear  when Far clear and not Fleet pressed" + OTHERWISE,
            {"Fleet": "proved"},
        ),
        # A lever stays where it is put; Restricting is held on purpose.
        (SIGNAL + "Clear  when 2 reverse and Far clear" + OTHERWISE, {}),
        (SIGNAL + "Restricting  when Send" + OTHERWISE, {}),
        # Over time too, as long as nothing remembers.
        (
            "trains obey signals\n" + SIGNAL + "Clear  when Send" + OTHERWISE,
            {"Clear-2R": "broken"},
        ),
        # With memory it is not asked.
        (STICK + SIGNAL + "Clear  when 2R-stick up and Far clear" + OTHERWISE, {}),
    ],
)
def test_what_is_noted(text: str, notes: dict[str, str]) -> None:
    assert verdicts(text) == {("2R", button): status for button, status in notes.items()}


@pytest.mark.parametrize(
    "held, status", [("", "proved"), ('assume "held" always Clear-2R pressed', "broken")]
)
def test_the_cure_clears_at_a_press_and_not_while_the_button_is_held(
    held: str, status: str
) -> None:
    """A train leaves both relays down, as at the start."""
    text = STICK + SIGNAL + "Clear  when 2R-stick up and Far clear" + OTHERWISE + "\n" + held
    assert set(verdicts(text, "route-never-set").values()) == {status}
