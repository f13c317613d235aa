"""Changes of one condition: what a line, a relay, a lock or a timer asks.

In: something broken. Out: proposals that put right what people get wrong: a condition left out, one
of the wrong thing or state, `or` in place of `and`, lines in the wrong order, an aspect that
promises too much.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from verifier.language.syntax import tree
from verifier.mending.changes import Change, Proposal, instead
from verifier.mending.given import Given, conjoined, disjoined
from verifier.plan.devices import devices
from verifier.properties.catalog import BY_NAME, FAILURES
from verifier.properties.obligation import Obligation
from verifier.repair.rule_repair import reports_along

_OPPOSITE = {
    "normal": ("reverse",), "reverse": ("normal",), "clear": ("occupied",),
    "occupied": ("clear",), "derailing": ("non-derailing",), "non-derailing": ("derailing",),
    "at stop": ("proceeds",), "proceeds": ("at stop",), "up": ("down",), "down": ("up",),
    "running": ("done",), "done": ("running",), "idle": ("done",),
    "left": ("right",), "right": ("left",), "rightward": ("leftward",),
    "leftward": ("rightward",),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Asked:
    """A condition of the file: ``owner`` in words, ``permits`` when it lets something happen (a
    line that clears, a lock released), else it prevents that while it holds. ``near``: what is
    asked beside it, and where it is asked itself."""

    owner: str
    condition: tree.Condition
    permits: bool = True
    line: tree.Rule | None = None
    near: frozenset[str] = frozenset()


def conditions(given: Given, obligation: Obligation) -> list[Asked]:
    """The conditions that may be wrong where an obligation is broken, the nearest first."""
    signals = set(obligation.signals)
    over_time = not obligation.of_situations or obligation.property in FAILURES
    found: list[Asked] = []
    for statement in given.statements:
        match statement:
            case tree.Signal(name=name, rules=rules) if not signals or name.text in given.called(
                signals, statement
            ):
                found += _of_rules(name.text, rules)
            case tree.Head(name=name, rules=rules) if _of(
                name.text, given.called(signals, statement)
            ):
                found += _of_rules(name.text, rules)
    used = {
        name.text for asked in found for fact in facts(asked.condition) if fact.state is None
        for name in fact.names
    }  # fmt: skip
    for named in given.of_kind(tree.NamedCondition):
        if named.name.text in used or over_time:
            found.append(Asked(f"condition {named.name.text}", named.condition))
    if over_time or given.plan.locking.memory:
        found += _of_memory(given)
    return found


def _of(head: str, signals: set[str]) -> bool:
    return not signals or any(head.startswith(f"{name}.") for name in signals)


def _of_rules(owner: str, rules: Iterable[tree.Rule]) -> Iterator[Asked]:
    for rule in rules:
        if rule.when is not None:
            yield Asked(f"`{rule.shows.text} when …` of {owner}", rule.when, line=rule)


def _of_memory(given: Given) -> Iterator[Asked]:
    every = [
        (statement, one) for statement in given.statements for one in _remembered(statement)
    ]  # fmt: skip
    for statement, one in every:
        own = {*_declared(statement)}
        there = own | _named(one.condition)
        near = {
            said for other, beside in every if beside.condition is not one.condition
            if other is statement or own & _named(beside.condition)
            for part in _parts(beside.condition) if not there & _named(part)
            for said in _singly(given, part)
        }  # fmt: skip
        yield replace(one, near=frozenset(near))


def _remembered(statement: tree.Statement) -> Iterator[Asked]:
    """The conditions of a relay, a lock, a timer or an edge."""
    title = ", ".join(_declared(statement))
    for clause in getattr(statement, "clauses", ()):
        if clause.condition is not None and not clause.then:
            permits = clause.kind != "locked while" and clause.kind != "sticks while"
            yield Asked(f"`{clause.kind} …` of {title}", clause.condition, permits)
    if isinstance(statement, tree.Timer):
        yield Asked(f"`runs while …` of {title}", statement.runs)
    if isinstance(statement, tree.Edge) and statement.entering is not None:
        yield Asked(f"`entering when …` of {title}", statement.entering)


def _declared(statement: tree.Statement) -> list[str]:
    """The names that a relay, a lock, a timer or an edge has."""
    names = [n.text for n in getattr(statement, "names", ())]
    return names or [getattr(getattr(statement, "name", None), "text", "")]


def _named(condition: tree.Condition) -> set[str]:
    return {name.text for fact in facts(condition) for name in fact.names}


def facts(condition: tree.Condition) -> Iterator[tree.Fact]:
    """Every fact of a condition, left to right."""
    match condition:
        case tree.Fact():
            yield condition
        case tree.Negation(part=part):
            yield from facts(part)
        case tree.AllOf(parts=parts) | tree.AnyOf(parts=parts):
            for part in parts:
                yield from facts(part)


def _written(given: Given, node: tree.Condition) -> str:
    return " ".join(given.text[node.span.start : node.span.end].split())


# ------------------------------------------------------------------ single changes


def wrong_words(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A fact about the wrong thing, or in the wrong state."""
    for asked in conditions(given, obligation):
        for fact in facts(asked.condition):
            if fact.state is None:
                continue
            state = given.text[fact.state.span.start : fact.state.span.end]
            for other in _OPPOSITE.get(state, ()):
                why = f"ask `{other}` instead of `{_written(given, fact)}` in {asked.owner}"
                yield Proposal(why, 3, (instead(fact.state.span, other),))
            for name in fact.names:
                for other in _alike(given, name.text):
                    if other in {n.text for n in fact.names}:
                        continue
                    why = (
                        f"ask {other} instead of {name.text} in `{_written(given, fact)}` of "
                        f"{asked.owner}"
                    )
                    yield Proposal(why, 3.5, (instead(name.span, other),))


