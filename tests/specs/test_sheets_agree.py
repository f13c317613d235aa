"""No sheet asks for what the proof of the same file does not know, on every spec.

What a sheet says to cut, run, buy or check is read off its data, never off its words: each gap that
is missing must be a finding of the proof, each wire one whose break the proof considered, each
device of a route one that the proof asks the route's signal to check.
"""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

import verifier
from tests.junction_files import SPEC_FILES, WIRED_SPECS, spec
from tests.proofs import proved
from tests.testcard.cards import QUICK, card
from verifier.diagnosis.suspects import suspects
from verifier.plan.model import Plan, Route, Signal
from verifier.plan.observables import UNLISTED
from verifier.plan.wiring.faults import FaultKind, fault_name
from verifier.plan.wiring.hearing import heard
from verifier.properties.catalog import BY_NAME
from verifier.properties.phrases import derails_run_over
from verifier.properties.wiring import lamp_colors
from verifier.sheets.addresses import address_sheet
from verifier.sheets.aspects import aspect_sheet
from verifier.sheets.buying.bill_of_materials import bill_of_materials
from verifier.sheets.conductors import Conductor, conductors
from verifier.sheets.electrical import electrical_sheet
from verifier.sheets.gaps import wanted_gaps
from verifier.sheets.options import USUAL_OPTIONS
from verifier.sheets.sheet import Sheet, Table
from verifier.sheets.truth import ANY, truth_sheet
from verifier.testcard.coverage_goals import Goal, conflict_goals, lines_of, route_goals
from verifier.verdicts.report import Report

every_spec = pytest.mark.parametrize("path", SPEC_FILES, ids=lambda path: path.stem)
every_wired = pytest.mark.parametrize("path", WIRED_SPECS, ids=lambda path: path.stem)


def open_findings(report: Report) -> set[tuple[str, str]]:
    """What is broken, undecided or set aside: property and place."""
    return {
        (v.obligation.property, v.obligation.place)
        for v in report.verdicts
        if v.status in ("broken", "undecided", "waived")
    }


@every_spec
def test_every_missing_gap_is_a_finding(path: Path) -> None:
    report = proved(path)
    for wanted in wanted_gaps(report.plan):
        assert wanted.by in BY_NAME, f"{wanted.by} is no property: the proof does not know it"
        if wanted.by == "rail-meets-rail":
            # The sheet names a place to cut, the property the whole way round; without wiring, the
            # proof says what it takes for granted.
            known = {name for name, _ in open_findings(report)}
            taken = any(text.startswith("Track comes back turned") for text in report.assumed)
            assert wanted.by in known if report.plan.wiring.given else taken
            continue
        assert (wanted.by, wanted.where) in open_findings(report), wanted


def breaks(wire: Conductor, plan: Plan) -> Iterator[str]:
    """The faults that a break of this conductor is."""
    match wire.function.role:
        case "lamp":
            for signal in plan.signals.values():
                for head in signal.heads:
                    if head.name == wire.serves:
                        yield from (fault_name(FaultKind.LAMP, head.name, c) for c in head.lamps)
            yield wire.name
        case "lamp common":
            yield fault_name(FaultKind.HEAD, wire.serves)
            yield fault_name(FaultKind.INDICATOR, wire.serves)
            yield wire.name
            # It drops an arm, whatever holds that up: as the wire does that holds it.
            yield from (
                fault_name(FaultKind.ARM, head.name, color)
                for signal in plan.signals.values()
                for head in signal.heads
                if head.name == wire.serves
                for color in head.lamps
            )
        case "throw":
            yield fault_name(FaultKind.MACHINE, wire.serves)
        case "booster feed":
            yield fault_name(FaultKind.SUPPLY, wire.serves)
        case _ if wire.serves in plan.wiring.supplies:
            yield fault_name(FaultKind.SUPPLY, wire.serves)  # its fuse
            yield wire.name
        case _:
            yield wire.name


@every_wired
def test_every_wire_of_the_list_is_one_whose_break_was_considered(path: Path) -> None:
    plan = verifier.load(path)
    known = {fault.name for fault in plan.equipment.faults}
    # Of wires of levers, buttons and other boards the report says that they are not looked at.
    left = {name for driver in plan.wiring.drivers.values() for _, name in heard(driver, plan)}
    for wire in conductors(plan):
        if wire.serves in left or wire.function.role == "told":
            continue
        if wire.function.role in ("power", "return") and not wire.function.supplies:
            continue  # no supply is given: the report says that power is assumed
        if wire.name == f"wire from {wire.serves}":
            continue  # an output that nothing reads
        assert any(name in known for name in breaks(wire, plan)), wire


def checks_of(report: Report) -> set[str]:
    return {v.obligation.key for v in report.verdicts}


