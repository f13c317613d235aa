"""The name of each gap of a layout, the same in lists and drawings.

In: the track. Out: its gaps, in the order of the `track` lines.
"""

from dataclasses import dataclass

from verifier.plan.model import Joint, Track


@dataclass(frozen=True, slots=True)
class Gap:
    """A gap to cut: what it goes by, and the joint of the track it is."""

    name: str
    joint: Joint


def gaps_of(track: Track) -> tuple[Gap, ...]:
    """Every gap of the track. One without a name in the file goes by a number: ``gap 1``."""
    found, taken = [], {joint.gap for joint in track.joints}
    number = 0
    for joint in track.joints:
        if joint.kind == "=":
            continue
        name = joint.gap
        while name is None:
            number += 1
            name = None if f"gap {number}" in taken else f"gap {number}"
        found.append(Gap(name, joint))
    return tuple(found)
