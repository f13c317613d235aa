"""Failures: the same properties with one thing broken.

For each piece of equipment that a file declares, every safety property must still hold,
and no signal may show a more favorable aspect than it would with nothing broken. The
docstrings are what ``clearproof explain NAME`` prints; which things may break, and how, is
in :mod:`verifier.plan.wiring.faults`.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace

from verifier.logic.expr import Expr, atom, conjunction, disjunction
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import Observable
from verifier.plan.wiring.faults import Fault, FaultKind
from verifier.properties.obligation import Obligation

# What the colors a signal is told to show are called is a question of its rules, not of
# what may break; stopping distances are not a question of a moment.
_NOT_ASKED = ("aspect-not-listed", "aspect-ambiguous", "stopping-distance", "train-hidden")


def lamp_out(plan: Plan) -> Iterator[Obligation]:
    """With any one lamp, or one whole head, dark, every safety property still holds, and no
    signal shows a more favorable aspect than intended.

    What the lit heads look like counts: dark over green looks like a lone green. A signal
    with a dark head is also taken for the most restrictive aspect by whoever sees it, so the
    one before it must not have promised more. `when lamp out shows red` on the driver makes
    the other heads of the signal fall to red.
    """
    return _one_broken(plan, "lamp-out")


def wire_broken(plan: Plan) -> Iterator[Obligation]:
    """With any one wire open, every safety property still holds: from a detector or a
    contact to a driver, to a feeder, along a district, the power wire of a detector, driver or
    switch machine, a common return.

    An output that is closed when its block is clear reads occupied through a broken wire
    (closed circuit); one closed when occupied reads clear. Stock beside a broken feeder
    draws through the other feeders of its block.
    """
    return _one_broken(plan, "wire-broken")


def supply_lost(plan: Plan) -> Iterator[Obligation]:
    """With any one supply off, every safety property still holds.

    Without track power stock draws no current, so that a current-sensing detector reads
    clear over it, unless it is made to read occupied (`without track power reads occupied`).
    A driver without supply leaves its heads dark.
    """
    return _one_broken(plan, "supply-lost")


def gap_bridged(plan: Plan) -> Iterator[Obligation]:
    """With any one gap conducting, every safety property still holds.

    Stock beside a bridged gap draws through the feeders of both blocks. Where the file gives
    track voltage, wheelsets and sensitivity, and a tenth of the current is still enough for
    the detectors on both sides, both see it; otherwise it may be seen on either side alone.
    """
    return _one_broken(plan, "gap-bridged")


def points_stalled(plan: Plan) -> Iterator[Obligation]:
    """With a switch machine that stops between its ends, or does not obey, every safety
    property still holds.

    Contacts on the points tell where they lie; without any, what is reported is what the
    machine was told to do.
    """
    return _one_broken(plan, "points-stalled")


def report_stuck(plan: Plan) -> Iterator[Obligation]:
    """What happens when a detector keeps saying the same, or a contact stays as it is. Advice:
    nothing that relies on detectors alone survives it. Try every detector and contact with a
    train before relying on it, and again from time to time."""
    return _one_broken(plan, "report-stuck")


def _one_broken(plan: Plan, name: str) -> Iterator[Obligation]:
    """One obligation of this property for each fault. Its formula says that the fault is
    present; what must then never come about is added by :func:`with_harm`."""
    for fault in plan.equipment.faults:
        if fault.kind.property_name == name:
            yield Obligation(
                name,
                (fault.name,),
                broken(fault.what),
                f"{fault_words(fault)} lets a signal show more than it should",
                (fault.span,),
                advice=name == "report-stuck",
            )


def broken(what: Observable) -> Expr:
    return atom(what, *what.values[1:])


def fault_words(fault: Fault, state: str | None = None) -> str:
    """``feeder m1 is broken``; without a state, whichever way it can break."""
    match fault.kind:
        case FaultKind.DETECTOR | FaultKind.CONTACT:
            return f"{fault.name} is {state or 'stuck'}"
        case FaultKind.MACHINE:
            return f"{fault.name} {state or ' or '.join(fault.ways)}"
        case FaultKind.GAP:  # how current then flows does not matter here
            return f"{fault.name} is {state or 'bridged'}"
        case _:
            return f"{fault.name} is {state or ' or '.join(fault.ways)}"


def harms(plan: Plan, safety: Iterable[Obligation]) -> Iterator[Obligation]:
    """What must not come about with something broken: each safety property, and a more
    favorable aspect than with nothing broken."""
    for obligation in safety:
        asked = obligation.property not in _NOT_ASKED and obligation.signals
        if obligation.mode == "never" and asked and not obligation.advice:
            yield obligation
    for signal in plan.signals.values():
        yield Obligation(
            "more-favorable",
            (signal.name,),
            _compared(signal, plan, better=True),
            f"{signal.name} shows a more favorable aspect than with nothing broken",
            (signal.span,),
            (signal.name,),
            pieces=(signal.enters.piece,),
            place=signal.name,
        )


# What may go wrong just because points lie otherwise than told.
_OF_POINTS = ("proceed-over-open-points", "aspect-against-route", "crossover-ends-disagree")


def counts_against(harm: Obligation, fault: Fault, *, holds: bool = True) -> bool:
    """Whether a harm is asked about with this fault. ``holds``: with nothing broken it does
    not come about.

    Points that did not move as told may well let another signal clear than the one intended:
    that is no harm by itself, nor is what then happens at that signal anyway."""
    if not fault.moves_points:
        return True
    return harm.property != "more-favorable" and (holds or harm.property in _OF_POINTS)


def more_restrictive(signal: Signal, plan: Plan) -> Expr:
    """The signal shows a more restrictive aspect than with nothing broken."""
    return _compared(signal, plan, better=False)


def _compared(signal: Signal, plan: Plan, *, better: bool) -> Expr:
    rank = {a.name: a.indication.rank for a in plan.chart.aspects}
    ranks = {value: rank.get(value, 0) for value in signal.reading.values}
    ways = []
    for value in signal.reading.values:
        other = {
            v for v in ranks if (ranks[v] < ranks[value] if better else ranks[v] > ranks[value])
        }
        ways.append(conjunction(atom(signal.reading, value), atom(signal.sound_reading, *other)))
    return disjunction(*ways)


# Which harm of a kind of fault says most, where it does several.
_TELLING = {
    FaultKind.MACHINE: "proceed-over-open-points",
    FaultKind.LAMP: "aspect-against-route",
    FaultKind.HEAD: "aspect-against-route",
}


def told_first(
    fault: Fault, done: Sequence[Obligation], unproved: Collection[str] = ()
) -> Obligation:
    """Of the harms a fault does, the one that says most; else the first of the catalog. What
    holds with nothing broken comes before what does not (``unproved``)."""
    kind = FaultKind.MACHINE if fault.moves_points else fault.kind
    new = [harm for harm in done if harm.key not in unproved] or done
    return next((h for h in new if h.property == _TELLING.get(kind)), new[0])


def with_harm(asked: Obligation, fault: Fault, harm: Obligation) -> Obligation:
    """The obligation of a fault, told by a harm it does."""
    return replace(
        asked,
        formula=conjunction(broken(fault.what), harm.formula),
        trouble=f"when {fault_words(fault)}, {harm.trouble}",
        spans=(*asked.spans, *harm.spans[:1]),
        signals=harm.signals,
        routes=harm.routes,
        pieces=harm.pieces,
        place=harm.place,
        hint=_HINTS[fault.kind],
    )


def with_harms(asked: Obligation, fault: Fault, done: Sequence[Obligation]) -> Obligation:
    """The same with all the harm that the fault does: what a mending must do away with."""
    signals = dict.fromkeys((*asked.signals, *(name for harm in done for name in harm.signals)))
    formula = conjunction(broken(fault.what), disjunction(*(harm.formula for harm in done)))
    return replace(asked, formula=formula, signals=tuple(signals))


_LAMP = "Let one driver light all heads of the signal and see to it: `when lamp out shows red`."
_INPUT = (
    "Sense the other way round (`output closed when clear`), give a turnout contacts for both "
    "ways, and let signals that must agree read the same inputs."
)
_STUCK = "Test detectors and contacts with a train, and watch for reports that never change."
_HINTS = {
    FaultKind.LAMP: _LAMP,
    FaultKind.HEAD: _LAMP,
    FaultKind.FEEDER: "Give the block at least two feeders, and lead every one of them through "
    "its detector.",
    FaultKind.BUS: "Make the detectors of that district read occupied when it has no track power: "
    "`without track power reads occupied`.",
    FaultKind.POWER_WIRE: "Let one driver light all heads of a signal; sense closed when clear; "
    "give a turnout contacts for both ways.",
    FaultKind.COMMON_RETURN: "Sense closed when clear, so that an input without its return reads "
    "occupied.",
    FaultKind.DETECTOR_WIRE: _INPUT,
    FaultKind.CONTACT_WIRE: _INPUT,
    FaultKind.SUPPLY: "Make detectors read occupied when their track has no power (`without track "
    "power reads occupied`), and sense closed when clear.",
    FaultKind.GAP: "Say what wheelsets draw (`trains … wheelsets`) and the `sensitivity` of the "
    "detectors; then take more turns through the detector or a more sensitive one, so that a "
    "tenth of the current is enough; or read the block beyond the gap as well.",
    FaultKind.MACHINE: "Give the turnout contacts at the points for both ways: `contacts normal, "
    "reverse`.",
    FaultKind.DETECTOR: _STUCK,
    FaultKind.CONTACT: _STUCK,
}
