"""Included files: read from where they may lie, once, and every place is in its own file."""

import json
import os
import socket
from pathlib import Path

import pytest

from verifier.api import load, load_text, prove_file, read_text
from verifier.cli import main
from verifier.language.diagnostics.diagnostic import Diagnostic, InputError, render
from verifier.language.modules.includes import MAX_FILES
from verifier.language.syntax.parse import MAX_CHARACTERS

TRACK = """\
edge West, East
block Main, Single
track West = Main | Single = East
"""
SIGNALS = "signal 2 at Main | Single\n  Clear when Single clear\n  Stop otherwise\n"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder `line` to stand in, and files outside it."""
    line = tmp_path / "line"
    line.mkdir()
    write(tmp_path, "outside.ixl", "block Secret\n")
    monkeypatch.chdir(line)
    return line


def write(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, "utf-8")
    return path


def errors(path: str | Path) -> tuple[Diagnostic, ...]:
    try:
        load(path)
    except InputError as error:
        return error.diagnostics
    raise AssertionError("read without a complaint")


def the_error(path: str | Path) -> str:
    """What is printed of the only error there is."""
    (found,) = errors(path)
    return render(found)


# ------------------------------------------------------------------ what is read


def test_the_statements_of_an_included_file_are_those_of_the_layout(folder: Path) -> None:
    write(folder, "main.ixl", 'include "common/track.ixl"\n' + SIGNALS)
    write(folder, "common/track.ixl", TRACK)
    plan = load("main.ixl")
    assert list(plan.blocks) == ["Main", "Single"]
    assert plan.blocks["Main"].span.where == f"common{os.sep}track.ixl:2"
    assert plan.signals["2"].span.where == "main.ixl:2"


def test_paths_start_from_the_file_they_stand_in(folder: Path) -> None:
    write(folder, "west/main.ixl", 'include "parts/track.ixl"\n' + SIGNALS)
    write(folder, "west/parts/track.ixl", 'include "more/edges.ixl"\ninclude "../blocks.ixl"\n'
          "track West = Main | Single = East\n")  # fmt: skip
    write(folder, "west/parts/more/edges.ixl", "edge West, East\n")
    write(folder, "west/blocks.ixl", "block Main, Single\n")
    plan = load("west/main.ixl")
    assert plan.blocks["Main"].span.source.name == os.path.join("west", "blocks.ixl")
    assert load(folder / "west" / "main.ixl").blocks["Main"].span.source.name == str(
        folder / "west" / "blocks.ixl"
    )


def test_a_file_that_two_others_include_is_read_once(folder: Path) -> None:
    write(folder, "main.ixl", 'include "a.ixl"\ninclude "b.ixl"\ninclude "a.ixl"\n' + SIGNALS)
    write(folder, "a.ixl", 'include "track.ixl"\n')
    write(folder, "b.ixl", 'include "./track.ixl"\n')
    write(folder, "track.ixl", TRACK)
    assert list(load("main.ixl").blocks) == ["Main", "Single"]


def test_a_module_of_an_included_file_may_be_used(folder: Path) -> None:
    write(folder, "main.ixl", 'include "m.ixl"\nedge W, E\nblock A, B\ntrack W = A\ntrack B = E\n'
          "use Between as Here with left = A, right = B\n")  # fmt: skip
    write(folder, "m.ixl", "module Between (left, right)\nblock Middle\n"
          "track left | Middle | right\nend\n")  # fmt: skip
    plan = load("main.ixl")
    assert plan.blocks["Here.Middle"].span.where == "m.ixl:2"
    assert [u.span.where for u in plan.blocks["Here.Middle"].span.uses] == ["main.ixl:6"]


def test_a_link_to_a_file_of_the_same_folder_is_that_file(folder: Path) -> None:
    write(folder, "main.ixl", 'include "link.ixl"\ninclude "track.ixl"\n' + SIGNALS)
    write(folder, "track.ixl", TRACK)
    (folder / "link.ixl").symlink_to("track.ixl")
    assert list(load("main.ixl").blocks) == ["Main", "Single"]


def test_windows_line_ends_and_a_byte_order_mark_in_an_included_file(folder: Path) -> None:
    write(folder, "main.ixl", 'include "track.ixl"\n' + SIGNALS)
    (folder / "track.ixl").write_bytes(b"\xef\xbb\xbf" + TRACK.replace("\n", "\r\n").encode())
    assert list(load("main.ixl").blocks) == ["Main", "Single"]


# ------------------------------------------------------------------ what is refused


def test_a_missing_file(folder: Path) -> None:
    write(folder, "main.ixl", TRACK + '  include "common/trak.ixl"\n')
    write(folder, "common/track.ixl", "")
    assert (
        the_error("main.ixl")
        == """\
