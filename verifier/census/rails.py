"""Census of reversing sections: the two rails, walked in every lie of the points.

A walk goes along one rail, over every piece by every way that its points can lie for, and over
every joint, in either direction. Looking out of an end of a piece, a rail is on the left or on the
right; at the far end of a piece, and beyond a joint, it is on the other hand.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterator
from fractions import Fraction
from functools import partial

from verifier.census.says import Must, Musts, all_of, any_of, no
from verifier.census.survey import LEGS, Survey
from verifier.census.wires import returns_with
from verifier.logic.expr import FALSE, atom, constant
from verifier.plan.model import Joint, Port
from verifier.plan.observables import points

NOTHING = Fraction(0)
# A rail at an end of a piece: whether it is on the left, looking out.
_Rail = tuple[Port, bool]


def rail_meets_rail(survey: Survey) -> Musts:
    """Every part of the track with a way round on which a rail comes to the place of the other,
    where the file gives any wiring beyond that of machines: never once the gaps in both rails
    beside the section of a reverser are taken out."""
    track = survey.plan.track
    wiring = survey.plan.wiring
    wired = wiring.supplies or wiring.feeders or wiring.detectors or wiring.drivers
    if not wired or not _meets(survey, track.joints):
        return
    found: dict[tuple[str, ...], bool] = {}
    for joints in _rounds(survey):
        if not _meets(survey, joints):
            continue
        kept = [j for j in joints if j.kind != "||" or not _beside_a_reverser(survey, j)]
        sides = {survey.block_of(p.piece) for j in joints for p in (j.a, j.b)}
        blocks = tuple(b for b in survey.plan.blocks if b in sides)
        found[blocks] = found.get(blocks, False) or _meets(survey, kept)
    for blocks, bad in found.items():
        yield Must(blocks, constant(bad))


def reverser_not_isolated(survey: Survey) -> Musts:
    """Every reverser: wherever its track meets other track, both rails are cut, and no other
    reverser feeds what is beyond."""
    for name, supply in survey.plan.wiring.supplies.items():
        if supply.reverses:
            bad = False
            for joint in survey.plan.track.joints:
                for here, beyond in ((joint.a, joint.b), (joint.b, joint.a)):
                    fed, next_fed = _feeds(survey, here), _feeds(survey, beyond)
                    if fed == name != next_fed and survey.block_of(beyond.piece):
                        bad = bad or joint.kind != "||" or _turns(survey, next_fed)
            yield Must((name,), constant(bad))


def frog_shorts(survey: Survey) -> Musts:
    """Every turnout with a live frog: it lies for no leg while another turnout whose contacts set
    the frog, or the lever that does, stands otherwise. Each of its legs: no feeder of another
    block, nor one of several of its own, is on track that the leg leads to without a joint that
    is cut in both rails."""
    track, feeders = survey.plan.track, survey.plan.wiring.feeders.values()
    for name, machine in survey.plan.wiring.machines.items():
        frog = machine.frog
        if frog is None or frog.by == "dead":
            continue
        lies = points(name)
        if frog.by == "lever":
            setting = next(what for what in survey.plan.inputs if what.name == frog.of)
        else:
            setting = points(frog.of)
        apart = (all_of(atom(lies, leg), no(atom(setting, leg))) for leg in LEGS)
        yield Must((name,), FALSE if setting == lies else any_of(*apart))
        for leg in LEGS:
            whole = {j.a: j.b for j in track.joints if j.kind != "||"}
            whole |= {there: here for here, there in whole.items()}
            led, waiting = {name}, [whole[Port(name, leg)]] if Port(name, leg) in whole else []
            while waiting:
                piece = waiting.pop().piece
                if piece not in led:
                    led.add(piece)
                    ends = (Port(piece, end) for end in survey.piece(piece).ends)
                    waiting += [whole[end] for end in ends if end in whole]
            blocks = {survey.block_of(piece) for piece in led - {name}} - {None}
            own = survey.block_of(name)
            if sum(feeder.block == own for feeder in feeders) < 2:
                blocks -= {own}
            yield Must(
                (name, f"{leg} leg"), constant(any(feeder.block in blocks for feeder in feeders))
            )


def rail_dead(survey: Survey) -> Musts:
    """Each leg of every turnout with a live frog in a block that current-sensing detectors watch,
    and no others: the rails up to its gap are shorter than the shortest train."""
    wiring = survey.plan.wiring
    for name, machine in wiring.machines.items():
        frog = machine.frog
        if frog is None or frog.by == "dead":
            continue
        block = survey.block_of(name) or ""
        kinds = [d.kind for d in wiring.detectors.values() if d.block == block]
        if not kinds or "spot" in kinds:
            continue
        for leg in LEGS:
            cut = any(
                j.kind == "||" and Port(name, leg) in (j.a, j.b) for j in survey.plan.track.joints
            )
            beyond = survey.block_of(survey.across(Port(name, leg)).piece)
            lengths = [wiring.lengths[block]] if block in wiring.lengths else []
            if cut or beyond is None:
                lengths += [machine.gaps[leg]] if leg in machine.gaps else []
            elif beyond != block:
                lengths = []
            short = wiring.trains is not None and any(n < wiring.trains.shortest for n in lengths)
            yield Must((name, f"{leg} leg"), constant(not short))


def section_too_short(survey: Survey) -> Musts:
    """Every reverser where a rail comes to the place of the other over the track beyond and the
    runs through its own from one joint out of it to another: never over those alone that are surely
    shorter than the longest train. Only where it does not over those that may be, or does over
    these."""
    trains, track = survey.plan.wiring.trains, survey.plan.track
    for name, supply in survey.plan.wiring.supplies.items():
        if trains is None or not supply.reverses:
            continue
        beyond = [
            j for j in track.joints
            if name not in (_feeds(survey, j.a), _feeds(survey, j.b))
            and not _beside_a_reverser(survey, j)
        ]  # fmt: skip
        runs: list[tuple[frozenset[str], tuple[Port, ...]]] = []
        for over, joints in _runs(survey, partial(_is_fed_by, survey, name)):
            if joints[0] != joints[-1]:
                ends = (p for j in (joints[0], joints[-1]) for p in (j.a, j.b))
                runs.append((over, tuple(p for p in ends if _feeds(survey, p) != name)))
        short = [ends for over, ends in runs
                 if len(list(_lengths(over, survey))) == len(over)
                 and sum(_lengths(over, survey), NOTHING) < trains.longest]  # fmt: skip
        perhaps = [ends for over, ends in runs
                   if sum(_lengths(over, survey, sure=True), NOTHING) < trains.longest]  # fmt: skip
        bad = bool(short) and _meets(survey, beyond, short)
        decided = bad or not (perhaps and _meets(survey, beyond, perhaps))
        if runs and decided and _meets(survey, beyond, [ends for _, ends in runs]):
            yield Must((name,), constant(bad))


def supplies_bridged(survey: Survey) -> Musts:
    """Every two blocks of two supplies, both with their kind of current, that meet at a joint, or
    where the trains are given at the ends of a run over track that nothing feeds: kinds that go
    together, or the longest train is no longer than any such run."""
    wiring, order = survey.plan.wiring, list(survey.plan.blocks)
    runs: dict[tuple[str, ...], list[frozenset[str]]] = defaultdict(list)
    fed = {feeder.block for feeder in wiring.feeders.values()}
    unknown = {block for block in fed if _supply_of(survey, block) is None}
    ends = {joint: frozenset[str]() for joint in survey.plan.track.joints}
    between: list[tuple[tuple[Joint, ...], frozenset[str]]] = [((j,), o) for j, o in ends.items()]
    between += [(tuple(joints), over) for over, joints in _runs(survey, partial(_dead, survey))]
    for block in unknown:
        inside = partial(_is_in, survey, block)
        between += [(tuple(joints), over) for over, joints in _runs(survey, inside)]
    for joints, over in between:
        sides = {
            survey.block_of(port.piece)
            for joint in (joints[0], joints[-1]) for port in (joint.a, joint.b)
        } - over  # fmt: skip
        met = sorted((b for b in sides if b is not None), key=order.index)
        feeds = {_supply_of(survey, block) for block in met}
        if len(met) == 2 and len(feeds) == 2 and None not in feeds:
            runs[tuple(met)].append(over - unknown)
    for met_at in sorted(runs, key=lambda pair: [order.index(block) for block in pair]):
        one, other = (_supply_of(survey, block) or "" for block in met_at)
        kinds = [wiring.current_of(supply) for supply in (one, other)]
        touching = frozenset() in runs[met_at]
        if None in kinds or (wiring.trains is None and not touching):
            continue
        longest = wiring.trains.longest if wiring.trains else NOTHING
        apart = not touching and all(
            sum(_lengths(over, survey, sure=True), NOTHING) >= longest for over in runs[met_at]
        )
        yield Must(met_at, constant(not (apart or _suit(one, other, survey))))


def _suit(one: str, other: str, survey: Survey) -> bool:
    """Two supplies that a train may join: of one kind, and DC, or from one source, or AC with a
    common return."""
    wiring = survey.plan.wiring
    if wiring.current_of(one) != wiring.current_of(other):
        return False
    sources = []
    for name in (one, other):
        while (fed := wiring.supplies[name].fed_by) is not None:
            name = fed
        sources.append(name)
    joined = wiring.current_of(one) == "AC" and other in returns_with(one, survey)
    return wiring.current_of(one) == "DC" or sources[0] == sources[1] or joined


def _supply_of(survey: Survey, block: str) -> str | None:
    district = survey.plan.wiring.districts.get(survey.plan.wiring.district_of.get(block, ""))
    return district.supply if district else None


def _dead(survey: Survey, port: Port) -> bool:
    """Track of a block that nothing feeds."""
    block = survey.block_of(port.piece)
    fed = {feeder.block for feeder in survey.plan.wiring.feeders.values()}
    return block is not None and block not in fed and _supply_of(survey, block) is None


def _is_in(survey: Survey, block: str, port: Port) -> bool:
    return survey.block_of(port.piece) == block


def _runs(
    survey: Survey, inside: Callable[[Port], bool]
) -> Iterator[tuple[frozenset[str], list[Joint]]]:
    """How a train can run through some track from one joint out of it to another: the blocks it
    passes, and the joints."""
    at = {j.a: j for j in survey.plan.track.joints} | {j.b: j for j in survey.plan.track.joints}

    def onward(port: Port, passed: list[Joint]) -> Iterator[list[Joint]]:
        for step in survey.steps_from(port):
            out = Port(step.piece, step.leave)
            there = survey.across(out)
            if not inside(there):
                if survey.block_of(there.piece) is not None:
                    yield [*passed, at[out]]
            elif at[out] not in passed:
                yield from onward(there, [*passed, at[out]])

    for joint in survey.plan.track.joints:
        for here, beyond in ((joint.a, joint.b), (joint.b, joint.a)):
            if inside(here) and not inside(beyond) and survey.block_of(beyond.piece):
                for joints in onward(here, [joint]):
                    ports = [port for j in joints for port in (j.a, j.b) if inside(port)]
                    blocks = (survey.block_of(port.piece) for port in ports)
                    yield frozenset(b for b in blocks if b is not None), joints


def _lengths(blocks: Collection[str], survey: Survey, *, sure: bool = False) -> Iterator[Fraction]:
    """The lengths of blocks that the file gives; ``sure``: only of those without trackwork that
    parts or crosses, and in one piece from end to end."""
    pieces = survey.plan.track.pieces.values()
    for block in blocks:
        own = [piece for piece in pieces if piece.block == block]
        ends = [
            port for piece in own for port in (Port(piece.name, end) for end in piece.ends)
            if survey.block_of(survey.across(port).piece) != block
        ]  # fmt: skip
        plain = all(piece.kind == "plain" for piece in own) and len(ends) == 2
        length = survey.plan.wiring.lengths.get(block)
        if length is not None and (plain or not sure):
            yield length


def _is_fed_by(survey: Survey, supply: str, port: Port) -> bool:
    return _feeds(survey, port) == supply


def _feeds(survey: Survey, port: Port) -> str | None:
    wiring = survey.plan.wiring
    district = wiring.districts.get(wiring.district_of.get(survey.block_of(port.piece) or "", ""))
    return district.supply if district else None


def _turns(survey: Survey, supply: str | None) -> bool:
    return supply is not None and survey.plan.wiring.supplies[supply].reverses


def _beside_a_reverser(survey: Survey, joint: Joint) -> bool:
    one, other = _feeds(survey, joint.a), _feeds(survey, joint.b)
    return one != other and (_turns(survey, one) or _turns(survey, other))


def _meets(
    survey: Survey, joints: Collection[Joint], runs: Collection[tuple[Port, ...]] = ()
) -> bool:
    """Whether a walk from a rail comes to the other rail at the same place, over these joints, and
    over trains that reach from one of two ends to the other."""
    beyond: dict[Port, list[Port]] = defaultdict(list)
    for here, there in [*((j.a, j.b) for j in joints), *runs]:
        beyond[here].append(there)
        beyond[there].append(here)
    pieces = dict.fromkeys(port.piece for port in beyond)
    seen: dict[_Rail, int] = {}
    for number, start in enumerate(beyond):
        if (start, True) in seen or (start, False) in seen:
            continue
        waiting: list[_Rail] = [(start, True)]
        seen[start, True] = number
        while waiting:
            port, left = waiting.pop()
            ways = [Port(step.piece, step.leave) for step in survey.steps_from(port)]
            ways += beyond.get(port, [])
            for there in ways:
                rail = (there, not left)
                if there.piece in pieces and rail not in seen:
                    seen[rail] = number
                    waiting.append(rail)
                if seen.get((there, left)) == number and there.piece in pieces:
                    return True
    return False


def _rounds(survey: Survey) -> Iterator[list[Joint]]:
    """The joints in groups: two that meet at a piece are in one group where a way leads from the
    one to the other without that piece."""
    joints = survey.plan.track.joints
    meeting: dict[str, list[int]] = defaultdict(list)
    places = [tuple(_place(survey, port) for port in (j.a, j.b)) for j in joints]
    for number, ends in enumerate(places):
        for place in dict.fromkeys(ends):
            meeting[place].append(number)
    group = list(range(len(joints)))
    for place, here in meeting.items():
        reached: dict[str, int] = {}
        for number in here:
            for far in places[number]:
                if far != place:
                    if far in reached:
                        _put_together(group, reached[far], number)
                    else:
                        for found in _reach(far, place, places, meeting):
                            reached[found] = number
    together: dict[int, list[Joint]] = defaultdict(list)
    for number, joint in enumerate(joints):
        together[group[number]].append(joint)
    yield from together.values()


def _put_together(group: list[int], one: int, other: int) -> None:
    kept, gone = sorted((group[one], group[other]))
    for number, of in enumerate(group):
        if of == gone:
            group[number] = kept


def _reach(
    start: str, without: str, places: list[tuple[str, ...]], meeting: dict[str, list[int]]
) -> set[str]:
    """The places that ways lead to from one, none of them over another."""
    found, waiting = {start}, [start]
    while waiting:
        for number in meeting[waiting.pop()]:
            for place in places[number]:
                if place != without and place not in found:
                    found.add(place)
                    waiting.append(place)
    return found


def _place(survey: Survey, port: Port) -> str:
    """The piece of an end; of a crossing at grade, one of its two tracks."""
    if survey.piece(port.piece).kind != "crossing":
        return port.piece
    return f"{port.piece} {port.end[: port.end.index('-')]}"
