"""What all tests share: the same generated cases every time, one proof of each file, two marks.

Generated tests draw the same cases every time in CI, so that a red run can be repeated.
"""

import gc
import os
import shutil
import sys
from pathlib import Path

import pytest
from hypothesis import settings

from tests.junction_files import SPEC_FILES
from tests.lanes import is_slow

settings.register_profile("repeatable", derandomize=True)
if os.environ.get("CI") and os.environ.get("CLEARPROOF_PROFILE") != "nightly":
    settings.load_profile("repeatable")

# Hundreds of processes import the same modules: let them keep what one of them has compiled.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# What an earlier run has proved is no test of this one.
os.environ["CLEARPROOF_NO_CACHE"] = "1"

# Proofs make many objects and hardly a circle of them.
gc.set_threshold(50_000, 20, 50)

BROWSER = shutil.which("chromium") and shutil.which("chromedriver")
_SPECS = {path.stem for path in SPEC_FILES}


def _spec_of(item: pytest.Function) -> str | None:
    """The file of specs/ that a test is about, by its parameters."""
    values = item.callspec.params.values() if hasattr(item, "callspec") else ()
    names = (value.stem if isinstance(value, Path) else value for value in values)
    return next((name for name in names if isinstance(name, str) and name in _SPECS), None)


@pytest.hookimpl(tryfirst=True)  # before pytest-xdist looks for groups
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what is slow, skip what needs a browser where there is none, and keep the tests of
    one file together.

    With ``--dist loadgroup`` all tests about one file of specs/ run in one process, where
    ``tests.proofs.proved`` proves it once.
    """
    for item in items:
        if is_slow(item.nodeid):
            item.add_marker(pytest.mark.slow)
        if not BROWSER and item.get_closest_marker("browser"):
            item.add_marker(pytest.mark.skip("needs Debian's packages chromium, chromium-driver"))
        if isinstance(item, pytest.Function) and (name := _spec_of(item)):
            item.add_marker(pytest.mark.xdist_group(name))
