"""Detectors and drivers, from their statements.

In: their statements, and the feeders, blocks and heads they may name. Out: each by its
name; errors are noted in the names.
"""

from collections.abc import Iterable, Iterator, Mapping, Set
from typing import Literal, cast

from verifier.language.syntax import tree
from verifier.plan.clause_reader import ClauseReader, at_most_one
from verifier.plan.names import KIND_WORDS, Names
from verifier.plan.quantities import read_amount
from verifier.plan.signals.heads import no_head, signal_meant
from verifier.plan.signals.signal_placement import Post
from verifier.plan.wiring import boards, plausible_ranges
from verifier.plan.wiring.plausible_ranges import read_fuse, read_run
from verifier.plan.wiring.read_lamps import check_outputs, sold_heads
from verifier.plan.wiring.wiring_model import (
    EITHER,
    Detector,
    Driver,
    DriverInput,
    Feeder,
    Number,
    Sense,
    SpotPlace,
    SubBus,
)

# What only one of the two kinds of detector has.
_ONLY: Mapping[tree.ClauseKind, str] = {
    "by": "current-sensing",
    "through": "current-sensing",
    "turns": "current-sensing",
    "sensitivity": "current-sensing",
    "without track power": "current-sensing",
    "at": "spot",
}
# Variants of CP607, by the clause that is left out.
_MISSING: Mapping[tree.ClauseKind, str] = {"through": "feeders", "on": "block", "at": "spots"}


# ------------------------------------------------------------------ detectors


def read_detectors(
    nodes: Iterable[tree.Detector],
    feeders: Mapping[str, Feeder],
    sub_buses: Mapping[str, SubBus],
    lengths: Mapping[str, Number],
    undetected: Set[str],
    names: Names,
) -> dict[str, Detector]:
    """Every detector whose block is known."""
    found = {}
    for node in nodes:
        given = ClauseReader(node.clauses, names)
        _check_kind(node, given, names)
        through, passing = _through(given, sub_buses, names)
        block = _block(node, given, through, feeders, undetected, names)
        turns = given.amount("turns", plausible_ranges.TURNS)
        detector = Detector(
            name=node.name.text,
            kind=node.kind,
            block=block or "",
            by=_sense(given, names),
            through=through,
            turns=int(turns) if turns else 1,
            sensitivity=given.amount("sensitivity", plausible_ranges.SENSITIVITY),
            spots=_spots(node, given, block, lengths, names),
            hold=given.amount("hold", plausible_ranges.HOLD),
            supply=given.supply(),
            draws=given.amount("draws", plausible_ranges.DRAWS),
            closed_when=cast(Literal["clear", "occupied"] | None, given.word("output")),
            isolated="isolated output" in given,
            without_power="without track power" in given,
            span=node.span,
            sub_buses=passing,
        )
        if block:
            found[node.name.text] = detector
    return found


def _check_kind(node: tree.Detector, given: ClauseReader, names: Names) -> None:
    """Nothing is left out that this kind of detector needs, and nothing is there that only
    the other kind has."""
    name = node.name
    needs: tuple[tree.ClauseKind, ...] = ("through",) if node.kind != "spot" else ("on", "at")
    for kind in needs:
        if kind not in given:
            names.error("CP607", name.span, _MISSING[kind], name=name.text)
    for kind, clause in given.given.items():
        of = _ONLY.get(kind, node.kind)
        if of != node.kind:
            names.error(
                "CP619", clause.span, others=[name.span], clause=kind, of=of, kind=node.kind
            )


def _sense(given: ClauseReader, names: Names) -> Sense | None:
    """What a detector senses current by; only a coil has turns."""
    clause = given.get("by")
    by = " ".join(word.text for word in clause.words) if clause else None
    turns = given.get("turns")
    if clause and turns and by != "coil":
        names.error("CP619", turns.span, "turns", others=[clause.span], by=by or "")
    if by is None and turns:
        by = "coil"
    return cast(Sense | None, by)


