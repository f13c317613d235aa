"""The wiring list: every conductor to run, to be ticked off under the table.

In: a plan, and the colors of wire at hand. Out: a sheet.
"""

from collections.abc import Iterator, Sequence

from verifier.language.listing import listing
from verifier.logic.expr import TRUE
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.signals.heads import signal_of
from verifier.plan.units import Unit
from verifier.plan.wiring.hearing import heard
from verifier.plan.wiring.spots import over_words
from verifier.plan.wiring.supplied import ends_of
from verifier.plan.wiring.wiring_model import Run
from verifier.properties.amounts import amps, length
from verifier.properties.wiring import feeder_undetected, head_without_driver, supply_mismatch
from verifier.sheets.conductors import (
    NO_DISTRICT,
    PANEL,
    SUPPLIES,
    Conductor,
    is_locked,
    pulse_of,
)
from verifier.sheets.gaps import NOT_GIVEN, TICK
from verifier.sheets.options import SheetOptions
from verifier.sheets.sheet import PictureOf, Sheet, Table
from verifier.sheets.terminals import SOLDERED, Harness, Wire, harness
from verifier.sheets.wire_colors import Colors, color_conflicts

_CAUTIONS = (
    "Caution: only the low-voltage side is described here. Leave the mains side of every supply "
    "to a qualified person; buy supplies that are ready made. Switch everything off and unplug it "
    "before you touch a wire. The fuse stands at the supply, so that it protects every wire "
    "behind it. Solder with eye protection and fresh air. Makers' ratings and the local code come "
    "before anything on this sheet.",
)
_COLUMNS = (
    "done", "no.", "from", "to", "function", "color", "gauge", "length", "passes through",
    "from terminal", "to terminal", "cable",
)  # fmt: skip
NO_WIRING = 'The file says nothing of its wiring: see grammar/reference.md, "Wiring".'


def wiring_sheet(plan: Plan, asked: SheetOptions) -> Sheet:
    """Every conductor, district by district, with its color.

    Raises :class:`InputError` where the colors at hand run out."""
    title = f"Wiring list: {plan.title}"
    wired = harness(plan, asked.colors)
    wires, colors = [wire.conductor for wire in wired.wires], wired.colors
    if not wires:
        return Sheet("wiring", title, (), (NO_WIRING,), _CAUTIONS)
    tables = []
    for section in dict.fromkeys(wire.section for wire in wires):
        rows = tuple(
            _row(wire, plan.wiring.units.wire)
            for wire in wired.wires
            if wire.conductor.section == section
        )
        heading = section if section in (SUPPLIES, PANEL, NO_DISTRICT) else f"District {section}"
        numeric = frozenset(("no.", "length", "cable"))
        tables.append(Table(heading, _COLUMNS, rows, numeric=numeric))
    tables.append(
        Table(
            "Colors",
            ("color", "function"),
            tuple((color, str(function)) for function, color in colors.items()),
            tuple(_checked(plan, wires, colors)),
        )
    )
    tables += [_detectors(plan), _terminal_blocks(wired), _cables(wired)]
    notes = (
        "The cut rail is cut at every gap; its feeders pass through the detectors. The "
        "through rail is cut only where a gap goes through both. Outputs and buses are named after "
        "the rail they feed.",
        "A length is one way, as the file gives it: add what you need to reach and to strip. "
        "Write the number of the wire on both its ends before you let go of it: "
        "`clearproof sheet FILE labels` prints labels, `clearproof draw FILE --wiring` draws it "
        "all, with the same numbers. Terminals are numbered on each device, one for each wire.",
        *_not_given(plan, wires),
    )
    return Sheet(
        "wiring", title, tuple(t for t in tables if t.rows), notes, _CAUTIONS,
        PictureOf(frozenset(("feeders", "detectors", "gaps"))), wiring=True,
    )  # fmt: skip


def _row(each: Wire, unit: Unit) -> tuple[str, ...]:
    wire = each.conductor
    through = ", ".join(
        f"{name}, {turns} turns" if turns > 1 else name for name, turns in wire.through
    )
    return (
        TICK, str(each.number), str(wire.start), str(wire.end), wire.function.role, each.color,
        gauge_words(wire.run) or NOT_GIVEN,
        length(wire.run.length, unit) if wire.run else NOT_GIVEN, through or "-",
        *(str(t.number) if t else "-" for t in (each.start, each.end)), str(each.cable or "-"),
    )  # fmt: skip


