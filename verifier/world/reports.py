"""Reports as a function of truth.

A file without wiring says nothing of how reports come about; they are then taken to be
true, and every report of ours prints that assumption (:data:`ASSUMED`).
"""

from verifier.logic.expr import Atom, Expr, atom
from verifier.plan import facts

ASSUMED = (
    "No wiring is given, so every detector and contact is taken to report the truth.",
    "Gaps are taken to stand at or beyond the fouling points: stock inside one block fouls "
    "no other.",
    "Trains are taken to obey signals; beyond the edges of the plan nothing is checked.",
)

_TRUTH_OF = {
    "block report": (facts.stock, {"clear": "vacant", "occupied": "occupied"}),
    "points report": (
        facts.points,
        {"normal": "normal", "reverse": "reverse", "moving": "open"},
    ),
    "derail report": (
        facts.derail,
        {"derailing": "derailing", "non-derailing": "non-derailing", "moving": "open"},
    ),
    "gate report": (facts.gate, {"seated": "seated", "open": "open"}),
}


def report_meaning(report: Atom) -> Expr:
    """When a report says one of these things, in terms of truth."""
    truth, states = _TRUTH_OF[report.what.kind]
    return atom(truth(report.what.name), *(states[value] for value in report.values))
