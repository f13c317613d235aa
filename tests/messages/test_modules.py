"""What is said of modules that are written or used wrongly."""

from typing import NamedTuple

import pytest

from tests.messages.expecting import errors, expect
from verifier.language.diagnostics.diagnostic import render

OUTSIDE = """\
edge West, East
block Main, Single
lever 4 positions left, normal, right
track West = Main
track Single = East
"""
MODULE = """\
module Between (left, right)
  block Middle
  track left | Middle | right
end
"""
USE = "use Between as Here with left = Main, right = Single\n"
USES = (
    "A use of a module is written `use End-Of-Siding as East with main = Main, single = Single` or "
    "`use End-Of-Siding as West turned round with main = Main, single = Other`."
)


class Wrong(NamedTuple):
    """The text above changed, the code, the words marked, the message, the hint, what is said
    of further places."""

    old: str
    new: str
    code: str
    underlined: str
    message: str
    hint: str
    more: tuple[str, ...] = ()


# fmt: off
MISTAKES = {
    "no end": Wrong(
        "right\nend\n", "right\n", "CP734", "module Between (left, right)",
        "module `Between` has no `end`",
        "Write `end` on a line of its own where the module is complete."),
    "no module": Wrong(
        MODULE, MODULE + "end\n", "CP734", "end",
        "this `end` has no module",
        "Remove this `end`, or begin the module: `module End-Of-Siding (main)`."),
    "module in module": Wrong(
        "  block Middle\n", "  block Middle\nmodule Inner\n  button Go\nend\n", "CP735",
        "module Inner",
        "a module cannot be inside another (`Between`)",
        "If `Between` is complete, write `end` before this line.", ("`Between` starts here",)),
    "layout in a module": Wrong(
        "  block Middle\n", '  block Middle\nlayout "A"\n', "CP735", 'layout "A"',
        "`layout` cannot be in a module (`Between`)",
        "Move it out of the module: it holds for the whole layout."),
    "aspect in a module": Wrong(
        "  block Middle\n", "  block Middle\n  aspect Go lunar proceed\n", "CP735",
        "aspect Go lunar proceed",
        "`aspect` cannot be in a module (`Between`)",
        "Move it out of the module: it holds for the whole layout."),
    "how trains run in a module": Wrong(
        "  block Middle\n", "  block Middle\n  trains obey signals\n", "CP735",
        "trains obey signals",
        "`trains` cannot be in a module (`Between`)",
        "Move it out of the module: it holds for the whole layout."),
    "unknown module": Wrong(
        "use Between", "use Betwen", "CP736", "Betwen",
        "no module is called `Betwen`", "Did you mean `Between`?"),
    "unknown module and none like it": Wrong(
        "use Between", "use Yard", "CP736", "Yard",
        "no module is called `Yard`",
        "If the name is right, declare it with a `module` statement, here or in an "
        "included file."),
    "unknown module inside another": Wrong(
        MODULE, MODULE + "module A\n  use B as X\nend\nmodule C\n  use A as Y\nend\n", "CP736", "B",
        "no module is called `B`",
        "If the name is right, declare it with a `module` statement, here or in an "
        "included file."),
    "two modules of one name": Wrong(
        MODULE, MODULE + "module Between\nend\n", "CP202", "Between",
        "two modules are called `Between`", "Rename one of them.",
        ("the first one is here",)),
    "parameter missing": Wrong(
        ", right = Single", "", "CP737", "use Between as Here with left = Main",
        "`Here` does not give `right`", "Add to the list after `with`: `right = …`.",
        ("the parameters of the module are here",)),
    "no with": Wrong(
        " with left = Main, right = Single", "", "CP737", "use Between as Here",
        "`Here` does not give `left` and `right`",
        "Add to the list after `with`: `left = …, right = …`.",
        ("the parameters of the module are here",)),
    "unknown parameter": Wrong(
        "right = Single", "rigth = Single", "CP737", "rigth",
        "module `Between` has no parameter `rigth`", "Did you mean `right`?",
        ("the parameters of the module are here",)),
    "one parameter too many": Wrong(
        "right = Single", "right = Single, yard = Main", "CP737", "yard",
        "module `Between` has no parameter `yard`", "Its parameters are `left` and `right`.",
        ("the parameters of the module are here",)),
    "parameter given twice": Wrong(
        "right = Single", "right = Single, left = Main", "CP737", "left",
        "parameter `left` is given twice", "Remove one of them.", ("it is given here",)),
    "parameters of a module without": Wrong(
        USE, USE + "module Panel\n  button Go\nend\nuse Panel as P with left = Main\n", "CP737",
        "left",
        "module `Panel` has no parameter `left`",
        "It has no parameters. Remove `with` and what follows.",
        ("the parameters of the module are here",)),
    "parameter listed twice": Wrong(
        "(left, right)", "(left, right, left)", "CP202", "left",
        "parameter `left` is listed twice", "Rename one of them, or remove it."),
    "parameter not used": Wrong(
        "(left, right)\n  block Middle\n  track left | Middle | right\nend\n"
        "use Between as Here with left = Main, right = Single",
        "(left, right, yard)\n  block Middle\n  track left | Middle | right\nend\n"
        "use Between as Here with left = Main, right = Single, yard = Main", "CP739", "yard",
        "module `Between` does not use its parameter `yard`",
        "Use it, or remove it from the list and from every `use`."),
    "parameter declared inside": Wrong(
        "block Middle", "block Middle, left", "CP202", "left",
        "`left` is a parameter of the module and is also declared inside it",
        "A parameter stands for something outside the module. Rename one of them.",
        ("the parameter is here",)),
    "parameter with a dot": Wrong(
        "(left, right)\n  block Middle\n  track left",
        "(left.b, right)\n  block Middle\n  track left", "CP208", "left.b",
        "the name `left.b` has a dot in it",
        "Write a hyphen. A dot leads to the inside of a module, and a parameter has none."),
    "module with a dot": Wrong(
        MODULE, MODULE + "module A.B\n  button Go\nend\n", "CP208", "A.B",
        "the name `A.B` has a dot in it",
        "Write a hyphen. A dot leads to the inside of a module, and the name of a module "
        "has none."),
    "use with a dot": Wrong(
        "as Here", "as Here.B", "CP208", "Here.B",
        "the name `Here.B` has a dot in it",
        "Write a hyphen. A dot leads to the inside of a module, and the name of a use "
        "has none."),
    "name from outside": Wrong(
        "| Middle |", "| Middle = Single |", "CP740", "Single",
        "nothing in module `Between` is called `Single`",
        "To use something outside the module, make it a parameter: `module Between "
        "(left, right, Single)`."),
    "name misspelled inside": Wrong(
        "| Middle |", "| Midle |", "CP740", "Midle",
        "nothing in module `Between` is called `Midle`", "Did you mean `Middle`?"),
    "module that uses itself": Wrong(
        "right\nend\n", "right\n  use Between as In with left = left, right = right\nend\n",
        "CP738", "use Between as In with left = left, right = right",
        "module `Between` would be inside itself",
        "Remove one of these uses."),
    "modules that use each other": Wrong(
        MODULE, MODULE + "module A\n  use B as X\nend\nmodule B\n  use A as Y\nend\n",
        "CP738", "use B as X",
        "module `A` would be inside itself",
        "Remove one of these uses.", ("module `A` is used here",)),
    "name of a use taken": Wrong(
        "as Here", "as Main", "CP202", "Main",
        "`Main` is declared twice",
        "Give each thing, and each use of a module, a name of its own.",
        ("it is declared here",)),
    "two uses of one name": Wrong(
        USE, USE + USE, "CP202", "Here",
        "`Here` is declared twice",
        "Give each thing, and each use of a module, a name of its own.",
        ("it is declared here",)),
    "what a parameter stands for": Wrong(
        "right = Single", "right = Singel", "CP201", "Singel",
        "nothing is called `Singel`", "Did you mean `Single`?"),
    "a parameter that stands for a use": Wrong(
        "right = Single", "right = Here", "CP201", "Here",
        "`Here` is a use of module `Between`, not a thing on the layout",
        "Name something inside it, such as `Here.Middle`.", ("the use is here",)),
    "no such inside": Wrong(
        USE, USE + "condition C is Here.Midle clear\n", "CP201", "Here.Midle",
        "nothing is called `Here.Midle`", "Did you mean `Here.Middle`?"),
    "a use asked for": Wrong(
        USE, USE + "condition C is Here clear\n", "CP201", "Here",
        "`Here` is a use of module `Between`, not a thing on the layout",
        "Name something inside it, such as `Here.Middle`.", ("the use is here",)),
    "declared outside with a dot": Wrong(
        USE, USE + "button Here.Go\n", "CP208", "Here.Go",
        "the name `Here.Go` has a dot in it",
        "Write a hyphen. Only heads have a dot, between the signal's name and their own: "
        "`4L.upper`."),
    "no such head": Wrong(
        USE, USE + "condition C is Here.Middle.upper red\n", "CP201", "Here.Middle.upper",
        "no head is called `Here.Middle.upper`",
        "Name a head by its signal, a dot, and the head: `4L.upper`."),
    "end with a name": Wrong(
        "right\nend\n", "right\nend Between\n", "CP104", "Between",
        "`Between` was not expected here",
        "Expected the next statement. The last line of a module is written `end`."),
    "parameters without commas": Wrong(
        "(left, right)", "(left right)", "CP104", "right",
        "`right` was not expected here",
        "Expected the closing `)` or a comma. The first line of a module is written "
        "`module End-Of-Siding (main, siding, single)`."),
    "turned round, in another word": Wrong(
        "as Here", "as Here mirrored", "CP104", "mirrored",
        "`mirrored` was not expected here",
        "Expected `turned round`, `with`, or the next statement. " + USES),
    "turned and no more": Wrong(
        "as Here", "as Here turned", "CP104", "with",
        "`with` was not expected here", "Expected `round`. " + USES),
    "turned round too late": Wrong(
        "right = Single\n", "right = Single turned round\n", "CP104", "turned",
        "`turned` was not expected here", "Expected a comma or the next statement. " + USES),
    "include without quotes": Wrong(
        USE, USE + "include common\n", "CP104", "common",
        "`common` was not expected here",
        'Expected a text in "quotes". An included file is written `include "common/aspects.ixl"`.'),
    "use without a name": Wrong(
        USE, USE + "use Between with left = Main, right = Single\n", "CP104", "with",
        "`with` was not expected here",
        "Expected `as`. " + USES),
}
# fmt: on


