"""Census of track and signals: for which signals, points and devices there must be an obligation.

One function for each property: its name, and in words and in code for which subjects, and what.
"""

from itertools import combinations

from verifier.census.says import (
    SLOWEST_FIRST,
    Must,
    Musts,
    all_of,
    any_of,
    better_than_restricting,
    blocks_of,
    goes_out_over_a_way_in,
    is_read,
    lets_pass_without_stopping,
    lie,
    no,
    occupied,
    permits,
    points_of,
    proceeds,
    reaches,
    takes,
    takes_one,
)
from verifier.census.survey import TRACKWORK, Meeting, Survey, Trip, meetings, steady
from verifier.logic.expr import FALSE, TRUE, Expr, atom, constant
from verifier.plan import observables
from verifier.plan.model import Crossover, Derail, Port, Signal
from verifier.plan.observables import UNLISTED
from verifier.plan.signals.aspects import Aspect

# ------------------------------------------------------------------ two signals


def converging_proceeds(survey: Survey) -> Musts:
    """Every two signals from which trains come onto one track from different sides, or start onto
    it side by side. Never may both permit it."""
    for (one, two), trips in pairs_that_meet(survey, "from two sides", "side by side").items():
        both = all_of(permits(one, survey.plan), permits(two, survey.plan))
        ways = [
            TRUE if how == "side by side" else all_of(takes(a), takes(b)) for a, b, how, _ in trips
        ]
        yield Must((one.name, two.name), all_of(both, any_of(*ways)), (one.name, two.name))


def crossing_proceeds(survey: Survey) -> Musts:
    """Every two signals from which trains cross on the level. Never may both permit it."""
    for (one, two), trips in pairs_that_meet(survey, "across").items():
        both = all_of(permits(one, survey.plan), permits(two, survey.plan))
        ways = any_of(*(all_of(takes(a), takes(b)) for a, b, _, _ in trips))
        yield Must((one.name, two.name), all_of(both, ways), (one.name, two.name))


def opposing_proceeds(survey: Survey) -> Musts:
    """Every two signals from which trains run head on onto one track; every signal that may let a
    train out at an edge where trains only come in. Never may both permit it; on `switching only`
    track both may show Restricting."""
    plan = survey.plan
    for (one, two), trips in pairs_that_meet(survey, "head on").items():
        ways = []
        for a, b, _, pieces in trips:
            blocks = [survey.block_of(piece) for piece in pieces]
            switching = all(b is not None and plan.blocks[b].switching for b in blocks)
            lets = all_of(permits(one, plan), permits(two, plan))
            if switching:
                lets = all_of(lets, any_of(proceeds(one, plan), proceeds(two, plan)))
            ways.append(all_of(takes(a), takes(b), lets))
        yield Must((one.name, two.name), any_of(*ways), (one.name, two.name))
    for signal in plan.signals.values():
        out = [t for t in survey.trips[signal.name] if goes_out_over_a_way_in(t, survey)]
        for edge in dict.fromkeys(trip.end for trip in out):
            ways_there = takes_one(trip for trip in out if trip.end == edge)
            yield Must(
                (signal.name, edge), all_of(permits(signal, plan), ways_there), (signal.name,)
            )


_Met = tuple[Trip, Trip, Meeting, frozenset[str]]


def pairs_that_meet(survey: Survey, *wanted: Meeting) -> dict[tuple[Signal, Signal], list[_Met]]:
    """The pairs of signals with trips that meet in one of these ways, and those trips. ``Signal``
    pairs are in the order of the file."""
    found: dict[tuple[str, str], list[_Met]] = {}
    place = {name: i for i, name in enumerate(survey.plan.signals)}
    for one in survey.every_trip():
        rivals = dict.fromkeys(other for step in one.steps for other in survey.over[step.piece])
        for other in rivals:
            if place[other.signal] <= place[one.signal]:
                continue
            for how, pieces in meetings(one, other).items():
                if how in wanted:
                    pair = (one.signal, other.signal)
                    found.setdefault(pair, []).append((one, other, how, pieces))
    signals = survey.plan.signals
    return {(signals[a], signals[b]): trips for (a, b), trips in found.items()}


# ------------------------------------------------------------------ what a signal lets trains onto


