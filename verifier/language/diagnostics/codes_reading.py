"""CP1xx: the text cannot be read."""

from verifier.language.diagnostics.code import Code
from verifier.language.syntax.parse import MAX_CHARACTERS, MAX_NAME, MAX_NESTING

_TRACK = """\
edge West, East
block Main, Single
track West = Main | Single = East
"""

READING = (
    Code(
        "CP100",
        "the file cannot be read",
        f"""\
The file does not exist, is a folder without *.ixl files, may not be opened,
is not plain UTF-8 text, or is larger than {MAX_CHARACTERS:,} characters.
Nothing was proved.

Check the spelling of the file's name and the folder you are in. A file from a
word processor has to be saved again as plain text ("UTF-8").""",
        "clearproof prove missing.ixl",
        "clearproof prove junction.ixl",
    ),
    Code(
        "CP101",
        "a character has no meaning here",
        """\
The language uses letters and digits, hyphens inside names, straight double
quotes around texts, `=` `|` `||` between pieces of track, commas,
parentheses, and `#` before a comment. Anything else is a slip of the
keyboard, or was put there by a word processor: curly quotes, long dashes,
characters that cannot be seen. Two names that look alike and are not would be
two different things on your layout, so the file is not read any further.

Type the character again, or delete it.""",
        "layout “Heron Falls”\n" + _TRACK,
        'layout "Heron Falls"\n' + _TRACK,
    ),
    Code(
        "CP102",
        "a text has no closing quote",
        """\
A text begins and ends with a straight double quote on the same line. Without
the second one everything up to the end of the line would be taken for text.

Put the closing quote where the text ends.""",
        'layout "Heron Falls, east switch\n' + _TRACK,
        'layout "Heron Falls, east switch"\n' + _TRACK,
    ),
    Code(
        "CP103",
        "a line does not start a statement",
        """\
Every statement starts with a word that says what it is about: `layout`,
`block`, `turnout`, `track`, `signal` and so on, always in small letters. A
misspelled one is not passed over, for a signal or a stretch of track that is
left out makes everything proved about the layout worthless.

Correct the word; the message names the nearest one.""",
        _TRACK + "singal 2 at Main | Single\n  Stop otherwise\n",
        _TRACK + "signal 2 at Main | Single\n  Stop otherwise\n",
    ),
    Code(
        "CP104",
        "a word was not expected here",
        """\
The statement begins well and then goes on with something that cannot stand
there: a word in the wrong place, a comma or an `and` left out, a misspelled
word. The message says what could stand there and shows a statement of this
kind as it should look.

Line ends and spaces do not matter, so the slip may also be the end of the
line before.""",
        "edge West and East\nblock Main\ntrack West = Main = East\n",
        "edge West, East\nblock Main\ntrack West = Main = East\n",
    ),
    Code(
        "CP105",
        "a statement stops short",
        """\
The statement ends before it has said everything it must: a turnout without
its block, a track that leads to nothing, a `when` without a condition.

Complete it; the message says what is missing.""",
        "edge West, East\nblock Main\ntrack West = Main =\n",
        "edge West, East\nblock Main\ntrack West = Main = East\n",
    ),
    Code(
        "CP106",
        "a word of the language cannot be a name",
        """\
Words such as `signal`, `clear`, `normal` or `reverse` have a meaning of their
own, and a button called `clear` could not be told from it. Names may have
capitals, though, and the words of the language never do.

Write the name with a capital letter, or choose another.""",
        _TRACK + "button clear\n",
        _TRACK + "button Clear\n",
    ),
    Code(
        "CP107",
        "not an indication",
        """\
An indication tells the engineer what an aspect allows, and the safety
properties rest on it: whether a train may go, how fast, whether the route is
straight, and what the next signal may show. So it is chosen from a fixed
list, which `clearproof explain indications` prints, and cannot be worded
freely.

Choose the indication from the list that says what your rulebook says.""",
        _TRACK + "aspect Caution yellow proceed with caution\n",
        _TRACK + "aspect Caution yellow proceed prepared to stop at next signal\n",
    ),
    Code(
        "CP108",
        "conditions nested too deeply",
        f"""\
Parentheses and `not` stand inside one another more than {MAX_NESTING} deep.
Nobody can read such a condition aloud, and so nobody can check it against the
railroad.

Give parts of it names of their own with `condition … is …`, and use the
names.""",
        _TRACK + "condition Ready is " + "(" * 41 + "Main clear" + ")" * 41 + "\n",
        _TRACK + "condition Ready is (Main clear)\n",
    ),
    Code(
        "CP109",
        "a name is too long",
        f"""\
A name has at most {MAX_NAME} letters, so that it fits on a drawing, a sheet
and a line of a report. What needs more words is a note: `block Main "main
track at the station"`.

Shorten the name.""",
        "edge West, East\nblock " + "Very-" * 20 + "Long\n",
        "edge West, East\nblock Long\ntrack West = Long = East\n",
    ),
)
