"""What a board says of the lamps of its heads, from its clauses.

In: the statement of a board. Out: a :class:`~verifier.plan.wiring.lamps.SoldHead` for each head of
which it says anything; errors are noted.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from typing import get_args

from verifier.language.syntax import tree
from verifier.plan.clause_reader import at_most_one
from verifier.plan.names import Names
from verifier.plan.quantities import read_amount
from verifier.plan.wiring import plausible_ranges
from verifier.plan.wiring.lamps import CAN_SHOW, CommonSide, HeadMake, SoldHead
from verifier.plan.wiring.wiring_model import Driver, Number

_MAKES: Mapping[str, HeadMake] = {make: make for make in get_args(HeadMake)}
_COMMON: Mapping[str, CommonSide] = {"common-anode": "anode", "common-cathode": "cathode"}
_NO_ARM = (*_COMMON, "series", "approach-lit", "tested-unlit")
# What an incandescent lamp is not, in the words of the clauses.
_OF_LEDS = ("two-color", "three-color", "common-anode", "common-cathode", "series", "semaphore")


def sold_heads(
    node: tree.Driver, heads: Collection[str], names: Names
) -> Iterator[tuple[str, SoldHead]]:
    """Each head of a board of which it says how it is sold; wrong clauses are noted."""
    about = {clause.kind: clause for clause in node.clauses if _is_of_lamps(clause)}
    said: dict[str, dict[str, tree.Name]] = {}
    for kind, clause in about.items():
        at_most_one(clause.names, "head", names)
        for name in clause.names:
            if name.text not in heads:
                names.error("CP674", name.span, "whose", others=[node.name.span],
                            name=name.text, board=node.name.text,
                            known=[head.text for head in node.heads])  # fmt: skip
                continue
            said.setdefault(name.text, {})[kind] = name
    for head, kinds in said.items():
        _check_together(head, kinds, names)
        sold = _sold(kinds, about, names)
        _check_alone(head, sold, kinds, names)
        yield head, sold


def _is_of_lamps(clause: tree.Clause) -> bool:
    return clause.kind in tree.LAMP_CLAUSES


def _sold(
    kinds: Mapping[str, tree.Name], about: Mapping[tree.ClauseKind, tree.Clause], names: Names
) -> SoldHead:
    sold = SoldHead(
        incandescent="incandescent" in kinds,
        approach="approach-lit" in kinds,
        tested="tested-unlit" in kinds,
        lit_at=kinds["approach-lit"].span if "approach-lit" in kinds else None,
    )
    for kind in kinds:
        if kind in _MAKES:
            sold = replace(sold, make=_MAKES[kind], made_at=kinds[kind].span)
        if kind in _COMMON:
            sold = replace(sold, common=_COMMON[kind])
    if "series" in kinds:
        count = read_amount(about["series"].lengths[0], plausible_ranges.SERIES, names)
        sold = replace(sold, series=int(count or 1))
    return sold


def _check_together(head: str, kinds: Mapping[str, tree.Name], names: Names) -> None:
    """A head is of one kind, has one side in common, and is of LEDs or of incandescent lamps."""
    groups = [[k for k in kinds if k in _MAKES], [k for k in kinds if k in _COMMON]]
    if "incandescent" in kinds:
        groups.append(["incandescent", *(k for k in kinds if k in _OF_LEDS)])
    if "series" in kinds:
        groups.append(["series", *(k for k in kinds if k in ("two-color", "three-color"))])
    if "semaphore" in kinds:
        groups.append(["semaphore", *(k for k in kinds if k in _NO_ARM)])
    for one, *others in filter(None, groups):
        for other in others:
            names.error("CP675", kinds[other].span, others=[kinds[one].span],
                        head=head, one=one, also=other)  # fmt: skip


def _check_alone(head: str, sold: SoldHead, kinds: Mapping[str, tree.Name], names: Names) -> None:
    """What is said of a head makes sense beside what is not."""
    if sold.tested and not sold.approach:
        names.error("CP675", kinds["tested-unlit"].span, "tested", head=head)
    if sold.make == "position-light" and sold.series > _OUTER:
        others = [kinds["position-light"].span]
        names.error("CP675", kinds["series"].span, "row", others=others, head=head,
                    count=sold.series)  # fmt: skip


# The lamps of a row beside the one in the middle.
_OUTER = 2


def check_outputs(driver: Driver, node: tree.Driver, names: Names) -> None:
    """Each output of a board may carry what its lamp draws. What a head of several lamps draws, as
    many outputs share as may be lit together."""
    if driver.each is None or driver.lamp is None:
        return
    for head in driver.heads:
        current = driver.lamp / _SHARED.get(driver.sold_as(head).make, 1)
        if current > driver.each:
            clause = next(clause for clause in node.clauses if clause.kind == "outputs")
            names.error("CP676", clause.span, others=[node.name.span], head=head,
                        board=driver.name, carries=_milliamps(driver.each),
                        draws=_milliamps(current))  # fmt: skip
            return


def _milliamps(current: Number) -> str:
    return f"{float(current * 1000):g} mA"


_SHARED: Mapping[HeadMake, int] = {"two-color": 2, "three-color": 3, "position-light": 2}


def cannot_show(make: HeadMake, colors: Collection[str]) -> str | None:
    """A steady color among these that a head of this kind cannot show; None if it can show all."""
    can = CAN_SHOW.get(make)
    if can is None:
        return None
    return next((color for color in colors if color not in (*can, "dark")), None)
