"""What boards must hear besides detectors and contacts: levers, buttons, what is remembered
elsewhere, and what signals of other boards show.

In: a plan. Out: by board, what it asks for. Only what the file says of wires counts: a lever of
which it says nothing is heard by every board that asks for it.
"""

from collections.abc import Collection, Iterator

from verifier.language.source import Span
from verifier.plan.locking.locking_model import Throw, conditions_of, power_of
from verifier.plan.model import Plan
from verifier.plan.observables import Condition, Observable, facts_unfolded
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.faults import RELAYS
from verifier.plan.wiring.wiring_model import Driver, Heard

# What a reader hears: its kind and name.
Source = tuple[Heard, str]


def asked(driver: Driver, plan: Plan) -> Iterator[tuple[Observable, Span]]:
    """Everything that the rules of a board's heads and indicators, and what it throws and keeps in
    memory, ask for; named conditions expanded, each with a place where that is."""
    for condition, span in _conditions(driver, plan):
        for fact in facts_unfolded([condition], lambda n: plan.conditions[n].condition):
            yield fact.what, span
    levers = {what.name: what for what in plan.inputs if what.kind in ("lever", "button")}
    for name in driver.throws:
        for by in _panel_of(plan.locking.throws.get(name), plan.wiring.machines[name].lever):
            if by in levers:
                yield levers[by], driver.span


def _panel_of(throw: Throw | None, lever: str | None) -> tuple[str, ...]:
    """The lever or the buttons by which something is thrown."""
    names = (lever, *((throw.lever, *throw.buttons) if throw else ()))
    return tuple(dict.fromkeys(name for name in names if name is not None))


def _conditions(driver: Driver, plan: Plan) -> Iterator[tuple[Condition, Span]]:
    for signal in plan.signals.values():
        for head in signal.heads:
            if head.name in driver.heads:
                for line in head.lines or signal.lines:
                    if line.when is not None:
                        yield line.when, line.span
                if head.approach and signal.lit is not None:
                    yield signal.lit, signal.lit.span
    for name in driver.indicators:
        yield plan.indicators[name].when, plan.indicators[name].span
    if driver.name == plan.locking.building.board:
        for condition in memory_asks(plan):
            yield condition, condition.span


def memory_asks(plan: Plan) -> Iterator[Condition]:
    """The conditions that relays, timers, traffic, locks and edges go by."""
    locking = plan.locking
    for name in (*locking.memory, *locking.throws):
        yield from conditions_of(name, locking)
    yield from locking.running.entering.values()


def wanted(driver: Driver, plan: Plan) -> Iterator[tuple[Source, Span]]:
    """What a board asks for that a wire has to bring, each once."""
    seen: set[Source] = set()
    read = {one.name for d in plan.wiring.drivers.values() for one in d.reads or () if one.heard}
    if not (read or plan.wiring.panel or plan.locking.building.board):
        return
    for what, span in asked(driver, plan):
        source = _source(what, driver, plan, read)
        if source is not None and source not in seen:
            seen.add(source)
            yield source, span


def heard(driver: Driver, plan: Plan) -> tuple[Source, ...]:
    """What is wired to a board: what it reads, or, where it does not say, what it asks for."""
    if driver.reads is None:
        return tuple(source for source, _ in wanted(driver, plan))
    return tuple((one.heard, one.name) for one in driver.reads if one.heard is not None)


def heard_by_relays(plan: Plan) -> tuple[Source, ...]:
    """The levers and buttons that are wired to relays."""
    if not plan.locking.memory or plan.locking.building.board is not None:
        return ()
    facts = facts_unfolded(memory_asks(plan), lambda n: plan.conditions[n].condition)
    found: dict[Source, None] = {}
    for fact in facts:
        kind, name = fact.what.kind, fact.what.name
        if (kind == "lever" or kind == "button") and name in plan.wiring.panel:
            found[kind, name] = None
    return tuple(found)


def readers_of(source: Source, plan: Plan) -> tuple[str, ...]:
    """The boards that a source is wired to, and the relays."""
    boards = [d.name for d in plan.wiring.drivers.values() if source in heard(d, plan)]
    return (*([RELAYS] if source in heard_by_relays(plan) else []), *boards)


def _source(what: Observable, driver: Driver, plan: Plan, read: Collection[str]) -> Source | None:
    """What has to be wired to a board; None where it knows by itself, or the file says nothing.
    ``read``: what any board reads besides detectors and contacts."""
    board = plan.locking.building.board
    match what.kind:
        case "lever" | "button" if what.name in plan.wiring.panel:
            return what.kind, what.name
        case "relay" | "timer" | "traffic":
            wired = board is not None or what.name in read
            return (what.kind, what.name) if wired and board != driver.name else None
        case "aspect" | "color":
            signal = plan.signals[signal_of(what.name, plan.signals)]
            lit = {d.name for h in signal.heads if (d := plan.wiring.driver_of(h.name))}
            return ("signal", signal.name) if signal.name in read and lit != {driver.name} else None
        case _:
            return None


def supply_of(source: Source, plan: Plan) -> str | None:
    """The supply whose return a source switches; None where that suits every reader, or the file
    does not say."""
    kind, name = source
    match kind:
        case "lever" | "button":
            panel = plan.wiring.panel.get(name)
            return panel.supply if panel else None
        case "signal":
            boards = (plan.wiring.driver_of(head.name) for head in plan.signals[name].heads)
            supplies = {board.supply for board in boards if board is not None}
            return supplies.pop() if len(supplies) == 1 else None
        case _:
            # (The contact of a real relay is apart from what powers its coil.)
            power = power_of(name, plan.locking)
            return power.supply if power and plan.locking.building.board else None


def wires_of(source: Source, plan: Plan) -> tuple[str, ...]:
    """The wires by which a reader hears a source, each by the state in which it is closed: of a
    lever its contacts, of a signal all aspects but the most restrictive."""
    kind, name = source
    match kind:
        case "lever" | "button":
            return plan.wiring.panel[name].contacts
        case "relay":
            return ("up",)
        case "timer":
            return "running", "done"
        case "traffic":
            return ("leftward",)
        case "signal":
            return plan.signals[name].aspect.values[:-1]


def watched_arms(plan: Plan, board: str | None = None) -> tuple[str, ...]:
    """Heads whose arm has a contact by which its board (any, or one) notices that it is not as it
    should be."""
    return tuple(
        head.name
        for signal in plan.signals.values() for head in signal.heads
        if head.make == "semaphore" and head.lamps
        and (driver := plan.wiring.driver_of(head.name)) and driver.when_out is not None
        and board in (None, driver.name)
    )  # fmt: skip


def told(driver: Driver, plan: Plan) -> tuple[Source, ...]:
    """What other boards hear from a board: what it keeps in memory, and signals of which it lights
    the first head."""
    others = (d for d in plan.wiring.drivers.values() if d.name != driver.name)
    sources = dict.fromkeys(source for other in others for source in heard(other, plan))
    return tuple(source for source in sources if keeper_of(source, plan) == driver.name)


def keeper_of(source: Source, plan: Plan) -> str | None:
    """The board that tells a source: where that is in its memory, or it lights the first head."""
    kind, name = source
    match kind:
        case "lever" | "button":
            return None
        case "signal":
            board = plan.wiring.driver_of(plan.signals[name].heads[0].name)
            return board.name if board else None
        case _:
            return plan.locking.building.board
