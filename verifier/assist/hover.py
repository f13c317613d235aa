"""What a word at a place means: what a signal shows when, what a name stands for, what a word of
the language says. The text is Markdown."""

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
    """What is said of the text from ``start`` to ``end``."""

    start: int
    end: int
    markdown: str


def hover(family: Family, file: int, offset: int) -> Hover | None:
    """What stands at a place; None where that is nothing with a meaning."""
    text = family.names[file].text
    meant = family.meant_at(file, offset)
    if meant is not None:
        declared = family.names[meant.file].text
        lines = list(_of_name(declared, meant.declared))
        return Hover(meant.place.start, meant.place.end, "\n".join(lines))
    begins, piece = text.piece_at(offset)
    for token in piece.tokens:
        start, end = begins + (token.start_pos or 0), begins + (token.end_pos or 0)
        if start <= offset < end:
            lines = list(_of_word(text, str(token), token.type))
            return Hover(start, end, "\n".join(lines)) if lines else None
    return None


def _of_name(text: Text, declared: Declaration) -> Iterator[str]:
    """About a thing by its name."""
    name, node = declared.name, declared.node
    kind = KIND_WORDS.get(name.kind, f"a {name.kind}")
    line = text.source.position(name.start)[0]
    yield f"**{name.text}** is {kind}, line {line}."
    if isinstance(node, s.Block) and node.note:
        yield f"\n{node.note}"
    if isinstance(node, s.Signal) and name.kind == "signal":
        yield from _shown(chart_of(text), node, text, declared.piece)
    yield "\n```ixl"
    yield from text.text[declared.start : declared.end].splitlines()[:MOST_LINES]
    yield "```"


def _shown(chart: Chart, signal: s.Signal, text: Text, piece: int) -> Iterator[str]:
    """What a signal shows when, the first line that applies."""
    if not signal.rules:
        yield "\nIts heads have lists of their own."
        return
    yield "\nIt shows, by the first line that applies:\n"
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


def _of_word(text: Text, word: str, terminal: str) -> Iterator[str]:
    """About a word that names nothing of the layout."""
    aspect = chart_of(text).get(word)
    if aspect is not None:
        colors = listing((f"`{' over '.join(c)}`" for c in aspect.combinations), "or")
        yield f"**{word}** is an aspect: {aspect.indication.text}."
        yield f"\nIt is shown as {colors}."
        return
    if word in BY_NAME:
        yield f"**{word}**: {BY_NAME[word].title}"
        yield f"\n{BY_NAME[word].explanation}"
        return
    known = meanings().get(word)
    if known is None or not known.of_language or terminal == "STRING":
        return
    yield f"**{word}**: {known.text}."
    kind = KIND_BY_TERMINAL.get(terminal)
    if kind is not None:
        yield "\n```ixl"
        yield example_of(kind.example)
        yield "```"
