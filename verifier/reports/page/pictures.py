"""Drawings in the report: of a plan, of a finding, of a history frame by frame.

In: scenes. Out: markup. Every cause about a drawn thing has a number, which stands in a
circle at that thing.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from verifier.drawing.overlay import Hatched, Mark, Overlay, changes
from verifier.drawing.svg.picture import SvgPicture, frames, pages, picture
from verifier.drawing.wiring.picture import wiring_pages
from verifier.plan.model import Plan
from verifier.plan.signals.heads import signal_of
from verifier.plan.situation import Situation
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import evaluate
from verifier.reports.page.markup import Child, Html, tag, trusted
from verifier.reports.scenes import Scene, moment_scenes, situation_scene
from verifier.sheets.sheet import PictureOf
from verifier.verdicts.causes import Cause
from verifier.verdicts.report import Finding, History, HistoryEvent

# A plan of more pieces is drawn around the place of a finding only.
SMALL = 24
# Strips of a long layout are as wide as a sheet of paper, laid on its side, holds.
SHEET_WIDTH = 1040
_SPECIAL = {"turnout": "points", "slip": "slip", "crossing": "crossing"}


@dataclass(frozen=True, slots=True)
class Frame:
    """One moment of a history, and what has happened since the frame before."""

    moment: int
    picture: SvgPicture
    events: Mapping[int, HistoryEvent]


def figure(drawn: SvgPicture, *caption: Child, **attributes: str) -> Html:
    """A drawing with what is written below it. The style of drawings stands in the head of the
    report, once."""
    return tag(
        "figure",
        trusted(drawn.unstyled.strip()),
        tag("figcaption", *caption) if caption else None,
        **attributes,
    )


def wiring_pictures(plan: Plan) -> Iterator[Html]:
    """The wiring diagram, each page on a sheet of its own where it is printed."""
    for page in wiring_pages(plan):
        yield tag("figure", trusted(page.unstyled.strip()), class_="wiring")


def plan_pictures(plan: Plan, prefix: str, shown: PictureOf | None = None) -> Iterator[Html]:
    """The whole plan, in strips where it is long; or as a sheet wants it."""
    wanted = Overlay(
        gaps=shown is not None and "gaps" in shown.shown,
        feeders=shown is not None and "feeders" in shown.shown,
        detectors=shown is not None and "detectors" in shown.shown,
    )
    if shown is not None and shown.pieces:
        yield figure(picture(plan, around=shown.pieces, prefix=prefix, overlay=wanted))
        return
    strips = pages(plan, width=SHEET_WIDTH, prefix=prefix, overlay=wanted)
    for number, strip in enumerate(strips, start=1):
        yield figure(strip, *([f"Strip {number} of {len(strips)}"] if len(strips) > 1 else []))


def situation_picture(
    finding: Finding, obligation: Obligation, plan: Plan, numbers: "Numbers", prefix: str
) -> SvgPicture:
    """The situation of a finding: what does not matter in grey, conflicting routes hatched, a ring
    where they meet, causes numbered."""
    scene = situation_scene(finding, obligation, plan)
    return picture(
        scene.plan,
        scene.seen,
        scene.telling,
        around=_around(scene),
        prefix=prefix,
        overlay=Overlay(
            marks=(*_meeting(obligation), *numbers.marks), hatched=_hatched(obligation)
        ),
    )


def history_pictures(
    story: History, obligation: Obligation, plan: Plan, prefix: str
) -> Iterator[Frame]:
    """The moments of a history at which something new is to be seen, what has changed since the
    one before marked."""
    told = list(moment_scenes(story, obligation, plan))
    scenes = [one.scene for one in told]
    first = scenes[0]
    marks: list[Sequence[Mark]] = [()]
    for before, now in pairwise(scenes):
        marks.append(tuple(changes(now.plan, before.seen, now.seen)))
    made = frames(
        first.plan,
        [scene.seen for scene in scenes],
        first.telling,
        around=_around(first),
        prefix=prefix,
        marks=marks,
    )
    for one, drawn in zip(told, made, strict=True):
        yield Frame(one.moment, drawn, one.events)


def pose_pictures(
    plan: Plan, situations: Sequence[Situation], prefix: str
) -> tuple[SvgPicture, ...]:
    """The layout in one situation after the other, all on one layout."""
    return frames(plan, [evaluate(plan, situation) for situation in situations], prefix=prefix)


def _around(scene: Scene) -> tuple[str, ...]:
    return scene.around if len(scene.plan.track.pieces) > SMALL else ()


def _hatched(obligation: Obligation) -> tuple[Hatched, ...]:
    if len(obligation.routes) != 2 or obligation.mode != "never":
        return ()
    one, other = obligation.routes
    return Hatched(one.name, one.moves, "rising"), Hatched(other.name, other.moves, "falling")


def _meeting(obligation: Obligation) -> tuple[Mark, ...]:
    """A ring at the place where two routes meet."""
    if len(obligation.routes) != 2 or obligation.mode != "never":
        return ()
    return tuple(Mark("piece", piece, "conflict") for piece in obligation.pieces[:1])


# ------------------------------------------------------------------ numbers


class Numbers:
    """The numbers of causes: one for each drawn thing that the chain names, in the order in
    which it is met."""

    def __init__(self, plan: Plan, causes: Sequence[Cause]):
        self._plan = plan
        self._of: dict[tuple[str, str], int] = {}
        for cause in causes:
            self._count(cause)

    def _count(self, cause: Cause) -> None:
        thing = self._thing(cause)
        if thing is not None:
            self._of.setdefault(thing, len(self._of) + 1)
        for inner in cause.because:
            self._count(inner)

    @property
    def marks(self) -> tuple[Mark, ...]:
        return tuple(Mark(kind, name, "cause", n) for (kind, name), n in self._of.items())

    def of(self, cause: Cause) -> int | None:
        thing = self._thing(cause)
        return None if thing is None else self._of.get(thing)

    def _thing(self, cause: Cause) -> tuple[str, str] | None:
        """What a cause is about, as drawings call it; None where they do not show it."""
        plan, name = self._plan, cause.subject.name
        match cause.subject.kind:
            case "head":
                return "signal", signal_of(name, plan.signals)
            case "points":
                return _SPECIAL[plan.track.pieces[name].kind], name
            case "signal" | "block" | "derail" | "gate" as kind:
                return kind, name
            case "gate report":
                return "gate", name
            case _:
                return None