@every_spec
def test_every_device_on_the_locking_sheet_is_one_the_signal_must_check(path: Path) -> None:
    report = proved(path)
    plan, asked = report.plan, checks_of(report)
    for route in plan.routes:
        for key in needs(route, plan):
            assert key in asked, key


def needs(route: Route, plan: Plan) -> Iterator[str]:
    """What must be asked of the signal of a route, by what the locking sheet lists for it."""
    for block in route.blocks:
        if plan.blocks[block].detected:
            yield f"proceed-into-occupied: {route.signal}, {block}"
        else:
            yield f"undetected-track: {route.signal}, {block}"
    for need in route.needs:
        yield f"proceed-over-open-points: {route.signal}, {need.points}"
    for derail in plan.derails.values():
        if derail.name in derails_run_over(route, plan) or derail.guards in route.pieces:
            yield f"derail-not-set: {route.signal}, {derail.name}"
    for gate in plan.gates.values():
        if gate.block in route.blocks:
            yield f"span-not-locked: {route.signal}, {gate.name}"


@every_wired
def test_electrical_marks_are_findings(path: Path) -> None:
    report = proved(path)
    broken = {(name, of) for name, of in by_subject(report)}
    sheet = electrical_sheet(report.plan, USUAL_OPTIONS)
    for row in rows(sheet, "Load of the lamps"):
        assert (row["left"] == "TOO MUCH") <= (("supply-overloaded", row["supply"]) in broken), row
    for row in rows(sheet, "Voltage at the end of each run"):
        assert (row["enough"] == "TOO LOW") <= (("voltage-drop", row["to"]) in broken), row


def by_subject(report: Report) -> Iterator[tuple[str, str]]:
    for verdict in report.verdicts:
        if verdict.status != "proved":
            yield verdict.obligation.property, verdict.obligation.subjects[0]


def rows(sheet: Sheet, title: str) -> Iterator[dict[str, str]]:
    tables: list[Table] = [table for table in sheet.tables if table.title == title]
    for table in tables:
        for row in table.rows:
            yield dict(zip(table.columns, row, strict=True))


@every_spec
def test_every_part_is_one_that_the_file_declares(path: Path) -> None:
    """Lamps, heads, detectors, contacts, levers, buttons, drivers and machines, by number."""
    plan = verifier.load(path)
    bought: dict[str, int] = {}
    for part in bill_of_materials(plan):
        family = part.kind.family.removesuffix("-bulbs")
        count = part.count * (part.kind.size or 1) if family in ("head", "target") else part.count
        bought[family] = bought.get(family, 0) + int(count)
    machines = plan.wiring.machines.values()
    heads = [head for signal in plan.signals.values() for head in signal.heads]
    made = Counter[str](head.make for head in heads)
    there = {
        "head": sum(len(lamp_colors(head)) for head in heads if head.make == "lamps"),
        "target": sum(len(lamp_colors(head)) for head in heads if head.make == "target"),
        **{
            make: made[make] for make in ("semaphore", "two-color", "three-color", "position-light")
        },
        "mast": len(plan.signals),
        "plate": sum(signal.plate != "" for signal in plan.signals.values()),
        "driver": len(plan.wiring.drivers),
        "contact": sum(len(m.contacts or ()) for m in machines),
        "lever": sum(what.kind == "lever" for what in plan.inputs),
        "button": sum(what.kind == "button" for what in plan.inputs),
        "current-detector": sum(
            d.kind == "current-sensing" for d in plan.wiring.detectors.values()
        ),
        "spot-detector": sum(len(d.spots) for d in plan.wiring.detectors.values()),
    }
    assert {name: bought.get(name, 0) for name in there} == there


@every_spec
def test_aspect_sheet_and_proof_have_the_same_lines(path: Path) -> None:
    """Each aspect or color that the sheet says a line shows is one that the proof asks to be
    possible, with the signal's plate; and the other way round."""
    report = proved(path)
    asked = {
        v.obligation.subjects for v in report.verdicts if v.obligation.property == "never-shown"
    }
    listed, plates = set[tuple[str, ...]](), set[str]()
    for table in aspect_sheet(report.plan).tables:
        owner = table.title.removeprefix("Head ").partition(" at ")[0]
        if "shows" in table.columns:
            at = table.columns.index("shows")
            listed |= {(owner, row[at]) for row in table.rows}
        plates |= {f"plate of {owner}" for note in table.notes if note.startswith("Carries ")}
    assert listed == asked
    faults = (v.obligation for v in report.verdicts if v.obligation.property == "plate-missing")
    assert plates == {fault.subjects[0] for fault in faults}


