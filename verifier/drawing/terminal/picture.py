"""The drawing of a plan in the terminal.

Input: a plan and, where wanted, what is seen of it in one situation. Output: lines of
text, no wider than asked, with nothing drawn over anything else.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from verifier.drawing.terminal.panel import Panel, PanelDrawer
from verifier.drawing.view import View
from verifier.drawing.window import around
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.reference.evaluator import Seen

MANY = 24  # pieces in one picture, where the plan is larger
WHOLE = 60  # a plan of so few pieces is drawn whole if it is not too wide
CRAMPED = 4  # so few pieces may be drawn cramped, rather than fewer still


@dataclass(frozen=True, slots=True)
class TextPicture:
    """The lines of a drawing, and the kinds of marks used in it (for a legend).

    ``panels`` are its parts, one unless the plan was too wide for one."""

    lines: tuple[str, ...]
    used: frozenset[str]
    panels: tuple[Panel, ...]


def picture(
    plan: Plan,
    seen: Seen | None = None,
    *,
    focus: Collection[str] = (),
    ascii_only: bool = False,
    relevant: Collection[Observable] | None = None,
    width: int = 100,
) -> TextPicture:
    """The plan as lines of text, with stock, points and aspects where ``seen`` is given.

    ``focus``: pieces to draw around where the whole plan is too large for one picture.
    ``relevant``: what matters; all else is drawn as in a bare plan. None: all matters.
    ``width``: the most columns of a line.
    """
    view = View(plan, seen, relevant)
    easel = PanelDrawer(view, ascii_only, width)
    pieces = [name for row in plan.track.rows for name, _, _ in row]
    pieces = list(dict.fromkeys(pieces))
    wanted = [name for name in dict.fromkeys(focus) if name in plan.track.pieces]
    if len(pieces) <= (MANY if wanted else WHOLE) and (panel := easel.tight(pieces)):
        return _picture([panel])
    if wanted:
        signals = frozenset(signal.joint.a for signal in plan.signals.values())
        near = around(plan.track, wanted, signals)
        for many in _fewer(min(len(near), MANY), len(wanted)):
            if panel := easel.comfortable(near[:many]):
                return _picture([panel])
        if len(wanted) <= MANY and (panel := easel.tight(wanted)):
            return _picture([panel])
        pieces = wanted
    return _picture(_panels(easel, pieces))


def _fewer(most: int, least: int) -> list[int]:
    """Numbers of pieces to try, from many to few."""
    numbers = [most]
    while numbers[-1] > max(least, 1):
        numbers.append(max(least, 1, numbers[-1] * 3 // 4))
    return numbers


def _panels(easel: PanelDrawer, pieces: Sequence[str]) -> list[Panel]:
    """The pieces cut into as many pictures as it takes, from left to right."""
    left = easel.left_to_right(pieces)
    easel.drawn = tuple(left)
    panels = []
    while left:
        for many in _fewer(min(len(left), MANY), 1):
            part = left[:many]
            panel = easel.comfortable(part)
            if not panel and many <= CRAMPED:
                panel = easel.tight(part) if many > 1 else easel.clipped(part)
            if panel:
                panels.append(panel)
                left = left[many:]
                break
    return panels


def _picture(panels: Sequence[Panel]) -> TextPicture:
    lines: list[str] = []
    for panel in panels:
        lines += ["", *panel.lines] if lines else panel.lines
    used = frozenset[str]().union(*(panel.used for panel in panels))
    return TextPicture(tuple(lines), used, tuple(panels))
