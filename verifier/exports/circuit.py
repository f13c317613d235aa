"""A junction over time as an AIGER 1.9 circuit, for model checkers of hardware.

In: a checked plan that speaks of time. Out: a circuit with one bad state for each obligation
about histories and one constraint for each assumption and promise. A bad state that cannot be
reached is a ``never`` obligation that holds; for a ``possible`` one the checker should reach it. A
circuit has no clocks: it keeps the order of delays (:mod:`verifier.logic.time_order`), which allows
more than can be, so what a checker reaches may be a history that has no times. Obligations
about lost detection (another transition system) and about what can always be done again (no
reachability) are left out.
"""

from dataclasses import replace

from verifier.engines.interchange.aig import gates
from verifier.engines.interchange.aiger import Circuit
from verifier.engines.interchange.smtlib import one_line
from verifier.exports.checked_export import NothingToExport
from verifier.language.listing import several
from verifier.logic.time_order import Ordered
from verifier.plan.claims import granted
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.world.history import Histories
from verifier.world.world import World


def circuit(plan: Plan) -> Circuit:
    """The circuit, with names for inputs, latches, bad states and constraints, and comments
    that say what each bad state means.

    Raises :class:`NothingToExport` when nothing is asked of the plan over time."""
    asked = [o for o in obligations(plan, World(plan).lower) if o.over == "histories"]
    if not asked:
        raise NothingToExport(
            "there are no relays, timers, locks or trains, so there is nothing to check over time"
        )
    histories = Histories(plan, wrecks=True, prompt=True)
    ordered = Ordered(histories.system, histories.order)
    bads = [ordered.within(histories.expand(o.formula)) for o in asked]
    made = gates(ordered.system, bads).circuit
    titles = [assumed.title for assumed in granted(plan)]
    names = {f"b{i}": one_line(o.key) for i, o in enumerate(asked)}
    names |= {f"c{i}": one_line(title) for i, title in enumerate(titles)}
    comments = [
        one_line(plan.source.name),
        f"{several(len(asked), 'bad state')}, {several(len(made.constraints), 'constraint')} "
        "(assumptions, promises, and what starts alike)",
        "of delays the order is kept, not the time: what is reached may have no times",
        *(
            f"b{i}: {'must not' if o.mode == 'never' else 'should'} be reached: {one_line(o.key)}"
            for i, o in enumerate(asked)
        ),
    ]
    return replace(made, names={**made.names, **names}, comments=tuple(comments))
