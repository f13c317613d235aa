"""Signals on a packet bus: packets say what the signals show.

``clearproof explain NAME`` prints the docstring of each property."""

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
    """Number 0 is sent for absolute stop and for nothing else.

    A decoder reads 0 as absolute stop, even without its settings. An aspect that lets trains pass
    must not have that number. At the address of a single head, 0 means red.
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
    """Signals that share an address always show the same.

    A packet sends one number to all decoders with its address. Two signals or two heads may share
    an address only if they always show the same aspect or color.
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
            f"{listing(names)} share address {number}, but can show different things",
            tuple(address.span for address in sharing),
            tuple(dict.fromkeys(address.signal for address in sharing)),
            hint=f"Give {names[-1]} an address of its own.",
        )


def _different(plan: Plan, one: Address, two: Address) -> Iterator[Expr]:
    """All ways in which the two addresses are sent different numbers."""
    for number, here in _sends(plan, one).items():
        for other, there in _sends(plan, two).items():
            if number != other:
                yield conjunction(here, there)


def _sends(plan: Plan, address: Address) -> Mapping[int, Expr]:
    """The condition under which each number is sent to an address."""
    what, numbers = sent(plan, address)
    when: dict[int, list[Expr]] = {}
    for value in what.values:
        when.setdefault(numbers.get(value, ABSOLUTE_STOP), []).append(atom(what, value))
    return {number: disjunction(*exprs) for number, exprs in when.items()}


def sent(plan: Plan, address: Address) -> tuple[Observable, Mapping[str, int]]:
    """The observable that packets to an address report, and the number of each of its states.
    Colors that no aspect lists are sent as absolute stop."""
    signal = plan.signals[address.signal]
    if address.head is None:
        return signal.aspect, {**plan.packets.aspects, UNLISTED: ABSOLUTE_STOP}
    return signal.heads[address.head].color, plan.packets.colors
