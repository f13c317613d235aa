"""README's picture: its first finding. `python -m tests.house.readme_picture` draws it anew."""

import re
from pathlib import Path

import verifier
from verifier.language.writing import write_file
from verifier.reports.page.pictures import Numbers, situation_picture

ROOT = Path(__file__).resolve().parents[2]
PICTURE = ROOT / "specs" / "heron-falls.svg"


def block(marker: str) -> str:
    """The fenced block of README that follows ``<!-- marker -->``."""
    readme = (ROOT / "README.md").read_text("utf-8")
    found = re.search(rf"<!-- {marker} -->\n```\w*\n(.*?)```", readme, re.DOTALL)
    assert found, marker
    return found.group(1)


def first_finding() -> str:
    """What is broken in the first junction of README, as the report draws it."""
    plan = verifier.load_text(block("first junction"))
    broken = next(v for v in verifier.prove(plan).verdicts if v.status == "broken")
    assert broken.finding is not None
    numbers = Numbers(plan, ())
    return situation_picture(broken.finding, broken.obligation, plan, numbers, "").svg


if __name__ == "__main__":
    write_file(PICTURE, first_finding())
