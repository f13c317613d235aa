"""From conditions as written to conditions about observables: names resolved, states checked."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from verifier.language.diagnostics.diagnostic import nearest
from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.plan import observables
from verifier.plan.names import KIND_WORDS
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, Observable
from verifier.plan.signals.heads import signal_meant, signal_of
from verifier.plan.vocabulary import (
    STATES_OF,
    Vocabulary,
    also_called,
    state_hints,
    state_text,
    states_of,
    wrong_state,
)

# States that a list of things is naturally all in at once; others ask for any of / all of.
_NATURALLY_ALL = {
    "clear", "vacant", "normal", "reverse", "lies", "at stop", "seated",
    "derailing", "non-derailing",
}  # fmt: skip
# The states of relays and named routes of which the same is true.
_ALL_OF_KIND = {"relay": ("up", "down"), "route": ("lined",)}


def resolve(condition: tree.Condition, words: Vocabulary, *, in_rule: bool) -> Condition | None:
    """The condition with its names resolved; None when an error was found (noted).

    ``in_rule``: rules see only what the equipment reports, so facts about where stock and
    points truly are get an error there."""
    match condition:
        case tree.AllOf() | tree.AnyOf():
            parts = [resolve(part, words, in_rule=in_rule) for part in condition.parts]
            good = tuple(part for part in parts if part is not None)
            if len(good) < len(parts):
                return None
            group = All if isinstance(condition, tree.AllOf) else AnyOne
            return group(good, condition.span)
        case tree.Negation():
            part = resolve(condition.part, words, in_rule=in_rule)
            return None if part is None else Not(part, condition.span)
        case tree.Fact():
            return _resolve_fact(condition, words, in_rule)


def _resolve_fact(fact: tree.Fact, words: Vocabulary, in_rule: bool) -> Condition | None:
    state = fact.state
    if state is None:
        return _named_condition(fact, words)
    if len(fact.names) > 1 and not fact.quantity and not _all_at_once(fact, state, words):
        declared = words.names.table.get(fact.names[0].text)
        if declared and also_called(declared.kind, state):
            wrong_state(fact.names[0], declared.kind, state, words)
            return None
        names = ", ".join(n.text for n in fact.names)
        words.names.error(
            "CP205",
            fact.span,
            said=_listed(names, state),
            any_of=_listed(f"any of {names}", state),
            all_of=_listed(f"all of {names}", state),
        )
        return None
    parts = [_one(name, state, words, in_rule) for name in fact.names]
    good = tuple(part for part in parts if part is not None)
    if len(good) < len(parts):
        return None
    if len(good) == 1:
        return good[0]
    return AnyOne(good, fact.span) if fact.quantity == "any" else All(good, fact.span)


def _all_at_once(fact: tree.Fact, state: tree.FactState, words: Vocabulary) -> bool:
    if state.kind != "name":
        return state.kind in _NATURALLY_ALL
    declared = (words.names.table.get(name.text) for name in fact.names)
    return all(d is None or state.value in _ALL_OF_KIND.get(d.kind, ()) for d in declared)


def _listed(names: str, state: tree.FactState) -> str:
    """Several things in one state, as the file would put it."""
    if state.kind == "train on":
        return f"train on {names}"
    return f"{names} {'proceed' if state.kind == 'proceeds' else state_text(state)}"


def _named_condition(fact: tree.Fact, words: Vocabulary) -> Condition | None:
    kinds = [words.names.table.get(name.text) for name in fact.names]
    for name, declared in zip(fact.names, kinds, strict=True):
        if declared and declared.kind != "condition":
            kind = declared.kind
            words.names.error(
                "CP204",
                fact.span,
                "no_state",
                hints=(*state_hints(kind), *_SEVERAL.get(kind, ())),
                name=name.text,
                kind=KIND_WORDS[kind],
                **states_of(name, kind, words),
            )
            return None
    if len(fact.names) > 1:
        words.names.error("CP204", fact.span, "several", names=(name.text for name in fact.names))
        return None
    name = fact.names[0]
    if not words.names.find(name, "condition"):
        return None
    return Fact(observables.condition(name.text), ("true",), fact.span, name.text)


def _one(
    name: tree.Name, state: tree.FactState, words: Vocabulary, in_rule: bool
) -> Condition | None:
    """One thing in one state."""
    span = name.span.to(state.span) if name.span.start < state.span.start else name.span
    declared = words.names.table.get(name.text)
    head = declared is None and signal_meant(name.text, words.names.table) != name.text
    if head or (state.kind == "color" and name.text in words.colors):
        return _head_color(_Claim(name, state, words, span, in_rule))
    if declared is None:
        words.names.unknown(name, _kinds_with(state))
        return None
    if _misplaced(name.text, words):
        return None
    resolver = _RESOLVERS.get(declared.kind)
    found = resolver(_Claim(name, state, words, span, in_rule)) if resolver else None
    if found is not None:
        return found
    if not _already_explained(words, name):
        wrong_state(name, declared.kind, state, words)
    return None


def _misplaced(name: str, words: Vocabulary) -> bool:
    """Whether a thing has an error of its own, which hides others."""
    declared = words.names.table.get(name)
    placed = {"signal": words.aspects, "crossover": words.crossovers, "route": words.routes}
    return declared is not None and name not in placed.get(declared.kind, (name,))


def _already_explained(words: Vocabulary, name: tree.Name) -> bool:
    return any(e.span.start == name.span.start and e.span.source.name == name.span.source.name
               for e in words.names.errors)  # fmt: skip


_SEVERAL = {
    "block": ("several_blocks",),
    "turnout": ("several_turnouts",),
    "signal": ("several_signals",),
}


@dataclass(frozen=True, slots=True)
class _Claim:
    """One thing said to be in one state."""

    name: tree.Name
    state: tree.FactState
    words: Vocabulary
    span: Span
    in_rule: bool

    def fact(self, what: Observable, values: Iterable[str], state: str) -> Fact:
        """The fact that ``what`` is in one of those of its own states."""
        wanted = set(values)
        among = tuple(value for value in what.values if value in wanted)
        return Fact(what, among, self.span, f"{self.name.text} {state}")


_Resolver = Callable[[_Claim], Condition | None]


def _block(claim: _Claim) -> Condition | None:
    name, kind = claim.name.text, claim.state.kind
    if kind in ("clear", "occupied"):
        if name in claim.words.undetected:
            claim.words.names.error("CP207", claim.name.span, kind=kind, name=name)
            return None
        return claim.fact(observables.block_report(name), (kind,), kind)
    if kind not in ("vacant", "train on"):
        return None
    if claim.in_rule:
        names = claim.words.names
        if kind == "vacant":
            at = claim.state.span
            names.error(
                "CP206", claim.name.span, "stock", instead_of=at, instead="clear", name=name
            )
        else:
            names.error("CP206", claim.name.span, "train", name=name)
        return None
    if kind == "vacant":
        return claim.fact(observables.stock(name), ("vacant",), kind)
    return Fact(observables.stock(name), ("occupied",), claim.span, f"train on {name}")


def _reported_or_true(
    report: Callable[[str], Observable], truth: Callable[[str], Observable]
) -> _Resolver:
    """Turnouts, slips, derails and gates: a reported and a true position."""

    def resolver(claim: _Claim) -> Condition | None:
        name = claim.name.text
        said, so = report(name), truth(name)
        kind, value = claim.state.kind, claim.state.value
        if kind == "lies" and value in so.values:
            if claim.in_rule:
                reported = "moving" if value == "open" and "moving" in said.values else value
                names, at = claim.words.names, claim.state.span
                names.error(
                    "CP206", claim.name.span, "points", instead_of=at, instead=reported, name=name
                )
                return None
            return claim.fact(so, (value,), f"lies {value}")
        return claim.fact(said, (kind,), kind) if kind in said.values else None

    return resolver


_points = _reported_or_true(observables.points_report, observables.points)


def _all_of(claim: _Claim, parts: Iterable[Condition | None]) -> Condition | None:
    """All of the parts, None where one is wrong."""
    found = list(parts)
    good = tuple(part for part in found if part is not None)
    return All(good, claim.span) if len(good) == len(found) else None


def _crossover(claim: _Claim) -> Condition | None:
    ends = claim.words.crossovers[claim.name.text]
    return _all_of(
        claim, [_points(replace(claim, name=replace(claim.name, text=end))) for end in ends]
    )


def _signal(claim: _Claim) -> Condition | None:
    name, kind, value = claim.name.text, claim.state.kind, claim.state.value
    aspect, chart = claim.words.aspects[name], claim.words.chart
    if not claim.in_rule:
        aspect = observables.reading(name, aspect.values)
    match kind:
        case "at stop":
            stops = {a.name for a in chart.aspects if not a.clears} | {observables.UNLISTED}
            return claim.fact(aspect, stops, kind)
        case "proceeds":
            return claim.fact(aspect, (a.name for a in chart.aspects if a.proceeds), kind)
        case "shows":
            if chart.get(value) is None:
                end = claim.state.span.end
                claim.words.names.error(
                    "CP404",
                    claim.state.span,
                    "shows",
                    near=nearest(value, (a.name for a in chart.aspects)),
                    instead_of=replace(claim.state.span, start=end - len(value)),
                    value=value,
                    names=(a.name for a in chart.aspects),
                )
            return claim.fact(aspect, (value,), f"shows {value}")
    return None


def _head_color(claim: _Claim) -> Condition | None:
    name, words = claim.name.text, claim.words
    color = words.colors.get(name)
    if color is None:
        if not _misplaced(signal_of(name, words.names.table), words):
            near = nearest(name, words.colors)
            words.names.error("CP201", claim.name.span, "head", near=near, name=name)
        return None
    if claim.state.kind != "color":
        said, reported = state_text(claim.state), STATES_OF["head"].reported
        words.names.error("CP204", claim.span, "head", name=name, state=said, reported=reported)
        return None
    if not claim.in_rule:
        color = observables.lens(color.name, color.values)
    return claim.fact(color, (claim.state.value,), claim.state.value)


def _lever(claim: _Claim) -> Condition | None:
    positions = claim.words.levers[claim.name.text]
    wanted = claim.state.value if claim.state.kind == "name" else claim.state.kind
    lever = observables.lever(claim.name.text, positions)
    return claim.fact(lever, (wanted,), wanted) if wanted in positions else None


def _button(claim: _Claim) -> Condition | None:
    kind, button = claim.state.kind, observables.button(claim.name.text)
    return claim.fact(button, (kind,), kind) if kind == "pressed" else None


def _memory(of: Callable[[str], Observable]) -> _Resolver:
    """Relays, timers, direction of traffic. (That a timer is idle is said by what it is not.)"""

    def resolver(claim: _Claim) -> Condition | None:
        what, value = of(claim.name.text), claim.state.value
        if claim.state.kind != "name" or value not in STATES_OF[what.kind].reported:
            return None
        return claim.fact(what, (value,), value)

    return resolver


def _route(claim: _Claim) -> Condition | None:
    """All blocks of a named route report clear; all its points report as it needs them."""
    route, state = claim.words.routes[claim.name.text], claim.state

    def said_of(name: str, state: tree.FactState) -> _Claim:
        return replace(claim, name=replace(claim.name, text=name), state=state)

    if state.kind == "clear":
        return _all_of(claim, [_block(said_of(block, state)) for block in route.blocks])
    if (state.kind, state.value) == ("name", "lined"):
        needs = (said_of(n.points, tree.FactState(n.position, "", state.span)) for n in route.needs)
        return _all_of(claim, map(_points, needs))
    return None


_RESOLVERS: dict[str, _Resolver] = {
    "block": _block,
    "turnout": _points,
    "slip": _points,
    "crossover": _crossover,
    "derail": _reported_or_true(observables.derail_report, observables.derail),
    "gate": _reported_or_true(observables.gate_report, observables.gate),
    "signal": _signal,
    "lever": _lever,
    "button": _button,
    "relay": _memory(observables.relay),
    "timer": _memory(observables.timer),
    "traffic": _memory(observables.traffic),
    "route": _route,
}


def _kinds_with(state: tree.FactState) -> tuple[str, ...]:
    """The kinds of things that can be in a state."""
    if state.kind != "name":
        return _KINDS_WITH.get(state.kind, ())
    remembering = ("relay", "timer", "traffic", "route")
    return tuple(k for k in remembering if state.value in STATES_OF[k].reported) or ("lever",)


_KINDS_WITH: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("clear", "occupied", "vacant", "train on"), ("block",)),
    **dict.fromkeys(("normal", "reverse"), ("turnout", "slip", "crossover", "lever")),
    "moving": ("turnout", "slip", "derail"),
    "lies": ("turnout", "slip", "crossover", "derail", "gate"),
    **dict.fromkeys(("at stop", "proceeds", "shows", "color"), ("signal",)),
    **dict.fromkeys(("derailing", "non-derailing"), ("derail",)),
    "seated": ("gate",),
    "pressed": ("button",),
}
