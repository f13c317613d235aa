"""Signals on a packet bus: what packets say is what signals show.

Each function's docstring is what ``clearproof explain NAME`` prints.
"""

from collections.abc import Iterator, Mapping
from itertools import combinations

from verifier.language.listing import listing
from verifier.logic.expr import Expr, atom, conjunction, constant, disjunction
from verifier.plan.model import Plan
from verifier.plan.observables import UNLISTED, Observable
from verifier.plan.signals.aspects import INDICATIONS
from verifier.plan.signals.packet_model import ABSOLUTE_STOP, Address
from verifier.properties.obligation import Obligation


def stop_number(plan: Plan) -> Iterator[Obligation]:
    """Number 0 is sent for absolute stop, and for nothing else.

    A decoder that has lost its settings, or that is told to stop everything, takes 0 for
    absolute stop; an aspect that lets trains pass must not go by that number. At the
    address of a single head, 0 is for red.
    """
    packets = plan.packets
    if any(address.head is None for address in packets.addresses):
        for aspect in plan.chart.aspects:
            if packets.aspects.get(aspect.name) == ABSOLUTE_STOP:
                wrong = aspect.indication != INDICATIONS["stop"]
                yield _number(plan, aspect.name, wrong)
    if any(address.head is not None for address in packets.addresses):
        for color, number in packets.colors.items():
            if number == ABSOLUTE_STOP:
                yield _number(plan, color, color != "red")


def _number(plan: Plan, shown: str, wrong: bool) -> Obligation:
    span = plan.packets.said.get(shown) or plan.packets.addresses[0].span
    return Obligation(
        "stop-number",
        (shown,),
        constant(wrong),
        f"number {ABSOLUTE_STOP} is sent for {shown}, which is not absolute stop",
        (span,),
        hint=f"Give {shown} another number; {ABSOLUTE_STOP} is for absolute stop alone.",
    )


def address_shared(plan: Plan) -> Iterator[Obligation]:
    """Signals that share an address never are to show different things.

    A packet to an address tells all decoders that have it the same number. Two signals, or
    two heads, may share one only if they always show the same.
    """
    by_number: dict[int, list[Address]] = {}
    for address in plan.packets.addresses:
        by_number.setdefault(address.number, []).append(address)
    for number, sharing in by_number.items():
        names = tuple(address.of for address in sharing)
        yield Obligation(
            "address-shared",
            names,
            disjunction(
                *(e for one, two in combinations(sharing, 2) for e in _different(plan, one, two))
            ),
            f"{listing(names)} share address {number}, and are to show different things",
            tuple(address.span for address in sharing),
            tuple(dict.fromkeys(address.signal for address in sharing)),
            hint=f"Give {names[-1]} an address of its own.",
        )


def _different(plan: Plan, one: Address, two: Address) -> Iterator[Expr]:
    """That the two send different numbers."""
    for number, here in _sends(plan, one).items():
        for other, there in _sends(plan, two).items():
            if number != other:
                yield conjunction(here, there)


def _sends(plan: Plan, address: Address) -> Mapping[int, Expr]:
    """When each number is sent to an address."""
    what, numbers = sent(plan, address)
    when: dict[int, list[Expr]] = {}
    for value in what.values:
        when.setdefault(numbers.get(value, ABSOLUTE_STOP), []).append(atom(what, value))
    return {number: disjunction(*exprs) for number, exprs in when.items()}


def sent(plan: Plan, address: Address) -> tuple[Observable, Mapping[str, int]]:
    """What the packets to an address tell of, and the number for each of its states. Colors
    that no aspect lists go as absolute stop."""
    signal = plan.signals[address.signal]
    if address.head is None:
        return signal.aspect, {**plan.packets.aspects, UNLISTED: ABSOLUTE_STOP}
    return signal.heads[address.head].color, plan.packets.colors
