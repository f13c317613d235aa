"""The commands, and places of stock, that conditions depend on, worked out directly from the plan.

Part of the reference. In: a plan, conditions and the commands there are. Out: those of them that
the conditions read, be it through reports, named conditions or the rules of signals.
"""

from collections.abc import Iterable, Iterator

from verifier.plan.model import Plan, Signal
from verifier.plan.observables import Assumed, Observable, facts_in

# Where stock stands or seems to stand, and how current flows: reports of blocks depend on that.
# All reports, and lamps, may depend on whether what is broken works.
_OF_DETECTION = ("standing", "current", "share", "blip")
_OF_A_HEAD = ("color", "lens")


def commands_read(
    plan: Plan, conditions: Iterable[Assumed], commands: Iterable[Observable]
) -> Iterator[Observable]:
    """The commands, in the order given, that some of the conditions depend on."""
    read: set[tuple[str, str]] = set()
    waiting: list[Assumed] = list(conditions)
    seen = set[str]()
    while waiting:
        for fact in facts_in(waiting.pop()):
            what = fact.what
            read.add((what.kind, what.name))
            if what.kind == "condition" and what.name not in seen:
                seen.add(what.name)
                waiting.append(plan.conditions[what.name].condition)
            signal = _signal(plan, what)
            if signal is not None and signal.name not in seen:
                seen.add(signal.name)
                waiting += signal.conditions
    of_blocks = any(kind == "block report" for kind, _ in read)
    return (
        what for what in commands
        if (what.kind, what.name) in read or (of_blocks and what.kind in _OF_DETECTION)
        or (read and what.kind == "works")
    )  # fmt: skip


def _signal(plan: Plan, what: Observable) -> Signal | None:
    """The signal whose rules an aspect or a color follows from."""
    if what.kind in _OF_A_HEAD:
        heads = {head.name: signal for signal in plan.signals.values() for head in signal.heads}
        return heads.get(what.name)
    return plan.signals.get(what.name) if what.kind in ("aspect", "reading") else None
