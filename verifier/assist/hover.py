"""What a word at a place means: what a signal shows when, what a name stands for, what a word of
the language says."""

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.assist.completion import chart_of, example_of
from verifier.assist.naming import Declaration
from verifier.assist.navigation import Family
from verifier.assist.pieces import Text
from verifier.language.listing import listing
from verifier.language.syntax import tree as s
from verifier.language.syntax.tree import KIND_BY_TERMINAL
from verifier.language.words import meanings
from verifier.plan.names import KIND_WORDS
from verifier.plan.signals.aspects import Aspect, Chart
from verifier.properties.catalog import BY_NAME

# Lines of a statement that are shown.
MOST_LINES = 12


@dataclass(frozen=True, slots=True)
class Hover:
    """What is said of the text from ``start`` to ``end``: ``lines`` with `code` and **names**
    marked, and some ``code`` of the language. A line that starts with `- ` is one of a list."""

    start: int
    end: int
    lines: tuple[str, ...]
    code: str = ""

    @property
    def markdown(self) -> str:
        """All of it as Markdown."""
        said = ""
        for line in self.lines:
            said += line if not said else f"\n{line}" if line.startswith("- ") else f"\n\n{line}"
        return said + (f"\n\n```ixl\n{self.code}\n```" if self.code else "")


def hover(family: Family, file: int, offset: int) -> Hover | None:
    """What stands at a place; None where that is nothing with a meaning."""
    text, chart = family.names[file].text, chart_of(family)
    meant = family.meant_at(file, offset)
    if meant is not None:
        where, declared = family.names[meant.file].text, meant.declared
        written = where.text[declared.start : declared.end].splitlines()[:MOST_LINES]
        lines = tuple(_of_name(where, declared, chart))
        return Hover(meant.place.start, meant.place.end, lines, "\n".join(written))
    begins, piece = text.piece_at(offset)
    for token in piece.tokens:
        start, end = begins + (token.start_pos or 0), begins + (token.end_pos or 0)
        if start <= offset < end:
            lines = tuple(_of_word(chart, str(token), token.type))
            kind = KIND_BY_TERMINAL.get(token.type)
            return (
                Hover(start, end, lines, example_of(kind.example) if kind else "")
                if lines
                else None
            )
    return None


def _of_name(text: Text, declared: Declaration, chart: Chart) -> Iterator[str]:
    """About a thing by its name."""
    name, node = declared.name, declared.node
    kind = KIND_WORDS.get(name.kind, f"a {name.kind}")
    line = text.source.position(name.start)[0]
    yield f"**{name.text}** is {kind}, line {line}."
    if isinstance(node, s.Block) and node.note:
        yield f"{node.note}."
    if isinstance(node, s.Signal) and name.kind == "signal":
        yield from _shown(chart, node, text, declared.piece)


def _shown(chart: Chart, signal: s.Signal, text: Text, piece: int) -> Iterator[str]:
    """What a signal shows when, the first line that applies."""
    if not signal.rules:
        yield "Its heads have lists of their own."
        return
    yield "It shows, by the first line that applies:"
    heads = max(1, len(signal.heads))
    for rule in signal.rules:
        aspect = chart.get(rule.shows.text)
        means = f" ({_aspect(aspect, heads)})" if aspect else ""
        when = rule.when and text.span(piece, rule.when.span).one_line
        yield f"- **{rule.shows.text}**{means} {f'when `{when}`' if when else 'otherwise'}"


def _aspect(aspect: Aspect, heads: int) -> str:
    colors = aspect.for_heads(heads)
    return (
        f"{' over '.join(colors)}: {aspect.indication.text}" if colors else aspect.indication.text
    )


def _of_word(chart: Chart, word: str, terminal: str) -> Iterator[str]:
    """About a word that names nothing of the layout."""
    aspect = chart.get(word)
    if aspect is not None:
        colors = listing((f"`{' over '.join(c)}`" for c in aspect.combinations), "or")
        yield f"**{word}** is an aspect: {aspect.indication.text}."
        yield f"It is shown as {colors}."
        return
    if word in BY_NAME:
        yield f"**{word}**: {BY_NAME[word].title}"
        yield " ".join(BY_NAME[word].explanation.split())
        return
    known = meanings().get(word)
    if known is None or not known.of_language or terminal == "STRING":
        return
    yield f"**{word}**: {known.text}."
