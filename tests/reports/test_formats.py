"""Reports for other programs, read by other programs: SARIF by the models of sarif-pydantic and
the facts of the standard, JUnit XML by junitparser, TAP by tap.py; each fails just where the proof
does."""

import json
from pathlib import Path
from typing import Any

import pytest
from junitparser import Error, Failure, JUnitXml, Skipped
from sarif_pydantic import Sarif
from tap.parser import Parser

import verifier
from tests.decide.layouts import BROKEN, SAFE
from tests.junction_files import spec
from tests.reports.schemas import validator
from verifier.cli import main
from verifier.reports import machine
from verifier.reports.formats.cases import FAILING, Case, Edit, FileResult, cases
from verifier.reports.formats.markdown import markdown
from verifier.verdicts.exit_codes import ExitCode

ALL = ("json", "sarif", "junit", "tap", "github", "gitlab", "markdown")
WAIVED = SAFE.replace(
    "signal 4L", 'waive opposing-proceeds for 4L, 4RA because "hand cars & <flags>"\nsignal 4L', 1
)
HELD = f'{SAFE}\nassume "nobody comes # here": always Single occupied\n'
KINDS = {
    "safe": SAFE, "broken": BROKEN, "wrong": "signal\n\nturnout\n", "held": HELD,
    "expected": spec("end-of-siding-broken").read_text("utf-8"),
    "unmet": spec("end-of-siding-mended").read_text("utf-8")
    + "\nexpect broken opposing-proceeds for 4L, 4RA\n",
    "history": spec("lock-between-spots-broken").read_text("utf-8").replace("\nexpect ", "\n# "),
    "waived": spec("padlocked-switch").read_text("utf-8"),
}  # fmt: skip


pytestmark = pytest.mark.xdist_group(__name__)  # one process makes what all need


