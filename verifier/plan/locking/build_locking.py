"""Statements of memory, time and locking to :class:`~verifier.plan.locking.locking_model.Locking`.

In: the statements of a file and the vocabulary of conditions. Out: relays, timers, traffic, how
points are thrown and locked, how trains run; errors are noted in the names.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from verifier.language.syntax import tree
from verifier.plan.clause_reader import ClauseReader, at_most_one
from verifier.plan.conditions import resolve
from verifier.plan.locking.building import read_building
from verifier.plan.locking.locking_model import Locking, NamedRoute, Relay, Running, Timer, Traffic
from verifier.plan.locking.points_control import read_throws
from verifier.plan.locking.sequences import with_steps
from verifier.plan.names import Names
from verifier.plan.observables import Condition
from verifier.plan.quantities import read_amount
from verifier.plan.vocabulary import Vocabulary
from verifier.plan.wiring import plausible_ranges
from verifier.plan.wiring.wiring_model import Number

_WAYS: Mapping[tree.ClauseKind, str] = {"rightward when": "rightward", "leftward when": "leftward"}
_Memory = tree.Relay | tree.Timer | tree.Traffic


def read_locking(
    statements: Sequence[tree.Statement], routes: Mapping[str, NamedRoute], words: Vocabulary
) -> Locking:
    """The memory, timing and locking of a file; errors are noted."""
    of = tree.of_kind
    relays = {r.name: r for s in of(statements, tree.Relay) for r in _relay(s, words)}
    timers = {t.name: t for s in of(statements, tree.Timer) if (t := _timer(s, words))}
    traffic = {d.name: d for s in of(statements, tree.Traffic) if (d := _traffic(s, words))}
    throws = read_throws(statements, words)
    running = _running(statements, words)
    locked = any(t.locked or t.by in ("hand", "buttons", "rule") for t in throws.values())
    said = any(tree.of_kind(statements, tree.Running))
    return Locking(
        over_time=bool(relays or timers or traffic or locked or said or running.entering),
        relays=relays,
        timers=timers,
        traffic=traffic,
        throws=throws,
        routes=routes,
        running=running,
        memory=tuple(
            name for s in statements if isinstance(s, _Memory) for name in _acting(s, relays)
        ),
        building=read_building(statements, words.names),
    )


# ------------------------------------------------------------------ memory


def _acting(node: _Memory, relays: Mapping[str, Relay]) -> Iterator[str]:
    """What a statement makes act: before a relay, the steps of its release."""
    yield from (relay.name for relay in relays.values() if relay.step_of == node.name.text)
    yield node.name.text


def _relay(node: tree.Relay, words: Vocabulary) -> tuple[Relay, ...]:
    given = ClauseReader(node.clauses, words.names)
    if "picks when" not in given:
        words.names.error("CP701", node.name.span, name=node.name.text)
    picks = given.condition("picks when", words)
    sticks = given.condition("sticks while", words)
    slow_pick = given.amount("slow to pick", plausible_ranges.DELAY)
    slow_release = given.amount("slow to release", plausible_ranges.DELAY)
    after = given.conditions("releases after", words)
    if picks is None:
        return ()
    relay = Relay(
        node.name.text, picks, sticks, slow_pick, slow_release, node.span, supply=given.supply()
    )
    return with_steps(relay, after)


def _timer(node: tree.Timer, words: Vocabulary) -> Timer | None:
    seconds = read_amount(node.length, plausible_ranges.TIMER, words.names)
    runs = resolve(node.runs, words, in_rule=True)
    supply = ClauseReader(node.clauses, words.names).supply()
    if seconds is None or runs is None:
        return None
    return Timer(node.name.text, seconds, runs, node.span, supply)


def _traffic(node: tree.Traffic, words: Vocabulary) -> Traffic | None:
    names = words.names
    given = ClauseReader(node.clauses, names)
    missing = [kind for kind in _WAYS if kind not in given]
    for name in node.blocks:
        names.find(name, "block")
    blocks = at_most_one(node.blocks, "block", names)
    if missing:
        names.error(
            "CP708", node.name.span, name=node.name.text, ways=[_WAYS[kind] for kind in missing]
        )
    right, left = (given.condition(kind, words) for kind in _WAYS)
    locked, supply = given.condition("locked while", words), given.supply()
    if right is None or left is None:
        return None
    return Traffic(node.name.text, blocks, right, left, locked, node.span, supply)


# ------------------------------------------------------------------ trains


def _running(statements: Sequence[tree.Statement], words: Vocabulary) -> Running:
    names = words.names
    said = _said_once(tree.of_kind(statements, tree.Running), names)
    reverse_on = _blocks(said["reverse on"], names) if "reverse on" in said else None
    if "never reverse" in said:
        reverse_on = ()
    to_stop: Number | None = None
    if "need to stop" in said:
        to_stop = read_amount(said["need to stop"].length, plausible_ranges.TO_STOP, names)
    start_on = _blocks(said["start on"], names) if "start on" in said else ()
    return Running(reverse_on, to_stop, start_on, _entering(statements, words))


def _blocks(node: tree.Running, names: Names) -> tuple[str, ...]:
    for name in node.blocks:
        names.find(name, "block")
    return at_most_one(node.blocks, "block", names)


def _said_once(nodes: Iterable[tree.Running], names: Names) -> dict[tree.RunningKind, tree.Running]:
    found: dict[tree.RunningKind, tree.Running] = {}
    for node in nodes:
        earlier = found.setdefault(node.kind, node)
        if earlier is not node:
            names.error("CP606", node.span, "running", others=[earlier.span], kind=node.kind)
    if "never reverse" in found and "reverse on" in found:
        names.error("CP709", found["never reverse"].span, others=[found["reverse on"].span])
    return found


def _entering(statements: Iterable[tree.Statement], words: Vocabulary) -> dict[str, Condition]:
    found: dict[str, Condition] = {}
    for s in tree.of_kind(statements, tree.Edge):
        if not s.entering:
            continue
        condition = resolve(s.entering, words, in_rule=True)
        if s.direction == "leaving":
            words.names.error("CP710", s.entering.span, name=s.names[0].text)
        if condition is not None:
            found.update((name.text, condition) for name in s.names)
    return found
