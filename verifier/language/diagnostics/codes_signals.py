"""CP4xx: signals and their rules. CP5xx: what is to be proved."""

from verifier.language.diagnostics.code import Code

_TRACK = """\
edge West, East
block Main, Single
track West = Main | Single = East
"""
_SIGNAL = _TRACK + "signal 2 at Main | Single\n"
_RULES = "  Clear  when Single clear\n  Stop   otherwise\n"
_HEADS = _SIGNAL + "  heads upper, lower\n"
_HEAD = "  green  when Single clear\n  red    otherwise\n"

SIGNALS = (
    Code(
        "CP401",
        "a signal without rules",
        """\
Nothing says when the signal, or one of its heads, shows what. A signal that
never says anything cannot be proved, and cannot be built.

Add lines below the signal, `Clear when …` and last `Stop otherwise`; or, for
hardware with a driver to each head, a `head` statement for every head.""",
        _SIGNAL,
        _SIGNAL + _RULES,
    ),
    Code(
        "CP402",
        "`otherwise` is missing, or not last",
        """\
The lines of a signal or head are tried from the top, and the first that holds
is shown. `otherwise` always holds. Without it at the end there would be
situations in which nobody knows what is shown; anywhere else, the lines below
it are never reached.

Make `otherwise` the last line.""",
        _SIGNAL + "  Clear  when Single clear\n",
        _SIGNAL + _RULES,
    ),
    Code(
        "CP403",
        "`otherwise` must be the most restrictive",
        """\
`otherwise` is what is shown when nothing else holds, and that includes
everything nobody thought of. So it must be the most restrictive aspect of the
signal, as a rule Stop; for a head, red or dark.

Turn the lines round: say when the signal may clear, and let it be at stop
otherwise.""",
        _SIGNAL + "  Stop   when Single occupied\n  Clear  otherwise\n",
        _SIGNAL + _RULES,
    ),
    Code(
        "CP404",
        "no aspect has this name",
        """\
The lines of a signal name aspects of the chart: those built in (`clearproof
explain aspects` lists them) and those the file adds with `aspect` statements.
Capitals count. Colors belong to heads: `head 2` with lines such as `green
when …`.

Correct the name, or add the aspect to the chart.""",
        _SIGNAL + "  Proceed when Single clear\n  Stop    otherwise\n",
        _SIGNAL + _RULES,
    ),
    Code(
        "CP405",
        "an aspect this signal cannot show",
        """\
The chart says which colors show an aspect on a signal with one head, with
two and with three. For this aspect it has none with as many heads as this
signal has: red over green takes two heads.

Give the signal more heads (`heads upper, lower`), or list colors for it in
an `aspect` statement of your own.""",
        _SIGNAL + "  Diverging-Clear when Single clear\n  Stop            otherwise\n",
        _HEADS + "  Diverging-Clear when Single clear\n  Stop            otherwise\n",
    ),
    Code(
        "CP406",
        "rules for the signal and for its heads",
        """\
The aspects of the signal are given by its own lines, and then a `head`
statement sets one of its heads as well. The two could disagree about the
color of that head.

Keep one of them: a list of aspects for the whole signal, or a list of colors
for each of its heads.""",
        _HEADS + _RULES + "head 2.upper\n" + _HEAD,
        _HEADS + "head 2.upper\n" + _HEAD + "head 2.lower\n  red    otherwise\n",
    ),
    Code(
        "CP407",
        "no head has this name",
        """\
A head goes by the name of its signal, a dot, and the name it has on the
signal's `heads` line: `2.upper`. A signal without a `heads` line has one
head, which goes by the signal's own name.

Correct the name, or add it to the `heads` line.""",
        _HEADS + _RULES + "head 2.middle\n" + _HEAD,
        _HEADS + "head 2.upper\n" + _HEAD + "head 2.lower\n  red    otherwise\n",
    ),
    Code(
        "CP408",
        "too many heads",
        """\
A signal has at most three heads, and so has every combination of colors in
the chart.

Leave the others out, or put them on a signal of their own.""",
        _TRACK + "aspect Parade green over green over green over green proceed\n",
        _TRACK + "aspect Parade green over green over green proceed\n",
    ),
    Code(
        "CP409",
        "a circle",
        """\
What one signal shows depends on what another shows, and that in turn on the
first. Nothing settles which of them begins, and on the layout whichever relay
is quicker would decide. The same goes for conditions written in terms of
themselves.

Signals may well depend on one another all the way round an oval, as Approach
depends on the next signal being at stop, as long as what each shows is
settled without going round: a signal is at stop because its own block is
occupied, whatever the next one shows. Let one of the signals do without the
other, or let a lever choose between them.""",
        _SIGNAL
        + "  Clear  when 4 at stop\n  Stop   otherwise\n"
        + "signal 4 at Single | Main\n  Clear  when 2 at stop\n  Stop   otherwise\n",
        _SIGNAL
        + "  Clear  when Single clear and 4 at stop\n  Stop   otherwise\n"
        + "signal 4 at Single | Main\n  Clear  when Main clear\n  Stop   otherwise\n",
    ),
    Code(
        "CP410",
        "not a color",
        """\
A head shows green, yellow, red, lunar, white, or is dark; each of them but
dark steady or flashing. Names of aspects belong to the lines of a signal, not
to those of a head.

Write one of the colors.""",
        _SIGNAL + "head 2\n  amber  when Single clear\n  red    otherwise\n",
        _SIGNAL + "head 2\n  yellow when Single clear\n  red    otherwise\n",
    ),
    Code(
        "CP411",
        "an address that no decoder can have",
        """\
Signals on a packet bus are told apart by their addresses: whole numbers from 1
to 2043, as their decoders are set. What lies beyond stands for all decoders at
once, or has no room in a packet.

Write the number that the decoder of this signal is set to.""",
        _SIGNAL + _RULES + "address 3000 is 2\n",
        _SIGNAL + _RULES + "address 300 is 2\n",
    ),
    Code(
        "CP412",
        "a signal with two addresses",
        """\
A signal has one address for all of it, whose packets carry its aspect; or each
of its heads has one of its own, whose packets carry the head's color. Both at
once, or two of either kind, would be two decoders for one lamp.

Leave one of them out.""",
        _SIGNAL + _RULES + "address 12 is 2\naddress 13 is 2\n",
        _SIGNAL + _RULES + "address 12 is 2\n",
    ),
    Code(
        "CP413",
        "a number that no packet has room for",
        """\
A packet for a signal carries a number of five bits, from 0 to 31 (NMRA
S-9.2.1), and says with it what the signal is to show.

Give the aspect a number from 0 to 31; 0 is for absolute stop.""",
        _SIGNAL + _RULES + "address 12 is 2\nnumber 40 is Clear\nnumber 0 is Stop\n",
        _SIGNAL + _RULES + "address 12 is 2\nnumber 4 is Clear\nnumber 0 is Stop\n",
    ),
    Code(
        "CP414",
        "one number for two aspects",
        """\
Every aspect has one number, and every number stands for one aspect (or, at the
address of a head, for one color). Otherwise a decoder could not tell which of
them is meant.

Give each a number of its own.""",
        _SIGNAL + _RULES + "address 12 is 2\nnumber 0 is Clear\nnumber 0 is Stop\n",
        _SIGNAL + _RULES + "address 12 is 2\nnumber 4 is Clear\nnumber 0 is Stop\n",
    ),
    Code(
        "CP415",
        "an aspect without a number",
        """\
Aspects have numbers of their own accord, 0 for Stop and then the more
restrictive ones first. Once the file gives a number to one of them, it gives
one to each that an addressed signal shows: otherwise a number might be taken
twice without anybody noticing.

Add the numbers that are missing.""",
        _SIGNAL + _RULES + "address 12 is 2\nnumber 4 is Clear\n",
        _SIGNAL + _RULES + "address 12 is 2\nnumber 4 is Clear\nnumber 0 is Stop\n",
    ),
    Code(
        "CP501",
        "assumptions that rule everything out",
        """\
The assumptions of the file contradict each other, or one contradicts itself,
so that no situation is left in which all of them hold. Under such assumptions
everything could be proved, and the proof would say nothing about your
railroad.

Drop one of them, or say more exactly what you mean.""",
        _SIGNAL
        + _RULES
        + 'assume "the siding is taken up" always Main vacant\n'
        + 'assume "a train is tied up there" always train on Main\n',
        _SIGNAL + _RULES + 'assume "a train is tied up there" always train on Main\n',
    ),
    Code(
        "CP502",
        "nothing to prove",
        """\
The file has no signals and no property of its own, so there is nothing that
could be proved. It would pass without a word, and in a folder of many files
nobody would notice that one of them is empty.

Add `signal` statements with their rules. To look at track alone use
`clearproof ask` or `clearproof sheet`.""",
        _TRACK,
        _SIGNAL + _RULES,
    ),
)
