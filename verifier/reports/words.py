"""Situations, counts and verdicts in words, shared by every report."""

from collections.abc import Iterable
from math import log10

from verifier.findings.stock import place_of, stock_words
from verifier.findings.verdicts import Finding, Report, Verdict
from verifier.plan.facts import AS_BEFORE, Observable
from verifier.plan.model import Plan
from verifier.properties.phrases import listing
from verifier.world.situation import Situation

STATUS_WORDS = {
    "proved": "proved",
    "broken": "BROKEN",
    "undecided": "undecided",
    "waived": "waived",
}

_STOCK = ("stock", "standing")


def fact_words(plan: Plan, what: Observable, state: str) -> str:
    """One fact of a situation: ``T1 lies reverse``, ``stock on Main``, ``feeder m1 broken``."""
    match what.kind:
        case "stock":
            return f"stock on {what.name}" if state == "occupied" else f"{what.name} vacant"
        case "standing":
            place = place_of(plan, what, state)
            return stock_words(plan, what.name, place) if place else f"{what.name} vacant"
        case "points" | "derail":
            return f"{what.name} lies {state}"
        case "thrown":
            return f"{what.name} told to lie {state}"
        case "motion":
            moved = {"settled": "at rest", "moving": "still moving", AS_BEFORE: "not moved yet"}
            return f"{what.name} {moved[state]}"
        case "current":
            return f"no gap at {what.name}: {state.removeprefix('bridged, ')}"
        case "gate":
            return f"gate {what.name} {state}"
        case "lever":
            return f"lever {what.name} {state}"
        case "button":
            return f"button {what.name} {state}"
        case "relay" | "timer" | "traffic":
            return f"{what.kind} {what.name} is {state}"
        case _:
            return f"{what.name} {state}"


def inputs_of(plan: Plan) -> tuple[Observable, ...]:
    """All that a situation can speak of: what is broken first, then truth and commands."""
    return (*(fault.what for fault in plan.equipment.faults), *plan.inputs)


def situation_words(plan: Plan, situation: Situation, relevant: Iterable[Observable]) -> str:
    """The facts that matter, the unusual ones first: ``T1 lies reverse; Main vacant``."""
    wanted = set(relevant)
    about = [what for what in inputs_of(plan) if what in wanted]
    unusual = [fact_words(plan, w, situation.state(w)) for w in about if w in situation.facts]
    vacant = [w.name for w in about if w.kind in _STOCK and w not in situation.facts]
    usual = [
        fact_words(plan, w, situation.state(w))
        for w in about
        if w.kind not in _STOCK and w not in situation.facts
    ]
    parts = unusual + usual
    if vacant:
        parts.append(f"{listing(vacant)} vacant")
    return "; ".join(parts) if parts else "nothing in particular: it is always so"


def covered_words(finding: Finding, report: Report) -> str:
    """How many situations one drawn situation stands for."""
    upto = "up to " if report.plan.assumptions else ""
    if finding.covered == 1:
        return "This is the only situation of its kind."
    return (
        f"Everything else may be as it likes: this one drawing stands for {upto}"
        f"{count(finding.covered)} situations."
    )


def count(number: int) -> str:
    """A count for people: exact while it can be read, else a power of ten."""
    if number < 10_000_000:
        return f"{number:,}"
    return f"about 10^{round(log10(number))}"


def tallies(verdicts: Iterable[Verdict]) -> dict[str, int]:
    """How many verdicts there are of each kind; expected and advice ones by themselves."""
    numbers = {"broken": 0, "undecided": 0, "expected": 0, "advice": 0, "waived": 0, "proved": 0}
    for verdict in verdicts:
        if verdict.status == "broken" and verdict.expected:
            numbers["expected"] += 1
        elif verdict.obligation.advice and verdict.status in ("broken", "undecided"):
            numbers["advice"] += 1
        else:
            numbers[verdict.status] += 1
    return numbers


_TALLY_WORDS = {
    "broken": "broken",
    "undecided": "undecided",
    "expected": "broken as the file expects",
    "advice": "advice",
    "waived": "waived",
    "proved": "proved",
}


def tally_words(verdicts: Iterable[Verdict]) -> str:
    """``2 broken, 36 proved``."""
    numbers = tallies(verdicts)
    said = [f"{n} {_TALLY_WORDS[kind]}" for kind, n in numbers.items() if n]
    return ", ".join(said) or "nothing to prove"
