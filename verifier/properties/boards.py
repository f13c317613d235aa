"""The inputs and outputs of boards: what must fit on each.

Common practice, no source.
"""

from collections.abc import Iterable, Iterator

from verifier.language.listing import several
from verifier.logic.expr import constant
from verifier.plan.model import Plan
from verifier.plan.wiring.hearing import Source, heard, told, watched_arms, wires_of
from verifier.plan.wiring.wiring_model import Driver
from verifier.properties.obligation import Obligation
from verifier.properties.wiring import heads_of, lamp_colors, reports_wanted


def driver_short_of_outputs(plan: Plan) -> Iterator[Obligation]:
    """A driver has an output for every lamp of its heads, and for whatever else it drives.

    A head has a lamp for each color that its rules or its driver can show. Flashing and steady are
    one lamp, and dark is none. An indicator or a bell takes one output, a machine two, one for each
    way, an electric lock one; and so does each wire that tells another board what this one keeps in
    memory or shows.
    Checked where `outputs` is given.
    """
    for driver in plan.wiring.drivers.values():
        if driver.outputs is None:
            continue
        heads = [(signal, head) for signal, head in heads_of(plan) if head.name in driver.heads]
        needs = {head.name: len(lamp_colors(head)) for _, head in heads}
        needs |= dict.fromkeys(driver.indicators, 1) | dict.fromkeys(driver.throws, 2)
        needs |= {f"the lock of {name}": 1 for name in driver.unlocks}
        needs |= _wires(told(driver, plan), plan)
        yield from _short(
            driver, "output", driver.outputs, needs,
            "Let another driver light some of these heads, or use one with {need}.",
            tuple(dict.fromkeys(signal.enters.piece for signal, _ in heads)),
        )  # fmt: skip


def driver_short_of_inputs(plan: Plan) -> Iterator[Obligation]:
    """A driver has an input for every wire that it reads.

    A detector has one wire, a turnout one for each of its contacts, a lever one for each of its
    contacts, a button or a relay one; so has the arm of a semaphore, where the driver reacts to a
    lamp that is out. Checked where `inputs` is given.
    """
    for driver in plan.wiring.drivers.values():
        if driver.inputs is None:
            continue
        needs = dict(reports_read(driver, plan)) | _wires(heard(driver, plan), plan)
        needs |= {f"the arm of {name}": 1 for name in watched_arms(plan, driver.name)}
        yield from _short(
            driver, "input", driver.inputs, needs, "Use a driver with {need}, or several.", ()
        )


def reports_read(driver: Driver, plan: Plan) -> Iterator[tuple[str, int]]:
    """The detectors, and turnouts with contacts, that a board reads, each with its wires."""
    if driver.reads is None:
        read = [(name, contacts) for name, contacts, _ in reports_wanted(driver, plan)]
    else:
        read = [(one.name, one.contacts) for one in driver.reads if one.heard is None]
    for name, contacts in read:
        machine = plan.wiring.machines.get(name)
        legs = machine.contacts if machine and machine.contacts else ("normal", "reverse")
        yield name, len(legs) if contacts else 1


def _wires(sources: Iterable[Source], plan: Plan) -> dict[str, int]:
    return {source[1]: len(wires_of(source, plan)) for source in sources}


def _short(
    driver: Driver, what: str, has: int, needs: dict[str, int], hint: str, pieces: tuple[str, ...]
) -> Iterator[Obligation]:
    need = sum(needs.values())
    counted = ", ".join(f"{count} for {name}" for name, count in needs.items())
    yield Obligation(
        f"driver-short-of-{what}s",
        (driver.name,),
        constant(need > has),
        f"driver {driver.name} has {several(has, what)} and needs {need} ({counted})",
        (driver.span,),
        pieces=pieces,
        place=driver.name,
        hint=hint.format(need=several(need, what)),
    )
