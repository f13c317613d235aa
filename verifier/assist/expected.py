"""What the grammar takes at a place: words, and names of which kind.

In: a piece of text and a place in it. Out: the terminals that may come next, after the words of the
statement that stand before the place. What kind of name may stand there is found by finishing the
statement in the shortest way and looking at where the name has got to.
"""

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from lark import Token
from lark.exceptions import UnexpectedInput
from lark.parsers.lalr_analysis import Shift

from verifier.assist.naming import ANYTHING, wanted_in
from verifier.language.source import Source
from verifier.language.syntax import tree
from verifier.language.syntax.build import Builder
from verifier.language.syntax.contextual_keywords import takes
from verifier.language.syntax.parse import chunks, parser_at, terminal_words
from verifier.language.syntax.tree import STATEMENT_WORDS

# Parser states looked at for an end of the statement.
MOST_LOOKED_AT = 3_000
# The offset of the name that is looked for.
_HERE = -2
# Words written in place of what is missing.
_FILLED = {
    "NAME": "name", "STRING": '"text"', "NUMBER": "1", "RULE_NAME": "Stop", "COLOR": "red",
    "UNIT": "mm", "LIES": "lies", "INDICATION": "stop and proceed", "PLATE": "number plate",
    "TRACK_POWER": "track power", "FLASHES": "flashing",
}  # fmt: skip
# The last word of a phrase that the grammar takes as a whole.
PHRASES = {
    "INDICATION": (
        "stop and proceed", "proceed at restricted speed",
        "proceed at slow speed prepared to stop", "proceed at medium speed prepared to stop",
        "proceed at limited speed prepared to stop", "proceed diverging prepared to stop",
        "proceed at slow speed", "proceed at medium speed", "proceed at limited speed",
        "proceed diverging", "proceed prepared to stop at next signal",
        "proceed prepared to pass next signal at slow speed",
        "proceed prepared to pass next signal at medium speed",
        "proceed prepared to pass next signal at limited speed",
        "proceed prepared to take diverging route at next signal",
        "proceed prepared to stop at second signal",
    ),
    "PLATE": ("number plate", "letter plate", "marker plate"),
    "COLOR": ("green", "yellow", "red", "lunar", "white", "dark"),
    "TRACK_POWER": ("track power",),
    "LIES": ("lies",),
    "AT_MOST": ("at most",),
    "UNIT": (),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Expected:
    """``terminals``: what may come next; ``wanted``: the kinds of thing that a name there may be;
    ``before``: the words of the statement so far; ``can_end``: it is whole as it stands."""

    terminals: frozenset[str]
    wanted: tuple[str, ...]
    before: tuple[Token, ...]
    can_end: bool
    declares: bool = False

    @property
    def phrases(self) -> Iterator[str]:
        """The words that may come next, each with the words that must follow it."""
        for terminal in sorted(self.terminals):
            if terminal in PHRASES:
                yield from PHRASES[terminal]
            elif terminal in terminal_words():
                yield " ".join([terminal_words()[terminal], *self._forced(terminal)])

    def _forced(self, terminal: str) -> Iterator[str]:
        parser = parser_at("statement", self.before)
        parser.feed_token(Token(terminal, terminal_words()[terminal]))
        while True:
            following = _accepted(parser)
            only = next(iter(following)) if len(following) == 1 else ""
            word = terminal_words().get(only, "")
            if not word.replace("-", "").isalpha():
                return
            yield word
            parser.feed_token(Token(only, word))


def expected_at(text: str) -> Expected | None:
    """What may come after a text, which ends before the word that is being written. None where
    the statement before it cannot be read."""
    source = Source("", text)
    last: Sequence[Token] = ()
    for last in chunks(source, []):  # noqa: B007 - the last one is wanted
        pass
    if not last or last[0].type not in STATEMENT_WORDS:
        return Expected(STATEMENT_WORDS, (), (), True)
    resolved: list[Token] = []
    try:
        parser = parser_at("statement", last, resolved)
    except UnexpectedInput:
        return None
    found = _expected(parser, tuple(resolved))
    if last[-1].type == "IN" and resolved[-1].type == "UNIT":
        # Inches; or, before a name, `in` of `96 in in North` and `series of 2 in 4L`.
        parser = parser_at("statement", resolved[:-1])
        if takes(parser, "IN"):
            parser.feed_token(last[-1])
            return _either(_expected(parser, (*resolved[:-1], last[-1])), found)
    return found


def _expected(parser: Any, before: tuple[Token, ...]) -> Expected:
    terminals = _accepted(parser)
    wanted, declares = _wanted(before) if "NAME" in terminals else ((), False)
    return Expected(frozenset(terminals - {"$END"}), wanted, before, "$END" in terminals, declares)


def _either(one: Expected, other: Expected) -> Expected:
    """What may come next where the words before can be read in two ways."""
    return replace(
        one, terminals=one.terminals | other.terminals, can_end=one.can_end or other.can_end
    )


@cache
def _terminals() -> tuple[str, ...]:
    return (*terminal_words(), *_FILLED)


def _accepted(parser: Any) -> set[str]:
    return {terminal for terminal in {*_terminals(), "$END"} if takes(parser, terminal)}


def _wanted(before: tuple[Token, ...]) -> tuple[tuple[str, ...], bool]:
    """The kinds of thing that a name may be after these words; and whether it would declare one."""
    written = (*before, Token("NAME", "name", _HERE, 1, 1, 1, 1, _HERE))
    ending = _ending(parser_at("statement", written))
    if ending is None:
        return ANYTHING, False
    words = (_FILLED.get(terminal) or terminal_words()[terminal] for terminal in ending)
    missing = [Token(t, w, 0, 1, 1, 1, 1, 0) for t, w in zip(ending, words, strict=True)]
    parser = parser_at("statement", ())
    for token in (*written, *missing):
        parser.feed_token(token)
    parsed = parser.feed_token(Token("$END", "", 0, 1, 1, 1, 1, 0))
    statement = Builder(Source("", "")).transform(parsed)
    for name, wanted in wanted_in(statement):
        if name.span.start == _HERE:
            return wanted, isinstance(name, tree.DeclaredName)
    return (), isinstance(statement, tree.Module | tree.Aspect)


def _ending(parser: Any) -> list[str] | None:
    """The fewest terminals that finish a statement; None where many would be needed."""
    conf = parser.parser_state.parse_conf
    first = tuple(parser.parser_state.state_stack)
    came: dict[tuple[int, ...], tuple[tuple[int, ...], str] | None] = {first: None}
    waiting = deque([first])
    while waiting and len(came) < MOST_LOOKED_AT:
        stack = waiting.popleft()
        if _after(conf, stack, "$END"):
            return _way(came, stack)
        for terminal in _terminals():
            further = _after(conf, stack, terminal)
            if further is not None and further not in came:
                came[further] = stack, terminal
                waiting.append(further)
    return None


def _way(came: Mapping[tuple[int, ...], Any], stack: tuple[int, ...]) -> list[str]:
    """The terminals that led to these states."""
    found = []
    while (step := came[stack]) is not None:
        stack, terminal = step
        found.append(terminal)
    return found[::-1]


def _after(conf: Any, stack: tuple[int, ...], terminal: str) -> tuple[int, ...] | None:
    """The parser's states after one more terminal; None where it is not taken."""
    states = list(stack)
    while True:
        if terminal == "$END" and states[-1] == conf.end_state:
            return tuple(states)
        action, arg = conf.states[states[-1]].get(terminal, (None, None))
        if action is None:
            return None
        if action is Shift:
            return (*states, arg)
        size = len(arg.expansion)
        if size:
            del states[-size:]
        states.append(conf.states[states[-1]][arg.origin.name][1])
