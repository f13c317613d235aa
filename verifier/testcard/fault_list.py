"""What a test card is to find: every single fault and wiring mistake, in each of its states.

In: a bench. Out: each thing that may be wrong, whether a step shows it for certain, and the
same as an expression for the solver. A step shows it where some signal then has colors that it
cannot have with nothing wrong, or some turnout lies otherwise than it was told.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from verifier.diagnosis.alike import differing
from verifier.diagnosis.bench import Bench, Colors, Moment, Setup
from verifier.diagnosis.suspects import LEAVES, Suspect
from verifier.explain.state_text import flow_words
from verifier.logic.expr import TRUE, Expr, atom
from verifier.plan import observables


@dataclass(frozen=True, slots=True, eq=False)
class CardFault:
    """A suspect in one state. ``stuck``: a turnout and how it lies for good, where that is how
    the suspect is found, as its machine has no power."""

    suspect: Suspect
    text: str
    group: tuple[Suspect, ...]
    stuck: tuple[str, str] | None = None


def wrongs(bench: Bench) -> Iterator[CardFault]:
    """Every single thing that may be wrong. What may change from moment to moment is here
    once for each of its states."""
    for suspect in bench.suspects:
        if len(suspect.states) < 2:
            yield CardFault(suspect, suspect.text, (suspect,))
            continue
        for state in suspect.states:
            how = flow_words(bench.plan, state)
            one = replace(suspect, states=(state,))
            yield CardFault(suspect, f"{suspect.text} ({how})", (one,))


def without_power(bench: Bench, wrong: CardFault) -> tuple[CardFault, ...]:
    """The two ways in which the first turnout lies for good whose machine loses its power;
    nothing where none does."""
    for turnout in bench.unpowered_by(wrong.suspect):
        return tuple(
            CardFault(wrong.suspect, f"{wrong.text} ({turnout} lies {state} for good)",
                  wrong.group, (turnout, state))
            for state in ("normal", "reverse")
        )  # fmt: skip
    return ()


def sound_colors(bench: Bench, setup: Setup) -> dict[str, frozenset[Colors]]:
    """By signal, what it may show with nothing wrong."""
    truths = [moment.truth for moment in bench.moments(setup, ())]
    return {
        signal: frozenset(bench.shows(Moment(truth, ()), signal) for truth in truths)
        for signal in bench.plan.signals
    }


def shown_at(
    bench: Bench, setup: Setup, wrong: CardFault, sound: dict[str, frozenset[Colors]]
) -> str | None:
    """The signal, or the turnout, at which a step shows that something is wrong, whatever else
    is left open; None where it may not show."""
    found = turnout_shows(setup, wrong)
    if found is not None or wrong.suspect.trouble or wrong.stuck:
        return found
    truths = [moment.truth for moment in bench.moments(setup, ())]
    for signal, usual in sound.items():
        if usual.isdisjoint(bench.shows(Moment(truth, wrong.group), signal) for truth in truths):
            return signal
    return None


def turnout_shows(setup: Setup, wrong: CardFault) -> str | None:
    """A turnout that lies otherwise than told."""
    if wrong.stuck is not None:
        turnout, lies = wrong.stuck
    elif wrong.suspect.trouble is not None:
        turnout, does = wrong.suspect.trouble
        lies = LEAVES.get(does, does)  # `stops` and `other way` show whatever it is told
    else:
        return None
    return turnout if dict(setup.told).get(turnout, lies) != lies else None


def to_be_seen(bench: Bench, wrong: CardFault) -> Expr:
    """When something wrong shows, over the inputs of the bench's plan.

    Raises :class:`InputError` where with it the rules go round in a circle."""
    if wrong.stuck is not None:
        turnout, lies = wrong.stuck
        other = "reverse" if lies == "normal" else "normal"
        return atom(observables.points(turnout), other)
    if wrong.suspect.trouble is not None:
        turnout, does = wrong.suspect.trouble
        others = [lies for lies in ("normal", "reverse") if lies != LEAVES.get(does)]
        return TRUE if len(others) == 2 else atom(observables.points(turnout), *others)
    return differing(bench, (), wrong.group)
