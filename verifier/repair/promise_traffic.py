"""Equipment in place of the dispatcher's word: a lever, a traffic lock, or track circuits in the
control of the signals, in place of a promise about a stretch of track.

In: a plan and a promise about blocks. Out: the same plan with the stretch controlled so, and how a
file says it; the likeliest first. Nothing here is proved: whoever offers one has it proved.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from verifier.plan import observables
from verifier.plan.locking.locking_model import Promise, Timer, Traffic
from verifier.plan.model import Line, Move, Plan, Port, Signal
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not
from verifier.properties.amounts import decimal
from verifier.properties.locking_phrases import is_occupied, not_at_stop
from verifier.reference.inputs import is_read
from verifier.repair.equipment_edit import Equipment, with_inputs

# Trains run this way, as the track is drawn.
Way = Literal["rightward", "leftward"]
_WAYS: tuple[Way, Way] = ("rightward", "leftward")
_PUSHED: dict[Way, str] = {"rightward": "right", "leftward": "left"}


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Where trains come into some blocks past a signal, and at an edge, by the way they run; the
    signals that lead trains on inside. ``before``: the blocks between these signals and the
    stretch."""

    blocks: tuple[str, ...]
    before: list[str]
    entering: dict[str, Way]
    edges: dict[str, Way]
    inside: dict[str, Way]

    @property
    def ways(self) -> set[Way]:
        return {*self.entering.values(), *self.edges.values(), *self.inside.values()}

    @property
    def name(self) -> str:
        return self.blocks[0].replace(".", "-")


@dataclass(frozen=True, slots=True)
class _Asked:
    """A condition, and how a file writes it."""

    condition: Condition
    text: str


def stretch_controls(plan: Plan, promise: Promise) -> Iterator[Equipment]:
    """What may replace a promise about who enters a stretch of track; nothing where a block of it
    has no detector, or one that the drivers of its signals are not wired to, or where trains run
    over it both ways past one signal."""
    stretch = _stretch(plan, promise.about)
    if stretch is None:
        return
    watched = (*stretch.blocks, *stretch.before)
    occupied = [is_occupied(block, plan) for block in watched]
    seen = tuple(fact for fact in occupied if fact is not None)
    if len(seen) < len(occupied):
        return
    span = promise.span
    several = "any of " if len(seen) > 1 else ""
    held = _Asked(AnyOne(seen, span), f"{several}{', '.join(watched)} occupied")
    clear = _Asked(Not(held.condition, span), f"{', '.join(watched)} clear")
    if not all(_hears(signal, watched, plan) for signal in stretch.entering):
        return
    if len(stretch.ways) == 1:
        yield _track_circuits(plan, stretch, clear)
        return
    one_train = promise.rule == "one train at a time"
    lever, lock = _lever(plan, stretch, clear), _traffic_lock(plan, stretch, held, clear, one_train)
    if plan.locking.running.to_stop is not None:
        yield from (made for made in (lock,) if made)
        return
    yield from (made for made in ((lever, lock) if one_train else (lock, lever)) if made)


# ------------------------------------------------------------------ the stretch


def _stretch(plan: Plan, blocks: tuple[str, ...]) -> _Stretch | None:
    """None where one signal leads trains over the blocks both ways."""
    inside = {name for name, piece in plan.track.pieces.items() if piece.block in blocks}
    found = _Stretch(blocks, [], {}, {}, {})
    for route in plan.routes:
        moves = [move for move in route.moves if move.piece in inside]
        if not moves:
            continue
        signal = plan.signals[route.signal]
        starts_inside = signal.joint.other(signal.enters).piece in inside
        into = found.inside if starts_inside else found.entering
        if not starts_inside:
            run = route.moves[: route.moves.index(moves[0])]
            ahead = (plan.track.pieces[move.piece].block for move in run)
            found.before.extend(b for b in ahead if b is not None and b not in found.before)
        way = _way(moves, plan)
        if way is None or into.setdefault(route.signal, way) != way:
            return None
    for name, piece in plan.track.pieces.items():
        if piece.kind != "edge":
            continue
        end = Port(name, piece.ends[0])
        first = plan.track.joint_at[end].other(end)
        if first.piece in inside and piece.direction != "leaving":
            side = _side(first, plan)
            if side is None:
                return None
            found.edges[name] = side
    return found


def _way(moves: Sequence[Move], plan: Plan) -> Way | None:
    """The way that plain track among some moves is run over."""
    sides = (_side(Port(move.piece, move.enter), plan) for move in moves)
    return next((side for side in sides if side is not None), None)


def _side(entered: Port, plan: Plan) -> Way | None:
    """The way a train runs that enters plain track by this end; None of other track."""
    if plan.track.pieces[entered.piece].kind != "plain":
        return None
    return "rightward" if entered.end == "left" else "leftward"


def _hears(signal: str, blocks: Iterable[str], plan: Plan) -> bool:
    """Whether every driver of a signal is wired to all detectors of some blocks."""
    drivers = [plan.wiring.driver_of(head.name) for head in plan.signals[signal].heads]
    return all(
        is_read(driver, detector.name, contacts=False)
        for driver in drivers
        if driver is not None
        for block in blocks
        for detector in plan.wiring.detectors_of(block)
    )


# ------------------------------------------------------------------ what controls it


def _track_circuits(plan: Plan, stretch: _Stretch, clear: _Asked) -> Equipment:
    """All trains run one way: each waits until the one before has left."""
    asked = {name: [clear] for name in (*stretch.entering, *stretch.edges)}
    return _written("track circuits of the whole stretch", [], plan, asked)


