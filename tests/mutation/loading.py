"""Modules loaded from another text than that of their file."""

import sys
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec
from importlib.util import spec_from_loader
from pathlib import Path
from types import ModuleType


def load_from(module: str, path: Path, text: str) -> None:
    """From now on, in this process, a module that is not loaded yet is loaded from this text."""
    sys.meta_path.insert(0, _Mutated(module, path, text))


class _Mutated(MetaPathFinder, Loader):
    def __init__(self, module: str, path: Path, text: str) -> None:
        self._module, self._path, self._text = module, path, text

    def find_spec(self, fullname: str, path: object, target: object = None) -> ModuleSpec | None:
        if fullname != self._module:
            return None
        return spec_from_loader(fullname, self, origin=str(self._path))

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self._text, str(self._path), "exec"), module.__dict__)
