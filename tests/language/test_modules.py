"""Modules: what a file says with them is what it says with everything written out."""

import re
from dataclasses import fields, is_dataclass
from typing import Any

import pytest

from verifier.api import load_text, prove
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.format.formatter import format_text
from verifier.language.modules.expand import MAX_STATEMENTS, expanded, read
from verifier.language.source import Source, Span
from verifier.language.statements.claims import Assume, Expect, Prove, Waive
from verifier.language.syntax.parse import parse
from verifier.plan.model import Plan

OUTSIDE = """\
edge Quarry, Millrace
block West-Single, Middle-Single, East-Single
lever West-Way, Middle-Way, East-Way positions left, right
track Quarry = West-Single
track East-Single = Millrace
"""

# Every name of the inside is written `{}name`, and every parameter stands as `{west}`.
INSIDE = """\
block {}Main, {}Siding, {}West-Switch, {}East-Switch
turnout {}1 in {}West-Switch
turnout {}3 in {}East-Switch
track {west} | {}1 normal |(g1) {}Main | normal {}3 | {east}
track {}1 reverse | {}Siding | reverse {}3
condition {}Ready is {}1 normal and {}West-Switch, {}Main clear
button {}Go
signal {}2R at {west} | {}1
  heads upper, lower
  Clear when {west-way} right and {}Ready and {}4RA proceeds
  Approach when {west-way} right and {}Ready and {}Go pressed
  Stop otherwise
signal {}2LA at {}Main |(g1) {}1
  Stop otherwise
signal {}4RA at {}Main | {}3
  heads upper, lower
head {}4RA.upper
  yellow when {east-way} right and {}3 normal and {}East-Switch, {east} clear and {}2R.lower red
  red otherwise
head {}4RA.lower
  red otherwise
interlocking limits {}Plant is {}2R, {}2LA
"""

PARAMETERS = "west, east, west-way, east-way"
BIRCH = {"west": "West-Single", "east": "Middle-Single", "west-way": "West-Way",
         "east-way": "Middle-Way"}  # fmt: skip
ALDER = {"west": "Middle-Single", "east": "East-Single", "west-way": "Middle-Way",
         "east-way": "East-Way"}  # fmt: skip


def module(inside: str = INSIDE, name: str = "Passing-Siding") -> str:
    """The inside as a module."""
    names = {key: key for key in BIRCH}
    return f"module {name} ({PARAMETERS})\n{written(inside, '', names)}end\n"


def written(inside: str, prefix: str, names: dict[str, str]) -> str:
    """The inside as somebody would write it who has no modules."""
    return re.sub(
        r"\{([\w-]*)\}", lambda found: names[found[1]] if found[1] else prefix, inside
    )  # fmt: skip


def use(name: str, names: dict[str, str], of: str = "Passing-Siding") -> str:
    bound = ", ".join(f"{key} = {value}" for key, value in names.items())
    return f"use {of} as {name} with {bound}\n"


def meaning(node: Any, dot: str = ".") -> Any:
    """A syntax tree without places, dots of names as something else."""
    if is_dataclass(node):
        values = (getattr(node, f.name) for f in fields(node))
        return type(node).__name__, [meaning(v, dot) for v in values if not isinstance(v, Span)]
    if isinstance(node, str):
        return node.replace(".", dot)
    return [meaning(part, dot) for part in node] if isinstance(node, tuple) else node


def statements(text: str, dot: str = ".") -> list[Any]:
    return [meaning(statement, dot) for statement in read(Source("file", text))]


def both_written_out() -> str:
    return written(INSIDE, "Birch-", BIRCH) + written(INSIDE, "Alder-", ALDER).replace("g1", "g2")


def test_a_use_stands_for_the_statements_of_its_module() -> None:
    text = OUTSIDE + module() + use("Birch", BIRCH) + use("Alder", ALDER)
    wanted = OUTSIDE + both_written_out().replace("(g1)", "(Birch-g1)").replace(
        "(g2)", "(Alder-g1)"
    )
    assert statements(text, "-") == statements(wanted, "-")


def test_the_plan_is_that_of_the_same_text_written_out() -> None:
    used = load_text(OUTSIDE + module() + use("Birch", BIRCH) + use("Alder", ALDER))
    plain = load_text(OUTSIDE + both_written_out())
    assert tally(used, "Birch.", "Alder.") == tally(plain, "Birch-", "Alder-")


def tally(plan: Plan, *prefixes: str) -> object:
    """The verdicts of everything there is to prove, names in one way of writing."""

    def plain(text: str) -> str:
        for prefix in prefixes:
            text = text.replace(prefix, f"{prefix[:-1]}:")
        return text

    report = prove(plan)
    assert len(report.verdicts) > 40
    return sorted(
        (v.obligation.property, tuple(map(plain, v.obligation.subjects)), v.status, v.covered)
        for v in report.verdicts
        if v.obligation.property != "rule-never-used"  # asked of lines, by their number
    )


