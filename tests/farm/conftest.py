"""Processes that the tests of farms start find the tests, too."""

import os

import pytest

from tests.junction_files import ROOT


@pytest.fixture(autouse=True)
def tests_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    also = os.environ.get("PYTHONPATH")
    monkeypatch.setenv("PYTHONPATH", f"{ROOT}{os.pathsep}{also}" if also else str(ROOT))