main.ixl:4:11: CP730: "common/trak.ixl" does not exist
  4 |   include "common/trak.ixl"
    |           ^^^^^^^^^^^^^^^^^
  = Did you mean `track.ixl`?"""
    )


def test_where_a_missing_file_should_be(folder: Path) -> None:
    write(folder, "main.ixl", 'include "a/b.ixl"\n')
    write(folder, "a/b.ixl", 'include "c/d.ixl"\n')
    wanted = os.path.join("a", "c", "d.ixl")
    shown = the_error("main.ixl")
    assert shown.startswith(os.path.join("a", "b.ixl") + ':1:9: CP730: "c/d.ixl" does not exist')
    assert shown.endswith(f"= A file is expected at `{wanted}`.")


OUTSIDE = [
    ("../outside.ixl", "is outside the folder of the file being proved"),
    ("../line/../outside.ixl", "is outside the folder of the file being proved"),
    ("common/../../outside.ixl", "is outside the folder of the file being proved"),
    ("../nowhere.ixl", "is outside the folder of the file being proved"),
    ("/outside.ixl", "does not start from the folder of this file"),
    ("//server/outside.ixl", "does not start from the folder of this file"),
    ("C:/outside.ixl", "does not start from the folder of this file"),
    ("C:outside.ixl", "does not start from the folder of this file"),
    ("\\\\server\\outside.ixl", "does not start from the folder of this file"),
    ("..\\outside.ixl", "has a `\\` in it"),
    ("link.ixl", "is a link to a file outside the folder of the file being proved"),
    ("linked/outside.ixl", "is a link to a file outside the folder of the file being proved"),
    ("notes.txt", "does not end in `.ixl`"),
    ("", "does not end in `.ixl`"),
    ("track.IXL", "does not end in `.ixl`"),
    ("track.ixl/", "does not end in `.ixl`"),
]


@pytest.mark.parametrize(("path", "what"), OUTSIDE, ids=[path for path, _ in OUTSIDE])
def test_files_that_may_not_be_included(folder: Path, path: str, what: str) -> None:
    write(folder, "main.ixl", TRACK + f'include "{path}"\n')
    write(folder, "notes.txt", "block Secret\n")
    write(folder, "common/some.ixl", "")
    (folder / "link.ixl").symlink_to("../outside.ixl")
    (folder / "linked").symlink_to("..")
    (found,) = errors("main.ixl")
    assert (found.code, found.message) == ("CP731", f'"{path}" {what}')
    assert found.span.text == f'"{path}"'
    assert "Secret" not in render(found)


def test_a_file_further_in_may_not_lead_outside_either(folder: Path) -> None:
    write(folder, "main.ixl", 'include "a/b.ixl"\n' + TRACK)
    write(folder, "a/b.ixl", 'include "../../outside.ixl"\n')
    (found,) = errors("main.ixl")
    assert found.code == "CP731"
    assert found.span.where == os.path.join("a", "b.ixl") + ":1"


def test_a_text_without_a_file_includes_nothing(folder: Path) -> None:
    write(folder, "track.ixl", TRACK)
    with pytest.raises(InputError) as caught:
        load_text('include "track.ixl"\n')
    assert [d.code for d in caught.value.diagnostics] == ["CP731"]
    assert "no folder to include from" in caught.value.diagnostics[0].message


def test_what_cannot_be_read(folder: Path) -> None:
    (folder / "folder.ixl").mkdir()
    (folder / "binary.ixl").write_bytes(b"block \xff\xfe\x00")
    (folder / "huge.ixl").write_bytes(b" " * (MAX_CHARACTERS + 1))
    (folder / "round.ixl").symlink_to("round.ixl")
    os.mkfifo(folder / "pipe.ixl")
    there = socket.socket(socket.AF_UNIX)
    there.bind("socket.ixl")
    there.close()
    names = ("folder", "binary", "huge", "round", "pipe", "socket")
    write(folder, "main.ixl", TRACK + "".join(f'include "{name}.ixl"\n' for name in names))
    found = errors("main.ixl")
    assert {d.code for d in found} == {"CP730"}
    assert [d.message for d in found] == [
        '"folder.ixl" is a folder',
        '"binary.ixl" is not plain UTF-8 text (byte 7)',
        f'"huge.ixl" is larger than {MAX_CHARACTERS:,} characters',
        '"round.ixl" cannot be found',
        '"pipe.ixl" is not a plain file',
        '"socket.ixl" is not a plain file',
    ]


def test_a_file_that_includes_itself(folder: Path) -> None:
    write(folder, "main.ixl", 'include "main.ixl"\n' + TRACK)
    assert (
        the_error("main.ixl")
        == """\
