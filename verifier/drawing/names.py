"""What things are called in an SVG drawing: ids, and names for what the file gives none.

Input: kinds and names. Output: the same id for the same thing, whatever the situation.
"""

from verifier.plan.model import Joint


def element_id(kind: str, name: str, prefix: str = "") -> str:
    """The id of the group that draws one thing. Different names have different ids, and any
    name, whatever letters it has, a valid one."""
    slug = "".join(
        c if c.isascii() and (c.isalnum() or c == "-") else f"_{ord(c):x}_" for c in name
    )
    return f"{prefix}{kind}-{slug}"


def gap_name(joint: Joint) -> str:
    """What a gap is called: its own name, or the two ends of track that meet there."""
    if joint.gap:
        return joint.gap
    return " | ".join(f"{port.piece} {port.end}" for port in (joint.a, joint.b))
