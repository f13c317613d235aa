"""Rules for generated junctions: right ones by the routes, then spoiled.

In: a random source and the plan without rules. Out: statements as text.
"""

from collections.abc import Mapping, Sequence
from random import Random

from verifier.plan.model import Plan, Route
from verifier.properties.phrases import derails_run_over

OWN_ASPECTS = (
    "aspect Advance-Approach flashing yellow or flashing yellow over red or flashing yellow over "
    "red over red proceed prepared to stop at second signal",
    "aspect Medium-Clear red over flashing green or red over flashing green over red "
    "proceed at medium speed",
    "aspect Slow-Approach yellow over yellow or red over red over yellow "
    "proceed at slow speed prepared to stop",
    "aspect Grade red over white or flashing red stop and proceed",
    "aspect Clear green or green over green or flashing green over red over red proceed",
    "aspect Limited yellow over green or yellow over green over red "
    "proceed prepared to pass next signal at limited speed",
    "aspect Call-On yellow proceed at restricted speed",
    # Colors that other aspects have too: read as the less restrictive one.
    "aspect Slow-Clear green or yellow over red or red over flashing green proceed at slow speed",
)
_PANEL = ("lever", "button", "relay", "timer", "traffic")
COLORS = ("green", "yellow", "red", "lunar", "dark", "flashing green", "flashing yellow")