@pytest.mark.parametrize("name", MISTAKES)
def test_mistakes(name: str) -> None:
    wrong = MISTAKES[name]
    text = OUTSIDE + MODULE + USE
    assert text.count(wrong.old) == 1
    expect(
        text.replace(wrong.old, wrong.new),
        code=wrong.code,
        underlined=wrong.underlined,
        message=wrong.message,
        hint=wrong.hint,
        more=wrong.more,
    )


def test_an_error_in_a_module_shows_the_use_it_is_about() -> None:
    text = OUTSIDE + MODULE + USE.replace("right = Single", "right = 4")
    (found,) = (render(d) for d in errors(text) if d.code == "CP203")
    assert (
        found
        == """\
station.ixl:8:25: CP203: `4` is a lever, but this must be a block, a turnout, a crossing, \
a slip, an edge or a bumper
  8 |   track left | Middle | right
    |                         ^^^^^
  in module Between, used as Here (station.ixl:10):
  10 | use Between as Here with left = Main, right = 4
     | ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
  it is declared here (station.ixl:3):
  3 | lever 4 positions left, normal, right
    |       ^"""
    )


def test_an_error_in_a_module_in_a_module_shows_both_uses() -> None:
    outer = """\
module Outer (left, right)
  use Between as In with left = left, right = right
end
use Outer as Out with left = Main, right = 4
"""
    (found,) = (render(d) for d in errors(OUTSIDE + MODULE + outer) if d.code == "CP203")
    assert "  in module Between, used as Out.In (station.ixl:11):\n" in found
    assert "  in module Outer, used as Out (station.ixl:13):\n" in found


