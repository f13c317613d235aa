"""Census of wiring: gaps, feeders, detectors, drivers, supplies, fuses, addresses."""

from collections.abc import Iterator, Mapping
from itertools import combinations

from verifier.census import boards
from verifier.census.faults import Readers, supply_of_relays
from verifier.census.says import Must, Musts, all_of, any_of
from verifier.census.survey import Survey
from verifier.logic.expr import Expr, atom, constant
from verifier.plan.observables import UNLISTED, Observable
from verifier.plan.signals.packet_model import Address
from verifier.plan.wiring.wiring_model import (
    Detector,
    Driver,
)

# ------------------------------------------------------------------ gaps, feeders, detectors


def blocks_joined(survey: Survey) -> Musts:
    """Every two blocks that meet: never with the rail joined. Every block with a gap inside that
    has no name: always wrong. Where the file gives any wiring."""
    if not survey.plan.wiring.given:
        return
    order = list(survey.plan.blocks)
    wrong: dict[tuple[str, ...], bool] = {}
    for joint in survey.plan.track.joints:
        met = {survey.block_of(joint.a.piece), survey.block_of(joint.b.piece)}
        blocks = tuple(sorted((b for b in met if b is not None), key=order.index))
        if None in met or (len(blocks) == 1 and (joint.kind == "=" or joint.gap is not None)):
            continue
        bad = len(blocks) == 1 or joint.kind == "="
        wrong[blocks] = wrong.get(blocks, False) or bad
    for blocks, bad in wrong.items():
        yield Must(blocks, constant(bad))


def feeder_undetected(survey: Survey) -> Musts:
    """Every feeder of a block with a current-sensing detector: one of the block's detectors has it
    go through."""
    for feeder in survey.plan.wiring.feeders.values():
        senses = [d for d in _sensing(survey) if d.block == feeder.block]
        if senses:
            missed = all(feeder.name not in detector.through for detector in senses)
            yield Must((feeder.name, feeder.block), constant(missed))


def detector_misplaced(survey: Survey) -> Musts:
    """Every current-sensing detector: no feeder of another block goes through it."""
    feeders = survey.plan.wiring.feeders
    for detector in _sensing(survey):
        blocks = {feeders[name].block for name in detector.through if name in feeders}
        yield Must((detector.name,), constant(bool(blocks - {detector.block})))


def detector_cannot_sense(survey: Survey) -> Musts:
    """Every current-sensing detector of a block whose track power is given with its kind, or with
    that of what feeds it: not DC, or by biased diodes."""
    wiring = survey.plan.wiring
    for detector in _sensing(survey):
        district = wiring.districts.get(wiring.district_of.get(detector.block, ""))
        kind = _gives(district.supply if district else None, survey)
        if kind is not None:
            sees_all = kind in ("AC", "DCC") or detector.by == "biased diodes"
            yield Must((detector.name,), constant(not sees_all))


def _sensing(survey: Survey) -> Iterator[Detector]:
    return (d for d in survey.plan.wiring.detectors.values() if d.kind == "current-sensing")


# ------------------------------------------------------------------ drivers


def supply_mismatch(survey: Survey) -> Musts:
    """Every driver and every detector that it reads, both with a supply given: they have a common
    return and no two kinds of current, or the detector's output is isolated. The same of the
    relays, where one supply powers them all, and every detector that anything that locks asks for
    (any, where there are no drivers), unless a board is what they run on. The same of every driver
    and whatever else it hears that a supply's return is switched by."""
    wiring = survey.plan.wiring
    for driver in wiring.drivers.values():
        if driver.reads is None:
            read = [name for name, contacts in _rules_ask(driver, survey) if not contacts]
        else:
            read = [given.name for given in driver.reads if not given.contacts]
        for name in dict.fromkeys(read):
            detector = wiring.detectors.get(name)
            if detector is None or driver.supply is None or detector.supply is None:
                continue
            sure = detector.isolated or _hears(driver.supply, detector.supply, survey)
            yield Must((driver.name, name), constant(not sure))
        for name in boards.hears(driver, survey):
            other = boards.fed_by(name, survey)
            if driver.supply is not None and other is not None:
                yield Must((driver.name, name), constant(not _hears(driver.supply, other, survey)))
    if survey.plan.locking.building.board is not None:
        return
    relays, readers = supply_of_relays(survey.plan.locking), Readers(survey)
    for detector in wiring.detectors.values():
        heard = {"the relays", ""}.intersection(readers.of_detector(detector))
        if relays and detector.supply and heard:
            sure = detector.isolated or _hears(relays, detector.supply, survey)
            yield Must(("the relays", detector.name), constant(not sure))


def _hears(reader: str, source: str, survey: Survey) -> bool:
    """Their returns are joined, and one does not give DC where the other gives AC, say."""
    one, other = (_gives(name, survey) for name in (reader, source))
    unlike = one is not None and other is not None and one != other
    return source in returns_with(reader, survey) and not unlike


def _gives(name: str | None, survey: Survey) -> str | None:
    """The kind of current of a supply, or of the nearest that feeds it and says."""
    while name is not None:
        supply = survey.plan.wiring.supplies[name]
        if supply.current is not None:
            return supply.current
        name = supply.fed_by
    return None


def returns_with(supply: str, survey: Survey) -> set[str]:
    """The supplies whose returns are joined to one's, directly or through others."""
    reached, groups = {supply}, list(survey.plan.wiring.common_returns)
    for _ in groups:
        for group in groups:
            if reached & set(group):
                reached |= set(group)
    return reached


