"""Syntax tree to plan: the one place that knows in which order things are resolved."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

from verifier.language.diagnostics.diagnostic import Diagnostic, InputError
from verifier.language.source import Source, Span
from verifier.language.syntax import tree
from verifier.plan import observables
from verifier.plan.claims import read_claims
from verifier.plan.conditions import resolve
from verifier.plan.locking.build_locking import read_locking
from verifier.plan.locking.crew_rules import read_promises
from verifier.plan.locking.impossible_locks import impossible_locks
from verifier.plan.locking.locking_model import Locking, NamedRoute, Promise
from verifier.plan.locking.starts import read_starts
from verifier.plan.model import (
    Block,
    Crossover,
    Gate,
    NamedCondition,
    Plan,
    Port,
    Route,
    Track,
)
from verifier.plan.names import Names, declare_all
from verifier.plan.observables import Observable
from verifier.plan.read_panel import read_indicators
from verifier.plan.signals.aspects import Chart
from verifier.plan.signals.build_packets import read_packets
from verifier.plan.signals.build_signals import (
    aspect_observable,
    build_chart,
    build_signals,
    head_colors,
    one_reader_each,
    with_lamps,
)
from verifier.plan.signals.heads import no_head, signal_meant
from verifier.plan.signals.signal_placement import Post, find_posts
from verifier.plan.track.build_track import build_track, moves_over
from verifier.plan.track.conflicts import find_conflicts
from verifier.plan.track.derails import find_derails, is_pipe_connected
from verifier.plan.track.limits import find_limits
from verifier.plan.track.named_routes import read_routes
from verifier.plan.track.routes import find_routes
from verifier.plan.vocabulary import Vocabulary
from verifier.plan.wiring.build_wiring import read_wiring
from verifier.plan.wiring.derive_equipment import derive_equipment, inputs_with
from verifier.plan.wiring.impossible_clauses import impossible_clauses
from verifier.plan.wiring.wiring_model import Wiring

# Errors that no other statement can cure: they are reported even where other statements could
# not be read.
_STANDS_ALONE = frozenset((
    "CP202", "CP203", "CP204", "CP205", "CP206", "CP207", "CP208", "CP213",
    "CP301", "CP303", "CP304", "CP402", "CP406", "CP408", "CP410",
    "CP601", "CP602", "CP603", "CP604", "CP605", "CP606", "CP608", "CP614", "CP618",
    "CP751", "CP753", "CP754",
))  # fmt: skip


def standing_alone(source: Source, statements: Sequence[tree.Statement]) -> list[Diagnostic]:
    """The errors in some of a file's statements that no other statement could cure."""
    try:
        build(source, statements)
    except InputError as error:
        return [d for d in error.diagnostics if d.code in _STANDS_ALONE]
    return []


@dataclass(frozen=True, slots=True)
class _Laid:
    """The track and what stands at it: what is read before any rule."""

    statements: Sequence[tree.Statement]
    names: Names
    track: Track
    chart: Chart
    posts: Mapping[str, Post]
    blocks: Mapping[str, Block]
    crossovers: Sequence[Crossover]
    wiring: Wiring
    routes: tuple[Route, ...]
    named_routes: Mapping[str, tuple[Route, Span]]


def build(source: Source, statements: Sequence[tree.Statement]) -> Plan:
    """The checked plan of a file.

    Raises :class:`InputError` with every error found. Errors in the track hide those
    that would follow from them: signals are read once the track is free of errors.
    """
    assert not any(isinstance(s, tree.Reuse) for s in statements), "modules first"
    names = declare_all(statements)
    _check_declared_in(statements, names)
    track = build_track(statements, names)
    chart = build_chart(statements, names)
    if track is None:
        raise InputError(names.errors)
    plan = _ruled(source, _laid(statements, names, track, chart))
    promises = read_promises(statements, names, plan)
    if names.errors:
        raise InputError(names.errors)
    return _with_promises(_wired(plan), promises)


