"""Census of reversing sections: the two rails, walked in every lie of the points.

A walk goes along one rail, over every piece by every way that its points can lie for, and over
every joint, in either direction. Looking out of an end of a piece, a rail is on the left or on the
right; at the far end of a piece, and beyond a joint, it is on the other hand.
"""

from collections import defaultdict
from collections.abc import Collection, Iterator

from verifier.census.says import Must, Musts
from verifier.census.survey import Survey
from verifier.logic.expr import constant
from verifier.plan.model import Joint, Port

# A rail at an end of a piece: whether it is on the left, looking out.
_Rail = tuple[Port, bool]


def rail_meets_rail(survey: Survey) -> Musts:
    """Every part of the track with a way round on which a rail comes to the place of the other,
    where the file gives any wiring: never once the gaps in both rails beside the section of a
    reverser are taken out."""
    track = survey.plan.track
    if not survey.plan.wiring.given or not _meets(survey, track.joints):
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


def _feeds(survey: Survey, port: Port) -> str | None:
    wiring = survey.plan.wiring
    district = wiring.districts.get(wiring.district_of.get(survey.block_of(port.piece) or "", ""))
    return district.supply if district else None


def _turns(survey: Survey, supply: str | None) -> bool:
    return supply is not None and survey.plan.wiring.supplies[supply].reverses


def _beside_a_reverser(survey: Survey, joint: Joint) -> bool:
    one, other = _feeds(survey, joint.a), _feeds(survey, joint.b)
    return one != other and (_turns(survey, one) or _turns(survey, other))


def _meets(survey: Survey, joints: Collection[Joint]) -> bool:
    """Whether a walk from a rail comes to the other rail at the same place, over these joints."""
    beyond = {j.a: j.b for j in joints} | {j.b: j.a for j in joints}
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
            if port in beyond:
                ways.append(beyond[port])
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
