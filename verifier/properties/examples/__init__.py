"""The shortest junctions in which each property is broken, and the same ones mended.

In: the name of a property. Out: the text of ``NAME.broken.ixl`` or ``NAME.mended.ixl``
beside this module. `clearproof explain NAME` prints both.
"""

from importlib.resources import files


def example(name: str, kind: str) -> str:
    """One example of a property of the catalog; ``kind`` is ``broken`` or ``mended``."""
    return files(__name__).joinpath(f"{name}.{kind}.ixl").read_text(encoding="utf-8")
