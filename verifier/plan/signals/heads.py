"""From the name of a head, or of a line of rules, to its signal.

In: a name as observables have it, ``4L``, ``4L.upper``, ``East.4L.upper``, ``4L.upper/2``, and
the signals there are. Out: the name of the signal, or the name itself where it is no signal's.
A dot alone does not tell: the names of a module's inside have dots too.
"""

from collections.abc import Collection, Container, Sequence

from verifier.language.diagnostics.diagnostic import nearest
from verifier.language.syntax import tree
from verifier.plan.names import Names


def signal_of(name: str, signals: Container[str]) -> str:
    """The signal that a signal, a head or a line belongs to; else the thing itself."""
    owner = name.rpartition("/")[0] or name
    if owner in signals:
        return owner
    signal = owner.rpartition(".")[0]
    return signal if signal in signals else owner


def signal_meant(name: str, known: Collection[str]) -> str:
    """The signal that a name of a head means, also where there is no such signal."""
    found = signal_of(name, known)
    if found in known or "." not in name:
        return found
    before = name.rpartition(".")[0]
    inside = any(other.startswith(f"{before}.") for other in known)
    return name if inside else before


def no_head(name: tree.Name, signal: str, heads: Sequence[str], names: Names) -> None:
    """Note that a signal, whose ``heads`` these are, has no head of this name."""
    named = "." in name.text and len(heads) > 1
    names.error(
        "CP407",
        name.span,
        "" if len(heads) > 1 else "one" if heads else "no_signal",
        near=nearest(name.text, heads) if named else None,
        name=name.text,
        signal=signal,
        heads=heads,
    )
