"""Addresses of signals on a packet bus, and the numbers that packets carry, as a file gives them.

In: the syntax tree, the chart, the signals' posts. Out:
:class:`~verifier.plan.signals.packet_model.Packets`.
"""

from collections.abc import Iterable, Mapping, Sequence

from verifier.language.diagnostics.diagnostic import nearest
from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.plan.names import Names
from verifier.plan.signals.aspects import INDICATIONS, Aspect, Chart
from verifier.plan.signals.colors import flashing
from verifier.plan.signals.packet_model import (
    ABSOLUTE_STOP,
    FIRST_ADDRESS,
    LAST_ADDRESS,
    LAST_NUMBER,
    Address,
    Packets,
)
from verifier.plan.signals.signal_placement import Post

_STOP = INDICATIONS["stop"]
# Numbers of colors where the file gives none; a flashing one is eight more.
_COLORS = ("red", "yellow", "green", "lunar", "white", "dark")
_USUAL_COLORS = {c: i for i, c in enumerate(_COLORS)} | {
    flashing(c): i + 8 for i, c in enumerate(_COLORS)
}


def read_packets(
    statements: Sequence[tree.Statement], chart: Chart, posts: Mapping[str, Post], names: Names
) -> Packets:
    """The addresses of signals, and the numbers of aspects and colors; errors are noted."""
    addresses = _addresses(statements, posts, names)
    numbers = _numbers(statements, chart, names)
    said = {word: span for word, (_, span) in numbers.items()}
    given = {word: number for word, (number, _) in numbers.items()}
    aspects = {a.name: given[a.name] for a in chart.aspects if a.name in given}
    colors = {word: number for word, number in given.items() if word in _USUAL_COLORS}
    usual = _usual_aspects(chart)
    # What is wrong with one number must not look like one that is missing.
    every = list(tree.of_kind(statements, tree.Number))
    if aspects and len(every) == len(numbers):
        _check_complete(aspects, usual, addresses, posts, names)
    return Packets(addresses, aspects or usual, _USUAL_COLORS | colors, said)


def _usual_aspects(chart: Chart) -> Mapping[str, int]:
    """The most restrictive first; 0 for absolute stop alone."""
    ordered: Sequence[Aspect] = sorted(chart.aspects, key=lambda a: a.indication.rank)
    stops = [a for a in ordered if a.indication == _STOP]
    others = [a for a in ordered if a.indication != _STOP]
    return {
        **dict.fromkeys((a.name for a in stops), ABSOLUTE_STOP),
        **{a.name: min(i, LAST_NUMBER) for i, a in enumerate(others, start=1)},
    }


def _addresses(
    statements: Iterable[tree.Statement], posts: Mapping[str, Post], names: Names
) -> tuple[Address, ...]:
    heads = {head: (name, i) for name, post in posts.items() for i, head in enumerate(post.heads)}
    found: dict[str, Address] = {}
    for node in tree.of_kind(statements, tree.Address):
        number = _whole(node.number)
        if number is None or not FIRST_ADDRESS <= number <= LAST_ADDRESS:
            names.error(
                "CP411",
                node.number.span,
                number=node.number.number,
                first=FIRST_ADDRESS,
                last=LAST_ADDRESS,
            )
            continue
        of = node.of.text
        if of in posts:
            place = Address(number, of, of, None, node.span)
        elif of in heads:
            signal, head = heads[of]
            place = Address(number, of, signal, head, node.span)
        else:
            names.error(
                "CP201", node.of.span, "signal_or_head", near=nearest(of, (*posts, *heads)), name=of
            )
            continue
        before = next((one for one in found.values() if _overlap(one, place)), None)
        if before is not None:
            names.error(
                "CP412",
                node.span,
                others=[before.span],
                of=of,
                before=before.of,
                number=before.number,
            )
            continue
        found[of] = place
    return tuple(found.values())


def _overlap(one: Address, other: Address) -> bool:
    """Whether two addresses are of the same signal, or of the same head."""
    whole = one.head is None or other.head is None
    return one.signal == other.signal and (whole or one.head == other.head)


def _numbers(
    statements: Iterable[tree.Statement], chart: Chart, names: Names
) -> Mapping[str, tuple[int, Span]]:
    words = (*(aspect.name for aspect in chart.aspects), *_USUAL_COLORS)
    found: dict[str, tuple[int, Span]] = {}
    for node in tree.of_kind(statements, tree.Number):
        number, word = _whole(node.number), node.shows.text
        if number is None or number > LAST_NUMBER:
            names.error("CP413", node.number.span, number=node.number.number, last=LAST_NUMBER)
        elif word not in words:
            names.error("CP404", node.shows.span, "number", near=nearest(word, words), name=word)
        elif word in found or any(
            n == number and (w in _USUAL_COLORS) == (word in _USUAL_COLORS)
            for w, (n, _) in found.items()
        ):
            names.error(
                "CP414",
                node.span,
                others=[span for w, (n, span) in found.items() if w == word or n == number],
                word=word,
                number=number,
            )
        else:
            found[word] = (number, node.span)
    return found


def _check_complete(
    aspects: Mapping[str, int],
    usual: Mapping[str, int],
    addresses: Iterable[Address],
    posts: Mapping[str, Post],
    names: Names,
) -> None:
    """Once the file gives numbers, it gives one for each aspect that goes into a packet."""
    for address in addresses:
        if address.head is not None:
            continue
        rules = posts[address.signal].node.rules
        shown = {rule.shows.text for rule in rules} & usual.keys()
        lacking = sorted(shown - aspects.keys(), key=lambda name: usual[name])
        if lacking:
            names.error("CP415", address.span, signal=address.of, aspect=lacking[0])


def _whole(amount: tree.Amount) -> int | None:
    return int(amount.number) if amount.number.isdecimal() else None
