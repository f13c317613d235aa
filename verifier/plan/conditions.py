"""Conditions as written to conditions about observables: names resolved, states checked."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from verifier.language import syntax
from verifier.language.diagnostics import did_you_mean, nearest
from verifier.language.source import Span
from verifier.plan import facts
from verifier.plan.aspects import Chart
from verifier.plan.facts import All, AnyOne, Condition, Not, Observable, Says
from verifier.plan.names import KIND_WORDS, Names

# States that a list of things is naturally all in at once; others ask for any of / all of.
_NATURALLY_ALL = {
    "clear", "vacant", "normal", "reverse", "lies", "at stop", "seated",
    "derailing", "non-derailing",
}  # fmt: skip

STATES_OF = {
    "block": "clear, occupied (and vacant, in properties)",
    "turnout": "normal, reverse, moving (and lies normal, lies reverse, lies open, in properties)",
    "slip": "normal, reverse, moving (and lies …, in properties)",
    "crossover": "normal, reverse (and lies …, in properties)",
    "derail": "derailing, non-derailing, moving (and lies …, in properties)",
    "gate": "seated, open (and lies seated, lies open, in properties)",
    "signal": "at stop, proceeds, shows an aspect, or a colour where it has one head",
    "head": "green, yellow, red, lunar, white, dark, flashing …",
    "button": "pressed",
}


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """What conditions may speak of: the observables of every declared thing."""

    names: Names
    chart: Chart
    aspects: Mapping[str, Observable]  # by signal
    colours: Mapping[str, Observable]  # by head; a one-head signal's head goes by its name too
    levers: Mapping[str, tuple[str, ...]]
    undetected: frozenset[str]
    crossovers: Mapping[str, tuple[str, ...]]


def resolve(condition: syntax.Condition, words: Vocabulary, *, in_rule: bool) -> Condition | None:
    """The condition with its names resolved; None when an error was found (noted).

    ``in_rule``: rules see only what the equipment reports, so facts about where stock and
    points truly are get an error there."""
    match condition:
        case syntax.AllOf() | syntax.AnyOf():
            parts = [resolve(part, words, in_rule=in_rule) for part in condition.parts]
            good = tuple(part for part in parts if part is not None)
            if len(good) < len(parts):
                return None
            group = All if isinstance(condition, syntax.AllOf) else AnyOne
            return group(good, condition.span)
        case syntax.Opposite():
            part = resolve(condition.part, words, in_rule=in_rule)
            return None if part is None else Not(part, condition.span)
        case syntax.Fact():
            return _resolve_fact(condition, words, in_rule)


def _resolve_fact(fact: syntax.Fact, words: Vocabulary, in_rule: bool) -> Condition | None:
    state = fact.state
    if state is None:
        return _named_condition(fact, words)
    if len(fact.names) > 1 and not fact.quantity and state.kind not in _NATURALLY_ALL:
        words.names.error(
            "CP205",
            f"any of these, or all of these, {_state_text(state)}?",
            fact.span,
            f"Write `any of {', '.join(n.text for n in fact.names)} {_state_text(state)}` or "
            "`all of …`.",
        )
        return None
    parts = [_one(name, state, words, in_rule) for name in fact.names]
    good = tuple(part for part in parts if part is not None)
    if len(good) < len(parts):
        return None
    if len(good) == 1:
        return good[0]
    return AnyOne(good, fact.span) if fact.quantity == "any" else All(good, fact.span)


def _named_condition(fact: syntax.Fact, words: Vocabulary) -> Condition | None:
    name = fact.names[0]
    declared = words.names.table.get(name.text)
    if len(fact.names) > 1 or (declared and declared.kind != "condition"):
        last = fact.names[-1]
        kind = declared.kind if declared else "thing"
        words.names.error(
            "CP204",
            f"`{last.text}` is in what state?",
            fact.span,
            f"After {KIND_WORDS.get(kind, 'a name')} comes its state: "
            f"{STATES_OF.get(kind, 'clear, normal, at stop …')}.",
        )
        return None
    if not words.names.find(name, "condition"):
        return None
    return Says(facts.condition(name.text), ("true",), fact.span, name.text)


def _one(
    name: syntax.Name, state: syntax.State, words: Vocabulary, in_rule: bool
) -> Condition | None:
    """One thing in one state."""
    span = name.span.to(state.span) if name.span.start < state.span.start else name.span
    if "." in name.text or (state.kind == "colour" and name.text in words.colours):
        return _head_colour(name, state, words, span)
    declared = words.names.table.get(name.text)
    if declared is None:
        wanted = _KINDS_WITH.get(state.kind, ())
        words.names.unknown(name, "", wanted)
        return None
    builder = _BUILDERS.get(declared.kind)
    found = builder(name, state, words, span, in_rule) if builder else None
    if found is not None:
        return found
    if not _already_explained(words, name):
        _wrong_state(name, declared.kind, state, words)
    return None


def _already_explained(words: Vocabulary, name: syntax.Name) -> bool:
    return any(e.span.start == name.span.start and e.span.source is name.span.source
               for e in words.names.errors)  # fmt: skip


def _wrong_state(name: syntax.Name, kind: str, state: syntax.State, words: Vocabulary) -> None:
    states = STATES_OF.get(kind)
    if kind == "lever":
        states = ", ".join(words.levers[name.text])
    hint = f"It can be: {states}." if states else "It has no states to ask for."
    if state.kind == "name" and states:
        near = nearest(state.value, [s.strip(" ,.") for s in states.replace("(", "").split()])
        hint = f"Did you mean `{near}`? {hint}" if near else hint
    words.names.error(
        "CP204",
        f"{KIND_WORDS[kind]} is never `{_state_text(state)}`",
        name.span.to(state.span) if name.span.start < state.span.start else name.span,
        hint,
    )


def _state_text(state: syntax.State) -> str:
    if state.kind in ("lies", "shows"):
        return f"{state.kind} {state.value}"
    return state.value if state.kind in ("colour", "name") else state.kind


def _truth_in_rule(name: syntax.Name, words: Vocabulary, said: str, instead: str) -> None:
    words.names.error(
        "CP206",
        f"a rule cannot know where {said} truly",
        name.span,
        f"Rules see only what the equipment reports: write `{name.text} {instead}`. "
        "`prove` and `assume` may speak of what is true.",
    )


_Builder = Callable[[syntax.Name, syntax.State, Vocabulary, Span, bool], Condition | None]


def _block(
    name: syntax.Name, state: syntax.State, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    text = f"{name.text} {state.kind}"
    if state.kind in ("clear", "occupied"):
        if name.text in words.undetected:
            words.names.error(
                "CP207",
                f"block `{name.text}` is undetected: nothing reports whether it is {state.kind}",
                name.span,
                "Give it a detector (drop the word `undetected`), or do without it in the rules.",
            )
            return None
        return Says(facts.block_report(name.text), (state.kind,), span, text)
    if state.kind in ("vacant", "train on"):
        if in_rule:
            is_vacant = state.kind == "vacant"
            _truth_in_rule(name, words, "trains are", "clear" if is_vacant else "occupied")
            return None
        value = "vacant" if state.kind == "vacant" else "occupied"
        text = text if state.kind == "vacant" else f"train on {name.text}"
        return Says(facts.stock(name.text), (value,), span, text)
    return None


def _positions(
    report: Observable, truth: Observable, name: syntax.Name, state: syntax.State,
    words: Vocabulary, span: Span, in_rule: bool,
) -> Condition | None:  # fmt: skip
    """Turnouts, slips, derails and gates: a report and a true position."""
    if state.kind == "lies" and state.value in truth.values:
        if in_rule:
            reported = "moving" if state.value == "open" and "moving" in report.values else ""
            _truth_in_rule(name, words, "points lie", reported or state.value)
            return None
        return Says(truth, (state.value,), span, f"{name.text} lies {state.value}")
    if state.kind in report.values:
        return Says(report, (state.kind,), span, f"{name.text} {state.kind}")
    return None


def _points(
    name: syntax.Name, state: syntax.State, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    report, truth = facts.points_report(name.text), facts.points(name.text)
    return _positions(report, truth, name, state, words, span, in_rule)


def _derail(
    name: syntax.Name, state: syntax.State, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    report, truth = facts.derail_report(name.text), facts.derail(name.text)
    return _positions(report, truth, name, state, words, span, in_rule)


def _gate(
    name: syntax.Name, state: syntax.State, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    report, truth = facts.gate_report(name.text), facts.gate(name.text)
    return _positions(report, truth, name, state, words, span, in_rule)


def _crossover(
    name: syntax.Name, state: syntax.State, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    parts = []
    for end in words.crossovers.get(name.text, ()):
        part = _points(syntax.Name(end, name.span), state, words, span, in_rule)
        if part is None:
            return None
        parts.append(part)
    return All(tuple(parts), span) if parts else None


def _signal(
    name: syntax.Name, state: syntax.State, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    aspect = words.aspects.get(name.text)
    if aspect is None:
        return None
    aspects = words.chart.aspects
    if state.kind == "at stop":
        stops = {a.name for a in aspects if not a.permits} | {facts.UNLISTED}
        return Says(aspect, _among(aspect, stops), span, f"{name.text} at stop")
    if state.kind == "proceeds":
        good = {a.name for a in aspects if a.proceeds}
        return Says(aspect, _among(aspect, good), span, f"{name.text} proceeds")
    if state.kind == "shows":
        if words.chart.get(state.value) is None:
            words.names.error(
                "CP404",
                f"no aspect is called `{state.value}`",
                state.span,
                did_you_mean(state.value, (a.name for a in aspects))
                or "The chart has: " + ", ".join(a.name for a in aspects) + ".",
            )
            return Says(aspect, (), span, "")
        return Says(aspect, _among(aspect, {state.value}), span, f"{name.text} shows {state.value}")
    return None


def _among(what: Observable, wanted: set[str]) -> tuple[str, ...]:
    return tuple(value for value in what.values if value in wanted)


def _head_colour(
    name: syntax.Name, state: syntax.State, words: Vocabulary, span: Span
) -> Condition | None:
    colour = words.colours.get(name.text)
    if colour is None:
        words.names.error(
            "CP201",
            f"no head is called `{name.text}`",
            name.span,
            did_you_mean(name.text, words.colours)
            or "A head goes by its signal's name, a dot, and its own: `4L.upper`.",
        )
        return None
    if state.kind != "colour":
        words.names.error(
            "CP204",
            f"a head is never `{_state_text(state)}`",
            span,
            f"It can be: {STATES_OF['head']}.",
        )
        return None
    return Says(colour, _among(colour, {state.value}), span, f"{name.text} {state.value}")


def _lever(
    name: syntax.Name, state: syntax.State, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    positions = words.levers[name.text]
    wanted = state.value if state.kind == "name" else state.kind
    if wanted not in positions:
        return None
    return Says(facts.lever(name.text, positions), (wanted,), span, f"{name.text} {wanted}")


def _button(
    name: syntax.Name, state: syntax.State, words: Vocabulary, span: Span, in_rule: bool
) -> Condition | None:
    if state.kind != "pressed":
        return None
    return Says(facts.button(name.text), ("pressed",), span, f"{name.text} pressed")


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
}

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
}
