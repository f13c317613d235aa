"""The house keeps its shape: who may import whom, what start-up loads, what is documented."""

import ast
import subprocess
import sys
from collections import Counter
from collections.abc import Iterable, Set
from functools import cache
from pathlib import Path

import networkx
import pytest

from tests.lanes import SAMPLED, SLOW
from tests.sweep import SWEEPS, drawn, sample

ROOT = Path(__file__).resolve().parents[2]
FLOORS = [
    "language", "plan", "logic", "census", "world", "properties", "reference", "engines",
    "verdicts", "explain", "decide", "repair", "pipeline", "diagnosis", "testcard", "exports",
    "drafting", "mending", "sheets", "drawing", "sketching", "reports", "api", "assist",
    "workbench", "editor", "farm", "commands",
]  # fmt: skip
PATHS = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for path in (ROOT / "verifier").rglob("*.py")
}
MODULES = sorted(PATHS)
# More modules than this in one folder need rooms.
MOST_MODULES = 25


@cache
def imported(path: Path) -> frozenset[str]:
    """The modules that a file imports, anywhere in it; `from package import module` is one."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.module and not node.level, f"{path}: a relative import"
            inner = {f"{node.module}.{alias.name}" for alias in node.names}
            names |= inner.intersection(PATHS) or {node.module}
        elif isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
    return frozenset(names)


@cache
def graph() -> "networkx.DiGraph[str]":
    """Our modules, and an edge to each module of ours that one imports. Imports of the package
    itself (for its version) are left out: it imports everything, and only on use."""
    found: networkx.DiGraph[str] = networkx.DiGraph()
    found.add_nodes_from(MODULES)
    for module, path in PATHS.items():
        found.add_edges_from((module, name) for name in imported(path) if name in PATHS)
    found.remove_node("verifier")
    return found


@pytest.mark.parametrize("floor", FLOORS)
def test_a_folder_imports_only_from_folders_above_it(floor: str) -> None:
    allowed = set(FLOORS[: FLOORS.index(floor) + 1])
    # Data packages: the grammar's text, patterns and the properties' example files.
    allowed |= {"grammar", "patterns"}
    where = ROOT / "verifier" / floor
    for path in where.rglob("*.py") if where.is_dir() else [where.with_suffix(".py")]:
        for name in imported(path):
            parts = name.split(".")
            # `__version__` of the package is for everyone.
            if parts[0] == "verifier" and len(parts) > 1:
                assert parts[1] in allowed, f"{path.relative_to(ROOT)} imports {name}"


def test_only_engines_know_z3() -> None:
    for path in (ROOT / "verifier").rglob("*.py"):
        uses = any(name.split(".")[0] == "z3" for name in imported(path))
        assert not uses or ROOT / "verifier" / "engines" in path.parents, path


def test_modules_do_not_import_each_other_in_a_circle() -> None:
    assert list(networkx.simple_cycles(graph())) == []


def test_the_reference_and_the_encoding_do_not_reach_each_other() -> None:
    """Not even through third modules. Engines may replay what they find on the reference."""
    in_floor = {floor: {n for n in MODULES if _floor(n) == floor} for floor in FLOORS}
    meaning = set().union(*(in_floor[floor] for floor in ("logic", "world", "properties")))
    reference, engines = in_floor["reference"], in_floor["engines"]
    assert len(reference) > 8 and len(meaning) > 30 and len(engines) > 20
    _do_not_reach(reference, meaning | engines)
    _do_not_reach(meaning, reference)


# What the census may read of a plan: what a file says, and what words mean. Whatever else is worked
# out of a plan, it works out again.
READ_BY_THE_CENSUS = {
    "verifier.logic.expr",
    "verifier.plan.model",
    "verifier.plan.observables",
    "verifier.plan.locking.locking_model",
    "verifier.plan.signals.aspects",
    "verifier.plan.signals.packet_model",
    "verifier.plan.wiring.electrical_constants",
    "verifier.plan.wiring.wiring_model",
}
WORKED_OUT = {
    "routes", "routes_of", "conflicts", "limits", "equipment", "onward", "joint_at", "graph",
    "facts_read", "proceeds", "permits", "diverging",
}  # fmt: skip


def test_the_census_is_a_derivation_of_its_own() -> None:
    """Neither what makes the obligations nor what it rests on is used to count them."""
    census = {name for name in MODULES if _floor(name) == "census"}
    assert len(census) > 6
    for name in census:
        foreign = imported(PATHS[name]) & set(MODULES) - census - READ_BY_THE_CENSUS
        assert not foreign, f"{name} imports {sorted(foreign)}"
        read = {
            node.attr
            for node in ast.walk(ast.parse(PATHS[name].read_text("utf-8")))
            if isinstance(node, ast.Attribute)
        }
        assert not read & WORKED_OUT, f"{name} reads {sorted(read & WORKED_OUT)}"
    meaning = {n for n in MODULES if _floor(n) in ("world", "properties", "reference", "engines")}
    _do_not_reach(meaning, census)


def _do_not_reach(some: Iterable[str], others: Set[str]) -> None:
    for name in sorted(some):
        reached = networkx.descendants(graph(), name) & others
        assert not reached, f"{name} imports {sorted(reached)}"


def _floor(module: str) -> str:
    return module.removeprefix("verifier").lstrip(".").split(".")[0]


def test_no_folder_has_too_many_modules() -> None:
    folders = Counter(path.parent for path in PATHS.values() if path.name != "__init__.py")
    assert not {folder: n for folder, n in folders.items() if n > MOST_MODULES}


def test_every_module_imports_by_itself() -> None:
    """Each with no other module of ours loaded than those it imports; and none in a circle."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.house.import_each"],
        cwd=ROOT, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == MODULES


