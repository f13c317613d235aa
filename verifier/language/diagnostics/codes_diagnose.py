"""CP62x: what was seen on the bench, as `clearproof diagnose` reads it."""

from verifier.language.diagnostics.code import Code

_DIAGNOSE = "clearproof diagnose junction.ixl "

# The card of the tests' own junction (tests/language/test_codes.py).
_NUMBER = "EE8B-0875"
_CARD = f"""\
{_DIAGNOSE}--results card.csv

Test card {_NUMBER}
step,do,look at,must show,aspect,seen
1,nothing: all is at rest,2,red,Stop,ok
"""

DIAGNOSE = (
    Code(
        "CP620",
        "nothing on this layout has this name",
        """\
An observation names track, feeders, points, levers and signals as the file
does. What the file does not know cannot be set beside what it says, and a
fault looked for at the wrong place is not found.

Write the name as in the file, capital letters and hyphens included. The shape
of an observation is: where stock stands, how points and levers stand, then
what a signal showed, as in `locomotive at m2, T1 reverse: 4L Stop`.""",
        _DIAGNOSE + '"locomotive on Mian: 2 red"',
        _DIAGNOSE + '"locomotive on Main: 2 red"',
    ),
    Code(
        "CP621",
        "this thing is never so",
        """\
The thing is known, but it cannot be in the state that was said: points lie
normal, reverse or open, a lever stands in one of its positions, a signal shows
colors that its heads have. If a color is really seen that the file does not
know of, the file describes another signal than the one on the layout.

Choose one of the states the message lists.""",
        _DIAGNOSE + '"T1 sideways: 2 red"',
        _DIAGNOSE + '"T1 reverse: 2 red"',
    ),
    Code(
        "CP622",
        "two things said of one",
        """\
One observation is one moment. Here the same block, turnout, lever or signal is
in two states at once, so nobody could tell which of them is to be explained.

Give each moment an observation of its own, in quotes of its own.""",
        _DIAGNOSE + '"T1 normal, T1 reverse: 2 red"',
        _DIAGNOSE + '"T1 normal: 2 red" "T1 reverse: 2 red"',
    ),
    Code(
        "CP623",
        "something is left unsaid",
        """\
The observation names a thing and does not go on, or it says how the layout was
set up and not what any signal then showed, or it leaves open where stock stood
on so many blocks that it excludes next to nothing. Only what was seen can
speak for a fault or against it.

Say where each locomotive stood, and end with a signal and its colors, or the
name of its aspect.""",
        _DIAGNOSE + '"T1 reverse"',
        _DIAGNOSE + '"T1 reverse: 2 red"',
    ),
    Code(
        "CP624",
        "more or fewer colors than heads",
        """\
A signal shows as many colors as it has heads. A red by itself may be the upper
or the lower one of two, and the other may be anything, dark included: that is
often just what gives a fault away.

Say all the colors, top to bottom, as in `red over green`, or name the head,
as in `4L.upper red`.""",
        _DIAGNOSE + '"2 red over red"',
        _DIAGNOSE + '"2 red"',
    ),
    Code(
        "CP625",
        "this is no test card filled in",
        """\
What was seen is read from the file that `clearproof sheet FILE test-card --csv`
writes: a line with the number of the card, a line with the names of the
columns, then a line for each look. In another file nobody could tell which
step a result belongs to.

Write what you see into the column `seen` of that file, and leave the rest.""",
        _DIAGNOSE + "--results card.csv\n\nstep,look at,seen\n1,2,ok\n",
        _CARD,
    ),
    Code(
        "CP626",
        "results of another card",
        """\
The number of a card stands for its steps, for what they must show and for what
may be found with them. The junction file has changed since this card was
printed, so its results say nothing of the layout as it is planned now.

Print the card anew and try again what has changed.""",
        _CARD.replace(_NUMBER, "0000-0000"),
        _CARD,
    ),
    Code(
        "CP627",
        "no such step, or no such look",
        """\
A line of the results names a step that the card does not have, or a signal
that this step does not look at, or the same look twice. What was seen would be
held against the wrong step, and the wrong thing would be looked for.

Put the number of the step and what it looks at back as they were printed.""",
        _CARD.replace("\n1,", "\n91,"),
        _CARD,
    ),
)