def test_where_modules_and_uses_stand_does_not_matter() -> None:
    parts = [OUTSIDE, module(), use("Birch", BIRCH)]
    wanted = sorted(map(str, statements("".join(parts))))
    assert sorted(map(str, statements("".join(reversed(parts))))) == wanted


def test_a_module_may_use_another_of_which_the_inside_is_reached_by_two_dots() -> None:
    outer = f"""\
module District ({PARAMETERS})
  block Middle
  lever Way positions left, right
  use Passing-Siding as First with west = west, east = Middle, west-way = west-way, east-way = Way
  use Passing-Siding as Second with west = Middle, east = east, west-way = Way, east-way = east-way
  condition Both-Ready is First.Ready and Second.Ready
end
"""
    names = {**ALDER, "west": "West-Single", "west-way": "West-Way"}
    line = "edge Quarry, Millrace\nblock West-Single, East-Single\n"
    line += "lever West-Way, East-Way positions left, right\n"
    line += "track Quarry = West-Single\ntrack East-Single = Millrace\n"
    line += 'prove "two dots" never Valley.First.2R.upper green and Valley.Second.1 lies reverse\n'
    plan = load_text(line + outer + module() + use("Valley", names, "District"))
    assert {"Valley.First.2R", "Valley.Second.4RA"} <= plan.signals.keys()
    assert [h.name for h in plan.signals["Valley.First.4RA"].heads] == [
        "Valley.First.4RA.upper",
        "Valley.First.4RA.lower",
    ]
    report = prove(plan)
    (own,) = (v for v in report.verdicts if v.obligation.property == "two dots")
    assert own.obligation.subjects == ("Valley.First.2R", "Valley.Second.1")


def test_places_are_those_of_the_module_and_know_their_use() -> None:
    text = OUTSIDE + module() + use("Birch", BIRCH) + use("Alder", ALDER)
    plan = load_text(text, "valley.ixl")
    birch, alder = plan.signals["Birch.2R"].span, plan.signals["Alder.2R"].span
    assert birch.text == alder.text
    assert birch.text.startswith("signal 2R at west | 1")
    assert (
        birch.where
        == alder.where
        == f"valley.ixl:{text[: text.index('signal 2R')].count(chr(10)) + 1}"
    )
    assert [u.name for u in birch.uses] == ["Birch"]
    (used,) = alder.uses
    assert (used.module, used.name, used.span.text) == (
        "Passing-Siding",
        "Alder",
        use("Alder", ALDER).strip(),
    )
    assert list(plan.blocks["West-Single"].span.uses) == []


CLAIMS = """\
prove "never green" never {}2R.upper green and {}1 lies reverse
assume "nobody throws it" always {}3 lies normal
waive opposing-proceeds for {}2R, {}4L because "train orders"
expect broken "never green" for {}2R
waive route-never-clears for "{}2R to {}4RA", {west} because "some text of {}2R"
"""


def test_claims_of_a_module_speak_of_its_own_use() -> None:
    inside = module(INSIDE + CLAIMS.replace("{}4L", "{}4RA"))
    found = read(Source("file", OUTSIDE + inside + use("Birch", BIRCH)))
    prove_, assume, waive, expect, phrase = (
        s for s in found if isinstance(s, (Prove, Assume, Waive, Expect))
    )
    assert isinstance(prove_, Prove) and isinstance(assume, Assume)
    assert isinstance(waive, Waive) and isinstance(expect, Expect) and isinstance(phrase, Waive)
    assert (prove_.title, assume.title) == ("Birch: never green", "Birch: nobody throws it")
    assert [n.text for n in waive.subjects] == ["Birch.2R", "Birch.4RA"]
    assert waive.claim.text == "opposing-proceeds"
    assert expect.claim.text == "Birch: never green"
    assert [n.text for n in phrase.subjects] == ["Birch.2R to Birch.4RA", "West-Single"]
    assert phrase.reason == "some text of 2R"


MEMORY = """\
module Locked (main, siding, single)
  block Switch
  turnout T1 in Switch
    thrown by hand
    locked while Switch occupied or 4L-route up
    electric lock released when Time done
  track main | normal T1 | single
  track siding | reverse T1
  button Clear-4L
  relay 4L-route
    picks when Clear-4L pressed and T1 normal and Switch clear
    sticks while not (Switch occupied)
    slow to release 2 s
  timer Time 30 s runs while 4L at stop and single occupied
  signal 4L at single | T1
    Clear when 4L-route up and T1 normal and Switch, main clear
    Stop otherwise
  route In from 4L to main-edge via T1 normal
  traffic One-Way on single
    rightward when Clear-4L pressed
    leftward when Switch clear
    locked while single occupied
  trains reverse on main
end
""".replace("single)", "single, main-edge)")


