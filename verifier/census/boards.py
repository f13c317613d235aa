"""Census of boards: what is wired to their inputs and outputs besides detectors and contacts."""

from collections.abc import Iterable, Iterator

from verifier.census.survey import Survey, steady
from verifier.plan.model import Head, Signal
from verifier.plan.observables import Condition, Observable, facts_unfolded
from verifier.plan.wiring.wiring_model import Driver


def heads(survey: Survey) -> Iterator[tuple[Signal, Head]]:
    """Every head with its signal."""
    return ((signal, head) for signal in survey.plan.signals.values() for head in signal.heads)


def locking_conditions(survey: Survey) -> Iterator[Condition]:
    """Everything that relays, timers, traffic, locks and edges respond to."""
    locking = survey.plan.locking
    for relay in locking.relays.values():
        yield from filter(None, (relay.picks, relay.sticks))
    for timer in locking.timers.values():
        yield timer.runs
    for traffic in locking.traffic.values():
        yield from filter(None, (traffic.rightward, traffic.leftward, traffic.locked))
    for throw in locking.throws.values():
        yield from filter(None, (throw.locked, throw.away_when))
    yield from locking.running.entering.values()


def asked_by(driver: Driver, survey: Survey) -> list[Observable]:
    """What the rules of a board's heads ask for, and all locking where the program runs on it,
    named conditions opened; and the levers and buttons of what it throws."""
    plan, found = survey.plan, asked_by_heads(driver, survey)
    if plan.locking.building.board == driver.name:
        found += _opened(locking_conditions(survey), survey)
    for name in driver.throws:
        throw = plan.locking.throws.get(name)
        by = {plan.wiring.machines[name].lever}
        by |= {throw.lever, *throw.buttons} if throw else set()
        found += [w for w in plan.inputs if w.kind in ("lever", "button") and w.name in by]
    return found


def asked_by_heads(driver: Driver, survey: Survey) -> list[Observable]:
    """What the rules of a board's heads ask for; of those that a train lights, also its block; and
    what its indicators and bells repeat."""
    asked: list[Condition] = []
    for signal, head in heads(survey):
        if head.name in driver.heads:
            lines = head.lines or signal.lines
            asked += [line.when for line in lines if line.when is not None]
            if driver.sold_as(head.name).approach and signal.lit is not None:
                asked.append(signal.lit)
    asked += [survey.plan.indicators[name].when for name in driver.indicators]
    return _opened(asked, survey)


def _opened(asked: Iterable[Condition], survey: Survey) -> list[Observable]:
    named = survey.plan.conditions
    return [fact.what for fact in facts_unfolded(asked, lambda name: named[name].condition)]


def must_hear(driver: Driver, survey: Survey) -> set[str]:
    """The levers and buttons with wires, what another board keeps in memory (or relays keep, and
    some board reads), and the signals of other boards that some board reads: of what it asks."""
    plan, found = survey.plan, set[str]()
    boards = plan.wiring.drivers.values()
    listed = {one.name for board in boards for one in board.reads or ()}
    program = plan.locking.building.board
    for what in asked_by(driver, survey):
        if what.kind in ("lever", "button"):
            found |= {what.name} & set(plan.wiring.panel)
        elif what.kind in ("relay", "timer", "traffic"):
            if program != driver.name and (program or what.name in listed):
                found.add(what.name)
        elif what.kind in ("aspect", "color"):
            for signal, head in heads(survey):
                if what.name in (signal.name, head.name) and signal.name in listed:
                    lit = {b.name for h in signal.heads for b in boards if h.name in b.heads}
                    found |= {signal.name} if lit != {driver.name} else set()
    return found


def hears(driver: Driver, survey: Survey) -> set[str]:
    """What is wired to it besides detectors and contacts."""
    if driver.reads is None:
        return must_hear(driver, survey)
    plan = survey.plan
    known = {w.name for w in plan.inputs if w.kind in ("lever", "button", "relay", "timer",
                                                       "traffic")} | set(plan.signals)  # fmt: skip
    return {one.name for one in driver.reads if not one.contacts and one.name in known}