def _laid(statements: Sequence[tree.Statement], names: Names, track: Track, chart: Chart) -> _Laid:
    posts = find_posts(statements, track, names)
    wiring = read_wiring(statements, names, track, posts)
    routes = find_routes(_where(posts), track, names)
    return _Laid(
        statements, names, track, chart, posts, _blocks(statements),
        _crossovers(statements, track, names), wiring, routes,
        read_routes(statements, routes, names),
    )  # fmt: skip


def _where(posts: Mapping[str, Post]) -> dict[str, tuple[Port, Span]]:
    """Where each signal stands, and where it says so."""
    return {name: (post.enters, post.node.name.span) for name, post in posts.items()}


def _vocabulary(laid: _Laid, head_nodes: Mapping[str, tree.Head]) -> Vocabulary:
    """What rules may speak of."""
    posts, chart, wiring, names = laid.posts, laid.chart, laid.wiring, laid.names
    return Vocabulary(
        names, chart,
        {n: aspect_observable(n, p, head_nodes, chart, wiring) for n, p in posts.items()},
        head_colors(posts, head_nodes, chart, wiring, names),
        _levers(laid.statements, names),
        frozenset(block.name for block in laid.blocks.values() if not block.detected),
        {c.name: c.ends for c in laid.crossovers},
        {name: route for name, (route, _) in laid.named_routes.items()},
    )  # fmt: skip


def _ruled(source: Source, laid: _Laid) -> Plan:
    """The plan with its rules, but for what follows from its wiring and what crews promise."""
    statements, names, track, chart = laid.statements, laid.names, laid.track, laid.chart
    head_nodes = _head_nodes(statements, laid.posts, names)
    words = _vocabulary(laid, head_nodes)
    read = build_signals(laid.posts, head_nodes, words)
    signals = with_lamps(one_reader_each(read, chart, laid.wiring), laid.wiring, track, names)
    conditions = _conditions(statements, words)
    derails = find_derails(statements, track, names)
    locking = _locking(laid, conditions, words)
    claims = read_claims(statements, words, track)
    limits = _declared_limits(statements, names)
    inputs = _inputs(statements, words.levers, locking)
    return Plan(
        source=source,
        title=next((s.title for s in statements if isinstance(s, tree.Layout)), source.name),
        blocks=laid.blocks,
        derails={d.name: d for d in derails},
        gates=_gates(statements),
        crossovers={c.name: c for c in laid.crossovers},
        track=track,
        chart=chart,
        signals=signals,
        conditions=conditions,
        inputs=inputs,
        routes=laid.routes,
        conflicts=find_conflicts(laid.routes, track.pieces),
        limits=find_limits(limits, _where(laid.posts), track, derails),
        proofs=claims.proofs,
        assumptions=claims.assumptions,
        waivers=claims.waivers,
        expectations=claims.expectations,
        wiring=laid.wiring,
        locking=locking,
        packets=read_packets(statements, chart, laid.posts, names),
        indicators=read_indicators(statements, words, conditions),
        declared_limits={name: bounds for name, bounds, _ in limits},
        unwired_inputs=inputs,
        _routes_by_signal={s: tuple(on) for s, on in groupby(laid.routes, lambda r: r.signal)},
    )


def _wired(plan: Plan) -> Plan:
    """The plan with what follows from its wiring.

    Raises :class:`InputError` where a clause cannot do what it says."""
    wiring, locking, track = plan.wiring, plan.locking, plan.track
    equipment = derive_equipment(
        wiring, track, plan.blocks, plan.signals, plan.conditions, locking, plan.indicators
    )
    impossible = [
        *impossible_clauses(wiring, equipment),
        *impossible_locks(locking, wiring, track, plan.signals, plan.conditions),
    ]
    if impossible:
        raise InputError(impossible)
    return replace(
        plan, equipment=equipment, inputs=inputs_with(plan.unwired_inputs, wiring, equipment)
    )


