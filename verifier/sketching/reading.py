"""A text as a drawing of its track, finished or not.

In: the text of a junction file. Out: a :class:`Drawing`: pieces with their places, what joins them,
which ends are open, and where signals stand. What is not joined yet is no error here.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from verifier.language.diagnostics.diagnostic import Diagnostic, InputError
from verifier.language.modules.expand import read
from verifier.language.source import Source
from verifier.language.syntax import tree
from verifier.language.syntax.parse import parse_on
from verifier.plan.model import Joint, Piece, Placed, Port, Track
from verifier.plan.names import Names, declare_all
from verifier.plan.signals.signal_placement import find_posts
from verifier.plan.track.build_track import Joined, join_up
from verifier.sketching.automatic import laid_out
from verifier.sketching.geometry import ORIGIN, Place, Spot, ends_of, place_from


class NotDrawn(Exception):
    """The text has errors that are to be mended before its track can be drawn."""

    def __init__(self, diagnostics: Iterable[Diagnostic]):
        self.diagnostics = tuple(diagnostics)
        super().__init__("the text has errors")


@dataclass(frozen=True, slots=True)
class DrawnSignal:
    """A signal, from which end of a piece trains come to it, and which end they then enter. None:
    no gap is where the text says it stands."""

    name: str
    near: Port | None
    enters: Port | None
    heads: int


@dataclass(frozen=True)
class Drawing:
    """The track of a text. ``own`` are the statements of the file itself, outside modules;
    ``statements`` those of modules and included files too; ``lines`` its `track` lines with the
    pieces as they follow one another. ``broken``: other statements cannot be read."""

    source: Source
    own: tuple[tree.Statement, ...]
    statements: tuple[tree.Statement, ...] = field(repr=False)
    names: Names
    pieces: Mapping[str, Piece]
    joined: Joined
    signals: Mapping[str, DrawnSignal]
    broken: tuple[Diagnostic, ...]

    @property
    def joints(self) -> tuple[Joint, ...]:
        return self.joined.joints

    @property
    def joint_at(self) -> Mapping[Port, Joint]:
        return self.joined.joint_at

    @cached_property
    def lines(self) -> tuple[tuple[tree.Track, tuple[Placed, ...]], ...]:
        rows = zip(tree.of_kind(self.statements, tree.Track), self.joined.rows, strict=True)
        return tuple((line, row) for line, row in rows if line.span.source is self.source)

    @cached_property
    def written(self) -> Mapping[str, Place]:
        """The pieces that have a place in the text."""
        return dict(_written(self.source, self.statements, self.pieces))

    @cached_property
    def ends(self) -> Mapping[str, Mapping[str, Spot]]:
        """Where the ends of each piece lie."""
        return _ends(self.written, self.pieces, self.joined)

    @property
    def open_ends(self) -> Iterator[Port]:
        """The ends that are not joined yet."""
        for piece in self.pieces.values():
            for end in piece.ends:
                if Port(piece.name, end) not in self.joint_at:
                    yield Port(piece.name, end)

    def spot(self, port: Port) -> Spot:
        return self.ends[port.piece][port.end]

    def place(self, name: str) -> Place:
        return place_from(self.pieces[name], self.ends[name])

    def is_own(self, name: str) -> bool:
        """Whether a piece is declared in the file itself, outside modules."""
        declared = self.names.table.get(self.pieces[name].title)
        return declared is not None and declared.span.source is self.source

    def stretches(self, block: str) -> list[str]:
        """The stretches of plain track of a block, in the order of the text."""
        return [n for n, p in self.pieces.items() if p.kind == "plain" and p.block == block]


def drawing_of(text: str, name: str = "", path: Path | None = None) -> Drawing:
    """The drawing of a text. Raises :class:`NotDrawn`."""
    source = Source(name or "(not saved yet)", text)
    read_well, errors = parse_on(source)
    own, broken = tuple(_outside(read_well)), list(errors)
    statements = own
    if any(isinstance(s, tree.Reuse) for s in read_well):
        try:
            statements = read(source, path)
        except InputError as error:
            statements = error.left
            broken = broken or list(error.diagnostics)
    statements = tuple(s for s in statements if not isinstance(s, tree.Reuse))
    names = declare_all(statements)
    joined = None if names.errors else join_up(statements, names)
    if joined is None or names.errors:
        raise NotDrawn([*names.errors, *broken])
    pieces = {**joined.pieces, **_lonely(names, joined.pieces)}
    signals = _signals(statements, pieces, joined, names)
    return Drawing(source, own, statements, names, pieces, joined, signals, tuple(broken))


def _outside(statements: Iterable[tree.Statement]) -> Iterator[tree.Statement]:
    inside = False
    for statement in statements:
        inside = inside or isinstance(statement, tree.Module)
        if not inside:
            yield statement
        if isinstance(statement, tree.End):
            inside = False


def _lonely(names: Names, pieces: Mapping[str, Piece]) -> dict[str, Piece]:
    """Blocks that are on no line yet, nor about points or a crossing: plain track, all the same."""
    used = {piece.block for piece in pieces.values()}
    return {
        name: Piece(name, "plain", name, ("left", "right"), declared.span)
        for name, declared in names.table.items()
        if declared.kind == "block" and name not in used
    }


def _signals(
    statements: Sequence[tree.Statement], pieces: Mapping[str, Piece], joined: Joined, names: Names
) -> dict[str, DrawnSignal]:
    track = Track(pieces, joined.joints, joined.joint_at, {}, joined.rows)
    posts = find_posts(statements, track, Names(table=names.table))
    found = {}
    for node in tree.of_kind(statements, tree.Signal):
        post = posts.get(node.name.text)
        near = post.joint.other(post.enters) if post else None
        enters = post.enters if post else None
        found[node.name.text] = DrawnSignal(node.name.text, near, enters, len(node.heads) or 1)
    return found


# ------------------------------------------------------------------ places


def _ends(
    places: Mapping[str, Place], pieces: Mapping[str, Piece], joined: Joined
) -> dict[str, Mapping[str, Spot]]:
    """Where all ends lie. What has no place in the text lies by what has, as the drawing would
    have it."""
    written = {name: ends_of(pieces[name], place) for name, place in places.items()}
    if len(written) == len(pieces):
        return written
    free = laid_out(pieces, joined.joints, joined.rows)
    shifts = {
        name: _shift(free.get(name, {}), ends) for name, ends in written.items() if name in free
    }
    near = _nearest(pieces, joined.joints, shifts)
    last = Spot(0, max((s.y for ends in written.values() for s in ends.values()), default=-1) + 2)
    found: dict[str, Mapping[str, Spot]] = {}
    for name, piece in pieces.items():
        shift = near.get(name, last if written else ORIGIN)
        found[name] = written.get(name) or {
            end: free.get(name, {}).get(end, ORIGIN).moved(shift) for end in piece.ends
        }
    return found


def _written(
    source: Source, statements: Iterable[tree.Statement], pieces: Mapping[str, Piece]
) -> Iterator[tuple[str, Place]]:
    """The places that the text gives. Modules are drawn without theirs: each use is elsewhere."""
    counts: Counter[str] = Counter()
    stretches: dict[str, list[str]] = {}
    for piece in pieces.values():
        stretches.setdefault(piece.title, []).append(piece.name)
    for statement in tree.of_kind(statements, tree.Placing):
        if statement.span.source is not source:
            continue
        those = stretches.get(statement.name.text, [])
        for laid in statement.laid:
            at = counts[statement.name.text]
            counts[statement.name.text] += 1
            if at < len(those):
                yield (
                    those[at],
                    tuple(Spot(float(s.right.number), float(s.down.number)) for s in laid.spots),
                )


def _shift(free: Mapping[str, Spot], written: Mapping[str, Spot]) -> Spot:
    end = next(iter(written))
    before, now = free.get(end, ORIGIN), written[end]
    return Spot(now.x - before.x, now.y - before.y)


def _nearest(
    pieces: Mapping[str, Piece], joints: Iterable[Joint], shifts: Mapping[str, Spot]
) -> dict[str, Spot]:
    """For each piece the shift of the placed piece that fewest joints are between."""
    beside: dict[str, list[str]] = {name: [] for name in pieces}
    for joint in joints:
        beside[joint.a.piece].append(joint.b.piece)
        beside[joint.b.piece].append(joint.a.piece)
    found = dict(shifts)
    waiting = list(found)
    for name in waiting:
        for other in beside[name]:
            if other not in found:
                found[other] = found[name]
                waiting.append(other)
    return found
