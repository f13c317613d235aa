"""What a board says of its heads, and what cannot be."""

import pytest

from tests.messages.expecting import errors, expect

SIGNALS = """\
edge West, East
block Main, Single
track West = Main | Single = East
signal 2 at Main | Single
  Clear  when Single clear
  Stop   otherwise
signal 4 at Single | Main
  heads upper, lower
head 4.upper
  {color}  when Main clear
  {last} otherwise
head 4.lower
  green  when Main clear
  yellow when Main occupied
  lunar  when Single clear
  red    otherwise
driver B1 drives 2, 4.upper, 4.lower
"""


@pytest.mark.parametrize(
    ("color", "last", "clause", "marked", "variant", "rule"),
    [
        ("lunar", "red", "two-color 4.upper",
         "is a two-color LED, and has to show lunar", "two-color", True),
        ("flashing yellow", "red", "semaphore 4.upper",
         "is a semaphore, and has to show flashing yellow", "semaphore", True),
        ("white", "red", "position-light 4.upper",
         "is a position light, and has to show white", "position-light", True),
        ("green", "dark", "semaphore 4.upper",
         "is a semaphore, and has to be dark", "semaphore", True),
        ("green", "red", "semaphore 4.upper when lamp out shows dark",
         "is a semaphore, and has to be dark", "semaphore", False),
        ("green", "red", "target 4.lower",
         "has three lenses, and has to show green, lunar, red and yellow", "target", True),
    ],
)  # fmt: skip
def test_a_color_that_lamps_cannot_show(
    color: str, last: str, clause: str, marked: str, variant: str, rule: bool
) -> None:
    """The clause is marked that says how the head is made, and the rule that asks for it."""
    text = SIGNALS.format(color=color, last=last) + f"  {clause}\n"
    (error,) = errors(text)
    head = clause.split()[1]
    assert (error.code, error.message) == ("CP674", f"`{head}` {marked}")
    assert (error.span.text, error.span.line) == (head, 18)
    assert f"`{variant}`" in error.hint
    assert [said for _, said in error.others] == ["the rule that shows it is here"] * rule


def test_a_color_that_there_is_not_is_said_once() -> None:
    for made in ("two-color", "three-color", "semaphore", "position-light"):
        text = SIGNALS.format(color="blue", last="red") + f"  {made} 4.upper\n"
        assert [error.code for error in errors(text)] == ["CP410"]


@pytest.mark.parametrize(
    ("clause", "underlined", "message", "hint", "more"),
    [
        ("common-anode 2 common-cathode 2", "2", "`2` cannot be both `common-anode` and "
         "`common-cathode`", "Take it out of one of them.", ("the other one is here",)),
        ("position-light 2 series of 3 in 2", "2",
         "`2` is a position light, and cannot have 3 lamps in series",
         "A row has two lamps beside the middle: `series of 2`.", ("it is one here",)),
        ("tested-unlit 2", "2", "`2` is `tested-unlit`, but not `approach-lit`",
         "Write `approach-lit 2` too, or leave out `tested-unlit`.", ()),
        ("approach-lit 4.upper", "4.upper", "only some heads of `4` are `approach-lit`",
         "Approach-light all heads of a signal, or none.", ("the signal is here",)),
    ],
)  # fmt: skip
def test_what_a_head_cannot_be(
    clause: str, underlined: str, message: str, hint: str, more: tuple[str, ...]
) -> None:
    text = SIGNALS.format(color="green", last="red") + f"  {clause}\n"
    expect(text, code="CP675", underlined=underlined, message=message, hint=hint, more=more)


def test_an_arm_beside_lamps_that_a_train_lights_is_seen_anyhow() -> None:
    text = SIGNALS.format(color="green", last="red")
    with pytest.raises(AssertionError, match="without a complaint"):
        errors(f"{text}  semaphore 4.upper approach-lit 4.lower\n")


def test_no_block_lies_before_a_signal_at_an_edge() -> None:
    expect(
        "edge West, East\nblock Main\ntrack West | Main = East\nsignal 2 at West | Main\n"
        "  Clear when Main clear\n  Stop otherwise\ndriver B1 drives 2\n  approach-lit 2\n",
        code="CP677",
        underlined="2",
        message="`2` stands at `West`, so no block lies before it, and it stays dark",
        hint="Put a block with a detector there, or take the signal out of `approach-lit`.",
        more=("the signal is here",),
    )


def test_what_an_output_carries_is_a_current() -> None:
    (error,) = errors(SIGNALS.format(color="green", last="red") + "  outputs 9 of 20 V\n")
    assert "what an output carries" in error.message + error.hint