def _lever(plan: Plan, stretch: _Stretch, clear: _Asked) -> Equipment | None:
    """A lever for the way trains run, and the stretch clear before one is let in."""
    made = _with_lever(plan, stretch)
    if made is None:
        return None
    with_lever, said, pushed = made
    asked = {
        **{name: [pushed(way)] for name, way in stretch.inside.items()},
        **{name: [pushed(way), clear] for name, way in _entries(stretch)},
    }
    return _written("a lever for the dispatcher", [said], with_lever, asked)


def _traffic_lock(
    plan: Plan, stretch: _Stretch, held: _Asked, clear: _Asked, one_train: bool
) -> Equipment | None:
    """A direction of traffic that only turns while the stretch is clear, and, where trains take
    time to stop, once that time has run with its signals at stop."""
    made = _with_lever(plan, stretch)
    name, timer_name = f"{stretch.name}-traffic", f"{stretch.name}-time"
    if made is None or {name, timer_name} & _taken(plan):
        return None
    with_lever, said, pushed = made
    statements = [said]
    span = plan.blocks[stretch.blocks[0]].span
    locking, inputs = plan.locking, [observables.traffic(name)]
    signals = [plan.signals[signal] for signal in stretch.entering]
    if (seconds := locking.running.to_stop) is not None:
        at_stop = Not(AnyOne(tuple(not_at_stop(s, plan) for s in signals), span), span)
        timer = Timer(timer_name, seconds, at_stop, span)
        locking = replace(
            locking,
            timers={**locking.timers, timer_name: timer},
            memory=(*locking.memory, timer_name),
        )
        inputs.append(observables.timer(timer_name))
        done = Fact(observables.timer(timer_name), ("done",), span, f"{timer_name} done")
        parts = (held.condition, Not(done, span))
        held = _Asked(AnyOne(parts, span), f"{held.text} or not {timer_name} done")
        statements.append(
            f"timer {timer_name} {decimal(seconds)} s runs while "
            f"{', '.join(stretch.entering)} at stop"
        )
    right, left = (pushed(way) for way in _WAYS)
    traffic = Traffic(name, stretch.blocks, right.condition, left.condition, held.condition, span)
    locking = replace(
        locking, traffic={**locking.traffic, name: traffic}, memory=(*locking.memory, name)
    )
    statements.append(
        f"traffic {name} on {', '.join(stretch.blocks)} rightward when {right.text} "
        f"leftward when {left.text} locked while {held.text}"
    )

    def turned(way: Way) -> _Asked:
        text = f"{name} {way}"
        return _Asked(Fact(observables.traffic(name), (way,), span, text), text)

    asked = {
        **{signal: [turned(way)] for signal, way in stretch.inside.items()},
        **{
            entry: [pushed(way), turned(way), *([clear] if one_train else [])]
            for entry, way in _entries(stretch)
        },
    }
    locked = with_inputs(replace(with_lever, locking=locking), inputs)
    return _written("a traffic lock", statements, locked, asked)


def _entries(stretch: _Stretch) -> Iterator[tuple[str, Way]]:
    yield from stretch.entering.items()
    yield from stretch.edges.items()


def _taken(plan: Plan) -> set[str]:
    """The names that a file may not declare again."""
    return {what.name for what in plan.inputs} | set(plan.conditions) | set(plan.signals)


def _with_lever(plan: Plan, stretch: _Stretch) -> tuple[Plan, str, Callable[[Way], _Asked]] | None:
    """The plan with a lever for the way trains run, its statement, and that it stands so."""
    name = f"{stretch.name}-way"
    if name in _taken(plan):
        return None
    lever = observables.lever(name, ("left", "right"))
    span = plan.blocks[stretch.blocks[0]].span

    def pushed(way: Way) -> _Asked:
        text = f"{name} {_PUSHED[way]}"
        return _Asked(Fact(lever, (_PUSHED[way],), span, text), text)

    return with_inputs(plan, [lever]), f"lever {name} positions left, right", pushed


def _written(
    what: str, statements: list[str], plan: Plan, asked: dict[str, list[_Asked]]
) -> Equipment:
    """The plan in which signals and edges ask for more, and how a file says all of it."""
    said = [f"`{statement}`" for statement in statements]
    entering = dict(plan.locking.running.entering)
    signals = dict(plan.signals)
    groups: dict[str, list[str]] = {}
    for name, conditions in asked.items():
        text = " and ".join(each.text for each in conditions)
        parts = tuple(each.condition for each in conditions)
        if name in signals:
            signals[name] = _asking(signals[name], parts, plan)
            groups.setdefault(text, []).append(name)
            continue
        before = entering.get(name)
        entering[name] = All((*([before] if before else []), *parts), parts[0].span)
        said.append(f"to `edge {name} entering when …` add `and {text}`" if before else
                    f"`edge {name} entering when {text}`")  # fmt: skip
    said += [
        f"`and {text}` in each line of {' and '.join(names)} that lets trains pass"
        for text, names in groups.items()
    ]
    running = replace(plan.locking.running, entering=entering)
    controlled = replace(plan, signals=signals, locking=replace(plan.locking, running=running))
    return Equipment(f"{what}: {'; '.join(said)}", controlled)


def _asking(signal: Signal, further: tuple[Condition, ...], plan: Plan) -> Signal:
    """The signal with more asked in each line by which trains pass it; of one with rules head by
    head, in each line but `otherwise`."""
    passing = {aspect.name for aspect in plan.chart.aspects if aspect.permits}

    def asked(line: Line, colors: bool) -> Line:
        if line.when is None or not (colors or line.shows in passing):
            return line
        return replace(line, when=All((line.when, *further), line.when.span))

    return replace(
        signal,
        lines=tuple(asked(line, False) for line in signal.lines),
        heads=tuple(
            replace(head, lines=tuple(asked(line, True) for line in head.lines))
            for head in signal.heads
        ),
    )
