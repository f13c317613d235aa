"""Census of faults: everything that may break, under the property that covers it."""

from collections.abc import Iterator, Sequence
from fractions import Fraction

from verifier.census.boards import asked_by_heads, lamps_there, locking_conditions
from verifier.census.currents import volts_at
from verifier.census.says import Must, Musts, all_of, any_of
from verifier.census.survey import Survey, steady
from verifier.logic.expr import TRUE, Expr, atom
from verifier.plan.locking.locking_model import Locking
from verifier.plan.observables import Observable, facts_unfolded, points
from verifier.plan.wiring.wiring_model import Detector, Machine


def lamp_out(survey: Survey) -> Musts:
    """Every lamp of every head that a driver lights, every such head as a whole, and the wire that
    heads of one signal have in common; the wire to every indicator and bell that a driver has."""
    for head in _driven_heads(survey):
        driver = next(d for d in survey.plan.wiring.drivers.values() if head.name in d.heads)
        colors = {steady(shown): None for shown in head.values if shown != "dark"}
        for _, lamp in lamps_there([(head.name, color) for color in colors], driver):
            if driver.sold_as(head.name).make == "semaphore":
                yield _fault(f"arm wire {head.name} {lamp}", "broken")
            else:
                yield _fault(f"lamp {head.name} {lamp}", "out")
        if driver.sold_as(head.name).make != "semaphore":
            yield _fault(f"head {head.name}", "dark")
    for name in survey.plan.indicators:
        if any(name in driver.indicators for driver in survey.plan.wiring.drivers.values()):
            yield _fault(f"wire to {name}", "broken")
    for signal in survey.plan.signals.values():
        for driver in survey.plan.wiring.drivers.values():
            own = [head.name for head in signal.heads if head.name in driver.heads]
            for side in ("anode", "cathode"):
                joined = [head for head in own if driver.sold_as(head).common == side]
                if len(joined) > 1:
                    yield _fault(f"lamp common of {' and '.join(joined)}", "broken")


def flasher_stopped(survey: Survey) -> Musts:
    """Every driver with a head that may flash."""
    heads = {head.name: head for head in _driven_heads(survey)}
    for driver in survey.plan.wiring.drivers.values():
        shown = [color for name in driver.heads if name in heads for color in heads[name].values]
        if any(steady(color) != color for color in shown):
            lit, dark = "stopped with lamps lit", "stopped with lamps dark"
            yield _fault(f"flasher of {driver.name}", lit, dark)


def plate_missing(survey: Survey) -> Musts:
    """Every signal with a plate, wired or not."""
    for name, signal in survey.plan.signals.items():
        if signal.plate:
            yield _fault(f"plate of {name}", "missing")


def wire_broken(survey: Survey) -> Musts:
    """Every bus of a district, sub-bus, feeder, common return; the power wire of every
    detector, driver and motor with a supply, of every relay, timer and direction of traffic that
    names one of its own, and of all others where the file says what powers them; the wire from
    every detector, and from every contact, to every driver that it is wired to, and to the relays
    that read it."""
    wiring = survey.plan.wiring
    if not wiring.given:
        return
    names = [f"bus of {name}" for name in wiring.districts]
    names += [f"sub-bus {name}" for name in wiring.sub_buses]
    names += [f"feeder {name}" for name in wiring.feeders]
    names += [f"common return of {' and '.join(group)}" for group in wiring.common_returns]
    names += [f"power wire of {d.name}" for d in wiring.detectors.values() if d.supply is not None]
    names += [f"power wire of {d.name}" for d in wiring.drivers.values() if d.supply is not None]
    names += [f"power wire of {m.turnout}" for m in wiring.machines.values()
              if m.motor and m.supply is not None]  # fmt: skip
    names += [f"power wire of {name}" for name in _with_power_wires(survey.plan.locking)]
    readers = Readers(survey)
    for detector in wiring.detectors.values():
        names += _wires(detector.name, readers.of_detector(detector))
    for machine in wiring.machines.values():
        for leg in machine.contacts or ():
            names += _wires(f"{machine.turnout} {leg}", readers.of_contacts(machine))
        names += _returns(machine, readers.of_contacts(machine), survey)
    for name in names:
        yield _fault(name, "broken")


def _wires(source: str, drivers: list[str]) -> Iterator[str]:
    return (f"wire from {source}" + (f" to {driver}" if driver else "") for driver in drivers)


def _returns(machine: Machine, readers: list[str], survey: Survey) -> Iterator[str]:
    """The other side of the contacts of a machine that something reads: one wire for each group of
    drivers whose supplies have no common return."""
    wiring = survey.plan.wiring
    found: list[list[str | None]] = []
    for name in readers:
        driver = wiring.drivers.get(name)
        if driver is None:
            continue
        near = [s for s in found if _joined(s[0], driver.supply, wiring.common_returns)]
        if near:
            near[0].append(driver.supply)
        else:
            found.append([driver.supply])
    for group in found if machine.contacts and len(found) > 1 else ():
        of = [s for s in wiring.supplies if _joined(group[0], s, wiring.common_returns)]
        yield f"return of {machine.turnout} contacts" + (f" on {of[0]}" if of else "")
    if machine.contacts and readers and len(found) < 2:
        yield f"return of {machine.turnout} contacts"


