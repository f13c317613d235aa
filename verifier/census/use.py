"""Census of usefulness: what must be possible."""

from collections import Counter
from collections.abc import Iterator
from itertools import combinations

from verifier.census.locks import runs
from verifier.census.movers import train_on
from verifier.census.presses import presses
from verifier.census.says import (
    Must,
    Musts,
    all_of,
    any_of,
    better_than_restricting,
    blocks_of,
    clears,
    is_lined,
    is_meant,
    no,
    proceeds,
)
from verifier.census.signals import limits, runs_over
from verifier.census.survey import LEGS, Survey, Trip, meetings, steady
from verifier.logic.expr import TRUE, Expr, atom, constant, substitute
from verifier.plan import observables
from verifier.plan.model import Line, Plan, Port
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, Observable


def never_shown(survey: Survey) -> Musts:
    """Every aspect of a signal's lines, and every color of a head's."""
    for signal, owner, what, lines in _lines(survey):
        for shown in dict.fromkeys(line.shows for line in lines):
            yield Must((owner, shown), atom(what, shown), (signal,))


def rule_never_used(survey: Survey) -> Musts:
    """Every line that shows what another line of the same signal or head shows too."""
    for signal, owner, _, lines in _lines(survey):
        often = Counter(line.shows for line in lines)
        for index, line in enumerate(lines):
            if often[line.shows] >= 2:
                acts = atom(observables.line(owner, index), "acts")
                where = line.span.seen_from(survey.plan.source)
                yield Must((owner, where), acts, (signal,))


def _lines(survey: Survey) -> Iterator[tuple[str, str, Observable, tuple[Line, ...]]]:
    for signal in survey.plan.signals.values():
        yield signal.name, signal.name, signal.reading, signal.lines
        for head in signal.heads:
            yield signal.name, head.name, head.lens, head.lines


def route_never_clears(survey: Survey) -> Musts:
    """Every trip that a signal may clear for: its signal permits it with the points lined and
    nothing in the way."""
    for trip in survey.every_trip():
        if is_meant(trip, survey):
            yield Must((trip.name,), _usable(trip, survey), (trip.signal,))


def compatible_routes_blocked(survey: Survey) -> Musts:
    """Every two such trips over trackwork of the same limits, of two signals, that have no block
    in common and do not meet. A note."""
    done: set[frozenset[str]] = set()
    meant = [trip for trip in survey.every_trip() if is_meant(trip, survey)]
    for _, inside in limits(survey):
        work = [piece for piece in inside if survey.piece(piece).kind != "plain"]
        there = {trip for piece in work for trip in survey.over.get(piece, ())}
        here = [trip for trip in meant if trip in there]
        for one, two in combinations(here, 2):
            pair = frozenset((one.name, two.name))
            shared = {*blocks_of(one, survey)} & {*blocks_of(two, survey)}
            if one.signal == two.signal or shared or pair in done or meetings(one, two):
                continue
            done.add(pair)
            both = all_of(_usable(one, survey), _usable(two, survey))
            yield Must((one.name, two.name), both, (one.signal, two.signal), note=True)


def _usable(trip: Trip, survey: Survey) -> Expr:
    plan = survey.plan
    blocks = blocks_of(trip, survey)
    free = [atom(observables.stock(block), "vacant") for block in blocks]
    off = [atom(observables.derail(d.name), "non-derailing") for d in plan.derails.values()
           if runs_over(trip, d)]  # fmt: skip
    shut = [atom(observables.gate(g.name), "seated") for g in plan.gates.values()
            if g.block in blocks]  # fmt: skip
    return all_of(clears(plan.signals[trip.signal], plan), is_lined(trip), *free, *off, *shut)


def clears_again(survey: Survey) -> Musts:
    """Every signal and every button that a line of it names, or of its heads, if that line lights
    it better than Restricting, or a head in anything but red: never better than Restricting with
    the button pressed, unless one of these lines holds with the button let go. A note. Where
    something remembers, every signal and every button that may bring a line about while it is
    pressed: the signal never clears again in a history in which the button is held."""
    plan = survey.plan
    if plan.locking.memory:
        for one, pressed in presses(plan):
            again = observables.event("clears again", f"{one} / {pressed}")
            yield Must((one, pressed), atom(again, "yes"), (one,), note=True, over="held")
    for signal in plan.signals.values() if not plan.locking.memory else ():
        best = {a.name for a in plan.chart.aspects if better_than_restricting(a)}
        lit = [(signal.heads[0].name, line.when) for line in signal.lines if line.shows in best]
        for head in signal.heads:
            colored = (line for line in head.lines if steady(line.shows) not in ("red", "dark"))
            lit += [(head.name, line.when) for line in colored]
        named = {what for _, when in lit if when is not None for what in _named(when, plan)}
        for button in named:
            if button.kind == "button":
                holds = any_of(*(_let_go(_asked(w, head, plan), button) for head, w in lit))
                bad = all_of(proceeds(signal, plan), atom(button, "pressed"), no(holds))
                yield Must((signal.name, button.name), bad, (signal.name,), note=True)


