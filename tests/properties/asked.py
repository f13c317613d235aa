"""What one property says of a junction text: used by the tests beside."""

from collections.abc import Iterable

import verifier
from verifier.properties.catalog import BY_NAME
from verifier.reference.explicit_situations import tally


def asked(name: str, text: str) -> dict[str, str]:
    """Every question of one property by its subjects, and the verdict. Each verdict is held
    against the enumerator, which goes through every situation."""
    plan = verifier.load_text(text)
    verdicts = verifier.prove(plan, only=[name]).verdicts
    counted = tally(plan, [v.obligation.holds_in for v in verdicts])
    for verdict, found in zip(verdicts, counted, strict=True):
        assert verdict.status == ("broken" if found.count else "proved"), verdict.obligation.key
    return {", ".join(v.obligation.subjects): v.status for v in verdicts}


def said(name: str, text: str, *subjects: str) -> tuple[str, str]:
    """The trouble and the hint of one broken question."""
    for verdict in verifier.prove(verifier.load_text(text), only=[name]).verdicts:
        if verdict.obligation.subjects == subjects:
            assert verdict.status == "broken"
            return verdict.obligation.trouble, verdict.obligation.hint
    raise AssertionError(f"{name} is not asked of {subjects}")


def places(name: str, text: str) -> set[str]:
    """The lines, as written, that the broken questions of a property point to."""
    plan = verifier.load_text(text)
    broken = (v for v in verifier.prove(plan, only=[name]).verdicts if v.status == "broken")
    return {span.text.split("\n")[0].strip() for v in broken for span in v.obligation.spans}


def nothing_is_asked(names: Iterable[str], text: str) -> bool:
    plan = verifier.load_text(text)
    return not any(list(BY_NAME[name].make(plan)) for name in names)
