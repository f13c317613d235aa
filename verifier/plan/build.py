"""Syntax tree to plan: the one place that knows in which order things are resolved."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from verifier.language import syntax
from verifier.language.diagnostics import InputError, did_you_mean
from verifier.language.source import Source
from verifier.plan import facts
from verifier.plan.conditions import Vocabulary, resolve
from verifier.plan.conflicts import find_conflicts
from verifier.plan.facts import Condition, Not, Observable
from verifier.plan.limits import SPECIAL, find_limits
from verifier.plan.model import (
    Assumption,
    Block,
    Crossover,
    Derail,
    Expectation,
    Gate,
    NamedCondition,
    Plan,
    Port,
    Proof,
    Route,
    Track,
    Waiver,
)
from verifier.plan.names import Names, declare_all
from verifier.plan.routes import find_routes
from verifier.plan.signals import (
    aspect_observable,
    build_chart,
    build_signals,
    find_posts,
    head_colours,
)
from verifier.plan.track import build_track, moves_over


def build(source: Source, statements: Sequence[syntax.Statement]) -> Plan:
    """The checked plan of a file.

    Raises :class:`InputError` with every error found. Errors in the track hide those
    that would follow from them: signals are looked at once the track is sound.
    """
    names = declare_all(statements)
    _check_declared_in(statements, names)
    track = build_track(statements, names)
    chart = build_chart(statements, names)
    if track is None:
        raise InputError(names.errors)
    posts = find_posts(statements, track, names)
    head_nodes = _head_nodes(statements, {h for p in posts.values() for h in p.heads}, names)
    crossovers = _crossovers(statements, track, names)
    words = Vocabulary(
        names,
        chart,
        {n: aspect_observable(n, post, head_nodes, chart) for n, post in posts.items()},
        head_colours(posts, head_nodes, chart),
        _levers(statements, names),
        frozenset(
            n.text for s in statements if isinstance(s, syntax.Block) and s.undetected
            for n in s.names
        ),
        {c.name: c.ends for c in crossovers},
    )  # fmt: skip
    signals = build_signals(posts, head_nodes, words)
    conditions = _conditions(statements, words)
    derails = _derails(statements, track, names)
    routes = find_routes({n: (p.enters, p.node.name.span) for n, p in posts.items()}, track, names)
    proofs, assumptions = _proofs(statements, words), _assumptions(statements, words)
    limits = find_limits(
        [
            (s.name.text, tuple(n.text for n in s.signals if names.find(n, "signal")), s.span)
            for s in statements
            if isinstance(s, syntax.Limits)
        ],
        {n: (p.enters, p.node.name.span) for n, p in posts.items()},
        track,
        derails,
    )
    if names.errors:
        raise InputError(names.errors)
    by_signal: dict[str, tuple[Route, ...]] = {}
    for route in routes:
        by_signal[route.signal] = (*by_signal.get(route.signal, ()), route)
    return Plan(
        source=source,
        title=next((s.title for s in statements if isinstance(s, syntax.Layout)), source.name),
        blocks=_blocks(statements),
        derails={d.name: d for d in derails},
        gates=_gates(statements),
        crossovers={c.name: c for c in crossovers},
        track=track,
        chart=chart,
        signals=signals,
        conditions=conditions,
        inputs=_inputs(statements, words),
        routes=routes,
        conflicts=find_conflicts(routes, track.pieces),
        limits=limits,
        proofs=proofs,
        assumptions=assumptions,
        waivers=tuple(
            Waiver(s.claim.text, tuple(n.text for n in s.subjects), s.reason, s.span)
            for s in statements
            if isinstance(s, syntax.Waive)
        ),
        expectations=tuple(
            Expectation(s.claim.text, tuple(n.text for n in s.subjects), s.span)
            for s in statements
            if isinstance(s, syntax.Expect)
        ),
        _routes_by_signal=by_signal,
    )


def _check_declared_in(statements: Iterable[syntax.Statement], names: Names) -> None:
    """Blocks named by trackwork and gates exist; a layout has one title."""
    layout: syntax.Layout | None = None
    for statement in statements:
        match statement:
            case syntax.Turnout(block=b) | syntax.Crossing(block=b) | syntax.Slip(block=b):
                names.find(b, "block")
            case syntax.Gate(block=b) | syntax.Derail(block=b):
                names.find(b, "block")
            case syntax.Layout():
                if layout:
                    names.error(
                        "CP202",
                        "the layout has two titles",
                        statement.span,
                        "",
                        ((layout.span, "the first one is here"),),
                    )
                layout = layout or statement
            case _:
                pass


def _blocks(statements: Iterable[syntax.Statement]) -> dict[str, Block]:
    return {
        n.text: Block(n.text, not s.undetected, s.switching, s.note, n.span)
        for s in statements
        if isinstance(s, syntax.Block)
        for n in s.names
    }


def _gates(statements: Iterable[syntax.Statement]) -> dict[str, Gate]:
    return {
        n.text: Gate(n.text, s.block.text, n.span)
        for s in statements
        if isinstance(s, syntax.Gate)
        for n in s.names
    }


def _levers(statements: Iterable[syntax.Statement], names: Names) -> dict[str, tuple[str, ...]]:
    levers: dict[str, tuple[str, ...]] = {}
    for s in statements:
        if isinstance(s, syntax.Lever):
            positions = tuple(p.text for p in s.positions)
            if len(set(positions)) < len(positions):
                names.error("CP202", "a lever position is named twice", s.span)
            for n in s.names:
                levers[n.text] = positions
    return levers


def _head_nodes(
    statements: Iterable[syntax.Statement], heads: set[str], names: Names
) -> dict[str, syntax.Head]:
    nodes: dict[str, syntax.Head] = {}
    for s in statements:
        if not isinstance(s, syntax.Head):
            continue
        if s.name.text not in heads:
            signal = s.name.text.split(".")[0]
            if signal in names.table or not heads:
                names.error(
                    "CP407",
                    f"no head is called `{s.name.text}`",
                    s.name.span,
                    did_you_mean(s.name.text, heads)
                    or "A head goes by its signal's name, a dot, and its own: `4L.upper`.",
                )
            else:
                names.unknown(syntax.Name(signal, s.name.span), "a signal", ("signal",))
        elif s.name.text in nodes:
            names.error(
                "CP202",
                f"head `{s.name.text}` has two lists of rules",
                s.name.span,
                "",
                ((nodes[s.name.text].name.span, "the first one is here"),),
            )
        else:
            nodes[s.name.text] = s
    return nodes


def _crossovers(
    statements: Iterable[syntax.Statement], track: Track, names: Names
) -> list[Crossover]:
    crossovers = []
    for s in statements:
        if not isinstance(s, syntax.Crossover):
            continue
        ends = [n.text for n in s.ends if names.find(n, "turnout")]
        if len(s.ends) != 2 or len(set(ends)) != len(ends):
            names.error(
                "CP313",
                f"crossover `{s.name.text}` needs two turnouts",
                s.span,
                "A crossover is two turnouts thrown together: `crossover K1 is T1, T2`.",
            )
        elif len(ends) == 2:
            between = _between(ends[0], ends[1], track)
            if between is None:
                names.error(
                    "CP313",
                    f"the reverse legs of {ends[0]} and {ends[1]} do not lead to each other",
                    s.span,
                    "The track between the two turnouts of a crossover joins their reverse legs.",
                )
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


def _derails(statements: Iterable[syntax.Statement], track: Track, names: Names) -> list[Derail]:
    derails = []
    for s in statements:
        if not isinstance(s, syntax.Derail):
            continue
        on = names.find(s.block, "block")
        toward = names.table.get(s.toward.text)
        if toward is None:
            names.unknown(s.toward, "", ("block", "turnout"))
        if on is None or toward is None:
            continue
        ports = [
            Port(p.name, end)
            for p in track.pieces.values()
            if p.kind == "plain" and p.block == s.block.text
            for end in p.ends
        ]
        ahead = [port for port in ports if s.toward.text in _first_met(port, track)]
        ahead = ahead or [port for port in ports if s.toward.text in _all_met(port, track)]
        if len(ahead) != 1:
            names.error(
                "CP311",
                f"on which side of {s.block.text} does derail `{s.name.text}` stand?",
                s.toward.span,
                f"After `toward` name what lies next to {s.block.text} on that side"
                + (": " + _beside(ports, track) if ports else "")
                + ".",
            )
            continue
        derails.append(
            Derail(s.name.text, s.block.text, ahead[0], _guards(ahead[0], track), s.span)
        )
    return derails


def _first_met(port: Port, track: Track) -> set[str]:
    piece = track.pieces[track.joint_at[port].other(port).piece]
    return {piece.name, piece.title}


def _all_met(port: Port, track: Track) -> set[str]:
    """Names of all pieces and blocks reached outward from ``port``, not back through it."""
    met: set[str] = set()
    stack, seen = [track.joint_at[port].other(port)], {port.piece}
    while stack:
        entered = stack.pop()
        if entered.piece in seen:
            continue
        seen.add(entered.piece)
        piece = track.pieces[entered.piece]
        met |= {piece.name, piece.title} | ({piece.block} if piece.block else set())
        for end in piece.ends:
            own = Port(piece.name, end)
            stack.append(track.joint_at[own].other(own))
    return met


def _beside(ports: Iterable[Port], track: Track) -> str:
    return " or ".join(
        dict.fromkeys(track.pieces[track.joint_at[p].other(p).piece].title for p in ports)
    )


def _guards(port: Port, track: Track) -> str | None:
    """The first turnout, crossing or slip outward from a derail."""
    for _ in track.pieces:
        port = track.joint_at[port].other(port)
        piece = track.pieces[port.piece]
        if piece.kind in SPECIAL:
            return piece.name
        if piece.kind != "plain":
            return None
        port = Port(piece.name, "left" if port.end == "right" else "right")
    return None


def _conditions(
    statements: Iterable[syntax.Statement], words: Vocabulary
) -> dict[str, NamedCondition]:
    found: dict[str, NamedCondition] = {}
    for s in statements:
        if isinstance(s, syntax.NamedCondition):
            # A named condition may be used by properties too, so it is read as a rule only
            # where a rule uses it; what it may speak of is what rules may.
            condition = resolve(s.condition, words, in_rule=True)
            if condition is not None:
                found[s.name.text] = NamedCondition(
                    s.name.text, condition, facts.condition(s.name.text), s.span
                )
    return found


def _proofs(statements: Iterable[syntax.Statement], words: Vocabulary) -> tuple[Proof, ...]:
    proofs: dict[str, Proof] = {}
    for s in statements:
        if isinstance(s, syntax.Prove):
            condition = resolve(s.condition, words, in_rule=False)
            if s.title in proofs:
                words.names.error(
                    "CP202",
                    f'two properties are called "{s.title}"',
                    s.span,
                    "",
                    ((proofs[s.title].span, "the first one is here"),),
                )
            if condition is not None:
                proofs[s.title] = Proof(s.title, s.mode, condition, s.span)
    return tuple(proofs.values())


def _assumptions(
    statements: Iterable[syntax.Statement], words: Vocabulary
) -> tuple[Assumption, ...]:
    assumptions = []
    for s in statements:
        if isinstance(s, syntax.Assume):
            condition: Condition | None = resolve(s.condition, words, in_rule=False)
            if condition is None:
                continue
            if s.mode == "never":
                condition = Not(condition, s.condition.span)
            text = f"{s.mode} {' '.join(s.condition.span.text.split())}"
            assumptions.append(Assumption(s.title, condition, text, s.span))
    return tuple(assumptions)


def _inputs(statements: Iterable[syntax.Statement], words: Vocabulary) -> tuple[Observable, ...]:
    """Truth and commands, in the order of the file."""
    makers: Mapping[Any, Any] = {
        syntax.Block: facts.stock,
        syntax.Turnout: facts.points,
        syntax.Slip: facts.points,
        syntax.Gate: facts.gate,
        syntax.Button: facts.button,
    }
    inputs: list[Observable] = []
    for s in statements:
        if type(s) in makers:
            inputs += [makers[type(s)](n.text) for n in getattr(s, "names", ())]
        elif isinstance(s, syntax.Derail):
            inputs.append(facts.derail(s.name.text))
        elif isinstance(s, syntax.Lever):
            inputs += [facts.lever(n.text, words.levers[n.text]) for n in s.names]
    return tuple(inputs)
