"""The coils of twin-coil machines in C: which of them has current, and when it is taken off.

A function of its own, which is called more often than the rules are worked out. Whether it says
what it should is found out from its text (:mod:`verifier.exports.expected_coils`).
"""

from collections.abc import Iterator

from verifier.exports.c_text import CWriter, SimpleTest, all_tests, any_test
from verifier.exports.interface import LONGEST_CALL, Interface


def coil_fields(face: Interface) -> Iterator[tuple[str, str]]:
    """The structure's fields, each with what it is."""
    for out, pulse in face.pulses:
        called = out.device.control
        yield f"uint8_t {pulse.coil};", f"THROW_ to which a coil of {called} has current now"
        yield f"uint8_t {pulse.told};", f"THROW_ of the last pulse of {called}"
        yield f"uint16_t {pulse.clock};", "1 plus the milliseconds of a pulse; 0 between pulses"


def pulse_signature(prefix: str, after: str = "") -> list[str]:
    """The function as it is announced."""
    return [
        f"void {prefix}_pulse(const struct {prefix}_outputs *out,",
        f"        uint16_t elapsed_ms, struct {prefix}_coils *coils){after}",
    ]


def pulse_function(face: Interface, prefix: str, code: CWriter) -> None:
    """The function: each machine by itself."""
    code.put(*pulse_signature(prefix))
    code.open()
    code.put("const unsigned int elapsed =")
    code.put(f"    (elapsed_ms > {LONGEST_CALL}u) ? {LONGEST_CALL}u : elapsed_ms;")
    for out, pulse in face.pulses:
        told, clock = f"coils->{pulse.told}", f"coils->{pulse.clock}"
        throw, full = f"out->{out.throw}", f"{pulse.full}u"
        code.put("")
        code.say(
            f"{out.device.control}: a pulse is over at {pulse.full}, so that it lasts no longer "
            f"than {pulse.longest} ms with a call every {face.coil_call} ms"
        )
        code.put(f"if (({told} > THROW_REVERSE) || ({clock} > {full})) {{",
                 f"    {told} = {throw};", f"    {clock} = 0u;", "}")  # fmt: skip
        ways = any_test(*(SimpleTest(f"{throw} == THROW_{way}") for way in ("NORMAL", "REVERSE")))
        code.test("else if (", all_tests(SimpleTest(f"{throw} != {told}"), ways), ") {")
        code.put(f"    {told} = {throw};", f"    {clock} = 1u;", "}")
        code.put(f"else if (({clock} == 0u) || ({clock} + elapsed >= {full})) {{",
                 f"    {clock} = 0u;", "}")  # fmt: skip
        code.put("else {", f"    {clock} = (uint16_t)({clock} + elapsed);", "}")
        code.put(f"coils->{pulse.coil} = THROW_HOLD;")
        code.put(f"if ({clock} != 0u) {{", f"    coils->{pulse.coil} = {told};", "}")
    code.close()
    code.put("")
