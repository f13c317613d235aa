"""Help, did-you-mean, defaults of a club, completion, watching: what makes the commands easy."""

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.test_jobs import hears_ctrl_c
from verifier import cli
from verifier.cli import main
from verifier.commands.helping import not_taken
from verifier.language.words import meanings
from verifier.reports.explanations import explain
from verifier.verdicts.exit_codes import ExitCode

TRACK = "block A, B\nedge West, East\ntrack West = A | B = East\n"
FILE = "signal 2 at A | B\n  Clear when B clear\n  Stop otherwise\n"


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("heron-falls.ixl").write_text(TRACK + FILE)
    return tmp_path


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = main(arguments)
    out, err = capsys.readouterr()
    return code, out, err


def test_help_is_what_the_option_prints(capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in ([], ["prove"], ["sheet"]):
        code, out, _ = said(capsys, "help", *arguments)
        with pytest.raises(SystemExit):
            main([*arguments, "--help"])
        assert code == 0 and out == capsys.readouterr().out


def test_a_command_written_wrong_is_guessed(capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in (["prov", "x.ixl"], ["help", "prov"]):
        code, out, err = said(capsys, *arguments)
        assert (code, out) == (2, "") and err == "`prov` is no command. Did you mean `prove`?\n"
    assert said(capsys, "xyzzy")[2] == "`xyzzy` is no command. `clearproof help` lists them all.\n"


def test_two_dashes_before_a_command_change_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (["prov", "x.ixl"], ["explain", "turnout"], ["prove", "missing.ixl"]):
        assert said(capsys, "--", *words) == said(capsys, *words)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ("draft x.ixl --wireing", "there is no option `--wireing`. Did you mean `--wiring`?"),
        ("prove x.ixl --timout=3", "there is no option `--timout`. Did you mean `--timeout=3`?"),
        ("prove x.ixl --zzz", "prove: there is no option `--zzz`. `clearproof help prove`"),
        ("draft x.ixl y.ixl", "draft: nothing is expected at `y.ixl`. `clearproof help draft`"),
        ("draft x.ixl --single-track abp", "apb. Did you mean `apb`? `clearproof help draft`"),
        ("sheet x.ixl electricl", "Did you mean `electrical`? `clearproof help sheet` tells more."),
        ("--verson", "clearproof: there is no option `--verson`. Did you mean `--version`?"),
    ],
)  # fmt: skip
def test_options_and_choices_written_wrong_are_guessed(
    arguments: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(arguments.split())
    out, err = capsys.readouterr()
    assert ended.value.code == 2 and out == ""
    assert told in err and err.count("\n") == 1


def test_every_long_option_is_guessed() -> None:
    parser, parsers = cli._parser()
    for one in (parser, *parsers.values()):
        for option in (name for action in one._actions for name in action.option_strings):
            if len(option) > 5:
                written = option[:5] + option[4:]
                told = not_taken([written], one)
                assert f"Did you mean `{option}`?" in told or option == "--colour", (one.prog, told)


def test_a_sweep_written_wrong_is_told_once(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = said(capsys, "farm", "lines", "2..4", "-o", "t.csv")
    assert code == 2 and "Write an even number" in err and "`2-20`" in err
    code, _, err = said(capsys, "farm", "mutants", "nowhere", "-o", "t.csv")
    assert code == 2 and err.count("CP100:") == 1
    code, _, err = said(capsys, "farm", "mutants", "nowhere", "neither", "-o", "t.csv")
    assert code == 2 and err.count("CP100:") == 2


def test_a_file_written_wrong_is_guessed(capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("heron-fals.ixl", "heron-falls"):
        code, _, err = said(capsys, "prove", name)
        assert code == 2 and "Did you mean `heron-falls.ixl`?" in err
    assert "Did you mean" not in said(capsys, "prove", "nothing-like-it.ixl")[2]


def test_every_word_is_explained(capsys: pytest.CaptureFixture[str]) -> None:
    for word in meanings():
        assert explain(word), word
    out = said(capsys, "explain", "turnout")[1]
    assert "points that lead from one track to either of two" in out
    assert "    turnout T1 in Switch" in out
    assert "FALSE PROCEED" in said(capsys, "explain", "false", "proceed")[1]
    assert "  turnout " in said(capsys, "explain", "words")[1]
    assert "Did you mean `turnout`?" in said(capsys, "explain", "turnot")[2]


# ------------------------------------------------------------------ defaults


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("timout = 3", "there is no `timout`. Did you mean `timeout`?"),
        ("zzz = 3", "there is no `zzz`. It may have all, ascii, "),
        ("timeout = 'x'", "timeout: `x` is not a number of seconds above 0."),
        ("timeout = [1]", "`timeout` has one value, such as 30"),
        ("quiet = 1", "`quiet` is true or false."),
        ("color = 'blue'", "`color` is one of auto, always, never."),
        ("timeout = ", "is not TOML: "),
    ],
)
def test_wrong_defaults_are_told_in_a_line(
    text: str, why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("clearproof.toml").write_text(text)
    code, out, err = said(capsys, "prove", "heron-falls.ixl")
    assert (code, out) == (2, "") and err.count("\n") == 1
    assert "clearproof.toml" in err and why in err
    assert said(capsys, "help")[0] == 0, "help is never in the way"


def test_the_nearest_defaults_count_and_the_command_line_more(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    Path("pyproject.toml").write_text("[tool.clearproof]\nrequire = 'operation'\n")
    assert said(capsys, "prove", "heron-falls.ixl")[0] == ExitCode.UNDECIDED
    Path("inner").mkdir()
    monkeypatch.chdir("inner")
    assert said(capsys, "prove", "../heron-falls.ixl")[0] == ExitCode.UNDECIDED
    Path("clearproof.toml").write_text("quiet = true\ntimeout = 50\n")
    code, out, _ = said(capsys, "prove", "../heron-falls.ixl")
    assert code == 0 and out.count("\n") == 1
    with pytest.raises(SystemExit):
        main(["prove", "--timeout", "x", "../heron-falls.ixl"])


# ------------------------------------------------------------------ shells


def test_bash_completes_commands_options_and_words(capsys: pytest.CaptureFixture[str]) -> None:
    bash = shutil.which("bash")
    if not bash:
        pytest.skip("there is no bash")
    Path("c.bash").write_text(said(capsys, "completion", "bash")[1])

    def completed(*words: str) -> list[str]:
        program = (
            f"source ./c.bash; COMP_WORDS=({' '.join(words)}); COMP_CWORD={len(words) - 1}; "
            '_clearproof; printf "%s\\n" "${COMPREPLY[@]}"'
        )
        done = subprocess.run(
            [bash, "-c", program], capture_output=True, text=True, timeout=30, check=True
        )
        return done.stdout.split()

    assert completed("clearproof", "pro") == ["prove"]
    assert completed("clearproof", "prove", "--with") == ["--within", "--with-test-card"]
    assert completed("clearproof", "prove", "--color", "al") == ["always"]
    assert completed("clearproof", "explain", "opposing-p") == ["opposing-proceeds"]
    assert completed("clearproof", "prove", "her") == ["heron-falls.ixl"]
    assert completed("clearproof", "help", "exp") == ["explain", "export"]


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_other_shells_can_read_theirs(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    out = said(capsys, "completion", shell)[1]
    assert "prove" in out and "output-format" in out
    program = shutil.which(shell)
    if program:
        Path("c").write_text(out)
        subprocess.run([program, "-n", "c"], timeout=30, check=True)


# ------------------------------------------------------------------ watching


@pytest.mark.skipif(sys.platform != "linux", reason="sends Ctrl-C to one process")
def test_a_save_is_proved_again_and_ctrl_c_ends_with_what_is_known() -> None:
    pytest.importorskip("watchfiles", reason="pip install 'clearproof[editor]'")
    Path("track.ixl").write_text(TRACK)
    Path("whole.ixl").write_text(f'include "track.ixl"\n{FILE}')
    with open("out", "wb") as out, open("err", "wb") as err:
        watching = ["prove", "--watch", "--quiet", "--jobs", "1", "."]
        process = subprocess.Popen(
            [sys.executable, "-m", "verifier.cli", *watching],
            stdout=out, stderr=err, preexec_fn=hears_ctrl_c,
        )  # fmt: skip

        def wait_for(what: str, count: int = 1) -> None:
            end = time.monotonic() + 60
            while Path("err").read_text().count(what) < count and time.monotonic() < end:
                assert process.poll() is None, Path("err").read_text()
                time.sleep(0.05)

        try:
            wait_for("Watching: save")
            time.sleep(1.0)  # until the system watches
            Path("track.ixl").write_text(f"{TRACK}\n# saved\n")
            wait_for("Proved again: 1 of 2.")
            Path("heron-falls.ixl").write_text(TRACK + FILE.replace("B clear", "A clear"))
            wait_for("Proved again: 1 of 2.", 2)
            process.send_signal(signal.SIGINT)
            process.wait(60)
        finally:
            process.kill()
    lines = [line.split()[-1] for line in Path("out").read_text().splitlines()]
    assert len(lines) == 4 and process.returncode == ExitCode.BROKEN, Path("err").read_text()


def test_without_watchfiles_one_line_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "watchfiles", None)
    code, out, err = said(capsys, "prove", "--watch", ".")
    assert (code, out) == (2, "")
    assert err == "`--watch` needs watchfiles: pip install 'clearproof[editor]'\n"


def test_pygments_finds_the_lexer() -> None:
    lexers = pytest.importorskip("pygments.lexers")
    from verifier.editor.pygments_lexer import JunctionLexer

    text = f"# a comment\n{TRACK}{FILE}signal 4 at\n"
    found = list(JunctionLexer().get_tokens(text))
    assert "".join(value for _, value in found) == text
    kinds = {value: str(kind) for kind, value in found}
    assert kinds["signal"] == "Token.Keyword.Declaration" and kinds["A"] == "Token.Name"
    assert kinds["# a comment"] == "Token.Comment.Single"
    assert lexers is not None and os.path.exists("heron-falls.ixl")
