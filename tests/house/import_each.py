"""Imports every module of the program by itself, in one process, and prints their names.

A module is imported when those it imports have been, each of these by itself as well. Nothing
else of the program is loaded at that moment: what a module forgot to import is missing then, as
it would be in a process of its own.
"""

import ast
import sys
from collections.abc import Iterator
from graphlib import TopologicalSorter
from importlib import import_module
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).resolve().parents[2]


def files() -> dict[str, Path]:
    """Each module by its name, and the file it stands in."""
    found = {}
    for path in sorted((ROOT / "verifier").rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        found[".".join(parts).removesuffix(".__init__")] = path
    return found


def at_import(body: list[ast.stmt]) -> Iterator[ast.Import | ast.ImportFrom]:
    """The import statements that run when the module is imported."""
    for node in body:
        match node:
            case ast.Import() | ast.ImportFrom():
                yield node
            case ast.If(test=ast.Name(id="TYPE_CHECKING")):
                yield from at_import(node.orelse)
            case ast.If() | ast.Try():
                yield from at_import([*node.body, *node.orelse])


def imports(name: str, modules: dict[str, Path]) -> set[str]:
    """The modules of the program that ``name`` imports, and the packages around them all."""
    named = {name}
    for node in at_import(ast.parse(modules[name].read_text("utf-8")).body):
        if isinstance(node, ast.ImportFrom):
            named |= {str(node.module), *(f"{node.module}.{part.name}" for part in node.names)}
        else:
            named |= {part.name for part in node.names}
    around = {found.rsplit(".", cut)[0] for found in named for cut in range(found.count(".") + 1)}
    return {found for found in named | around if found in modules} - {name}


def ours() -> set[str]:
    return {name for name in sys.modules if name.partition(".")[0] == "verifier"}


def leave_only(known: dict[str, ModuleType]) -> None:
    """Make ``known`` all that is loaded of the program, as attributes of packages too."""
    for name in ours():
        package, _, child = name.rpartition(".")
        if package in sys.modules:
            vars(sys.modules[package]).pop(child, None)
        if name not in known:
            del sys.modules[name]
    for name, module in known.items():
        sys.modules[name] = module
        package, _, child = name.rpartition(".")
        if package:
            setattr(known[package], child, module)


def main() -> None:
    modules = files()
    needs = {name: imports(name, modules) for name in modules}
    loaded: dict[str, ModuleType] = {}
    closure: dict[str, set[str]] = {}
    for name in TopologicalSorter(needs).static_order():  # CycleError: modules in a circle
        closure[name] = needs[name].union(*(closure[other] for other in needs[name]))
        leave_only({other: loaded[other] for other in closure[name]})
        loaded[name] = import_module(name)
        assert ours() == closure[name] | {name}, f"{name} loads {ours() - closure[name]}"
    print(*sorted(loaded))


if __name__ == "__main__":
    main()
