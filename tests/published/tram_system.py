"""The same tram interlocking as transition systems, for the engines over time.

One step is one cycle of :mod:`tests.published.tram`. States are the relays and where trains
are; points and signals are worked out from the relays of the cycle, as they are there. Commands
are pressed or not in every cycle.
"""

from collections.abc import Callable, Iterator, Mapping
from itertools import combinations, product

from tests.published.tram import (
    AROUND,
    DERAILED,
    ENTRANCES,
    NEXT,
    OFF,
    PATHS,
    RELAY,
    SECTIONS,
    SETTING_ORDER,
    SIGNAL_AT,
    Journeys,
    Tram,
    direction,
)
from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, disjunction, negation
from verifier.logic.transition_system import System
from verifier.plan import observables
from verifier.plan.observables import Observable

RELAYS = {i: observables.relay(str(i)) for i in range(1, 6)}
COMMAND = {i: observables.button(str(i)) for i in range(1, 5)}
NAMES = {OFF: "off", DERAILED: "derailed", **{s: str(s) for s in SECTIONS}}
FREE = {s: Observable("train", f"Section {s}", ("vacant", "VQ", "QV"), "vacant") for s in SECTIONS}


def up(relay: int) -> Expr:
    return atom(RELAYS[relay], "up")


# Relay exclusion: those that are never up together [V].
EXCLUDED = [(a, b) for a, b in combinations(range(1, 6), 2) if (a, b) not in ((1, 3), (1, 5))]


def exclusion() -> list[Expr]:
    return [disjunction(negation(up(a)), negation(up(b))) for a, b in EXCLUDED]


class Cycle:
    """What a cycle makes of relays and detectors. ``there``: each section occupied."""

    def __init__(self, tram: Tram, there: Mapping[int, Expr]):
        self.tram = tram
        self.there = there
        self.relays = self._scan()
        self.lies = straight(self.relays)
        self.green = self._green()

    def _scan(self) -> dict[int, Expr]:
        now = {i: up(i) for i in RELAYS}
        for route in SETTING_ORDER:
            tests = [self._test(test, now) for test in self.tram.tests(route)]
            now[RELAY[route]] = disjunction(now[RELAY[route]], conjunction(*tests))
        for route, path in PATHS.items():
            now[RELAY[route]] = conjunction(now[RELAY[route]], negation(self.there[path[-1]]))
        return now

    def _test(self, test: str, relays: Mapping[int, Expr]) -> Expr:
        number = int(test[1:])
        match test[0]:
            case "+":
                return atom(COMMAND[number], "pressed")
            case "-":
                return atom(COMMAND[number], "released")
            case "r":
                return negation(relays[number])
            case _:
                return negation(self.there[number])

    def _green(self) -> dict[int, Expr]:
        """Of each signal: when it is green."""
        lies, r = self.lies, self.relays
        turned = {points: negation(expr) for points, expr in lies.items()}
        shown = {
            "V1Q1": conjunction(r[1], lies[1], lies[3]),
            "V1Q2": conjunction(r[2], lies[1], turned[3], turned[2], lies[5]),
            "Q2V2": conjunction(r[3], lies[5], lies[2], lies[4]),
            "V1Q3": conjunction(r[4], lies[1], turned[3], turned[2], turned[5]),
            "Q3V2": conjunction(r[5], turned[5], lies[2], lies[4]),
        }
        seen: Callable[[tuple[int, ...]], tuple[int, ...]] = {
            "points": lambda path: (), "first": lambda path: path[1:2], "all": lambda path: path[1:]
        }[self.tram.signal_sees]  # fmt: skip
        clear = {
            route: conjunction(expr, *(negation(self.there[s]) for s in seen(PATHS[route])))
            for route, expr in shown.items()
        }
        return {
            1: clear["Q2V2"], 2: clear["Q3V2"],
            3: disjunction(clear["V1Q1"], clear["V1Q2"], clear["V1Q3"]),
        }  # fmt: skip

    def goes(self, way: str, at: int) -> Iterator[tuple[int, Expr]]:
        """Where a train that moves may come to, and when."""
        signal = SIGNAL_AT.get((way, at))
        may = TRUE if signal is None else self.green[signal]
        if signal is not None and self.tram.inverted:
            may = negation(may)
        ahead, points, turned = NEXT[way, at]
        if points is None:
            yield ahead, may
        else:
            yield ahead, conjunction(may, self.lies[points])
            yield turned, conjunction(may, negation(self.lies[points]))

    def next_relays(self) -> dict[Observable, dict[str, Expr]]:
        return {RELAYS[i]: {"up": expr, "down": negation(expr)} for i, expr in self.relays.items()}


