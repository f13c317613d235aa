"""The shortest junctions in which each property is broken, and the same ones mended.

In: the name of a property. Out: the text of ``NAME.broken.ixl`` or ``NAME.mended.ixl``
beside this module. `clearproof explain NAME` prints both.
"""

from importlib.resources import files
from typing import Literal

Kind = Literal["broken", "mended"]


def example(name: str, kind: Kind) -> str:
    """One example of a property of the catalogue."""
    return files(__name__).joinpath(f"{name}.{kind}.ixl").read_text(encoding="utf-8")
