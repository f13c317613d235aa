"""The junction files that come with the program, by name, wherever they stand."""

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SPECS = ROOT / "specs"
# By name, so that a file keeps its place in the order when it moves to another folder.
SPEC_FILES = sorted(SPECS.rglob("*.ixl"), key=lambda path: path.stem)
PATTERN_FILES = sorted((ROOT / "verifier" / "patterns").glob("*.ixl"))
EXAMPLE_FILES = sorted((ROOT / "verifier" / "properties" / "examples").glob("*.ixl"))
# What makes a file one that is proved over time (tests/specs checks that these words do).
_TIMED = re.compile(
    r"^\s*(relay|timer|traffic|locked while)\b|^trains (need|obey|never reverse)\b", re.MULTILINE
)
TIMED_SPECS = [path for path in SPEC_FILES if _TIMED.search(path.read_text("utf-8"))]
TIMED_EXAMPLES = [path for path in EXAMPLE_FILES if _TIMED.search(path.read_text("utf-8"))]
# What makes a file one with something that may fail (tests/world checks that these words do).
_WIRED = re.compile(r"^(detector|driver|supply)\b|\bfeeders\b|^signal .* plate\b", re.MULTILINE)
WIRED_SPECS = [path for path in SPEC_FILES if _WIRED.search(path.read_text("utf-8"))]
_BY_NAME = {path.stem: path for path in SPEC_FILES}


def spec(name: str) -> Path:
    """The file of ``specs/`` called ``name``, without its ending."""
    return _BY_NAME[name]
