"""Exported C, compiled and run, against the stepper, which knows neither expressions nor C."""

from pathlib import Path
from random import Random

import pytest

import verifier
from tests.exports.compiled import (
    differences,
    exported,
    known,
    needs_avr,
    needs_gcc,
    run,
    run_small,
    sizes,
)
from tests.junction_files import SPEC_FILES, spec

ON_A_CONTROLLER = ("end-of-siding-mended", "locked-end-of-siding", "head-by-head-mended")


@needs_gcc
@pytest.mark.parametrize("path", SPEC_FILES[::3], ids=lambda path: path.stem)
def test_every_case_comes_out_as_the_stepper_says(path: Path, tmp_path: Path) -> None:
    export = exported(verifier.load(path))
    cases = known(export, 150, Random(path.stem))
    assert differences(export, cases, run(export, cases.cases, tmp_path)) == []


@needs_avr
@pytest.mark.parametrize("name", ON_A_CONTROLLER)
def test_an_8_bit_controller_does_the_same(name: str, tmp_path: Path) -> None:
    export = exported(verifier.load(spec(name)))
    cases = known(export, 25, Random(name))
    assert run_small(export, cases.cases, tmp_path) == run(export, cases.cases, tmp_path)
    program, memory = sizes(export, tmp_path)
    # An ATmega328P has 32 KiB and 2 KiB (its data sheet, from memory).
    assert 0 < program < 32_768 // 2 and memory < 2_048 // 2
