"""What to observe in each step of a test card, and the fingerprint of the card.

In: a card. Out: observation points, each of the signals that must show the same colors or of the
turnouts, derails and gates that must lie alike; a fingerprint that only cards with the same steps
share. The sheet prints the observation points, and results are read back by them.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256

from verifier.diagnosis.bench import Colors
from verifier.testcard.card_model import Card, CardStep


@dataclass(frozen=True, slots=True)
class ObservationPoint:
    """``expected``: for each signal, the colors that it may show, top to bottom; with ``turnouts``,
    for each turnout, slip, derail or gate, how it must lie."""

    expected: tuple[tuple[str, frozenset[Colors]], ...]
    turnouts: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(name for name, _ in self.expected)

    @property
    def at(self) -> str:
        """The names as the card prints them."""
        return ", ".join(self.names)

    @property
    def all_red(self) -> bool:
        """Whether every head of every signal must be red."""
        return not self.turnouts and all(_is_red(colors) for _, colors in self.expected)


def observation_points(step: CardStep) -> tuple[ObservationPoint, ...]:
    """The observation points of a step. Signals that are all red come last."""
    together: dict[object, list[tuple[str, frozenset[Colors]]]] = {}
    for signal, colors in step.colors.items():
        key = "red" if _is_red(colors) else colors
        together.setdefault(key, []).append((signal, colors))
    red = together.pop("red", [])
    lying: dict[str, list[tuple[str, frozenset[Colors]]]] = {}
    for turnout, state in step.lies.items():
        lying.setdefault(state, []).append((turnout, frozenset({(state,)})))
    signals = [*together.values(), *([red] if red else [])]
    return (
        *(ObservationPoint(tuple(expected)) for expected in signals),
        *(ObservationPoint(tuple(expected), True) for expected in lying.values()),
    )


def _is_red(colors: frozenset[Colors]) -> bool:
    return all(color == "red" for shown in colors for color in shown)


def fingerprint(card: Card) -> str:
    """Eight digits, such as `7F3A-91C2`, of the card's steps and the faults that it finds."""
    digits = sha256("\n".join(_lines(card)).encode()).hexdigest().upper()
    return f"{digits[:4]}-{digits[4:8]}"


def _lines(card: Card) -> Iterator[str]:
    for step in card.steps:
        yield f"{step.number}: {'; '.join(act.text for act in step.instructions)}"
        for point in observation_points(step):
            for name, colors in point.expected:
                yield f"{name}: {sorted(colors)}"
    yield from (found.fault.text for found in card.found)
    yield from (unseen.what.text for unseen in card.unseen)
