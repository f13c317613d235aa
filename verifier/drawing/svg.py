"""The drawing of a plan as SVG: ink on paper, after the manner of a signal engineer's plan.

Input: a plan and, where wanted, what is seen of it in one situation. Output: whole `<svg>`
elements without scripts. Each element of the plan is a group of its own with an id that never
changes, `data-kind` and `data-name`, and `data-state` where its state is told, so that pages
find it and follow it. Colors are custom properties (`--ink`, `--paper`, `--lens-green`, …).
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from html import escape

from verifier.drawing.callouts import call_outs, hatching
from verifier.drawing.names import element_id
from verifier.drawing.overlay import PLAIN, Hatched, Mark, Shown
from verifier.drawing.placed_layout import PlacedLayout, place_layout, strips
from verifier.drawing.svg_ink import Drafter
from verifier.drawing.svg_metrics import Reserved
from verifier.drawing.template import STYLE
from verifier.drawing.view import View
from verifier.drawing.window import around as pieces_around
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.reference.evaluator import Seen

__all__ = [
    "PLAIN", "Hatched", "Mark", "Shown", "SvgPicture", "element_id", "frames", "pages", "picture",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class SvgPicture:
    """One drawing. ``svg``: the whole element, well-formed by itself, to be inlined or written
    to a file. ``width`` and ``height``: its natural size in CSS pixels. ``text``: what it shows,
    in a sentence."""

    svg: str
    width: int
    height: int
    text: str


def picture(
    plan: Plan,
    seen: Seen | None = None,
    relevant: Collection[Observable] | None = None,
    *,
    around: Collection[str] = (),
    prefix: str = "",
    shown: Shown = PLAIN,
) -> SvgPicture:
    """The plan in one drawing, with stock, points and aspects where ``seen`` is given.

    ``relevant``: what matters; all else is grey, and no state is told of it. None: all matters.
    ``around``: pieces of track to zoom to. ``prefix``: put before every id, so that several
    drawings may stand on one page. All situations of one plan are drawn on the same layout.
    """
    laid = place_layout(plan, _pieces(plan, around), _wanted(shown, seen is not None))
    return _inked(laid, View(plan, seen, relevant), prefix, shown)


def frames(
    plan: Plan,
    moments: Sequence[Seen],
    relevant: Collection[Observable] | None = None,
    *,
    around: Collection[str] = (),
    prefix: str = "",
    shown: Shown = PLAIN,
    marks: Sequence[Sequence[Mark]] = (),
) -> tuple[SvgPicture, ...]:
    """One drawing for each moment of a history, all of one size and on one layout, so that
    they lie over each other. Ids of frame ``n``, counted from 0, begin with ``prefix`` and
    ``n-``. ``marks``: further marks of each frame, such as what has changed."""
    laid = place_layout(plan, _pieces(plan, around), _wanted(shown, told=True))
    made = []
    for n, seen in enumerate(moments):
        own = tuple(marks[n]) if n < len(marks) else ()
        with_marks = Shown(
            shown.gaps, shown.feeders, shown.detectors, (*shown.marks, *own), shown.hatched
        )
        made.append(_inked(laid, View(plan, seen, relevant), f"{prefix}{n}-", with_marks))
    return tuple(made)


def pages(
    plan: Plan,
    seen: Seen | None = None,
    relevant: Collection[Observable] | None = None,
    *,
    width: int = 1000,
    prefix: str = "",
    shown: Shown = PLAIN,
) -> tuple[SvgPicture, ...]:
    """The plan as strips, each no wider than ``width`` where that can be, from left to right.
    Ids of strip ``n``, counted from 0, begin with ``prefix`` and ``n-``; of a plan that goes
    into one strip, with ``prefix`` alone."""
    view, wanted = View(plan, seen, relevant), _wanted(shown, seen is not None)
    boards = strips(plan, _pieces(plan, ()), wanted, width)
    if len(boards) == 1:
        return (_inked(boards[0], view, prefix, shown),)
    return tuple(_inked(laid, view, f"{prefix}{n}-", shown) for n, laid in enumerate(boards))


def _pieces(plan: Plan, around: Collection[str]) -> list[str]:
    wanted = [name for name in dict.fromkeys(around) if name in plan.track.pieces]
    if wanted:
        signals = frozenset(signal.joint.a for signal in plan.signals.values())
        return pieces_around(plan.track, wanted, signals)
    return list(dict.fromkeys(placed.piece for row in plan.track.rows for placed in row))


def _wanted(shown: Shown, told: bool) -> Reserved:
    return Reserved(told, shown.gaps, shown.feeders, shown.detectors)


def _inked(laid: PlacedLayout, view: View, prefix: str, shown: Shown) -> SvgPicture:
    drafter = Drafter(laid, view, prefix)
    groups = [*drafter.groups()]
    under = "".join(hatching(laid, shown.hatched))
    over = "".join(call_outs(laid, drafter.spots, shown.marks))
    frame, words = laid.frame, _sentence(view)
    x, y, wide, high = round(frame.x), round(frame.y), round(frame.width), round(frame.height)
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="cp-plan" viewBox="{x} {y} {wide} {high}" '
        f'width="{wide}" height="{high}" role="img"><title>{escape(words)}</title>{STYLE}\n'
        f'<rect class="paper" x="{x}" y="{y}" width="{wide}" height="{high}"/>\n'
        f"{under}{''.join(groups)}{over}</svg>\n"
    )
    return SvgPicture(svg, wide, high, words)


def _sentence(view: View) -> str:
    """What the drawing shows, in words."""
    plan = view.plan
    name = f"{plan.title}: track plan" if plan.title else "Track plan"
    if view.seen is None:
        return name
    told = [f"stock on {block}" for block in plan.blocks if view.occupied(block)]
    for piece in plan.track.pieces.values():
        position = view.position(piece)
        if position is not None and position != "normal":
            told.append(f"{piece.name} {position}")
    for signal in plan.signals.values():
        if view.speaks_of("signal", signal.name):
            told.append(view.signal(signal))
    return f"{name} with {', '.join(told)}" if told else name
