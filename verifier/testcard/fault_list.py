"""The faults that a test card detects: every single fault and wiring mistake, in each state.

In: a bench. Out: the faults, whether a step surely shows a fault, and the same as an expression for
the solver. A step shows a fault if a signal then has colors that it cannot have without it, or if a
turnout, slip, derail or gate does not lie as commanded.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from verifier.diagnosis.bench import Bench, Colors, Moment, Setup
from verifier.diagnosis.equivalence import differing
from verifier.diagnosis.suspects import LEAVES, Suspect
from verifier.explain.state_text import flow_words
from verifier.logic.expr import TRUE, Expr, atom
from verifier.testcard.lock_mistakes import LockMistake, lock_mistakes


@dataclass(frozen=True, slots=True, eq=False)
class CardFault:
    """A suspect in one state. ``stuck``: what is thrown and how it lies for good, where that is how
    the suspect is found, as its machine has no power. ``slip``: what is otherwise in what locks
    and remembers; nothing is then wrong with the wiring."""

    suspect: Suspect
    text: str
    group: tuple[Suspect, ...]
    stuck: tuple[str, str] | None = None
    slip: LockMistake | None = None


def card_faults(bench: Bench) -> Iterator[CardFault]:
    """Every single fault. One that may change from moment to moment occurs once for each of its
    states."""
    for suspect in bench.suspects:
        if len(suspect.states) < 2:
            yield CardFault(suspect, suspect.text, (suspect,))
            continue
        for state in suspect.states:
            how = flow_words(bench.plan, state)
            one = replace(suspect, states=(state,))
            yield CardFault(suspect, f"{suspect.text} ({how})", (one,))


def lock_slips(bench: Bench) -> Iterator[CardFault]:
    """Every slip in what locks and remembers."""
    for slip in lock_mistakes(bench.given):
        suspect = Suspect("lock built otherwise", slip.text, slip.span)
        yield CardFault(suspect, slip.text, (), slip=slip)


def without_power(bench: Bench, fault: CardFault) -> tuple[CardFault, ...]:
    """The two positions in which the first turnout, slip, derail or gate is stuck whose machine
    loses its power; nothing if none does."""
    for name in bench.unpowered_by(fault.suspect):
        return tuple(
            CardFault(fault.suspect, f"{fault.text} ({name} lies {state} for good)",
                  fault.group, (name, state))
            for state in bench.positions(name)
        )  # fmt: skip
    return ()


def is_left_open(bench: Bench, fault: CardFault) -> bool:
    """Whether with a feeder past its detector all may look as without, in every step: current that
    divides may flow through each detector as if the feeder were not missed."""
    mistake = fault.suspect.mistake
    if mistake is None or not fault.suspect.divides_current:
        return False
    wired = bench.wired(fault.group)
    one, feeder, *swapped = mistake.about
    losing = [(one, feeder)]
    if swapped:
        losing.append((swapped[0], swapped[1]))
    blocks = {wired.wiring.feeders[lost].block for _, lost in losing}
    divisions = wired.equipment.divisions
    if any((name, wired.wiring.feeders[lost].block) not in divisions for name, lost in losing):
        return False
    concerned = [d for d in divisions.values() if d.block in blocks]
    watches = {d.name: d.block for d in wired.wiring.detectors.values()}
    return not any(d.never or (d.surely and watches[d.detector] != d.block) for d in concerned)


def sound_colors(bench: Bench, setup: Setup) -> dict[str, frozenset[Colors]]:
    """The colors that each signal may show without faults."""
    truths = [moment.truth for moment in bench.moments(setup, ())]
    return {
        signal: frozenset(bench.shows(Moment(truth, ()), signal) for truth in truths)
        for signal in bench.plan.signals
    }


def shown_at(
    bench: Bench, setup: Setup, fault: CardFault, sound: dict[str, frozenset[Colors]]
) -> str | None:
    """The signal, or what is thrown, at which a step surely shows a fault; None if it may not
    show."""
    found = thrown_shows(setup, fault)
    if found is not None or fault.suspect.trouble or fault.stuck:
        return found
    # A mistake may let current divide otherwise.
    mistakes = tuple(s for s in fault.group if s.mistake is not None)
    truths = [moment.truth for moment in bench.moments(setup, mistakes)]
    for signal, usual in sound.items():
        if usual.isdisjoint(bench.shows(Moment(truth, fault.group), signal) for truth in truths):
            return signal
    return None


def thrown_shows(setup: Setup, fault: CardFault) -> str | None:
    """The turnout, slip, derail or gate that does not lie as commanded because of a fault."""
    if fault.stuck is not None:
        name, lies = fault.stuck
    elif fault.suspect.trouble is not None:
        name, does = fault.suspect.trouble
        lies = LEAVES.get(does, does)  # `stops` and `other way` show whatever the command
    else:
        return None
    return name if dict(setup.told).get(name, lies) != lies else None


def to_be_seen(bench: Bench, fault: CardFault) -> Expr:
    """When a fault shows, over the inputs of the bench's plan.

    Raises :class:`InputError` if the rules are cyclic with the fault."""
    if fault.stuck is not None:
        name, lies = fault.stuck
        return atom(bench.lies(name), *(p for p in bench.positions(name) if p != lies))
    if fault.suspect.trouble is not None:
        name, does = fault.suspect.trouble
        others = [lies for lies in bench.positions(name) if lies != LEAVES.get(does)]
        return TRUE if len(others) == 2 else atom(bench.lies(name), *others)
    return differing(bench, (), fault.group, surely=True)
