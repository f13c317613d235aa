"""What stands in exported C: names that are told apart, comments that stay comments, the same
text each time; and that the strictest reading of the compiler has nothing to say against it."""

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

import verifier
from tests.differential.junctions import write_junction
from tests.junction_files import SPEC_FILES, spec
from verifier.exports.c_source import CExport, c_source
from verifier.exports.c_text import comment, comment_safe
from verifier.exports.equivalence import Equivalent, compare
from verifier.exports.names import LONGEST, CNames, plain
from verifier.language.diagnostics.diagnostic import InputError

GCC, GXX = shutil.which("gcc"), shutil.which("g++")
needs_gcc = pytest.mark.skipif(GCC is None, reason="needs a C compiler (Debian's package gcc)")
STRICT = ["-Wall", "-Wextra", "-Werror", "-pedantic", "-Wconversion", "-Wsign-conversion",
          "-Wshadow", "-Wundef", "-Wcomment", "-Wtrigraphs"]  # fmt: skip

# What ends a comment, joins lines, is a trigraph or a formula, wherever a person may write.
NASTY = r"""
layout "*/ int main(void) { return 1; } /* ??/ \ é"
edge West, East
block Main-1, Main_1, Maïn-1, 駅, 停
lever 4 positions left, Left, left-, LEFT
button Call
condition elapsed is Main-1 clear  # */ out->aspect_2 = 9; /*
condition int is elapsed and not Call pressed
relay in-1 picks when Main-1 occupied  # \
  slow to pick 0.001 s
timer part 3600 s runs while in-1 up and
  # ends nowhere */ #define true false
  Main_1 clear
track West = Main-1 | Main_1 | Maïn-1 | 駅 | 停 = East
signal 2 at Main-1 | Main_1
  heads out, memory
  Clear when elapsed and 4 left and not part running and 2-2 at stop
  Approach when int and 4 Left
  Stop otherwise
signal 2-2 at Maïn-1 | 駅
  Clear when 駅 clear and 停 clear and 4 LEFT and in-1 down
  Stop otherwise
"""


def exported(text: str, name: str = "nasty.ixl") -> CExport:
    return c_source(verifier.load_text(text, name), name, "0" * 64)


def compiles(export: CExport, folder: Path) -> None:
    """As C, whichever way the compiler's `char` goes, and as C++ where it is there."""
    (folder / "junction.c").write_text(export.text, encoding="ascii")
    c = [str(GCC), "-std=c99"]
    ways = [[*c, "-funsigned-char"], [*c, "-fsigned-char"]]
    ways += [[GXX, "-x", "c++", "-std=c++11"]] if GXX else []
    for way in ways:
        done = subprocess.run(
            [*way, *STRICT, "-c", "junction.c", "-o", "junction.o"],
            cwd=folder, capture_output=True, text=True, check=False, timeout=60,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr


def test_a_nasty_file_is_still_the_same_as_its_rules() -> None:
    export = exported(NASTY)
    assert isinstance(compare(export), Equivalent)
    code = re.sub(r"/\*.*?\*/", "", export.text, flags=re.DOTALL)
    assert "main" not in code and "#define true" not in code and "9;" not in code
    assert export.text.isascii() and "\\" not in export.text and "??" not in export.text


@needs_gcc
def test_a_nasty_file_compiles(tmp_path: Path) -> None:
    compiles(exported(NASTY), tmp_path)


@needs_gcc
@pytest.mark.parametrize(
    "name", ["block.ixl", "4.ixl", "駅.ixl", "is.ixl", "aspect_c.ixl", "lever-4.ixl", "a b'c.ixl",
             "settled*-.ixl", "int8.ixl", "UINT16.ixl", "x" * 300 + ".ixl"],
)  # fmt: skip
def test_every_name_of_a_file_makes_a_prefix(name: str, tmp_path: Path) -> None:
    export = exported(
        "edge W, E\nblock step, check\nlever 4 positions C, Declarations\n"
        "track W = step | check = E\n"
        "aspect C green proceed\n"
        "signal 2 at step | check\n  C when check clear and 4 C\n  Stop otherwise\n",
        name,
    )
    assert re.fullmatch(r"[a-z][a-z0-9_]*", export.prefix)
    assert isinstance(compare(export), Equivalent)
    compiles(export, tmp_path)


AROUND = """
#include <stdbool.h>
#include <stdint.h>
{begin}
bool contact_closed(int pin);
void show_color(int head, uint8_t color);
void throw_points(int machine, uint8_t how);
void drive_coil(int machine, uint8_t how);
void unlock_points(int machine, bool may_be_moved);
void turn_on(int output, bool on);
void kick_watchdog(void);
{include}
{end}
{rest}
"""


@needs_gcc
@pytest.mark.parametrize("path", SPEC_FILES[1::6], ids=lambda path: path.stem)
def test_the_example_of_use_compiles(path: Path, tmp_path: Path) -> None:
    export = c_source(verifier.load(path), path.name, "0" * 64)
    (tmp_path / f"{export.prefix}.c").write_text(export.text, encoding="ascii")
    example = export.text.split("in your own source\n")[1].split("   contact_closed() and")[0]
    code = re.sub(r" {3}\(.*\)$", "", example.strip("\n"), flags=re.MULTILINE)
    include, rest = code.split("\n\n", 1)
    for compiler, name, begin, end in (
        (GCC, "use.c", "", ""), (GXX, "use.cpp", 'extern "C" {', "}")
    ):  # fmt: skip
        text = AROUND.format(begin=begin, end=end, include=include, rest=rest)
        (tmp_path / name).write_text(text, encoding="ascii")
        if compiler:
            done = subprocess.run(
                [compiler, "-Wall", "-Wextra", "-Werror", "-c", name], cwd=tmp_path,
                capture_output=True, text=True, check=False, timeout=60,
            )  # fmt: skip
            assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("name", "outside", "says"),
    [
        (
            "twin-coil-mended",
            True,
            ["are timed often enough", "AT EVERY RESET", "current off all coils"],
        ),
        ("flasher-stopped-mended", True, ["the flash clock", "the steady color and 16"]),
        ("two-supplies-mended", False, []),
    ],
)
def test_the_head_says_what_stays_outside_the_proof(
    name: str, outside: bool, says: list[str]
) -> None:
    export = c_source(verifier.load(spec(name)), name, "0" * 64)
    assert isinstance(compare(export), Equivalent)
    head = " ".join(export.text.split("*/")[0].split())
    assert ("OUTSIDE WHAT WAS PROVED" in head) == outside
    assert all(words in head for words in says)


