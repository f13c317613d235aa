"""What conditions may speak of, the states of each kind of thing, and what to say when a
condition asks for another."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from verifier.language.diagnostics.diagnostic import nearest
from verifier.language.syntax import tree
from verifier.language.syntax.token_names import one_of
from verifier.plan.model import Route
from verifier.plan.names import KIND_WORDS, Names
from verifier.plan.observables import Observable
from verifier.plan.signals.aspects import Chart


class States(NamedTuple):
    """The states that are reported, and those that only `prove` and `assume` know."""

    reported: tuple[str, ...]
    true: tuple[str, ...]


_POINTS = States(
    ("normal", "reverse", "moving"),
    ("lies normal", "lies reverse", "lies open"),
)
STATES_OF = {
    "block": States(("clear", "occupied"), ("vacant",)),
    "turnout": _POINTS,
    "slip": _POINTS,
    "crossover": _POINTS,
    "derail": States(
        ("derailing", "non-derailing", "moving"),
        ("lies derailing", "lies non-derailing", "lies open"),
    ),
    "gate": States(("seated", "open"), ("lies seated", "lies open")),
    "signal": States(("at stop", "proceeds", "shows Clear", "green"), ()),
    "head": States(("green", "yellow", "red", "lunar", "white", "dark", "flashing green"), ()),
    "button": States(("pressed",), ()),
    "relay": States(("up", "down"), ()),
    "timer": States(("running", "done"), ()),
    "traffic": States(("rightward", "leftward"), ()),
    "route": States(("clear", "lined"), ()),
}
_LIES_IN = ("turnout", "crossing", "slip", "derail", "gate")
# What to do about a thing that has no states.
_STATELESS = {
    "supply": "Conditions do not speak of supplies.",
    "district": "Conditions do not speak of districts: they ask for blocks, `Main clear`.",
    "feeder": "Conditions do not speak of feeders: they ask for blocks, `Main clear`.",
    "detector": "Ask for the block it watches: `Main clear`.",
    "driver": "Conditions do not speak of drivers: they ask for signals and heads.",
    "edge": "Nothing is known of what lies beyond the edge of the plan.",
    "bumper": "Nothing reports from a bumper: ask for the block before it.",
    "crossing": "Ask for the block it lies in.",
    "limits": "Limits are a stretch of track: ask for the blocks in them.",
    "condition": "A condition stands alone, without a state.",
}


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """What conditions may speak of: the observables of every declared thing."""

    names: Names
    chart: Chart
    aspects: Mapping[str, Observable]  # by signal
    colors: Mapping[str, Observable]  # by head; a one-head signal's head goes by its name too
    levers: Mapping[str, tuple[str, ...]]
    undetected: frozenset[str]
    crossovers: Mapping[str, tuple[str, ...]]
    routes: Mapping[str, Route]  # by the name the file gives them


def wrong_state(name: tree.Name, kind: str, state: tree.State, words: Vocabulary) -> None:
    said, article = state_text(state), KIND_WORDS[kind]
    message = f"`{name.text}` is {article}, and {article} is never `{said}`"
    hint = states_hint(name, kind, words)
    if kind in ("limits", "condition"):
        message = f"`{name.text}` stands for {article}, and cannot be `{said}`"
    if state.kind == "train on":
        message = f"a train stands on a block, and `{name.text}` is {article}"
        hint = "Name the block it lies in." if kind in _LIES_IN else "Name a block."
    elif kind == "signal":
        if state.kind == "color":
            message = f"`{name.text}` has more heads than one: which one is `{said}`?"
        hint = _signal_hint(name, state, words) or hint
    elif state.kind == "name" and kind in STATES_OF:
        near = nearest(state.value, [word for words_ in STATES_OF[kind] for word in words_])
        hint = f"Did you mean `{near}`? {hint}" if near else hint
    span = name.span.to(state.span) if name.span.start < state.span.start else name.span
    words.names.error("CP204", message, span, hint)


def states_hint(name: tree.Name, kind: str, words: Vocabulary) -> str:
    """The states a thing can be in, as a sentence; how to ask for several things at once."""
    if kind == "lever":
        reported, true = States(words.levers[name.text], ())
    elif kind in STATES_OF:
        reported, true = STATES_OF[kind]
    else:
        return _STATELESS[kind]
    hint = f"It can be {one_of([f'`{state}`' for state in reported])}"
    if true:
        hint += f"; in `prove` and `assume` also {one_of([f'`{state}`' for state in true])}"
    return hint + "."


def _signal_hint(name: tree.Name, state: tree.State, words: Vocabulary) -> str:
    """A signal asked for an aspect without `shows`, or for a color of which head?"""
    if state.kind == "color":
        heads = [h for h in words.colors if h.startswith(f"{name.text}.")]
        said = state_text(state)
        return "Name the head: " + one_of([f"`{head} {said}`" for head in heads]) + "."
    meant = next(
        (a.name for a in words.chart.aspects if a.name.lower() == state_text(state).lower()), ""
    )
    if meant:
        return f"Write `{name.text} shows {meant}`."
    color = nearest(state_text(state), STATES_OF["head"].reported)
    return f"Did you mean `{color}`?" if color else ""


def state_text(state: tree.State) -> str:
    if state.kind in ("lies", "shows"):
        return f"{state.kind} {state.value}"
    return state.value if state.kind in ("color", "name") else state.kind
