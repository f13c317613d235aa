"""Which modules are changed, which tests look at them, and which survivors are argued to be no
difference.

In: the repository. Out: every change that can be made; for a module its test files, those that
import it first; and ``equivalent.toml``.
"""

import ast
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tests.junction_files import ROOT
from tests.lanes import is_slow
from tests.mutation.source_mutants import Change, changes

ROOMS = ("logic", "world", "reference", "properties", "plan/track", "engines", "exports")
# Tests that know nothing of where a module is, and look at all there is.
EVERYWHERE = ("tests/properties", "tests/decide", "tests/published")
EQUIVALENT = Path(__file__).with_name("equivalent.toml")


@dataclass(frozen=True, slots=True)
class Place:
    """One change of one module. ``key``: by what it is found again when lines have moved."""

    path: Path
    change: Change

    @property
    def module(self) -> str:
        return ".".join(self.path.relative_to(ROOT).with_suffix("").parts)

    @property
    def key(self) -> tuple[str, str, str]:
        return str(self.path.relative_to(ROOT)), self.change.inside, self.change.said


def modules() -> list[Path]:
    found = (p for room in ROOMS for p in (ROOT / "verifier" / room).rglob("*.py"))
    return sorted(p for p in found if p.name != "__init__.py" and "examples" not in p.parts)


def places(path: Path) -> Iterator[Place]:
    return (Place(path, change) for change in changes(path.read_text("utf-8")))


# ------------------------------------------------------------------ tests of a module


def looks_of(path: Path) -> list[str]:
    """Quick test files that import a module, themselves or by what helps them; then its room's."""
    module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    files = sorted((ROOT / "tests").rglob("test_*.py"))
    files = [f for f in files if not is_slow(f"{f.relative_to(ROOT)}::test")]
    direct = [f for f in files if module in _imports(f)]
    helped = [f for f in files if f not in direct and module in _through_helpers(f)]
    room = ROOT / "tests" / path.relative_to(ROOT / "verifier").parts[0]
    near = [f for f in files if room in f.parents and f not in (*direct, *helped)]
    named = [str(f.relative_to(ROOT)) for f in (*direct, *helped[:6], *near)]
    return [*named, *(place for place in EVERYWHERE if (ROOT / place) != room)]


@cache
def _imports(path: Path) -> frozenset[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        match node:
            case ast.ImportFrom(module=str(module), names=names):
                found |= {module, *(f"{module}.{alias.name}" for alias in names)}
            case ast.Import(names=names):
                found |= {alias.name for alias in names}
            case _:
                pass
    return frozenset(found)


def _through_helpers(path: Path) -> frozenset[str]:
    helpers = (ROOT / Path(*name.split(".")).with_suffix(".py") for name in _imports(path)
               if name.startswith("tests."))  # fmt: skip
    return frozenset(name for helper in helpers if helper.exists() for name in _imports(helper))


# ------------------------------------------------------------------ survivors that may


@dataclass(frozen=True, slots=True)
class Equivalent:
    """A change that makes no difference to any verdict, and why."""

    file: str
    inside: str
    change: str
    why: str

    @property
    def key(self) -> tuple[str, str, str]:
        return self.file, self.inside, self.change


def equivalents() -> list[Equivalent]:
    rows = tomllib.loads(EQUIVALENT.read_text("utf-8")).get("equivalent", [])
    return [Equivalent(**row) for row in rows]