def _through(
    given: ClauseReader, sub_buses: Mapping[str, SubBus], names: Names
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The feeders that pass through a detector, and the sub-buses that some of them come from."""
    clause = given.get("through")
    if clause is None:
        return (), ()
    known = [n for n in clause.names if n.text in sub_buses or names.find(n, "feeder")]
    through: list[str] = []
    for name in at_most_one(known, "feeder", names):
        through += sub_buses[name].feeders if name in sub_buses else (name,)
    passing = tuple(n.text for n in known if n.text in sub_buses)
    return tuple(dict.fromkeys(through)), tuple(dict.fromkeys(passing))


def _block(
    node: tree.Detector,
    given: ClauseReader,
    through: tuple[str, ...],
    feeders: Mapping[str, Feeder],
    undetected: Set[str],
    names: Names,
) -> str | None:
    on = given.get("on")
    if on:
        block = on.names[0].text if names.find(on.names[0], "block") else None
        span = on.names[0].span
    else:
        block = next((feeders[name].block for name in through if name in feeders), None)
        span = node.name.span
    if block and block in undetected:
        names.error("CP615", span, others=[names.table[block].span], block=block)
        return None
    return block


def _spots(
    node: tree.Detector,
    given: ClauseReader,
    block: str | None,
    lengths: Mapping[str, Number],
    names: Names,
) -> tuple[SpotPlace, ...]:
    at = given.get("at")
    if at is None or node.kind != "spot":
        return ()
    read = [(read_amount(place.at, plausible_ranges.SPOT, names), place) for place in at.places]
    if block is None:
        return ()
    declared = names.table[block]
    whole = lengths.get(block)
    if whole is None:
        if not getattr(declared.node, "length", ()):
            names.error("CP609", at.span, "length", others=[declared.span], block=block)
        return ()
    found: set[SpotPlace] = set()
    for distance, place in read:
        over = tuple(_over(leg, block, names) for leg in place.over)
        if distance is None:
            continue
        if distance > whole:
            span = place.at[0].span.to(place.at[-1].span)
            names.error("CP609", span, "beyond", others=[declared.span], block=block)
        found.add(SpotPlace(whole - distance if node.span.turned else distance, over))
    return tuple(sorted(found))


# The legs, or tracks, that a spot may be measured over, by the kind of trackwork.
_LEGS: Mapping[str, tuple[str, ...]] = {
    "turnout": ("normal", "reverse"), "crossing": ("along", "across"), "slip": ("along", "across"),
}  # fmt: skip


def _over(node: tree.OverLeg, block: str, names: Names) -> tuple[str, str]:
    """A turnout or crossing of a block, and the leg or track of it; wrong ones are noted."""
    declared = names.table.get(node.name.text)
    of = declared.node if declared else None
    if declared is None or not isinstance(of, tree.Turnout | tree.Crossing | tree.Slip):
        names.find(node.name, "turnout")
        return node.name.text, node.leg or EITHER
    legs = _LEGS[declared.kind]
    others, name = [declared.span], node.name.text
    if of.block.text != block:
        names.error("CP609", node.span, "elsewhere", others=others, name=name, block=block)
    elif node.leg is None and declared.kind != "turnout":
        names.error("CP609", node.span, "which", others=others, name=name)
    elif node.leg is not None and node.leg not in legs:
        names.error(
            "CP609", node.span, "leg", others=others, name=name, kind=declared.kind,
            first=legs[0], second=legs[1],
        )  # fmt: skip
    return name, node.leg or EITHER


# ------------------------------------------------------------------ drivers


def read_drivers(
    nodes: Iterable[tree.Driver],
    posts: Mapping[str, Post],
    contactless: Mapping[str, tree.Clause],
    names: Names,
) -> dict[str, Driver]:
    """Every driver, with those of its heads that exist."""
    driven: dict[str, tree.Name] = {}
    thrown: dict[str, tree.Name] = {}
    unlocked: dict[str, tree.Name] = {}
    found = {}
    for node in nodes:
        given = ClauseReader(node.clauses, names)
        inputs = given.amount("inputs", plausible_ranges.INPUTS)
        heads, indicators = _driven(node, posts, driven, names)
        outputs = given.amount("outputs", plausible_ranges.OUTPUTS)
        power, reads = given.get("powered by"), given.get("reads")
        driver = Driver(
            name=node.name.text,
            heads=heads,
            outputs=int(outputs) if outputs else None,
            supply=given.supply(run=True),
            run=read_run(power.run, names) if power else None,
            reads=tuple(_readings(reads, node, contactless, names)) if reads else None,
            when_missing=given.word("when input missing"),
            when_out=given.word("when lamp out"),
            draws=given.amount("draws", plausible_ranges.DRAWS),
            lamp=given.amount("lamps", plausible_ranges.LAMP),
            needs=given.amount("needs", plausible_ranges.NEEDS),
            span=node.span,
            fuse=read_fuse(power.fuse, names) if power else None,
            inputs=int(inputs) if inputs else None,
            sold=tuple(sold_heads(node, heads, names)),
            each=_each(given, names),
            indicators=indicators,
            throws=boards.driven("throws", node, thrown, names),
            unlocks=boards.driven("unlocks", node, unlocked, names),
        )
        check_outputs(driver, node, names)
        found[driver.name] = driver
    return found


def _each(given: ClauseReader, names: Names) -> Number | None:
    """The current that each output of a board may carry."""
    outputs = given.get("outputs")
    if outputs is None or len(outputs.lengths) < 2:
        return None
    return read_amount(outputs.lengths[1], plausible_ranges.EACH, names)


def _driven(
    node: tree.Driver,
    posts: Mapping[str, Post],
    driven: dict[str, tree.Name],
    names: Names,
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The heads that a board drives, and the indicators and bells."""
    heads: list[str] = []
    indicators: list[str] = []
    for name in node.heads:
        declared = names.table.get(name.text)
        on_panel = declared is not None and declared.kind in ("indicator", "bell")
        if not (on_panel or _is_head(name, posts, names)):
            continue
        if name.text in driven:
            variant = "panel" if on_panel else ""
            first = driven[name.text].span
            names.error("CP611", name.span, variant, others=[first], name=name.text)
            continue
        driven[name.text] = name
        (indicators if on_panel else heads).append(name.text)
    return tuple(heads), tuple(indicators)


def _is_head(name: tree.Name, posts: Mapping[str, Post], names: Names) -> bool:
    signal = signal_meant(name.text, names.table)
    if signal not in posts:
        declared = names.table.get(signal)
        if not (declared and declared.kind == "signal"):  # else it has an error of its own
            names.find(tree.Name(signal, name.span), "signal")
        return False
    heads = posts[signal].heads
    if name.text in heads:
        return True
    no_head(name, signal, heads, names)
    return False


# What a board reads, apart from contacts.
READABLE = ("detector", "lever", "button", "relay", "timer", "traffic", "signal")
# What may have contacts.
WITH_CONTACTS = ("turnout", "slip", "derail", "gate")


def _readings(
    clause: tree.Clause,
    node: tree.Driver,
    contactless: Mapping[str, tree.Clause],
    names: Names,
) -> Iterator[DriverInput]:
    at_most_one(clause.names, "input", names)
    for name in clause.names:
        contacts = name in clause.contacts
        declared = names.table.get(name.text)
        if not contacts and (heard := boards.reading(name, node, names)):
            yield heard
            continue
        if contacts and declared and declared.kind in ("lever", "button", "relay"):
            names.error("CP203", name.span, "no_contacts", others=[declared.span], name=name.text,
                        kind=KIND_WORDS[declared.kind])  # fmt: skip
            continue
        if not contacts and declared is None:
            names.unknown(name, READABLE)
            continue
        if not contacts and declared and declared.kind in ("turnout", "block"):
            names.error(
                "CP203",
                name.span,
                "turnout_input" if declared.kind == "turnout" else "block_input",
                others=[declared.span],
                name=name.text,
            )
            continue
        if not (contacts and declared and declared.kind in WITH_CONTACTS) and not names.find(
            name, "turnout" if contacts else "detector"
        ):
            continue
        if contacts and name.text in contactless:
            names.error("CP612", name.span, others=[contactless[name.text].span], name=name.text)
            continue
        yield DriverInput(name.text, contacts, name.span)
