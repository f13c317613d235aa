"""Conditions as written to conditions about observables: names resolved, states checked."""

from collections.abc import Callable
from typing import Literal

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
    state_hints,
    state_text,
    states_of,
    wrong_state,
)

# The same where the state is one that relays and named routes have.
_ALL_OF_KIND = {"relay": ("up", "down"), "route": ("lined",)}
# States that a list of things is naturally all in at once; others ask for any of / all of.
_NATURALLY_ALL = {
    "clear", "vacant", "normal", "reverse", "lies", "at stop", "seated",
    "derailing", "non-derailing",
}  # fmt: skip


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
        return _head_color(name, state, words, span, in_rule)
    if declared is None:
        wanted = _kinds_with(state)
        words.names.unknown(name, wanted)
        return None
    if _misplaced(name.text, words):
        return None
    builder = _BUILDERS.get(declared.kind)
    found = builder(name, state, words, span, in_rule) if builder else None
    if found is not None:
        return found
    if not _already_explained(words, name):
        wrong_state(name, declared.kind, state, words)
    return None


def _misplaced(name: str, words: Vocabulary) -> bool:
    """What has an error of its own: no more is said of it."""
    declared = words.names.table.get(name)
    kind = declared.kind if declared else ""
    return (
        (kind == "signal" and name not in words.aspects)
        or (kind == "crossover" and name not in words.crossovers)
        or (kind == "route" and name not in words.routes)
    )


def _already_explained(words: Vocabulary, name: tree.Name) -> bool:
    return any(e.span.start == name.span.start and e.span.source.name == name.span.source.name
               for e in words.names.errors)  # fmt: skip


def _truth_in_rule(
    name: tree.Name, words: Vocabulary, about: Literal["stock", "points"], instead: str
) -> None:
    words.names.error("CP206", name.span, about, name=name.text, instead=instead)


_SEVERAL = {
    "block": ("several_blocks",),
    "turnout": ("several_turnouts",),
    "signal": ("several_signals",),
}

_Builder = Callable[[tree.Name, tree.FactState, Vocabulary, Span, bool], Condition | None]


