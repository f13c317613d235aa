"""CP6xx: wiring."""

from verifier.language.diagnostics.code import Code

_TRACK = """\
edge West, East
block Single
"""
_DRAWN = "track West = Main | Single = East\n"
_MAIN = _TRACK + "block Main 2400 mm\n" + _DRAWN
_FED = _TRACK + "block Main 2400 mm feeders m1, m2\n" + _DRAWN
_BARE = _TRACK + "block Main\n" + _DRAWN
_SIGNAL = """\
signal 2 at Main | Single
  Clear  when Single clear
  Stop   otherwise
"""
_TURNOUT = """\
edge West, East
bumper End
block Main, Spur, Switch, Single
track West = Main | normal  T1 | Single = East
track End  = Spur | reverse T1
turnout T1 in Switch
"""

WIRING = (
    Code(
        "CP601",
        "a number without its unit",
        """\
Lengths, voltages, currents and the like are numbers with a unit: `2400 mm`,
`12 V`, `15 mA`. Without it nobody can tell 2400 millimeters from 2400 inches,
and what is proved about where a train may stand would rest on a guess. A file
may mix units: mm, cm, m, in and ft are all read.

Write the unit behind the number. Where `in` is both the unit and the word
before a district, it is written twice: `block Main 96 in in North`.""",
        _TRACK + "block Main 2400\n" + _DRAWN,
        _MAIN,
    ),
    Code(
        "CP602",
        "the wrong unit",
        """\
The unit belongs to another kind of amount (volts where a length is meant), or
it is one the language does not know, or two amounts stand together that do
not add up. Lengths are in mm, cm, m, in or ft; voltages in V or mV; currents
in A or mA; resistances in ohm or kohm; times in s or ms; wire in AWG.

Write the amount in one of those. Only feet and inches stand together: `8 ft 6
in`.""",
        _TRACK + "block Main 2400 V\n" + _DRAWN,
        _MAIN,
    ),
    Code(
        "CP603",
        "a number that cannot be",
        """\
A length below zero, a train of no length, two and a half turns of wire, a
measurement with hundreds of digits: no tape and no meter gives such a number.

Correct it, or leave the whole clause out: what is left out is taken as usual,
and the report says how.""",
        _MAIN + "trains 0 mm to 2200 mm, detectable throughout\n",
        _MAIN + "trains 600 mm to 2200 mm, detectable throughout\n",
    ),
    Code(
        "CP604",
        "far larger than on any layout",
        """\
The number is a possible one, but not on a layout: a block of five kilometers,
a train longer than a hundred meters. As a rule the unit is wrong, or a digit
too many was typed. If it were taken at its word, proofs about trains and
detectors would look at a railroad that does not exist.

Correct the number or its unit.""",
        _TRACK + "block Main 5000 m\n" + _DRAWN,
        _TRACK + "block Main 5 m\n" + _DRAWN,
    ),
    Code(
        "CP605",
        "more than the low voltage of a layout",
        """\
Layouts are wired with 30 V or less, the low-voltage side of a supply that was
bought ready made. Anything above can hurt people or set fire to things, so a
file that says so describes either a slip of the finger or something that this
program must not be used for.

Correct the voltage. For the mains side of a supply, and for fuses and the
ratings of wire, follow the maker's instructions, the local code and licensed
practice.""",
        _MAIN + "supply Bus-1 400 V 3 A\n",
        _MAIN + "supply Bus-1 12 V 3 A\n",
    ),
    Code(
        "CP606",
        "said twice",
        """\
A clause stands twice in one statement, one thing twice in one list, or the
file gives `trains`, the scale or the stopping distance more than once. The
two could disagree, and nobody would know which of them counts.

Leave one of them out.""",
        _FED + "detector D1 current-sensing through m1, m2 turns 1 turns 2\n",
        _FED + "detector D1 current-sensing through m1, m2 turns 2\n",
    ),
    Code(
        "CP607",
        "something is left out",
        """\
Most of a wiring statement may be left out, but not what it is about: a
current-sensing detector needs the feeders that pass `through` it, a spot
detector the block it looks `on` and the places it looks `at`, a booster the
supply it is `fed by`, a common return at least two supplies.

Add it.""",
        _FED + "detector D1 current-sensing\n",
        _FED + "detector D1 current-sensing through m1, m2\n",
    ),
    Code(
        "CP608",
        "one feeder, two blocks",
        """\
A feeder is the wire that brings track power to one block. If the same wire
goes to two blocks, it bridges the gap between them: stock on either draws
its current the same way, and no detector can tell which of them is occupied.

Give each block feeders of its own, each with its own name.""",
        _TRACK.replace("Single", "Single feeders m1") + "block Main feeders m1\n" + _DRAWN,
        _TRACK.replace("Single", "Single feeders s1") + "block Main feeders m1\n" + _DRAWN,
    ),
    Code(
        "CP609",
        "where does this spot detector look?",
        """\
A spot detector sees only what covers its spots. Whether a train can stand
between them unseen depends on how far apart they are and on how long the block
is; so its block needs a length, and its spots lie within it, measured from
the left end of the block as the `track` line draws it.

Give the block its length, or put the spot where it is.""",
        _MAIN + "detector D1 spot on Main at 0 mm, 3000 mm\n",
        _MAIN + "detector D1 spot on Main at 0 mm, 1200 mm\n",
    ),
    Code(
        "CP610",
        "a block in two districts",
        """\
A district is what takes its track power from one supply. A block in two
districts would join two supplies at its rails: each feeds into the other, a
short in one trips both, and with one of them switched off its track stays
live.

Choose one of them, or cut a gap in both rails and make two blocks.""",
        _TRACK
        + "supply A track power\nsupply B track power\n"
        + "district North fed by A\ndistrict South fed by B\n"
        + "block Main in North, South\n"
        + _DRAWN,
        _TRACK
        + "supply A track power\nsupply B track power\n"
        + "district North fed by A\ndistrict South fed by B\n"
        + "block Main in North\n"
        + _DRAWN,
    ),
    Code(
        "CP611",
        "a head with two drivers",
        """\
Two driver boards are said to light the same head. Where they differ, one
lights green while the other lights red, and which of the two an engineer
reads is decided by chance.

Let one of them drive it.""",
        _MAIN + _SIGNAL + "driver B1 drives 2\ndriver B2 drives 2\n",
        _MAIN + _SIGNAL + "driver B1 drives 2\n",
    ),
    Code(
        "CP612",
        "no contacts to read",
        """\
The driver is wired to the contacts of a turnout that, by its own statement,
has none. Its input would hang in the air.

Give the turnout contacts, or take it off what the driver reads: its position
is then what it was told to do, which is not always where the points lie.""",
        _TURNOUT
        + "  no contacts\n"
        + _SIGNAL.replace("Main | Single", "Single | T1").replace("Single clear", "Switch clear")
        + "driver B1 drives 2 reads T1 contacts\n",
        _TURNOUT
        + "  contacts normal, reverse\n"
        + _SIGNAL.replace("Main | Single", "Single | T1").replace(
            "Single clear", "T1 normal and Switch, Main clear"
        )
        + "driver B1 drives 2\n",
    ),
    Code(
        "CP613",
        "this lever cannot throw a turnout",
        """\
A turnout lies normal or reverse, so the lever that throws it has just these
two positions. With a third one nobody could say what the points do in it;
with other names, which of them is which.

Name a lever with the positions `normal` and `reverse`.""",
        _TURNOUT + "  thrown by 4\nlever 4 positions left, normal, right\n",
        _TURNOUT + "  thrown by 4\nlever 4 positions normal, reverse\n",
    ),
    Code(
        "CP614",
        "the shortest train is the longer one",
        """\
`trains A to B` gives the length of the shortest train that runs on the layout
and of the longest. Here the first is the longer of the two, so that no train
at all would be looked at, and everything about trains could be proved.

Write the shorter length first.""",
        _MAIN + "trains 2200 mm to 600 mm, detectable throughout\n",
        _MAIN + "trains 600 mm to 2200 mm, detectable throughout\n",
    ),
    Code(
        "CP615",
        "a detector on an undetected block",
        """\
The block is declared `undetected`, which says that nothing reports on it, and
then a detector is said to watch it. One of the two is out of date.

Take the word `undetected` away, or the detector.""",
        _TRACK
        + "block Main undetected feeders m1\n"
        + _DRAWN
        + "detector D1 current-sensing through m1\n",
        _TRACK + "block Main feeders m1\n" + _DRAWN + "detector D1 current-sensing through m1\n",
    ),
    Code(
        "CP616",
        "boosters that feed each other",
        """\
Following what each booster is fed by leads back to where it began. Power would
have to come from nowhere: the first in the line is always a supply that takes
it from the wall.

Name the supply that feeds the first of them.""",
        _MAIN + "booster B1 fed by B2\nbooster B2 fed by B1\n",
        _MAIN + "supply Track-A track power\nbooster B1 fed by Track-A\nbooster B2 fed by B1\n",
    ),
    Code(
        "CP617",
        "no track power in this supply",
        """\
A district takes the power for its rails from a supply of track power, and
current-sensing detectors see what stock draws from it. The supply named here
is one for accessories: lamps, detectors, switch machines.

Name the supply that feeds the rails, or, if this is it, say so: `supply
Track-A track power 15 V`.""",
        _MAIN + "supply Bus-1 12 V\ndistrict North fed by Bus-1\n",
        _MAIN + "supply Track-A track power 15 V\ndistrict North fed by Track-A\n",
    ),
    Code(
        "CP618",
        "no scale has this name",
        """\
Distances on the prototype are turned into distances on the layout by the
scale: O (1:48), S (1:64), HO (1:87.1), TT (1:120), N (1:160) and Z (1:220) are
known by name.

Write one of them, or the ratio: `scale 1:87.1`.""",
        _MAIN + "scale Q\n",
        _MAIN + "scale HO\n",
    ),
    Code(
        "CP619",
        "a clause that does not belong here",
        """\
The words are known, but they belong to something else: only current-sensing
detectors have feeders, turns, a sensitivity and a need for track power; only
spot detectors have places they look at; and runs of wire (`over 30 ft of 16
AWG`) are looked at for districts, feeders and drivers alone.

Leave the clause out.""",
        _MAIN + "detector D1 spot on Main at 0 mm, 1200 mm turns 2\n",
        _MAIN + "detector D1 spot on Main at 0 mm, 1200 mm\n",
    ),
)
