"""CP80x: what sheets are asked for beside the junction: wire colors, a parts file, an order."""

from verifier.language.diagnostics.code import Code

_SHEET = "clearproof sheet junction.ixl "
_PRICED = _SHEET + "parts --prices parts.csv\n\n"
_GOOD = _PRICED + "kind,price,currency,note\nhead,4.50,USD,\ndriver-6,24.00,USD,one board\n"
_WIRE = _PRICED + ("kind,price,currency,note,per\nhead,4.50,USD,,\nwire-22AWG,0.11,USD,,foot\n")


def _instead(old: str, new: str) -> str:
    assert old in _GOOD
    return _GOOD.replace(old, new)


SHEETS = (
    Code(
        "CP801",
        "which colors of wire are there?",
        """\
The list of colors is empty, names one of them twice, or has something in it
that is no color; or it has the green and yellow that mains wiring keeps for
the protective conductor. Every function of the wiring gets a color of its own,
so that whoever joins two ends of one color joins nothing that must be apart:
for that each color counts once.

Name every color of wire you have, each once, with commas between.""",
        _SHEET + 'wiring --wire-colors "red, black, red"',
        _SHEET + 'wiring --wire-colors "red, black, white, blue"',
    ),
    Code(
        "CP802",
        "colors of wire run out",
        """\
There are more functions in the wiring than colors of wire, wire with a stripe
counted. Two functions under one color would be taken for each other behind the
panel, and two supplies could be joined that have no return in common.

Name another color or two. Striped wire counts by itself where its two colors
can be told apart in poor light.""",
        _SHEET + 'wiring --wire-colors "red, black"',
        _SHEET + 'wiring --wire-colors "red, black, white, blue"',
    ),
    Code(
        "CP803",
        "this table cannot be read",
        """\
A parts file is CSV as a spreadsheet writes it: the first line names the
columns, and each line below holds one kind of part. Needed are kind, price and
currency; note, rating and per may be there. A quote that is never closed (in a
test card that was filled in as well), a cell too many or a column of another
name makes a price stand where it is not meant.

Mend the line that is named. Cells that hold a comma stand in quotes.""",
        _instead("kind,price,currency,note", "kind,cost,currency,note"),
        _GOOD,
    ),
    Code(
        "CP804",
        "no such kind of part",
        """\
Parts go by generic kinds (head-3, driver-6, current-detector, wire-22AWG),
since no maker's part is known here. A kind that is not known would price
nothing, and the sum would be too small without a word.

Write one of the kinds that the message lists; those with a number may have any
number, or none for all sizes alike. What it is in the shop goes into the note.""",
        _instead("driver-6", "drivers-6"),
        _GOOD,
    ),
    Code(
        "CP805",
        "no price, or no rating",
        """\
A price is a number of zero or more with at most six decimals, without a sign
for the currency; in files with semicolons it may have a decimal comma, so that
`1,234` could be two prices there and is refused. A
rating is a current, as in `3 A`, and belongs to wire of a size only: fuses are
chosen by it.

Correct the number. A price that is not known yet is left empty: the sum then
says what is not in it.""",
        _instead("24.00", "$24"),
        _GOOD,
    ),
    Code(
        "CP806",
        "the wrong currency",
        """\
Each price says its currency by the three letters of ISO 4217, and all prices
of one file have the same one. Sums over two currencies would be worth nothing,
and nobody here knows the rate you pay.

Write the letters, such as USD or EUR, and convert prices from elsewhere before
they go into the file.""",
        _instead("24.00,USD", "24.00,EUR"),
        _GOOD,
    ),
    Code(
        "CP807",
        "a cell that acts as a formula",
        """\
A cell that begins with =, +, - or @ is worked out, or even run, by the
spreadsheet it is opened in. Notes go from your file into the sheets that are
printed and passed on, so such a cell would travel with them; and what was seen
in a step of a test card is never a sum.

Write the figure itself, or begin the note with a letter.""",
        _instead("one board", "=1+1"),
        _GOOD,
    ),
    Code(
        "CP808",
        "one part with two prices",
        """\
The same kind of part stands in two lines, and nobody could say which of the
two prices is paid. If they are of two sizes, the kind can say so: driver-4 and
driver-6, wire-22AWG and wire-16AWG.

Leave one of the lines out, or write the sizes.""",
        _GOOD + "head,5.00,USD,\n",
        _GOOD,
    ),
    Code(
        "CP809",
        "what comes first is not there",
        """\
Parts are listed step by step, the control point first that you name: by a
signal or turnout of it, or by its own name. Nothing in this file goes by the
name that was given, so everything would come in another order than you meant
to buy it.

Name a signal or a turnout of the control point.""",
        _SHEET + "parts --first T9",
        _SHEET + "parts --first T1",
    ),
    Code(
        "CP810",
        "by the foot, or by the meter?",
        """\
Wire is bought by length, and a price per foot that is taken for one per meter
makes the sum wrong threefold. So the column per says foot or meter wherever
wire has a price; what is bought by the piece has nothing there. Wire is then
counted in what it is sold by, whatever the lengths in the junction file are in.

Write foot or meter beside the price of the wire.""",
        _GOOD + "wire-22AWG,0.11,USD,\n",
        _WIRE,
    ),
    Code(
        "CP811",
        "a file compared with itself",
        """\
An alternative is a junction file of its own: a copy of the first one in which
something is built another way, such as one driver for several heads, spots in
place of current sensing, or two supplies. Both are proved and counted, and the
columns that come out stand side by side. The file named here is one of those
that are there already, so nothing would be compared.

Name the other file.""",
        _SHEET + "parts --compare junction.ixl",
        _SHEET + "parts --compare other.ixl\n\nedge West, East\nblock Main, Single\n"
        "track West = Main | Single = East\nsignal 2 at Main | Single\n  Stop otherwise\n",
    ),
)
