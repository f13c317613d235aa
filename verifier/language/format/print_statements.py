"""Statements as text: from lark's parse tree to the lines that a statement is made of.

The words stay as they are; what changes is where lines and segments begin. Only conditions are
printed from the syntax tree, since their parentheses may change.
"""

from collections.abc import Iterable, Iterator

from lark import Token, Tree

from verifier.language.format.print_conditions import condition
from verifier.language.format.segments import Drawn, Segment, TextLine
from verifier.language.statements.kind import Table
from verifier.language.syntax import tree as s
from verifier.language.syntax.build import CLAUSE_KINDS, Builder
from verifier.language.syntax.parse import is_name

# Rules that have lines of their own below the first line of their statement.
_BELOW = {"feeders", "heads", "rule", *CLAUSE_KINDS}
# Words and rules that a segment begins with. After a list or a comma a segment begins too.
_SEGMENTS = {
    "run", "stands", "via", "bindings", "combinations", "OR", "FOR", "THEN", *CLAUSE_KINDS,
}  # fmt: skip
_LISTS = {"names", "positions", "subjects"}
_CONDITIONS = {"fact", "all_of", "any_of", "negation", "operand"}
# What ends the first column of a table, and what begins the third.
_NAMES = {"name", "names", "RULE_NAME"}
_LAST_COLUMN = "indication"
_JOINS = {"JOINED", "GAP", "DOUBLE_GAP"}

_Part = Tree[Token] | Token


def text_lines(statement: Tree[Token], builder: Builder) -> Iterator[TextLine]:
    """The lines of one statement, in order."""
    kind = s.KIND_BY_RULE[statement.data]
    line = _LineBuilder(builder, table=kind.table)
    first = True
    for child in _parts(statement):
        rule = _rule(child)
        if (rule in _BELOW and not (first and rule in kind.inline)) or rule in kind.tail:
            yield line.finished()
            first = False
            table: Table = "rule" if rule == "rule" else ""
            line = _LineBuilder(builder, table, indent=2, joins=rule in kind.tail)
        if first and rule in kind.inline and kind.node is s.Trains:
            line.comma()
        if isinstance(child, Tree) and rule == "rule":
            for part in _parts(child):
                line.add(part, child)
        elif not (kind.node is s.Block and child == '""'):
            line.add(child, statement)
    yield line.finished(_drawn(builder.transform(statement)) if kind.table == "track" else ())


def _parts(node: Tree[Token]) -> Iterator[_Part]:
    return (child for child in node.children if child is not None)


def _rule(node: _Part) -> str:
    return node.type if isinstance(node, Token) else str(node.data)


def _text(token: Token, around: Tree[Token]) -> str:
    """How a word is written that is part of ``around``."""
    match token.type:
        case "INDICATION" | "PLATE" | "AT_MOST":
            return " ".join(token.split())
        case "STRING" if around.data in ("claim", "subject") and is_name(token[1:-1]):
            return token[1:-1]
        case "CONTACT" | "CONTACTS" if around.data == "contacts":
            return "contact" if len([*around.find_data("position_of_device")]) == 1 else "contacts"
    return str(token)


class _LineBuilder:
    """A line in the making."""

    def __init__(self, builder: Builder, table: Table = "", indent: int = 0, joins: bool = False):
        self._builder = builder
        self._table: Table = table
        self._indent = indent
        self._joins = joins
        self._segments: list[Segment] = []
        self._columns = [0]  # the segments that columns begin with
        self._splits = 0
        self._steps: list[int] = []  # the segments that `then` begins
        self._last = ""  # the terminal of the word before
        self._breaks = False  # a segment begins with the next word

    def finished(self, drawn: Iterable[Drawn] = ()) -> TextLine:
        texts = [segment.text for segment in self._segments]
        ends = [*self._columns[1:], len(texts)]
        columns = (" ".join(texts[i:j]) for i, j in zip(self._columns, ends, strict=True))
        return TextLine(
            tuple(self._segments), tuple(columns), self._indent, self._table, self._ends(),
            self._joins, tuple(drawn),
        )  # fmt: skip

    def _ends(self) -> frozenset[int]:
        """The segments that have a line of their own where the line is too long."""
        if self._steps or not self._splits:
            return frozenset(self._steps)
        return frozenset(range(self._splits, len(self._segments)))

    def add(self, node: _Part, around: Tree[Token]) -> None:
        """A part of the line; in a table with columns, the first name ends the first one."""
        rule = _rule(node)
        in_table = self._table not in ("", "track")
        if in_table and (rule == _LAST_COLUMN or (self._breaks and len(self._columns) == 1)):
            self._columns.append(len(self._segments))
            self._breaks = True
        self._write(node, around)
        if in_table and rule in _NAMES:
            self._breaks = True

    def comma(self) -> None:
        if self._last != "COMMA":
            last = self._segments[-1]
            self._segments[-1] = Segment(f"{last.text},", last.start, last.end)

    def _write(self, node: _Part, around: Tree[Token]) -> None:
        rule = _rule(node)
        if rule in _SEGMENTS or (rule == "join" and self._table == "track"):
            self._breaks = True
        if isinstance(node, Token):
            self._word(node, _text(node, around))
        elif rule in _CONDITIONS:
            self._condition(node)
        else:
            for child in _parts(node):
                self._write(child, node)
            self._breaks |= rule in _LISTS

    def _word(self, token: Token, text: str) -> None:
        kind, before = token.type, self._last
        glued = (
            kind in ("COMMA", "CLOSE_PAREN", "COLON")
            or before in ("OPEN_PAREN", "COLON")
            or (kind == "OPEN_PAREN" and before in _JOINS)
        )
        end = token.end_pos or 0
        if not self._segments or (self._breaks and not glued):
            self._segments.append(Segment(text, token.start_pos or 0, end))
            self._breaks = False
        else:
            last = self._segments[-1]
            text = f"{last.text}{'' if glued else ' '}{text}"
            # A comment before a comma stands behind the word before it.
            self._segments[-1] = Segment(text, last.start, last.end if kind == "COMMA" else end)
        self._breaks |= kind == "COMMA"
        self._last = kind

    def _condition(self, node: Tree[Token]) -> None:
        """The condition, its first part in the segment begun. A comment before that part stands
        behind the line or segment before, if there is one in this statement."""
        last = self._segments.pop()
        self._steps += [len(self._segments)] if self._last == "THEN" else []
        found = self._builder.transform(node)
        first, *others = condition(last.text, found[0] if isinstance(found, list) else found)
        start = first.start if self._segments or self._joins else last.start
        self._segments += [Segment(first.text, start, first.end), *others]
        self._splits = len(self._segments) - len(others)


def _drawn(track: s.Track) -> Iterator[Drawn]:
    for join, step in zip((None, *track.joins), track.steps, strict=True):
        gap = f"({join.gap.text})" if join and join.gap else ""
        yield Drawn(
            f"{join.kind}{gap}" if join else "", step.left or "", step.name.text, step.right or ""
        )