def test_a_pulse_of_another_length_is_not_the_same() -> None:
    export = c_source(verifier.load(spec("twin-coil-mended")), "twin-coil-mended", "0" * 64)
    word, number = next((p.pulse_name, p.pulse) for p in export.face.points if p.pulse is not None)
    changed = export.text.replace(f"{word} = {number}", f"{word} = {number}0")
    assert changed != export.text
    assert not isinstance(compare(replace(export, text=changed)), Equivalent)


COILS = c_source(verifier.load(spec("twin-coil-mended")), "twin-coil-mended", "0" * 64)


@pytest.mark.parametrize(
    ("here", "instead"),
    [
        (">= 45u", ">= 46u"),
        ("pulse_T1 > 45u", "pulse_T1 > 60000u"),
        ("told_T3 > THROW_REVERSE", "told_T3 > 9u"),
        ("pulse_T1 != 0u", "pulse_T3 != 0u"),
        ("coils->coil_T1 = coils->told_T1", "coils->coil_T1 = out->throw_T1"),
        ("    coils->coil_T3 = THROW_HOLD;\n", ""),
        ("== THROW_NORMAL) ||", "== THROW_HOLD) ||"),
    ],
)
def test_coils_that_are_timed_otherwise_are_not_the_same(here: str, instead: str) -> None:
    begin = COILS.text.rindex("_pulse(const struct")
    changed = COILS.text[:begin] + COILS.text[begin:].replace(here, instead, 1)
    assert changed != COILS.text
    assert not isinstance(compare(replace(COILS, text=changed)), Equivalent)


DRIVE = """
#include <stdio.h>
#include "twin_coil_mended.c"
int main(void) {
    static struct twin_coil_mended_coils coils;
    struct twin_coil_mended_outputs out = {0};
    unsigned how, passed;
    while (scanf("%u %u", &how, &passed) == 2) {
        out.throw_T1 = (uint8_t)how;
        twin_coil_mended_pulse(&out, (uint16_t)passed, &coils);
        printf("%d %d\\n", coils.coil_T1, coils.coil_T3);
    }
    return 0;
}
"""


@needs_gcc
def test_no_coil_has_current_longer_than_its_pulse(tmp_path: Path) -> None:
    """Run with chance throws and calls up to 5 ms apart, by a clock that is read in whole ms: each
    throw that is new gets one pulse of nearly 50 ms, never more, and no other coil has any."""
    (tmp_path / "twin_coil_mended.c").write_text(COILS.text, encoding="ascii")
    (tmp_path / "drive.c").write_text(DRIVE, encoding="ascii")
    built = ["gcc", "-std=c99", "-Wall", "-Werror", "drive.c", "-o", "drive"]
    subprocess.run(built, cwd=tmp_path, check=True, timeout=60)
    r, at, read, how = Random(5), 0.0, 0, 0
    calls: list[tuple[float, int, int]] = []
    for _ in range(20_000):
        if r.random() < 0.01:
            how = r.choice((0, 1, 2))
        at += r.uniform(0.2, 5)
        calls.append((at, how, int(at) - read))
        read = int(at)
    given = "\n".join(f"{how} {passed}" for _, how, passed in calls)
    done = subprocess.run(
        [str(tmp_path / "drive")], input=given, capture_output=True, text=True, check=True,
        timeout=60,
    )  # fmt: skip
    coil, began, told, whole, begun = 0, 0.0, 0, 0, 0
    for (at, how, _), line in zip(calls, done.stdout.splitlines(), strict=True):
        now, other = map(int, line.split())
        assert other == 0
        if how and how != told:
            assert now == how
            told, coil, began, begun = how, now, at, begun + 1
        elif coil and now != coil:
            assert now == 0 and 40 < at - began <= 50
            coil, whole = 0, whole + 1
        else:
            assert now == coil and (not coil or at - began <= 50)
    assert whole > 50 and begun > whole


