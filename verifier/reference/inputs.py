"""What the rules of a head ask for, and what is wired to the inputs of its board."""

from collections.abc import Iterator

from verifier.plan.model import Plan
from verifier.plan.observables import REPORTED, Observable, at_reader
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.wiring_model import Driver
from verifier.reference.condition_eval import all_says


def asked_by(plan: Plan, head: str) -> Iterator[Observable]:
    """The observables that the rules of a head read, named conditions expanded."""
    signal = plan.signals[signal_of(head, plan.signals)]
    lines = signal.lines or next(h.lines for h in signal.heads if h.name == head)
    for line in lines:
        if line.when is not None:
            for says in all_says(line.when, plan):
                yield says.what


def heard_for(plan: Plan, head: str) -> Iterator[Observable]:
    """The same, and what tells of a train that lights the head."""
    yield from asked_by(plan, head)
    signal = plan.signals[signal_of(head, plan.signals)]
    if signal.lit is not None and any(h.name == head and h.approach for h in signal.heads):
        yield signal.lit.what


def heard(plan: Plan) -> Iterator[Observable]:
    """Every report that a board asks for, as its own inputs give it."""
    for driver in plan.wiring.drivers.values():
        asked = [what for head in driver.heads for what in heard_for(plan, head)]
        for name in driver.indicators:
            asked += (says.what for says in all_says(plan.indicators[name].when, plan))
        yield from (at_reader(what, driver.name) for what in asked if what.kind in REPORTED)


def is_read(driver: Driver, name: str, contacts: bool) -> bool:
    """Whether a detector, or the contacts of a turnout, are wired to a driver's inputs."""
    if driver.reads is None:
        return True
    return any(item.name == name and item.contacts == contacts for item in driver.reads)
