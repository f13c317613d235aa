"""Census of faults: everything that may break, under the property that covers it."""

from collections.abc import Iterator
from fractions import Fraction

from verifier.census.says import Must, Musts
from verifier.census.survey import Survey
from verifier.logic.expr import atom
from verifier.plan.observables import Observable, facts_unfolded
from verifier.plan.wiring.wiring_model import Detector, Machine


def lamp_out(survey: Survey) -> Musts:
    """Every color of every head that a driver lights, and every such head as a whole."""
    for head in _driven_heads(survey):
        for color in head.values:
            if color != "dark":
                yield _fault(f"lamp {head.name} {color}", "out")
        yield _fault(f"head {head.name}", "dark")


def wire_broken(survey: Survey) -> Musts:
    """Every bus of a district, feeder, common return; the power wire of every detector, driver and
    motor with a supply; the wire from every detector, and from every contact, to every driver
    that it is wired to."""
    wiring = survey.plan.wiring
    if not wiring.given:
        return
    names = [f"bus of {name}" for name in wiring.districts]
    names += [f"feeder {name}" for name in wiring.feeders]
    names += [f"common return of {' and '.join(group)}" for group in wiring.common_returns]
    names += [f"power wire of {d.name}" for d in wiring.detectors.values() if d.supply is not None]
    names += [f"power wire of {d.name}" for d in wiring.drivers.values() if d.supply is not None]
    names += [f"power wire of {m.turnout}" for m in wiring.machines.values()
              if m.motor and m.supply is not None]  # fmt: skip
    for detector in wiring.detectors.values():
        asked = ("block report", detector.block)
        names += _wires(detector.name, _wired_to(detector.name, asked, survey, contacts=False))
    for machine in wiring.machines.values():
        asked = ("points report", machine.turnout)
        drivers = _wired_to(machine.turnout, asked, survey, contacts=True)
        for leg in machine.contacts or ():
            names += _wires(f"{machine.turnout} {leg}", drivers)
    for name in names:
        yield _fault(name, "broken")


def _wires(source: str, drivers: list[str]) -> Iterator[str]:
    return (f"wire from {source}" + (f" to {driver}" if driver else "") for driver in drivers)


def _wired_to(
    name: str, asked: tuple[str, str], survey: Survey, *, contacts: bool
) -> list[str]:
    """The drivers that read it: those that list it; those without a list whose rules ask for it.
    Without any driver, one wire that leads nowhere in particular."""
    plan = survey.plan
    if not plan.wiring.drivers:
        return [""]
    found = []
    for driver in plan.wiring.drivers.values():
        if driver.reads is None:
            reads = asked in _rules_read(driver.heads, survey)
        else:
            reads = any(r.name == name and r.contacts == contacts for r in driver.reads)
        if reads:
            found.append(driver.name)
    return found


def _rules_read(heads: tuple[str, ...], survey: Survey) -> set[tuple[str, str]]:
    """What the rules of the signals of some heads read."""
    plan, found = survey.plan, set[tuple[str, str]]()
    for signal in plan.signals.values():
        if any(head.name in heads for head in signal.heads):
            facts = facts_unfolded(signal.conditions, lambda name: plan.conditions[name].condition)
            found |= {(fact.what.kind, fact.what.name) for fact in facts}
    return found


def supply_lost(survey: Survey) -> Musts:
    """Every supply."""
    for name in survey.plan.wiring.supplies:
        yield _fault(f"supply {name}", "off")


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
    wiring = survey.plan.wiring
    senses = [
        d for d in wiring.detectors.values() if d.kind == "current-sensing" and d.block in blocks
    ]
    return bool(senses) and all(_sees(d, Fraction(1, 10), survey) for d in senses)


def _sees(detector: Detector, share: Fraction, survey: Survey) -> bool:
    """Whether a detector surely sees this share of what the weakest wheelset draws."""
    wiring = survey.plan.wiring
    district = wiring.districts.get(wiring.district_of.get(detector.block, ""))
    supply = wiring.supplies.get(district.supply) if district else None
    known = wiring.trains and wiring.trains.wheelsets and supply and supply.volts
    if not known or not detector.sensitivity:
        return False
    assert wiring.trains and wiring.trains.wheelsets and supply and supply.volts
    drawn = supply.volts / wiring.trains.wheelsets * share
    return drawn * detector.turns >= detector.sensitivity


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


def may_move_points(survey: Survey) -> set[str]:
    """The faults with which points may lie otherwise than without: of a machine with a motor, its
    power wire, and the supplies that it lives by."""
    found: set[str] = set()
    supplies = survey.plan.wiring.supplies
    for machine in _motors(survey):
        found |= {f"machine of {machine.turnout}"}
        supply = machine.supply
        if supply is not None:
            found |= {f"power wire of {machine.turnout}"}
        while supply is not None:
            found |= {f"supply {supply}"}
            supply = supplies[supply].fed_by
    return found


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