def straight(relays: Mapping[int, Expr]) -> dict[int, Expr]:
    """Of each set of points: when it lies straight."""
    return {
        1: TRUE, 2: disjunction(relays[3], relays[5]), 3: relays[1], 4: TRUE,
        5: disjunction(relays[2], relays[3]),
    }  # fmt: skip


# ------------------------------------------------------------------ two trains with a journey


class JourneysSystem:
    """`Journeys` as a system: where each train's front, and each section behind it, is."""

    def __init__(self, journeys: Journeys):
        self.journeys = journeys
        self.ways = [direction(route) for route in journeys.routes]
        self.trains = [
            [self._place(f"Train {i + 1}, section {k + 1}") for k in range(journeys.length)]
            for i in range(len(self.ways))
        ]
        self.moves = [
            observables.choice("advance", f"Train {i + 1}") for i in range(len(self.ways))
        ]
        self.there = {s: disjunction(*self.standing(s)) for s in SECTIONS}
        self.cycle = Cycle(journeys.tram, self.there)
        self.system = self._system()

    @staticmethod
    def _place(name: str) -> Observable:
        return Observable("train", name, tuple(NAMES.values()), "off")

    def standing(self, section: int) -> Iterator[Expr]:
        """Each part of a train being on a section."""
        return (atom(part, str(section)) for train in self.trains for part in train)

    def _system(self) -> System:
        following = self.cycle.next_relays()
        initial = dict.fromkeys(following, ("down",))
        for i, train in enumerate(self.trains):
            following |= self._next(i)
            initial |= dict.fromkeys(train[1:], ("off",))
            initial[train[0]] = (str(PATHS[self.journeys.routes[i]][0]),)
        inputs = (*COMMAND.values(), *self.moves)
        return System(tuple(following), inputs, initial, following)

    def _next(self, i: int) -> dict[Observable, dict[str, Expr]]:
        front, *behind = self.trains[i]
        moves = atom(self.moves[i], "yes")
        comes: dict[int, list[Expr]] = {to: [] for to in NAMES}
        for at in SECTIONS:
            for to, when in self.cycle.goes(self.ways[i], at) if self._goes(i, at) else ():
                comes[to].append(conjunction(moves, atom(front, NAMES[at]), when))
        gone = conjunction(moves, atom(front, "off"))
        moved = disjunction(gone, *(expr for exprs in comes.values() for expr in exprs))
        values = {
            NAMES[to]: disjunction(
                *exprs, conjunction(atom(front, NAMES[to]), negation(disjunction(*exprs, moved)))
            )
            for to, exprs in comes.items()
        }
        values["off"] = disjunction(values["off"], gone)
        following = {front: values}
        for before, part in zip(self.trains[i], behind, strict=False):
            following[part] = {
                name: disjunction(
                    conjunction(moved, atom(before, name)),
                    conjunction(negation(moved), atom(part, name)),
                )
                for name in NAMES.values()
            }
        return following

    def _goes(self, i: int, at: int) -> bool:
        return (self.ways[i], at) in NEXT

    def wrong(self) -> Expr:
        """A train derails, or two parts of trains are on one section."""
        parts = [part for train in self.trains for part in train]
        off_rails = (atom(part, "derailed") for part in parts)
        meet = (
            conjunction(atom(a, str(s)), atom(b, str(s)))
            for a, b in combinations(parts, 2)
            for s in SECTIONS
        )
        return disjunction(*off_rails, *meet)

    def moves_under(self, points: int) -> Expr:
        """The points move in this cycle under a train."""
        now, then = straight({i: up(i) for i in RELAYS})[points], self.cycle.lies[points]
        turn = disjunction(conjunction(now, negation(then)), conjunction(negation(now), then))
        spanned = (
            conjunction(
                disjunction(*(atom(p, str(a)) for p in train)),
                disjunction(*(atom(p, str(b)) for p in train)),
            )
            for train in self.trains
            for a, b in AROUND[points]
        )
        return conjunction(turn, disjunction(*spanned))

    # -------------------------------------------------------------- strengthening

    def i2(self) -> Iterator[Expr]:
        """A train inside a route is there by a set route of its direction."""
        for way, (place, *_) in zip(self.ways, self.trains, strict=True):
            paths = {RELAY[r]: path for r, path in PATHS.items() if direction(r) == way}
            ends = {s for path in paths.values() for s in (path[0], path[-1])}
            for s in SECTIONS:
                set_routes = (up(r) for r, path in paths.items() if s in path[1:-1])
                if s not in ends:
                    yield disjunction(negation(atom(place, str(s))), *set_routes)

    def i3(self) -> Iterator[Expr]:
        """A set route's sections after the first hold at most one train, of its direction."""
        for route, path in PATHS.items():
            down = negation(up(RELAY[route]))
            for way, (place, *_) in zip(self.ways, self.trains, strict=True):
                if way != direction(route):
                    yield from (disjunction(down, negation(atom(place, str(s)))) for s in path[1:])
            for (a, *_), (b, *_) in combinations(self.trains, 2):
                for s, t in product(path[1:], repeat=2):
                    yield disjunction(down, negation(atom(a, str(s))), negation(atom(b, str(t))))

    def published(self) -> Iterator[Expr]:
        """The train invariants of the script [V]: at the first section of its route, or inside
        it and its relay up, or at the last, or gone."""
        for route, (place, *_) in zip(self.journeys.routes, self.trains, strict=True):
            path = PATHS[route]
            within = conjunction(up(RELAY[route]), atom(place, *(str(s) for s in path)))
            yield disjunction(atom(place, str(path[0]), str(path[-1]), "off"), within)


