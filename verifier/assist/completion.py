"""What can be written at a place: statements, clauses, states, and names of the right kind."""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from lark import Token

from verifier.assist.amounts import amounts, units
from verifier.assist.expected import PHRASES, Expected, expected_at
from verifier.assist.naming import ANYTHING
from verifier.assist.navigation import Family
from verifier.language.syntax import tree as s
from verifier.language.syntax.parse import terminal_words
from verifier.language.syntax.tree import KIND_BY_TERMINAL, STATEMENT_WORDS
from verifier.language.words import meanings
from verifier.plan.names import KIND_WORDS
from verifier.plan.names import Names as PlanNames
from verifier.plan.signals.aspects import Chart
from verifier.plan.signals.build_signals import build_chart
from verifier.plan.vocabulary import STATES_OF
from verifier.properties.catalog import CATALOG

# What is being written: a name or a word, up to the place.
_WRITTEN = re.compile(r"[^\W_][\w.-]*\Z")
_COMMENT_OR_TEXT = re.compile(r'^(?:[^"#]|"[^"]*")*(?:#|"[^"]*\Z)')
# Terminals that show that the state of a thing may come next.
_STATE = frozenset(("CLEAR", "OCCUPIED", "LIES", "PRESSED"))
_STATE_WORDS = frozenset(
    ("AT", "CLEAR", "COLOR", "DERAILING", "FLASHING", "LIES", "MOVING", "NON_DERAILING", "NORMAL",
     "OCCUPIED", "OPEN", "PRESSED", "PROCEED", "PROCEEDS", "REVERSE", "SEATED", "SHOWS", "VACANT")
)  # fmt: skip
_TRUTH = ("PROVE", "ASSUME")

Sort = Literal["statement", "word", "state", "aspect", "property", "name"]


@dataclass(frozen=True, slots=True)
class Proposal:
    """One way to go on: ``text`` in place of what is written from ``start`` to ``end``. ``about``
    says what it is in a line."""

    text: str
    sort: Sort
    about: str
    start: int
    end: int


def proposals(family: Family, file: int, offset: int) -> list[Proposal]:
    """What can be written at a place of one of the texts, the likeliest first. Nothing in comments
    and in quotes."""
    text = family.names[file].text
    line = text.source.line_bounds(text.source.position(offset)[0])[0]
    before = text.text[line:offset]
    if _COMMENT_OR_TEXT.match(before):
        return []
    found = _WRITTEN.search(before)
    begun = found[0] if found else ""
    start = offset - len(begun)
    place = _Place(family, file, start)
    fits = [
        Proposal(word, sort, about, start, offset)
        for word, sort, about in place.words()
        if word.lower().startswith(begun.lower())
    ]
    return list(dict.fromkeys(fits))


_Word = tuple[str, Sort, str]


