"""Which lever clears which signal, and what signals are called.

Signals are named by their lever and their direction, as is common practice: 2R, 2L; letters tell
apart those that one position of a lever clears. One position clears several signals only where
the lie of points lets one of them clear at a time; its two positions never let two trains meet.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import count, product
from string import ascii_uppercase

from verifier.drafting.routing import Routing
from verifier.drafting.words import dashed, free_name

LEFT, RIGHT, REVERSE = "left", "right", "reverse"


@dataclass(frozen=True, slots=True)
class Named:
    """A signal's name, and the lever and its position that clear it; a signal that the file has
    already is cleared by its own rules: no lever."""

    name: str
    lever: str = ""
    position: str = ""


def named_signals(
    routing: Routing, taken: Iterable[str], single: Collection[str] = (), *, frame: bool = False
) -> Mapping[str, Named]:
    """The name and lever of each signal, by its key. ``taken``: the names that the file uses.
    Those on the way along ``single`` track have none, and are called by the block they let into.
    ``frame``: a lever has two positions, and clears signals one way only, when reversed."""
    levers: list[dict[str, list[str]]] = []
    centers: list[str] = []
    on_the_way: dict[str, str] = {}
    for key, post in routing.posts.items():
        if post.written:
            continue
        if {post.near.piece, post.enters.piece}.issubset(single):
            block = dashed(routing.plan.track.pieces[post.enters.piece].title)
            on_the_way[key] = free_name(f"{block}-{'R' if post.rightward else 'L'}", {*taken})
            continue
        position = RIGHT if post.rightward else LEFT
        for lever, center in zip(levers, centers, strict=True):
            other_way = frame and not lever[position]
            if center == post.center and not other_way and _fits(key, position, lever, routing):
                lever[position].append(key)
                break
        else:
            levers.append({LEFT: [], RIGHT: []})
            levers[-1][position].append(key)
            centers.append(post.center)
    named = {key: Named(post.written) for key, post in routing.posts.items() if post.written}
    named |= {key: Named(name) for key, name in on_the_way.items()}
    numbers = _free_numbers(set(taken))
    for lever in levers:
        number = next(numbers)
        for position, keys in lever.items():
            for key, letter in zip(keys, _letters(len(keys)), strict=False):
                name = f"{number}{position[0].upper()}{letter}"
                named[key] = Named(name, number, REVERSE if frame else position)
    return {key: named[key] for key in routing.posts}


def _fits(key: str, position: str, lever: Mapping[str, list[str]], routing: Routing) -> bool:
    """Whether a lever can clear a signal too: never together with another one it clears."""
    for its_position, keys in lever.items():
        for other in keys:
            for one, two in product(routing.routes[key], routing.routes[other]):
                meets = any(m.other is two for m in routing.meetings.get(one.name, ()))
                if routing.agree(one, two) and (its_position == position or not meets):
                    return False
    return True


def _free_numbers(taken: set[str]) -> Iterator[str]:
    """2, 4, 6 …: without those whose lever, or a signal of it, is there already."""
    used = {name.rstrip(ascii_uppercase) for name in taken}
    return (str(n) for n in count(2, 2) if str(n) not in used)


def _letters(number: int) -> Iterator[str]:
    if number == 1:
        return iter([""])
    return (f"{a}{b}" for a in ("", *ascii_uppercase) for b in ascii_uppercase)