# ------------------------------------------------------------------ trains that keep coming


class ArrivalsSystem:
    """`Arrivals` as a system, with no bound on the trains: what stands on each section."""

    def __init__(self, tram: Tram):
        self.event = Observable(
            "expiry", "event",
            ("nothing", *(f"move {s}" for s in SECTIONS), *(f"arrive {s}" for s in ENTRANCES)),
            "nothing",
        )  # fmt: skip
        there = {s: negation(atom(FREE[s], "vacant")) for s in SECTIONS}
        self.cycle = Cycle(tram, there)
        # Moves: direction, from, to, when.
        self.moves = [
            (way, at, to, conjunction(atom(self.event, f"move {at}"), atom(FREE[at], way), when))
            for way, at in NEXT
            for to, when in self.cycle.goes(way, at)
        ]
        following = self.cycle.next_relays()
        for s in SECTIONS:
            following[FREE[s]] = self._next(s)
        initial = {what: (what.usual,) for what in following}
        inputs = (*COMMAND.values(), self.event)
        self.system = System(tuple(following), inputs, initial, following)

    def _arrives(self, s: int) -> Expr:
        kept_out = {1: up_next(self.cycle, 2), 2: up_next(self.cycle, 4)}.get(s, FALSE)
        return conjunction(
            atom(self.event, f"arrive {s}"), atom(FREE[s], "vacant"), negation(kept_out)
        ) if s in ENTRANCES else FALSE  # fmt: skip

    def _next(self, s: int) -> dict[str, Expr]:
        values = {}
        gone = disjunction(*(when for _, at, _, when in self.moves if at == s))
        for way in ("VQ", "QV"):
            comes = [when for w, _, to, when in self.moves if w == way and to == s]
            arrives = self._arrives(s) if ENTRANCES.get(s) == way else FALSE
            stays = conjunction(atom(FREE[s], way), negation(gone))
            values[way] = disjunction(
                arrives, stays, conjunction(atom(FREE[s], "vacant"), disjunction(*comes))
            )
        return {**values, "vacant": conjunction(*(negation(v) for v in values.values()))}

    def differs(self, other: Tram) -> Expr:
        """Other rules would make something else of the relays in this cycle."""
        theirs = Cycle(other, self.cycle.there).relays
        pairs = [(self.cycle.relays[i], theirs[i]) for i in RELAYS]
        return disjunction(
            *(
                disjunction(conjunction(a, negation(b)), conjunction(negation(a), b))
                for a, b in pairs
                if a is not b
            )
        )

    def wrong(self) -> Expr:
        """A train that moves leaves the rails or runs into another."""
        return disjunction(
            *(
                when if to == DERAILED else conjunction(when, self.cycle.there[to])
                for _, _, to, when in self.moves
                if to != OFF
            )
        )


def up_next(cycle: Cycle, relay: int) -> Expr:
    return cycle.relays[relay]