class _Place:
    """A place at which a word begins."""

    def __init__(self, family: Family, file: int, start: int):
        text = family.names[file].text
        self._family = family
        self._scope = family.names[file].scope_at(start)
        begins, _ = text.piece_at(start)
        self._before = text.text[begins:start]
        # At the beginning of a line that is not further in, a statement begins.
        line = text.source.line_bounds(text.source.position(start)[0])[0]
        self._first = not text.text[line:start].strip()
        self._outer = self._first and (line == start or bool(self._scope))

    def words(self) -> Iterator[_Word]:
        expected = expected_at(self._before)
        if expected is None:
            yield from self._named(ANYTHING)
            if self._first:
                yield from _statements()
            return
        if expected.can_end and self._outer:
            yield from _statements()
        yield from self._inside(expected)
        if expected.can_end and self._first and not self._outer and not expected.terminals:
            yield from _statements()

    def _inside(self, expected: Expected) -> Iterator[_Word]:
        """What goes on with the statement."""
        first = expected.before[0].type if expected.before else ""
        if not first:
            yield from _statements()
            return
        terminals = expected.terminals
        if "RULE_NAME" in terminals and self._first:
            yield from self._lines(first)
        if terminals >= _STATE:
            yield from self._states(expected, first)
            expected = _without(expected, _STATE_WORDS)
        if first in ("WAIVE", "EXPECT") and expected.before[-1].type in ("WAIVE", "BROKEN"):
            yield from ((p.name, "property", p.title) for p in CATALOG)
            return
        if "NAME" in terminals and not expected.declares and not terminals >= _STATE:
            yield from self._names_after(expected, first)
        if "UNIT" in terminals:
            yield from ((text, "word", about) for text, about in units(expected.before))
        if "NUMBER" in terminals and not expected.declares:
            yield from ((text, "word", about) for text, about in amounts(expected.before))
        yield from _clauses(expected)

    def _names_after(self, expected: Expected, first: str) -> Iterator[_Word]:
        last = expected.before[-1].type
        if last == "SHOWS" or first == "NUMBERED":
            yield from self._aspects()
        elif first == "BLOCK" and last == "ON":
            yield from ((name, "name", "a block") for name in _listed(expected.before[1:]))
        elif first == "USE" and last == "USE":
            for module in self._modules():
                yield module.name.text, "name", "a module"
        elif first == "USE" and last in ("WITH", "COMMA"):
            yield from self._parameters(str(expected.before[1]))
        elif first == "DRIVER" and "head" in expected.wanted:
            yield from self._heads(expected)
        else:
            yield from self._named(expected.wanted)

    def _modules(self) -> Iterator[s.Module]:
        return s.of_kind(self._family.statements(), s.Module)

    def _parameters(self, module: str) -> Iterator[_Word]:
        for found in self._modules():
            if found.name.text == module:
                for word in found.parameters:
                    yield f"{word.text} =", "name", f"a parameter of {module}"

    def _named(self, kinds: tuple[str, ...]) -> Iterator[_Word]:
        """Names of these kinds; a parameter can be of any kind."""
        if not kinds:
            return
        for name, declared in self._family.of_kind(self._scope, (*kinds, "parameter", "use")):
            kind = declared.name.kind
            yield name, "name", KIND_WORDS.get(kind, f"a {kind}")

    def _heads(self, expected: Expected) -> Iterator[_Word]:
        """Heads for a driver; behind the list of those that it drives, these alone."""
        types = [token.type for token in expected.before]
        driven = expected.before[types.index("DRIVES") + 1 :] if "DRIVES" in types else ()
        listed = set(_listed(driven))
        ended = any(token.type not in ("NAME", "COMMA") for token in driven)
        for word in self._named(expected.wanted):
            if not ended or listed & {word[0], word[0].rpartition(".")[0]}:
                yield word

    def _aspects(self) -> Iterator[_Word]:
        for aspect in chart_of(self._family).aspects:
            yield aspect.name, "aspect", aspect.indication.text

    def _lines(self, first: str) -> Iterator[_Word]:
        """The beginnings of lines that say what a signal or head shows."""
        if first == "HEAD":
            for color in ("green", "yellow", "red", "lunar", "white", "dark"):
                yield f"{color} when", "aspect", "the color of the head when …"
            yield "red otherwise", "aspect", "when no line before it applies"
            return
        for name, _, about in self._aspects():
            yield f"{name} when", "aspect", about
        yield "Stop otherwise", "aspect", "when no line before it applies"

    def _states(self, expected: Expected, first: str) -> Iterator[_Word]:
        """The states of what is named before this place."""
        words = [token for token in expected.before if token.type == "NAME"]
        name = str(words[-1])
        declared = self._family.known(self._scope, name)
        if declared is None and "." in name and name.rpartition(".")[0]:
            kinds: tuple[str, ...] = ("head",)
        else:
            kinds = (declared.name.kind,) if declared else tuple(STATES_OF)
        for kind in kinds:
            yield from self._states_of(kind, declared.node if declared else None, first)

    def _states_of(self, kind: str, node: s.Statement | None, first: str) -> Iterator[_Word]:
        if isinstance(node, s.Lever):
            for position in node.positions:
                yield position.text, "state", "a position of the lever"
        elif kind == "signal":
            yield from (("at stop", "state", ""), ("proceeds", "state", ""))
            for name, _, about in self._aspects():
                yield f"shows {name}", "state", about
        elif kind in STATES_OF:
            states = STATES_OF[kind]
            for state in (*states.reported, *(states.true if first in _TRUTH else ())):
                yield state, "state", _meaning(state)


def _listed(words: Sequence[Token]) -> Iterator[str]:
    """The names of the list that these words begin with."""
    for token in words:
        if token.type == "NAME":
            yield str(token)
        elif token.type != "COMMA":
            return


def _without(expected: Expected, terminals: Iterable[str]) -> Expected:
    return Expected(
        expected.terminals.difference(terminals), expected.wanted, expected.before,
        expected.can_end, expected.declares,
    )  # fmt: skip


def _statements() -> Iterator[_Word]:
    for terminal in sorted(STATEMENT_WORDS):
        kind = KIND_BY_TERMINAL[terminal]
        (word,) = PHRASES.get(terminal) or (terminal_words()[terminal],)
        yield word, "statement", f"{kind.title}: {example_of(kind.example)}"


def _clauses(expected: Expected) -> Iterator[_Word]:
    for phrase in expected.phrases:
        if phrase[0].isalpha():
            yield phrase, "word", _meaning(phrase)


def _meaning(phrase: str) -> str:
    """What a phrase means: what its first word does."""
    known = meanings().get(phrase.split()[0])
    return known.text if known and known.of_language else ""


def example_of(example: str) -> str:
    """The first of the examples of a statement, which are parted by backticks."""
    return example.partition("`")[0]


def chart_of(family: Family) -> Chart:
    """The aspects of texts that belong together, as far as they can be read."""
    return build_chart(family.statements(), PlanNames())