def _locking(laid: _Laid, conditions: Mapping[str, NamedCondition], words: Vocabulary) -> Locking:
    named = {n: NamedRoute(n, route.name, span) for n, (route, span) in laid.named_routes.items()}
    locking = read_locking(laid.statements, named, words)
    starts = read_starts(laid.statements, laid.crossovers, locking, conditions, words.names)
    return replace(locking, starts=starts)


def _with_promises(plan: Plan, promises: tuple[Promise, ...]) -> Plan:
    """The plan with what its crew promises, which is about the plan as a whole."""
    if not promises:
        return plan
    return replace(plan, locking=replace(plan.locking, over_time=True, promises=promises))


def _declared_limits(
    statements: Iterable[tree.Statement], names: Names
) -> list[tuple[str, tuple[str, ...], Span]]:
    return [
        (s.name.text, tuple(n.text for n in s.signals if names.find(n, "signal")), s.span)
        for s in tree.of_kind(statements, tree.Limits)
    ]


def _check_declared_in(statements: Iterable[tree.Statement], names: Names) -> None:
    """Blocks named by trackwork and gates exist; a layout has one title; what reports quote
    is not empty."""
    layout: tree.Layout | None = None
    placed: dict[str, tree.Placing] = {}
    for statement in statements:
        match statement:
            case tree.Prove(title="") | tree.Assume(title="") | tree.Waive(reason=""):
                names.error("CP213", statement.span)
            case tree.Turnout(block=b) | tree.Crossing(block=b) | tree.Slip(block=b):
                names.find(b, "block")
            case tree.Gate(block=b) | tree.Derail(block=b):
                names.find(b, "block")
            case tree.Placing():
                _check_place(statement, placed, names)
            case tree.Layout():
                if layout:
                    names.error("CP202", statement.span, "titles", others=[layout.span])
                layout = layout or statement
            case _:
                pass


def _check_place(placing: tree.Placing, placed: dict[str, tree.Placing], names: Names) -> None:
    """What is placed in the drawing is there, once, and a point or a stretch as it is drawn."""
    name = placing.name.text
    declared = names.find(placing.name, "block", "turnout", "crossing", "slip", "edge", "bumper")
    if declared is None:
        return
    first = placed.setdefault(name, placing)
    if first is not placing:
        names.error("CP314", placing.span, "twice", others=[first.span], name=name)
    is_end = declared.kind in ("edge", "bumper")
    if is_end and any(len(laid.spots) > 1 for laid in placing.laid):
        names.error("CP314", placing.span, "end", kind=declared.kind, name=name)
    if declared.kind != "block" and len(placing.laid) > 1:
        names.error("CP314", placing.laid[1].span, kind=declared.kind, name=name)


def _blocks(statements: Iterable[tree.Statement]) -> dict[str, Block]:
    return {
        n.text: Block(n.text, not s.undetected, s.switching, s.note, n.span, len(s.names) == 1)
        for s in tree.of_kind(statements, tree.Block)
        for n in s.names
    }


def _gates(statements: Iterable[tree.Statement]) -> dict[str, Gate]:
    return {
        n.text: Gate(n.text, s.block.text, n.span)
        for s in tree.of_kind(statements, tree.Gate)
        for n in s.names
    }


def _levers(statements: Iterable[tree.Statement], names: Names) -> dict[str, tuple[str, ...]]:
    levers: dict[str, tuple[str, ...]] = {}
    for s in tree.of_kind(statements, tree.Lever):
        for _, again in tree.repeated(s.positions):
            names.error("CP202", again.span, "positions", position=again.text)
        levers |= dict.fromkeys((n.text for n in s.names), tuple(p.text for p in s.positions))
    return levers


