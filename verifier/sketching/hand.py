"""The hand that draws: a text that is edited step by step, each step read back.

Out: the text, its drawing, and whatever cannot be written as it was meant raises :class:`Refused`.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from verifier.language.syntax.parse import lex
from verifier.plan.model import Joint, Port
from verifier.sketching.edits import Edit, applied, on_paper, put
from verifier.sketching.geometry import Place, Spot
from verifier.sketching.joining import join_edits, part_edits, sign_edits, sign_of
from verifier.sketching.reading import Drawing, NotDrawn, drawing_of

# So near, in squares, an end or a track is meant by a spot.
NEAR, TOUCHES = 0.8, 0.05

FAR = {"points": "normal", "normal": "points", "reverse": "points", "left": "right",
        "right": "left", "along-left": "along-right", "along-right": "along-left",
        "across-left": "across-right", "across-right": "across-left"}  # fmt: skip


class Refused(Exception):
    """A stroke that cannot be drawn; the text is for the user, and nothing was changed."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A text after a stroke. ``focus``: the open end to go on from; ``chosen``: pieces and
    signals that the stroke made or moved. ``said``: what was done, in words."""

    text: str
    drawing: Drawing
    focus: Port | None
    chosen: tuple[str, ...]
    said: str


class Hand:
    """One stroke being drawn."""

    def __init__(self, text: str, name: str, path: Path | None):
        self.text, self._name, self._path = text, name, path
        self.drawing = drawing_of(text, name, path)
        self._flipped: set[str] = set()

    def edit(self, edits: Iterable[Edit]) -> None:
        self.text = applied(self.text, edits)
        self.drawing = drawing_of(self.text, self._name, self._path)

    def put(self, places: dict[str, Place]) -> None:
        """Write places, where they are not in the text already."""
        kept = {
            name: tuple(on_paper(spot) for spot in place)
            for name, place in places.items()
            if self.drawing.is_own(name)
        }
        if kept:
            self.edit(put(self.drawing, kept))

    def fresh(self, beginning: str, taken: Iterable[str] = ()) -> str:
        """A name that nothing in the text has: `T1`, `T2` of one letter, else `East`, `East-2`."""
        used = {*taken, *(str(token) for token in lex(self.drawing.source))}
        if len(beginning) > 1 and beginning not in used:
            return beginning
        first, sign = (1, "") if len(beginning) == 1 else (2, "-")
        return next(name for n in count(first) if (name := f"{beginning}{sign}{n}") not in used)

    def words(self, port: Port) -> str:
        piece = self.drawing.pieces.get(port.piece)
        title = piece.title if piece else port.piece
        return title if port.end in ("left", "right", "end") else f"{title} {port.end}"

    def now(self, port: Port) -> Port:
        """An end, as it is called after plain track was read the other way round."""
        if port.piece in self._flipped and port.end in ("left", "right"):
            return Port(port.piece, FAR[port.end])
        return port

    def joined_at(self, end: Port) -> Joint:
        joint = self.drawing.joint_at.get(end)
        if joint is None:
            raise Refused(f"Nothing is joined at {self.words(end)}.")
        return joint

    def join(self, a: Port, b: Port, how: str = "") -> None:
        """Join two open ends. Raises :class:`Refused` where no line says so."""
        a, b = self.now(a), self.now(b)
        if a == b or {a, b} & self.drawing.joint_at.keys():
            raise Refused(f"{self.words(a)} and {self.words(b)} are not both open.")
        if self.drawing.pieces[a.piece].title == self.drawing.pieces[b.piece].title and (
            a.piece == b.piece or "plain" in {self.drawing.pieces[p.piece].kind for p in (a, b)}
        ):
            raise Refused(
                f"{self.words(a)} cannot meet itself: divide it first, or draw more between."
            )
        how = how or self._usual_sign(a, b)
        before = self.drawing
        wanted = _joints_of(before)
        wanted[_joint_fact(before, a, b, how)] += 1
        for edits in join_edits(before, a, b, how):
            text = applied(self.text, edits)
            try:
                after = drawing_of(text, self._name, self._path)
            except NotDrawn:
                continue
            if _joints_of(after) == wanted and after.pieces.keys() == before.pieces.keys():
                self.text, self.drawing = text, after
                self._keep_places(before, {a: b, b: a})
                return
        raise Refused(
            f"{self.words(a)} and {self.words(b)} cannot be joined: which track is meant would "
            "not be clear. Give its stretches names of their own first."
        )

    def _usual_sign(self, a: Port, b: Port) -> str:
        kinds = {self.drawing.pieces[port.piece].kind for port in (a, b)}
        blocks = {self.drawing.pieces[port.piece].block for port in (a, b)}
        return "=" if kinds & {"edge", "bumper"} or len(blocks) == 1 else "|"

    def _keep_places(self, before: Drawing, new: dict[Port, Port]) -> None:
        """Plain track that now is read the other way round lies where it did."""
        places: dict[str, Place] = {}
        for name, piece in before.pieces.items():
            if piece.kind != "plain" or name not in self.drawing.pieces:
                continue
            if _is_flipped(name, before, self.drawing, new):
                self._flipped ^= {name}
                if name in before.written:
                    places[name] = before.place(name)[::-1]
        self.put(places)

    def part(self, joint: Joint) -> None:
        before = self.drawing
        edits = part_edits(before, joint)
        if edits is None:
            raise Refused("This joint is part of a module or of an included file.")
        wanted = _joints_of(before)
        wanted[_joint_fact(before, joint.a, joint.b, sign_of(joint))] -= 1
        self.edit(edits)
        if _joints_of(self.drawing) != +wanted:
            raise Refused("This cannot be written as `track` lines; nothing was changed.")
        self._keep_places(before, {})

    def sign(self, joint: Joint, how: str) -> None:
        """Write how two ends meet, `|(g1)`, instead of what stands there."""
        edits = [*sign_edits(self.drawing, joint, how)]
        if not edits:
            raise Refused("This joint is part of a module or of an included file.")
        self.edit(edits)

    def join_what_touches(self, names: Iterable[str]) -> None:
        """Join open ends of these pieces that lie on open ends of others."""
        for name in names:
            for end in self.drawing.pieces[name].ends:
                port = self.now(Port(name, end))
                other = self.open_end_at(self.drawing.spot(port), TOUCHES, {name})
                if other and port not in self.drawing.joint_at:
                    self.join(port, other)

    def open_end_at(self, spot: Spot, within: float, not_of: Iterable[str] = ()) -> Port | None:
        avoided = set(not_of)
        found = [
            (self.drawing.spot(port).apart(spot), port)
            for port in self.drawing.open_ends
            if port.piece not in avoided
        ]
        best = min(found, default=None, key=lambda f: f[0])
        return best[1] if best and best[0] <= within else None

    def done(self, said: str, focus: Port | None = None, chosen: Iterable[str] = ()) -> Drawn:
        if focus is not None:
            focus = self.now(focus)
        if focus is None or focus in self.drawing.joint_at or focus.piece not in self.drawing.ends:
            focus = None
        there = {**self.drawing.pieces, **self.drawing.signals}
        return Drawn(self.text, self.drawing, focus, tuple(n for n in chosen if n in there), said)

    def standing_at(self, joint: Joint) -> list[str]:
        return [s.name for s in self.drawing.signals.values() if s.enters in (joint.a, joint.b)]


_JointFact = tuple[tuple[tuple[str, str], ...], str]


def _joint_fact(drawing: Drawing, a: Port, b: Port, how: str) -> _JointFact:
    """A joint, whichever way round its plain track is read."""
    ends = []
    for port in (a, b):
        piece = drawing.pieces[port.piece]
        ends.append((piece.title, "" if piece.kind == "plain" else port.end))
    return tuple(sorted(ends)), how


def _joints_of(drawing: Drawing) -> Counter[_JointFact]:
    return Counter(_joint_fact(drawing, j.a, j.b, sign_of(j)) for j in drawing.joints)


def _is_flipped(name: str, before: Drawing, after: Drawing, new: dict[Port, Port]) -> bool:
    """Whether plain track is read the other way round than before: what was joined to its left
    end, or what is joined there now, is found at its right end."""
    for end in ("left", "right"):
        port = Port(name, end)
        old = before.joint_at.get(port)
        partner = old.other(port) if old else new.get(port)
        if partner is None or partner.piece == name:
            continue
        title, at = _partner(before, partner)
        here, there = (after.joint_at.get(Port(name, e)) for e in (end, FAR[end]))
        stays = here and _partner(after, here.other(Port(name, end))) == (title, at)
        turns = there and _partner(after, there.other(Port(name, FAR[end]))) == (title, at)
        if bool(stays) != bool(turns):
            return bool(turns)
    return False


def _partner(drawing: Drawing, port: Port) -> tuple[str, str]:
    piece = drawing.pieces[port.piece]
    return piece.title, "" if piece.kind == "plain" else port.end
