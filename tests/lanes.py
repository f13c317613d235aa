"""Which tests are slow: those that ``pytest -m "not slow and not browser"`` leaves out.

Folders and modules are named here, and single tests of modules that are quick otherwise. What is
named must exist (tests/house checks it), so that nothing stays here after it has moved.
"""

from zlib import crc32

# What takes long by itself: searches, proofs of whole files, generated cases, compilers.
SLOW = (
    "tests/cli/test_certificate.py",
    "tests/cli/test_diagnose.py",
    "tests/cli/test_output_files.py::test_a_disk_that_fills_up",
    "tests/cli/test_output_files.py::test_standard_output_on_a_full_disk",
    "tests/decide/test_determinism.py",
    "tests/decide/test_same_finding.py",
    "tests/decide/test_soundness.py::test_points_that_are_locked_may_lie",
    "tests/decide/test_within.py::test_what_was_decided_in_time",
    "tests/diagnosis/",
    "tests/differential/",
    "tests/drawing/test_every_drawing.py::test_tangles",
    "tests/drawing/test_svg.py::test_tangles",
    "tests/engines/test_faulty_solver.py",
    "tests/engines/test_max_load.py",
    "tests/engines/test_no_answer.py",
    "tests/engines/test_smtlib.py",
    "tests/explain/test_invariant_meaning.py::test_a_sentence_means_what_was_proved",
    "tests/exports/test_circuit.py::test_an_outside_checker_agrees",
    "tests/exports/test_compiled.py",
    "tests/exports/test_equivalence.py",
    "tests/exports/test_situations.py",
    "tests/exports/test_text.py",
    "tests/exports/test_time.py",
    "tests/house/test_spelling.py::test_sentences_of_the_program",
    "tests/house/test_structure.py::test_every_module_imports_by_itself",
    "tests/house/test_wheel.py",
    "tests/language/test_any_text.py",
    "tests/language/test_diagnostic_wordings.py",
    "tests/language/test_format.py",
    "tests/language/test_modules.py::test_a_long_chain_of_modules",
    "tests/language/test_modules.py::test_many_uses_of_modules",
    "tests/language/test_parse.py::test_a_circle_of_three_thousand",
    "tests/language/test_parse.py::test_a_condition_of_five_thousand_terms",
    "tests/language/test_parse.py::test_a_list_of_twenty_thousand_names",
    "tests/language/test_parse.py::test_checking_takes_no_more",
    "tests/language/test_parse.py::test_formatting_takes_no_more",
    "tests/language/test_parse.py::test_reading_takes_no_more",
    "tests/language/test_parse.py::test_ten_thousand_parentheses",
    "tests/language/test_parse.py::test_text_made_to_stall",
    "tests/language/test_parse.py::test_three_thousand",
    "tests/language/test_writing.py::test_the_parser_tables_are_checked",
    "tests/logic/test_laws.py::test_deep_expressions_do_not_overflow",
    "tests/messages/test_rendering.py::test_of_a_very_long_line_only_the_place_is_shown",
    "tests/mutation/",
    "tests/patterns/test_patterns.py::test_it_proves_as_it_stands",
    "tests/patterns/test_patterns.py::test_the_enumerator",
    "tests/plan/test_build_wiring.py::test_thousands_of",
    "tests/properties/test_distances.py",
    "tests/properties/test_examples.py",
    "tests/properties/test_too_late.py::test_no_delay_is_taken_for_shorter",
    "tests/properties/test_too_late.py::test_no_signal_is_approach_locked",
    "tests/published/test_gate_policy.py",
    "tests/published/test_locking_rules.py",
    "tests/published/test_train_yard.py",
    "tests/published/test_tram.py",
    "tests/reference/test_evaluator.py::test_named_conditions_by_the_thousand",
    "tests/repair/",
    "tests/reports/test_machine.py",
    "tests/reports/test_page.py::test_every_finding_is_drawn",
    "tests/reports/test_page.py::test_everything_is_told",
    "tests/sheets/test_alternatives.py",
    "tests/sheets/test_parts.py::test_files_beside_each_other",
    "tests/sheets/test_truth.py::test_what_is_remembered_and_locked",
    "tests/specs/",
    "tests/testcard/",
    "tests/workbench/test_server.py",
    "tests/world/test_faults.py::test_every_file_with_faults",
    "tests/world/test_world.py::test_many_signals_that_exclude_one_another",
)

# Tests of all files or of many generated cases: about one case in eight is quick.
SAMPLED = (
    "tests/cli/test_output_files.py::test_what_cannot_be_written",
    "tests/drawing/test_every_drawing.py::",
    "tests/drawing/test_focus.py::test_the_window_holds",
    "tests/drawing/test_svg.py::test_every_spec",
    "tests/engines/test_aiger.py::",
    "tests/engines/test_bmc.py::",
    "tests/engines/test_certificates.py::",
    "tests/engines/test_houdini.py::",
    "tests/engines/test_pdr.py::",
    "tests/engines/test_induction.py::",
    "tests/engines/test_proof_core.py::test_systems_drawn_at_random",
    "tests/engines/test_spacer.py::",
    "tests/language/test_codes.py::",
    "tests/language/test_contextual_keywords.py::test_a_word_of_wiring",
    "tests/language/test_reference.py::",
    "tests/messages/test_reading_wiring.py::test_clauses_astray",
    "tests/plan/test_track_graph.py::",
    "tests/published/test_conflict_graph.py::test_49_cfr_236_796",
    "tests/reference/test_train_extents.py::test_the_solver_finds",
    "tests/sheets/test_aspects.py::test_every_line",
    "tests/sheets/test_build_order.py::test_nothing_is_bought_twice",
    "tests/sheets/test_counts.py::",
    "tests/world/test_faults.py::test_both_semantics",
    "tests/world/test_faults.py::test_every_fault_is_told_apart",
)


def is_slow(nodeid: str) -> bool:
    """Whether a test belongs to what is named above."""
    if "[" in nodeid and nodeid.startswith(SAMPLED):
        return bool(crc32(nodeid.encode()) % 8)
    return nodeid.startswith(SLOW)
