"""The junctions that `clearproof new` starts from: each proves as it stands.

In: the name of a pattern. Out: its text, an ``.ixl`` file beside this module.
"""

from importlib.resources import files

PATTERNS: dict[str, str] = {
    "end-of-siding": "one switch, three signals, one signal lever",
    "wired-end-of-siding": "the same with all its wiring, safe with any one thing failed",
    "locked-end-of-siding": "one switch worked by buttons: route and approach locking",
    "locked-wired-end-of-siding": "locks and wiring together, proved with any one thing failed",
    "passing-siding": "both ends of a siding, and who may enter the tracks between",
    "junction": "a branch leaves the main line; with an approach signal",
    "crossover": "two main tracks, each signaled both ways, and a crossover between",
    "diamond": "two tracks that cross on the level, worked by a lever",
    "yard-throat": "one lead, four tracks, dwarf signals out",
    "spur": "an industry spur with a hand-thrown switch and a derail",
    "oval": "a circle of four blocks with block signals all round",
}


def pattern_text(name: str) -> str:
    """The junction file of a pattern, a key of :data:`PATTERNS`."""
    return files(__name__).joinpath(f"{name}.ixl").read_text(encoding="utf-8")
