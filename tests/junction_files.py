"""The junction files that come with the program, by name, wherever they stand."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SPECS = ROOT / "specs"
# By name, so that a file keeps its place in the order when it moves to another folder.
SPEC_FILES = sorted(SPECS.rglob("*.ixl"), key=lambda path: path.stem)
PATTERN_FILES = sorted((ROOT / "verifier" / "patterns").glob("*.ixl"))
EXAMPLE_FILES = sorted((ROOT / "verifier" / "properties" / "examples").glob("*.ixl"))
_BY_NAME = {path.stem: path for path in SPEC_FILES}


def spec(name: str) -> Path:
    """The file of ``specs/`` called ``name``, without its ending."""
    return _BY_NAME[name]