def proceed_into_occupied(survey: Survey) -> Musts:
    """Every signal and every block that a trip from it runs over."""
    for signal, block, over in _signals_and_blocks(survey):
        bad = all_of(proceeds(signal, survey.plan), occupied(block), takes_one(over))
        yield Must((signal.name, block), bad, (signal.name,))


def undetected_track(survey: Survey) -> Musts:
    """Every signal and every undetected block that a trip from it runs over."""
    for signal, block, over in _signals_and_blocks(survey):
        if not survey.plan.blocks[block].detected:
            bad = all_of(proceeds(signal, survey.plan), takes_one(over))
            yield Must((signal.name, block), bad, (signal.name,))


def _signals_and_blocks(survey: Survey) -> list[tuple[Signal, str, list[Trip]]]:
    found = []
    for signal in survey.plan.signals.values():
        by_block: dict[str, list[Trip]] = {}
        for trip in survey.trips[signal.name]:
            for block in blocks_of(trip, survey):
                by_block.setdefault(block, []).append(trip)
        found += [(signal, block, trips) for block, trips in by_block.items()]
    return found


def proceed_over_open_points(survey: Survey) -> Musts:
    """Every signal and every points that a trip from it runs over. Facing points are wrong where
    they lie neither way; trailing ones where they do not lie for the trip."""
    for signal in survey.plan.signals.values():
        trips = survey.trips[signal.name]
        for points in points_of(trips):
            wrong = []
            for trip in trips:
                for step, comes in reaches(trip, points):
                    astray = [p for p in ("normal", "reverse") if p != step.needs]
                    states = ["open"] if step.chooses else ["open", *astray]
                    wrong.append(all_of(comes, any_of(*(lie(points, s) for s in states))))
            bad = all_of(permits(signal, survey.plan), any_of(*wrong))
            yield Must((signal.name, points), bad, (signal.name,))


def aspect_against_route(survey: Survey) -> Musts:
    """Every signal that has a straight or a diverging aspect, unless each of its trips diverges
    over trailing points alone."""
    for signal in survey.plan.signals.values():
        has = [a for a in survey.plan.chart.aspects if a.name in signal.aspect.values]
        straight = [a for a in has if a.indication.way == "straight"]
        diverging = [a for a in has if a.indication.way == "diverging"]
        turns, runs_through = [], []
        for trip in survey.trips[signal.name]:
            thrown = [step for step in trip.points if step.needs == "reverse"]
            if any(step.chooses for step in thrown):
                turns.append(trip)
            elif not thrown:
                runs_through.append(trip)
        if (straight or diverging) and (turns or runs_through):
            bad = any_of(
                all_of(is_read(signal, straight), takes_one(turns)),
                all_of(is_read(signal, diverging), takes_one(runs_through)),
            )
            yield Must((signal.name,), bad, (signal.name,))


def approach_untruthful(survey: Survey) -> Musts:
    """Every signal with an aspect that promises something of the next signal, and each signal or
    bumper that its trips lead to."""
    plan = survey.plan
    for signal in plan.signals.values():
        promising = [
            a for a in plan.chart.aspects
            if a.name in signal.aspect.values and a.indication.next_at_least is not None
        ]  # fmt: skip
        trips = [trip for trip in survey.trips[signal.name] if trip.ends_at != "edge"]
        for end in dict.fromkeys(trip.end for trip in trips) if promising else ():
            ways = takes_one(trip for trip in trips if trip.end == end)
            ahead = plan.signals.get(end)
            if ahead is None:
                yield Must(
                    (signal.name, end), all_of(is_read(signal, promising), ways), (signal.name,)
                )
                continue
            lies = any_of(
                *(all_of(is_read(signal, [a]), _is_worse(ahead, a, plan.chart.aspects))
                  for a in promising)
            )  # fmt: skip
            yield Must((signal.name, end), all_of(ways, lies), (signal.name, end))


def _is_worse(ahead: Signal, promise: Aspect, aspects: tuple[Aspect, ...]) -> Expr:
    """At worst the next signal is read as slower than promised, or as nothing."""
    promised = promise.indication.next_at_least
    assert promised is not None
    slow_enough = SLOWEST_FIRST.index(promised)
    keeps = {a.name for a in aspects if SLOWEST_FIRST.index(a.indication.speed) >= slow_enough}
    return atom(ahead.worst_reading, *(v for v in ahead.aspect.values if v not in keeps))


