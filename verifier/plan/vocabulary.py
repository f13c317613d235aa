"""What conditions may name, the states of each kind of thing, and the error for any other."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from verifier.language.diagnostics.diagnostic import nearest
from verifier.language.diagnostics.registry import Hint
from verifier.language.syntax import tree
from verifier.plan.model import Route
from verifier.plan.names import KIND_WORDS, Names
from verifier.plan.observables import Observable
from verifier.plan.signals.aspects import Chart


class States(NamedTuple):
    """The reported states, and the true ones, for `prove` and `assume` only."""

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
# What people also call these states.
_POINTS_ALSO = {
    **dict.fromkeys(("straight", "unthrown", "closed"), "normal"),
    **dict.fromkeys(("thrown", "diverging", "diverged", "curved", "reversed"), "reverse"),
}
_ALSO_CALLED: Mapping[str, Mapping[str, str]] = {
    "block": {
        **dict.fromkeys(("unoccupied", "free", "empty", "unblocked"), "clear"),
        **dict.fromkeys(("busy", "taken", "blocked", "full"), "occupied"),
    },
    "turnout": _POINTS_ALSO,
    "slip": _POINTS_ALSO,
    "crossover": _POINTS_ALSO,
    "derail": {"applied": "derailing", "removed": "non-derailing"},
    "gate": {
        **dict.fromkeys(("closed", "shut", "lowered"), "seated"),
        **dict.fromkeys(("raised", "lifted"), "open"),
    },
    "signal": {"danger": "at stop"},
    "button": dict.fromkeys(("pushed", "held"), "pressed"),
    "relay": {
        **dict.fromkeys(("picked", "energized", "energised"), "up"),
        **dict.fromkeys(("dropped", "released", "deenergized", "de-energized"), "down"),
    },
    "timer": {
        **dict.fromkeys(("active", "started"), "running"),
        **dict.fromkeys(("expired", "finished", "elapsed", "timed-out"), "done"),
    },
    "route": {
        **dict.fromkeys(("unoccupied", "free", "empty"), "clear"),
        **dict.fromkeys(("set", "aligned"), "lined"),
    },
}
_LIES_IN = ("turnout", "crossing", "slip", "derail", "gate")


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The names that conditions may use: the observables of every declared thing."""

    names: Names
    chart: Chart
    aspects: Mapping[str, Observable]  # by signal
    colors: Mapping[str, Observable]  # by head; a lone head goes by its signal's name, too
    levers: Mapping[str, tuple[str, ...]]
    undetected: frozenset[str]
    crossovers: Mapping[str, tuple[str, ...]]
    routes: Mapping[str, Route]  # by the name the file gives them


def also_called(kind: str, state: tree.FactState) -> str | None:
    """The state of a thing of this kind for which people also say this."""
    return _ALSO_CALLED.get(kind, {}).get(state_text(state))


def wrong_state(name: tree.Name, kind: str, state: tree.FactState, words: Vocabulary) -> None:
    """Note that a thing is never in this state."""
    variant, near, aspect = "", None, ""
    hints: tuple[str | Hint, ...] = state_hints(kind)
    also = also_called(kind, state)
    if kind in ("limits", "condition"):
        variant = "nameless"
    if state.kind == "train on":
        variant, hints = "train_on", ("its_block",) if kind in _LIES_IN else ("a_block",)
    elif also:
        variant, hints = "other_word", (Hint("word_here", near=also),)
    elif kind == "signal" and state.kind == "color":
        variant, hints = "which_head", ("which_head",)
    elif kind == "signal":
        said = state_text(state)
        known = (a.name for a in words.chart.aspects if a.name.lower() == said.lower())
        aspect = next(known, "")
        near = None if aspect else nearest(said, STATES_OF["head"].reported)
        hints = ("shows",) if aspect else () if near else hints
    elif state.kind == "name" and kind in STATES_OF:
        near = nearest(state.value, [word for states in STATES_OF[kind] for word in states])
    words.names.error(
        "CP204",
        name.span.to(state.span) if name.span.start < state.span.start else name.span,
        variant,
        near=near,
        instead_of=None if aspect else state.span,
        hints=hints,
        name=name.text,
        kind=KIND_WORDS[kind],
        state=state_text(state),
        aspect=aspect,
        heads=[
            f"{head} {state_text(state)}"
            for head in words.colors
            if head.startswith(f"{name.text}.")
        ],
        **states_of(name, kind, words),
    )


def state_hints(kind: str) -> tuple[str, ...]:
    """The hints of CP204 about the states a kind of thing can be in."""
    if kind == "lever":
        return ("states",)
    if kind == "button" or kind not in STATES_OF:
        return (kind,)
    return ("states_and_truth",) if STATES_OF[kind].true else ("states",)


def states_of(name: tree.Name, kind: str, words: Vocabulary) -> dict[str, Any]:
    """The states a thing can be in, as the fields of those hints."""
    states = STATES_OF.get(kind, States((), ()))
    reported = words.levers[name.text] if kind == "lever" else states.reported
    return {"reported": reported, "true": states.true}


def state_text(state: tree.FactState) -> str:
    if state.kind in ("lies", "shows"):
        return f"{state.kind} {state.value}"
    return state.value if state.kind in ("color", "name") else state.kind
