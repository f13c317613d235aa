"""Contextual keywords: words of the language only where the grammar allows them.

The wiring statements have many words of their own, and numbers with units. As words for
the whole language they would take names away from files that have no wiring: lever
positions called `closed`, turnouts called `4`. So the lexer reads them as names, and this module
decides, by what the parser accepts next, which terminal each of them is.

In: the words of one statement and a parser that has read those before. Out: the word as
one terminal or several.
"""

import re
from collections.abc import Sequence
from typing import Any

from lark import Lark, Token
from lark.lexer import PatternStr
from lark.parsers.lalr_analysis import Shift

# Terminals that stand below NAME in the grammar.
_BELOW = -3
# No list of `Clear when …` lines follows in these: a name before `when` is an ordinary name.
_WITHOUT_LINES = (
    "DETECTOR", "DRIVER", "EDGE", "TURNOUT", "SLIP", "DERAIL", "GATE", "RELAY", "TIMER", "TRAFFIC",
    "ROUTE", "TRAINS", "CREW", "LEVER",
)  # fmt: skip
_POSITIONS = ("normal", "reverse", "seated", "open", "derailing", "non-derailing")
# Clauses that may follow a condition, where their first word could be the state of its last
# name. The word after the first one decides.
_OPENING = {
    "picks": ("when",),
    "sticks": ("while",),
    "releases": ("after",),
    "slow": ("to",),
    "locked": ("while",),
    "electric": ("lock",),
    "rightward": ("when",),
    "leftward": ("when",),
    "thrown": ("by", *_POSITIONS),
    "pipe-connected": ("to",),
    "motor": ("slow", "snap"),
    "trips": ("at",),
    "starts": ("normal", "reverse", "derailing", "non-derailing", "seated", "open"),
    "powered": ("by",),
    "no": ("contacts",),
    "contacts": _POSITIONS,
    "contact": _POSITIONS,
    "fouling": ("point",),
    "gap": ("normal", "reverse"),
    "frog": ("dead", "live"),
    "points": ("under", "ahead", "before", "at"),
}
# A number, and perhaps its unit without a space: `2400mm`.
_NUMBER = re.compile(r"([0-9]+(?:\.[0-9]+)?)([^\W\d_]*)")
# Other spellings of units, read so that a message can give the right one.
OTHER_UNITS = {
    **dict.fromkeys(("inch", "inches", "ins", "IN", "In", "Inch", "Inches"), "in"),
    **dict.fromkeys(("foot", "feet", "FT", "Ft", "Feet", "Foot"), "ft"),
    **dict.fromkeys(("MM", "Mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("CM", "Cm", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("M", "metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("v", "volt", "volts", "Volt", "Volts", "VDC", "VAC"), "V"),
    **dict.fromkeys(("mv", "millivolt", "millivolts"), "mV"),
    **dict.fromkeys(("a", "amp", "amps", "Amp", "Amps", "ampere", "amperes"), "A"),
    **dict.fromkeys(("ma", "MA", "milliamp", "milliamps"), "mA"),
    **dict.fromkeys(("ohms", "Ohm", "Ohms", "Ω", "\u2126", "R"), "ohm"),
    **dict.fromkeys(("k", "K", "kohms", "kOhm", "kOhms", "Kohm", "kΩ", "k\u2126"), "kohm"),
    **dict.fromkeys(("mohms", "mOhm", "mOhms", "mΩ", "m\u2126", "milliohm", "milliohms"), "mohm"),
    **dict.fromkeys(("awg", "Awg", "gauge", "ga"), "AWG"),
    **dict.fromkeys(("S", "sec", "secs", "second", "seconds"), "s"),
    **dict.fromkeys(("msec", "millisecond", "milliseconds"), "ms"),
}
# Units that no amount in a junction file has.
STRANGE_UNITS = frozenset(
    ("km", "yd", "yards", "yard", "mile", "miles", "W", "watt", "watts", "VA", "Hz", "kV", "Mohm",
     "uA", "µA", "min", "mins", "minutes", "h", "mm2", "mph")
)  # fmt: skip


class KeywordResolver:
    """Finds the terminals of contextual keywords, numbers and units by the grammar."""

    def __init__(self, grammar: Lark):
        below = [t for t in grammar.terminals if t.priority == _BELOW]
        self._words = {t.pattern.value: t.name for t in below if isinstance(t.pattern, PatternStr)}
        units = next(t for t in below if t.name == "UNIT")
        self._units = {*units.pattern.value.split("|"), *OTHER_UNITS, *STRANGE_UNITS}
        self._grammar = grammar

    def resolve(self, parser: Any, tokens: Sequence[Token], at: int) -> list[Token]:
        """The terminals of the word at ``at``, after those before it."""
        token = tokens[at]
        if tokens[0].type in _WITHOUT_LINES and token.type in ("RULE_NAME", "FLASHES"):
            (token,) = (
                Token.new_borrow_pos(found.type, str(token), token)
                for found in self._grammar.lex(str(token))
            )
        text = str(token)
        word = self._words.get(text)
        if token.type == "IN":
            unit = takes(parser, "UNIT") and not self._is_clause(parser, tokens, at)
            return [_as("UNIT", token)] if unit else [token]
        if token.type == "RULE_NAME" and word and not takes(parser, "RULE_NAME"):
            return [_as(word, token)] if takes(parser, word) else [token]
        if token.type not in ("NAME", "STRAY"):
            return [token]
        if word and takes(parser, word) and (_known(tokens, at) or not takes(parser, "NAME")):
            return [_as(word, token)]
        if text in self._units and takes(parser, "UNIT"):
            return [_as("UNIT", token)]
        number = _NUMBER.fullmatch(text)
        if number and (not number[2] or number[2] in self._units) and takes(parser, "NUMBER"):
            return _split(token, len(number[1]))
        return [token]

    def _is_clause(self, parser: Any, tokens: Sequence[Token], at: int) -> bool:
        """`in` before the name of a district, and not for inches: `block Main 96 in in North`."""
        if at + 1 == len(tokens) or tokens[at + 1].type != "NAME" or not takes(parser, "IN"):
            return False
        # `96 in feeders m1`
        return tokens[at + 1] != "feeders" or [t.type for t in tokens[at + 2 : at + 3]] != ["NAME"]


def _known(tokens: Sequence[Token], at: int) -> bool:
    """Whether the words beside a word show that it is a keyword, though a name could stand there
    too."""
    after = str(*tokens[at + 1 : at + 2])
    if tokens[at] == "hand":  # `thrown by hand`, and not `thrown by hand, foot`
        return after != ","
    if tokens[at] == "then":  # a step of a release; no state is called that
        return tokens[0].type == "RELAY"
    return after in _OPENING.get(str(tokens[at]), ())


def takes(parser: Any, terminal: str) -> bool:
    """Whether the parser accepts a terminal next, or `$END`: all read so far is whole.

    (Its table alone does not tell: a state may reduce on a terminal that is an error later. lark's
    own `accepts` copies the whole parser for every terminal.)"""
    states = parser.parser_state.parse_conf.states
    end_state = parser.parser_state.parse_conf.end_state
    stack = list(parser.parser_state.state_stack)
    while True:
        if terminal == "$END" and stack[-1] == end_state:
            return True
        action, arg = states[stack[-1]].get(terminal, (None, None))
        if action is None:
            return False
        if action is Shift:
            return True
        size = len(arg.expansion)
        if size:
            del stack[-size:]
        stack.append(states[stack[-1]][arg.origin.name][1])


def _as(kind: str, token: Token) -> Token:
    return Token.new_borrow_pos(kind, str(token), token)


def _split(token: Token, size: int) -> list[Token]:
    """A number and the unit that stands directly behind it."""
    text = str(token)
    start = token.start_pos or 0
    parts = [("NUMBER", 0, size), ("UNIT", size, len(text))]
    return [
        Token(kind, text[first:last], start + first, token.line, (token.column or 0) + first,
              token.end_line, (token.column or 0) + last, start + last)
        for kind, first, last in parts
        if first < last
    ]  # fmt: skip
