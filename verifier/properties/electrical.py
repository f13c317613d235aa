"""Loads, voltage and fuses: whether supplies and wires carry what can be lit at once.

``clearproof explain NAME`` prints the docstring of each property. Every head is first counted
with one lamp lit. If that is too much, the rules decide whether so many heads can be lit at
once. Drivers, detectors and switch machines do not count, since a file does not give the
current that they draw themselves.

No ampacity of any electrical code is claimed here: follow the makers' ratings and the local
code.
"""

from collections.abc import Callable, Iterator
from fractions import Fraction

from verifier.language.listing import listing
from verifier.language.source import Span
from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, constant, disjunction
from verifier.plan.model import Head, Plan
from verifier.plan.wiring.electrical_constants import loop_ohms, short_circuit
from verifier.plan.wiring.wiring_model import Driver, Number, Run, Supply
from verifier.properties.amounts import amps, length, volts
from verifier.properties.obligation import Obligation

_CODE = "Follow the makers' ratings and the local code for wire and fuse."

# With more different sums of lamp currents than this, every head simply counts with one lamp lit.
MAX_SUMS = 2000

# A head and what it draws when a lamp of it is lit.
Load = tuple[Head, Number]


def supply_overloaded(plan: Plan) -> Iterator[Obligation]:
    """The lamps that can be lit at once draw no more current than their supply gives.

    One lamp of a head at a time; the rules decide which heads can be lit at once. Checked for
    every supply whose amperes are given and which powers a driver with `lamps`.
    """
    return _overloaded(
        "supply-overloaded",
        plan,
        lambda supply: supply.amps,
        "supply {} gives {}, and the heads of {} can draw up to {} at once",
        "Power some of these drivers by another supply, or use one that gives {} or more.",
    )


def wire_overloaded(plan: Plan) -> Iterator[Obligation]:
    """The lamps that can be lit at once draw no more current than the fuse of their supply lets
    pass.

    The fuse protects the wire. A fuse that blows in normal use gets replaced by a larger one,
    which no longer protects the wire. Checked for every supply with a fuse that powers a driver
    with `lamps`. How much the wire itself may carry is not judged: no ampacity is claimed here,
    so follow the maker's ratings and the local code.
    """
    return _overloaded(
        "wire-overloaded",
        plan,
        lambda supply: supply.fuse,
        "the wire from {} has a fuse of {}, and the heads of {} can draw up to {} over it at once",
        f"Divide these heads among several fused wires or supplies. {_CODE}",
    )


def _overloaded(
    name: str, plan: Plan, limit_of: Callable[[Supply], Number | None], trouble: str, hint: str
) -> Iterator[Obligation]:
    """For each supply with drivers and a limit: the heads lit at once draw no more than that."""
    for supply, drivers, loads in loaded(plan):
        limit = limit_of(supply)
        if limit is None:
            continue
        most = amps(all_lit(loads))
        heads_of = listing([d.name for d in drivers])
        yield Obligation(
            name,
            (supply.name,),
            more_than(limit, loads),
            trouble.format(supply.name, amps(limit), heads_of, most),
            (supply.span, *(d.span for d in drivers)),
            place=supply.name,
            hint=hint.format(most),
        )


def voltage_drop(plan: Plan) -> Iterator[Obligation]:
    """Every driver gets the voltage it needs at the end of its wire, with all lamps lit that can
    be lit at once.

    That is the voltage of its supply, less the loss in both wires of its run: 2 x length x
    resistance per length x current, copper at 20 °C. Checked where the driver's `needs` and
    the volts of its supply are given; a run counts when `lamps` gives the current.
    """
    for driver in plan.wiring.drivers.values():
        supply = plan.wiring.supplies.get(driver.supply or "")
        if supply is None or supply.volts is None or driver.needs is None:
            continue
        spare = supply.volts - driver.needs
        if driver.run is not None and driver.lamp is None and spare >= 0:
            continue
        ohms = loop_ohms(driver.run) if driver.run else 0.0
        loads = loads_of(driver, plan)
        bears = more_than(Fraction(float(spare) / ohms), loads) if ohms else FALSE
        left = float(supply.volts) - ohms * float(all_lit(loads))
        over = f" over {run_words(driver.run, plan)}" if driver.run else ""
        yield Obligation(
            "voltage-drop",
            (driver.name,),
            TRUE if spare < 0 else bears,
            f"driver {driver.name} needs {volts(driver.needs)}, but may get only {volts(left)} of "
            f"the {volts(supply.volts)} from {supply.name}{over}",
            (driver.span, supply.span),
            place=driver.name,
            hint=f"Use thicker wire to {driver.name} (a smaller AWG number), a shorter run, or a "
            "supply nearer to it.",
        )


# ------------------------------------------------------------------ fuses


