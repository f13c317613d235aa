"""The wiring list: every conductor to run, to be ticked off under the table.

In: a plan, and the colors of wire at hand. Out: a sheet.
"""

from collections.abc import Iterator, Sequence

from verifier.plan.model import Plan
from verifier.plan.units import Unit
from verifier.plan.wiring.spots import over_words
from verifier.plan.wiring.wiring_model import Feeder, Run
from verifier.properties.amounts import length
from verifier.sheets.conductors import (
    NO_DISTRICT,
    PANEL,
    SUPPLIES,
    Conductor,
)
from verifier.sheets.gaps import NOT_GIVEN, TICK
from verifier.sheets.options import SheetOptions
from verifier.sheets.sheet import PictureOf, Sheet, Table
from verifier.sheets.terminals import SOLDERED, Harness, Wire, harness
from verifier.sheets.unlisted import unlisted
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
    tables += [_feeders(plan), _detectors(plan), _terminal_blocks(wired), _cables(wired)]
    notes = (
        "The cut rail is cut at every gap; its feeders pass through the detectors. The "
        "through rail is cut only where a gap goes through both. Outputs and buses are named after "
        "the rail they feed.",
        "A length is one way, as the file gives it: add what you need to reach and to strip. "
        "Write the number of the wire on both its ends before you let go of it: "
        "`clearproof sheet FILE labels` prints labels, `clearproof draw FILE --wiring` draws it "
        "all, with the same numbers. Terminals are numbered on each device, one for each wire.",
        *unlisted(plan, wires),
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


def _feeders(plan: Plan) -> Table:
    """Where each feeder is joined to the rail, as far as the file says."""
    unit = plan.wiring.units.track
    rows = tuple(
        (TICK, feeder.name, feeder.block, f"{length(feeder.at, unit)} {_from(feeder)}")
        for feeder in plan.wiring.feeders.values()
        if feeder.at is not None
    )
    return Table("Where feeders are joined", ("done", "feeder", "block", "at"), rows)


def _from(feeder: Feeder) -> str:
    if feeder.beyond is None:
        return f"from the left end of {feeder.block}"
    turnout, end = feeder.beyond
    return f"before {turnout}" if end == "points" else f"beyond {end} {turnout}"


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
