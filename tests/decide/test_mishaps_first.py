"""What can always be done again is decided once no mishap is left that the file does not claim."""

import verifier
from tests.junction_files import EXAMPLE_FILES
from verifier.decide.histories import MISHAPS_FIRST
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.report import Report

COLLISION = next(p for p in EXAMPLE_FILES if p.name == "collision.broken.ixl").read_text("utf-8")


def proved(text: str) -> Report:
    return verifier.prove(verifier.load_text(text))


def left_open(report: Report) -> set[str]:
    return {v.obligation.over for v in report.verdicts if v.why == MISHAPS_FIRST}


def test_a_mishap_that_nobody_expects_comes_first() -> None:
    report = proved(COLLISION)
    assert left_open(report) == {"for good"}
    assert all(v.status == "undecided" for v in report.verdicts if v.why == MISHAPS_FIRST)
    assert report.exit_code == ExitCode.BROKEN


def test_with_a_mishap_expected_or_waived_it_is_decided() -> None:
    broken = {
        v.obligation.property
        for v in proved(COLLISION).verdicts
        if v.status == "broken" and v.obligation.property in ("collision", "derailment")
    }
    assert broken
    for claim in ("expect broken {}", 'waive {} because "a lesson"'):
        claims = "\n".join(claim.format(name) for name in sorted(broken))
        assert not left_open(proved(f"{COLLISION}\n{claims}\n"))
