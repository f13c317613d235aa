"""Loads, voltage, fuses, wire and coils: whether supplies and wires carry what can be drawn at
once, and what stops a current that is too large.

``clearproof explain NAME`` prints the docstring of each property. Every head is first counted
with one lamp lit. If that is too much, the rules decide whether so many heads can be lit at
once. What boards, detectors, switch machines and boosters draw themselves counts all the time,
where the file gives it.

No ampacity of any electrical code is claimed here: follow the makers' ratings and the local
code.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from verifier.language.listing import listing
from verifier.language.source import Span
from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, constant, disjunction
from verifier.plan.model import Head, Plan
from verifier.plan.wiring.electrical_constants import (
    AMPACITY,
    MUST_OPEN,
    carries_for_long,
    loop_ohms,
    must_open,
    opens_at,
    short_circuit,
)
from verifier.plan.wiring.supplied import WireEnd, drawn_from, ends_of, reached_from
from verifier.plan.wiring.wiring_model import (
    District,
    Driver,
    Feeder,
    Fuse,
    Number,
    Run,
    SubBus,
    Supply,
)
from verifier.properties.amounts import amps, length, volts
from verifier.properties.obligation import Obligation

_CODE = "Follow the makers' ratings and the local code for wire and fuse."

# With more different sums of lamp currents than this, every head simply counts with one lamp lit.
MAX_SUMS = 2000

# When a head or an indicator draws current, and how much.
Load = tuple[Expr, Number]


def supply_overloaded(plan: Plan) -> Iterator[Obligation]:
    """All that a supply powers draws no more current at once than it gives.

    Of each head one lamp at a time, and each indicator and bell with as much; the rules decide
    which can be lit at once. What boards,
    detectors, boosters and switch machines draw themselves (`draws`) counts all the time, machines
    with the most that they draw: they may all stall, or be thrown, at once. Of trains, where the
    file gives the most that one draws (`load 1 mA to 800 mA`), one counts on track power. Checked
    for every supply whose amperes are given and which powers something whose current is given.
    """
    return _overloaded(
        "supply-overloaded",
        plan,
        lambda supply: supply.amps,
        "supply {} gives {}, and {} can draw up to {} at once",
        "Power some of that by another supply, or use one that gives {} or more.",
    )


def wire_overloaded(plan: Plan) -> Iterator[Obligation]:
    """All that a supply powers draws no more current at once than its fuse carries.

    The fuse protects the wire. A fuse that blows in normal use gets replaced by a larger one,
    which no longer protects the wire. Checked for every supply with a fuse that powers something
    whose current is given, for every driver with a fuse in its wire, and counted as for
    `supply-overloaded`; where the file gives the most that a train draws, for every fuse on the way
    to the rails. How much the wire itself may carry is for `wire-ampacity`. No
    ampacity is claimed here: follow the maker's ratings and the local code.
    """
    yield from _overloaded(
        "wire-overloaded",
        plan,
        lambda supply: supply.fuse,
        "the wire from {} has a fuse of {}, and {} can draw up to {} over it at once",
        f"Divide that among several fused wires or supplies. {_CODE}",
    )
    for driver in plan.wiring.drivers.values():
        loads, own = loads_of(driver, plan), driver.draws or Number(0)
        if driver.fuse is None or not (loads or driver.draws):
            continue
        most = amps(own + all_lit(loads))
        yield Obligation(
            "wire-overloaded",
            (driver.name,),
            more_than(driver.fuse.rating - own, loads),
            f"the wire to {driver.name} has a fuse of {amps(driver.fuse.rating)}, and "
            f"{driver.name} with its heads can draw up to {most} over it at once",
            (driver.span,),
            place=driver.name,
            hint=f"Let another driver light some of these heads, or use thicker wire with a fuse "
            f"that carries {most}. {_CODE}",
        )
    yield from _train_overloads(plan)


def _train_overloads(plan: Plan) -> Iterator[Obligation]:
    """No fuse at the beginning of a wire on the way to the rails blows with one train."""
    wiring, trains = plan.wiring, plan.wiring.trains
    if trains is None or trains.most_load is None:
        return
    wires: list[District | SubBus | Feeder] = [*wiring.districts.values()]
    for wire in (*wires, *wiring.sub_buses.values(), *wiring.feeders.values()):
        if wire.fuse is not None:
            most = amps(trains.most_load)
            yield Obligation(
                "wire-overloaded",
                (wire.name,),
                constant(trains.most_load > wire.fuse.rating),
                f"the wire to {wire.name} has a fuse of {amps(wire.fuse.rating)}, and one train "
                f"can draw up to {most} over it",
                (wire.span, trains.span),
                place=wire.name,
                hint=f"Use thicker wire with a fuse that carries {most}. {_CODE}",
            )


def _overloaded(
    name: str, plan: Plan, limit_of: Callable[[Supply], Number | None], trouble: str, hint: str
) -> Iterator[Obligation]:
    """For each supply with a limit that powers something: what is drawn at once is no more."""
    for load in loaded(plan):
        limit, supply = limit_of(load.supply), load.supply
        if limit is None:
            continue
        most = amps(load.most)
        lit = [driver.name for driver in load.drivers]
        whole = [f"{name} with its heads" if name in lit else name for name in load.drawing]
        only = [name for name in lit if name not in load.drawing]
        heads = [f"the heads of {listing(only)}"] if only else []
        yield Obligation(
            name,
            (supply.name,),
            more_than(limit - load.always, load.lamps),
            trouble.format(supply.name, amps(limit), listing([*whole, *heads]), most),
            (supply.span, *load.spans),
            place=supply.name,
            hint=hint.format(most),
        )


def voltage_drop(plan: Plan) -> Iterator[Obligation]:
    """Every driver gets the voltage it needs at the end of its wire, with all lamps lit that can
    be lit at once.

    That is the voltage of its supply, less the loss in both wires of its run: 2 x length x
    resistance per length x current, copper at 20 °C; the board's own current (`draws`) counts
    with that of its lamps. Checked where the driver's `needs` and the volts of its supply are
    given; a run counts when `lamps` gives the current.
    """
    for driver in plan.wiring.drivers.values():
        supply = plan.wiring.supplies.get(driver.supply or "")
        gives = plan.wiring.volts_of(supply.name) if supply is not None else None
        if supply is None or gives is None or driver.needs is None:
            continue
        spare = gives - driver.needs
        if driver.run is not None and driver.lamp is None and spare >= 0:
            continue
        ohms = loop_ohms(driver.run) if driver.run else 0.0
        loads = loads_of(driver, plan)
        own = driver.draws or Number(0)
        bears = more_than(Fraction(float(spare) / ohms) - own, loads) if ohms else FALSE
        left = float(gives) - ohms * float(all_lit(loads) + own)
        over = f" over {run_words(driver.run, plan)}" if driver.run else ""
        yield Obligation(
            "voltage-drop",
            (driver.name,),
            TRUE if spare < 0 else bears,
            f"driver {driver.name} needs {volts(driver.needs)}, but may get only "
            f"{volts(left, 'less')} of the {volts(gives)} from {supply.name}{over}",
            (driver.span, supply.span),
            place=driver.name,
            hint=f"Use thicker wire to {driver.name} (a smaller AWG number), a shorter run, or a "
            "supply nearer to it.",
        )


# ------------------------------------------------------------------ fuses


def fuse_too_large(plan: Plan) -> Iterator[Obligation]:
    """A short at the end of any wire surely opens the fuse of its supply.

    A fuse opens for sure only well above its rating: at twice, within two minutes, if it is of
    UL/CSA 248-14 (`fuse 2 A UL`); at 2.1 times, within half an hour, if of IEC 60127 (`fuse 2 A
    IEC`), or if the file does not say. An electronic limit opens at its rating (`fuse 5 A
    electronic`), a resettable fuse where its maker's sheet says (`fuse 2 A resettable trips at
    4 A`). Less than that may flow for as long as the short lasts, and heats the wire: where the
    supply gives no more, or where a long thin wire lets no more through when its far end is shorted
    (volts divided by the resistance of both wires, copper at 20 °C). Checked for every supply with
    a fuse, against its amperes, and against the runs whose length and AWG are given: to drivers, to
    districts, and on to sub-buses and feeders; for wires with a fuse of their own (`over 30 ft of
    16 AWG fuse 3 A UL`) one of the fuses on the way must open. (The National Electrical Code
    calls a supply of no more than 30 V and 100 VA Class 2: a remark, not a limit that is checked
    here.)
    """
    for supply in plan.wiring.supplies.values():
        opens = must_open(supply)
        if supply.fuse is not None and opens is not None and supply.amps is not None:
            yield Obligation(
                "fuse-too-large",
                (supply.name,),
                constant(supply.amps < opens),
                f"{_opens(supply.name, _fuse_of(supply))}, and {supply.name} gives no more than "
                f"{amps(supply.amps, 'less')}: a short may last",
                (supply.span,),
                place=supply.name,
                hint=_smaller_fuse(supply, supply.amps),
            )
        yield from _shorts(supply, plan)


def _fuse_of(supply: Supply) -> Fuse:
    return Fuse(supply.fuse or Number(0), supply.fuse_kind, supply.trips)


def _opens(of: str, fuse: Fuse) -> str:
    """When the fuse of a supply, or at the beginning of a wire, opens: begins a sentence."""
    opens = amps(opens_at(fuse), "more")
    if opens_at(fuse) == fuse.rating:
        return f"the fuse of {of} opens at {opens}"
    kind = {"UL": ", by UL 248-14", "IEC": ", by IEC 60127"}.get(fuse.kind or "", "")
    return f"the fuse of {of}, {amps(fuse.rating)}, surely opens only at {opens}{kind}"


def _smaller_fuse(supply: Supply, short: Number) -> str:
    """What to do where a short draws no more than so much."""
    if supply.trips is not None or supply.fuse_kind == "electronic":
        return f"Use a smaller fuse, or a supply that gives more. {_CODE}"
    kind = f" {supply.fuse_kind}" if supply.fuse_kind else ""
    most = amps(short / MUST_OPEN[supply.fuse_kind], "less")
    electronic = "or, if the supply limits its current itself, say so: `fuse 5 A electronic`"
    other = electronic if not kind else "or a supply that gives more"
    return f"Use a fuse of no more than {most}{kind}; {other}. {_CODE}"


def _shorts(supply: Supply, plan: Plan) -> Iterator[Obligation]:
    """At the end of each wire a short opens some fuse on the way there."""
    for end in ends_of(supply, plan.wiring):
        first = [(supply.name, _fuse_of(supply))] if supply.fuse is not None else []
        fuses = [*first, *end.fuses]
        flows = _flows(supply, end)
        if not fuses or flows is None:
            continue
        of, fuse = min(fuses, key=lambda each: opens_at(each[1]))
        over = f", over {listing([run_words(run, plan) for run in end.runs])}" if end.runs else ""
        yield Obligation(
            "fuse-too-large",
            (supply.name, end.name),
            constant(flows < opens_at(fuse)),
            f"a short at the end of the wire to {end.name} draws no more than "
            f"{amps(flows, 'less')} from {supply.name}{over}: {_opens(of, fuse)}",
            (supply.span, *end.spans),
            place=end.name,
            hint=f"Give the wire to {end.name} a smaller fuse of its own (`fuse 1 A UL` behind its "
            f"size), or thicker wire (a smaller AWG number). {_CODE}",
        )


def _flows(supply: Supply, end: WireEnd) -> Number | float | None:
    """The most that flows when the end of a wire is shorted; None where that is not in the file.
    What the supply gives counts for wires with fuses of their own; else the supply's own fuse is
    held against it."""
    known: list[Number | float] = []
    if supply.volts is not None and end.runs:
        known.append(short_circuit(supply.volts, *end.runs))
    if supply.amps is not None and end.fuses:
        known.append(supply.amps)
    return min(known, default=None)


def wire_ampacity(plan: Plan) -> Iterator[Obligation]:
    """No wire is thinner than the fuse of its supply allows.

    A wire must carry all that its fuse carries, its own or one before it (that of the supply, of a
    district, of a sub-bus); without a fuse, or where the supply gives less, all that the supply
    gives. What a wire of a size may carry is in the file (`wire 22 AWG carries
    3 A`): take it from the maker of the wire and the local code. Where the file does not say, the
    figures of NEC 402.5 and 240.4(D) for 14, 16 and 18 AWG, the smaller of both and from memory,
    can show that a wire is too thin, but never that it is thick enough: nothing is proved of it
    then. Checked for the runs whose AWG is given.
    """
    for supply in plan.wiring.supplies.values():
        for name, own, _, spans, fuses in ends_of(supply, plan.wiring):
            limits = [most_for_long(supply), *(carries_for_long(fuse) for _, fuse in fuses)]
            most = min((limit for limit in limits if limit is not None), default=None)
            if own is None or most is None:
                continue
            gauge = own.gauge
            carries = plan.wiring.ampacity.get(gauge)
            said = "which carries"
            if carries is None:
                carries, said = AMPACITY.get(gauge), "which by NEC 402.5 and 240.4(D) carries"
                if carries is None or carries >= most:
                    continue
            yield Obligation(
                "wire-ampacity",
                (supply.name, name),
                constant(carries < most),
                f"the wire to {name} is of {gauge} AWG, {said} {amps(carries, 'less')}, and up to "
                f"{amps(most, 'more')} from {supply.name} may flow in it all the time",
                (supply.span, *spans),
                place=name,
                hint=f"Use thicker wire (a smaller AWG number), or a fuse of no more than "
                f"{amps(carries, 'less')}. {_CODE}",
            )


def most_for_long(supply: Supply) -> Number | None:
    """The largest current that may flow from a supply all the time, as its fuse is rated and as
    much as it gives; None where the file gives neither."""
    fuse = carries_for_long(_fuse_of(supply)) if supply.fuse is not None else None
    return min((limit for limit in (fuse, supply.amps) if limit is not None), default=None)


def coil_burns(plan: Plan) -> Iterator[Obligation]:
    """A twin-coil machine gets its current in a pulse.

    Its coils are made for an instant: on a contact that stays closed (a lever, or a rule that
    lasts) they burn out within seconds. Give such a machine a capacitor discharge unit, or an
    output that pulses, and write `pulse 50 ms`. Checked for everything with `motor snap` that a
    lever, buttons or a rule throw. Buttons are let go: their machines need no `pulse`.
    """
    for name, throw in plan.locking.throws.items():
        if not throw.snap or throw.by in ("anyone", "hand"):
            continue
        by = f"lever {throw.lever}" if throw.by == "lever" else "the rule that throws it"
        yield Obligation(
            "coil-burns",
            (name,),
            constant(throw.pulse is None and throw.by != "buttons"),
            f"{name} has a twin-coil machine, and {by} keeps current on its coil for as long as it "
            "lasts: the coil burns",
            (throw.span,),
            pieces=(name,) if name in plan.track.pieces else (),
            place=name,
            hint=f"Throw {name} by a capacitor discharge unit, or an output that pulses, and write "
            "`pulse 50 ms`; or use a slow machine. Follow the maker's sheet.",
        )


# ------------------------------------------------------------------ what is lit together


@dataclass(frozen=True, slots=True)
class SupplyLoad:
    """What a supply powers: its ``drivers`` with lamps, the ``lamps`` of their heads, and the names
    of all that is ``drawing`` current of its own, ``always`` as much in all."""

    supply: Supply
    drivers: tuple[Driver, ...]
    lamps: tuple[Load, ...]
    drawing: tuple[str, ...]
    always: Number
    spans: tuple[Span, ...]

    @property
    def most(self) -> Number:
        """The current in amperes with one lamp of every head lit."""
        return self.always + all_lit(self.lamps)


def loaded(plan: Plan) -> Iterator[SupplyLoad]:
    """The supplies that power something whose current is given, with what they power."""
    for supply in plan.wiring.supplies.values():
        behind = reached_from(supply, plan.wiring)
        drivers = [d for d in plan.wiring.drivers.values() if d.supply in behind and d.lamp]
        drawing = {name: (current, span) for name, current, span in drawn_from(supply, plan.wiring)
                   if current is not None}  # fmt: skip
        if drivers or drawing:
            spans = dict.fromkeys([*(d.span for d in drivers), *(s for _, s in drawing.values())])
            yield SupplyLoad(
                supply,
                tuple(drivers),
                tuple(load for d in drivers for load in loads_of(d, plan)),
                tuple(drawing),
                sum((current for current, _ in drawing.values()), Number(0)),
                tuple(spans),
            )


def loads_of(driver: Driver, plan: Plan) -> list[Load]:
    """The heads and indicators of a driver with the current of one lamp; empty where it gives no
    `lamps`."""
    if driver.lamp is None:
        return []
    heads = (head for signal in plan.signals.values() for head in signal.heads)
    lit = [burning(head) for head in heads if head.name in driver.heads]
    lit += [atom(plan.indicators[name].what, "on") for name in driver.indicators]
    return [(each, driver.lamp) for each in lit]


def all_lit(loads: Sequence[Load]) -> Number:
    """The current in amperes with one lamp of every head lit."""
    return sum((lamp for _, lamp in loads), Number(0))


def more_than(limit: Number, loads: Sequence[Load]) -> Expr:
    """The lit heads together draw more than ``limit`` amperes.

    Counts head by head, like a decision diagram over the current drawn so far: heads with equal
    currents share their sums, so that the expression stays small. Beyond :data:`MAX_SUMS`
    different sums the result is TRUE, the safe side."""
    if all_lit(loads) <= limit:
        return FALSE
    if limit < 0:
        return TRUE
    # The sums that the first 0, 1, 2, ... heads can draw.
    reached = [{Number(0)}]
    for _, lamp in loads:
        reached.append({s + extra for s in reached[-1] for extra in (Number(0), lamp)})
        if len(reached[-1]) > MAX_SUMS:
            return TRUE
    rest = Number(0)
    too_much = {drawn: constant(drawn > limit) for drawn in reached[-1]}
    for (lit, lamp), sums in zip(reversed(loads), reversed(reached[:-1]), strict=True):
        rest += lamp
        too_much = {
            drawn: TRUE if drawn > limit
            else FALSE if drawn + rest <= limit
            else disjunction(too_much[drawn], conjunction(lit, too_much[drawn + lamp]))
            for drawn in sums
        }  # fmt: skip
    return too_much[Number(0)]


def burning(head: Head) -> Expr:
    """That a lamp of a head is lit."""
    return atom(head.lens, *(color for color in head.lens.values if color != "dark"))


def run_words(run: Run, plan: Plan) -> str:
    """``20 ft of 14 AWG``."""
    return f"{length(run.length, plan.wiring.units.wire)} of {run.gauge} AWG"