class Writer:
    """Writes rules for one plan."""

    def __init__(self, r: Random, plan: Plan):
        self.r = r
        self.plan = plan
        self.names: list[str] = []  # named conditions written so far
        self.heads: Mapping[str, Sequence[str]] = {}
        # How wild this junction is: the chance of a mistake in a line, and of a signal
        # that asks for just any other.
        self.wrong = r.choice([0.0, 0.1, 0.3])
        self.any_signal = r.choice([0.0, 0.0, 0.3, 1.0])

    def everything(self, posts: Mapping[str, str], heads: Mapping[str, Sequence[str]]) -> list[str]:
        r, text = self.r, []
        self.heads = heads
        if r.random() < 0.25 and self._hears_of_something():
            for i in range(r.randint(1, 3)):
                text.append(f"condition C{i} is {self.condition(2)}")
                self.names.append(f"C{i}")
        for name, place in posts.items():
            text += self._signal(name, place)
        if r.random() < 0.25:
            for i in range(r.randint(1, 2)):
                mode = r.choice(["always", "never", "never"])
                text.append(f'assume "given {i}" {mode} {self.condition(2, truth=True)}')
        for i in range(r.choice([0, 0, 1, 2])):
            mode = r.choice(["never", "always", "possible"])
            text.append(f'prove "own {i}" {mode} {self.condition(3, truth=True)}')
        if r.random() < 0.2 and len(posts) > 1:
            some = r.sample(list(posts), r.randint(1, len(posts)))
            text.append(f"interlocking limits Plant is {', '.join(some)}")
        return text

    def _hears_of_something(self) -> bool:
        plan = self.plan
        heard = any(block.detected for block in plan.blocks.values())
        return heard or bool(plan.signals) or any(w.kind != "stock" for w in plan.inputs)

    # -------------------------------------------------------------- signals

    def _signal(self, name: str, place: str) -> list[str]:
        heads = self.heads[name]
        first = f"signal {name} at {place}"
        if len(heads) > 1:
            first += f" heads {', '.join(h.split('.')[-1] for h in heads)}"
        if self.r.random() < 0.3:
            text = [first]
            for i, head in enumerate(heads):
                text += [f"head {head}", *self._head_lines(name, i)]
            return text
        return [first, *self._aspect_lines(name)]

    def _aspect_lines(self, signal: str) -> list[str]:
        routes = list(self.plan.routes_of(signal))
        if self.r.random() < self.wrong:
            self.r.shuffle(routes)
        lines: list[tuple[str, list[str]]] = []
        for route in routes[:4]:
            clear, approach = self._aspects_for(route)
            way = self._way(route)
            if route.exit_kind == "signal" and route.exit != signal:
                ahead = self.r.choice([f"{route.exit} proceeds", f"not {route.exit} at stop"])
                lines += [(clear, [*way, ahead]), (approach, way)]
            else:
                lines.append((self.r.choice([clear, approach]), way))
        if self.r.random() < self.wrong:
            lines.insert(0, (self._aspect(signal), [self.condition(2)]))
        spoiled = [(self._fit(shows, signal), self._spoil(way)) for shows, way in lines]
        return [*(f"  {shows} when {when}" for shows, when in spoiled), "  Stop otherwise"]

    def _aspects_for(self, route: Route) -> tuple[str, str]:
        if self.r.random() < self.wrong / 2:
            return self._aspect(route.signal), self._aspect(route.signal)
        if route.diverging:
            return "Diverging-Clear", "Diverging-Approach"
        return "Clear", "Approach"

    def _aspect(self, signal: str) -> str:
        fitting = [a.name for a in self.plan.chart.aspects if self._fits(a.name, signal)]
        return self.r.choice(fitting)

    def _fits(self, aspect: str, signal: str) -> bool:
        """The chart has colors for it on a signal with as many heads."""
        found = self.plan.chart.get(aspect)
        return found is not None and found.for_heads(len(self.heads[signal])) is not None

    def _fit(self, aspect: str, signal: str) -> str:
        return aspect if self._fits(aspect, signal) else self._aspect(signal)

    def _head_lines(self, signal: str, position: int) -> list[str]:
        """Head by head: the upper one for straight routes, the lower one for the others."""
        lines = []
        for route in self.plan.routes_of(signal)[:3]:
            if len(self.heads[signal]) > 1 and route.diverging != (position > 0):
                continue
            way = self._spoil(self._way(route))
            if route.exit_kind == "signal" and route.exit != signal:
                lines.append(f"  green when ({way}) and not {route.exit} at stop")
                lines.append(f"  yellow when {way}")
            else:
                lines.append(f"  {self.r.choice(['green', 'yellow', 'lunar'])} when {way}")
        if self.r.random() < self.wrong:
            lines.append(f"  {self.r.choice(COLORS)} when {self.condition(2)}")
        return [*lines, f"  {self.r.choice(['red', 'red', 'red', 'dark'])} otherwise"]

    # -------------------------------------------------------------- conditions

    def _way(self, route: Route) -> list[str]:
        """What a right rule asks before it lets a train go over a route."""
        r, plan = self.r, self.plan
        ends = {end: c.name for c in plan.crossovers.values() for end in c.ends}
        facts = []
        for need in route.needs:
            # Both ends of a crossover have to lie alike: that is easily forgotten.
            whole = need.points in ends and r.random() >= self.wrong
            facts.append(f"{ends[need.points] if whole else need.points} {need.position}")
        facts = list(dict.fromkeys(facts))
        blocks = [b for b in route.blocks if plan.blocks[b].detected]
        if blocks:
            facts.append(f"{', '.join(blocks)} clear")
        facts += [f"{d} non-derailing" for d in derails_run_over(route, plan)]
        facts += [
            f"{d.name} derailing"
            for d in plan.derails.values()
            if d.guards in route.pieces and d.name not in derails_run_over(route, plan)
        ]
        facts += [f"{g.name} seated" for g in plan.gates.values() if g.block in route.blocks]
        against = {
            (c.second if c.first == route else c.first).signal
            for c in plan.conflicts
            if route in (c.first, c.second)
        } - {route.signal}
        lever = any(what.name == "L1" for what in plan.inputs)
        if lever and against:
            facts.append(f"L1 {['left', 'normal', 'right'][sum(map(ord, route.signal)) % 3]}")
        before = [s for s in plan.signals if s in against]
        for other in before:
            # Signals written later ask about earlier ones: that is no circle. With a lever
            # both may ask.
            later = list(plan.signals).index(other) < list(plan.signals).index(route.signal)
            if (later and not lever and r.random() < 0.7) or (lever and r.random() < 0.2):
                facts.append(f"{other} at stop")
        r.shuffle(facts)
        if self.names and r.random() < 0.3:
            facts.append(r.choice(self.names))
        return facts or [self.fact(truth=False)]

    def _spoil(self, facts: list[str]) -> str:
        """The facts as one condition, now and then with a mistake people make."""
        r, facts = self.r, list(facts)
        if r.random() >= self.wrong:
            return " and ".join(facts)
        at = r.randrange(len(facts))
        match r.randrange(8):
            case 0 if len(facts) > 1:
                del facts[at]
            case 1 if not facts[at].startswith("L1"):
                facts[at] = " ".join(
                    {"normal": "reverse", "reverse": "normal"}.get(w, w) for w in facts[at].split()
                )
            case 2:
                words = facts[at].split()
                if words[0] != "L1" and words[1:] in (["normal"], ["reverse"]):
                    other = {"normal": "reverse", "reverse": "normal"}[words[1]]
                    facts[at] = f"not {words[0]} {other}"
            case 3 if len(facts) > 1:
                left, right = " and ".join(facts[:at]), " and ".join(facts[at:])
                return f"({left}) or {right}" if left else right
            case 4:
                facts[at] = self.fact(truth=False)
            case 5:
                facts.append(f"({self.condition(2)})")
            case 6:
                facts[at] = f"({facts[at]} or {self.fact(truth=False)})"
            case _:
                if facts[at].endswith(" clear"):
                    names = facts[at].removesuffix(" clear").split(", ")
                    names.remove(r.choice(names))
                    facts[at] = f"{', '.join(names)} clear" if names else self.fact(truth=False)
        return " and ".join(facts)

    def condition(self, depth: int, *, truth: bool = False) -> str:
        """Any condition; ``truth``: it may speak of what is true."""
        r = self.r
        if depth == 0 or r.random() < 0.3:
            return self.fact(truth=truth)
        parts = [self.condition(depth - 1, truth=truth) for _ in range(r.randint(1, 3))]
        if len(parts) == 1:
            return f"not ({parts[0]})"
        return "(" + f" {r.choice(['and', 'or'])} ".join(parts) + ")"

    def fact(self, *, truth: bool) -> str:
        r, plan = self.r, self.plan
        kinds = ["block"] * 3 + ["points"] * 3 + ["device", "panel", "named"]
        if truth or r.random() < self.any_signal:
            kinds += ["signal"] * (4 if truth else 8)
        kinds += ["truth"] * (3 if truth else 0)
        while True:
            words = self._fact_of(r.choice(kinds))
            if words:
                return words
            if not any(b.detected for b in plan.blocks.values()) and not truth:
                kinds += ["panel", "points", "device", "otherwise"]

    def _fact_of(self, kind: str) -> str:
        r, plan = self.r, self.plan
        blocks = [b.name for b in plan.blocks.values() if b.detected]
        points = [w.name for w in plan.inputs if w.kind == "points"]
        match kind:
            case "block" if blocks:
                some = ", ".join(r.sample(blocks, min(len(blocks), r.choice([1, 1, 2]))))
                return r.choice([f"{some} clear", f"any of {some} occupied",
                                 f"all of {some} occupied", f"any of {some} clear"])  # fmt: skip
            case "points" if points:
                return f"{r.choice(points)} {r.choice(['normal', 'reverse', 'moving'])}"
            case "device" if plan.derails or plan.gates:
                name = r.choice([*plan.derails, *plan.gates])
                if name in plan.gates:
                    return f"{name} {r.choice(['seated', 'open'])}"
                return f"{name} {r.choice(['derailing', 'non-derailing', 'moving'])}"
            case "panel":
                panel = [w for w in plan.inputs if w.kind in _PANEL]
                if panel:
                    what = r.choice(panel)
                    states = [v for v in what.values if v not in ("idle", "released")]
                    state = r.choice(states) if states[1:] else states[0]
                    return f"{what.name} {state}"
            case "named" if self.names:
                return r.choice(self.names)
            case "signal" if plan.signals:
                return self._signal_fact(r.choice(list(plan.signals)))
            case "truth":
                return self._truth(points)
            case "otherwise":
                return self._truth([]) if not plan.signals else "S1 at stop"
        return ""

    def _signal_fact(self, name: str) -> str:
        r, plan = self.r, self.plan
        match r.randrange(4):
            case 0:
                return f"{name} at stop"
            case 1:
                return f"{name} proceeds"
            case 2:
                return f"{name} shows {r.choice([a.name for a in plan.chart.aspects])}"
            case _:
                return f"{r.choice(self.heads[name])} {r.choice(COLORS)}"

    def _truth(self, points: Sequence[str]) -> str:
        r = self.r
        if points and r.random() < 0.5:
            return f"{r.choice(points)} lies {r.choice(['normal', 'reverse', 'open'])}"
        block = r.choice(list(self.plan.blocks))
        return r.choice([f"train on {block}", f"{block} vacant"])
