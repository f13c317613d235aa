"""What a drawing says of each thing in one situation, in words and states.

Input: the plan, what is seen in the situation (or nothing: the bare plan), and which
observables matter. A thing that does not matter is seen here as a bare plan has it.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from verifier.plan import observables
from verifier.plan.model import Piece, Plan, Signal
from verifier.plan.observables import UNLISTED, Observable
from verifier.plan.signals.colors import flashes, steady
from verifier.plan.track.build_track import moves_over
from verifier.plan.wiring.faults import FaultKind
from verifier.reference.evaluator import Seen

# What is said of a signal that is dark until a train comes.
_DARK = "dark"
_LETTERS = {
    "green": "G",
    "yellow": "Y",
    "red": "R",
    "lunar": "L",
    "white": "W",
    "dark": "-",
}


# What breaks about what is drawn of the wiring.
FAULT_OF = {"feeder": FaultKind.FEEDER, "detector": FaultKind.DETECTOR}


@dataclass(frozen=True, slots=True)
class View:
    plan: Plan
    seen: Seen | None
    relevant: Collection[Observable] | None

    def matters(self, *what: Observable) -> bool:
        return self._matters(*((one.kind, one.name) for one in what))

    def _matters(self, *what: tuple[str, str]) -> bool:
        """Whether any of these, each by kind and name, does."""
        return self.seen is not None and (
            self.relevant is None or any((one.kind, one.name) in what for one in self.relevant)
        )

    def state(self, what: Observable, *also: Observable) -> str | None:
        """The state of ``what`` where it matters, or where what is reported of it does."""
        if self.seen is None or not self.matters(what, *also):
            return None
        return self.seen.states.get(what)

    def occupied(self, block: str | None) -> bool:
        if block is None:
            return False
        if not self._matters(*_of_block(block)):
            return False
        return (
            self.seen is not None and self.seen.states.get(observables.stock(block)) == "occupied"
        )

    def position(self, piece: Piece) -> str | None:
        """How the points of a turnout or slip lie; None where there is nothing to say."""
        if piece.kind not in ("turnout", "slip"):
            return None
        if self.seen is None or not self._matters(*self._of_points(piece.name)):
            return None
        return self.seen.states.get(observables.points(piece.name))

    def _of_points(self, name: str) -> list[tuple[str, str]]:
        machine = self.plan.wiring.machines.get(name)
        lever = machine.lever if machine is not None and machine.motor else None
        about = [("points", name), ("points report", name), ("thrown", name), ("motion", name)]
        if machine is not None and machine.motor:
            stalled = self.plan.equipment.fault(FaultKind.MACHINE, name).what
            about.append((stalled.kind, stalled.name))
        return [*about, ("lever", lever)] if lever else about

    def draws(self, block: str) -> bool:
        """Whether what stands on a block is stock that draws current, as far as is known."""
        if self.seen is None:
            return True
        places = self.plan.equipment.places.get(block, ())
        standing = self.seen.states.get(observables.standing(block, ()))
        return all(place.draws for place in places if place.name == standing)

    def speaks_of(self, kind: str, name: str) -> bool:
        """Whether a thing matters, by the kind and name it has in a drawing; in a bare plan
        everything does."""
        if self.seen is None or self.relevant is None:
            return True
        match kind:
            case "block":
                return self._matters(*_of_block(name))
            case "points" | "slip":
                return self._matters(*self._of_points(name))
            case "crossing":
                return self.speaks_of("block", self.plan.track.pieces[name].block or "")
            case "signal":
                signal = self.plan.signals[name]
                heads = (("color", head.name) for head in signal.heads)
                return self._matters(("aspect", name), ("reading", name), *heads)
            case "derail" | "gate":
                return self._matters((kind, name), (f"{kind} report", name))
            case _:
                return self.matters(self.plan.equipment.fault(FAULT_OF[kind], name).what)

    def broken(self, kind: FaultKind, *names: str) -> str | None:
        """How a thing is broken; None where it is sound or nothing is said of it."""
        if self.seen is None:
            return None
        state = self.state(self.plan.equipment.fault(kind, *names).what)
        return state if state != "sound" else None

    def derail(self, name: str) -> str | None:
        return self.state(observables.derail(name), observables.derail_report(name))

    def gate(self, name: str) -> str | None:
        return self.state(observables.gate(name), observables.gate_report(name))

    def joined(self, piece: Piece, end: str) -> bool:
        """Whether rail leads on from this end of the piece. True for a bare plan."""
        position = self.position(piece)
        return position is None or any(
            move.enter == end and move.position in (None, position) for move in moves_over(piece)
        )

    def straight(self, piece: Piece) -> bool:
        """Whether the straight way over the piece is lined, or nothing is said of it."""
        return self.position(piece) in (None, "normal")

    def signal(self, signal: Signal) -> str:
        """``4L``, with its plate ``4L [N]``, and with its aspect ``4L [N] Clear G/R``."""
        name = f"{signal.name} {self.plate(signal)}" if signal.plate else signal.name
        if self.seen is None or not self.matters(
            signal.aspect, *(head.color for head in signal.heads)
        ):
            return name
        colors = "/".join(letter(color) for color in self.seen.colors(signal))
        return f"{name} {shown_word(self.seen, signal)} {colors}"

    def plate(self, signal: Signal) -> str:
        """The plate of a signal, ``[N]``; ``[-]`` where it is missing."""
        return "[-]" if self.broken(FaultKind.PLATE, signal.name) else f"[{plate_letter(signal)}]"

    def flashes(self, signal: Signal) -> bool:
        """Whether its text shows a flashing color."""
        told = self.seen is not None and self.matters(
            signal.aspect, *(head.color for head in signal.heads)
        )
        return told and self.seen is not None and any(map(flashes, self.seen.colors(signal)))

    def longest_signal(self, signal: Signal) -> int:
        """The length of the longest text that :meth:`signal` may give."""
        name = len(signal.name) + (4 if signal.plate else 0)
        if self.seen is None:
            return name
        aspects = max(map(len, shown_words(signal)))
        return name + 1 + aspects + 1 + 2 * len(signal.heads) - 1


def letter(color: str) -> str:
    """A head's color as a letter, ``*`` before it where it flashes."""
    mark = _LETTERS.get(steady(color), "?")
    return f"*{mark}" if flashes(color) else mark


def plate_letter(signal: Signal) -> str:
    """The plate of a signal as one letter: N of a number plate, L of a letter plate, M of a
    marker plate."""
    return signal.plate[:1].upper()


def shown_word(seen: Seen, signal: Signal) -> str:
    """What a signal shows, as a drawing writes it."""
    return _DARK if seen.unlit(signal) else _aspect_word(seen.aspect(signal))


def shown_words(signal: Signal) -> Iterator[str]:
    """All that a drawing may write so."""
    yield from map(_aspect_word, signal.aspect.values)
    if signal.lit is not None:
        yield _DARK


def _aspect_word(name: str) -> str:
    return "unlisted" if name == UNLISTED else name


def _of_block(block: str) -> tuple[tuple[str, str], ...]:
    return ("stock", block), ("standing", block), ("block report", block)