@pytest.mark.parametrize(
    "arguments",
    [["--help"], ["explain", "properties"], ["explain", "CP204"], ["new"], ["prove", "--help"]],
)
def test_commands_that_prove_nothing_do_not_load_the_solver(arguments: list[str]) -> None:
    program = (
        "import sys\n"
        "from verifier.cli import main\n"
        "try:\n"
        f"    main({arguments!r})\n"
        "except SystemExit:\n"
        "    pass\n"
        "loaded = [m for m in ('z3', 'lark') if m in sys.modules]\n"
        "sys.exit('loaded ' + ' '.join(loaded) if 'z3' in loaded else 0)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr


def test_the_top_level_is_as_agreed() -> None:
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if tracked.returncode:
        pytest.skip("not a git checkout: the top level cannot be listed")
    top = {line.split("/")[0] for line in tracked.stdout.splitlines()}
    wanted = {"README.md", "DEVELOPERS.md", "pyproject.toml"}
    wanted |= {"grammar", "verifier", "tests", "specs"}
    assert {name for name in top if not name.startswith(".")} == wanted


@pytest.mark.parametrize("place", (*SLOW, *SAMPLED, *SWEEPS))
def test_what_is_left_out_of_a_run_exists(place: str) -> None:
    path, _, test = place.partition("::")
    assert (ROOT / path).is_dir() if path.endswith("/") else (ROOT / path).is_file()
    assert not test or f"def {test}" in (ROOT / path).read_text("utf-8")


def test_a_sample_of_a_sweep_has_each_kind_and_other_tests_stay_whole() -> None:
    sweep = next(iter(SWEEPS))
    cases = [(f"{sweep}[{n}-{how}]", (n, how)) for n in range(10) for how in ("one", "other")]
    other = "tests/house/test_structure.py::test_x[1]"
    found = drawn([*cases, (other, (1,)), (sweep, ())])
    assert {other, sweep} < set(found) and len(found) < len(cases)
    assert {name.rpartition("-")[2] for name in found if "-" in name} == {"one]", "other]"}
    assert sample(range(100), 7, "x", lambda n: n > 97)[-1] > 97


def test_files_stay_small_enough_to_read() -> None:
    long = {
        str(path.relative_to(ROOT)): lines
        for path in (ROOT / "verifier").rglob("*.py")
        if (lines := len(path.read_text("utf-8").splitlines())) > 560
    }
    assert not long


def test_developers_map_names_real_places() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    for word in set(text.replace("(", " ").replace(")", " ").split()):
        path = word.strip("`.,:;")
        if path.startswith(("verifier/", "tests/", "grammar/", "specs/")) and "NAME" not in path:
            assert (ROOT / path).exists(), path
