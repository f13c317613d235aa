"""Check the proofs of a folder that `clearproof prove --certificate` wrote, without clearproof.

    python check.py [FOLDER] [JUNCTION-FILE ...]

Needs Python 3.11 and a solver: the package cvc5, or else z3-solver. Each file ending in .smt2 has
to be answered `unsat` three times. Of the junction files that are named, each proof also has to be
one, by the SHA-256 that it carries. Exit code: 0 all stand, 1 one does not, 3 one is undecided, 2
nothing could be checked.

This checks the proofs, not the encoding: that a file describes your layout is for you to read.
It imports nothing of clearproof's.
"""

import sys
from collections.abc import Callable, Sequence
from hashlib import sha256
from pathlib import Path

QUESTIONS = 3
# How a certificate begins, and the line that names the file that it is of.
MAGIC, OF = "; certificate of clearproof", "; of the file with SHA-256 "

Solver = Callable[[str], list[str]]


def main(arguments: Sequence[str]) -> int:
    """Check the folder that the arguments name, and print a line for each proof."""
    folder = Path(arguments[0] if arguments else Path(__file__).parent)
    try:
        files = sorted(folder.glob("*.smt2"))
        known = {sha256(Path(name).read_bytes()).hexdigest() for name in arguments[1:]}
    except OSError as error:
        return _stopped(str(error))
    if not files:
        return _stopped(f"{folder} holds no proofs (no files ending in .smt2)")
    found = _solver()
    if found is None:
        return _stopped("no solver: `pip install cvc5`, or z3-solver")
    name, ask = found
    print(f"Checked by {name}: the proofs, not that they describe your layout.")
    verdicts = [_checked(file, ask, known) for file in files]
    for file, verdict in zip(files, verdicts, strict=True):
        print(f"{verdict:<9}  {file.name}")
    stands = verdicts.count("stands")
    print(f"{stands} of {len(files)} proofs stand.")
    if not known:
        print("Name junction files to have it checked that the proofs are theirs.")
    return 0 if stands == len(files) else 3 if set(verdicts) <= {"stands", "undecided"} else 1


def _stopped(why: str) -> int:
    print(f"Nothing was checked: {why}.", file=sys.stderr)
    return 2


def _checked(file: Path, ask: Solver, known: set[str]) -> str:
    try:
        text = file.read_text("utf-8")
    except (OSError, UnicodeDecodeError):
        return "unread"
    head = text.split("\n(", 1)[0].splitlines()
    if not head or not head[0].startswith(MAGIC):
        return "foreign"
    of = {line.removeprefix(OF) for line in head if line.startswith(OF)}
    if known and not of & known:
        return "other"
    answers = ask(text) if text.count("(check-sat)") == QUESTIONS else []
    if answers == ["unsat"] * QUESTIONS:
        return "stands"
    return "undecided" if "unknown" in answers and "sat" not in answers else "FAILS"


def _solver() -> tuple[str, Solver] | None:
    """A solver that is installed, by its name; None where there is none."""
    try:
        import cvc5

        return f"cvc5 {cvc5.__version__}", _by_cvc5
    except ImportError:
        pass
    try:
        import z3

        return f"z3 {z3.get_version_string()}", _by_z3
    except ImportError:
        return None


def _by_cvc5(text: str) -> list[str]:
    import cvc5

    terms = cvc5.TermManager()
    solver, symbols = cvc5.Solver(terms), cvc5.SymbolManager(terms)
    solver.setOption("incremental", "true")
    parser = cvc5.InputParser(solver, symbols)
    parser.setStringInput(cvc5.InputLanguage.SMT_LIB_2_6, text, "certificate")
    answers = []
    try:
        while not (command := parser.nextCommand()).isNull():
            answers += command.invoke(solver, symbols).split()
    except RuntimeError:  # what is no SMT-LIB
        answers.append("error")
    return answers


def _by_z3(text: str) -> list[str]:
    import z3

    try:
        return str(z3.Z3_eval_smtlib2_string(z3.Context().ref(), text)).split()
    except z3.Z3Exception:
        return ["error"]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
