"""Drafts of a text in which signals were drawn that have no rules yet: they only show Stop.

In: a text, and how a draft is made of one. Out: the draft, in which signals that were drawn where a
draft has signals have their rules under the names that they were given. Signals that stand
elsewhere are left as they are.
"""

from collections.abc import Callable, Collection, Iterator
from pathlib import Path

from verifier.language.modules.rename import names_in
from verifier.language.source import Source
from verifier.language.syntax import tree
from verifier.sketching.drawing_hand import drawn
from verifier.sketching.edits import Edit, applied
from verifier.sketching.reading import Drawing, NotDrawn, drawing_of
from verifier.sketching.strokes import Rename

# The draft of a text, not proved. Raises :class:`InputError`.
Draft = Callable[[Source], str]


def with_bare_signals(text: str, name: str, path: Path | None, draft: Draft) -> str:
    """The draft of a text. Raises :class:`InputError`."""
    source = Source(name, text)
    try:
        drawing = drawing_of(text, name, path)
    except NotDrawn:
        return draft(source)  # which says why
    bare = {} if drawing.broken else {signal.name.text: signal for signal in _bare(drawing)}
    if not bare:
        return draft(source)
    # Errors have the places that they have in the text as it is.
    blank = [Edit(s.span.start, s.span.end, _blank(s.span.text)) for s in bare.values()]
    made = draft(Source(name, applied(text, blank)))
    taken = _names_taken(drawing, drawing_of(made, name, path), bare)
    if not taken:
        return draft(source)
    made = draft(Source(name, applied(text, [_cut(source, bare[own]) for own in taken])))
    for own, drafted in _names_taken(drawing, drawing_of(made, name, path), taken).items():
        if own != drafted:
            made = _renamed(made, own, drafted, name, path)
    return made


def _bare(drawing: Drawing) -> Iterator[tree.Signal]:
    """Signals with one line, `Stop otherwise`, of which nothing else is said in the file."""
    said = [n.text.partition(".")[0] for s in drawing.own for n in names_in(s)]
    for signal in tree.of_kind(drawing.own, tree.Signal):
        rules = signal.rules
        stops = len(rules) == 1 and rules[0].when is None and rules[0].shows.text == "Stop"
        alone = said.count(signal.name.text) == 1 and "#" not in signal.span.text
        if stops and alone and not signal.heads and not signal.plate:
            yield signal


def _blank(text: str) -> str:
    return "".join(c if c in "\r\n" else " " for c in text)


def _cut(source: Source, signal: tree.Signal) -> Edit:
    """Take a signal away with the line ends before it."""
    start = len(source.text[: signal.span.start].rstrip())
    return Edit(start, signal.span.end, "")


def _names_taken(drawing: Drawing, made: Drawing, own: Collection[str]) -> dict[str, str]:
    """The signals that a draft has where one was drawn, by the name of that one."""
    places = {(s.near, s.enters): s.name for s in made.signals.values() if s.enters}
    found = {}
    for name in own:
        signal = drawing.signals[name]
        if signal.enters and (drafted := places.get((signal.near, signal.enters))):
            found[name] = drafted
    return found


def _renamed(text: str, own: str, drafted: str, name: str, path: Path | None) -> str:
    """A drafted signal by its drawn name; one that has this name by chance changes with it."""
    if own in drawing_of(text, name, path).names.table:
        spare = f"{own}-drafted"
        text = drawn(text, Rename(own, spare), name, path).text
    return drawn(text, Rename(drafted, own), name, path).text