def _terminal_blocks(wired: Harness) -> Table:
    """For each device its terminals, and which are joined."""
    rows = []
    for block in wired.blocks:
        if block.device.kind == SOLDERED:
            continue
        numbers = [(shown, [t.number for t in found]) for shown, found in block.ports]
        joined = [f"{shown}: {span_words(n)}" for shown, n in numbers if len(n) > 1]
        rows.append((TICK, block.device.title, str(block.terminals), "; ".join(joined) or "-"))
    return Table(
        "Terminal blocks", ("done", "at", "terminals", "joined by jumpers"), tuple(rows),
        ("Proposed: a block beside each device, one wire to a terminal. Where a device has screws "
         "of its own for some of these, they do as well.",), frozenset(("terminals",)),
    )  # fmt: skip


def _cables(wired: Harness) -> Table:
    rows = tuple(
        (TICK, str(cable.number), *cable.between, str(len(cable.wires)),
         ", ".join(str(number) for number in cable.wires))
        for cable in wired.cables
    )  # fmt: skip
    return Table(
        "Cables", ("done", "cable", "from", "to", "wires", "numbers"), rows,
        ("Proposed: what runs between the same two places, tied or in one sheath. Wires of track "
         "power run by themselves: what flows in them disturbs the others.",),
        frozenset(("cable", "wires")),
    )  # fmt: skip


def span_words(numbers: Sequence[int]) -> str:
    """Numbers in words: `4-9`, or `4, 6` where they do not follow each other."""
    first, last = numbers[0], numbers[-1]
    if len(numbers) > 2 and last - first == len(numbers) - 1:
        return f"{first}-{last}"
    return ", ".join(map(str, numbers))


def gauge_words(run: Run | None) -> str:
    """Its size; empty where the file does not say."""
    return f"{run.gauge} AWG" if run else ""


def _detectors(plan: Plan) -> Table:
    rows = []
    for detector in plan.wiring.detectors.values():
        if detector.kind == "spot":
            unit = plan.wiring.units.track
            looks = ", ".join(length(s.at, unit) + over_words(s) for s in detector.spots)
            how = f"at {looks} from the left end of {detector.block}"
        else:
            how = f"feeders {', '.join(plan.wiring.leads_through(detector))}"
            how += f", each {detector.turns} times" if detector.turns > 1 else ""
        closed = detector.closed_when or "clear (assumed)"
        rows.append((TICK, detector.name, detector.block, how, f"when {closed}"))
    return Table(
        "Detectors", ("done", "detector", "block", "looks", "output closed"), tuple(rows),
        ("Check each one before the next: stock on its block turns it over, stock on the blocks "
         "beside it does not. With several feeders to a block this does not show that each of them "
         "passes through: for that, open the leads that do, and the rails must be dead.",),
    )  # fmt: skip


def _checked(plan: Plan, wires: Sequence[Conductor], colors: Colors) -> Iterator[str]:
    wrong = color_conflicts(wires, colors, plan.wiring)
    if not wrong:
        yield (
            "Checked: every color has one function, and none belongs to two supplies that have no "
            "return in common. red/white is red with a stripe of white."
        )
    for color, one, other in wrong:
        yield f"NOT KEPT APART: {color} wires are part of {one} and of {other}."


