"""Failures: every safety property with one fault present.

With any single fault in the equipment of a file, every safety property must still hold, and no
signal may show a more favorable aspect than without the fault. The faults are made in
:mod:`verifier.plan.wiring.faults`; ``clearproof explain NAME`` prints the docstrings.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace

from verifier.logic.expr import FALSE, Expr, atom, conjunction, disjunction
from verifier.plan.locking.locking_model import power_of
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import Condition, Not, Observable
from verifier.plan.wiring.derive_equipment import motion_of
from verifier.plan.wiring.faults import Fault, FaultKind
from verifier.plan.wiring.wiring_model import Machine
from verifier.properties.obligation import Obligation

# Not checked with faults: the names of colors depend on the rules alone, stopping distances on the
# track alone, and a detector that has failed hides trains by definition.
_FAULT_FREE_ONLY = ("aspect-not-listed", "aspect-ambiguous", "stopping-distance", "train-hidden")


def lamp_out(plan: Plan) -> Iterator[Obligation]:
    """With any one lamp or one whole head dark, every safety property still holds, and no signal
    shows a more favorable aspect than intended.

    The lit heads count as seen: dark over green looks like a lone green. An engineer may also
    read a signal with a dark head as the most restrictive aspect, so the signal before it must
    not promise more. With `when lamp out shows red`, the driver turns the other heads of the
    signal red.
    """
    return _for_each_fault(plan, "lamp-out")


def flasher_stopped(plan: Plan) -> Iterator[Obligation]:
    """With the flasher of any one driver stopped, every safety property still holds, and no
    signal shows a more favorable aspect than intended.

    A flasher stops with its lamps lit or with them dark. What should flash then shows steady, or
    the head is dark: a flashing color must not mean something more restrictive than the steady
    one, nor than what is left with the head dark. The heads of a driver have one flasher, and the
    driver does not notice that it has stopped.
    """
    return _for_each_fault(plan, "flasher-stopped")


def plate_missing(plan: Plan) -> Iterator[Obligation]:
    """With the plate of any one signal missing, every safety property still holds, and no signal
    shows a more favorable aspect than intended.

    Without its plate, a signal is read by its colors alone. So a plate must make an aspect less
    restrictive, not more: red with a number plate may be stop-and-proceed where red alone is
    stop, and not the other way round.
    """
    return _for_each_fault(plan, "plate-missing")


def wire_broken(plan: Plan) -> Iterator[Obligation]:
    """With any one wire broken, every safety property still holds.

    The wires are those from a detector or contact to a driver, the return of the contacts of a
    turnout, feeders, district buses, common returns, and the power wires of detectors, drivers
    and switch machines. Through a broken wire, an output that is closed when clear reads occupied
    (closed circuit); an output that is closed when occupied reads clear. Stock beside a broken
    feeder draws current through the other feeders of its block.
    """
    return _for_each_fault(plan, "wire-broken")


def supply_lost(plan: Plan) -> Iterator[Obligation]:
    """With any one supply off, or one live frog without power, every safety property still holds.

    Without track power, stock draws no current, and a current-sensing detector reads clear
    unless it reads occupied without power (`without track power reads occupied`). The heads of
    a driver without a supply are dark. Stock on rails beyond a live frog whose wire, or contact, is
    broken draws no current.
    """
    return _for_each_fault(plan, "supply-lost")


def gap_bridged(plan: Plan) -> Iterator[Obligation]:
    """With any one gap bridged, every safety property still holds.

    Stock beside a bridged gap draws current through the feeders of both blocks. Both detectors
    see it where the file gives track voltage, wheelsets and sensitivity, and a tenth of the
    current is enough for each. Otherwise only one of them may see it.
    """
    return _for_each_fault(plan, "gap-bridged")


def points_stalled(plan: Plan) -> Iterator[Obligation]:
    """With any one switch machine that stops midway or does not obey, every safety property
    still holds.

    Contacts report how the points lie; without contacts, the report is only the last command to
    the machine.
    """
    return _for_each_fault(plan, "points-stalled")


def report_stuck(plan: Plan) -> Iterator[Obligation]:
    """What happens when a detector keeps saying the same, or a contact stays as it is. Advice:
    nothing that relies on detectors alone survives it. Try every detector and contact with a
    train before relying on it, and again from time to time."""
    return _for_each_fault(plan, "report-stuck")


def _for_each_fault(plan: Plan, name: str) -> Iterator[Obligation]:
    """One obligation of this property for each fault. Its formula says that the fault is present;
    :func:`with_harm` adds what must then never happen."""
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
    """The fault is present, in any of its ways."""
    return atom(what, *what.values[1:])


def fault_words(fault: Fault, state: str | None = None) -> str:
    """``feeder m1 is broken``; without a state, all the ways in which it can fail."""
    match fault.kind:
        case FaultKind.DETECTOR | FaultKind.CONTACT:
            return f"{fault.name} is {state or 'stuck'}"
        case FaultKind.MACHINE:
            return f"{fault.name} {state or ' or '.join(fault.ways)}"
        case FaultKind.GAP:  # whichever way the current then flows
            return f"{fault.name} is {state or 'bridged'}"
        case _:
            return f"{fault.name} is {state or ' or '.join(fault.ways)}"


def works_again(fault: Fault) -> str:
    """That something that was broken works, be it for a moment."""
    match fault.kind:
        case FaultKind.DETECTOR:
            return f"{fault.name} reports what is true again"
        case FaultKind.CONTACT:
            return f"{fault.name} follows again"
        case FaultKind.MACHINE:
            return f"{fault.name} runs again"
        case FaultKind.GAP:
            return f"{fault.name} insulates again"
        case FaultKind.SUPPLY:
            return f"{fault.name} is on again"
        case FaultKind.LAMP | FaultKind.HEAD | FaultKind.HEAD_UNLIT:
            return f"{fault.name} lights again"
        case FaultKind.FLASHER:
            return f"{fault.name} flashes again"
        case _:
            return f"{fault.name} makes contact again"


def harms(plan: Plan, safety: Iterable[Obligation]) -> Iterator[Obligation]:
    """What a fault must not cause: the violation of a safety property, or a more favorable aspect
    than without the fault."""
    for obligation in safety:
        affected = obligation.signals and obligation.property not in _FAULT_FREE_ONLY
        shown = affected or obligation.property == "indicator-misleads"
        if obligation.mode == "never" and shown and not obligation.advice:
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


# What may be violated merely because points do not lie as commanded.
_OF_POINTS = ("proceed-over-open-points", "aspect-against-route", "crossover-ends-disagree")


def counts_against(harm: Obligation, fault: Fault, *, holds: bool = True) -> bool:
    """Whether a harm counts against this fault. ``holds``: the harm cannot happen without faults.

    With points that did not move as commanded, another signal than intended may clear. That alone
    is no harm, nor is a violation at that signal that can happen without the fault too. So aspects
    are compared only where points lie as without the fault (:func:`as_judged`): a machine that
    stalls does nothing there; a board or a supply that is lost may do more than leave points."""
    if harm.property == "more-favorable":
        return not fault.only_points
    return not fault.moves_points or holds or harm.property in _OF_POINTS


def as_judged(harm: Obligation, faults: Iterable[Fault], plan: Plan) -> Expr:
    """The formula of a harm where some of these faults are present, others being absent: a more
    favorable aspect only where the points that they may keep from moving lie as without them."""
    if harm.property != "more-favorable":
        return harm.formula
    kept = (disjunction(atom(fault.what, "sound"), points_lie_alike(fault, plan))
            for fault in faults if fault.moves_points)  # fmt: skip
    return conjunction(harm.formula, *kept)


def points_lie_alike(fault: Fault, plan: Plan) -> Expr:
    """That all points lie as they would without a fault that takes power from what moves them: as
    they were told to, or they are moving. (Where how points lie is not worked out from their
    commands, they lie alike in any case.)"""
    wiring, levers = plan.wiring, {w.name: w for w in plan.inputs if w.kind == "lever"}
    lie = []
    for machine in wiring.machines.values():
        wires = {wire for wire, _ in machine.powers}
        supplies = {name for _, supply in machine.powers for name in wiring.chain_of(supply)}
        moved = {
            FaultKind.MACHINE: {machine.turnout}, FaultKind.POWER_WIRE: wires,
            FaultKind.SUPPLY: supplies,
        }.get(fault.kind, set())  # fmt: skip
        worked_out = machine.motor and machine.kind == "points" and not wiring.points_kept
        if worked_out and fault.subjects[0] in moved:
            told = levers[machine.lever] if machine.lever is not None else machine.told
            motion = motion_of(machine)
            moving = atom(motion, "moving") if motion and "moving" in motion.values else FALSE
            obeyed = (conjunction(atom(told, position), atom(machine.lies, position))
                      for position in machine.positions)  # fmt: skip
            lie.append(disjunction(moving, *obeyed))
    return conjunction(*lie)


def held(plan: Plan) -> Iterator[tuple[str, Condition, str]]:
    """What a fault may hold for as long as it is there: a lock that does not open, a relay that
    does not pick. In words, then the condition that must come true for it, and its name."""
    locking = plan.locking
    locks = [(name, throw.locked) for name, throw in locking.throws.items()]
    locks += [(name, traffic.locked) for name, traffic in locking.traffic.items()]
    for name, locked in locks:
        if locked is not None:
            yield f"{name} stays locked", Not(locked, locked.span), name
    for name, relay in locking.relays.items():
        yield f"relay {name} never picks", relay.picks, name


def more_restrictive(signal: Signal, plan: Plan) -> Expr:
    """The signal shows a more restrictive aspect than without the fault."""
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


# The most telling harm of a kind of fault, where the fault does several.
_TELLING = {
    FaultKind.MACHINE: "proceed-over-open-points",
    FaultKind.LAMP: "aspect-against-route",
    FaultKind.HEAD: "aspect-against-route",
    FaultKind.LAMP_COMMON: "aspect-against-route",
    FaultKind.ARM: "aspect-against-route",
    FaultKind.FLASHER: "aspect-against-route",
    FaultKind.PLATE: "more-favorable",
}


def most_telling(
    fault: Fault, done: Sequence[Obligation], unproved: Collection[str] = ()
) -> Obligation:
    """The most telling harm that a fault does; else the first in the order of the catalog. Harms
    that cannot happen without the fault come before the others (``unproved``)."""
    kind = FaultKind.MACHINE if fault.moves_points else fault.kind
    new = [harm for harm in done if harm.key not in unproved] or done
    return next((h for h in new if h.property == _TELLING.get(kind)), new[0])


def with_harm(obligation: Obligation, fault: Fault, harm: Obligation) -> Obligation:
    """The obligation of a fault, made concrete by one harm that the fault does."""
    return replace(
        obligation,
        formula=conjunction(broken(fault.what), harm.formula),
        trouble=f"when {fault_words(fault)}, {harm.trouble}",
        spans=tuple(dict.fromkeys((*obligation.spans, *harm.spans[:1]))),
        signals=harm.signals,
        routes=harm.routes,
        pieces=harm.pieces,
        place=harm.place,
        hint=_hint(fault, harm),
    )


def _hint(fault: Fault, harm: Obligation) -> str:
    """What to do: where a board is dark, about what its indicators then say."""
    dark = fault.kind in (FaultKind.POWER_WIRE, FaultKind.SUPPLY)
    if dark and harm.property == "indicator-misleads":
        return _HINTS[FaultKind.INDICATOR]
    return _HINTS[fault.kind]


def over_time(plan: Plan, fault: Fault) -> str:
    """What to do about what a fault does over time: where relays drop with it, or a machine moves
    later; empty where neither happens."""
    machine = plan.wiring.machines.get(fault.subjects[0])
    if machine is not None and fault.kind in (FaultKind.MACHINE, FaultKind.POWER_WIRE):
        return _obeys(plan, machine)
    powers = [p for name in plan.locking.memory if (p := power_of(name, plan.locking))]
    wires = {(FaultKind.POWER_WIRE, power.wire) for power in powers}
    supplies = {(FaultKind.SUPPLY, name) for power in powers
                for name in plan.wiring.chain_of(power.supply)}  # fmt: skip
    if (fault.kind, *fault.subjects) not in wires | supplies:
        return ""
    return (
        "A relay without power drops. Let a relay that must be up unlock (`locked while Free "
        "down`), and let it pick only after a timer has run, so that the lock holds when the power "
        "is back too."
    )


def _obeys(plan: Plan, machine: Machine) -> str:
    """That a route is set only while something lies as it was told to."""
    name, throw = machine.turnout, plan.locking.throws.get(machine.turnout)
    normal, away = machine.positions
    lever = throw.lever if throw is not None and throw.by == "lever" else None
    agree = (
        f": `{lever} normal and {name} {normal} or {lever} reverse and {name} {away}`"
        if lever
        else ""
    )
    return (
        f"A machine that did not obey may still move later. Let a route be set only while {name} "
        f"lies as it was last told to{agree}."
    )


def with_harms(obligation: Obligation, fault: Fault, done: Sequence[Obligation]) -> Obligation:
    """The obligation of a fault with all harms that it does: what a repair must rule out."""
    signals = dict.fromkeys(name for found in (obligation, *done) for name in found.signals)
    formula = conjunction(broken(fault.what), disjunction(*(harm.formula for harm in done)))
    return replace(obligation, formula=formula, signals=tuple(signals))


_LAMP = (
    "Let one driver light all heads of the signal, with `when lamp out shows red`; in place of a "
    "two-color or three-color LED use a lamp for each color. A head that is `approach-lit` has to "
    "be `tested-unlit`, too."
)
_INPUT = (
    "Use `output closed when clear`, give the turnout contacts for both positions, and let signals "
    "that must agree read the same inputs."
)
_STUCK = "Test detectors and contacts with a train, and watch for reports that never change."
_HINTS = {
    FaultKind.LAMP: _LAMP,
    FaultKind.HEAD: _LAMP,
    FaultKind.LAMP_COMMON: _LAMP,
    FaultKind.ARM: "Let the driver notice by a contact at the arm that it is not as it should "
    "be: `when lamp out shows red`.",
    FaultKind.INDICATOR: "Let a lamp say it while it is lit: `lit when … clear`, `lit when … at "
    "stop`, a lamp for each position of points. Where one that says the contrary is beside it, "
    "people go by that.",
    FaultKind.FLASHER: "Let the flashing color mean less restrictive than the steady one, and than "
    "what is left while it is dark; or show the more restrictive aspect without flashing.",
    FaultKind.PLATE: "Let the plate mark the less restrictive aspect, and the colors alone the "
    "more restrictive one.",
    FaultKind.FEEDER: "Give the block at least two feeders, and run each of them through its "
    "detector.",
    FaultKind.SUB_BUS: "Feed the block by a second sub-bus or feeder too, and run it through the "
    "detector.",
    FaultKind.FROG: "Cut the rails nearer to the frog, and feed those beyond it in the same block, "
    "so that no stock stands on dead rails alone; or insulate the frog (`frog dead`).",
    FaultKind.BUS: "Make the detectors of that district read occupied when it has no track power: "
    "`without track power reads occupied`.",
    FaultKind.POWER_WIRE: "Let one driver light all heads of a signal; use `output closed when "
    "clear`; give the turnout contacts for both positions.",
    FaultKind.COMMON_RETURN: "Use `output closed when clear`, so that an input without its return "
    "reads occupied.",
    FaultKind.DETECTOR_WIRE: _INPUT,
    FaultKind.CONTACT_WIRE: _INPUT,
    FaultKind.CONTACT_RETURN: _INPUT,
    FaultKind.SUPPLY: "Make detectors read occupied when their track has no power (`without track "
    "power reads occupied`), and use `output closed when clear`.",
    FaultKind.GAP: "Give the resistance of wheelsets (`trains … wheelsets`) and the `sensitivity` "
    "of the detectors; then use more turns through the detector, or a more sensitive detector, so "
    "that a tenth of the current is enough; or check the block beyond the gap as well.",
    FaultKind.MACHINE: "Give the turnout contacts at the points for both positions: "
    "`contacts normal, reverse`.",
    FaultKind.DETECTOR: _STUCK,
    FaultKind.CONTACT: _STUCK,
}
