"""CP73x, CP74x: files that are included, and modules."""

from verifier.language.diagnostics.code import Code
from verifier.language.modules.expand import MAX_STATEMENTS
from verifier.language.modules.includes import ENDING, MAX_FILES
from verifier.language.syntax.parse import MAX_CHARACTERS

_TRACK = """\
edge West, East
block Main, Single
track West = Main | Single = East
"""

# Modules of one block that is joined to the track on either side.
_MODULE = "module Between (left, right)\n  block Middle\n  track left | Middle | right\nend\n"
_OUTSIDE = """\
edge West, East
block Main, Single
track West = Main
track Single = East
"""
_USE = "use Between as Here with left = Main, right = Single\n"

MODULES = (
    Code(
        "CP730",
        "an included file cannot be read",
        f"""\
`include` names a file whose statements belong to this layout, and that file
does not exist, is a folder, may not be opened, is not plain UTF-8 text, or is
larger than {MAX_CHARACTERS:,} characters. Without it the layout would be
another one than you meant, so nothing is proved.

Correct the path. It starts from the folder of the file that the line stands
in, not from the folder you are in.""",
        'include "common/aspect.ixl"\n' + _TRACK,
        'include "common/aspects.ixl"\n' + _TRACK,
    ),
    Code(
        "CP731",
        "a file that cannot be included from here",
        f"""\
An included file is a junction file (*{ENDING}) in the folder of the file being
proved, or in a folder below it, and the path leads there from the folder of
the file that includes it, with `/` between folders. Other files are not
opened, by whatever way the path gets there: a junction file that you got from
somebody else must not be able to look around on your computer. A text that
came from no file has no folder at all.

Put the file beside the one that includes it, or in a folder below.""",
        'include "/club/common/aspects.ixl"\n' + _TRACK,
        'include "common/aspects.ixl"\n' + _TRACK,
    ),
    Code(
        "CP732",
        "a file that includes itself",
        """\
The file is included by itself, or by a file that it includes. Its statements
would stand inside themselves, without end. (To include one file by two ways
that do not meet is fine: it is read once.)

Take the line out. What two files both need goes into a third one that both
include.""",
        'include "junction.ixl"\n' + _TRACK,
        'include "common/aspects.ixl"\n' + _TRACK,
    ),
    Code(
        "CP734",
        "a module without its end, or an end without its module",
        """\
A module begins with `module`, its name and its parameters, and goes on to the
line `end`. Without that line nobody can tell which statements belong to every
place the module is used at, and which to the layout once.

Write `end` on a line of its own where the module is complete.""",
        _OUTSIDE + _MODULE.removesuffix("end\n") + _USE,
        _OUTSIDE + _MODULE + _USE,
    ),
    Code(
        "CP735",
        "a statement that cannot stand in a module",
        """\
A module stands in the layout once for every `use`. What is said once for the
whole layout cannot be part of it: its title, its aspects, its scale, the
length of trains and how they run everywhere, the stopping distance. Nor can
another module, or `include`: those belong to a file.

Move the statement out of the module. A module may use other modules.""",
        _OUTSIDE + "module Between (left, right)\n  scale HO\n" + _MODULE[29:] + _USE,
        _OUTSIDE + "scale HO\n" + _MODULE + _USE,
    ),
    Code(
        "CP736",
        "no module has this name",
        """\
`use` puts a module into the layout, and no module of that name is in this
file or in one that it includes.

Correct the name, or write the module: `module`, its name, its parameters in
parentheses, its statements, `end`.""",
        _OUTSIDE + _MODULE + _USE.replace("Between", "Betwen"),
        _OUTSIDE + _MODULE + _USE,
    ),
    Code(
        "CP737",
        "a use and the parameters of its module do not agree",
        """\
A module names in parentheses what it needs from outside, and every `use` says
what each of these is: `with main = Main, single = Single`. Here one of them
is left out, given twice, or not in the module's list.

Give each parameter of the module once. The message says which they are.""",
        _OUTSIDE + _MODULE + _USE.replace(", right = Single", ""),
        _OUTSIDE + _MODULE + _USE,
    ),
    Code(
        "CP738",
        "a module that has itself inside",
        """\
The module uses itself, or uses another that uses it. It would stand inside
itself, without end, and no layout is that large.

Take one of the uses out.""",
        _OUTSIDE
        + _MODULE.replace("end\n", "  use Between as In with left = left, right = right\nend\n")
        + _USE,
        _OUTSIDE + _MODULE + _USE,
    ),
    Code(
        "CP739",
        "a parameter that the module makes no use of",
        """\
The module lists something it needs from outside, and then says nothing about
it. Most often a name inside is spelled otherwise than in the list, and the
module is not joined to the layout where it should be.

Use it inside, or take it out of the list and out of every `use`.""",
        _OUTSIDE
        + _MODULE.replace("right)", "right, yard)")
        + _USE.replace("\n", ", yard = Main\n"),
        _OUTSIDE + _MODULE + _USE,
    ),
    Code(
        "CP740",
        "a name that the module does not know",
        """\
Inside a module a name is that of something declared there, or a parameter. It
never reaches outside by itself: the module has to mean the same wherever it
is used, and the list of its parameters shows all that it depends on.

Declare the thing inside, or add a parameter and give it in every `use`.""",
        _OUTSIDE
        + _MODULE.replace("| right", "| Single").replace(", right", "")
        + _USE.replace(", right = Single", ""),
        _OUTSIDE + _MODULE + _USE,
    ),
    Code(
        "CP742",
        "too much to read",
        f"""\
With everything that is included, and with every module where it is used, the
layout has more than {MAX_STATEMENTS:,} statements, {MAX_CHARACTERS:,}
characters or {MAX_FILES} included files. A few short modules that use each
other many times are enough for that, and no layout is.

Use fewer, or prove parts of the layout by themselves.""",
        _OUTSIDE
        + _MODULE
        + _USE
        + "\n".join(
            f"module {name}\n" + "".join(f"  use {inner} as U{i}\n" for i in range(60)) + "end"
            for name, inner in (("A", "B"), ("B", "C"), ("C", "D"))
        )
        + "\nmodule D\n  button Go\nend\nuse A as Top\n",
        _OUTSIDE + _MODULE + _USE,
    ),
)