def _joined(one: str | None, two: str | None, groups: Sequence[Sequence[str]]) -> bool:
    """Whether two supplies are one, or their returns are joined, directly or through others."""
    if one is None or two is None:
        return one == two
    reached = {one}
    for _ in groups:
        for group in groups:
            if reached & set(group):
                reached |= set(group)
    return two in reached


def supply_of_relays(locking: Locking) -> str | None:
    """The one supply of all relays, timers and directions of traffic, if there is one."""
    own = [one.supply for kept in (locking.relays, locking.timers, locking.traffic)
           for one in kept.values()]  # fmt: skip
    found = {supply or locking.building.supply for supply in own}
    return found.pop() if len(found) == 1 else None


def _with_power_wires(locking: Locking) -> Iterator[str]:
    """What has a power wire of its own among relays (but for the steps of a release, which use
    the wire of their relay), timers and directions of traffic; and `the relays` for the rest."""
    steps = {relay.name for relay in locking.relays.values() if relay.step_of}
    own = {name: one.supply for name, one in locking.relays.items()}
    own |= {name: one.supply for name, one in locking.timers.items()}
    own |= {name: one.supply for name, one in locking.traffic.items()}
    yield from (name for name, supply in own.items() if supply and name not in steps)
    on_board = locking.building.board is not None  # then it is the board's
    if locking.building.supply and None in own.values() and not on_board:
        yield "the relays"


class Readers:
    """Which drivers a detector, or a turnout's contacts, are wired to: those that list it; those
    without a list whose rules ask for it. Without any driver, one wire that leads nowhere in
    particular; with drivers, one more to the relays where anything that locks asks for it, or,
    where the program runs on a board without a list, to that."""

    def __init__(self, survey: Survey) -> None:
        plan = survey.plan
        self._drivers = list(plan.wiring.drivers.values())
        self._rules_read = {
            driver.name: {(what.kind, what.name) for what in asked_by_heads(driver, survey)}
            for driver in self._drivers
        }
        facts = facts_unfolded(
            locking_conditions(survey), lambda name: plan.conditions[name].condition
        )
        self._program = plan.locking.building.board
        self._locks_read = {(fact.what.kind, fact.what.name) for fact in facts}

    def of_detector(self, detector: Detector) -> list[str]:
        return self._of(detector.name, False, ("block report", detector.block))

    def of_contacts(self, machine: Machine) -> list[str]:
        return self._of(machine.turnout, True, (f"{machine.kind} report", machine.turnout))

    def _of(self, name: str, contacts: bool, asked: tuple[str, str]) -> list[str]:
        found = []
        for driver in self._drivers:
            if driver.reads is None:
                reads = asked in self._rules_read[driver.name] or (
                    driver.name == self._program and asked in self._locks_read
                )
            else:
                reads = any(r.name == name and r.contacts == contacts for r in driver.reads)
            if reads:
                found.append(driver.name)
        if asked in self._locks_read and self._program is None:
            found.append("the relays")
        return found if self._drivers else [""]


def supply_lost(survey: Survey) -> Musts:
    """Every supply. Every live frog."""
    for name in survey.plan.wiring.supplies:
        yield _fault(f"supply {name}", "off")
    for name, machine in survey.plan.wiring.machines.items():
        if machine.frog is not None and machine.frog.by != "dead":
            yield _fault(f"frog of {name}", "without power")


def gap_bridged(survey: Survey) -> Musts:
    """Every gap between two blocks with feeders. The current then goes by way of either block;
    where both detectors surely see a tenth of it, it need not be told which."""
    wiring, taken = survey.plan.wiring, set[str]()
    fed = {feeder.block for feeder in wiring.feeders.values()}
    for joint in survey.plan.track.joints if wiring.given else ():
        one, two = survey.piece(joint.a.piece), survey.piece(joint.b.piece)
        if one.block == two.block or one.block not in fed or two.block not in fed:
            continue
        sign = "=" if joint.kind == "=" else "|"
        name = f"{one.title} {sign} {two.title}"
        name = f"{name} ({joint.gap})" if name in taken else name
        taken.add(name)
        blocks = (one.block or "", two.block or "")
        ways = [f"bridged, all current by way of {block}" for block in blocks]
        if _both_see_a_tenth(blocks, survey):
            ways = ["bridged"]
        if joint.kind != "=":
            yield _fault(f"gap {name}", *ways)


def _both_see_a_tenth(blocks: tuple[str, str], survey: Survey) -> bool:
    """Whether every current-sensing detector of two blocks surely sees a tenth of what stock draws;
    of several that share the current of one block, at least one of them, however it divides."""
    wiring = survey.plan.wiring
    senses = [
        d for d in wiring.detectors.values() if d.kind == "current-sensing" and d.block in blocks
    ]
    needed = [_needs(d, d.block, survey) for d in senses]
    tenth = Fraction(1, 10)
    if not senses or not all(part is not None and part <= tenth for part in needed):
        return False
    for block in blocks:
        fed = {feeder.name for feeder in wiring.feeders.values() if feeder.block == block}
        sharing = [d for d in wiring.detectors.values() if fed.intersection(d.through)]
        parts = [_needs(d, block, survey) or Fraction(0) for d in sharing]
        if len(sharing) > 1 and tenth < sum(parts) <= 1:
            return False
    return True


