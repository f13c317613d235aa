"""A draft of a junction file: from track to signals, aspects, rules, panel and locks, proved."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace

from verifier.drafting.aspects import TELLS_ROUTE, NeverShown
from verifier.drafting.buttons import buttons_for
from verifier.drafting.crew import promises, switch_keys
from verifier.drafting.levers import Named, named_signals
from verifier.drafting.placing import place_signals
from verifier.drafting.routing import Routing, routes_from
from verifier.drafting.rules import Drafting
from verifier.drafting.single import pieces_of, single_tracks
from verifier.drafting.wanted import Wanted
from verifier.drafting.wiring import wired_for
from verifier.drafting.words import free_name
from verifier.drafting.writing import draft_text
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import Source, Span
from verifier.language.syntax import tree
from verifier.plan.build import build
from verifier.plan.model import Plan, Route, Signal
from verifier.plan.names import Names, declare_all
from verifier.plan.observables import Observable
from verifier.plan.track.conflicts import find_conflicts
from verifier.plan.track.limits import find_limits
from verifier.plan.track.routes import find_routes
from verifier.verdicts.report import Report


def drafted_and_proved(
    draft: Callable[[frozenset[NeverShown]], str], prove: Callable[[str], Report]
) -> tuple[str, Report]:
    """A draft and the report on it, without aspects that are found never to be shown. (Of automatic
    signals on a circle, one that goes first may always be clear where the next one would be.)"""
    never: frozenset[NeverShown] = frozenset()
    text = draft(never)
    while True:
        report = prove(text)
        bad = [v for v in report.verdicts if v.status != "proved" and not v.obligation.advice]
        if not bad or any(
            v.status != "broken" or v.obligation.property != "never-shown" for v in bad
        ):
            return text, report
        never |= {(v.obligation.subjects[0], v.obligation.subjects[1]) for v in bad}
        before, text = text, draft(never)
        if text == before:
            return text, report


def drafted(
    source: Source,
    statements: Sequence[tree.Statement],
    wanted: Wanted,
    never: frozenset[NeverShown] = frozenset(),
) -> str:
    """The text of a file with all that is missing written into it; not proved yet. ``never``:
    signals and aspects that they are known not to show.

    Raises :class:`InputError` with each place that cannot be signaled."""
    for running in tree.of_kind(statements, tree.Running):
        if running.kind == "need to stop" and wanted.release != "time":
            raise InputError([diagnostic("CP906", running.span)])
    plan = build(source, statements)
    routing = placed(plan)
    single: Collection[str] = ()
    if wanted.single_track == "apb":
        single = pieces_of(single_tracks(routing, wanted.single_track, set()))
        routing = placed(plan, single)
    _check_detected(routing)
    if wanted.aspects == "speed":
        _check_no_routes_told(plan, statements)
    taken = set(declare_all(statements).table)
    automatic = wanted.panel == "automatic"
    by_hand = wanted.by_hand or automatic
    names = named_signals(routing, taken, single, frame=wanted.panel == "levers")
    if wanted.panel in ("automatic", "buttons"):
        names = {key: Named(named.name) for key, named in names.items()}
    made = promises(with_posts(plan, routing, names), statements, derails=automatic)
    taken |= {named.name for named in names.values()}
    taken |= {named.lever for named in names.values()}
    keys = switch_keys(plan, taken) if automatic else {}
    stretches = single_tracks(routing, wanted.single_track, taken, single)
    if wanted.single_track != "signals" and not stretches.all:
        raise InputError([diagnostic("CP907", plan.track.joints[0].span)])
    built = any(tree.of_kind(statements, tree.Built))
    buttons = None
    if wanted.panel == "buttons":
        buttons = buttons_for(routing, names, stretches, taken)
    times = {}
    if wanted.release == "time":
        lit = [key for key, routes in routing.routes.items() if routes]
        times = {key: free_name(f"{names[key].name}-time", taken) for key in lit}
    _check_circles(routing, names, automatic=automatic)
    wired = None
    if wanted.wiring:
        wired = wired_for(plan, statements, taken, by_hand=by_hand, automatic=automatic)
    drafting = Drafting(
        routing, names, wanted.aspects, wanted.panel, keys, stretches, buttons, built,
        wanted.release, times, wired, never,
    )  # fmt: skip
    if wired is not None:
        _check_no_failure_clears(drafting)
    return draft_text(
        source, statements, drafting, by_hand=by_hand, promises=tuple(made) if by_hand else ()
    )


def placed(plan: Plan, single: Collection[str] = ()) -> Routing:
    """Signals at their places, and the routes between them; ``single`` as for
    :func:`place_signals`. Raises :class:`InputError`."""
    posts = {post.written or f"#{i}": post for i, post in enumerate(place_signals(plan, single))}
    if not posts:
        joints = plan.track.joints
        raise InputError(
            [diagnostic("CP902", joints[0].span if joints else Span(plan.source, 0, 0))]
        )
    return routes_from(plan, posts)


def with_signals_placed(plan: Plan) -> Plan:
    """A plan with the signals that a draft would place, which have no rules yet, and its routes,
    conflicts and limits with them. Raises :class:`InputError`."""
    routing = placed(plan)
    taken = {*plan.blocks, *plan.track.pieces, *(what.name for what in plan.inputs)}
    return with_posts(plan, routing, named_signals(routing, taken))


def with_posts(plan: Plan, routing: Routing, names: Mapping[str, Named]) -> Plan:
    """A plan with signals without rules where they are placed, and the routes between them."""
    signals = dict(plan.signals)
    for key, post in routing.posts.items():
        name, span = names[key].name, post.joint.span
        aspect = Observable("aspect", name, ("Stop",), "Stop")
        signals.setdefault(name, Signal(name, post.joint, post.enters, (), (), aspect, span))
    where = {name: (signal.enters, signal.span) for name, signal in signals.items()}
    routes = find_routes(where, plan.track, Names())
    return replace(
        plan,
        signals=signals,
        routes=routes,
        conflicts=find_conflicts(routes, plan.track.pieces),
        limits=find_limits((), where, plan.track, plan.derails.values()),
    )


def _check_no_routes_told(plan: Plan, statements: Sequence[tree.Statement]) -> None:
    """No signal of the file shows an aspect for a route whose colors speed signals take."""
    own = {aspect.name.text for aspect in tree.of_kind(statements, tree.Aspect)}
    routes = {a.name for a in plan.chart.aspects if a.indication.text in TELLS_ROUTE} - own
    errors = [
        diagnostic("CP908", line.span, signal=signal.name)
        for signal in plan.signals.values()
        for line in signal.lines
        if line.shows in routes
    ]
    if errors:
        raise InputError(errors)


def _check_no_failure_clears(drafting: Drafting) -> None:
    """No signal clears because another one is at stop: what fails may put it there."""
    posts, names = drafting.routing.posts, drafting.names
    errors = [
        diagnostic(
            "CP909",
            posts[key].joint.span,
            others=[posts[other].joint.span],
            signal=names[key].name,
            stopped=names[other].name,
        )
        for key, other in dict(drafting.apart.asked_at_stop()).items()
    ]
    if errors:
        raise InputError(errors)


def _check_circles(routing: Routing, names: Mapping[str, Named], *, automatic: bool) -> None:
    """No signal is its own next one; and no two that are ``automatic`` let the same train go either
    way over the same track, where nothing could choose between them."""
    posts, told = routing.posts, set[str]()
    circles = {
        frozenset(route.pieces): route
        for route in reversed([*routing.all_routes])
        if route.exit == route.signal and not posts[route.signal].written
    }
    errors = [
        diagnostic("CP910", posts[route.signal].joint.span, signal=names[route.signal].name)
        for route in circles.values()
    ]
    for route in routing.all_routes if automatic and not errors else ():
        one = route.signal
        for two in (m.other.signal for m in routing.meetings.get(route.name, ())
                    if _same_way(route, m.other, routing)):  # fmt: skip
            if {one, two}.isdisjoint(told):
                told |= {one, two}
                here, there = posts[one].joint.span, posts[two].joint.span
                errors.append(
                    diagnostic(
                        "CP910", here, "either_way", others=[there], signal=names[one].name,
                        second=names[two].name,
                    )
                )  # fmt: skip
    if errors:
        raise InputError(errors)


def _same_way(route: Route, other: Route, routing: Routing) -> bool:
    """Whether two routes lead from the same stretch of track over the same blocks."""
    posts = routing.posts
    near = posts[route.signal].near.piece == posts[other.signal].near.piece
    lined = routing.needs[route.name] == routing.needs[other.name]
    return near and lined and set(route.blocks) == set(other.blocks)


def _check_detected(routing: Routing) -> None:
    """Points and crossings that trains run over by signals are detected."""
    errors = [
        diagnostic("CP905", piece.span, name=piece.name, block=piece.block or "")
        for piece in routing.plan.track.pieces.values()
        if piece.kind in ("turnout", "crossing", "slip")
        and piece.block
        and not routing.plan.blocks[piece.block].detected
    ]
    if errors:
        raise InputError(errors)