@every_spec
def test_address_sheet_and_proof_have_the_same_addresses(path: Path) -> None:
    """What the sheet says is sent as 0 is what `stop-number` was asked of."""
    report = proved(path)
    asked = {
        v.obligation.subjects[0] for v in report.verdicts if v.obligation.property == "stop-number"
    }
    sent = [row for table in address_sheet(report.plan).tables for row in table.rows]
    assert {row[2] for row in sent if row[3] == "0"} <= {*asked, "any other colors"}
    shared = [v for v in report.verdicts if v.obligation.property == "address-shared"]
    assert len({row[0] for row in sent}) == len(shared)


def told(signal: Signal, table: Table) -> set[tuple[str, str]]:
    """What a truth table says that a signal, or a head with lines of its own, may show."""
    at = {name: i for i, name in enumerate(table.columns)}
    if not signal.by_head:
        return {(signal.name, row[at["shows"]]) for row in table.rows}
    return {(head.name, row[at[head.name]]) for head in signal.heads for row in table.rows}


@every_spec
def test_truth_table_and_proof_know_the_same_of_each_signal(path: Path) -> None:
    """What the proof finds possible has a row, and a row shows nothing that no line shows. Colors
    of no aspect have a row where the proof finds them. A row that lets a train proceed with a block
    occupied, or whatever that block reports, is a finding."""
    report = proved(path)
    plan, status = report.plan, {v.obligation.key: v.status for v in report.verdicts}
    tables = {table.title: table for table in truth_sheet(plan).tables if "shows" in table.columns}
    for signal in (s for s in plan.signals.values() if s.name in tables):
        table = tables[signal.name]
        shown = told(signal, table)
        heads = signal.heads if signal.by_head else (signal,)
        asked = {(owner.name, line.shows) for owner in heads for line in owner.lines}
        possible = {of for of in asked if status.get(f"never-shown: {', '.join(of)}") == "proved"}
        assert possible <= shown <= asked
        if status.get(f"aspect-not-listed: {signal.name}") in ("broken", "waived"):
            assert UNLISTED in {row[table.columns.index("shows")] for row in table.rows}
        if not (plan.locking.memory or plan.assumptions or plan.wiring.given):
            for block in occupied_in_a_clear_row(signal, table, plan):
                key = f"proceed-into-occupied: {signal.name}, {block}"
                assert status[key] in ("broken", "waived"), key


def occupied_in_a_clear_row(signal: Signal, table: Table, plan: Plan) -> Iterator[str]:
    """The detected blocks on every route of a signal that may be occupied in a row in which the
    signal proceeds."""
    at = {name: i for i, name in enumerate(table.columns)}
    routes = [route.blocks for route in plan.routes if route.signal == signal.name]
    on_all = {b for b in plan.blocks if routes and all(b in blocks for blocks in routes)}
    for row in table.rows:
        aspect = plan.chart.get(row[at["shows"]])
        for block in on_all if aspect is not None and aspect.proceeds else ():
            cell = row[at[f"block {block}"]] if f"block {block}" in at else ANY
            if plan.blocks[block].detected and cell in ("occupied", ANY):
                yield block


@every_spec
def test_the_test_card_tries_what_the_proof_asks(path: Path) -> None:
    """Every line, every route, every two routes that conflict, and every fault."""
    report = proved(path)
    plan, asked = report.plan, dict[str, set[tuple[str, ...]]]()
    for verdict in report.verdicts:
        asked.setdefault(verdict.obligation.property, set()).add(verdict.obligation.subjects)
    lines = {(owner, line.shows) for owner, _, lines in lines_of(plan) for line in lines}
    assert lines == asked.get("never-shown", set())
    routes = {(goal.text,) for goal in route_goals(plan)}
    assert routes == asked.get("route-never-clears", set())
    signal_of = {route.name: route.signal for route in plan.routes}
    for pair in conflict_goals(plan, {}):
        both = {signal_of[pair.one], signal_of[pair.other]}
        assert any(both == set(of) for of in asked[f"{pair.how}-proceeds"]), pair
    tried = {suspect.fault for suspect in suspects(plan) if suspect.fault is not None}
    for fault in tried:
        assert (fault.name,) in asked[fault.kind.property_name], fault


@pytest.mark.parametrize("name", QUICK)
def test_what_a_card_cannot_show_the_proof_does_not_find_possible(name: str) -> None:
    status = {v.obligation.key: v.status for v in proved(spec(name)).verdicts}
    made = card(name)
    for met in made.lines:
        assert status[f"never-shown: {', '.join(met.goal.text.rsplit(' ', 1))}"] == "proved"
    for met in made.routes:
        assert status[f"route-never-clears: {met.goal.text}"] == "proved"
    for unseen in made.unseen:
        if isinstance(unseen.what, Goal) and unseen.what.kind == "route" and unseen.proved:
            assert status[f"route-never-clears: {unseen.what.text}"] != "proved"
