"""What is wrong with a text, as far as can be told between two keystrokes: what cannot be read, and
names that nothing declares. The plan is checked by others, and takes longer."""

from collections.abc import Iterator

from verifier.assist.naming import Occurrence, PieceNames, names_in
from verifier.assist.pieces import Text
from verifier.language.diagnostics.diagnostic import Diagnostic
from verifier.language.source import Span
from verifier.language.syntax import tree as s
from verifier.language.syntax.parse import MAX_ERRORS
from verifier.plan.names import Declared, Names

# The code of what is said of names here.
UNKNOWN = "CP201"


def problems(text: Text) -> list[Diagnostic]:
    """The errors in a text that can be told at once, in the order of the file."""
    found = [*text.errors(), *_unknown(text)]
    return sorted(found, key=lambda error: error.span.start)[:MAX_ERRORS]


def _unknown(text: Text) -> Iterator[Diagnostic]:
    """Names that nothing declares. An included file may declare any, and a statement that cannot
    be read whatever it names."""
    scope = ""
    looked: list[tuple[int, PieceNames]] = []
    for start, piece in text.pieces:
        if any(isinstance(statement, s.Include) for statement in piece.statements):
            return
        looked.append((start, names_in(piece, scope)))
        scope = looked[-1][1].scope
    declared = {(d.name.scope, d.name.text) for _, named in looked for d in named.declarations}
    missing = [
        (start, name)
        for start, named in looked
        for name in named.occurrences
        if name.wanted and not _is_known(name, declared)
    ]
    if missing:
        unread = {str(word) for _, piece in text.pieces if piece.errors for word in piece.tokens}
        left = [(start, name) for start, name in missing if name.text not in unread]
        yield from _told(text, left[:MAX_ERRORS], [named for _, named in looked])


def _is_known(name: Occurrence, declared: set[tuple[str, str]]) -> bool:
    """Whether a name, or what stands before a dot in it, is declared."""
    text = name.text
    while text:
        if (name.scope, text) in declared:
            return True
        text = text.rpartition(".")[0]
    return False


def _told(
    text: Text, missing: list[tuple[int, Occurrence]], looked: list[PieceNames]
) -> Iterator[Diagnostic]:
    names = Names()
    for named in looked:
        for declared in named.declarations:
            place = declared.node.span
            names.table[declared.name.text] = Declared(declared.name.kind, place, declared.node)
    for start, name in missing:
        span = Span(text.source, start + name.start, start + name.end)
        wanted = name.wanted
        names.unknown(s.Name(name.text, span), wanted, wanted[0] if len(wanted) == 1 else "")
    yield from names.errors
