"""Every command that has an output: how it writes a file, a folder, in place, or prints.

A command that writes and stands in no table here is not attacked: add it.
"""

from collections.abc import Callable, Mapping
from typing import NamedTuple

from tests.drawing.samples import END_OF_SIDING
from tests.junction_files import spec
from verifier.sheets.catalog import SHEETS

# What lies in the folder that commands work in.
JUNCTION, WIRED, TRAINS = "alder-creek.ixl", "wired.ixl", "trains.ixl"
BARE, AMISS, LOG = "bare.ixl", "amiss.ixl", "log.csv"
TRACK = "edge W, E\nblock A, B\ntrack W = A | B = E\n"
FILES = {
    JUNCTION: END_OF_SIDING,
    WIRED: spec("panel-and-boards").read_text("utf-8"),
    TRAINS: spec("one-engine").read_text("utf-8"),
    BARE: TRACK,
    AMISS: f"{TRACK}signal 1 at A | B\n  Clear when A clear\n  Stop otherwise\n",
    LOG: "time,what,state\n0,Main,occupied\n1,Main,clear\n",
}
UNTIDY = "block   A ,B\nedge W,E\ntrack W=A|B=E\n# a remark\n"
ONLY = ("--only", "derailment", "--no-cache")
FORMATS = ("json", "sarif", "junit", "tap", "github", "gitlab", "markdown", "text")


class Writer(NamedTuple):
    """How a command is told to write to a path that ends as ``ends`` says, and what it reads.
    ``made``: what it writes, where that is not the path itself; ``folder``: it makes one."""

    words: Callable[[str], list[str]]
    reads: str = JUNCTION
    ends: str = ""
    made: str = ""
    folder: bool = False
    new: bool = False


WRITERS: Mapping[str, Writer] = {
    "draw": Writer(lambda out: ["draw", JUNCTION, "-o", out]),
    "draw strips": Writer(
        lambda out: ["draw", JUNCTION, "--strips", "300", "-o", out], ends=".svg", made="out-1.svg"
    ),
    "draw wiring": Writer(lambda out: ["draw", WIRED, "--wiring", "-o", out], WIRED),
    "sheet": Writer(lambda out: ["sheet", WIRED, "labels", "-o", out], WIRED),
    "export": Writer(lambda out: ["export", JUNCTION, "--within", "1", "-o", out]),
    "export board": Writer(
        lambda out: ["export", WIRED, "--within", "1", "--board", "B1", "-o", "c", "--around", out],
        WIRED,
    ),
    "export aiger": Writer(lambda out: ["export", TRAINS, "--format", "aiger", "-o", out], TRAINS),
    "report": Writer(lambda out: ["prove", JUNCTION, *ONLY, "--report", out]),
    "two reports": Writer(lambda out: [
        "prove", JUNCTION, *ONLY, "--json", "--output-format", "tap", "-o", "other",
        "--output-format", "junit", "-o", out,
    ]),
    "new": Writer(lambda out: ["new", "end-of-siding", out], new=True),
    "draft": Writer(lambda out: ["draft", BARE, "-o", out], BARE, new=True),
    "farm": Writer(lambda out: ["farm", "junctions", BARE, "--jobs", "1", "-o", out], BARE, ".csv"),
    "certificates": Writer(lambda out: ["prove", TRAINS, "--no-cache", "--certificate", out],
                           TRAINS, folder=True),
    "pack": Writer(lambda out: ["pack", out], folder=True),
    **{
        f"prove {form}": Writer(lambda out, form=form: [  # type: ignore[misc]
            "prove", JUNCTION, *ONLY, "--output-format", form, "-o", out])
        for form in FORMATS
    },
}  # fmt: skip
IN_PLACE: Mapping[str, tuple[Callable[[str], list[str]], str]] = {
    "format": (lambda out: ["format", out], UNTIDY),
    "mend": (lambda out: ["mend", out, "--apply", "1"], FILES[AMISS]),
}
TO_STANDARD_OUTPUT: Mapping[str, list[str]] = {
    "draw": ["draw", JUNCTION], "draw wiring": ["draw", WIRED, "--wiring"],
    **{f"sheet {kind}": ["sheet", JUNCTION if kind == "test-card" else WIRED, kind]
       for kind in SHEETS},
    **{f"sheet {kind} as CSV": ["sheet", JUNCTION if kind == "test-card" else WIRED, kind, "--csv"]
       for kind in SHEETS if kind != "addresses"},
    "export": ["export", JUNCTION, "--within", "1"],
    "export board": ["export", WIRED, "--within", "1", "--board", "B1"],
    "export aiger": ["export", TRAINS, "--format", "aiger"],
    "explain": ["explain", "codes"], "ask": ["ask", JUNCTION, "train on Main"],
    "diagnose": ["diagnose", JUNCTION, "train on Main: 4L Clear"],
    "diagnose as JSON": ["diagnose", JUNCTION, "train on Main: 4L Clear", "--json"],
    "replay": ["replay", JUNCTION, LOG], "replay as JSON": ["replay", JUNCTION, LOG, "--json"],
    "mend": ["mend", AMISS], "mend as JSON": ["mend", AMISS, "--json"], "draft": ["draft", BARE],
    "prove": ["prove", JUNCTION, *ONLY], "json": ["prove", JUNCTION, *ONLY, "--json"],
    **{f"prove {form}": ["prove", JUNCTION, *ONLY, "--output-format", form] for form in FORMATS},
    "new": ["new"], "format": ["format", "--check", "untidy.ixl"], "help": ["--help"],
    **{f"completion {shell}": ["completion", shell] for shell in ("bash", "zsh", "fish")},
}  # fmt: skip