def fuse_too_large(plan: Plan) -> Iterator[Obligation]:
    """A short at the end of any wire blows the fuse of its supply.

    A fuse rated above the current of its supply never blows. Nor does a fuse rated above the
    current that flows through a long thin wire when its far end is shorted: volts divided by
    the resistance of both wires, copper at 20 °C. The wire then heats for as long as the short
    lasts. Checked for every supply with a fuse, against its amperes, and against the runs whose
    length and AWG are given: to drivers, to districts, and on to feeders. (The National
    Electrical Code calls a supply of no more than 30 V and 100 VA Class 2: a remark, not a
    limit that is checked here.)
    """
    for supply in plan.wiring.supplies.values():
        if supply.fuse is None:
            continue
        if supply.amps is not None:
            yield Obligation(
                "fuse-too-large",
                (supply.name,),
                constant(supply.fuse > supply.amps),
                f"the fuse of {supply.name}, {amps(supply.fuse)}, never blows: {supply.name} gives "
                f"no more than {amps(supply.amps)}",
                (supply.span,),
                place=supply.name,
                hint=f"Use a fuse of no more than {amps(supply.amps)}. {_CODE}",
            )
        if supply.volts is not None:
            yield from _shorts(supply, supply.fuse, supply.volts, plan)


def _shorts(supply: Supply, fuse: Number, across: Number, plan: Plan) -> Iterator[Obligation]:
    for name, runs, spans in ends_of(supply, plan):
        flows = short_circuit(across, *runs)
        yield Obligation(
            "fuse-too-large",
            (supply.name, name),
            constant(flows <= fuse),
            f"a short at the end of the wire to {name} draws no more than {amps(flows)} from "
            f"{supply.name}, over {listing([run_words(run, plan) for run in runs])}: the fuse of "
            f"{amps(fuse)} never blows",
            (supply.span, *spans),
            place=name,
            hint=f"Give the wire to {name} a smaller fuse of its own, or thicker wire (a smaller "
            f"AWG number). {_CODE}",
        )


def ends_of(supply: Supply, plan: Plan) -> Iterator[tuple[str, tuple[Run, ...], tuple[Span, ...]]]:
    """The ends of the wires from a supply: the name, the runs that lead there, and the spans."""
    wiring = plan.wiring
    for driver in wiring.drivers.values():
        if driver.supply == supply.name and driver.run:
            yield driver.name, (driver.run,), (driver.span,)
    for district in wiring.districts.values():
        if district.supply != supply.name:
            continue
        bus = (district.run,) if district.run else ()
        if bus:
            yield district.name, bus, (district.span,)
        for feeder in wiring.feeders.values():
            if wiring.district_of.get(feeder.block) == district.name and feeder.run:
                yield feeder.name, (*bus, feeder.run), (feeder.span, district.span)


# ------------------------------------------------------------------ what is lit together


def loaded(plan: Plan) -> Iterator[tuple[Supply, list[Driver], list[Load]]]:
    """The supplies that power drivers with lamps, with these drivers and their loads."""
    for supply in plan.wiring.supplies.values():
        drivers = [d for d in plan.wiring.drivers.values() if d.supply == supply.name and d.lamp]
        if drivers:
            yield supply, drivers, [load for d in drivers for load in loads_of(d, plan)]


def loads_of(driver: Driver, plan: Plan) -> list[Load]:
    """The heads of a driver with the current of one lamp; empty where it gives no `lamps`."""
    if driver.lamp is None:
        return []
    heads = (head for signal in plan.signals.values() for head in signal.heads)
    return [(head, driver.lamp) for head in heads if head.name in driver.heads]


def all_lit(loads: list[Load]) -> Number:
    """The current in amperes with one lamp of every head lit."""
    return sum((lamp for _, lamp in loads), Number(0))


def more_than(limit: Number, loads: list[Load]) -> Expr:
    """The lit heads together draw more than ``limit`` amperes.

    Counts head by head, like a decision diagram over the current drawn so far: heads with equal
    currents share their sums, so that the expression stays small. Beyond :data:`MAX_SUMS`
    different sums the result is TRUE, the safe side."""
    if all_lit(loads) <= limit:
        return FALSE
    # The sums that the first 0, 1, 2, ... heads can draw.
    reached = [{Number(0)}]
    for _, lamp in loads:
        reached.append({s + extra for s in reached[-1] for extra in (Number(0), lamp)})
        if len(reached[-1]) > MAX_SUMS:
            return TRUE
    rest = Number(0)
    too_much = {drawn: constant(drawn > limit) for drawn in reached[-1]}
    for (head, lamp), sums in zip(reversed(loads), reversed(reached[:-1]), strict=True):
        rest += lamp
        lit = _lit(head)
        too_much = {
            drawn: TRUE if drawn > limit
            else FALSE if drawn + rest <= limit
            else disjunction(too_much[drawn], conjunction(lit, too_much[drawn + lamp]))
            for drawn in sums
        }  # fmt: skip
    return too_much[Number(0)]


def _lit(head: Head) -> Expr:
    return atom(head.lens, *(color for color in head.lens.values if color != "dark"))


def run_words(run: Run, plan: Plan) -> str:
    """``20 ft of 14 AWG``."""
    return f"{length(run.length, plan.wiring.units.wire)} of {run.gauge} AWG"
