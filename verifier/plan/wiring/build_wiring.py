"""Wiring statements to a checked :class:`~verifier.plan.wiring.wiring_model.Wiring`.

In: the statements of a file, its names and its track. Out: the equipment, exact;
errors are noted in the names.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Literal, TypeVar, cast

from verifier.language.diagnostics.diagnostic import nearest
from verifier.language.diagnostics.registry import Hint
from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.language.syntax.contextual_keywords import OTHER_UNITS
from verifier.plan.clause_reader import ClauseReader, at_most_one
from verifier.plan.locking.points_control import Moving, lever_of
from verifier.plan.model import Track
from verifier.plan.names import Names
from verifier.plan.observables import Lying
from verifier.plan.quantities import CURRENT, USUAL, VOLTAGE, read_amount
from verifier.plan.signals.signal_placement import Post
from verifier.plan.units import units_of
from verifier.plan.wiring import plausible_ranges
from verifier.plan.wiring.boards import check_boards, read_panel, thrown_by_boards
from verifier.plan.wiring.detectors_drivers import read_detectors, read_drivers
from verifier.plan.wiring.electrical_constants import SCALES
from verifier.plan.wiring.plausible_ranges import read_fuse, read_run
from verifier.plan.wiring.rail_places import check_places, feeder_place, points_places
from verifier.plan.wiring.rails import read_rails, read_sub_buses
from verifier.plan.wiring.wiring_model import (
    Current,
    Detectable,
    District,
    Feeder,
    Frog,
    Machine,
    MotorKind,
    Number,
    Run,
    Supply,
    TrainLimits,
    Wiring,
)

_Statement = TypeVar("_Statement", bound=tree.Statement)


def read_wiring(
    statements: Sequence[tree.Statement],
    names: Names,
    track: Track,
    posts: Mapping[str, Post],
) -> Wiring:
    """All the equipment a file declares; errors are noted in ``names``."""
    blocks = list(tree.of_kind(statements, tree.Block))
    undetected = {name.text for node in blocks if node.undetected for name in node.names}
    lengths = _lengths(blocks, names)
    supplies = _supplies(tree.of_kind(statements, tree.Supply), names)
    feeders = _feeders(blocks, lengths, track, names)
    sub_buses = read_sub_buses(tree.of_kind(statements, tree.SubBus), names)
    movers = [s for s in statements if isinstance(s, Moving)]
    machines = {**_machines(movers, names), **_other_machines(movers, names)}
    drivers = read_drivers(
        tree.of_kind(statements, tree.Driver), posts, _contactless(movers), names
    )
    check_boards(drivers, statements, names)
    wiring = Wiring(
        supplies=supplies,
        districts=_districts(tree.of_kind(statements, tree.District), names),
        feeders=feeders,
        detectors=read_detectors(
            tree.of_kind(statements, tree.Detector), feeders, sub_buses, lengths, undetected, names
        ),
        drivers=drivers,
        machines=thrown_by_boards(machines, drivers),
        panel=read_panel(statements, drivers, names),
        trains=_trains(list(tree.of_kind(statements, tree.Trains)), names),
        common_returns=tuple(_returns(tree.of_kind(statements, tree.CommonReturn), names)),
        lengths=lengths,
        rails=read_rails(statements, blocks, names),
        sub_buses=sub_buses,
        district_of=_district_of(blocks, tree.of_kind(statements, tree.District), names),
        stopping=_stopping(list(tree.of_kind(statements, tree.StoppingDistance)), names),
        scale=_scale(list(tree.of_kind(statements, tree.Scale)), names),
        ampacity=_ampacity(tree.of_kind(statements, tree.Wire), names),
        set_back=_set_back(tree.of_kind(statements, tree.Signal), names),
        units=units_of(statements),
    )
    check_places(tuple(statements), wiring, track, names)
    return wiring


# ------------------------------------------------------------------ power


def _supplies(nodes: Iterable[tree.Supply], names: Names) -> dict[str, Supply]:
    supplies = {}
    for node in nodes:
        given = ClauseReader([c for c in node.clauses if c.kind != "rating"], names)
        volts, amps = _ratings(node, names)
        fuse = read_fuse(given.get("fuse"), names)
        if node.booster and "fed by" not in given:
            if node.reverses:
                names.error("CP607", node.name.span, "reverser", name=node.name.text)
            else:
                names.error("CP607", node.name.span, "booster", name=node.name.text)
        supplies[node.name.text] = Supply(
            node.name.text,
            node.booster or "track power" in given,
            node.reverses,
            cast(Current | None, given.word("kind of current")),
            volts,
            amps,
            fuse.rating if fuse else None,
            fuse.kind if fuse else None,
            fuse.trips if fuse else None,
            given.amount("draws", plausible_ranges.DRAWS),
            given.supply("fed by"),
            node.span,
        )
    _check_circles(supplies, names)
    return supplies


def _ampacity(nodes: Iterable[tree.Wire], names: Names) -> dict[int, Number]:
    """What wire of each size may carry, by what the file says."""
    found: dict[int, Number] = {}
    first: dict[int, tree.Wire] = {}
    for node in nodes:
        gauge = read_amount(node.gauge, plausible_ranges.SIZE, names)
        carries = read_amount(node.carries, plausible_ranges.CARRIES, names)
        if gauge is None or carries is None:
            continue
        if int(gauge) in first:
            called = f"what {int(gauge)} AWG carries"
            names.error("CP606", node.span, "once", others=[first[int(gauge)].span], called=called)
        first.setdefault(int(gauge), node)
        found.setdefault(int(gauge), carries)
    return found


def _ratings(node: tree.Supply, names: Names) -> tuple[Number | None, Number | None]:
    """The voltage and the current of a supply: which is which, its unit tells."""
    found: dict[str, tree.Clause] = {}
    values: dict[str, Number | None] = {"voltage": None, "current": None}
    for clause in node.clauses:
        if clause.kind != "rating":
            continue
        (amount,) = clause.lengths[0]
        which = "current" if amount.unit in CURRENT.units else "voltage"
        if amount.unit and amount.unit not in {**CURRENT.units, **VOLTAGE.units}:
            meant = OTHER_UNITS.get(amount.unit, "V 3 A")
            names.error(
                "CP602", amount.span, "supply", unit=amount.unit, number=amount.number, meant=meant
            )
            continue
        bounds = plausible_ranges.AMPS if which == "current" else plausible_ranges.VOLTS
        values[which] = read_amount((amount,), bounds, names, ("supply",))
        if which in found and amount.unit:
            names.error(
                "CP606",
                clause.span,
                "rating",
                others=[found[which].span],
                name=node.name.text,
                which=which,
            )
        found.setdefault(which, clause)
    return values["voltage"], values["current"]


def _check_circles(supplies: Mapping[str, Supply], names: Names) -> None:
    known: set[str] = set()  # to lead nowhere, or into a circle reported already
    for start in supplies:
        path: list[str] = []
        at: str | None = start
        while at is not None and at in supplies and at not in known and at not in path:
            path.append(at)
            at = supplies[at].fed_by
        if at is not None and at in path:
            circle = path[path.index(at) :]
            names.error(
                "CP616",
                supplies[circle[0]].span,
                "round" if circle[1:] else "",
                others=[supplies[name].span for name in circle[1:4]],
                name=circle[0],
                way=circle[1:],
            )
        known.update(path)


def _districts(nodes: Iterable[tree.District], names: Names) -> dict[str, District]:
    districts = {}
    for node in nodes:
        declared = names.find(node.supply, "supply")
        supply = declared.node if declared else None
        if isinstance(supply, tree.Supply) and not (
            supply.booster or any(c.kind == "track power" for c in supply.clauses)
        ):
            names.error(
                "CP617", node.supply.span, others=[supply.name.span], supply=node.supply.text
            )
        run = read_run(node.run, names)
        districts[node.name.text] = District(
            node.name.text, node.supply.text, run, node.span, read_fuse(node.fuse, names)
        )
    return districts


def _returns(nodes: Iterable[tree.CommonReturn], names: Names) -> Iterator[tuple[str, ...]]:
    for node in nodes:
        if len({name.text for name in node.supplies}) < 2:
            names.error("CP607", node.span, "common_return")
        yield tuple(n.text for n in node.supplies if names.find(n, "supply"))


# ------------------------------------------------------------------ blocks


def _lengths(blocks: Iterable[tree.Block], names: Names) -> dict[str, Number]:
    lengths: dict[str, Number] = {}
    for node in blocks:
        missing: tuple[str | Hint, ...] = USUAL
        if node.length and node.districts:
            said, district = " ".join(a.span.text for a in node.length), node.districts[0].text
            inches = Hint("inch_district", said=said, district=district)
            missing = (inches,)
            if len(node.length) == 1:
                missing = (Hint("unit_district", said=said, district=district), inches)
        length = read_amount(node.length, plausible_ranges.BLOCK, names, missing)
        if length is not None:
            lengths.update((name.text, length) for name in node.names)
    return lengths


def _district_of(
    blocks: Iterable[tree.Block], districts: Iterable[tree.District], names: Names
) -> dict[str, str]:
    """The district of each block, by its own statement or that of the district."""
    found: dict[str, str] = {}
    said: dict[str, Span] = {}
    for node in blocks:
        for name in node.districts:
            names.find(name, "district")
        for name in node.districts[1:]:
            names.error(
                "CP610", name.span, "again" if name.text == node.districts[0].text else "",
                others=[node.districts[0].span], block=node.names[0].text, district=name.text,
            )  # fmt: skip
        if node.districts:
            found.update((name.text, node.districts[0].text) for name in node.names)
            said.update((name.text, node.districts[0].span) for name in node.names)
    for district in districts:
        for name in district.blocks:
            if names.find(name, "block") is None:
                continue
            if name.text in said:
                same = found[name.text] == district.name.text
                names.error(
                    "CP610", name.span, "again" if same else "", others=[said[name.text]],
                    block=name.text, district=district.name.text,
                )  # fmt: skip
            said.setdefault(name.text, name.span)
            found.setdefault(name.text, district.name.text)
    return found


def _feeders(
    blocks: Iterable[tree.Block], lengths: Mapping[str, Number], track: Track, names: Names
) -> dict[str, Feeder]:
    feeders: dict[str, Feeder] = {}
    for node in blocks:
        for group in node.feeders:
            run, fuse = read_run(group.run, names), read_fuse(group.fuse, names)
            block = _fed_block(node, group, names)
            for each in group.feeders:
                name = each.name
                at, beyond = feeder_place(each, block, lengths.get(block.text), track, names)
                feeder = Feeder(name.text, block.text, run, name.span, at, fuse, beyond)
                feeders.setdefault(name.text, feeder)
    return feeders


def _fed_block(node: tree.Block, group: tree.Feeders, names: Names) -> tree.Name:
    """The block of some feeders: of a statement with several, the one that they name."""
    if group.on is None:
        if len(node.names) > 1:
            names.error(
                "CP608", group.span, "blocks", count=len(node.names), block=node.names[0].text
            )
        return node.names[0]
    for block in node.names:
        if block.text == group.on.text:
            return block
    if names.find(group.on, "block") is not None:
        names.error("CP608", group.on.span, "elsewhere", name=group.on.text)
    return node.names[0]


# ------------------------------------------------------------------ turnouts, signals


def _contactless(movers: Iterable[Moving]) -> dict[str, tree.Clause]:
    """Turnouts, slips, derails and gates with `no contacts`."""
    return {
        name.text: clause
        for node in movers
        for clause in node.clauses
        if clause.kind == "contacts" and not clause.words
        for name in node.names
    }


# Clauses about wiring, apart from the lever that throws a turnout.
_WIRED: frozenset[tree.ClauseKind] = frozenset(
    (
        "motor",
        "powered by",
        "draws",
        "contacts",
        "fouling point",
        "gap",
        "frog",
        "points at",
        "bonded",
    )
)


def _machines(movers: Iterable[Moving], names: Names) -> dict[str, Machine]:
    machines: dict[str, Machine] = {}
    for node in tree.of_kind(movers, tree.Turnout):
        given = ClauseReader(node.clauses, names)
        lever = lever_of(given.get("thrown by"))
        if lever is None and not given.has_any(_WIRED):
            continue
        if "locked while" in given:  # then it may lie otherwise than its lever
            lever = None
        machine = Machine(
            turnout="",
            contacts=_positions(given, node, ("normal", "reverse"), names),
            lever=lever.text if lever else None,
            motor=cast(MotorKind | None, given.word("motor")),
            seconds=given.amount("motor", plausible_ranges.THROW),
            supply=given.supply(),
            draws=given.amount("draws", plausible_ranges.DRAWS),
            fouling=given.amount("fouling point", plausible_ranges.FOULING),
            gaps=_gaps(given.get("gap"), names),
            span=node.span,
            points_at=points_places(given.get("points at"), node.block, names),
            bond=_bond(given, names),
        )
        for name in node.names:
            frog = _frog(given.get("frog"), name, names)
            machines[name.text] = replace(machine, turnout=name.text, frog=frog)
    return machines


def _bond(given: ClauseReader, names: Names) -> Run | None:
    """The wire of each jumper that bonds the rails of a turnout; a live frog leaves none."""
    clause, frog = given.get("bonded"), given.get("frog")
    if clause is None:
        return None
    if frog is not None and frog.words[0].text != "dead":
        names.error("CP663", clause.span, "bonded", others=[frog.span])
    return read_run(clause.run, names)


def _frog(clause: tree.Clause | None, turnout: tree.Name, names: Names) -> Frog | None:
    """What sets a frog, where the file says so."""
    if clause is None:
        return None
    if clause.words[0].text == "dead":
        return Frog("dead", turnout.text, clause.span)
    by = cast(Literal["points", "contacts", "lever"], clause.words[0].text.split()[-1])
    of = clause.names[0] if clause.names else turnout
    declared = names.find(of, "lever" if by == "lever" else "turnout")
    if declared is None:
        return None
    node = declared.node
    if isinstance(node, tree.Lever) and {p.text for p in node.positions} != {"normal", "reverse"}:
        names.error("CP663", of.span, "lever", others=[declared.span], name=of.text)
    elif by == "contacts" and isinstance(node, tree.Turnout):
        none = (c for c in node.clauses if c.kind == "contacts" and not c.words)
        for without in none:
            names.error("CP663", clause.span, others=[without.span], name=of.text)
    return Frog(by, of.text, clause.span)


# The positions of each kind of mover but turnouts, and the observable of its truth.
_POSITIONS: Mapping[type[Moving], tuple[Lying, tuple[str, str]]] = {
    tree.Slip: ("points", ("normal", "reverse")),
    tree.Derail: ("derail", ("derailing", "non-derailing")),
    tree.Gate: ("gate", ("seated", "open")),
}


def _other_machines(movers: Iterable[Moving], names: Names) -> dict[str, Machine]:
    """How slips, derails and gates are moved and reported, where the file says so."""
    found: dict[str, Machine] = {}
    for node in movers:
        if isinstance(node, tree.Turnout):
            continue
        kind, positions = _POSITIONS[type(node)]
        given = ClauseReader(node.clauses, names)
        contacts = _positions(given, node, positions, names)
        motor = cast(MotorKind | None, given.word("motor"))
        seconds = given.amount("motor", plausible_ranges.THROW)
        supply, draws = given.supply(), given.amount("draws", plausible_ranges.DRAWS)
        for name in node.names if given.has_any(_WIRED) else ():
            found[name.text] = Machine(
                name.text, contacts, None, motor, seconds, supply, draws, None, {}, node.span, kind
            )
    return found


def _positions(
    given: ClauseReader, node: Moving, positions: tuple[str, str], names: Names
) -> tuple[str, ...] | None:
    """The positions that have a contact; None where the file does not say."""
    clause = given.get("contacts")
    if clause is None:
        return None
    kind = names.table[node.names[0].text].kind
    wrong = next((word for word in clause.words if word.text not in positions), None)
    if wrong is not None:
        names.error(
            "CP768", wrong.span, kind=kind, position=wrong.text, first=positions[0],
            second=positions[1],
        )  # fmt: skip
    if not clause.words and isinstance(node, tree.Derail | tree.Gate):
        names.error(
            "CP768", clause.span, "none", kind=kind, first=positions[0], second=positions[1]
        )
    listed = at_most_one(clause.words, "leg", names)
    return tuple(p for p in positions if p in listed)


def _gaps(clause: tree.Clause | None, names: Names) -> dict[str, Number]:
    if clause is None:
        return {}
    at_most_one(clause.words, "leg", names)
    found: dict[str, Number] = {}
    for leg, length in zip(clause.words, clause.lengths, strict=True):
        value = read_amount(length, plausible_ranges.GAP, names)
        if value is not None:
            found.setdefault(leg.text, value)
    return found


def _set_back(nodes: Iterable[tree.Signal], names: Names) -> dict[str, Number]:
    return {
        node.name.text: value
        for node in nodes
        if (value := read_amount(node.stands, plausible_ranges.STANDS, names)) is not None
    }


# ------------------------------------------------------------------ trains, scale


def _only(nodes: Sequence[_Statement], called: str, names: Names) -> _Statement | None:
    """The one statement of its kind; further ones are noted."""
    for node in nodes[1:]:
        names.error("CP606", node.span, "once", others=[nodes[0].span], called=called)
    return nodes[0] if nodes else None


def _trains(nodes: Sequence[tree.Trains], names: Names) -> TrainLimits | None:
    node = _only(nodes, "`trains`", names)
    if node is None:
        return None
    given = ClauseReader(node.clauses, names)
    shortest = read_amount(node.shortest, plausible_ranges.TRAIN, names)
    longest = read_amount(node.longest, plausible_ranges.TRAIN, names)
    resistance = given.amount("wheelsets", plausible_ranges.WHEELSET)
    if shortest is None or longest is None:
        return None
    if shortest > longest:
        names.error("CP614", node.span)
    said = given.word("detectable") or "throughout"
    how = cast(Detectable, "ends" if said == "both" else said)
    least, most = _load(given.get("load"), names)
    return TrainLimits(shortest, longest, how, resistance, node.span, least, most)


def _load(clause: tree.Clause | None, names: Names) -> tuple[Number | None, Number | None]:
    """The least current of stock that is to be detected, and the most of any."""
    if clause is None:
        return None, None
    read = [read_amount(length, plausible_ranges.LOAD, names) for length in clause.lengths]
    least, most = read[0], read[1] if len(read) > 1 else None
    if least is not None and most is not None and least > most:
        names.error("CP614", clause.span, "load")
    return least, most


def _stopping(nodes: Sequence[tree.StoppingDistance], names: Names) -> Number | None:
    node = _only(nodes, "the stopping distance", names)
    return read_amount(node.length, plausible_ranges.STOPPING, names) if node else None


def _scale(nodes: Sequence[tree.Scale], names: Names) -> Number | None:
    node = _only(nodes, "the scale", names)
    if node is None:
        return None
    if node.ratio:
        one, many = (read_amount((part,), plausible_ranges.RATIO, names) for part in node.ratio)
        if one is not None and one != 1:
            names.error("CP618", node.span, "ratio", said=node.span.text)
        return many
    name = cast(tree.Name, node.name)
    if name.text in SCALES:
        return SCALES[name.text]
    names.error("CP618", name.span, near=nearest(name.text, SCALES), name=name.text, known=SCALES)
    return None
