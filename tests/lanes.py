"""Which tests are slow: those that ``pytest -m "not slow and not browser"`` leaves out.

Folders and modules are named here, and single tests of modules that are quick otherwise. What is
named must exist (tests/house checks it), so that nothing stays here after it has moved.
"""

# What takes long by itself: searches, proofs of whole files, generated cases, compilers.
SLOW = (
    "tests/cli/test_certificate.py",
    "tests/cli/test_diagnose.py",
    "tests/decide/test_determinism.py",
    "tests/decide/test_same_finding.py",
    "tests/diagnosis/",
    "tests/differential/",
    "tests/engines/test_max_load.py",
    "tests/engines/test_no_answer.py",
    "tests/engines/test_smtlib.py",
    "tests/exports/test_compiled.py",
    "tests/exports/test_equivalence.py",
    "tests/exports/test_situations.py",
    "tests/exports/test_text.py",
    "tests/exports/test_time.py",
    "tests/house/test_wheel.py",
    "tests/language/test_any_text.py",
    "tests/language/test_format.py",
    "tests/language/test_parse.py::test_a_list_of_twenty_thousand_names",
    "tests/language/test_parse.py::test_checking_takes_no_more",
    "tests/language/test_parse.py::test_formatting_takes_no_more",
    "tests/language/test_parse.py::test_reading_takes_no_more",
    "tests/language/test_parse.py::test_ten_thousand_parentheses",
    "tests/language/test_parse.py::test_text_made_to_stall",
    "tests/language/test_parse.py::test_three_thousand",
    "tests/logic/test_laws.py::test_deep_expressions_do_not_overflow",
    "tests/messages/test_rendering.py::test_of_a_very_long_line_only_the_place_is_shown",
    "tests/mutation/",
    "tests/patterns/test_patterns.py::test_it_proves_as_it_stands",
    "tests/patterns/test_patterns.py::test_the_enumerator",
    "tests/properties/test_distances.py",
    "tests/properties/test_examples.py",
    "tests/published/test_gate_policy.py",
    "tests/published/test_locking_rules.py",
    "tests/published/test_train_yard.py",
    "tests/published/test_tram.py",
    "tests/repair/",
    "tests/reports/test_machine.py",
    "tests/specs/",
    "tests/testcard/",
    "tests/workbench/test_server.py",
)


def is_slow(nodeid: str) -> bool:
    """Whether a test belongs to what is named above."""
    return nodeid.startswith(SLOW)