def fed_by(name: str, survey: Survey) -> str | None:
    """The supply whose return a lever, button, board's memory or board's signal switches."""
    plan = survey.plan
    if name in plan.wiring.panel:
        return plan.wiring.panel[name].supply
    boards = plan.wiring.drivers.values()
    if name in plan.signals:
        lit = {b.supply for h in plan.signals[name].heads for b in boards if h.name in b.heads}
        return lit.pop() if len(lit) == 1 else None
    program = plan.locking.building.board
    keeper = next((board for board in boards if board.name == program), None)
    locking = plan.locking
    own = locking.relays.get(name) or locking.timers.get(name) or locking.traffic.get(name)
    return (own.supply if own and own.supply else keeper.supply) if keeper else None


def wires_from(name: str, survey: Survey) -> int:
    """How many wires tell a reader its state."""
    plan = survey.plan
    if name in plan.wiring.panel:
        return len(plan.wiring.panel[name].contacts)
    if name in plan.signals:
        return len(plan.signals[name].aspect.values) - 1
    return 2 if name in plan.locking.timers else 1


def lamps_there(shown: Iterable[tuple[str, str]], driver: Driver) -> Iterator[tuple[str, str]]:
    """The lamps of heads, by the steady colors that they show: LEDs of several colors in one case
    make yellow of red and green, and white of these and blue; a position light has a row for each
    color and one lamp in the middle of all. Of a semaphore, the wires that hold its arm."""
    found: dict[tuple[str, str], None] = {}
    for head, color in shown:
        make = driver.sold_as(head).make
        if make == "semaphore":  # at stop nothing holds the arm
            found |= {(head, color): None} if color != "red" else {}
        elif make == "position-light":
            found |= {(head, color): None, (head, "center"): None}
        elif make in ("two-color", "three-color") and color == "yellow":
            found |= {(head, "red"): None, (head, "green"): None}
        elif make == "three-color" and color in ("lunar", "white"):
            found |= {(head, led): None for led in ("red", "green", "blue")}
        else:
            found[head, color] = None
    return iter(found)


def outputs_needed(driver: Driver, survey: Survey) -> int:
    """One for each lamp of its heads (a lamp that also flashes is one, dark is none), one for each
    indicator or bell, two for each machine, one for each lock, and one for each wire to other
    boards that hear what it keeps in memory, or what a signal shows whose first head it lights."""
    plan = survey.plan
    lamps = [
        (head.name, color) for _, head in heads(survey) if head.name in driver.heads
        for color in {steady(shown) for shown in head.color.values} - {"dark"}
    ]  # fmt: skip
    lamps = list(lamps_there({(name, color) for name, color in lamps}, driver))
    told = {
        name for board in plan.wiring.drivers.values() if board.name != driver.name
        for name in hears(board, survey)
    }  # fmt: skip
    kept = {*plan.locking.relays, *plan.locking.timers, *plan.locking.traffic}
    if plan.locking.building.board != driver.name:
        kept = set()
    kept |= {s.name for s in plan.signals.values() if s.heads[0].name in driver.heads}
    wires = sum(wires_from(name, survey) for name in told & kept)
    lamps += [(name, "") for name in driver.indicators]
    return len(lamps) + 2 * len(driver.throws) + len(driver.unlocks) + wires


def inputs_needed(driver: Driver, read: Iterable[tuple[str, bool]], survey: Survey) -> int:
    """One for each detector, one for each contact of a turnout, one for each wire of what else it
    hears, and one for each arm that can rise, where it reacts to one that does not. ``read``: its
    detectors and (True) turnouts."""
    machines = survey.plan.wiring.machines
    count = sum(
        len(machines[name].contacts or (1, 2)) if contacts and name in machines
        else 2 if contacts else 1
        for name, contacts in read
    )  # fmt: skip
    arms = {
        head.name for _, head in heads(survey)
        if driver.when_out is not None and head.name in driver.heads
        and driver.sold_as(head.name).make == "semaphore"
        and {steady(color) for color in head.color.values} - {"red", "dark"}
    }  # fmt: skip
    return count + len(arms) + sum(wires_from(name, survey) for name in hears(driver, survey))
