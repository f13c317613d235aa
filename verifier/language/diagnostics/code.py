"""What the registry of diagnostic codes is made of."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Code:
    """One thing that can be wrong with the input, explained.

    ``bad`` is a complete file (or, where it starts with ``clearproof``, a command) that has
    this wrong and nothing else; ``good`` is the same put right."""

    code: str
    title: str
    explanation: str
    bad: str
    good: str
