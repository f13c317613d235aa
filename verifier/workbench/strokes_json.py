"""Strokes and drawings as JSON, between the page and :mod:`verifier.sketching`."""

from collections.abc import Callable, Iterator
from typing import Any, cast, get_args

from verifier.plan.model import Port
from verifier.plan.track.build_track import END_WORDS
from verifier.reports.json_parts import Json
from verifier.sketching.edits import difference
from verifier.sketching.geometry import Spot
from verifier.sketching.hand import Drawn
from verifier.sketching.reading import Drawing
from verifier.sketching.strokes import (
    Add,
    AddedKind,
    Copy,
    Cut,
    Flip,
    Join,
    Move,
    Part,
    Remove,
    Rename,
    SetGap,
    SetSignal,
    Stretch,
    Stroke,
    Turn,
)

MOST_PIECES = 2_000
# The graph paper is so many squares wide and high at most.
FARTHEST = 10_000.0


def stroke_of(asked: object) -> Stroke:
    """A stroke that the page sends. Raises :class:`ValueError` for what is none."""
    if not isinstance(asked, dict) or asked.get("do") not in _READERS:
        raise ValueError("a stroke is missing")
    return _READERS[asked["do"]](asked)


def _add(asked: Json) -> Stroke:
    kind, by = asked.get("kind"), asked.get("by", "points")
    if kind not in get_args(AddedKind) or by not in ("points", "normal", "reverse"):
        raise ValueError("no such piece")
    to = None if asked.get("to") is None else _spot(asked["to"])
    onto = None if asked.get("onto") is None else _port(asked["onto"])
    return Add(cast(AddedKind, kind), _spot(asked.get("at", [0, 0])), to, onto, by)


def _set_gap(asked: Json) -> Stroke:
    kind = asked.get("kind")
    if kind not in ("=", "|", "||"):
        raise ValueError("no such gap")
    return SetGap(_port(asked.get("end")), cast(Any, kind))


_READERS: dict[str, Callable[[Json], Stroke]] = {
    "add": _add,
    "join": lambda asked: Join(_port(asked.get("a")), _port(asked.get("b"))),
    "part": lambda asked: Part(_port(asked.get("end"))),
    "gap": _set_gap,
    "cut": lambda asked: Cut(_word(asked.get("piece")), _spot(asked.get("at"))),
    "move": lambda asked: Move(_words(asked.get("pieces")), _way(asked.get("by"))),
    "stretch": lambda asked: Stretch(_port(asked.get("end")), _spot(asked.get("to"))),
    "turn": lambda asked: Turn(_words(asked.get("pieces"))),
    "flip": lambda asked: Flip(_words(asked.get("pieces"))),
    "copy": lambda asked: Copy(_words(asked.get("pieces")), _way(asked.get("by"))),
    "name": lambda asked: Rename(_word(asked.get("old")), _word(asked.get("new"))),
    "remove": lambda asked: Remove(
        _words(asked.get("pieces") or [], least=0), _words(asked.get("signals") or [], least=0)
    ),
    "signal": lambda asked: SetSignal(_port(asked.get("enters"))),
}


def _word(value: object) -> str:
    if not isinstance(value, str) or not 0 < len(value) <= 200:
        raise ValueError("a name is missing")
    return value


def _words(value: object, least: int = 1) -> tuple[str, ...]:
    if not isinstance(value, list) or not least <= len(value) <= MOST_PIECES:
        raise ValueError("names are missing")
    return tuple(dict.fromkeys(map(_word, value)))


def _port(value: object) -> Port:
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError("an end is missing")
    return Port(_word(value[0]), _word(value[1]))


def _spot(value: object) -> Spot:
    """A spot on the paper."""
    x, y = _way(value)
    return Spot(max(x, 0.0), max(y, 0.0))


def _way(value: object) -> Spot:
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError("a spot is missing")
    x, y = (float(v) if isinstance(v, int | float) else FARTHEST + 1 for v in value)
    if not (abs(x) <= FARTHEST and abs(y) <= FARTHEST):
        raise ValueError("a spot lies off the paper")
    return Spot(x, y)


# ------------------------------------------------------------------ the drawing


def drawn_json(before: str, drawn: Drawn) -> Json:
    """What a stroke did: the edit of the text, and the drawing after it."""
    edit = difference(before, drawn.text)
    return {
        "edit": {"start": edit.start, "end": edit.end, "text": edit.text} if edit else None,
        "drawing": drawing_json(drawn.drawing),
        "focus": list(drawn.focus) if drawn.focus else None,
        "chosen": list(drawn.chosen),
        "said": drawn.said,
    }


def drawing_json(drawing: Drawing) -> Json:
    return {
        "pieces": [
            {
                "name": name,
                "title": piece.title,
                "kind": piece.kind,
                "block": piece.block or "",
                "ends": {end: list(spot) for end, spot in drawing.ends[name].items()},
                "own": drawing.is_own(name),
            }
            for name, piece in drawing.pieces.items()
        ],
        "joints": [
            {"a": list(j.a), "b": list(j.b), "kind": j.kind, "gap": j.gap or ""}
            for j in drawing.joints
        ],
        "signals": [
            {"name": s.name, "near": list(s.near), "enters": list(s.enters), "heads": s.heads}
            for s in drawing.signals.values()
            if s.near and s.enters
        ],
        "open": [
            {"end": list(port), "words": end_words(drawing, port)} for port in drawing.open_ends
        ],
        "homeless": list(_homeless(drawing)),
    }


def end_words(drawing: Drawing, port: Port) -> str:
    """``the reverse leg of T1``."""
    return f"{END_WORDS[port.end]} of {drawing.pieces[port.piece].title}"


def _homeless(drawing: Drawing) -> Iterator[str]:
    """Signals that stand at no gap."""
    return (s.name for s in drawing.signals.values() if s.enters is None)