def test_an_error_of_the_module_itself_is_told_once() -> None:
    inside = MODULE.replace("  block Middle\n", "  block Middle\n  condition C is Middle seated\n")
    text = "edge West, East\nblock Main, Single\ntrack West = Main | Single = East\n"
    more = "".join(
        f"edge W{i}, E{i}\nblock A{i}, B{i}\ntrack W{i} = A{i}\ntrack B{i} = E{i}\n"
        f"use Between as U{i} with left = A{i}, right = B{i}\n"
        for i in range(5)
    )
    (found,) = errors(text + inside + more)
    assert found.message == "`U0.Middle` is a block, and a block is never `seated`"


def test_a_name_that_gets_too_long_by_its_use() -> None:
    text = OUTSIDE + MODULE + USE.replace("Here", "H" * 96)
    (found,) = errors(text)
    assert (found.code, found.message) == (
        "CP109",
        "this name has 103 letters with the names of its uses in front",
    )
    assert [used.name for used in found.span.uses] == ["H" * 96]


def test_errors_of_modules_and_of_all_else_come_together() -> None:
    text = OUTSIDE + "block Main\n" + MODULE.replace("Middle |", "Midle |") + (
        "module Other (it)\n  layout \"X\"\n  condition C is it clear\nend\n"
        "use Betwen as Here with left = Main, right = Single\n"
        "use Other as There with that = Main\n"
    )  # fmt: skip
    assert [d.code for d in errors(text)] == ["CP202", "CP740", "CP735", "CP736", "CP737"]
