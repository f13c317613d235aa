"""The JSON report keeps to its published schema, and says what the verdicts say."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tests.junction_files import SPEC_FILES, spec
from tests.proofs import proved
from tests.reports.schemas import schema, validator
from verifier.cli import main
from verifier.reports.machine import document, file_report

ROOT = Path(__file__).resolve().parents[2]


def json_of(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, dict[str, Any]]:
    code = main(["prove", "--json", *arguments])
    found = json.loads(capsys.readouterr().out)
    validator().validate(found)
    return code, found


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize("spec", SPEC_FILES, ids=lambda path: path.stem)
def test_every_spec_gives_a_valid_report(spec: Path) -> None:
    report = proved(spec)
    found = json.loads(json.dumps(document([file_report(report)], report.exit_code)))
    validator().validate(found)
    assert found["exit_code"] == 0
    [file] = found["files"]
    assert [v["status"] for v in file["verdicts"]] == [v.status for v in report.verdicts]
    for told, verdict in zip(file["verdicts"], report.verdicts, strict=True):
        assert told["subjects"] == list(verdict.obligation.subjects)
        assert (told["finding"] is None) == (verdict.finding is None)


def test_wrong_input_is_reported_with_its_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "wrong.ixl"
    path.write_text("block A\ntrack B = A\n")
    code, found = json_of(capsys, str(path))
    assert code == 2
    [file] = found["files"]
    [error] = file["errors"]
    assert (error["code"], error["place"]["line"], error["place"]["column"]) == ("CP201", 2, 7)


def test_several_files_have_the_worst_exit_code(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.ixl").write_text("block A\ntrack B = A\n")
    (tmp_path / "b.ixl").write_text(spec("end-of-siding-mended").read_text())
    code, found = json_of(capsys, str(tmp_path))
    assert code == found["exit_code"] == 2
    assert [file["exit_code"] for file in found["files"]] == [2, 0]