def _alike(given: Given, name: str) -> list[str]:
    """Things of the same kind."""
    plan = given.plan
    locking = plan.locking
    groups: tuple[Iterable[str], ...] = (
        plan.blocks, list(devices(plan)), plan.signals, locking.relays, locking.timers,
        plan.conditions,
        [w.name for w in plan.inputs if w.kind == "lever"],
        [w.name for w in plan.inputs if w.kind == "button"],
    )  # fmt: skip
    return [other for group in groups if name in group for other in group if other != name]


def left_out(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A fact that a condition lacks, of those which others ask, and of the track ahead."""
    if obligation.mode == "possible":
        return
    for asked in conditions(given, obligation):
        if asked.line is not None and asked.line.shows.text in _stopping(given):
            continue
        there = {_written(given, fact) for fact in facts(asked.condition)}
        for extra in _pool(given, obligation, asked):
            if extra in there or _says(asked.condition, extra, given):
                continue
            cost = 2.5 + _unusual(given, obligation, asked, extra)
            if asked.permits:
                why = f"ask `{extra}` too in {asked.owner}"
                yield Proposal(why, cost, conjoined(asked.condition, extra))
            else:
                why = f"hold also while `{extra}`, in {asked.owner}"
                yield Proposal(why, cost, disjoined(asked.condition, extra))
                if asked.owner.startswith("`sticks"):
                    why = f"ask `{extra}` too in {asked.owner}"
                    yield Proposal(why, cost + 0.1, conjoined(asked.condition, extra))


def _stopping(given: Given) -> set[str]:
    return {a.name for a in given.plan.chart.aspects if not a.permits} | {"red", "dark"}


def _says(condition: tree.Condition, extra: str, given: Given) -> bool:
    """Whether a list of names says it already: `Switch, Main clear` says `Main clear`."""
    name, _, state = extra.partition(" ")
    return any(
        fact.state is not None
        and name in {n.text for n in fact.names}
        and given.text[fact.state.span.start : fact.state.span.end] == state
        and fact.quantity != "any"
        for fact in facts(condition)
    )


def _pool(given: Given, obligation: Obligation, asked: Asked) -> list[str]:
    """What a condition might ask: what the same owner's other lines ask, what lies on the routes,
    what others ask."""
    near: dict[str, None] = {}
    plan = given.plan
    if asked.line is not None:
        for route in (r for name in obligation.signals for r in plan.routes_of(name)):
            near |= {f"{what.name} {state}": None for what, state in reports_along(route, plan)}
    is_line = asked.line is not None
    others = conditions(given, obligation) + (_every_line(given) if is_line else [])
    for alike in (True, False):
        for other in others:
            if (is_line == (other.line is not None)) == alike:
                for part in _parts(other.condition):
                    near |= dict.fromkeys(_singly(given, part))
        if alike and not is_line:
            sign = "" if asked.permits else "not "
            near |= {f"{sign}{name} at stop": None for name in plan.signals}
    near |= {f"{name} down": None for name in plan.locking.relays}
    near |= {f"{name} up": None for name in plan.locking.relays if not asked.permits}
    near |= {f"not {name} done": None for name in plan.locking.timers if not asked.permits}
    if asked.permits and not is_line:
        near |= {f"{name} up": None for name in plan.locking.relays}
        near |= {f"{name} done": None for name in plan.locking.timers}
    near |= dict.fromkeys(name for name in plan.conditions if name in given.unasked)
    near |= {f"{name} at stop": None for name in plan.signals if asked.permits}
    near |= {f"{name} {'clear' if asked.permits else 'occupied'}": None for name in plan.blocks}
    if asked.permits and not is_line:
        buttons = [w.name for w in plan.inputs if w.kind == "button"]
        near |= {f"not {name} pressed": None for name in buttons}
    return list(near)


def _every_line(given: Given) -> list[Asked]:
    """The lines of all signals."""
    found: list[Asked] = []
    for statement in given.statements:
        if isinstance(statement, tree.Signal | tree.Head):
            found += _of_rules(statement.name.text, statement.rules)
    return found


def _unusual(given: Given, obligation: Obligation, asked: Asked, extra: str) -> float:
    """How much less usual an addition is than another: of a lever to what is no line of a signal;
    to a line, where a lock is at fault. Less than nothing for what is asked beside it, and for
    what the file has and asks nowhere."""
    if any(extra in (n, f"{n} up", f"{n} down", f"{n} done", f"not {n} done", f"{n} pressed")
           for n in given.unasked):  # fmt: skip
        return -0.4
    if extra in asked.near:
        return -0.2
    entry = BY_NAME.get(obligation.property)
    of_locks = entry is not None and entry.group == "locking"
    if asked.line is not None:
        return 0.3 if of_locks and obligation.property != "points-move-under-signal" else 0.0
    commands = (w.name for w in given.plan.inputs if w.kind in ("lever", "button"))
    picks = asked.owner.startswith("`picks")
    return 0.3 if not picks and extra.partition(" ")[0] in set(commands) else 0.0


def _parts(condition: tree.Condition) -> Iterator[tree.Condition]:
    """The parts of a condition that stand alone, in any depth."""
    match condition:
        case tree.AllOf(parts=parts) | tree.AnyOf(parts=parts):
            for part in parts:
                yield from _parts(part)
        case _:
            yield condition


def _singly(given: Given, part: tree.Condition) -> Iterator[str]:
    """`Switch, Main clear` as it stands and as `Switch clear`, `Main clear`."""
    if isinstance(part, tree.Fact) and part.state is not None and len(part.names) > 1:
        state = given.text[part.state.span.start : part.state.span.end]
        for name in part.names:
            yield f"{name.text} {state}"
    else:
        yield _written(given, part)


def joined_wrongly(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """`or` in place of `and`, and the other way round; `any of` in place of `all of`."""
    for asked in conditions(given, obligation):
        for group in _groups(asked.condition):
            word, other = ("and", "or") if isinstance(group, tree.AllOf) else ("or", "and")
            changes = []
            for one, two in pairwise(group.parts):
                between = given.text[one.span.end : two.span.start]
                at = between.find(word)
                if at >= 0:
                    start = one.span.end + at
                    changes.append(Change(start, start + len(word), 0, other))
            if len(changes) == len(group.parts) - 1:
                why = f"join with `{other}` instead of `{word}` in {asked.owner}"
                loose = (
                    word == "or" and asked.line is not None and _is_often_broken(given, obligation)
                )
                yield Proposal(why, 1.2 if loose else 3.2, tuple(changes))


def _is_often_broken(given: Given, obligation: Obligation) -> bool:
    """Whether so much is wrong with a signal that its line asks for next to nothing."""
    own = set(obligation.signals)
    return sum(bool(own & set(v.obligation.signals)) for v in given.broken.values()) >= 4


def _groups(condition: tree.Condition) -> Iterator[tree.AllOf | tree.AnyOf]:
    match condition:
        case tree.AllOf(parts=parts) | tree.AnyOf(parts=parts):
            yield condition
            for part in parts:
                yield from _groups(part)
        case tree.Negation(part=part):
            yield from _groups(part)


# ------------------------------------------------------------------ whole lines


def otherwise(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A last line that lets trains pass whatever is so: now it asks for the points, else Stop."""
    permitting = {a.name for a in given.plan.chart.aspects if a.permits}
    stop = next((a.name for a in given.plan.chart.aspects if not a.permits), "Stop")
    for statement in given.of_kind(tree.Signal):
        if statement.name.text not in obligation.signals or not statement.rules:
            continue
        last = statement.rules[-1]
        if last.when is not None or last.shows.text not in permitting:
            continue
        lying = [
            _written(given, part)
            for rule in statement.rules[:1]
            if rule.when is not None
            for part in _parts(rule.when)
            if isinstance(part, tree.Fact) and part.names[0].text in devices(given.plan)
        ]
        if not lying:
            continue
        asks = " and ".join(lying)
        end = last.span.end
        start = last.shows.span.end
        text = f" when {asks}\n  {stop} otherwise"
        why = f"let {statement.name.text} show {last.shows.text} only when {asks}, else {stop}"
        yield Proposal(why, 2, (Change(start, end, 0, text),))


def less_promised(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """Restricting over track that no detector sees, in place of an aspect that promises more."""
    over_dark = {
        name for v in given.broken.values() if v.obligation.property == "undetected-track"
        for name in v.obligation.signals
    }  # fmt: skip
    if "Restricting" not in {a.name for a in given.plan.chart.aspects}:
        return
    stopping = _stopping(given)
    for statement in given.of_kind(tree.Signal):
        name = statement.name.text
        if name not in obligation.signals or name not in over_dark:
            continue
        for rule in statement.rules:
            shown = rule.shows.text
            if rule.when is None or shown in stopping or shown == "Restricting":
                continue
            why = f"show Restricting instead of {shown} at {name}"
            trades = frozenset((f"never-shown: {name}, {shown}",))
            yield Proposal(why, 6, (instead(rule.shows.span, "Restricting"),), trades)


def order_of_lines(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A line moved before the one above."""
    if obligation.property not in ("never-shown", "route-never-clears", "approach-untruthful"):
        return
    for statement in given.statements:
        if not isinstance(statement, tree.Signal | tree.Head):
            continue
        if statement.name.text.partition(".")[0] not in obligation.signals:
            continue
        for one, two in pairwise(statement.rules):
            if two.when is None:
                continue
            texts = [given.text[rule.span.start : rule.span.end] for rule in (one, two)]
            changes = (instead(one.span, texts[1]), instead(two.span, texts[0]))
            why = f"put the line for {two.shows.text} before that for {one.shows.text}"
            yield Proposal(f"{why}, at {statement.name.text}", 3, changes)


def asked_too_much(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A fact left out that can never be so there; a named condition written out without it."""
    if obligation.mode != "possible":
        return
    named = {c.name.text: c.condition for c in given.of_kind(tree.NamedCondition)}
    for asked in conditions(given, obligation):
        parts = asked.condition.parts if isinstance(asked.condition, tree.AllOf) else ()
        for k, part in enumerate(parts):
            if len(parts) > 1:
                if k:
                    gone = Change(parts[k - 1].span.end, part.span.end, 0, "")
                else:
                    gone = Change(part.span.start, parts[1].span.start, 0, "")
                why = f"leave out `{_written(given, part)}` in {asked.owner}"
                yield Proposal(why, 3, (gone,))
        for part in _parts(asked.condition):
            meant = named.get(part.names[0].text) if isinstance(part, tree.Fact) else None
            if not isinstance(meant, tree.AllOf):
                continue
            for dropped in meant.parts:
                rest = [_written(given, one) for one in meant.parts if one is not dropped]
                why = (
                    f"ask what {_written(given, part)} asks, but for "
                    f"`{_written(given, dropped)}`, in {asked.owner}"
                )
                yield Proposal(why, 3, (instead(part.span, " and ".join(rest)),))