def test_the_head_says_which_contacts_tell_the_other_way() -> None:
    text = spec("wired-end-of-siding").read_text("utf-8")
    assert "output closed when clear" in text
    usual = " ".join(exported(text).text.split())
    assert "other way for" not in usual and "? BLOCK_CLEAR : BLOCK_OCCUPIED;" in usual
    text = text.replace("output closed when clear", "output closed when occupied")
    text = text.replace("  when input missing shows red\n", "")  # it would not notice one
    turned = " ".join(exported(text).text.split())
    assert "other way for Main," in turned and "? BLOCK_OCCUPIED : BLOCK_CLEAR;" in turned


@needs_gcc
def test_generated_junctions_compile_and_are_the_same(tmp_path: Path) -> None:
    done = 0
    for seed in range(12):
        try:
            export = exported(write_junction(Random(f"c {seed}"), 400, memory=seed % 2 == 0))
        except InputError as error:
            assert {d.code for d in error.diagnostics} == {"CP409"}
            continue
        compiles(export, tmp_path)
        assert isinstance(compare(export), Equivalent), seed
        done += 1
    assert done >= 8


@pytest.mark.parametrize("path", SPEC_FILES[::7], ids=lambda path: path.stem)
def test_the_text_is_the_same_each_time_and_wherever_the_file_lies(
    path: Path, tmp_path: Path
) -> None:
    elsewhere = tmp_path / path.name
    elsewhere.write_bytes(path.read_bytes())
    one, other = (c_source(verifier.load(p), p.name, "0" * 64) for p in (path, elsewhere))
    assert one.text == other.text and str(tmp_path) not in other.text


def test_every_line_of_every_rule_is_told_with_its_place() -> None:
    path = spec("end-of-siding-mended")
    plan = verifier.load(path)
    text = " ".join(c_source(plan, path.name, "0" * 64).text.split())
    for signal in plan.signals.values():
        for line in signal.lines:
            said = " ".join(line.span.text.split())
            assert f"{path.name}:{line.span.line}: {said} */" in text


@pytest.mark.parametrize(
    ("text", "wanted"),
    [("a */ b", "a * / b"), ("**//", "** //"), ("???", "? ? ?"), ("a\\\nb", "a/ b"),
     ("/*/*/", "/ * / * /"), ("é\u00a0\u0301\u2028x", "e x"), ("\x00\x1b", ".."), ("駅", ".")],
)  # fmt: skip
def test_what_may_stand_in_a_comment(text: str, wanted: str) -> None:
    assert comment_safe(text) == wanted


@pytest.mark.parametrize("length", range(84, 100))
def test_comments_end_once_however_long(length: int) -> None:
    for text in ("x" * length, "*/ " * (length // 3), ("y" * (length - 2) + " \u0301z")):
        whole = "\n".join(comment(text, 1))
        assert whole.count("*/") == 1 and whole.endswith("*/")


def test_names_are_told_apart() -> None:
    names = CNames()
    long = "n" * LONGEST
    found = [
        names.give("block", n) for n in ("A.1", "A.1", "A_1", "駅", "停", long + "a", long + "b")
    ]
    assert len(set(found)) == len(found)
    assert found[:3] == ["block_A_1", "block_A_1_2", "block_A_1_3"]
    assert plain("Hérøn Fälls") == "Her_n_Falls"
    assert all(len(name) < 63 for name in found)  # C99, 5.2.4.1


@pytest.mark.parametrize(
    "name", ["two-of-each-relay", "two-of-each-lock", "locked-end-of-siding", "slow-track-relay"]
)
def test_each_bit_of_the_memory_is_in_the_checksum_once(name: str) -> None:
    """A word of sixteen bits or fewer for each field; of a clock of 32 bits, its two halves."""
    export = c_source(verifier.load(spec(name)), "junction", "0" * 64)
    counted = re.findall(
        r"sum = \(uint16_t\)\(\(sum \* 2u\) \^ \(sum >> 15\) \^ (.+)\);", export.text
    )
    wanted = [f"memory->{field.name}" for field in export.face.memory]
    for clock in export.face.clocks:
        halves = [f"(uint16_t)(memory->{clock.name} >> 16)"] * (clock.bits == 32)
        wanted += [*halves, f"(uint16_t)memory->{clock.name}"]
    assert len(wanted) > 1
    assert sorted(counted) == sorted(wanted)
    fields = re.search(r"struct junction_memory \{(.*?)\};", export.text, re.DOTALL)
    assert fields is not None
    declared = re.findall(r"^\s+(?:\w+ )+(\w+);", fields[1], re.MULTILINE)
    named = {*(f.name for f in export.face.memory), *(c.name for c in export.face.clocks), "check"}
    assert set(declared) == named
