"""Wiring statements to a checked :class:`~verifier.plan.wiring.wiring_model.Wiring`.

In: the statements of a file and what was found of it before. Out: the equipment, exact;
errors are noted in the names.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TypeVar, cast

from verifier.language.diagnostics.diagnostic import did_you_mean, nearest
from verifier.language.syntax import tree
from verifier.language.syntax.contextual_keywords import OTHER_UNITS
from verifier.plan.locking.points_control import lever_of
from verifier.plan.model import Track
from verifier.plan.names import Names
from verifier.plan.quantities import CURRENT, VOLTAGE, read_amount
from verifier.plan.signals.signal_placement import Post
from verifier.plan.unique_clauses import at_most_one, given_once, no_run
from verifier.plan.units import units_of
from verifier.plan.wiring import plausible_ranges
from verifier.plan.wiring.detectors_drivers import read_detectors, read_drivers
from verifier.plan.wiring.plausible_ranges import read_run
from verifier.plan.wiring.wiring_model import (
    Detectable,
    District,
    Feeder,
    Machine,
    MotorKind,
    Number,
    Supply,
    Trains,
    Wiring,
)

# NMRA S-1.2 (O, S, HO, TT, N, Z; value from memory)
SCALES = {"O": "48", "S": "64", "HO": "87.1", "TT": "120", "N": "160", "Z": "220"}

_Statement = TypeVar("_Statement", bound=tree.Statement)


def read_wiring(
    statements: Sequence[tree.Statement],
    names: Names,
    track: Track,
    posts: Mapping[str, Post],
) -> Wiring:
    """All the equipment a file declares; errors are noted in ``names``."""
    blocks = list(_of(statements, tree.Block))
    lengths = _lengths(blocks, names)
    supplies = _supplies(_of(statements, tree.Supply), names)
    feeders = _feeders(blocks, names)
    turnouts = list(_of(statements, tree.Turnout))
    return Wiring(
        supplies=supplies,
        districts=_districts(_of(statements, tree.District), names),
        feeders=feeders,
        detectors=read_detectors(
            _of(statements, tree.Detector), feeders, lengths, _undetected(blocks), names
        ),
        drivers=read_drivers(_of(statements, tree.Driver), posts, _contactless(turnouts), names),
        machines=_machines(turnouts, names),
        trains=_trains(list(_of(statements, tree.Trains)), names),
        common_returns=tuple(_returns(_of(statements, tree.CommonReturn), names)),
        lengths=lengths,
        district_of=_district_of(blocks, names),
        stopping=_stopping(list(_of(statements, tree.StoppingDistance)), names),
        scale=_scale(list(_of(statements, tree.Scale)), names),
        set_back=_set_back(_of(statements, tree.Signal), names),
        units=units_of(statements),
    )


def _of(statements: Iterable[tree.Statement], kind: type[_Statement]) -> Iterator[_Statement]:
    return (s for s in statements if isinstance(s, kind))


# ------------------------------------------------------------------ power


def _supplies(nodes: Iterable[tree.Supply], names: Names) -> dict[str, Supply]:
    supplies = {}
    for node in nodes:
        given = given_once([c for c in node.clauses if c.kind != "rating"], names)
        volts, amps = _ratings(node, names)
        fuse = given.get("fuse")
        fed = given.get("fed by")
        if fed:
            names.find(fed.names[0], "supply")
        elif node.booster:
            names.error(
                "CP607",
                f"nothing says what feeds booster `{node.name.text}`",
                node.name.span,
                f"Name the supply: `booster {node.name.text} fed by Track-A`. What is fed by no "
                "other is a `supply`.",
            )
        supplies[node.name.text] = Supply(
            node.name.text,
            node.booster or "track power" in given,
            volts,
            amps,
            read_amount(fuse.lengths[0], plausible_ranges.FUSE, names) if fuse else None,
            fed.names[0].text if fed else None,
            node.span,
        )
    _check_circles(supplies, names)
    return supplies


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
                "CP602",
                f"`{amount.unit}` is no unit for what a supply gives",
                amount.span,
                f"A supply is given in volts and amperes: write it like `{amount.number} {meant}`.",
            )
            continue
        bounds = plausible_ranges.AMPS if which == "current" else plausible_ranges.VOLTS
        missing = f"Write `{amount.number} V` for a voltage, `{amount.number} A` for a current."
        values[which] = read_amount((amount,), bounds, names, missing)
        if which in found and amount.unit:
            names.error(
                "CP606",
                f"supply `{node.name.text}` has two {which}s",
                clause.span,
                "Leave one of them out.",
                ((found[which].span, "the first one is here"),),
            )
        found.setdefault(which, clause)
    return values["voltage"], values["current"]


def _check_circles(supplies: Mapping[str, Supply], names: Names) -> None:
    known: set[str] = set()  # to lead nowhere, or into a circle that is told already
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
                f"booster `{circle[0]}` is fed by itself"
                + (f", by way of {', '.join(circle[1:])}" if circle[1:] else ""),
                supplies[circle[0]].span,
                "Follow the power from the wall: the first of them is a `supply` and is fed by "
                "none of the others.",
                tuple((supplies[name].span, "it goes round here") for name in circle[1:4]),
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
                "CP617",
                f"supply `{node.supply.text}` gives no track power",
                node.supply.span,
                f"If it feeds the rails, say so: `supply {node.supply.text} track power …`.",
                ((supply.name.span, "it is declared here"),),
            )
        run = read_run(node.run, names)
        districts[node.name.text] = District(node.name.text, node.supply.text, run, node.span)
    return districts


def _returns(nodes: Iterable[tree.CommonReturn], names: Names) -> Iterator[tuple[str, ...]]:
    for node in nodes:
        if len({name.text for name in node.supplies}) < 2:
            names.error(
                "CP607",
                "a common return joins at least two supplies",
                node.span,
                "Name the others too: `common return Bus-1, Bus-2`.",
            )
        yield tuple(n.text for n in node.supplies if names.find(n, "supply"))


# ------------------------------------------------------------------ blocks


def _lengths(blocks: Iterable[tree.Block], names: Names) -> dict[str, Number]:
    lengths: dict[str, Number] = {}
    for node in blocks:
        hint = ""
        if node.length and node.districts:
            said, district = " ".join(a.span.text for a in node.length), node.districts[0].text
            hint = f"In inches, `in` is written twice: `block … {said} in in {district}`."
            if len(node.length) == 1:
                hint = f"Write it like `{said} mm in {district}`. {hint}"
        length = read_amount(node.length, plausible_ranges.BLOCK, names, hint)
        if length is not None:
            lengths.update((name.text, length) for name in node.names)
    return lengths


def _district_of(blocks: Iterable[tree.Block], names: Names) -> dict[str, str]:
    found: dict[str, str] = {}
    for node in blocks:
        for name in node.districts:
            names.find(name, "district")
        for name in node.districts[1:]:
            names.error(
                "CP610",
                f"block `{node.names[0].text}` is fed by two districts",
                name.span,
                "Two supplies on one rail feed into each other. Cut a gap and make two blocks of "
                "it, or leave one of the districts out.",
                ((node.districts[0].span, "the first one is here"),),
            )
        if node.districts:
            found.update((name.text, node.districts[0].text) for name in node.names)
    return found


def _feeders(blocks: Iterable[tree.Block], names: Names) -> dict[str, Feeder]:
    feeders: dict[str, Feeder] = {}
    for node in blocks:
        for group in node.feeders:
            run = read_run(group.run, names)
            for name in group.names:
                feeder = Feeder(name.text, node.names[0].text, run, name.span)
                feeders.setdefault(name.text, feeder)
            if len(node.names) > 1:
                names.error(
                    "CP608",
                    f"these feeders would go to {len(node.names)} blocks at once",
                    group.span,
                    "Give each block a statement and feeders of its own.",
                )
    return feeders


def _undetected(blocks: Iterable[tree.Block]) -> frozenset[str]:
    return frozenset(name.text for node in blocks if node.undetected for name in node.names)


# ------------------------------------------------------------------ turnouts, signals


def _contactless(turnouts: Iterable[tree.Turnout]) -> dict[str, tree.Clause]:
    """Turnouts with `no contacts`."""
    return {
        name.text: clause
        for node in turnouts
        for clause in node.clauses
        if clause.kind == "contacts" and not clause.words
        for name in node.names
    }


# Clauses that are about wires, apart from the lever a turnout is thrown by.
_WIRED: frozenset[tree.ClauseKind] = frozenset(
    ("motor", "powered by", "contacts", "fouling point", "gap")
)


def _machines(turnouts: Iterable[tree.Turnout], names: Names) -> dict[str, Machine]:
    machines = {}
    for node in turnouts:
        given = given_once(node.clauses, names)
        motor, supply = given.get("motor"), given.get("powered by")
        lever = lever_of(given.get("thrown by"))
        if lever is None and not _WIRED.intersection(given):
            continue
        if "locked while" in given:  # then it may lie otherwise than its lever
            lever = None
        if supply:
            names.find(supply.names[0], "supply")
        no_run(supply, names)
        contacts, fouling = given.get("contacts"), given.get("fouling point")
        legs = at_most_one(contacts.words, "leg", names) if contacts else ()
        seconds = (
            read_amount(motor.lengths[0], plausible_ranges.THROW, names)
            if motor and motor.lengths
            else None
        )
        far = read_amount(fouling.lengths[0], plausible_ranges.FOULING, names) if fouling else None
        gaps = _gaps(given.get("gap"), names)
        for name in node.names:
            machines[name.text] = Machine(
                turnout=name.text,
                contacts=tuple(sorted(legs)) if contacts else None,
                lever=lever.text if lever else None,
                motor=cast(MotorKind, motor.words[0].text) if motor else None,
                seconds=seconds,
                supply=supply.names[0].text if supply else None,
                fouling=far,
                gaps=gaps,
                span=node.span,
            )
    return machines


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
    found = {}
    for node in nodes:
        value = read_amount(node.stands, plausible_ranges.STANDS, names)
        if value is not None:
            found[node.name.text] = value
    return found


# ------------------------------------------------------------------ trains, scale


def _only(nodes: Sequence[_Statement], called: str, names: Names) -> _Statement | None:
    """The one statement of its kind; further ones are noted."""
    for node in nodes[1:]:
        names.error(
            "CP606",
            f"{called} is given twice",
            node.span,
            "It goes for the whole layout: leave one of them out.",
            ((nodes[0].span, "the first time is here"),),
        )
    return nodes[0] if nodes else None


def _trains(nodes: Sequence[tree.Trains], names: Names) -> Trains | None:
    node = _only(nodes, "`trains`", names)
    if node is None:
        return None
    given = given_once(node.clauses, names)
    shortest = read_amount(node.shortest, plausible_ranges.TRAIN, names)
    longest = read_amount(node.longest, plausible_ranges.TRAIN, names)
    wheelsets = given.get("wheelsets")
    resistance = (
        read_amount(wheelsets.lengths[0], plausible_ranges.WHEELSET, names) if wheelsets else None
    )
    if shortest is None or longest is None:
        return None
    if shortest > longest:
        names.error(
            "CP614",
            "the shortest train is longer than the longest",
            node.span,
            "The shortest comes first: `trains 600 mm to 2200 mm`.",
        )
    said = given["detectable"].words[0].text if "detectable" in given else "throughout"
    how = "ends" if said == "both" else said
    return Trains(shortest, longest, cast(Detectable, how), resistance, node.span)


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
            names.error(
                "CP618",
                f"`{node.span.text}` is no scale",
                node.span,
                "A ratio begins with 1: `scale 1:87.1`.",
            )
        return many
    name = cast(tree.Name, node.name)
    if name.text in SCALES:
        return Number(SCALES[name.text])
    near = did_you_mean(name.text, SCALES) if nearest(name.text, SCALES) else ""
    names.error(
        "CP618",
        f"no scale is called `{name.text}`",
        name.span,
        near
        or f"Known by name are {', '.join(SCALES)}; any other is given as a ratio: `scale 1:87.1`.",
    )
    return None
