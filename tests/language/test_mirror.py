"""A module turned round is what somebody would write who draws it from the other side."""

import pytest

from tests.language.test_modules import statements, tally
from verifier.api import load_text
from verifier.language.diagnostics.diagnostic import InputError, render
from verifier.language.format.formatter import format_text

# Written for the one end of a siding, and by hand for the other.
PAIRS = {
    "a path": (
        "track out = single | T1 normal |(g1) main\n  turnout T1 in single",
        "track main |(g1) normal T1 | single = out\n  turnout T1 in single",
    ),
    "legs on both sides": (
        "track main || reverse T1 = along X1 | T3 normal = single = out\n"
        "  turnout T1, T3 in single\n  crossing X1 in single",
        "track out = single = normal T3 | X1 along = T1 reverse || main\n"
        "  turnout T1, T3 in single\n  crossing X1 in single",
    ),
    "a single slip": (
        "slip P1 in main single along to across\n  limits",
        "slip P1 in main single across to along\n  limits",
    ),
    "a double slip": ("slip P1 in main\n  limits", "slip P1 in main\n  limits"),
    "direction of traffic": (
        "button E, W\n  traffic Way on main\n    rightward when E pressed and Way leftward\n"
        "    leftward when W pressed\n    locked while main occupied and not Way rightward\n"
        "  condition Out is any of Way, way rightward",
        "button E, W\n  traffic Way on main\n    leftward when E pressed and Way rightward\n"
        "    rightward when W pressed\n    locked while main occupied and not Way leftward\n"
        "  condition Out is any of Way, way leftward",
    ),
    "a signal stands toward the same track, and a lever has its own words": (
        "lever L positions leftward, right, rightward\n  signal S at single | main\n"
        "    Clear when L rightward or lever-outside leftward\n    Stop otherwise",
        "lever L positions leftward, right, rightward\n  signal S at single | main\n"
        "    Clear when L rightward or lever-outside leftward\n    Stop otherwise",
    ),
    "a lever among traffic": (
        "lever L positions leftward, rightward\n"
        "  condition All is all of L, way rightward\n  condition One is any of way, L leftward",
        "lever L positions leftward, rightward\n"
        "  condition All is all of way leftward and all of L rightward\n"
        "  condition One is any of way rightward or any of L leftward",
    ),
}  # fmt: skip
OUTSIDE = """\
block Main, Single
edge Quarry
button Turn
lever Machine positions leftward, rightward
traffic Outer on Single
  rightward when Turn pressed
  leftward when Single clear
"""
OF = ("out", "main", "single", "way", "lever-outside")
WITH = "with out = Quarry, main = Main, single = Single, way = Outer, lever-outside = Machine"


def module(inside: str, name: str = "End") -> str:
    """A module that makes use of all its parameters."""
    inside = inside.replace("limits", "edge Stub")
    every = "condition Every is lever-outside leftward or main, single clear"
    about = "waive own for out, way because \"text\""  # fmt: skip
    return f"module {name} ({', '.join(OF)})\n  {inside}\n  {every}\n  {about}\nend\n"


@pytest.mark.parametrize(("one", "other"), PAIRS.values(), ids=PAIRS)
def test_the_same_as_written_by_hand(one: str, other: str) -> None:
    turned = OUTSIDE + module(one) + f"use End as E turned round {WITH}\n"
    by_hand = OUTSIDE + module(other) + f"use End as E {WITH}\n"
    assert statements(turned) == statements(by_hand)


# (What is said of a lever among traffic comes back the same, but in two parts.)
@pytest.mark.parametrize("one", [PAIRS[name][0] for name in list(PAIRS)[:-1]], ids=list(PAIRS)[:-1])
def test_turned_round_twice_it_is_as_drawn(one: str) -> None:
    bound = f"with {', '.join(f'{name} = {name}' for name in OF)}"
    inner = module(one) + module(f"use End as E turned round {bound}", "Both")
    once = inner.replace(" turned round", "") + f"use Both as B {WITH}\n"
    twice = inner + f"use Both as B turned round {WITH}\n"
    assert statements(OUTSIDE + twice) == statements(OUTSIDE + once)


ENDS = """\
module End (beyond, single, main, siding)
  block Switch
  turnout T1 in Switch
  track beyond = single | T1 normal  |(g1) main
  track                   T1 reverse | siding
  lever 4 positions inward, normal, outward
  signal In at single | T1
    heads upper, lower
    Clear            when 4 inward and T1 normal  and Switch, main clear
    Diverging-Clear  when 4 inward and T1 reverse and Switch, siding clear
    Stop             otherwise
  signal Out-A at main |(g1) T1
    Clear  when 4 outward and T1 normal and Switch, single clear
    Stop   otherwise
  signal Out-B at siding | T1
    Clear  when Switch, single clear
    Stop   otherwise
end
"""
LINE = """\
edge West, East
block West-Single, East-Single, Main, Siding
"""
WEST = "use End as W with beyond = West, single = West-Single, main = Main, siding = Siding\n"
EAST = "use End as E turned round with beyond = East, single = East-Single, main = Main,\n" \
    "  siding = Siding\n"  # fmt: skip


def test_the_plan_is_that_of_the_line_drawn_by_hand() -> None:
    other = ENDS.replace("module End", "module Other").replace(
        "  track beyond = single | T1 normal  |(g1) main\n"
        "  track                   T1 reverse | siding\n",
        "  track main   |(g1) normal T1 | single = beyond\n  track siding | reverse T1\n",
    )
    by_hand = LINE + ENDS + other + WEST + EAST.replace("End as E turned round", "Other as E")
    turned = LINE + ENDS + WEST + EAST
    one, same = load_text(turned), load_text(by_hand)
    assert [(j.a, j.b, j.kind) for j in one.track.joints] == [
        (j.a, j.b, j.kind) for j in same.track.joints
    ]
    found = tally(one)
    assert found == tally(same)
    assert "broken" in str(found)  # a switch is forgotten in the rule of Out-B


@pytest.mark.parametrize(
    ("turned", "spots"), [("", [0.0, 0.3, 1.2]), (" turned round", [1.2, 2.1, 2.4])]
)
def test_places_are_measured_from_the_end_that_the_module_draws_left(
    turned: str, spots: list[float]
) -> None:
    file = (
        "module Yard (way)\n  block Track 2400 mm\n  track way | Track\n"
        "  detector D spot on Track at 0 mm, 300 mm, 1200 mm\n"
        "  signal S at way | Track\n    Clear when Track clear\n    Stop otherwise\nend\n"
        f"edge West, East\nblock Main\nuse Yard as Y{turned} with way = Main\n"
    )
    ends = ("West = Main", "Y.Track = East") if not turned else ("West = Y.Track", "Main = East")
    plan = load_text(file + "".join(f"track {end}\n" for end in ends))
    assert [float(place.at) for place in plan.wiring.detectors["Y.D"].spots] == spots


def test_an_error_inside_says_that_the_module_is_turned_round() -> None:
    broken = ENDS.replace("T1 reverse |", "T1 |")
    with pytest.raises(InputError) as caught:
        load_text(LINE + broken + EAST, "siding.ixl")
    said = render(next(d for d in caught.value.diagnostics if d.code == "CP304"))
    assert "in module End, used as E turned round (siding.ixl:" in said


def test_laid_out_by_the_formatter() -> None:
    assert format_text(EAST) == (
        "use End as E turned round with beyond = East, single = East-Single, main = Main, "
        "siding = Siding\n"
    )
    assert format_text("use End as turned # why\n  turned round\nuse End\nas with\n") == (
        "# why\nuse End as turned turned round\nuse End as with\n"
    )