def _head_nodes(
    statements: Iterable[tree.Statement], posts: Mapping[str, Post], names: Names
) -> dict[str, tree.Head]:
    nodes: dict[str, tree.Head] = {}
    heads = {head for post in posts.values() for head in post.heads}
    for s in tree.of_kind(statements, tree.Head):
        if s.name.text not in heads:
            signal = signal_meant(s.name.text, names.table)
            declared = names.table.get(signal)
            if declared and declared.kind == "signal" and signal not in posts:
                continue  # the signal has an error of its own
            if declared:
                no_head(s.name, signal, posts[signal].heads if signal in posts else (), names)
            else:
                names.unknown(tree.Name(signal, s.name.span), ("signal",), "signal")
        elif s.name.text in nodes:
            first = nodes[s.name.text].name.span
            names.error("CP202", s.name.span, "head_lines", others=[first], name=s.name.text)
        else:
            nodes[s.name.text] = s
    return nodes


def _crossovers(
    statements: Iterable[tree.Statement], track: Track, names: Names
) -> list[Crossover]:
    crossovers = []
    for s in tree.of_kind(statements, tree.Crossover):
        ends = [n.text for n in s.ends if names.find(n, "turnout")]
        if len(s.ends) != 2 or len(set(ends)) != len(ends):
            names.error("CP313", s.span, name=s.name.text)
        elif len(ends) == 2:
            between = _between(ends[0], ends[1], track)
            if between is None:
                names.error("CP313", s.span, "reverse_legs", first=ends[0], second=ends[1])
            else:
                crossovers.append(Crossover(s.name.text, (ends[0], ends[1]), between, s.span))
    return crossovers


def _between(first: str, second: str, track: Track) -> tuple[str, ...] | None:
    """Blocks of the track from one reverse leg to the other, the turnouts' own left out."""
    own = {track.pieces[first].block, track.pieces[second].block}
    blocks: dict[str, None] = {}
    port = Port(first, "reverse")
    for _ in track.pieces:
        port = track.joint_at[port].other(port)
        piece = track.pieces[port.piece]
        if port == Port(second, "reverse"):
            return tuple(b for b in blocks if b not in own)
        onward = [m.leave for m in moves_over(piece) if m.enter == port.end]
        if piece.block:
            blocks[piece.block] = None
        if piece.kind == "slip" or len(onward) != 1:
            return None
        port = Port(piece.name, onward[0])
    return None


def _conditions(
    statements: Iterable[tree.Statement], words: Vocabulary
) -> dict[str, NamedCondition]:
    found: dict[str, NamedCondition] = {}
    for s in tree.of_kind(statements, tree.NamedCondition):
        # Rules and properties may use it, so it may name only what rules may.
        condition = resolve(s.condition, words, in_rule=True)
        if condition is not None:
            what = observables.condition(s.name.text)
            found[s.name.text] = NamedCondition(s.name.text, condition, what, s.span)
    return found


def _inputs(
    statements: Sequence[Any], levers: Mapping[str, tuple[str, ...]], locking: Locking
) -> tuple[Observable, ...]:
    """Truth and commands, in the order of the file; then memory, last the steps of sequences."""

    def made(kinds: Mapping[Any, Callable[[str], Observable]]) -> list[Observable]:
        return [
            kinds[type(s)](name.text)
            for s in statements
            if type(s) in kinds and not is_pipe_connected(s)
            for name in ((s.name,) if hasattr(s, "name") else s.names)
        ]

    truth_and_commands = {
        tree.Block: observables.stock,
        tree.Turnout: observables.points,
        tree.Slip: observables.points,
        tree.Derail: observables.derail,
        tree.Gate: observables.gate,
        tree.Button: observables.button,
        tree.Lever: lambda name: observables.lever(name, levers[name]),
    }
    memory = {
        tree.Relay: observables.relay,
        tree.Timer: observables.timer,
        tree.Traffic: observables.traffic,
    }
    steps = (observables.relay(relay.name) for relay in locking.relays.values() if relay.step_of)
    return (*made(truth_and_commands), *made(memory), *steps)
