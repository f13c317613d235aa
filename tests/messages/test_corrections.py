"""The corrected line below an error, and words that people use for those of the language."""

import pytest

from tests.messages.expecting import STATION, WIRED, errors, still_wrong
from verifier.language.diagnostics.diagnostic import nearest, render
from verifier.language.diagnostics.registry import kinds


def last_line(text: str) -> str:
    return render(errors(text)[0]).split("\n")[-1]


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("Main unoccupied", "Main clear"),
        ("Main free", "Main clear"),
        ("Main, Switch unoccupied", "Main, Switch clear"),
        ("Main, Switch vacant", "Main, Switch clear"),
        ("any of Main, Switch free", "any of Main, Switch clear"),
        ("T1 straight", "T1 normal"),
        ("T1 thrown", "T1 reverse"),
        ("T1 closed", "T1 normal"),
        ("T1 lies normal", "T1 normal"),
        ("not T1 lies open", "not T1 moving"),
        ("G1 closed", "G1 seated"),
        ("B1 pushed", "B1 pressed"),
        ("4R danger", "4R at stop"),
        ("4L shows Claer", "4L shows Clear"),
        ("T1 is normal", "T1 normal"),
        ("not (T1 normal))", "not (T1 normal)"),
        ("T1 normal && Main clear", "T1 normal and Main clear"),
        ("T1 normal&&Main clear", "T1 normal and Main clear"),
        ("Main clear || T1 normal", "Main clear or T1 normal"),
        ("!T1 reverse", "not T1 reverse"),
        ("!(T1 reverse)", "not (T1 reverse)"),
        ("T1 non derailing", "T1 non-derailing"),
    ],
)
def test_the_line_is_shown_as_it_was_meant(said: str, meant: str) -> None:
    text = f"{STATION}condition Held is {said}\n"
    assert last_line(text) == f"  {text.count(chr(10))} + condition Held is {meant}"


@pytest.mark.parametrize(
    "said",
    ["approach lit", "tested unlit", "three color", "two color", "position light",
     "common anode", "common cathode"],
)  # fmt: skip
def test_a_word_written_as_two(said: str) -> None:
    driver = f"driver B2 drives 4R\n  {said} 4R\n"
    text = WIRED.replace("turnout T1", f"{driver}turnout T1")
    meant = f"{said.replace(' ', '-')} 4R"
    shown = render(errors(text)[0]).split("\n")
    assert shown[-1].split(" + ") == [f"  {errors(text)[0].span.line}", f"  {meant}"]
    assert shown[-2] == f"  = Write it with a hyphen: `{said.replace(' ', '-')}`."


def test_nothing_like_the_opposite_is_meant() -> None:
    assert nearest("unoccupied", ("occupied",)) is None
    assert nearest("Unpressed", ("pressed",)) is None
    assert nearest("nonderailing", ("derailing", "non-derailing")) == "non-derailing"
    assert "Did you mean" not in "".join(
        map(render, errors(f"{STATION}condition C is B1 unpressed"))
    )


def test_a_word_in_the_middle_of_a_line_and_one_too_many() -> None:
    assert last_line("edge West\nblokc Main\n") == "  2 + block Main"
    assert last_line("track West = Main / Single\n") == "  1 + track West = Main | Single"
    assert last_line("edge West; \nblock Main\n") == "  1 + edge West"


def test_a_text_and_what_a_module_calls_otherwise_are_not_rewritten() -> None:
    module = "module Place (rail)\n  block Main\n  condition C is Mian clear\nend\n"
    text = f"{STATION}{module}use Place as Birch with rail = Single\n"
    assert all(" + " not in render(error) for error in errors(text))


def test_each_example_that_is_corrected_is_right_then() -> None:
    corrected = 0
    for code, kind in kinds().items():
        if kind.bad.startswith("clearproof") or "include" in kind.bad:
            continue
        try:
            found = errors(kind.bad)
        except AssertionError:
            continue  # wrong for what is proved, or for another command
        for error in found:
            if error.code == code and error.fix is not None and error.fix.span.source.used is None:
                corrected += 1
                assert not still_wrong(kind.bad, error, error.fix), render(error)
    assert corrected >= 4
