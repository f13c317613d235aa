"""Census of wiring: gaps, feeders, detectors, drivers, supplies, fuses, addresses."""

from collections.abc import Iterator, Mapping
from fractions import Fraction
from functools import cache
from itertools import combinations

from verifier.census import boards
from verifier.census.faults import Readers, supply_of_relays
from verifier.census.says import Must, Musts, all_of, any_of
from verifier.census.survey import Survey
from verifier.logic.expr import FALSE, TRUE, Expr, atom, constant
from verifier.plan.model import Head
from verifier.plan.observables import UNLISTED, Observable
from verifier.plan.signals.packet_model import Address
from verifier.plan.wiring.electrical_constants import ohms_per_meter
from verifier.plan.wiring.wiring_model import (
    Detector,
    District,
    Driver,
    Feeder,
    Run,
    SubBus,
    Supply,
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


def supply_overloaded(survey: Survey) -> Musts:
    """Every supply with amperes given that powers something whose current is given."""
    return _loads(survey, {s.name: s.amps for s in survey.plan.wiring.supplies.values()})


def wire_overloaded(survey: Survey) -> Musts:
    """Every supply with a fuse that powers something whose current is given; every driver with a
    fuse in its wire that draws current of its own or has lamps whose current is given; where the
    most that a train draws is given, every fuse of a district, sub-bus or feeder."""
    yield from _loads(survey, {s.name: s.fuse for s in survey.plan.wiring.supplies.values()})
    for driver in survey.plan.wiring.drivers.values():
        lit = _lamps(driver, survey)
        if driver.fuse is not None and (lit or driver.draws):
            left = driver.fuse.rating - (driver.draws or Fraction(0))
            yield Must((driver.name,), draw_more_than(left, lit))
    trains, wiring = survey.plan.wiring.trains, survey.plan.wiring
    for wires in (wiring.districts, wiring.sub_buses, wiring.feeders):
        for name, wire in wires.items():
            if wire.fuse is not None and trains is not None and trains.most_load is not None:
                yield Must((name,), constant(wire.fuse.rating < trains.most_load))


def _loads(survey: Survey, most: Mapping[str, Fraction | None]) -> Musts:
    wiring = survey.plan.wiring
    for name in wiring.supplies:
        own = [driver.draws for driver in wiring.drivers.values() if driver.supply == name]
        own += [detector.draws for detector in wiring.detectors.values() if detector.supply == name]
        own += [machine.draws for machine in wiring.machines.values() if machine.supply == name]
        own += [booster.draws for booster in wiring.supplies.values() if booster.fed_by == name]
        if wiring.trains and name in {district.supply for district in wiring.districts.values()}:
            own.append(wiring.trains.most_load)
        steady = [current for current in own if current is not None]
        drivers = [d for d in wiring.drivers.values() if d.supply == name and d.lamp]
        limit = most[name]
        if limit is not None and (drivers or steady):
            lit = [load for driver in drivers for load in _lamps(driver, survey)]
            yield Must((name,), draw_more_than(limit - sum(steady, Fraction(0)), lit))


def voltage_drop(survey: Survey) -> Musts:
    """Every driver that needs so many volts, on a supply that gives so many; where they would do
    and the wire is given, only with the current of its lamps."""
    for driver in survey.plan.wiring.drivers.values():
        supply = survey.plan.wiring.supplies.get(driver.supply or "")
        if supply is None or supply.volts is None or driver.needs is None:
            continue
        if supply.volts < driver.needs:
            yield Must((driver.name,), TRUE)
        elif driver.run is None or driver.lamp is not None:
            ohms = _there_and_back(driver.run) if driver.run else 0.0
            bears = Fraction(float(supply.volts - driver.needs) / ohms) if ohms else None
            if bears is not None and driver.draws is not None:
                bears -= driver.draws
            loads = _lamps(driver, survey)
            yield Must((driver.name,), draw_more_than(bears, loads) if bears is not None else FALSE)


def fuse_too_large(survey: Survey) -> Musts:
    """Every supply with a fuse and amperes: it gives what opens the fuse for sure. Every end of a
    wire (to drivers, districts, and on to sub-buses and feeders) from a supply with volts, with a
    fuse on the way: a short there draws as much as opens one of them. Where a fuse stands at one of
    these wires, the amperes of the supply count, too."""
    for supply in survey.plan.wiring.supplies.values():
        of_supply = [_sure(supply.fuse, supply.fuse_kind, supply.trips)] if supply.fuse else []
        if of_supply and supply.amps is not None:
            yield Must((supply.name,), constant(supply.amps < of_supply[0]))
        for end, wires in _wires_of(supply, survey):
            fuses = [wire.fuse for wire in wires if wire.fuse]
            opens = [*of_supply, *(_sure(f.rating, f.kind, f.trips) for f in fuses)]
            flows = [float(supply.amps)] if fuses and supply.amps is not None else []
            runs = [wire.run for wire in wires if wire.run]
            ohms = sum(map(_there_and_back, runs))
            if supply.volts is not None and runs:
                flows.append(float(supply.volts) / ohms if ohms else float("inf"))
            if opens and flows:
                yield Must((supply.name, end), constant(min(flows) < min(opens)))


def _sure(rating: Fraction, kind: str | None, trips: Fraction | None) -> Fraction:
    """What opens a fuse for sure."""
    return trips or rating * {"electronic": 10, "UL": 20}.get(kind or "", 21) / 10


# What wire may carry at most where its file does not say: NEC 402.5 and 240.4(D) [M].
_CODE_AMPS = {14: 15, 16: 8, 18: 6}


def wire_ampacity(survey: Survey) -> Musts:
    """Every end of a wire whose size is given: where the file says what wire of this size carries,
    that is no less than the supply, its fuse and the fuses on the way all let flow. Where it does
    not say, and the code's figure is less: always wrong."""
    said = survey.plan.wiring.ampacity
    for supply in survey.plan.wiring.supplies.values():
        rated = [supply.amps] if supply.amps is not None else []
        if supply.fuse is not None:
            rated.append(_lasting(supply.fuse, supply.fuse_kind, supply.trips))
        for end, wires in _wires_of(supply, survey):
            fuses = (wire.fuse for wire in wires if wire.fuse)
            most = [*rated, *(_lasting(f.rating, f.kind, f.trips) for f in fuses)]
            own = wires[-1].run
            if own is None or not most:
                continue
            if own.gauge in said:
                yield Must((supply.name, end), constant(said[own.gauge] < min(most)))
            elif own.gauge in _CODE_AMPS and _CODE_AMPS[own.gauge] < min(most):
                yield Must((supply.name, end), TRUE)


def _lasting(rating: Fraction, kind: str | None, trips: Fraction | None) -> Fraction:
    """What a fuse may carry forever."""
    return trips if trips is not None and kind in ("resettable", "electronic") else rating


def coil_burns(survey: Survey) -> Musts:
    """Everything with a twin-coil machine that a lever, two buttons or a rule throw: the lever and
    the rule only with a pulse."""
    for name, throw in survey.plan.locking.throws.items():
        if throw.snap and throw.by in ("lever", "rule", "buttons"):
            yield Must((name,), constant(throw.by != "buttons" and not throw.pulse))


_Wire = Driver | District | SubBus | Feeder


def _wires_of(supply: Supply, survey: Survey) -> Iterator[tuple[str, list[_Wire]]]:
    """The wires with a size or a fuse, and all wires on the way from the supply, it the last."""
    wiring = survey.plan.wiring
    ways: list[list[_Wire]] = [[d] for d in wiring.drivers.values() if d.supply == supply.name]
    for district in wiring.districts.values():
        if district.supply == supply.name:
            fed = {f.name: f for f in wiring.feeders.values()
                   if wiring.district_of.get(f.block) == district.name}  # fmt: skip
            ways.append([district])
            by_way_of: dict[str, list[_Wire]] = {}
            for sub_bus in wiring.sub_buses.values():
                if not fed.keys().isdisjoint(sub_bus.feeders):
                    ways.append([district, sub_bus])
                by_way_of |= {name: [sub_bus] for name in sub_bus.feeders}
            ways += [[district, *by_way_of.get(name, []), feeder] for name, feeder in fed.items()]
    for way in ways:
        if way[-1].run or way[-1].fuse:
            yield way[-1].name, way


def _there_and_back(run: Run) -> float:
    return 2 * float(run.length) * ohms_per_meter(run.gauge)


_Load = tuple[Head, Fraction]


def _lamps(driver: Driver, survey: Survey) -> list[_Load]:
    return [
        (head, driver.lamp)
        for _, head in boards.heads(survey)
        if driver.lamp and head.name in driver.heads
    ]


def draw_more_than(limit: Fraction, loads: list[_Load]) -> Expr:
    """The heads that are lit draw more than the limit. Where they could draw more than 2000
    different amounts, all of them count as lit."""
    most = {Fraction(0)}
    for _, amps in loads:
        most |= {amount + amps for amount in most}
    if max(most) <= limit:
        return FALSE
    if limit < 0:
        return TRUE
    if len(most) > 2000:
        return TRUE

    @cache
    def more(index: int, drawn: Fraction) -> Expr:
        if drawn > limit:
            return TRUE
        if index == len(loads):
            return FALSE
        head, amps = loads[index]
        dark, lit = more(index + 1, drawn), more(index + 1, drawn + amps)
        burns = atom(head.lens, *(color for color in head.lens.values if color != "dark"))
        return any_of(dark, all_of(burns, lit))

    return more(0, Fraction(0))


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
