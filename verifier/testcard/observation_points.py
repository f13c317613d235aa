"""What there is to look at in each step of a test card, and by which name the card goes.

In: a card. Out: looks, each at the signals that are to show one thing, or at the turnouts that are
to lie one way; a fingerprint that only cards with the same steps have in common. The sheet prints
these looks, and what is written beside them is read back by them.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256

from verifier.diagnosis.bench import Colors
from verifier.testcard.card import Card, CardStep


@dataclass(frozen=True, slots=True)
class ObservationPoint:
    """``must``: by signal, what it is to show, one of these, top to bottom; with ``turnouts``, by
    turnout, how it is to lie."""

    must: tuple[tuple[str, frozenset[Colors]], ...]
    turnouts: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(name for name, _ in self.must)

    @property
    def at(self) -> str:
        """What to look at, as the card has it."""
        return ", ".join(self.names)

    @property
    def all_red(self) -> bool:
        """Every head of every signal is to be red."""
        return not self.turnouts and all(_is_red(colors) for _, colors in self.must)


def observation_points(step: CardStep) -> tuple[ObservationPoint, ...]:
    """All there is to look at in a step: first what shows something else than red all over."""
    together: dict[object, list[tuple[str, frozenset[Colors]]]] = {}
    for signal, colors in step.colors:
        key = "red" if _is_red(colors) else colors
        together.setdefault(key, []).append((signal, colors))
    red = together.pop("red", [])
    lying: dict[str, list[tuple[str, frozenset[Colors]]]] = {}
    for turnout, state in step.lies:
        lying.setdefault(state, []).append((turnout, frozenset({(state,)})))
    signals = [*together.values(), *([red] if red else [])]
    return (
        *(ObservationPoint(tuple(must)) for must in signals),
        *(ObservationPoint(tuple(must), True) for must in lying.values()),
    )


def _is_red(colors: frozenset[Colors]) -> bool:
    return all(color == "red" for shown in colors for color in shown)


def fingerprint(card: Card) -> str:
    """Eight digits, as in `7F3A-91C2`, of what the card asks for and what may be found with it."""
    digits = sha256("\n".join(_said(card)).encode()).hexdigest().upper()
    return f"{digits[:4]}-{digits[4:8]}"


def _said(card: Card) -> Iterator[str]:
    for step in card.steps:
        yield f"{step.number}: {'; '.join(act.text for act in step.acts)}"
        for look in observation_points(step):
            for name, colors in look.must:
                yield f"{name}: {sorted(colors)}"
    yield from (found.wrong.text for found in card.found)
    yield from (unseen.what.text for unseen in card.unseen)