def test_memory_time_and_locking_are_renamed_too() -> None:
    text = MEMORY + (
        "use Locked as East with main = Main, siding = Siding, single = Single, main-edge = West\n"
        "edge West, East-End\nbumper Stub\nblock Main, Siding, Single\n"
        "track West = Main\ntrack Stub = Siding\ntrack Single = East-End\n"
    )
    shown = str(statements(text))
    names = ["T1", "Switch", "4L-route", "Time", "Clear-4L", "4L", "In", "One-Way"]
    assert all(f"'East.{name}'" in shown for name in names)
    assert not any(f"'{name}'" in shown for name in [*names, "main", "siding", "single"])
    for word in ("'hand'", "'normal'", "'Stop'", "'Clear'"):
        assert word in shown


PIECES = [
    ("wiring", "supply Bus 12 V 3 A\ndriver B1 drives 4L.upper reads D1, T1 contacts\n"
     "  powered by Bus\ndetector D1 current-sensing through m1 output closed when clear\n"
     "block Middle\n  feeders m1\n"
     "district North fed by Bus\ncommon return Bus\nsignal 4L at left | T1\n  heads upper\n"
     "turnout T1 in Middle\n"),
    ("others", "derail D on Middle toward left\ngate G on Middle\ncrossover K is left, right\n"
     "block Middle\nedge Out leaving only\nbumper End\ncrossing X in Middle\n"
     "slip P in Middle single along to across\nlever L positions Middle, left\n"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "inside"), PIECES, ids=[name for name, _ in PIECES])
def test_every_kind_of_statement_is_renamed(name: str, inside: str) -> None:
    """As text: the formatter's output, each name of the inside with the use's before it."""
    text = f"module M (left, right)\n{inside}button Go-left\ncondition C is right clear\nend\n"
    text = text.replace("right clear", "right clear and not left clear")
    found = expanded(parse(Source("file", text + "use M as U with left = A, right = B\n"
                                  "block A, B\n")))  # fmt: skip
    own = re.findall(
        r"^(?:supply|driver|detector|block|district|derail|gate|crossover|edge|bumper|turnout"
        r"|crossing|slip|lever|button|condition|signal|  feeders) (\S+)", inside, re.MULTILINE,
    )  # fmt: skip
    shown = str([meaning(statement) for statement in found])
    positions = ["Middle", "left"] if name == "others" else []
    for one in own:
        assert f"'U.{one}'" in shown, one
        assert one in positions or f"'{one}'" not in shown, one
    assert ("'left'" in shown) == bool(positions)
    assert "'A'" in shown


def test_a_module_without_parameters_and_one_that_is_not_used() -> None:
    text = "module Panel\n  button Go\nend\nuse Panel as P\n"
    text += "module Other\n  lever L positions a, b\nend\n"
    assert statements(text) == statements("use Panel as P\nmodule Panel\nbutton Go\nend\n")
    assert "P.Go" in str(statements(text))
    assert "positions" not in str(statements(text))


def test_a_head_of_a_signal_that_a_parameter_stands_for() -> None:
    text = "module Lamp (signal-4)\nhead signal-4.upper\n  red otherwise\nend\n"
    text += "use Lamp as L with signal-4 = 4L\nsignal 4L at A | B\n  heads upper\n"
    assert "'4L.upper'" in str(statements(text))


def test_many_uses_of_modules_in_modules_come_to_an_end() -> None:
    chain = "".join(
        f"module M{i}\n" + f"  use M{i + 1} as A\n  use M{i + 1} as B\nend\n" for i in range(30)
    )
    text = f"{chain}module M30\n  button Go\nend\nuse M0 as Top\n"
    with pytest.raises(InputError) as caught:
        read(Source("file", text))
    assert [d.code for d in caught.value.diagnostics] == ["CP742"]
    assert f"{MAX_STATEMENTS:,}" in caught.value.diagnostics[0].message


def test_a_long_chain_of_modules_is_a_name_too_long() -> None:
    chain = "".join(f"module M{i}\n  use M{i + 1} as A\nend\n" for i in range(3000))
    text = f"{chain}module M3000\n  button Go\nend\nuse M0 as Top\n"
    with pytest.raises(InputError) as caught:
        read(Source("file", text))
    assert [d.code for d in caught.value.diagnostics] == ["CP109"]


def test_the_formatter_sets_a_module_in_and_leaves_it_a_module() -> None:
    crowded = """\
use   M as U with left=Main ,right = Single
module M(left,right)   # what for
block Middle
# drawn
track left|Middle|right
  # at the end
end # of M
"""
    tidy = """\
use M as U with left = Main, right = Single
module M (left, right)  # what for
  block Middle
  # drawn
  track left | Middle | right
  # at the end
end  # of M
"""
    assert format_text(crowded) == tidy
    assert format_text(tidy) == tidy
    assert format_text('include   "common/a.ixl"') == 'include "common/a.ixl"\n'


def test_words_of_modules_are_names_elsewhere() -> None:
    text = "lever 4 positions as, with, single\nblock as, with, single\nbutton With-All\n"
    assert len(parse(Source("file", text))) == 3
