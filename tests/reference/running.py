"""Histories for tests, one step after another on the stepper: what is chosen is given in words
(``"entry West"``, ``"button Go=pressed"``), and the state can be set by hand in between."""

from collections.abc import Sequence

import verifier
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.reference.step import Stepper
from verifier.reference.transition import Valuation


class Course:
    """A history as far as it has come: the state now, and what was seen at the last step."""

    def __init__(self, plan: Plan, *, lossy: bool = False):
        self.plan = plan
        self.stepper = Stepper(plan, lossy=lossy)
        self.now: dict[Observable, str] = {what: what.usual for what in self.stepper.states}
        self.last: Valuation = {}
        self.wrecked: frozenset[str] = frozenset()
        self.trace: list[Valuation] = []
        self._named: dict[tuple[str, str], Observable] = {
            (what.kind, what.name): what for what in (*self.stepper.states, *self.stepper.choices)
        }

    def copy(self) -> "Course":
        other = Course(self.plan)
        other.now = dict(self.now)
        return other

    def go(self, *chosen: str) -> None:
        """One step."""
        moment = {**self.now, **{what: what.usual for what in self.stepper.choices}}
        called = {f"{kind} {name}": what for (kind, name), what in self._named.items()}
        for words in chosen:
            what, _, value = words.partition("=")
            moment[called[what]] = value or "yes"
        step = self.stepper.step(moment, wrecked=self.wrecked)
        self.wrecked = step.wrecked
        self.trace.append(moment)
        self.last, self.now = step.observed, dict(step.successor)

    # -------------------------------------------------------------- by hand

    def put(self, piece: str, heading: str, spans: Sequence[str] = ()) -> None:
        """A train onto a piece of track, that came in by the end ``heading``."""
        self._set("train", piece, "occupied")
        self._set("heading", piece, heading)
        for joint in spans:
            self._set("across", joint, "spanned")

    def set_pace(self, piece: str, pace: str) -> None:
        self._set("pace", piece, pace)

    def take(self, piece: str) -> None:
        self._set("train", piece, "vacant")

    def points(self, lie: str) -> None:
        """T1 lies so and was told so (normal, where it lies open)."""
        self._set("points", "T1", lie)
        self._set("thrown", "T1", "normal" if lie == "open" else lie)

    def _set(self, kind: str, name: str, value: str) -> None:
        what = self._named[kind, name]
        assert what in self.now and value in what.values
        self.now[what] = value

    # -------------------------------------------------------------- what came of it

    def state(self, kind: str, name: str) -> str:
        return self.now[self._named[kind, name]]

    def heading(self, piece: str) -> str:
        return self.state("heading", piece)

    def is_on(self, piece: str) -> bool:
        return piece in self.on

    def spans(self, joint: str) -> bool:
        return joint in self.spanned

    @property
    def on(self) -> set[str]:
        return {w.name for w, v in self.now.items() if w.kind == "train" and v == "occupied"}

    @property
    def spanned(self) -> set[str]:
        return {w.name for w, v in self.now.items() if w.kind == "across" and v == "spanned"}

    @property
    def events(self) -> set[str]:
        """What happened at the last step."""
        kinds = ("points move", "trains meet", "train derails", "lock released", "traffic turns")
        return {
            f"{w.kind} {w.name}" for w, v in self.last.items() if w.kind in kinds and v == "yes"
        }

    def seen(self, kind: str, name: str) -> str:
        """What something was at the last step."""
        return next(v for w, v in self.last.items() if (w.kind, w.name) == (kind, name))


# One switch. Every joint by its name, as the stepper calls it.
IN_WEST, TO_MAIN = "West end to Main left", "Main right to T1 normal"
IN_YARD, TO_YARD = "Yard end to Siding left", "Siding right to T1 reverse"
TO_SINGLE, OUT = "T1 points to Single left", "Single right to Quarry end"

SWITCH = """
edge West, Yard, Quarry
block Main, Siding, Switch, Single
button Go-L, Go-M
turnout T1 in Switch {throw}
track West = Main   | normal  T1 | Single = Quarry
track Yard = Siding | reverse T1
signal 4L at Single | T1 heads upper, lower
  Clear when Go-L pressed and T1 normal
  Stop otherwise
signal 4RA at Main | T1
  Clear when Go-M pressed
  Stop otherwise
signal 4RB at Siding | T1
  Stop otherwise
"""


def junction(more: str = "", throw: str = "") -> Course:
    return Course(verifier.load_text(SWITCH.format(throw=throw) + more))


def line(more: str) -> Course:
    """Three blocks in a row with no signals at all."""
    return Course(verifier.load_text(
        "edge West, East\nblock A, B, C\nbutton Go, Hold\ntrack West = A | B | C = East\n" + more
    ))  # fmt: skip


A_B, B_C = "A right to B left", "B right to C left"