@pytest.fixture(scope="module")
def reports(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """For each kind of file and each format, the report and the exit code."""
    folder = tmp_path_factory.mktemp("formats")
    made: dict[str, dict[str, Any]] = {}
    for kind, text in KINDS.items():
        path = folder / f"{kind}.ixl"
        path.write_text(text, "utf-8")
        files = [folder / f"{kind}.{name}" for name in ALL]
        options = [word for name, file in zip(ALL, files, strict=True)
                   for word in ("--output-format", name, "-o", str(file))]  # fmt: skip
        code = main(["prove", "--quiet", *options, str(path)])
        texts = {name: file.read_text("utf-8") for name, file in zip(ALL, files, strict=True)}
        made[kind] = {"code": code, "file": path, **texts}
    return made


@pytest.mark.parametrize("kind", KINDS)
def test_sarif(kind: str, reports: dict[str, dict[str, Any]]) -> None:
    """SARIF 2.1.0 (OASIS), sections as named."""
    log = json.loads(reports[kind]["sarif"])
    Sarif.model_validate(log)
    assert log["version"] == "2.1.0"
    [run] = log["runs"]
    rules = [rule["id"] for rule in run["tool"]["driver"]["rules"]]
    assert len(set(rules)) == len(rules)
    for rule in run["tool"]["driver"]["rules"]:
        if "help" in rule:  # a property of the file's own has none
            assert main(["explain", rule["id"]]) == ExitCode.AS_EXPECTED, rule
    [invocation] = run["invocations"]
    assert invocation["exitCode"] == reports[kind]["code"]
    failing = 0
    for result in run["results"]:
        assert rules[result["ruleIndex"]] == result["ruleId"]  # 3.27.6
        # 3.27.9 and 3.27.10: a level other than none is for kind fail alone.
        assert result["kind"] in {"pass", "open", "review", "fail"}
        assert (result["level"] == "none") == (result["kind"] != "fail")
        assert result["message"]["text"]
        for suppression in result.get("suppressions", ()):
            assert suppression["kind"] in {"inSource", "external"}  # 3.35.2
            assert suppression["justification"]
        regions = [place["physicalLocation"]["region"] for place in result["locations"]]
        for flow in result.get("codeFlows", ()):
            [thread] = flow["threadFlows"]  # 3.36.3: at least one
            assert thread["locations"]
        changes = [change for fix in result.get("fixes", ()) for change in fix["artifactChanges"]]
        regions += [r["deletedRegion"] for change in changes for r in change["replacements"]]
        for region in regions:  # 3.30.5 to 3.30.8: from 1, the end not before the start
            start = region["startLine"], region["startColumn"]
            assert (1, 1) <= start <= (region["endLine"], region["endColumn"])
        open_or_broken = result["kind"] in {"open", "fail"} and result["level"] != "note"
        failing += open_or_broken and not result.get("suppressions")
    assert bool(failing) == bool(reports[kind]["code"])


def test_sarif_tells_a_history_and_proved_repairs(reports: dict[str, dict[str, Any]]) -> None:
    results = json.loads(reports["history"]["sarif"])["runs"][0]["results"]
    told = [r for r in results if r["kind"] == "fail" and "codeFlows" in r]
    assert told
    for result in told:
        steps = result["codeFlows"][0]["threadFlows"][0]["locations"]
        assert len(steps) > 2
        assert [step["executionOrder"] for step in steps] == [*range(1, len(steps) + 1)]
        assert any("physicalLocation" in step["location"] for step in steps)


def test_fixes_mend_the_file(reports: dict[str, dict[str, Any]], tmp_path: Path) -> None:
    """Written where they belong, they make the file proved."""
    text = reports["broken"]["file"].read_text("utf-8")
    results = json.loads(reports["broken"]["sarif"])["runs"][0]["results"]
    fixes = [r["fixes"][0] for r in results if r.get("fixes")]
    assert len(fixes) == 2
    lines = text.split("\n")
    replacements = [fix["artifactChanges"][0]["replacements"][0] for fix in fixes]
    for replacement in sorted(replacements, key=lambda r: -r["deletedRegion"]["startLine"]):
        region, new = replacement["deletedRegion"], replacement["insertedContent"]["text"]
        assert region["startLine"] == region["endLine"]
        at, end = region["startColumn"] - 1, region["endColumn"] - 1
        line = lines[region["startLine"] - 1]
        lines[region["startLine"] - 1] = line[:at] + new + line[end:]
    mended = tmp_path / "mended.ixl"
    mended.write_text("\n".join(lines), "utf-8")
    assert main(["prove", "--quiet", str(mended)]) == ExitCode.AS_EXPECTED


@pytest.mark.parametrize("kind", KINDS)
def test_junit(kind: str, reports: dict[str, dict[str, Any]]) -> None:
    [suite] = JUnitXml.fromstring(reports[kind]["junit"].encode())
    results = [result for case in suite for result in case.result]
    failures = sum(isinstance(r, Failure) for r in results)
    errors = sum(isinstance(r, Error) for r in results)
    assert (suite.failures, suite.errors, suite.tests) == (failures, errors, len(list(suite)))
    assert suite.skipped == sum(isinstance(r, Skipped) for r in results) == (kind == "waived")
    code = reports[kind]["code"]
    assert bool(failures) == (code == ExitCode.BROKEN)
    [file] = json.loads(reports[kind]["json"])["files"]
    undecided = file.get("counts", {}).get("undecided", 0)
    assert bool(errors) == bool(undecided or code in (ExitCode.UNDECIDED, ExitCode.BAD_INPUT))


@pytest.mark.parametrize("kind", KINDS)
def test_tap(kind: str, reports: dict[str, dict[str, Any]]) -> None:
    lines = list(Parser().parse_text(reports[kind]["tap"]))
    [plan] = [line for line in lines if line.category == "plan"]
    tests = [line for line in lines if line.category == "test"]
    assert [test.number for test in tests] == [*range(1, plan.expected_tests + 1)]
    assert any(not test.ok for test in tests) == bool(reports[kind]["code"])
    assert [test.skip for test in tests].count(True) == (kind == "waived")
    assert not any(test.todo for test in tests)


@pytest.mark.parametrize("kind", KINDS)
def test_forges(kind: str, reports: dict[str, dict[str, Any]]) -> None:
    """GitHub Actions: `::error file=…,line=…::message`, with % and line ends escaped, and `:` and
    `,` too in what stands before the message. GitLab: the documented fields of a code-quality
    report, each fingerprint once."""
    annotations = reports[kind]["github"].splitlines()
    for line in annotations:
        head, _, message = line.removeprefix("::").partition("::")
        word, _, properties = head.partition(" ")
        assert word in {"error", "notice"} and message
        said = dict(part.split("=", 1) for part in properties.split(","))
        assert {"file", "line", "title"} <= set(said) <= {
            "file", "line", "endLine", "col", "endColumn", "title",
        }  # fmt: skip
    errors = [line for line in annotations if line.startswith("::error")]
    assert bool(errors) == bool(reports[kind]["code"])
    found = json.loads(reports[kind]["gitlab"])
    for entry in found:
        assert set(entry) == {"description", "check_name", "fingerprint", "severity", "location"}
        assert entry["severity"] in {"info", "minor", "major", "critical", "blocker"}
        assert entry["location"]["lines"]["begin"] >= 1
    assert len({entry["fingerprint"] for entry in found}) == len(found)
    grave = [entry for entry in found if entry["severity"] != "info"]
    assert bool(grave) == bool(reports[kind]["code"])


@pytest.mark.parametrize("kind", KINDS)
def test_markdown(kind: str, reports: dict[str, dict[str, Any]]) -> None:
    text = reports[kind]["markdown"]
    assert text.startswith(f"### clearproof: {ExitCode(reports[kind]['code']).meaning}\n")
    assert ("\n#### " in text) == bool(reports[kind]["code"])
    assert text.count("```") % 2 == 0
    assert "not for railways that carry people" in text
    told = f"`clearproof mend {reports[kind]['file']}` looks for repairs."
    assert (told in text.splitlines()) == (kind in ("broken", "history"))
    if kind in ("broken", "history"):
        assert "```text\n" in text and "◄─" in text


def test_a_repair_of_several_lines_is_shown_as_these_lines() -> None:
    """In the summary, no line runs into the next one."""
    one = Edit("Add", (3, 9), (3, 9), " and T1 normal")
    several = Edit("Add", (3, 9), (5, 2), " and T1 normal\n  Stop otherwise\nsignal 2 at A | B")
    document = machine.file_report(verifier.prove(verifier.load_text(BROKEN)))
    number = next(i for i, v in enumerate(document["verdicts"]) if v["status"] == "broken")
    result = FileResult(document, {number: (one, several)})
    text = markdown([result], ExitCode.BROKEN)
    assert "Add (proved), at line 3: `and T1 normal`\n" in text
    shown = "… and T1 normal\n  Stop otherwise\nsignal 2 at A | B"
    assert f"Add (proved), lines 3 to 5:\n\n```text\n{shown}\n```\n" in text


def test_json_is_the_same_document(reports: dict[str, dict[str, Any]]) -> None:
    for made in reports.values():
        document = json.loads(made["json"])
        validator().validate(document)
        assert document["exit_code"] == made["code"]


def test_a_file_that_fails_has_a_case_that_fails() -> None:
    """Whatever the reason of its exit code: even one that no format knows."""
    document = {"file": "a.ixl", "exit_code": 3, "grade": "not proved", "headline": "not proved: x"}
    assert cases(FileResult(document)) == [Case("a.ixl", "grade", (), "undecided", "not proved: x")]
    assert "undecided" in FAILING


def test_fingerprints_outlast_a_move_within_the_file(tmp_path: Path) -> None:
    marks = []
    for text in (BROKEN, f"# one more line\n\n{BROKEN}"):
        path = tmp_path / "x.ixl"
        path.write_text(text, "utf-8")
        made = tmp_path / "x.json"
        main(["prove", "--quiet", "--output-format", "gitlab", "-o", str(made), str(path)])
        found = json.loads(made.read_text("utf-8"))
        marks.append({entry["fingerprint"] for entry in found})
    assert marks[0] == marks[1] and len(marks[0]) >= 2
