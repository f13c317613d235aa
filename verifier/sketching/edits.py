"""Edits of a text, and where new statements go in it.

In: a drawing, and what is to be declared, placed or taken away. Out: edits of the text it was read
from. Nothing else of the text is touched, and comments stay.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from verifier.language.source import LINE_END, Source, Span
from verifier.language.syntax import tree
from verifier.sketching.geometry import Place, Spot
from verifier.sketching.reading import Drawing

# The order in which a file has its statements about track.
_ORDER: tuple[tuple[type[tree.Statement], ...], ...] = (
    (tree.Layout, tree.Include),
    (tree.Edge,),
    (tree.Bumper,),
    (tree.Block,),
    (tree.Turnout,),
    (tree.Crossing,),
    (tree.Slip, tree.Derail, tree.Gate, tree.Crossover, tree.Limits),
    (tree.Track,),
    (tree.Signal, tree.Head),
    (tree.Placing,),
)
# These begin with a blank line where they are the first of their kind.
_APART = (tree.Track, tree.Signal, tree.Placing)
_WIDTH = 90
REMARK = "# Where the drawing has each piece, in squares to the right and down; may be left out."


@dataclass(frozen=True, slots=True)
class Edit:
    """``text`` instead of what stands from ``start`` to ``end``, in characters."""

    start: int
    end: int
    text: str


def applied(text: str, edits: Iterable[Edit]) -> str:
    """The text after edits, which do not overlap."""
    made: list[str] = []
    at = 0
    for edit in sorted(edits, key=lambda e: (e.start, e.end)):
        assert edit.start >= at, "edits overlap"
        made += [text[at : edit.start], edit.text]
        at = edit.end
    return "".join([*made, text[at:]])


def difference(before: str, after: str) -> Edit | None:
    """One edit that makes one text of another, as short as can be; None where they are the same."""
    if before == after:
        return None
    most = min(len(before), len(after))
    start = next((i for i in range(most) if before[i] != after[i]), most)
    most -= start
    end = next((i for i in range(most) if before[-1 - i] != after[-1 - i]), most)
    return Edit(start, len(before) - end, after[start : len(after) - end])


def newline_of(source: Source) -> str:
    found = LINE_END.search(source.text)
    return found.group() if found else "\n"


# ------------------------------------------------------------------ new statements


def declare(drawing: Drawing, kind: type[tree.Statement], word: str, name: str, more: str) -> Edit:
    """Declare a piece: beside others of its kind where a statement lists them plainly."""
    listing = _plain_list(drawing, kind) if not more else None
    if listing is not None and len(drawing.source.line(listing.line)) + len(name) < _WIDTH:
        return Edit(listing.end, listing.end, f", {name}")
    return insert(drawing, kind, " ".join(filter(None, (word, name, more))))


def _plain_list(drawing: Drawing, kind: type[tree.Statement]) -> Span | None:
    """The last statement that says nothing of its kind but names."""
    for statement in reversed([s for s in drawing.own if isinstance(s, kind)]):
        names = getattr(statement, "names", ())
        if names and names[-1].span.end == statement.span.end:
            return statement.span
    return None


def insert(drawing: Drawing, kind: type[tree.Statement], line: str) -> Edit:
    """A new statement, on a line of its own, where statements of its kind stand."""
    source, new = drawing.source, newline_of(drawing.source)
    rank = next(i for i, kinds in enumerate(_ORDER) if kind in kinds)
    earlier = tuple(k for kinds in _ORDER[: rank + 1] for k in kinds)
    if kind is tree.Placing:
        earlier = (tree.Statement,)
    alike = [s for s in drawing.own if isinstance(s, _ORDER[rank])]
    before = alike or [s for s in drawing.own if isinstance(s, earlier)]
    remark = REMARK + new if kind is tree.Placing and not alike else ""
    apart = kind in _APART and not alike
    if before:
        last = max(before, key=lambda s: s.span.end)
        end = source.line_bounds(source.position(last.span.end)[0])[1]
        return Edit(end, end, f"{new * (1 + apart)}{remark}{line}")
    if drawing.own:
        start = source.line_bounds(drawing.own[0].span.line)[0]
        return Edit(start, start, f"{line}{new}")
    end = len(source.text)
    begun = end == 0 or source.text[-1] in "\r\n"
    return Edit(end, end, f"{'' if begun else new}{remark}{line}{new}")


def without(source: Source, span: Span) -> Edit:
    """Take a statement away, and its lines where nothing else stands on them."""
    first, last = source.position(span.start)[0], source.position(span.end)[0]
    start, end = source.line_bounds(first)[0], source.line_bounds(last)[1]
    if source.text[start : span.start].strip() or source.text[span.end : end].strip():
        return Edit(span.start, span.end, "")
    after = source.line_bounds(last + 1)[0] if end < len(source.text) else end
    return Edit(start, after, "")


def undeclare(drawing: Drawing, name: str) -> Iterator[Edit]:
    """Take the declaration of a name away."""
    declared = drawing.names.table[name]
    names: Sequence[tree.Name] = getattr(declared.node, "names", None) or [declared.node.name]  # type: ignore[attr-defined]
    if len(names) == 1:
        yield without(drawing.source, declared.node.span)
        return
    at = [n.text for n in names].index(name)
    if at:
        yield Edit(names[at - 1].span.end, names[at].span.end, "")
    else:
        yield Edit(names[0].span.start, names[1].span.start, "")


# ------------------------------------------------------------------ places


def put(drawing: Drawing, places: dict[str, Place]) -> Iterator[Edit]:
    """Write where pieces lie; of a block with several stretches, of all of them."""
    written = {s.name.text: s for s in drawing.own if isinstance(s, tree.Placing)}
    new: list[str] = []
    for title in dict.fromkeys(drawing.pieces[name].title for name in places):
        those = drawing.stretches(title) or [title]
        laid = " and ".join(laid_words(places.get(n) or drawing.place(n)) for n in those)
        line = f"place {title} {laid}"
        if title in written:
            span = written[title].span
            yield Edit(span.start, span.end, line)
        else:
            new.append(line)
    if new:
        yield insert(drawing, tree.Placing, newline_of(drawing.source).join(new))


def laid_words(place: Place) -> str:
    words = [f"{_number(x)}, {_number(y)}" for x, y in place]
    return f"at {words[0]}" if len(words) == 1 else f"from {words[0]} to {words[1]}"


def _number(value: float) -> str:
    """A coordinate, to a tenth of a square; nothing lies to the left of the paper or above it."""
    value = max(round(value, 1), 0)
    return f"{value:.1f}" if value % 1 else f"{value:.0f}"


def on_paper(spot: Spot) -> Spot:
    return Spot(max(spot.x, 0), max(spot.y, 0))
