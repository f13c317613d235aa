"""What may be wrong where a built layout parts from its plan.

In: a departure. Out: suspects, the likeliest first. A lamp is explained as an observation on the
bench is; points and track by what moves and detects them.
"""

from collections.abc import Iterator

from verifier.diagnosis.bench import Bench, Setup
from verifier.diagnosis.diagnose import explanations, rank
from verifier.diagnosis.log_follower import Departure
from verifier.diagnosis.observations import Observation, Sight
from verifier.diagnosis.suspects import Suspect, Suspects
from verifier.plan.model import Plan
from verifier.plan.wiring.faults import FaultKind

MOST_SUSPECTS = 12
_MEMORY = ("relay", "timer", "traffic")
_COMMANDS = ("lever", "button")


def suspects_of(plan: Plan, departure: Departure) -> tuple[tuple[Suspects, ...], bool]:
    """Groups of suspects that explain a departure, all of one size, the likeliest first; and
    whether more were found, or the search was cut short."""
    if not plan.wiring.given:
        return (), False
    bench = Bench(plan)
    match departure.kind:
        case "lamp":
            seen = _observation(plan, bench, departure)
            found, cut_short = explanations(bench, [seen]) if seen else ((), False)
            groups = sorted((g for g in found if g), key=lambda group: rank(group, bench))
        case "points":
            those = sorted(_of_points(plan, bench, departure.name), key=lambda s: s.trouble is None)
            groups, cut_short = [(s,) for s in those], False
        case "appears" | "vanishes":
            groups, cut_short = [(s,) for s in _of_track(plan, bench, departure.name)], False
        case _:
            return (), False
    return tuple(groups[:MOST_SUSPECTS]), cut_short or len(groups) > MOST_SUSPECTS


def _observation(plan: Plan, bench: Bench, departure: Departure) -> Observation | None:
    """The moment of the departure, as an observation on the bench. Of a signal with a head of
    which nothing is known there is none."""
    reported = departure.reported
    stands = tuple(
        (what.name, bench.places(what.name)) for what, state in reported.items()
        if what.kind == "block report" and state == "occupied"
    )  # fmt: skip
    lies = tuple(
        (what.name, "open" if state == "moving" else state)
        for what, state in reported.items()
        if what.kind == "points report"
        or (what.kind in ("derail report", "gate report") and bench.throws(what.name))
    )
    told = tuple(
        (what.name, state) for what, state in departure.memory.items()
        if what.kind == "thrown" and bench.throws(what.name)
    )  # fmt: skip
    facts = tuple(
        (what, state)
        for what, state in (*reported.items(), *departure.memory.items())
        if what.kind in (*_MEMORY, *_COMMANDS) and state != what.usual
    ) + tuple(
        (bench.lies(what.name), "open" if state == "moving" else state)
        for what, state in reported.items()
        if what.kind in ("derail report", "gate report")
        and not bench.throws(what.name)
        and bench.lies(what.name) in bench.given.inputs
    )
    sights = []
    for signal in plan.signals.values():
        colors = tuple(departure.lamps.get(head.name, "") for head in signal.heads)
        if "" not in colors:
            sights.append(Sight(signal.name, frozenset((colors,))))
    if not any(
        departure.name in (sight.signal, *(h.name for h in plan.signals[sight.signal].heads))
        for sight in sights
    ):
        return None
    text = f"line {departure.line} of the log"
    return Observation(text, Setup(stands, told, lies, facts), tuple(sights))


def _of_points(plan: Plan, bench: Bench, name: str) -> Iterator[Suspect]:
    machine = plan.wiring.machines.get(name)
    fed = set(plan.wiring.chain_of(machine.supply)) if machine else set()
    for suspect in bench.suspects:
        fault, mistake = suspect.fault, suspect.mistake
        if suspect.trouble is not None and suspect.trouble[0] == name:
            yield suspect
        elif fault is not None:
            of_power = fault.kind is FaultKind.SUPPLY and fault.subjects[0] in fed
            if of_power or fault.subjects[0] == name:
                yield suspect
        elif mistake is not None and name in mistake.about:
            yield suspect


def _of_track(plan: Plan, bench: Bench, block: str) -> Iterator[Suspect]:
    detectors = {detector.name for detector in plan.wiring.detectors_of(block)}
    names = {block, *detectors, *(feeder.name for feeder in plan.wiring.feeders_of(block))}
    names |= {b.name for b in plan.equipment.beside(block)}
    district = plan.wiring.districts.get(plan.wiring.district_of.get(block, ""))
    if district is not None:
        names |= {district.name, *plan.wiring.chain_of(district.supply)}
    for detector in plan.wiring.detectors_of(block):
        names |= set(plan.wiring.chain_of(detector.supply))
    for suspect in bench.suspects:
        if suspect.fault is not None and suspect.fault.kind is not FaultKind.DETECTOR_WIRE:
            if names.intersection(suspect.fault.subjects):
                yield suspect
        elif suspect.mistake is not None and names.intersection(suspect.mistake.about):
            yield suspect
