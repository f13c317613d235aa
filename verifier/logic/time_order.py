"""The order of delays and windows, as states of an untimed system.

In: a timed system, and for some of its windows the delays to compare them with. Out: the same
system in which a delay does not end while a window goes on that began before it, or not so long
after, and lasts no longer. Numbers occur only in comparisons, so the size does not depend on them.

Why what is unreachable in it is so in the timed system: every trace that has times is one of its
traces. Let x be the time at which a window last began, y that at which a delay began to wait, T the
time at the end of a step. ``since`` keeps a bound of x - y:

- when the delay begins, x - y = x - T, no more than 0, nor than minus the *credit* of the window:
  an amount of time that has surely passed since x, because delays that began after x have ended;
- when the window begins while the delay waits, x - y = T - y, no more than what another window
  leaves that goes on and whose bound is known: its seconds more than its bound; else there is none
  (``any``).

When the delay of ``d`` seconds ends, T - y >= d, hence T - x >= d minus the bound. Where that is
more than the window lasts, it does not go on in any trace that has times. So forbidding the delay
to end while it does removes none of them.

The comparison is exact for one window and delays one after the other; else it allows more than can
be.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import accumulate

from verifier.logic.expr import (
    FALSE,
    TRUE,
    Atom,
    Expr,
    atom,
    conjunction,
    disjunction,
    negation,
    substitute,
    support,
)
from verifier.logic.transition_system import Delay, System, Window
from verifier.plan import observables
from verifier.plan.observables import Observable

# A window has at most so many amounts of credit, and so many by which it may be later.
MOST_LEVELS = 8
_ZERO = Fraction(0)
_ENDING: tuple[observables.Choice, ...] = ("expiry", "ripens")


@dataclass(frozen=True, slots=True)
class Comparison:
    """``delays`` (by clock) that a window is compared with; the amounts of ``credit``, and those by
    which the window may begin ``later`` than a delay, in seconds, ascending."""

    delays: tuple[Observable, ...]
    credit: tuple[Fraction, ...] = ()
    later: tuple[Fraction, ...] = ()


@dataclass(frozen=True, slots=True)
class Order:
    """The comparisons made, by window."""

    compared: Mapping[Observable, Comparison] = field(default_factory=dict)

    def also(
        self, windows: Sequence[Window], chain: Sequence[tuple[Observable, Fraction]]
    ) -> "Order":
        """This, and the comparison of windows one after the other with delays one after the other:
        the same where they are compared already, or would need too many amounts. Of several windows
        and several delays only the first of each are compared."""
        order, later = self, _ZERO
        for window in windows:
            order = order._one(window, chain if len(windows) == 1 else chain[:1], later)
            later += window.seconds
        return order

    def _one(
        self, window: Window, chain: Sequence[tuple[Observable, Fraction]], later: Fraction
    ) -> "Order":
        known = self.compared.get(window.what, Comparison(()))
        delays = dict.fromkeys((*known.delays, *(clock for clock, _ in chain)))
        credit = {*known.credit, *accumulate(seconds for _, seconds in chain)}
        now = Comparison(
            tuple(delays),
            tuple(sorted(amount for amount in credit if not window.excludes(amount))),
            tuple(sorted({*known.later, *([later] if later else [])})),
        )
        if now == known or max(len(now.credit), len(now.later)) > MOST_LEVELS:
            return self
        return Order({**self.compared, window.what: now})


class Ordered:
    """A timed system with some comparisons. The traces of ``system`` are those of ``timed`` in
    which no delay ends within a window that lasts no longer by these comparisons."""

    def __init__(self, timed: System, order: Order):
        self._compared = [*_comparisons(timed, order)]
        self._may_end: dict[Observable, Expr] = {}
        self._known: dict[Expr, Expr] = {}
        for one in self._compared:
            for clock, within in one.within():
                # It may neither end nor come to where it could end.
                for kind in _ENDING:
                    ends = observables.choice(kind, clock.name)
                    may = self._may_end.get(ends, atom(ends, "yes"))
                    self._may_end[ends] = conjunction(may, negation(within))
        self.system = self._made(timed) if self._compared else timed

    def within(self, expr: Expr) -> Expr:
        """An expression over states and choices of the timed system as one over this system."""
        if self._may_end.keys().isdisjoint(support(expr)):
            return expr
        return substitute(expr, self._meaning, self._known)

    def _meaning(self, part: Atom) -> Expr:
        may = self._may_end.get(part.what)
        if may is None:
            return part
        return may if part.values == ("yes",) else negation(may)

    def _made(self, timed: System) -> System:
        assert timed.timing is not None
        following: dict[Observable, Mapping[str, Expr]] = {
            what: {value: self.within(expr) for value, expr in values.items()}
            for what, values in timed.following.items()
        }
        made = (one.following(self.within, self._compared) for one in self._compared)
        added = dict(new for each in made for new in each)
        initial = {**timed.initial, **{what: (what.usual,) for what in added}}
        delays = tuple(_changed(delay, self.within) for delay in timed.timing.delays)
        hurries = self.within(timed.timing.hurries)
        return replace(
            timed,
            states=(*timed.states, *added),
            initial=initial,
            following=following | added,
            timing=replace(timed.timing, delays=delays, hurries=hurries),
        )


def _changed(delay: Delay, within: Callable[[Expr], Expr]) -> Delay:
    ends = tuple((within(when), seconds) for when, seconds in delay.ends)
    return replace(delay, ends=ends)


def _comparisons(timed: System, order: Order) -> Iterator["_Compared"]:
    if timed.timing is not None:
        delays = {delay.clock: delay for delay in timed.timing.delays}
        for window in (*timed.timing.windows, *timed.timing.waits):
            compared = order.compared.get(window.what)
            if compared is not None:
                yield _Compared(window, compared, [delays[c] for c in compared.delays])


class _Compared:
    """One window and the delays it is compared with.

    The values of ``since`` stand for bounds: those above 0 first, then 0, then minus the credit."""

    def __init__(self, window: Window, compared: Comparison, delays: list[Delay]):
        self.window = window
        self._credits = (_ZERO, *compared.credit)
        self._later = compared.later
        self._delays = delays
        self._credit = observables.credit(window.what, len(compared.credit))

    def _since(self, delay: Delay) -> Observable:
        levels = len(self._credits) - 1, len(self._later)
        return observables.since(delay.clock.name, self.window.what, *levels)

    def bounds(self, delay: Delay) -> Iterator[tuple[Expr, Fraction]]:
        """Bounds of how much later than a delay the window began, and when each is known."""
        since = self._since(delay)
        for value, later in zip(since.values[1:], self._bounds(), strict=True):
            yield atom(since, value), later

    def _bounds(self) -> tuple[Fraction, ...]:
        return *reversed(self._later), *(-amount for amount in self._credits)

    def _ended(self, delay: Delay) -> Iterator[tuple[Expr, Expr, Fraction]]:
        """When a delay ends, what is known, and what has surely passed since the window began."""
        for when, seconds in delay.ends:
            for known, later in self.bounds(delay):
                yield when, known, seconds - later

    def within(self) -> Iterator[tuple[Observable, Expr]]:
        """For each clock, when its delay would end within the window if it ended now."""
        for delay in self._delays:
            for when, known, passed in self._ended(delay):
                if self.window.excludes(passed):
                    # Of a relay that is slow both ways, only the way that lasts so long.
                    this = when if len(delay.ends) > 1 else TRUE
                    yield delay.clock, conjunction(self.window.goes_on, known, this)

    def following(
        self, within: Callable[[Expr], Expr], others: Sequence["_Compared"]
    ) -> Iterator[tuple[Observable, Mapping[str, Expr]]]:
        """The next values of the credit, and of ``since`` for each delay."""
        credit = self._next_credit(within)
        if len(self._credits) > 1:
            yield self._credit, credit
        begins, last = self.window.begins, len(self._later)
        for delay in self._delays:
            since = self._since(delay)
            waits = negation(delay.at_rest)
            limited = self._limited(delay, others)
            values = {}
            for i, value in enumerate(since.values[1:]):
                kept = conjunction(waits, negation(begins), atom(since, value))
                new = (
                    conjunction(waits, begins, limited[i])
                    if i < last
                    else conjunction(delay.at_rest, credit[str(i - last)])
                )
                values[value] = disjunction(kept, new)
            yield since, {"any": negation(disjunction(*values.values())), **values}

    def _limited(self, delay: Delay, others: Sequence["_Compared"]) -> list[Expr]:
        """That no more than some amount passed since a delay began, but not less, by what other
        windows leave."""
        found: list[Expr] = []
        less: Expr = FALSE
        for amount in self._later:
            leaves = [
                conjunction(other.window.goes_on, known)
                for other in others
                if other is not self and delay in other._delays
                for known, later in other.bounds(delay)
                if later + other.window.seconds <= amount
            ]
            so_much = disjunction(*leaves)
            found.append(conjunction(so_much, negation(less)))
            less = disjunction(less, so_much)
        return found[::-1]

    def _next_credit(self, within: Callable[[Expr], Expr]) -> dict[str, Expr]:
        """Nothing when the window begins or is over, else the largest amount there is or was."""
        amounts = self._credits
        gained: dict[int, list[Expr]] = {i: [] for i in range(len(amounts))}
        for delay in self._delays if len(amounts) > 1 else ():
            for when, known, passed in self._ended(delay):
                gain = max((i for i, amount in enumerate(amounts) if amount <= passed), default=0)
                gained[gain].append(conjunction(within(when), known))
        values: dict[str, Expr] = {}
        more: list[Expr] = []
        for i in reversed(range(1, len(amounts))):
            reached = disjunction(*gained[i], atom(self._credit, str(i)))
            begun_or_more = disjunction(self.window.begins, *more)
            values[str(i)] = conjunction(reached, self.window.is_on, negation(begun_or_more))
            more.append(reached)
        values["0"] = negation(disjunction(*values.values()))
        return values


def patient(system: System) -> System:
    """The system in which every window ends as soon as it can, and no delay ends while a window is
    on that lasts no longer. All its traces have times, whatever the delays and windows have lasted
    already: let a step last as long as its windows may, and where none is on, the longest delay."""
    if system.timing is None:
        return system
    fixed: dict[Observable, Expr] = {
        observables.stays(window.what): FALSE for window in system.timing.windows
    }
    for delay in system.timing.delays:
        within = (w.goes_on for w in system.timing.windows if w.seconds <= delay.longest)
        chosen = observables.choice("expiry", delay.clock.name)
        fixed[chosen] = conjunction(atom(chosen, "yes"), negation(disjunction(*within)))

    def meaning(part: Atom) -> Expr:
        given = fixed.get(part.what)
        if given is None:
            return part
        return given if part.values == ("yes",) else negation(given)

    known: dict[Expr, Expr] = {}
    following = {
        what: {value: substitute(expr, meaning, known) for value, expr in values.items()}
        for what, values in system.following.items()
    }
    return replace(system, following=following, timing=None)