def _not_given(plan: Plan, wires: Sequence[Conductor]) -> Iterator[str]:
    unknown = sum(1 for wire in wires if wire.run is None)
    if unknown:
        yield (
            f"Length and size of {unknown} of {len(wires)} wires are not in the file: measure them "
            "where they will lie."
        )
    elsewhere = [f"{what} ({', '.join(drivers)})" for what, drivers in not_listed(plan).items()]
    if elsewhere:
        yield (
            "Not listed, since the file does not say how they reach the drivers whose rules test "
            f"them: {'; '.join(elsewhere)}."
        )
    ends = (end for s in plan.wiring.supplies.values() for end in ends_of(s, plan.wiring))
    fuses = dict(pair for end in ends for pair in end.fuses)
    if fuses:
        each = listing([f"{of} {amps(fuse.rating)}" for of, fuse in fuses.items()])
        yield f"Fuses of single wires stand where the wire begins, at its supply or bus: {each}."
    spots = [d.name for d in plan.wiring.detectors.values() if len(d.spots) > 1]
    if spots:
        yield (
            f"Not listed: the wires between the spots of {', '.join(spots)}. How they are joined "
            "to one output is on their maker's sheet."
        )
    locked = [
        n for n, m in plan.wiring.machines.items() if m.motor and is_locked(plan, n) and not m.board
    ]
    if locked:
        yield (
            f"Not listed: the locks of {', '.join(locked)} and their inputs. The wires of the "
            "motor begin at the lock: how it is built is not in the file."
        )
    coils = [n for n, m in plan.wiring.machines.items() if m.motor == "snap"]
    pulsed = [n for n in coils if pulse_of(plan, n) is not None]
    if pulsed:
        each = listing([f"{n} {float(pulse_of(plan, n) or 0) * 1000:g} ms" for n in pulsed])
        yield (
            f"Twin-coil machines get a pulse: {each}. Their throw wires begin at a capacitor "
            "discharge unit, or at an output that pulses, and the lever or program only starts "
            "it. A coil on a contact that stays closed burns."
        )
    yield from _frogs(plan)
    for name, machine in plan.wiring.machines.items():
        if machine.bond is not None:
            most = length(machine.bond.length, plan.wiring.units.wire)
            yield (
                f"Not listed: the jumpers that bond the rails of {name}, soldered on before its "
                f"fouling point, each at most {most} of {gauge_words(machine.bond)}."
            )
    bare = [n for n in coils if n not in pulsed]
    if bare:
        yield (
            f"The pulse of the twin-coil machines of {listing(bare)} is not in the file. Put a "
            "capacitor discharge unit, or contacts that close for an instant only, before their "
            "throw wires: a coil on a contact that stays closed burns."
        )
    for name, machine in plan.wiring.machines.items():
        if machine.contacts is None:
            yield f"Contacts of {name} are not in the file, so no wire to them is listed."
    for obligation in (
        *supply_mismatch(plan),
        *feeder_undetected(plan),
        *head_without_driver(plan),
    ):
        if obligation.formula == TRUE:
            yield f"Repair first ({obligation.property}): {obligation.trouble}."


def _frogs(plan: Plan) -> Iterator[str]:
    frogs = {n: frog.by for n, m in plan.wiring.machines.items() if (frog := m.live_frog)}
    wired = [name for name, by in frogs.items() if by != "points"]
    if wired:
        yield (
            f"Which rail the frog of {listing(wired)} has while the points lie normal follows from "
            "their hand, which is not in the file: where throwing them shorts the track, exchange "
            "the two wires at the contact of that frog."
        )
    touching = [name for name, by in frogs.items() if by == "points"]
    if touching:
        yield f"The frog of {listing(touching)} has no wire: the points feed it."


def not_listed(plan: Plan) -> dict[str, list[str]]:
    """What rules ask for and no wire of the file brings, each with the drivers that need it."""
    found: dict[str, list[str]] = {}
    for signal in plan.signals.values():
        drivers = dict.fromkeys(
            d.name for h in signal.heads if (d := plan.wiring.driver_of(h.name))
        )
        for says in plan.facts_read(signal):
            for driver in drivers:
                what = _without_wire(says.what, driver, plan)
                if what and driver not in found.setdefault(what, []):
                    found[what].append(driver)
    return found


def _without_wire(what: Observable, driver: str, plan: Plan) -> str:
    """What it is, in words; empty where the file has wires for it, or where it needs none."""
    wiring = plan.wiring
    board = wiring.drivers[driver]
    if any(name == what.name for _, name in heard(board, plan)):
        return ""
    if driver == plan.locking.building.board and what.kind in ("relay", "timer", "traffic"):
        return ""
    match what.kind:
        case "lever" | "button" | "relay" | "timer":
            return f"{what.kind} {what.name}"
        case "traffic":
            return f"the direction of traffic {what.name}"
        case "derail report" | "gate report" if what.name not in wiring.machines:
            return f"what {what.name} reports"
        case "block report" if not wiring.detectors_of(what.name):
            return f"what tells that {what.name} is clear"
        case "points report" if what.name not in wiring.machines:
            return f"what tells how {what.name} lies"
        case "aspect" | "color":
            signal = plan.signals[signal_of(what.name, plan.signals)]
            lit_by = {d.name for h in signal.heads if (d := wiring.driver_of(h.name))}
            told = any(name == signal.name for _, name in heard(board, plan))
            return "" if told or lit_by == {driver} else f"what {what.name} shows"
        case _:
            return ""