main.ixl:1:1: CP732: "main.ixl" would include itself
  1 | include "main.ixl"
    | ^^^^^^^^^^^^^^^^^^
  = Remove this line."""
    )


def test_files_that_include_each_other(folder: Path) -> None:
    write(folder, "main.ixl", TRACK + 'include "a.ixl"\n')
    write(folder, "a.ixl", 'include "b.ixl"\n')
    write(folder, "b.ixl", '# back again\ninclude "a.ixl"\n')
    assert (
        the_error("main.ixl")
        == """\
b.ixl:2:1: CP732: "a.ixl" would include itself
  2 | include "a.ixl"
    | ^^^^^^^^^^^^^^^
  by way of this line (a.ixl:1):
  1 | include "b.ixl"
    | ^^^^^^^^^^^^^^^
  = Put what both files need into a third one, and include that in both."""
    )


def test_a_link_does_not_hide_a_ring(folder: Path) -> None:
    write(folder, "main.ixl", TRACK + 'include "link.ixl"\n')
    (folder / "link.ixl").symlink_to("main.ixl")
    os.link(folder / "main.ixl", folder / "hard.ixl")
    assert [d.code for d in errors("main.ixl")] == ["CP732"]
    write(folder, "main.ixl", TRACK + 'include "hard.ixl"\n')
    assert [d.code for d in errors("main.ixl")] == ["CP732"]


def test_too_many_files_and_too_much_text(folder: Path) -> None:
    write(folder, "main.ixl", TRACK + 'include "f0.ixl"\n')
    for i in range(MAX_FILES + 1):
        write(folder, f"f{i}.ixl", f'include "f{i + 1}.ixl"\n')
    (found,) = errors("main.ixl")
    assert (found.code, found.span.where) == ("CP742", f"f{MAX_FILES - 1}.ixl:1")
    write(folder, "main.ixl", TRACK + 'include "long-1.ixl"\ninclude "long-2.ixl"\n')
    for i in (1, 2):
        write(folder, f"long-{i}.ixl", " " * (MAX_CHARACTERS - 1000))
    (found,) = errors("main.ixl")
    assert (found.code, found.span.text) == ("CP742", 'include "long-2.ixl"')


def test_includes_do_not_stand_in_modules(folder: Path) -> None:
    write(folder, "main.ixl", TRACK + 'module M\n  include "a.ixl"\nend\n')
    (found,) = errors("main.ixl")
    assert (found.code, found.span.text) == ("CP735", 'include "a.ixl"')


# ------------------------------------------------------------------ places


def test_errors_are_shown_with_the_file_they_are_in(folder: Path) -> None:
    write(folder, "main.ixl", 'include "track.ixl"\nsignal 2 at Main | Single\n  Stop otherwise\n')
    write(folder, "track.ixl", "# track\n" + TRACK + "turnout T1 in Swich\nblock Main\nblok X\n")
    assert the_error("main.ixl").startswith("track.ixl:7:1: CP103: `blok` does not")
    write(folder, "track.ixl", "# track\n" + TRACK + "gate G1 on Singel\n")
    shown = the_error("main.ixl")
    assert shown.startswith("track.ixl:5:12: CP201: no block is called `Singel`\n")
    assert "5 | gate G1 on Singel" in shown


def test_errors_of_several_files_come_together(folder: Path) -> None:
    write(folder, "main.ixl", 'include "a.ixl"\ninclude "b.ixl"\ninclude "c.ixl"\n')
    write(folder, "a.ixl", "blok A\n")
    write(folder, "b.ixl", "blok B\n")
    found = errors("main.ixl")
    assert [(d.code, d.span.where) for d in found] == [
        ("CP103", "a.ixl:1"), ("CP103", "b.ixl:1"), ("CP730", "main.ixl:3"),
    ]  # fmt: skip


def test_errors_of_the_text_and_of_what_it_includes_come_together(folder: Path) -> None:
    write(folder, "main.ixl", 'blok Z\ninclude "a.ixl"\ninclude "lost.ixl"\n')
    write(folder, "a.ixl", 'blok A\ninclude "b.ixl"\n')
    write(folder, "b.ixl", "blok B\n")
    assert [(d.code, d.span.where) for d in errors("main.ixl")] == [
        ("CP103", "a.ixl:1"), ("CP103", "b.ixl:1"),
        ("CP103", "main.ixl:1"), ("CP730", "main.ixl:3"),
    ]  # fmt: skip


def test_a_missing_file_hides_only_what_it_may_mend(folder: Path) -> None:
    """What is declared in it is not asked for; what is wrong anyhow is told."""
    rest = (
        "module M (a)\n  button a, B\n  relay R picks when Z pressed\nend\n"
        "use Gone as G with a = Main\n"
        "block Twice, Twice\nturnout T2 in Lost-Block\ntrack West = Main | Elsewhere = West\n"
    )
    write(folder, "main.ixl", 'include "lost.ixl"\nedge West\nblock Main\n' + rest)
    assert [(d.code, d.span.where) for d in errors("main.ixl")] == [
        ("CP730", "main.ixl:1"), ("CP202", "main.ixl:5"), ("CP740", "main.ixl:6"),
        ("CP202", "main.ixl:9"),
    ]  # fmt: skip


def test_a_text_from_nowhere_is_looked_at_beside_its_includes() -> None:
    text = 'include "lost.ixl"\nblock Main, Main\n'
    with pytest.raises(InputError) as caught:
        load_text(text)
    assert [d.code for d in caught.value.diagnostics] == ["CP731", "CP202"]


def test_the_same_place_in_two_files_is_two_errors(folder: Path) -> None:
    write(folder, "main.ixl", 'include "a.ixl"\ninclude "b.ixl"\n' + TRACK)
    write(folder, "a.ixl", "turnout T1 in Switch\n")
    write(folder, "b.ixl", "turnout T2 in Swatch\n")
    found = [d for d in errors("main.ixl") if "no block" in d.message]
    assert [d.span.where for d in found] == ["a.ixl:1", "b.ixl:1"]


def test_findings_and_reports_name_the_file(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(folder, "main.ixl", TRACK + 'include "signals.ixl"\n')
    write(folder, "signals.ixl", "# rules\nsignal 2 at Main | Single\n  Clear otherwise\n")
    assert main(["prove", "--ascii", "main.ixl"]) == 1
    shown = capsys.readouterr().out
    assert "2 shows Clear (green)   signals.ixl:3\n" in shown
    assert main(["prove", "--json", "main.ixl"]) == 1
    (document,) = json.loads(capsys.readouterr().out)["files"]
    assert document["file"] == "main.ixl"
    places = [place for verdict in document["verdicts"] for place in verdict["places"]]
    assert {place["file"] for place in places} == {"main.ixl", "signals.ixl"}
    write(folder, "signals.ixl", "blok X\n")
    assert main(["prove", "--json", "main.ixl"]) == 2
    (document,) = json.loads(capsys.readouterr().out)["files"]
    assert document["errors"][0]["place"]["file"] == "signals.ixl"


def test_proving_a_folder_leaves_out_what_others_include(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(folder, "a.ixl", TRACK + 'include "common/signals.ixl"\n')
    write(folder, "b.ixl", TRACK + 'include\n  # where\n  "common/../common/signals.ixl"\n')
    write(folder, "common/signals.ixl", SIGNALS)
    write(folder, "c.ixl", TRACK + SIGNALS + '# include "a.ixl"\n')
    assert main(["prove", "--quiet", "."]) == 0
    shown = capsys.readouterr().out.splitlines()
    assert [[w for w in line.split() if w.endswith(".ixl")] for line in shown] == [
        ["a.ixl"], ["b.ixl"], ["c.ixl"],
    ]  # fmt: skip
    assert main(["prove", "--quiet", "common"]) == 2
    # A ring of files leaves none out: each is told of its error.
    write(folder, "ring/d.ixl", 'include "e.ixl"\n')
    write(folder, "ring/e.ixl", 'include "d.ixl"\n')
    capsys.readouterr()
    assert main(["prove", "--quiet", "ring"]) == 2
    assert capsys.readouterr().err.count(" CP732: ") == 2


def test_the_formatter_changes_the_file_it_is_given_alone(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(folder, "main.ixl", 'include  "track.ixl"\n')
    track = write(folder, "track.ixl", "edge   West,East\n")
    assert main(["format", "main.ixl"]) == 0
    assert read_text("main.ixl") == 'include "track.ixl"\n'
    assert track.read_text("utf-8") == "edge   West,East\n"
    # Not even whether it is there matters.
    track.unlink()
    assert main(["format", "--check", "main.ixl"]) == 0
    assert capsys.readouterr().out == "changed main.ixl\n"


def test_proving_a_file_reads_what_it_includes(folder: Path) -> None:
    write(folder, "main.ixl", 'include "track.ixl"\n' + SIGNALS)
    write(folder, "track.ixl", TRACK)
    assert {v.status for v in prove_file("main.ixl").verdicts} == {"proved"}
