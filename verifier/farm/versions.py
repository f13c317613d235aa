"""What decides: the versions of it that must be the same on every computer of a farm."""

import platform
from collections.abc import Iterable, Mapping
from functools import cache
from hashlib import sha256
from importlib import resources
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from verifier import __version__

# What a verdict rests on beside our own source.
RESTS_ON = ("z3-solver", "python-sat", "lark", "networkx", "pycparser", "cvc5")
SOURCE = "clearproof's source"


def versions() -> Mapping[str, str]:
    """By name, the version of each; of our own source, a digest."""
    return own()


@cache
def own() -> Mapping[str, str]:
    """The same, worked out once."""
    found = {"clearproof": __version__, "Python": platform.python_version()}
    found |= {package: _version(package) for package in RESTS_ON}
    digest = sha256()
    for folder in (Path(__file__).parents[1], Path(str(resources.files("verifier.grammar")))):
        for file in sorted(_own_files(folder)):
            name = file.relative_to(folder).as_posix()
            digest.update(f"{name}\n".encode() + file.read_bytes())
    return {**found, SOURCE: digest.hexdigest()[:12]}


def _own_files(folder: Path) -> Iterable[Path]:
    for kind in ("*.py", "*.toml", "*.lark"):
        yield from folder.rglob(kind)


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "none"


def difference(theirs: Mapping[str, str]) -> str | None:
    """The first version that is not ours, in words; None where all are the same."""
    for name, ours in versions().items():
        if theirs.get(name) != ours:
            return f"{name} {theirs.get(name, 'none')} there, {ours} here"
    return None