def _block(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    text = f"{name.text} {state.kind}"
    if state.kind in ("clear", "occupied"):
        if name.text in words.undetected:
            words.names.error("CP207", name.span, name=name.text, kind=state.kind)
            return None
        return Fact(observables.block_report(name.text), (state.kind,), span, text)
    if state.kind in ("vacant", "train on"):
        if in_rule:
            is_vacant = state.kind == "vacant"
            _truth_in_rule(name, words, "stock", "clear" if is_vacant else "occupied")
            return None
        value = "vacant" if state.kind == "vacant" else "occupied"
        text = text if state.kind == "vacant" else f"train on {name.text}"
        return Fact(observables.stock(name.text), (value,), span, text)
    return None


def _positions(
    report: Observable, truth: Observable, name: tree.Name, state: tree.FactState,
    words: Vocabulary, span: Span, in_rule: bool,
) -> Condition | None:  # fmt: skip
    """Turnouts, slips, derails and gates: a report and a true position."""
    if state.kind == "lies" and state.value in truth.values:
        if in_rule:
            reported = "moving" if state.value == "open" and "moving" in report.values else ""
            _truth_in_rule(name, words, "points", reported or state.value)
            return None
        return Fact(truth, (state.value,), span, f"{name.text} lies {state.value}")
    if state.kind in report.values:
        return Fact(report, (state.kind,), span, f"{name.text} {state.kind}")
    return None


def _points(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    report, truth = observables.points_report(name.text), observables.points(name.text)
    return _positions(report, truth, name, state, words, span, in_rule)


def _derail(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    report, truth = observables.derail_report(name.text), observables.derail(name.text)
    return _positions(report, truth, name, state, words, span, in_rule)


def _gate(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    report, truth = observables.gate_report(name.text), observables.gate(name.text)
    return _positions(report, truth, name, state, words, span, in_rule)


def _crossover(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    parts = []
    for end in words.crossovers.get(name.text, ()):
        part = _points(tree.Name(end, name.span), state, words, span, in_rule)
        if part is None:
            return None
        parts.append(part)
    return All(tuple(parts), span) if parts else None


def _signal(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    aspect = words.aspects.get(name.text)
    if aspect is None:
        return None
    if not in_rule:
        aspect = observables.reading(name.text, aspect.values)
    aspects = words.chart.aspects
    if state.kind == "at stop":
        stops = {a.name for a in aspects if not a.permits} | {observables.UNLISTED}
        return Fact(aspect, _among(aspect, stops), span, f"{name.text} at stop")
    if state.kind == "proceeds":
        good = {a.name for a in aspects if a.proceeds}
        return Fact(aspect, _among(aspect, good), span, f"{name.text} proceeds")
    if state.kind == "shows":
        if words.chart.get(state.value) is None:
            words.names.error(
                "CP404",
                state.span,
                "shows",
                near=nearest(state.value, (a.name for a in aspects)),
                value=state.value,
                names=(a.name for a in aspects),
            )
            return Fact(aspect, (), span, "")
        return Fact(aspect, _among(aspect, {state.value}), span, f"{name.text} shows {state.value}")
    return None


def _among(what: Observable, wanted: set[str]) -> tuple[str, ...]:
    return tuple(value for value in what.values if value in wanted)


def _head_color(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    color = words.colors.get(name.text)
    if color is None:
        if _misplaced(signal_of(name.text, words.names.table), words):
            return None
        words.names.error(
            "CP201", name.span, "head", near=nearest(name.text, words.colors), name=name.text
        )
        return None
    if state.kind != "color":
        words.names.error(
            "CP204",
            span,
            "head",
            name=name.text,
            state=state_text(state),
            reported=STATES_OF["head"].reported,
        )
        return None
    if not in_rule:
        color = observables.lens(name.text, color.values)
    return Fact(color, _among(color, {state.value}), span, f"{name.text} {state.value}")


def _lever(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    positions = words.levers[name.text]
    wanted = state.value if state.kind == "name" else state.kind
    if wanted not in positions:
        return None
    return Fact(observables.lever(name.text, positions), (wanted,), span, f"{name.text} {wanted}")


def _button(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    if state.kind != "pressed":
        return None
    return Fact(observables.button(name.text), ("pressed",), span, f"{name.text} pressed")


def _memory(
    what: Observable, name: tree.Name, state: tree.FactState, span: Span
) -> Condition | None:
    """Relays, timers, direction of traffic. (That a timer is idle is said by what it is not.)"""
    if state.kind != "name" or state.value not in STATES_OF[what.kind].reported:
        return None
    return Fact(what, (state.value,), span, f"{name.text} {state.value}")


def _relay(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    return _memory(observables.relay(name.text), name, state, span)


def _timer(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    return _memory(observables.timer(name.text), name, state, span)


def _traffic(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    return _memory(observables.traffic(name.text), name, state, span)


def _route(
    name: tree.Name, state: tree.FactState, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    """All blocks of a named route report clear; all its points report as it needs them."""
    route = words.routes[name.text]
    parts: list[Condition | None] = []
    if state.kind == "clear":
        for block in route.blocks:
            parts.append(_block(tree.Name(block, name.span), state, words, span, in_rule))
    elif state.kind == "name" and state.value == "lined":
        for need in route.needs:
            way = tree.FactState(need.position, "", state.span)
            parts.append(_points(tree.Name(need.points, name.span), way, words, span, in_rule))
    else:
        return None
    good = tuple(part for part in parts if part is not None)
    return All(good, span) if len(good) == len(parts) else None


_BUILDERS: dict[str, _Builder] = {
    "block": _block,
    "turnout": _points,
    "slip": _points,
    "crossover": _crossover,
    "derail": _derail,
    "gate": _gate,
    "signal": _signal,
    "lever": _lever,
    "button": _button,
    "relay": _relay,
    "timer": _timer,
    "traffic": _traffic,
    "route": _route,
}


def _kinds_with(state: tree.FactState) -> tuple[str, ...]:
    """The kinds of things that can be in a state."""
    if state.kind != "name":
        return _KINDS_WITH.get(state.kind, ())
    remembering = ("relay", "timer", "traffic", "route")
    return tuple(k for k in remembering if state.value in STATES_OF[k].reported) or ("lever",)


_KINDS_WITH: dict[str, tuple[str, ...]] = {
    "clear": ("block",),
    "occupied": ("block",),
    "vacant": ("block",),
    "train on": ("block",),
    "normal": ("turnout", "slip", "crossover", "lever"),
    "reverse": ("turnout", "slip", "crossover", "lever"),
    "moving": ("turnout", "slip", "derail"),
    "lies": ("turnout", "slip", "crossover", "derail", "gate"),
    "at stop": ("signal",),
    "proceeds": ("signal",),
    "shows": ("signal",),
    "derailing": ("derail",),
    "non-derailing": ("derail",),
    "seated": ("gate",),
    "pressed": ("button",),
    "color": ("signal",),
}