# ------------------------------------------------------------------ aspects


def aspect_not_listed(survey: Survey) -> Musts:
    """Every signal."""
    for signal in survey.plan.signals.values():
        unlisted = atom(signal.aspect, UNLISTED) if UNLISTED in signal.aspect.values else FALSE
        yield Must((signal.name,), unlisted, (signal.name,))


def aspect_ambiguous(survey: Survey) -> Musts:
    """Every aspect, whether a lone light keeps its meaning; and every two that share their colors
    or their indication, which always is wrong."""
    aspects = sorted(survey.plan.chart.aspects, key=lambda a: (a.span.source.name, a.span.start))
    for one, two in combinations(aspects, 2):
        if _looks(one) & _looks(two) or one.indication == two.indication:
            yield Must((one.name, two.name), TRUE)
    for aspect in aspects:
        lone = ((plate, colors[0]) for plate, colors in _looks(aspect) if len(colors) == 1)
        yield Must((aspect.name,), constant(any(_is_misused(*each, aspect) for each in lone)))


def _looks(aspect: Aspect) -> set[tuple[str, tuple[str, ...]]]:
    """The colors that show an aspect, each with the plate that they need, empty for none."""
    return {("", colors) for colors in aspect.combinations} | {*aspect.plated}


def _is_misused(plate: str, color: str, aspect: Aspect) -> bool:
    match steady(color):
        case "white":
            return True
        case "red" if plate or color == "flashing red":
            return better_than_restricting(aspect)
        case "red":
            return lets_pass_without_stopping(aspect)
        case "green":
            return not better_than_restricting(aspect)
        case "yellow" | "lunar":
            return aspect.indication.text == "proceed"
        case _:
            return False


# ------------------------------------------------------------------ devices


def crossover_ends_disagree(survey: Survey) -> Musts:
    """Every crossover and every signal with a trip over one of its two turnouts."""
    for name, crossover in survey.plan.crossovers.items():
        one, two = crossover.ends
        differ = no(any_of(*(all_of(lie(one, p), lie(two, p)) for p in ("normal", "reverse"))))
        wrong = any_of(differ, *(occupied(b) for b in _between(crossover, survey)))
        for signal in survey.plan.signals.values():
            over = [
                trip for trip in survey.trips[signal.name]
                if any(step.piece in crossover.ends for step in trip.steps)
            ]  # fmt: skip
            if over:
                bad = all_of(proceeds(signal, survey.plan), takes_one(over), wrong)
                yield Must((signal.name, name), bad, (signal.name,))


def _between(crossover: Crossover, survey: Survey) -> list[str]:
    """The blocks between the two turnouts of a crossover, other than the turnouts' own."""
    one, two = crossover.ends
    blocks: dict[str, None] = {}
    port = survey.across(Port(one, "reverse"))
    while port.piece != two:
        blocks.update({block: None for block in [survey.block_of(port.piece)] if block})
        (step,) = survey.steps_from(port)
        port = survey.across(Port(step.piece, step.leave))
    own = (survey.block_of(one), survey.block_of(two))
    return [block for block in blocks if block not in own]


def derail_not_set(survey: Survey) -> Musts:
    """Every signal and every derail that a trip from it runs over, or that protects trackwork on
    it: the one must not be able to derail, the other must."""
    plan = survey.plan
    for signal in plan.signals.values():
        for derail in plan.derails.values():
            over, beside = [], []
            for trip in survey.trips[signal.name]:
                if runs_over(trip, derail):
                    over.append(trip)
                elif protected_by(derail, survey) in {step.piece for step in trip.steps}:
                    beside.append(trip)
            lies = observables.derail(derail.name)
            bad = any_of(
                all_of(permits(signal, plan), takes_one(over), atom(lies, "derailing", "open")),
                all_of(
                    proceeds(signal, plan), takes_one(beside), atom(lies, "non-derailing", "open")
                ),
            )
            if over or beside:
                yield Must((signal.name, derail.name), bad, (signal.name,))