def supplies_joined(survey: Survey) -> Musts:
    """Every gap between blocks that two supplies feed: it is cut in both rails, or their returns
    are joined. A note."""
    wiring, number = survey.plan.wiring, 0
    taken = {joint.gap for joint in survey.plan.track.joints}
    for joint in survey.plan.track.joints:
        if joint.kind == "=":
            continue
        number += joint.gap is None
        while joint.gap is None and f"gap {number}" in taken:
            number += 1
        feeds = []
        for piece in (joint.a.piece, joint.b.piece):
            district = wiring.districts.get(
                wiring.district_of.get(survey.block_of(piece) or "", "")
            )
            feeds += [district.supply] if district else []
        if len(set(feeds)) == 2:
            apart = joint.kind == "||" or feeds[1] in returns_with(feeds[0], survey)
            yield Must((joint.gap or f"gap {number}",), constant(not apart), note=True)


def input_unread(survey: Survey) -> Musts:
    """Every driver with a list of what it reads, and everything that its rules (or the program that
    runs on it) ask for and that has wires: it is in the list."""
    for driver in survey.plan.wiring.drivers.values():
        if driver.reads is not None:
            has = {(given.name, given.contacts) for given in driver.reads}
            for wanted in _rules_ask(driver, survey):
                yield Must((driver.name, wanted[0]), constant(wanted not in has))
            for name in boards.must_hear(driver, survey):
                yield Must((driver.name, name), constant((name, False) not in has))


def _rules_ask(driver: Driver, survey: Survey) -> list[tuple[str, bool]]:
    """The detectors, and the turnouts whose contacts (True), that the rules of a driver ask for."""
    plan, found = survey.plan, dict[tuple[str, bool], None]()
    for what in boards.asked_by(driver, survey):
        if what.kind == "block report":
            found |= {(d.name, False): None for d in plan.wiring.detectors.values()
                      if d.block == what.name}  # fmt: skip
        elif what.kind in ("points report", "derail report", "gate report"):
            machine = plan.wiring.machines.get(what.name)
            without = machine is not None and machine.contacts is not None and not machine.contacts
            if not without and (machine is not None or what.kind == "points report"):
                found[what.name, True] = None
    return list(found)


def head_without_driver(survey: Survey) -> Musts:
    """Every head, where the file has drivers: one of them drives it."""
    drivers = survey.plan.wiring.drivers.values()
    for _, head in boards.heads(survey) if drivers else ():
        yield Must((head.name,), constant(all(head.name not in d.heads for d in drivers)))


def driver_short_of_outputs(survey: Survey) -> Musts:
    """Every driver with a number of outputs: it needs no more."""
    for driver in survey.plan.wiring.drivers.values():
        if driver.outputs is not None:
            need = boards.outputs_needed(driver, survey)
            yield Must((driver.name,), constant(need > driver.outputs))


def driver_short_of_inputs(survey: Survey) -> Musts:
    """Every driver with a number of inputs: it needs no more."""
    for driver in survey.plan.wiring.drivers.values():
        if driver.inputs is not None:
            read = [(r.name, r.contacts) for r in driver.reads or ()
                    if r.contacts or r.name in survey.plan.wiring.detectors]  # fmt: skip
            if driver.reads is None:
                read = _rules_ask(driver, survey)
            need = boards.inputs_needed(driver, read, survey)
            yield Must((driver.name,), constant(need > driver.inputs))


# ------------------------------------------------------------------ packets


def stop_number(survey: Survey) -> Musts:
    """Every aspect with number 0, where a whole signal has an address: it is absolute stop. Every
    color with number 0, where a head has one: it is red."""
    packets = survey.plan.packets
    whole = {address.of in survey.plan.signals for address in packets.addresses}
    if True in whole:
        for aspect in survey.plan.chart.aspects:
            if packets.aspects.get(aspect.name) == 0:
                yield Must((aspect.name,), constant(aspect.indication.text != "stop"))
    if False in whole:
        for color, number in packets.colors.items():
            if number == 0:
                yield Must((color,), constant(color != "red"))


def address_shared(survey: Survey) -> Musts:
    """Every address: all that have it are always sent the same number."""
    shared: dict[int, list[Address]] = {}
    for address in survey.plan.packets.addresses:
        shared.setdefault(address.number, []).append(address)
    for number in shared:
        those = shared[number]
        differ: list[Expr] = []
        for one, two in combinations(those, 2):
            here, there = _numbers(one, survey), _numbers(two, survey)
            differ += _apart(here, there)
        signals = tuple(dict.fromkeys(address.signal for address in those))
        yield Must(tuple(address.of for address in those), any_of(*differ), signals)


def _apart(here: "_Sent", there: "_Sent") -> Iterator[Expr]:
    """The ways in which two are sent different numbers."""
    for number, states in here[1].items():
        for other, others in there[1].items():
            if number != other:
                yield all_of(atom(here[0], *states), atom(there[0], *others))


_Sent = tuple[Observable, Mapping[int, list[str]]]


def _numbers(address: Address, survey: Survey) -> _Sent:
    """What is sent to an address: by number, the aspects or colors that it stands for."""
    packets, signal = survey.plan.packets, survey.plan.signals[address.signal]
    heads = {head.name: head for head in signal.heads}
    if address.of == signal.name:
        what, numbers = signal.aspect, {**packets.aspects, UNLISTED: 0}
    else:
        what, numbers = heads[address.of].color, dict(packets.colors)
    found: dict[int, list[str]] = {}
    for state in what.values:
        found.setdefault(numbers.get(state, 0), []).append(state)
    return what, found
