"""From the facts of a command line to a situation."""

from collections.abc import Sequence

from verifier.language.diagnostics.diagnostic import Diagnostic, InputError, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.world.wiring_parser import impossible_state

_KIND_WORDS = {
    "stock": "block",
    "standing": "block",
    "points": "turnout",
    "thrown": "turnout",
    "motion": "turnout",
    "derail": "derail",
    "gate": "gate",
    "lever": "lever",
    "button": "button",
    "relay": "relay",
    "timer": "timer",
    "traffic": "traffic",
}
# Words people use for a state of truth, though the file uses them for reports.
_SAME = {
    ("stock", "clear"): "vacant",
    ("standing", "clear"): "vacant",
    ("points", "moving"): "open",
}


def named_situation(
    plan: Plan,
    happenings: Sequence[tree.SituationFact],
    wired: Sequence[tuple[Observable, str, Span]] = (),
) -> Situation:
    """``wired`` are facts found already, of what only a wired layout can be in.

    Raises :class:`InputError` for unknown things, states they cannot be in, and for the
    same thing in two states."""
    by_name = _inputs_by_name(plan)
    errors: list[Diagnostic] = []
    facts: dict[Observable, str] = {}

    def note(what: Observable, state: str, span: Span) -> None:
        if facts.setdefault(what, state) != state:
            errors.append(
                diagnostic("CP212", span, name=what.name, first=facts[what], second=state)
            )

    for what, state, span in wired:
        note(what, state, span)
    for happening in happenings:
        for name in happening.names:
            for inputs in _things(name, plan, by_name, errors):
                found = _in_state(inputs, happening.state)
                if found:
                    for what, state in found:
                        note(what, state, happening.span)
                else:
                    errors.append(_no_state(name, inputs, happening))
    if errors:
        raise InputError(errors)
    return Situation.of(facts.items())


# The inputs that one name stands for: one, or all that tell how a machine holds its points.
_Inputs = tuple[Observable, ...]


def _inputs_by_name(plan: Plan) -> dict[str, _Inputs]:
    by_name: dict[str, _Inputs] = {}
    for what in plan.inputs:
        by_name[what.name] = (*by_name.get(what.name, ()), what)
    for name, machine in plan.wiring.machines.items():
        if machine.motor and machine.lever:
            by_name[name] = (*by_name[machine.lever], *by_name.get(name, ()))
    for crossover in plan.crossovers.values():
        by_name.setdefault(crossover.name, by_name[crossover.ends[0]])
    return by_name


def _in_state(inputs: _Inputs, said: str) -> list[tuple[Observable, str]]:
    """The facts that a state said of one name stands for; none where it cannot be so. Points that
    a machine moves are commanded to lie so, and are at rest unless they are open."""
    if len(inputs) == 1 and inputs[0].kind == "standing" and said == "occupied":
        return [(inputs[0], inputs[0].values[1])]
    found = []
    for what in inputs:
        state = _SAME.get((what.kind, said), said)
        if what.kind == "motion" and said in ("open", "moving"):
            state = "moving"
        if state in what.values:
            found.append((what, state))
    return found


def _things(
    name: tree.Name,
    plan: Plan,
    by_name: dict[str, _Inputs],
    errors: list[Diagnostic],
) -> list[_Inputs]:
    """The inputs of that name; those of both turnouts for a crossover."""
    crossover = plan.crossovers.get(name.text)
    if crossover:
        return [by_name[end] for end in crossover.ends]
    inputs = by_name.get(name.text)
    if inputs is not None:
        return [inputs]
    derail = plan.derails.get(name.text)
    if derail is not None and derail.pipe is not None:
        points = derail.pipe.points
        errors.append(diagnostic("CP201", name.span, "piped", name=name.text, points=points))
        return []
    is_signal = name.text in plan.signals
    errors.append(
        diagnostic(
            "CP201",
            name.span,
            "input",
            near=None if is_signal else nearest(name.text, by_name),
            hints=("signal",) if is_signal else (),
            name=name.text,
        )
    )
    return []


def _no_state(name: tree.Name, inputs: _Inputs, happening: tree.SituationFact) -> Diagnostic:
    # Points may go by the lever that throws them.
    own = name.text == inputs[-1].name
    kind = _KIND_WORDS[inputs[-1].kind] if own else "turnout"
    states = [value for what in inputs for value in what.values if what.kind != "motion"]
    if any(what.kind == "motion" and "moving" in what.values for what in inputs):
        states.append("open")
    if inputs[0].kind in ("stock", "standing"):
        states = ["occupied (write `train on …`)", "vacant"]
    return impossible_state(f"{kind} {name.text}", happening.state, happening.span, states)
