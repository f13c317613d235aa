"""The drawing of a plan as SVG: ink on paper, after the manner of a signal engineer's plan.

Input: a plan and, where wanted, what is seen of it in one situation. Output: whole `<svg>`
elements without scripts. Each element of the plan is a group of its own with an id that never
changes, `data-kind` and `data-name`, and `data-state` where its state is told, so that pages
find it and follow it. Colors are custom properties (`--ink`, `--paper`, `--lens-green`, …).
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from html import escape

from verifier.drawing.overlay import NO_OVERLAY, Mark, Overlay
from verifier.drawing.svg.callouts import call_outs, hatching
from verifier.drawing.svg.ink import SvgRenderer
from verifier.drawing.svg.metrics import Reserved
from verifier.drawing.svg.placed_layout import PlacedLayout, place_layout, strips
from verifier.drawing.svg.template import STYLE
from verifier.drawing.view import View
from verifier.drawing.window import around as pieces_around
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.reference.evaluator import Seen


@dataclass(frozen=True, slots=True)
class SvgPicture:
    """One drawing: the start tag of its element with its title, and the rest of the element.
    ``width`` and ``height``: its natural size in CSS pixels. ``text``: what it shows, in a
    sentence."""

    opening: str
    content: str
    width: int
    height: int
    text: str

    @property
    def svg(self) -> str:
        """The whole element with its style sheet, to be written to a file."""
        return f"{self.opening}<style>{STYLE}</style>{self.content}"

    @property
    def unstyled(self) -> str:
        """The element for a page that has :data:`STYLE` in its own style sheet."""
        return f"{self.opening}{self.content}"


def picture(
    plan: Plan,
    seen: Seen | None = None,
    relevant: Collection[Observable] | None = None,
    *,
    around: Collection[str] = (),
    prefix: str = "",
    overlay: Overlay = NO_OVERLAY,
) -> SvgPicture:
    """The plan in one drawing, with stock, points and aspects where ``seen`` is given.

    ``relevant``: what matters; all else is grey, and no state is told of it. None: all matters.
    ``around``: pieces of track to zoom to. ``prefix``: put before every id, so that several
    drawings may stand on one page. All situations of one plan are drawn on the same layout.
    """
    laid = place_layout(plan, _pieces(plan, around), _wanted(overlay, seen is not None))
    return _inked(laid, View(plan, seen, relevant), prefix, overlay)


def frames(
    plan: Plan,
    moments: Sequence[Seen],
    relevant: Collection[Observable] | None = None,
    *,
    around: Collection[str] = (),
    prefix: str = "",
    overlay: Overlay = NO_OVERLAY,
    marks: Sequence[Sequence[Mark]] = (),
) -> tuple[SvgPicture, ...]:
    """One drawing for each moment of a history, all of one size and on one layout, so that
    they lie over each other. Ids of frame ``n``, counted from 0, begin with ``prefix`` and
    ``n-``. ``marks``: further marks of each frame, such as what has changed."""
    laid = place_layout(plan, _pieces(plan, around), _wanted(overlay, told=True))
    made = []
    for n, seen in enumerate(moments):
        own = tuple(marks[n]) if n < len(marks) else ()
        with_marks = replace(overlay, marks=(*overlay.marks, *own))
        made.append(_inked(laid, View(plan, seen, relevant), f"{prefix}{n}-", with_marks))
    return tuple(made)


def pages(
    plan: Plan,
    seen: Seen | None = None,
    relevant: Collection[Observable] | None = None,
    *,
    width: int = 1000,
    prefix: str = "",
    overlay: Overlay = NO_OVERLAY,
) -> tuple[SvgPicture, ...]:
    """The plan as strips, each no wider than ``width`` where that can be, from left to right.
    Ids of strip ``n``, counted from 0, begin with ``prefix`` and ``n-``; of a plan that goes
    into one strip, with ``prefix`` alone."""
    view, wanted = View(plan, seen, relevant), _wanted(overlay, seen is not None)
    boards = strips(plan, _pieces(plan, ()), wanted, width)
    if len(boards) == 1:
        return (_inked(boards[0], view, prefix, overlay),)
    return tuple(_inked(laid, view, f"{prefix}{n}-", overlay) for n, laid in enumerate(boards))


def _pieces(plan: Plan, around: Collection[str]) -> list[str]:
    wanted = [name for name in dict.fromkeys(around) if name in plan.track.pieces]
    if wanted:
        signals = frozenset(signal.joint.a for signal in plan.signals.values())
        return pieces_around(plan.track, wanted, signals)
    return list(dict.fromkeys(placed.piece for row in plan.track.rows for placed in row))


def _wanted(overlay: Overlay, told: bool) -> Reserved:
    return Reserved(told, overlay.gaps, overlay.feeders, overlay.detectors)


def _inked(laid: PlacedLayout, view: View, prefix: str, overlay: Overlay) -> SvgPicture:
    drafter = SvgRenderer(laid, view, prefix)
    groups = [*drafter.groups()]
    under = "".join(hatching(laid, overlay.hatched))
    over = "".join(call_outs(laid, drafter.spots, overlay.marks))
    frame, words = laid.frame, _sentence(view)
    x, y, wide, high = round(frame.x), round(frame.y), round(frame.width), round(frame.height)
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="cp-plan" viewBox="{x} {y} {wide} {high}" '
        f'width="{wide}" height="{high}" role="img"><title>{escape(words)}</title>'
    )
    content = (
        f'\n<rect class="paper" x="{x}" y="{y}" width="{wide}" height="{high}"/>\n'
        f"{under}{''.join(groups)}{over}</svg>\n"
    )
    return SvgPicture(opening, content, wide, high, words)


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
