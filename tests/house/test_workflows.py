"""What users copy into their CI is well-formed: by the schemas that check-jsonschema brings along.
The commands in it run."""

import json
import re
import shlex
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import ruamel.yaml

from tests.decide.layouts import SAFE
from verifier.cli import main

ROOT = Path(__file__).parents[2]
REFERENCE = (ROOT / "grammar" / "reference.md").read_text("utf-8")


def workflow(forge: str) -> Any:
    found = re.search(rf"<!-- {forge} workflow -->\n```yaml\n(.*?)```", REFERENCE, re.DOTALL)
    assert found
    return ruamel.yaml.YAML(typ="safe").load(found[1])


@pytest.mark.parametrize(
    ("forge", "name"), [("github", "github-workflows"), ("gitlab", "gitlab-ci")]
)
def test_workflows_are_well_formed(forge: str, name: str) -> None:

    vendor = files("check_jsonschema") / "builtin_schemas" / "vendor" / f"{name}.json"
    schema = json.loads(vendor.read_text("utf-8"))
    validator = jsonschema.validators.validator_for(schema)(schema)
    assert not list(validator.iter_errors(workflow(forge)))
    broken = workflow(forge) | {"jobs": 3, "signals": {"script": {}}}
    assert list(validator.iter_errors(broken)), "the schema accepts anything"


def commands(forge: str) -> list[list[str]]:
    found = workflow(forge)
    if forge == "github":
        lines = [step.get("run", "") for step in found["jobs"]["prove"]["steps"]]
    else:
        lines = found["signals"]["script"]
    return [shlex.split(line) for line in lines if line.startswith("clearproof ")]


@pytest.mark.parametrize(
    ("forge", "written"),
    [("github", {"signals.sarif", "summary.md"}), ("gitlab", {"quality.json", "junit.xml"})],
)
def test_their_commands_run(
    forge: str, written: set[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "layout").mkdir()
    (tmp_path / "layout" / "a.ixl").write_text(SAFE, "utf-8")
    [command] = commands(forge)
    assert main(command[1:]) == 0
    assert {path.name for path in tmp_path.iterdir()} == {"layout", *written}


def test_hooks_name_commands_that_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keys as pre-commit documents them."""
    hooks = ruamel.yaml.YAML(typ="safe").load((ROOT / ".pre-commit-hooks.yaml").read_text("utf-8"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.ixl").write_text(SAFE, "utf-8")
    main(["format", "a.ixl"])
    for hook in hooks:
        assert {"id", "name", "entry", "language"} <= set(hook)
        assert re.search(hook["files"], "layout/a.ixl") and not re.search(hook["files"], "a.py")
        names = [] if hook.get("pass_filenames") is False else ["a.ixl"]
        assert main([*hook["entry"].split()[1:], *names]) == 0
        assert hook["id"] in REFERENCE