def runs_over(trip: Trip, derail: Derail) -> bool:
    """A trip that ends at a signal beside the derail stops short of it; one that starts there
    runs over it."""
    passed = trip.crossed[:-1] if trip.ends_at == "signal" else trip.crossed
    return any(derail.port in joint for joint in passed)


def protected_by(derail: Derail, survey: Survey) -> str | None:
    """The first trackwork that stock would come to past a derail."""
    port = survey.across(derail.port)
    passed: set[Port] = set()
    while port not in passed and survey.piece(port.piece).kind == "plain":
        passed.add(port)
        (step,) = survey.steps_from(port)
        port = survey.across(Port(step.piece, step.leave))
    piece = survey.piece(port.piece)
    return piece.name if piece.kind in TRACKWORK else None


def span_not_locked(survey: Survey) -> Musts:
    """Every signal and every gate on a block that a trip from it runs over."""
    for signal, block, over in _signals_and_blocks(survey):
        for gate in survey.plan.gates.values():
            if gate.block == block:
                is_open = atom(observables.gate(gate.name), "open")
                bad = all_of(permits(signal, survey.plan), takes_one(over), is_open)
                yield Must((signal.name, gate.name), bad, (signal.name,))


# ------------------------------------------------------------------ interlocking limits


def unsignaled_entrance(survey: Survey) -> Musts:
    """Every limits, those declared and those around all other trackwork, and everything by which
    a train comes in there: signals, and the ends of the plan from which it meets no signal first.
    From such an end each way in must pass a derail."""
    for name, inside in limits(survey):
        ways = _ways_in(inside, survey)
        for end in dict.fromkeys(end for end, _ in ways):
            yield Must((name, end), constant(not all(safe for e, safe in ways if e == end)))


def limits(survey: Survey) -> list[tuple[str, set[str]]]:
    plan, found = survey.plan, list[tuple[str, set[str]]]()
    for name, signals in plan.declared_limits.items():
        at = {plan.signals[s].enters for s in signals}
        found.append((name, _spread({port.piece for port in at}, at, survey)))
    covered = {piece for _, inside in found for piece in inside}
    for name, piece in plan.track.pieces.items():
        if piece.kind in TRACKWORK and name not in covered:
            inside = _spread({name}, set(survey.posts), survey)
            found.append((name, inside))
            covered |= inside
    return found


def _spread(start: set[str], bounds: set[Port], survey: Survey) -> set[str]:
    """All pieces around some, up to the ends in ``bounds``, derails that face inward, and the ends
    of the plan."""
    derails = {derail.port for derail in survey.plan.derails.values()}
    inside, waiting = set(start), [*start]
    while waiting:
        piece = waiting.pop()
        for end in survey.piece(piece).ends:
            here = Port(piece, end)
            there = survey.across(here)
            shut = here in bounds or there in bounds or there in derails
            if not shut and survey.piece(there.piece).kind not in ("edge", "bumper"):
                waiting += {there.piece} - inside
                inside.add(there.piece)
    return inside


def _ways_in(inside: set[str], survey: Survey) -> list[tuple[str, bool]]:
    """How a train comes in: the signal or the end of the plan that it comes from, and whether it
    meets a signal or a derail on the way."""
    derails = {derail.port for derail in survey.plan.derails.values()}
    found: list[tuple[str, bool]] = []
    ordered = [piece for piece in survey.plan.track.pieces if piece in inside]
    ends = [Port(piece, end) for piece in ordered for end in survey.piece(piece).ends]
    for port in ends:
        if survey.across(port).piece in inside:
            continue
        waiting, seen = [(port, False)], set[tuple[Port, bool]]()
        while waiting:
            here, derailed = waiting.pop()
            before = survey.across(here)
            derailed = derailed or before in derails
            if (here, derailed) in seen:
                continue
            seen.add((here, derailed))
            piece = survey.piece(before.piece)
            if here in survey.posts:
                found.append((survey.posts[here][0], True))
            elif piece.kind in ("edge", "bumper"):
                if piece.direction != "leaving":
                    found.append((piece.name, derailed))
            else:
                for step in survey.steps_to(before):
                    waiting.append((Port(step.piece, step.enter), derailed))
    return found
