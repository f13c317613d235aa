"""What all tests share: one proof of each file, samples of sweeps, two marks.

Each run has other cases of sweeps, and of what hypothesis draws, and prints how to draw them again
(tests/sweep.py).
"""

import gc
import os
import shutil
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.junction_files import EXAMPLE_FILES, PATTERN_FILES, SPEC_FILES
from tests.lanes import is_slow
from tests.sweep import NIGHTLY, SEED, drawn

# Drawn by the seed of the run; where a change has to pass, the same each time, so that only the
# change can fail. No test depends on how fast the machine is.
settings.register_profile(
    "drawn", derandomize=bool(os.environ.get("CI")) and not NIGHTLY, database=None, deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)  # fmt: skip
settings.load_profile("drawn")

# Hundreds of processes import the same modules: let them keep what one of them has compiled.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# What an earlier run has proved is no test of this one.
os.environ["CLEARPROOF_NO_CACHE"] = "1"

# Proofs make many objects and hardly a circle of them.
gc.set_threshold(50_000, 20, 50)

BROWSER = shutil.which("chromium") and shutil.which("chromedriver")
# By the name in a test's parameters: a file of specs/, a pattern, or the property of an example.
_GROUPS = {path.stem: path.stem for path in (*SPEC_FILES, *PATTERN_FILES)}
_GROUPS |= {path.stem: path.stem.partition(".")[0] for path in EXAMPLE_FILES}
_GROUPS |= {group: group for group in [*_GROUPS.values()]}


def _group_of(item: pytest.Function) -> str | None:
    """What is proved for a test, by its parameters."""
    values = item.callspec.params.values() if hasattr(item, "callspec") else ()
    names = (value.stem if isinstance(value, Path) else value for value in values)
    return next((_GROUPS[n] for n in names if isinstance(n, str) and n in _GROUPS), None)


@pytest.hookimpl(tryfirst=True)  # before hypothesis looks for a seed
def pytest_configure(config: pytest.Config) -> None:
    config.option.hypothesis_seed = config.option.hypothesis_seed or SEED


def pytest_report_header() -> str:
    """How to draw the same cases again."""
    return f"sweeps: {'all cases' if NIGHTLY else 'a sample'}, drawn by CLEARPROOF_SEED={SEED}"


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if "failed" in terminalreporter.stats:
        terminalreporter.write_line(pytest_report_header())


def _leave_out(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Of sweeps, leave out what this run has not drawn; but who names one case wants it."""
    if any("[" in argument for argument in config.args):
        return
    cases = [
        (item.nodeid, tuple(item.callspec.params.values() if hasattr(item, "callspec") else ()))
        for item in items
    ]
    kept = set(drawn(cases))
    config.hook.pytest_deselected(items=[item for item in items if item.nodeid not in kept])
    items[:] = [item for item in items if item.nodeid in kept]


@pytest.hookimpl(tryfirst=True)  # before pytest-xdist looks for groups
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what is slow, skip what needs a browser where there is none, and keep the tests of
    one file together.

    With ``--dist loadgroup`` all tests about one file run in one process,
    where ``tests.proofs.proved`` proves it once, and those of one module in one browser.
    """
    _leave_out(config, items)
    for item in items:
        if is_slow(item.nodeid):
            item.add_marker(pytest.mark.slow)
        if not BROWSER and item.get_closest_marker("browser"):
            item.add_marker(pytest.mark.skip("needs Debian's packages chromium, chromium-driver"))
        if item.get_closest_marker("xdist_group"):
            continue
        if isinstance(item, pytest.Function) and (name := _group_of(item)):
            item.add_marker(pytest.mark.xdist_group(name))
        elif item.get_closest_marker("browser"):
            item.add_marker(pytest.mark.xdist_group(str(item.path)))