def _needs(detector: Detector, block: str, survey: Survey) -> Fraction | None:
    """What a detector needs to see stock, as a part of what the weakest stock draws: of its load,
    and of what its wheelsets let through. None where that is not known."""
    wiring = survey.plan.wiring
    district = wiring.districts.get(wiring.district_of.get(block, ""))
    volts = volts_at(district.supply, survey) if district else None
    trains = wiring.trains
    draws = [trains.load] if trains and trains.load is not None else []
    if trains and trains.wheelsets and volts:
        draws.append(volts / trains.wheelsets)
    if not draws or not detector.sensitivity:
        return None
    return detector.sensitivity / (min(draws) * detector.turns)


def points_stalled(survey: Survey) -> Musts:
    """Every switch machine with a motor."""
    for machine in _motors(survey):
        yield _fault(f"machine of {machine.turnout}", "stopped between its ends", "did not obey")


def report_stuck(survey: Survey) -> Musts:
    """Every detector and every contact. A note."""
    wiring = survey.plan.wiring
    for name in wiring.detectors:
        must = _fault(f"detector {name}", "stuck at clear", "stuck at occupied")
        yield Must(must.subjects, must.formula, note=True)
    for machine in wiring.machines.values():
        for leg in machine.contacts or ():
            name = f"contact {machine.turnout} {leg}"
            must = _fault(name, "stuck closed", "stuck open")
            yield Must(must.subjects, must.formula, note=True)


def more_favorable(survey: Survey) -> Musts:
    """Every signal, with something broken: it is not read as less restrictive than it would be
    with nothing broken."""
    for signal in survey.plan.signals.values():
        rank = dict.fromkeys(signal.aspect.values, 0)
        rank |= {aspect.name: aspect.indication.rank for aspect in survey.plan.chart.aspects}
        better = [
            all_of(atom(signal.reading, shown), atom(signal.sound_reading, meant))
            for shown in signal.aspect.values
            for meant in signal.aspect.values
            if rank[shown] > rank[meant]
        ]
        yield Must((signal.name,), any_of(*better), (signal.name,))


def may_move_points(survey: Survey) -> dict[str, Expr]:
    """The faults with which points may lie otherwise than without: of a machine with a motor, its
    power wire, and the supplies that it lives by; and the same of the board that throws it. Of
    each, that all these points lie as they were last told to, or move at that moment. (Where every
    lie of points is looked at for itself, and of derails and gates, nothing is to be asked.)"""
    found: dict[str, Expr] = {}
    for machine in _motors(survey):
        names = {f"machine of {machine.turnout}"}
        for board in survey.plan.wiring.drivers.values():
            if machine.turnout in board.throws and board.supply is not None:
                names |= {f"power wire of {board.name}", *_chain(board.supply, survey)}
        if machine.supply is not None:
            names |= {f"power wire of {machine.turnout}", *_chain(machine.supply, survey)}
        for name in names:
            found[name] = all_of(found.get(name, TRUE), _obeyed(machine, survey))
    return found


def _obeyed(machine: Machine, survey: Survey) -> Expr:
    piece = survey.plan.track.pieces.get(machine.turnout)
    told = next((what for what in survey.plan.inputs
                 if what.kind == "lever" and what.name == machine.lever), machine.told)  # fmt: skip
    if survey.plan.wiring.points_kept or piece is None or piece.kind not in ("turnout", "slip"):
        return TRUE
    ways = (all_of(atom(told, way), atom(points(machine.turnout), way))
            for way in ("normal", "reverse"))  # fmt: skip
    motions = (w for w in survey.plan.inputs if (w.kind, w.name) == ("motion", machine.turnout))
    moving = (atom(motion, "moving") for motion in motions if "moving" in motion.values)
    return any_of(*ways, *moving)


def _chain(supply: str | None, survey: Survey) -> Iterator[str]:
    """The faults of a supply and of those that feed it."""
    while supply is not None:
        yield f"supply {supply}"
        supply = survey.plan.wiring.supplies[supply].fed_by


def _motors(survey: Survey) -> Iterator[Machine]:
    return (m for m in survey.plan.wiring.machines.values() if m.motor is not None)


def _driven_heads(survey: Survey) -> Iterator[Observable]:
    """The colors of every head that a driver lights."""
    heads = {h.name: h.color for s in survey.plan.signals.values() for h in s.heads}
    for driver in survey.plan.wiring.drivers.values():
        for name in driver.heads:
            if name in heads:
                color = heads[name]
                yield Observable("color", name, color.values, color.usual)


def _fault(name: str, *ways: str) -> Must:
    """A fault, in any of its ways."""
    return Must((name,), atom(Observable("fault", name, ("sound", *ways), "sound"), *ways))