def _named(says: Condition, plan: Plan) -> Iterator[Observable]:
    """All that a condition names, in named conditions too."""
    match says:
        case Fact(what=what) if what.kind == "condition":
            yield from _named(plan.conditions[what.name].condition, plan)
        case Fact(what=what):
            yield what
        case Not(part=part):
            yield from _named(part, plan)
        case All(parts=parts) | AnyOne(parts=parts):
            for part in parts:
                yield from _named(part, plan)


def _asked(when: Condition | None, head: str, plan: Plan) -> Expr:
    """What a line asks, named conditions written out, of what the driver of its head hears."""
    drivers = (d.name for d in plan.wiring.drivers.values() if head in d.heads)
    return TRUE if when is None else _heard(when, next(drivers, ""), plan)


def _heard(says: Condition, driver: str, plan: Plan) -> Expr:
    match says:
        case Fact(what=what, values=values) if what.kind == "condition":
            inner = _heard(plan.conditions[what.name].condition, driver, plan)
            return inner if "true" in values else no(inner)
        case Fact(what=what, values=values):
            return atom(observables.at_reader(what, driver), *values)
        case Not(part=part):
            return no(_heard(part, driver, plan))
        case All(parts=parts):
            return all_of(*(_heard(part, driver, plan) for part in parts))
        case AnyOne(parts=parts):
            return any_of(*(_heard(part, driver, plan) for part in parts))


def _let_go(says: Expr, button: Observable) -> Expr:
    """What is left of it with the button not pressed."""
    idle = button.usual
    return substitute(
        says, lambda part: constant(idle in part.values) if part.what == button else part
    )


def condition_constant(survey: Survey) -> Musts:
    """Every named condition: it can be true, and it can be false."""
    for name in survey.plan.conditions:
        for state in ("true", "false"):
            yield Must((name, state), atom(observables.condition(name), state))


def assumptions_contradict(survey: Survey) -> Musts:
    """Once, where there are assumptions."""
    if survey.plan.assumptions:
        yield Must(("assumptions",), TRUE)


# ------------------------------------------------------------------ over time


def route_never_set(survey: Survey) -> Musts:
    """Every trip that a signal may clear for: it can be lined and permitted."""
    for trip in survey.every_trip() if survey.plan.locking.over_time else ():
        if is_meant(trip, survey):
            lets = clears(survey.plan.signals[trip.signal], survey.plan)
            yield Must((trip.name,), all_of(lets, is_lined(trip)), (trip.signal,))


def locked_for_good(survey: Survey) -> Musts:
    """The same trips: from everything that can happen on. Where the plan has no end that trains
    come in or go out by: or there is no train at all."""
    track = survey.plan.track.pieces.values()
    ends = [piece.name for piece in track if piece.kind == "edge"]
    for must in route_never_set(survey):
        if ends:
            yield must
        else:
            empty = no(
                any_of(*(train_on(piece.name) for piece in track if piece.block is not None))
            )
            yield Must(must.subjects, any_of(must.formula, empty), must.at)


def train_cannot_leave(survey: Survey) -> Musts:
    """Every block with track: no train is on it."""
    pieces = survey.plan.track.pieces.values()
    for block in survey.plan.blocks if survey.plan.locking.over_time else ():
        trains = [train_on(piece.name) for piece in pieces if piece.block == block]
        if trains:
            yield Must((block,), no(any_of(*trains)))


def cannot_pass(survey: Survey) -> Musts:
    """Every two turnouts with both legs of the one joined to both of the other by plain track:
    one train runs away from the first on one track, another toward it on the other."""
    turnouts = [n for n, p in survey.plan.track.pieces.items() if p.kind == "turnout"]
    for name in turnouts if survey.plan.locking.over_time else ():
        (one, there), (two, also) = (_plain_track(Port(name, leg), survey) for leg in LEGS)
        if there is None or there != also or not (one and two):
            continue
        if turnouts.index(there) > turnouts.index(name):
            meet = [_pass(one, two, survey), _pass(two, one, survey)]
            yield Must((name, there), any_of(*meet))


def _pass(away: list[Port], back: list[Port], survey: Survey) -> Expr:
    return all_of(
        any_of(*(runs(port, survey) for port in away)),
        any_of(
            *(runs(Port(step.piece, step.leave), survey)
              for port in back for step in survey.steps_from(port))
        ),
    )  # fmt: skip


def _plain_track(leg: Port, survey: Survey) -> tuple[list[Port], str | None]:
    """The ends by which plain track from a leg is entered, and the turnout whose leg it leads
    to."""
    found: list[Port] = []
    port = survey.across(leg)
    while survey.piece(port.piece).kind == "plain" and port not in found:
        found.append(port)
        (step,) = survey.steps_from(port)
        port = survey.across(Port(step.piece, step.leave))
    meets_a_leg = survey.piece(port.piece).kind == "turnout" and port.end in LEGS
    return found, port.piece if meets_a_leg else None
