"""Census of currents: loads of supplies and wires, volts, fuses, coils."""

from collections.abc import Iterator, Mapping
from fractions import Fraction
from functools import cache
from typing import NamedTuple

from verifier.census import boards
from verifier.census.says import Must, Musts, all_of, any_of
from verifier.census.survey import Survey
from verifier.logic.expr import FALSE, TRUE, Expr, atom, constant
from verifier.plan.observables import Observable
from verifier.plan.wiring.electrical_constants import ohms_per_meter
from verifier.plan.wiring.wiring_model import (
    District,
    Driver,
    Feeder,
    Fuse,
    Run,
    SubBus,
    Supply,
)


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
        drawing = (
            *((driver.supply, driver.draws) for driver in wiring.drivers.values()),
            *((detector.supply, detector.draws) for detector in wiring.detectors.values()),
            *((machine.supply, machine.draws) for machine in wiring.machines.values()),
            *((booster.fed_by, booster.draws) for booster in wiring.supplies.values()),
        )
        own = [draws for given, draws in drawing if given and name in _up(given, survey)]
        feeding = (_up(district.supply, survey) for district in wiring.districts.values())
        if wiring.trains and any(name in names for names in feeding):
            own.append(wiring.trains.most_load)
        steady = [current for current in own if current is not None]
        lighting = [d for d in wiring.drivers.values() if d.supply and d.lamp]
        drivers = [d for d in lighting if d.supply and name in _up(d.supply, survey)]
        limit = most[name]
        if limit is not None and (drivers or steady):
            lit = [load for driver in drivers for load in _lamps(driver, survey)]
            yield Must((name,), draw_more_than(limit - sum(steady, Fraction(0)), lit))


def voltage_drop(survey: Survey) -> Musts:
    """Every driver that needs so many volts, on a supply that gives so many; where they would do
    and the wire is given, only with the current of its lamps."""
    for driver in survey.plan.wiring.drivers.values():
        gives = volts_at(driver.supply, survey)
        if gives is None or driver.needs is None:
            continue
        if gives < driver.needs:
            yield Must((driver.name,), TRUE)
        elif driver.run is None or driver.lamp is not None:
            ohms = _there_and_back(driver.run) if driver.run else 0.0
            bears = Fraction(float(gives - driver.needs) / ohms) if ohms else None
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
        for end, _, runs, fuses in _ways_of(supply, survey):
            opens = [*of_supply, *(_sure(f.rating, f.kind, f.trips) for f in fuses)]
            flows = [float(supply.amps)] if fuses and supply.amps is not None else []
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
        for end, own, _, fuses in _ways_of(supply, survey):
            most = [*rated, *(_lasting(f.rating, f.kind, f.trips) for f in fuses)]
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


class _Way(NamedTuple):
    """A way from a supply to the end of a wire that has a size or a fuse: what runs at the end, all
    that runs before it and there, and the fuses on the way, that of the supply apart."""

    end: str
    own: Run | None
    runs: list[Run]
    fuses: list[Fuse]


def _ways_of(supply: Supply, survey: Survey) -> Iterator[_Way]:
    """The wires with a size or a fuse that take their current from a supply."""
    wiring = survey.plan.wiring
    every: list[list[_Wire]] = [[driver] for driver in wiring.drivers.values()]
    for district in wiring.districts.values():
        fed = {f.name: f for f in wiring.feeders.values()
               if wiring.district_of.get(f.block) == district.name}  # fmt: skip
        every.append([district])
        by_way_of: dict[str, list[_Wire]] = {}
        for sub_bus in wiring.sub_buses.values():
            if not fed.keys().isdisjoint(sub_bus.feeders):
                every.append([district, sub_bus])
            by_way_of |= {name: [sub_bus] for name in sub_bus.feeders}
        every += [[district, *by_way_of.get(name, []), feeder] for name, feeder in fed.items()]
    for wires in every:
        first, last = wires[0], wires[-1]
        begins = first.supply if isinstance(first, (Driver, District)) else None
        *through, source = _up(begins, survey) if begins is not None else (None,)
        if source != supply.name or not (last.run or last.fuse):
            continue
        reversers = [wiring.supplies[name] for name in through if name is not None]
        yield _Way(
            last.name,
            last.run,
            [wire.run for wire in wires if wire.run],
            [
                *(Fuse(r.fuse, r.fuse_kind, r.trips) for r in reversers if r.fuse is not None),
                *(wire.fuse for wire in wires if wire.fuse),
            ],
        )


def _up(name: str, survey: Survey) -> list[str]:
    """A supply, and while it is a reverser that gives no volts and no amperes, what feeds it: the
    last one is where the current comes from."""
    names = [name]
    while (given := survey.plan.wiring.supplies[names[-1]]).reverses and given.fed_by is not None:
        if given.volts is not None or given.amps is not None:
            break
        names.append(given.fed_by)
    return names


def volts_at(name: str | None, survey: Survey) -> Fraction | None:
    """The volts behind a supply: reversers have those that come in, where they give no others."""
    supplies = survey.plan.wiring.supplies
    while name is not None and supplies[name].volts is None and supplies[name].reverses:
        name = supplies[name].fed_by
    return None if name is None else supplies[name].volts


def _there_and_back(run: Run) -> float:
    return 2 * float(run.length) * ohms_per_meter(run.gauge)


# When something draws current, and how much.
_Load = tuple[Expr, Fraction]


def _lamps(driver: Driver, survey: Survey) -> list[_Load]:
    if not driver.lamp:
        return []
    heads = [head for _, head in boards.heads(survey) if head.name in driver.heads]
    burns = [atom(head.lens, *(c for c in head.lens.values if c != "dark")) for head in heads]
    burns += [
        atom(Observable("indicator", name, ("off", "on"), "off"), "on")
        for name in driver.indicators
    ]
    return [(each, driver.lamp) for each in burns]


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
        burns, amps = loads[index]
        dark, lit = more(index + 1, drawn), more(index + 1, drawn + amps)
        return any_of(dark, all_of(burns, lit))

    return more(0, Fraction(0))
