"""What the wheels of a train join when it stands over two gaps, or over a gap between two supplies.

``clearproof explain NAME`` prints the docstring of each property.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from verifier.language.listing import listing
from verifier.logic.expr import constant
from verifier.plan.model import Plan
from verifier.plan.wiring.sections import (
    Stretch,
    TwoFed,
    go_together,
    join_the_rails,
    room_on,
    section_ways,
    two_fed,
)
from verifier.plan.wiring.wiring_model import Number
from verifier.properties.amounts import length
from verifier.properties.obligation import Obligation


class _Way(NamedTuple):
    """A way of a train, and its length from the least to the most; None: not in the file."""

    stretch: Stretch
    least: Number
    most: Number | None

    def is_short(self, longest: Number) -> bool:
        """Whether the longest train surely reaches over both ends."""
        return self.most is not None and self.most < longest


def section_too_short(plan: Plan) -> Iterator[Obligation]:
    """The section of a reverser is no shorter than the longest train.

    A reverser exchanges the two rails of its section for the gap that a train crosses. A train that
    reaches over both ends of the section asks for both at once: whichever way the reverser turns
    the rails, the wheels at one of the two gaps join one rail and the other, a short. Every way
    counts that a train can take through the section, however points lie, where the track beyond
    comes back turned around, over other such ways through the section too. Checked for every
    reverser where the file gives the lengths of the
    trains and of the blocks of its section. In a block with points only the longest way is known
    to be as long as the file says.
    """
    trains, wiring = plan.wiring.trains, plan.wiring
    reversers = [supply for supply in wiring.supplies.values() if supply.reverses]
    for supply in reversers if trains is not None else ():
        assert trains is not None
        ways = [_measured(s, plan) for s in section_ways(supply.name, plan.track, wiring)]
        short = [way for way in ways if way.is_short(trains.longest)]
        perhaps = [way for way in ways if way.least < trains.longest]
        bad = _join(supply.name, short, plan)
        if not _join(supply.name, ways, plan) or _join(supply.name, perhaps, plan) != bad:
            continue
        worst = min(short if bad else ways, key=lambda way: way.most or way.least)
        unit = wiring.units.track
        room = length(worst.most or worst.least, unit, "less")
        longest = length(trains.longest, unit, "more")
        yield Obligation(
            "section-too-short",
            (supply.name,),
            constant(bad),
            f"the section of reverser {supply.name} is {room} long by way of "
            f"{listing(list(worst.stretch.blocks))}, and a train of {longest} reaches over both "
            "its ends: its wheels join one rail and the other",
            (supply.span, *(joint.span for joint in worst.stretch.joints), trains.span),
            pieces=_pieces(worst.stretch, plan),
            place=supply.name,
            hint=f"Move its gaps so far apart that the section is longer than {longest}, or run "
            "shorter trains.",
        )


def _join(reverser: str, ways: Sequence[_Way], plan: Plan) -> bool:
    stretches = [way.stretch for way in ways]
    return bool(ways) and join_the_rails(reverser, stretches, plan.track, plan.wiring)


def supplies_bridged(plan: Plan) -> Iterator[Obligation]:
    """No train joins two supplies of track power that do not go together.

    The wheels of a train that crosses a gap join the rails on both sides, whether one rail is cut
    or both. DC and DCC (or AC) must never meet, nor two supplies of DCC that do not take their
    signal from one source, nor two of AC that may be out of phase (say `common return`, where they
    are joined). Two of DC are throttles that a person sets alike, and may meet. Track that
    nothing feeds, no shorter than the longest train, keeps two supplies apart: it must be so long
    on every way over it, however points lie. A block with feeders, but without a district, is no
    such track: whatever feeds it goes together with one of the two at most. Checked where two
    blocks meet of which the file gives supplies and the kinds of current.
    """
    for pair in two_fed(plan.blocks, plan.track, plan.wiring):
        fits = go_together(*pair.supplies, plan.wiring)
        ways = [_measured(stretch, plan) for stretch in pair.between]
        trains = plan.wiring.trains
        dead = all(way.stretch.blocks for way in ways)
        if fits is None or (dead and trains is None):
            continue
        longest = trains.longest if trains is not None else Number(0)
        short = [w for w in ways if not w.stretch.blocks or w.least < longest]
        worst = min(short or ways, key=lambda way: way.least)
        one, other = pair.blocks
        yield Obligation(
            "supplies-bridged",
            pair.blocks,
            constant(not fits and bool(short)),
            f"a train that runs between {one} and {other} joins "
            f"{pair.supplies[0]} and {pair.supplies[1]}: {_why(pair, plan)}{_over(worst, plan)}",
            tuple(dict.fromkeys(joint.span for joint in worst.stretch.joints)),
            pieces=_pieces(worst.stretch, plan),
            place=one,
            hint="Let one source feed both (`booster Boost-1 fed by …`). Or keep them apart by a "
            "block that nothing feeds, with no district and no feeders, longer than the longest "
            f"train{_at_most(plan)} and cut in both rails (`||`) at both ends.",
        )


def _measured(stretch: Stretch, plan: Plan) -> _Way:
    return _Way(stretch, *room_on(stretch.blocks, plan.track, plan.wiring))


def _pieces(stretch: Stretch, plan: Plan) -> tuple[str, ...]:
    ends = dict.fromkeys(p.piece for joint in stretch.joints for p in (joint.a, joint.b))
    return tuple(name for name in ends if plan.track.pieces[name].block)


def _why(pair: TwoFed, plan: Plan) -> str:
    """Why two supplies do not go together."""
    one, other = pair.supplies
    kind, kind_of_other = plan.wiring.current_of(one), plan.wiring.current_of(other)
    if kind != kind_of_other:
        return f"{one} gives {kind}, {other} {kind_of_other}"
    if kind == "DCC":
        return "two sources of DCC are never in step"
    return "two sources of AC may be out of phase"


def _over(way: _Way, plan: Plan) -> str:
    """What lies between, where that is too short."""
    if not way.stretch.blocks:
        return ""
    between = listing(list(way.stretch.blocks))
    if way.most is None or not way.least:
        return f"; how long {between} is on this way, between them, is not in the file"
    room = length(way.least, plan.wiring.units.track, "less")
    return f"; {between}, between them, is no longer than {room}"


def _at_most(plan: Plan) -> str:
    trains = plan.wiring.trains
    return f", {length(trains.longest, plan.wiring.units.track, 'more')}," if trains else ""
