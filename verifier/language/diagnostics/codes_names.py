"""CP2xx: names, and what is said of the things they name."""

from verifier.language.diagnostics.code import Code

_TURNOUT = """\
edge West, East
bumper End
block Main, Spur, Switch, Single
turnout T1 in Switch
track West = Main | normal  T1 | Single = East
track End  = Spur | reverse T1
"""

_LEVER = """\
edge West, East
block Main, Single
track West = Main | Single = East
lever 4 positions left, normal, right
"""

_OPPOSED = """\
edge West, East
block West-Main, Single, East-Main
track West = West-Main | Single | East-Main = East
signal 2R at West-Main | Single
  Clear  when Single, East-Main clear
  Stop   otherwise
signal 2L at East-Main | Single
  Clear  when Single, West-Main clear
  Stop   otherwise
"""

NAMES = (
    Code(
        "CP201",
        "nothing has this name",
        """\
Everything a file speaks of has to be declared in it: blocks, turnouts,
signals, levers and so on, each by a statement of its own. A rule about a
misspelled block would watch nothing at all, so an unknown name is always an
error.

Correct the spelling (capitals count: `Main` and `main` are two names), or
declare the thing.""",
        _TURNOUT + "condition Ready is Mian clear\n",
        _TURNOUT + "condition Ready is Main clear\n",
    ),
    Code(
        "CP202",
        "two things have the same name",
        """\
One name stands for one thing in the whole file, whatever kind of thing it is:
a block and a signal cannot both be called 4. The same goes for the heads of
one signal, the positions of one lever, gaps, aspects, and the texts of
properties. Otherwise a rule or a report could not say which one it means.

Give one of them another name.""",
        _TURNOUT + "signal T1 at Main | T1\n  Stop otherwise\n",
        _TURNOUT + "signal 2 at Main | T1\n  Stop otherwise\n",
    ),
    Code(
        "CP203",
        "the name belongs to another kind of thing",
        """\
The name is known, but what it stands for cannot stand here: a turnout lies in
a block, not in a signal; a crossover is made of turnouts.

Put the name of the right kind of thing here.""",
        _TURNOUT + "gate G1 on T1\n",
        _TURNOUT + "gate G1 on Single\n",
    ),
    Code(
        "CP204",
        "a thing is never in this state",
        """\
Each kind of thing has states of its own. Blocks are clear or occupied,
turnouts normal, reverse or moving, signals at stop or proceed or show an
aspect, levers stand in the positions the file gives them. A thing named
without any state says nothing either: is the rule to act when the block is
clear, or when it is occupied?

Write a state the thing can be in; the message lists them. Several things in
the same state are listed with commas: `Main, Switch clear`.""",
        _TURNOUT + "condition Ready is T1 clear\n",
        _TURNOUT + "condition Ready is T1 normal\n",
    ),
    Code(
        "CP205",
        "any of them, or all of them?",
        """\
`Main, Switch clear` can only mean that both are clear. `Main, Switch
occupied` is heard in two ways: one of them is enough, or it takes both. Where
signals are concerned the wrong guess is a false clear.

Say which: `any of Main, Switch occupied` or `all of Main, Switch occupied`.""",
        _TURNOUT + "condition Held is Main, Switch occupied\n",
        _TURNOUT + "condition Held is any of Main, Switch occupied\n",
    ),
    Code(
        "CP206",
        "a rule cannot know the truth",
        """\
Rules work on what the equipment reports: what the detector says of a block,
what the contacts say of the points. `train on Main`, `Main vacant` and `T1
lies normal` speak of where the rolling stock and the points really are, which
no wire on the layout can tell. Most false clears come from the difference
between the two.

In rules and conditions write what is reported: `Main clear`, `T1 normal`.
What is true may be spoken of in `prove` and `assume`.""",
        _TURNOUT + "condition Ready is T1 lies normal\n",
        _TURNOUT + "condition Ready is T1 normal\n",
    ),
    Code(
        "CP207",
        "nothing reports on an undetected block",
        """\
The block is declared `undetected`: no detector is wired to it. A rule that
asks whether it is clear could never be built.

Take the word `undetected` away if there is a detector after all, or let the
rule do without this block.""",
        "edge West, East\nblock Team undetected\ntrack West = Team = East\n"
        "condition Ready is Team clear\n",
        "edge West, East\nblock Team\ntrack West = Team = East\ncondition Ready is Team clear\n",
    ),
    Code(
        "CP208",
        "a name has a dot in it",
        """\
A dot stands between a signal and one of its heads: `4L.upper` is the head
`upper` of signal `4L`. Nothing else has a dot in its name, so that the two
are never mixed up.

Write a hyphen instead of the dot.""",
        "edge West, East\nblock Main.1\ntrack West = Main.1 = East\n",
        "edge West, East\nblock Main-1\ntrack West = Main-1 = East\n",
    ),
    Code(
        "CP209",
        "no property has this name",
        """\
`waive` sets a property aside and `expect` says that it does not hold, so both
have to name one: a property of the catalog (`clearproof explain properties`
lists them), or the text of a `prove` statement in this file, in quotes. A
waiver that names nothing would look as if something had been considered.

Correct the name.""",
        _OPPOSED + 'waive oposing-proceeds for 2R, 2L because "the dispatcher gives authority"\n',
        _OPPOSED + 'waive opposing-proceeds for 2R, 2L because "the dispatcher gives authority"\n',
    ),
    Code(
        "CP210",
        "a waiver or an expectation matches nothing",
        """\
The property exists, but in this file it is not asked about what stands after
`for`. Perhaps a signal was renamed or moved since. Left in place, the line
would look as if something had been set aside that is in fact being checked,
or the reverse.

Name what the property is asked about, in the same words as the report, or
take the line out.""",
        _OPPOSED + 'waive opposing-proceeds for 2R, Single because "one train at a time"\n',
        _OPPOSED + 'waive opposing-proceeds for 2R, 2L because "one train at a time"\n',
    ),
    Code(
        "CP211",
        "the command names something that does not exist",
        """\
A word on the command line should name a property, a topic to explain or a
pattern to begin with, and there is none of that name.

Correct the spelling; the message says where the names are listed.""",
        "clearproof explain oposing-proceeds",
        "clearproof explain opposing-proceeds",
    ),
    Code(
        "CP212",
        "one thing in two states at once",
        """\
A situation given to `clearproof ask` puts the same thing in two states:
points that lie normal and reverse, a lever in two positions. No such
situation exists.

Leave one of the two out.""",
        'clearproof ask junction.ixl "T1 normal, T1 reverse"',
        'clearproof ask junction.ixl "T1 reverse"',
    ),
    Code(
        "CP213",
        "a text is empty",
        """\
The text of `prove` and `assume`, and the reason of `waive`, are printed in
every report, so that whoever reads it knows what was asked, what was taken
for granted and what was set aside, and why. An empty text would hide just
that.

Say in a few words what it is about.""",
        _LEVER + 'assume "" never 4 right\n',
        _LEVER + 'assume "the lever is locked from the right" never 4 right\n',
    ),
)
