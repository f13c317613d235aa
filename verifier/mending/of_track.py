"""Changes of the track: gaps in both rails, sections with a reverser, derails, edges.

In: something broken. Out: proposals.
"""

from collections.abc import Iterable, Iterator
from fractions import Fraction

from verifier.language.syntax import tree
from verifier.mending.changes import Change, Proposal, after, instead
from verifier.mending.given import Given
from verifier.mending.of_locks import edge_alone
from verifier.plan.model import Port
from verifier.properties.amounts import length_to_write
from verifier.properties.obligation import Obligation


def cut_rails(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """Both rails cut at a leg of a turnout, or at the ends of what a reverser feeds."""
    subjects = obligation.subjects
    match obligation.property:
        case "frog-shorts" | "rail-dead" if len(subjects) > 1:
            end = Port(subjects[0], subjects[1].partition(" ")[0])
            changes = _doubled(given, [end])
            if changes:
                yield Proposal(f"cut both rails on the {subjects[1]} of {subjects[0]}", 8, changes)
        case "reverser-not-isolated":
            changes = _doubled(given, _ends_of(given, _fed_by(given, subjects[0])))
            if changes:
                why = f"cut both rails at every end of what {subjects[0]} feeds"
                yield Proposal(why, 8, changes)


def longer_sections(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A section longer than the longest train, by a quarter of it."""
    trains, units = given.plan.wiring.trains, given.plan.wiring.units
    if obligation.property not in ("section-too-short", "supplies-bridged") or trains is None:
        return
    enough = trains.longest * Fraction(5, 4)
    for block, length in given.plan.wiring.lengths.items():
        statement = given.declaring(block)
        if length >= enough or not isinstance(statement, tree.Block) or not statement.length:
            continue
        span = statement.length[0].span.to(statement.length[-1].span)
        written = length_to_write(enough, units.track)
        names = ", ".join(name.text for name in statement.names)
        why = f"make {names} {written} long, more than the longest train"
        yield Proposal(why, 10, (instead(span, written),))


def reversers(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A section cut in both rails at both ends and fed by a reverser, where track turns round."""
    if obligation.property != "rail-meets-rail":
        return
    plan = given.plan
    for block in obligation.subjects:
        pieces = [p for p in plan.track.pieces.values() if p.block == block]
        statement = given.declaring(block)
        if len(pieces) != 1 or pieces[0].kind != "plain" or not isinstance(statement, tree.Block):
            continue
        if len(statement.districts) != 1:
            continue
        district = given.declaring(statement.districts[0].text)
        if not isinstance(district, tree.District):
            continue
        name = given.free_name(f"Turn-{block}", "Turn")
        cut = _doubled(given, _ends_of(given, {block}))
        supply = f"reverser {name} fed by {district.supply.text}"
        alone = [
            b for b, other in plan.blocks.items()
            if b != block and _district_of(given, b) == district.name.text
        ] == []  # fmt: skip
        if alone:
            moved: tuple[Change, ...] = (
                _before(given, district, supply),
                instead(district.supply.span, name),
            )
        else:
            new = given.free_name(f"District-{block}", "Section")
            placed = f"{supply}\ndistrict {new} fed by {name}"
            moved = (
                after(given.text, district.span, placed),
                *_moved(given, statement, block, new),
            )
        why = f"cut {block} off in both rails at both ends and feed it by a reverser"
        yield Proposal(why, 10, (*cut, *moved))


def _before(given: Given, statement: tree.Statement, text: str) -> Change:
    return Change(statement.span.start, statement.span.start, 0, f"{text}\n")


def _district_of(given: Given, block: str) -> str:
    statement = given.declaring(block)
    named = statement.districts if isinstance(statement, tree.Block) else ()
    return named[0].text if named else ""


def _moved(given: Given, statement: tree.Block, block: str, district: str) -> tuple[Change, ...]:
    """A block in another district, with a statement of its own."""
    if len(statement.names) == 1:
        return (instead(statement.districts[0].span, district),)
    names = statement.names[0].span.to(statement.names[-1].span)
    others = ", ".join(n.text for n in statement.names if n.text != block)
    start, end = statement.districts[0].span.start, statement.districts[0].span.end
    behind = given.text[names.end : start] + district + given.text[end : statement.span.end]
    own = f"block {block}{behind}"
    return (instead(names, others), after(given.text, statement.span, own))


def _fed_by(given: Given, supply: str) -> set[str]:
    fed = {d.name.text for d in given.of_kind(tree.District) if d.supply.text == supply}
    return {block for block in given.plan.blocks if _district_of(given, block) in fed}


def _ends_of(given: Given, blocks: Iterable[str]) -> list[Port]:
    """The ends at which some blocks meet others."""
    plan, inside = given.plan, set(blocks)
    pieces = plan.track.pieces
    return [
        port
        for joint in plan.track.joints
        for port in (joint.a, joint.b)
        if pieces[port.piece].block in inside
        and pieces[joint.other(port).piece].block not in inside
        and pieces[joint.other(port).piece].block is not None
    ]


def _doubled(given: Given, ends: Iterable[Port]) -> tuple[Change, ...]:
    """Gaps in both rails at some ends of pieces, in the track lines and where signals stand."""
    joints = [given.plan.track.joint_at[end] for end in ends]
    found: dict[Change, None] = {}
    for joint in joints:
        for join, one, two in _joins(given):
            if join.kind == "|" and {one, two} == {_place(joint.a), _place(joint.b)}:
                start = join.span.start
                found[Change(start, start + 1, 0, "||")] = None
    return tuple(found)


# A piece by its title, and the leg of it; "" where the line does not name one.
_End = tuple[str, str]


def _place(port: Port) -> _End:
    # A plain piece is named after its block: `Main`, or `Main/2` where it has several.
    legs = ("normal", "reverse", "along", "across")
    leg = next((leg for leg in legs if port.end.startswith(leg)), "")
    return port.piece, leg


def _joins(given: Given) -> Iterator[tuple[tree.Join, _End, _End]]:
    """Every join that is written, with the two ends that meet there."""
    for statement in given.statements:
        if isinstance(statement, tree.Track):
            for k, join in enumerate(statement.joins):
                one, two = statement.steps[k], statement.steps[k + 1]
                yield join, (one.name.text, one.right or ""), (two.name.text, two.left or "")
        elif isinstance(statement, tree.Signal):
            # A signal's place names a leg on whichever side.
            near, far = statement.near, statement.far
            yield (
                statement.join,
                (near.name.text, near.left or near.right or ""),
                (far.name.text, far.left or far.right or ""),
            )


def derails(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A derail in the way of what enters interlocking limits without a signal."""
    if obligation.property != "unsignaled-entrance" or len(obligation.subjects) < 2:
        return
    plan = given.plan
    end = obligation.subjects[1]
    piece = plan.track.pieces.get(end)
    if piece is None:
        return
    port = Port(end, piece.ends[0])
    block, seen = "", set()
    while port not in seen:
        seen.add(port)
        into = plan.track.joint_at[port].other(port)
        found = plan.track.pieces[into.piece]
        if found.kind != "plain":
            break
        block = found.block or block
        port = Port(into.piece, next(e for e in found.ends if e != into.end))
    else:
        return
    statement = given.declaring(into.piece)
    if not block or statement is None or found.kind not in ("turnout", "slip"):
        return
    number = into.piece.lstrip("T")
    name = given.free_name(f"D{number}", f"D-{into.piece}")
    text = f"derail {name} on {block} toward {into.piece}"
    why = f"set a derail on {block}, so that nothing rolls in from {end}"
    yield Proposal(why, 8, (after(given.text, statement.span, text),))
    edge = given.declaring(end)
    if isinstance(edge, tree.Edge) and edge.direction == "both" and edge.entering is None:
        named = next(n for n in edge.names if n.text == end)
        changes = edge_alone(given, edge, named, f"edge {end} leaving only")
        yield Proposal(f"let trains only leave at {end}", 9, changes)
