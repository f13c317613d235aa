"""A situation named in words: from the facts of a command line to a situation."""

from collections.abc import Sequence

from verifier.language import syntax
from verifier.language.diagnostics import Diagnostic, InputError, did_you_mean
from verifier.plan.facts import Observable
from verifier.plan.model import Plan
from verifier.world.situation import Situation

_KIND_WORDS = {
    "stock": "block",
    "points": "turnout",
    "derail": "derail",
    "gate": "gate",
    "lever": "lever",
    "button": "button",
}
# Words people use for a state of truth, though the file uses them for reports.
_SAME = {("stock", "clear"): "vacant", ("points", "moving"): "open"}


def named_situation(plan: Plan, happenings: Sequence[syntax.Happening]) -> Situation:
    """Raises :class:`InputError` for unknown things, states they cannot be in, and for the
    same thing in two states."""
    by_name = {what.name: what for what in plan.inputs}
    for crossover in plan.crossovers.values():
        by_name.setdefault(crossover.name, by_name[crossover.ends[0]])
    errors: list[Diagnostic] = []
    facts: dict[Observable, str] = {}
    for happening in happenings:
        for name in happening.names:
            for what in _things(name, plan, by_name, errors):
                state = _SAME.get((what.kind, happening.state), happening.state)
                if state not in what.values:
                    errors.append(_no_state(name, what, happening))
                elif facts.setdefault(what, state) != state:
                    errors.append(
                        Diagnostic(
                            "CP212",
                            f"{what.name} cannot be {facts[what]} and {state} at once",
                            happening.span,
                        )
                    )
    if errors:
        raise InputError(errors)
    return Situation.of(facts.items())


def _things(
    name: syntax.Name,
    plan: Plan,
    by_name: dict[str, Observable],
    errors: list[Diagnostic],
) -> list[Observable]:
    """The input of that name; both turnouts for a crossover."""
    crossover = plan.crossovers.get(name.text)
    if crossover:
        return [by_name[end] for end in crossover.ends]
    what = by_name.get(name.text)
    if what is not None:
        return [what]
    hint = did_you_mean(name.text, by_name)
    if name.text in plan.signals:
        hint = "A signal shows what the rules make it show; name track, points, levers, buttons."
    errors.append(
        Diagnostic(
            "CP201",
            f"no block, turnout, derail, gate, lever or button is called `{name.text}`",
            name.span,
            hint,
        )
    )
    return []


def _no_state(name: syntax.Name, what: Observable, happening: syntax.Happening) -> Diagnostic:
    states = (
        "occupied (write `train on …`), vacant" if what.kind == "stock" else ", ".join(what.values)
    )
    return Diagnostic(
        "CP204",
        f"{_KIND_WORDS[what.kind]} {name.text} is never `{happening.state}`",
        happening.span,
        f"It can be: {states}.",
    )
