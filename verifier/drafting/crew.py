"""What people must promise who throw switches by hand, where nothing locks these: the fewest
promises, each of them about what it can be broken for."""

from collections.abc import Iterator, Sequence

from verifier.drafting.words import dashed, free_name
from verifier.language.statements.locking import CrewRule
from verifier.language.syntax import tree
from verifier.plan.devices import Device, devices
from verifier.plan.locking.crew_rules import led_to, may_be_thrown, may_lie_ahead
from verifier.plan.model import Plan

_RULES: tuple[CrewRule, ...] = ("under a train", "under clear signals", "ahead of a train")


def promises(plan: Plan, statements: Sequence[tree.Statement], *, derails: bool) -> Iterator[str]:
    """The promises that keep trains safe on a plan with its signals, beside those that the file
    has. ``derails``: people throw these by hand, too."""
    thrown = [
        device
        for device in devices(plan).values()
        if device.pipe is None and may_be_thrown(device.name, plan.locking)
    ]
    points = [device for device in thrown if device.has_points]
    for rule in _RULES:
        said = [crew for crew in tree.of_kind(statements, tree.Crew) if crew.rule == rule]
        everything = _about(points, rule, plan)
        left = [] if any(not crew.about for crew in said) else _unsaid(everything, said, plan)
        if left and left == everything:
            yield f"crew promises not to throw points {rule}"
        elif left:
            yield f"crew promises not to throw {', '.join(left)} {rule}"
        others = [d for d in thrown if d.kind == "derail"] if derails else []
        named = _unsaid(_about(others, rule, plan), said, plan)
        if named:
            yield f"crew promises not to throw {', '.join(named)} {rule}"


def switch_keys(plan: Plan, taken: set[str]) -> dict[str, str]:
    """A key for each switch and derail that people throw by hand, a crossover having one; by what
    it is of. Turned to reverse it holds signals at Stop. Their names are added to ``taken``."""
    ends = {end: crossover.name for crossover in plan.crossovers.values() for end in crossover.ends}
    keys: dict[str, str] = {}
    for device in devices(plan).values():
        throw = plan.locking.throws.get(device.name)
        by_hand = throw is None or (throw.by == "hand" and throw.locked is None)
        name = ends.get(device.name, device.name)
        if by_hand and device.pipe is None and device.kind != "gate" and name not in keys:
            keys[name] = free_name(f"{dashed(name)}-key", taken)
    return keys


def _about(found: Sequence[Device], rule: CrewRule, plan: Plan) -> list[str]:
    """Those of which a promise says something."""
    return [device.name for device in found if _says_something(rule, device, plan)]


def _says_something(rule: CrewRule, device: Device, plan: Plan) -> bool:
    match rule:
        case "under clear signals":
            return any(led_to(device, plan.routes, plan.signals))
        case "ahead of a train":
            return may_lie_ahead(device, plan)
        case _:
            return True


def _unsaid(names: Sequence[str], said: Sequence[tree.Crew], plan: Plan) -> list[str]:
    """Those that no statement of the file names, crossovers being two."""
    listed = {name.text for crew in said for name in crew.about}
    for name in [*listed]:
        if name in plan.crossovers:
            listed |= set(plan.crossovers[name].ends)
    return [name for name in names if name not in listed]
