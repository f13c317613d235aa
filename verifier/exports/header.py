"""The comment at the head of an exported C file: what it is, how it is used, what was proved.

In: the interface of the plan. Out: paragraphs. The example of use is C that compiles once what
stands in parentheses at the ends of its lines is taken off, which the tests do.
"""

import textwrap
from collections.abc import Iterator

from verifier.exports.c_text import WIDTH, comment_safe
from verifier.exports.interface import FLASHING, LONGEST_CALL, Field, Interface
from verifier.language.listing import listing
from verifier.plan.claims import granted
from verifier.plan.signals.colors import flashes

# What is read where no contact of the input is closed: what is safest, else what is usual.
_ALL_OPEN = {
    "block report": "occupied", "points report": "moving", "derail report": "moving",
    "gate report": "open", "fault": "out",
}  # fmt: skip


def paragraphs(face: Interface, sha256: str, prefix: str, graded: str) -> Iterator[list[str]]:
    """The head, paragraph by paragraph, in lines. ``graded``: what is proved of the rules."""
    plan = face.plan
    yield [comment_safe(plan.title), f"SHA-256 of the junction file: {sha256}"]
    if face.board is not None:
        yield _prose(_of_the_board(face))
    yield _prose(
        "FOR MODEL RAILROADS, NOT FOR RAILWAYS THAT CARRY PEOPLE. For the low-voltage side only: "
        "mains wiring, fuses and wire sizes follow the local electrical code, the makers' "
        "instructions and licensed practice. What you build is yours to test, with the test card "
        "(`clearproof sheet FILE test-card`)."
    )
    yield _prose(f"GRADE OF THE RULES: {comment_safe(graded)}")
    yield from _proved(face)
    yield from _use(face, prefix)
    yield from _what_goes_in(face)
    yield from _when(face, prefix)


def _of_the_board(face: Interface) -> str:
    """What of the layout this board does, and what it is told from elsewhere."""
    assert face.board is not None
    own = listing([comment_safe(head) for head in face.board.heads])
    panel = listing([comment_safe(name) for name in face.board.indicators])
    kept = face.memory and "keeps relays, timers and traffic in memory"
    lit = [f"lights {own}"] * bool(own) + [f"drives {panel} of the panel"] * bool(panel)
    does = listing([*lit, *([kept] if kept else [])])
    kinds = ("relay", "timer", "traffic", "aspect")
    told = [f.what.name for f in face.inputs if f.what.kind in kinds]
    heard = ""
    if told:
        goes = "go in as wires tell them" if told[1:] else "goes in as a wire tells it"
        heard = f" {comment_safe(listing(told))} {goes}, a call or more after the board that tells."
    return (
        f"FOR BOARD {comment_safe(face.board.name)}, which {does or 'throws points'}: for whatever "
        f"it is told, it does what the program of the whole layout does.{heard}"
    )


def _prose(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH - 6, break_on_hyphens=False)


def _proved(face: Interface) -> Iterator[list[str]]:
    every = ["every input", *["every state of the memory"] * bool(face.memory)]
    every += ["every elapsed time"] * bool(face.clocks)
    also = ", and one that times coils begins and ends each pulse as told below" * bool(face.pulses)
    yield _prose(
        f"WHAT WAS PROVED: this text was read back, and for {listing(every)}, with an `int` of 16 "
        f"bits and of 32, one call gives the outputs that the rules of the junction file give{also}"
        ". If you change a line here, the proof no longer holds: change the junction file and "
        "export it again."
    )
    yield _prose(
        "WHAT WAS NOT: more of the rules than their grade says, on the assumptions that "
        "`clearproof prove` prints; and that the compiler, the pins, the wiring "
        "and the program around this file do as they should, which only a test shows."
    )
    if outside := list(_outside(face)):
        yield _prose(
            f"OUTSIDE WHAT WAS PROVED, and yours to write and to test: {'; '.join(outside)}."
        )
    if len(face.memory) > 1:
        yield _prose(_order(face))
    if granted(face.plan):
        yield [
            *_prose("Assumptions of the file, which this program does not check:"),
            *(f"  - {comment_safe(assumed.title)}" for assumed in granted(face.plan)),
        ]


def _outside(face: Interface) -> Iterator[str]:
    """What the file needs that this program only names."""
    if any(flashes(color) for color in face.colors):
        yield (
            "the flash clock (a call hands out a flashing color as one number, the same "
            f"in light and in dark: the steady color and {FLASHING}; your program turns the lamp "
            "on and off, and a clock that stops leaves it lit or dark)"
        )
    if bare := [p.device.name for p in face.points if p.throw and p.twin_coil and not p.timed]:
        yield (
            f"the coil pulses of {listing(bare)} (a call says which way to throw, for as long as "
            "that holds; the file gives no pulse, so when the current begins and ends is not in it)"
        )
    if face.pulses:
        yield (
            f"that the coils are timed often enough (every {face.coil_call} ms at least), and that "
            "the board takes current off them when it does nothing else any more"
        )


def _order(face: Interface) -> str:
    """In which order memory acts, and what a proof of the file says of it."""
    acts = (
        "THE ORDER: relays, timers and directions of traffic act in the order of the junction "
        "file, each on what those before it have done; signals and points see them as they were "
        "before the call. "
    )
    if face.plan.locking.building.of_relays:
        return acts + (
            "The file is built of relays, which may act in any order. This is one of these orders: "
            "that was proved with the rest, so what `clearproof prove` proves of the file holds "
            "here too."
        )
    return acts + (
        "The file is built as one program, and what `clearproof prove` proves of it holds for this "
        "order."
    )


# ------------------------------------------------------------------ an example of use


def _use(face: Interface, prefix: str) -> Iterator[list[str]]:
    yield ["HOW TO USE IT: add this file to your program, and in your own source"]
    yield [f"  {line}".rstrip() for line in _example(face, prefix)]
    yield _prose(
        "contact_closed() and the functions after the call are yours. In C++, as the sketches of "
        'many controllers are, the first two lines stand inside extern "C" { }. Layouts that are '
        f"alike may share the file, each with its own {'in, memory' if face.memory else 'in'} and "
        "out. Exports of two junction files go with two source files of yours, since words such as "
        "ASPECT_STOP are in both."
    )
    coils = [p for p in face.points if p.throw and p.twin_coil]
    if coils:
        names = listing([p.device.name for p in coils])
        yield _prose(
            f"TWIN-COIL MACHINES ({names}): a coil may have current for an instant only, and burns "
            f"on an output that stays on. {_timing(face, prefix)}THROW_HOLD, or the same as "
            "before, gives no pulse. AT EVERY RESET (power, watchdog, a program loaded "
            "anew) the board must take current off all coils before it does anything else, "
            "and keep it off until the first call: pull the input of each coil's switch to off "
            "with a resistor, since pins float until the program sets them, and set these pins "
            "to off first. A reset in the middle of a pulse then ends it."
        )
    yield _prose(
        "Call it many times a second: an input that changes and changes back between two calls is "
        "missed. While it is not called, lamps stay as they were; so let the watchdog of the "
        "controller reset it within a second, and set the pins of all heads to stop or dark while "
        "the controller starts."
    )


def _timing(face: Interface, prefix: str) -> str:
    """How the coils are timed."""
    end = (
        "Let a capacitor discharge unit, or a timer of the controller that runs while nothing else "
        "does, end each pulse. "
    )
    if not face.pulses:
        return end
    return (
        f"{prefix}_pulse() says which coil has current now, and takes it off in time where it is "
        f"called every {face.coil_call} ms or more often, from a timer that runs whatever else the "
        "controller does: nothing else ends a pulse. A controller that hangs leaves a coil on; so "
        "let its watchdog reset it within a pulse, or drive the coils by a capacitor discharge "
        "unit, which cannot burn them. "
    )


def _example(face: Interface, prefix: str) -> Iterator[str]:
    yield f"#define {prefix.upper()}_DECLARATIONS"
    yield f'#include "{prefix}.c"   (as this file is called)'
    yield ""
    kept = ["inputs in"] * bool(face.inputs) + ["memory memory"] * bool(face.memory)
    kept += ["coils coils"] * bool(face.pulses)
    yield from (f"static struct {prefix}_{what};" for what in (*kept, "outputs out"))
    if face.memory:
        yield from ("", "void once(void)   (when a person has seen that all is as told below)", "{")
        yield from (f"    {prefix}_start(&memory);", "}")
    yield ""
    given = "uint16_t elapsed_ms" if face.clocks else "void"
    yield f"void again_and_again({given})"
    yield "{"
    yield from (f"    {line}" for line in _reading(face))
    yield f"    {_call(face, prefix)};"
    yield from (f"    {line}" for line in _showing(face))
    yield "    kick_watchdog();"
    yield "}"
    for _, pulse in face.pulses[:1]:
        yield from ("", "void every_ms(uint16_t elapsed_ms)", "{")
        yield f"    {prefix}_pulse(&out, elapsed_ms, &coils);"
        yield f"    drive_coil(0, coils.{pulse.coil});   (and so on; THROW_HOLD: neither coil)"
        yield "}"


def _reading(face: Interface) -> Iterator[str]:
    """One input of each kind."""
    pin = 0
    seen: set[str] = set()
    for field in face.inputs:
        if field.what.kind in seen:
            continue
        seen.add(field.what.kind)
        rest = _all_open(face, field)
        others = [s for s in field.states if s.value != rest]
        words = [f"in.{field.name} ="]
        for i, state in enumerate(others):
            test = f"contact_closed({pin + i})"
            if rest == "moving":
                # Both at once is neither.
                test += f" && !contact_closed({pin + 1 - i})"
            words.append(f"    {test} ? {state.enumerator} :")
        words.append(f"    {field.state(rest).enumerator};")
        pin += len(others)
        yield from [" ".join(map(str.strip, words))] if len(others) == 1 else words
    if face.inputs:
        yield "   (and so on, every field of `in` before every call)"


def _all_open(face: Interface, field: Field) -> str:
    if field.what.name in _turned(face):
        return "clear"
    return _ALL_OPEN.get(field.what.kind, field.what.usual)


def _showing(face: Interface) -> Iterator[str]:
    for lit in face.lit[:1]:
        yield f"show_color(0, out.{lit.heads[0]});   (and so on, every head)"
    steady = (p.throw for p in face.points if p.throw and p.pulse is None)
    for name in dict.fromkeys(steady):
        yield f"throw_points(0, out.{name});   (and so on; THROW_HOLD leaves them)"
        break
    for each in face.panel[:1]:
        yield f"turn_on(0, out.{each.name});   (and so on, every indicator and bell)"
    for name in dict.fromkeys(p.unlocked for p in face.points if p.unlocked):
        yield f"unlock_points(0, out.{name});   (and so on)"
        break


def _call(face: Interface, prefix: str) -> str:
    given = ["&in"] * bool(face.inputs)
    given += ["elapsed_ms"] * bool(face.clocks) + ["&memory"] * bool(face.memory)
    return f"{prefix}_step({', '.join([*given, '&out'])})"


# ------------------------------------------------------------------ what goes in


def _turned(face: Interface) -> tuple[str, ...]:
    """Blocks of which a detector closes its contact when they are occupied."""
    wiring = face.plan.wiring
    names = [f.what.name for f in face.inputs if f.what.kind == "block report"]
    return tuple(
        n for n in names if any(d.closed_when == "occupied" for d in wiring.detectors_of(n))
    )


def _what_goes_in(face: Interface) -> Iterator[list[str]]:
    kinds = {field.what.kind for field in face.inputs}
    said = []
    if "block report" in kinds:
        said.append(
            "Let a closed contact tell that a block is clear, so that a wire that is off or a "
            "detector without power reads as BLOCK_OCCUPIED."
        )
    if turned := _turned(face):
        said.append(
            f"The file has it the other way for {comment_safe(', '.join(turned))}: there a closed "
            "contact tells occupied, and a wire that is off reads as clear."
        )
    if "points report" in kinds:
        said.append(
            "POINTS_MOVING is for points of which neither contact is closed, or both are: do not "
            "hand in what they were told instead of how they lie."
        )
    if any(field.missing for field in face.inputs):
        said.append(
            "INPUT_MISSING is for a report that your hardware knows to be dead, where it can "
            "tell. Drivers that notice do as the file says; to all others it reads as "
            "BLOCK_OCCUPIED or POINTS_MOVING."
        )
    if "fault" in kinds:
        said.append(
            "LAMP_OUT is for a head that does not light as it is told, where your hardware can "
            "tell."
        )
    if "aspect" in kinds:
        said.append(
            "Of the wires that tell what a signal shows one is closed: hand in TOLD_UNLISTED where "
            "none is, and 0 where several are, which puts all signals at their most restrictive. "
            "Let no wire of a signal count before all of them have been the same for a while, "
            "since they change one after another."
        )
    if said:
        yield _prose(f"WHAT GOES IN: {' '.join(said)}")


# ------------------------------------------------------------------ what happens when


def _when(face: Interface, prefix: str) -> Iterator[list[str]]:
    yield _prose(
        "WHEN SOMETHING IS OUT OF ORDER (an input holds a number that is not one of its states, as "
        "one that was never written does"
        + ("; the memory was never started, or a bit of it flipped" if face.memory else "")
        + "), every signal is told its most restrictive colors, "
        + ("indicators and bells that make people careful are on, all others off, "
           if face.panel else "")
        + ("no points are thrown or unlocked, " if face.points else "")
        + ("memory stays as it is, " if face.memory else "")
        + "and the function returns false. The next call checks again."
        + (
            " What trains do meanwhile is not remembered: after more than a moment, proceed as "
            "after a start." if face.memory else ""
        )
    )  # fmt: skip
    if face.memory:
        size = len(face.memory) + sum(clock.bits // 8 for clock in face.clocks) + 2
        yield _prose(
            f"MEMORY is {size} bytes, and what the compiler fills up with: a byte for each relay, "
            "timer and direction of traffic, two or four for each clock, two for the check over "
            f"all of it. {prefix}_start() puts every relay down, every timer to idle, every "
            "direction of traffic to rightward, as the proof over time begins. Call it only while "
            "no train moves and all is as the proof begins (track vacant, but where the file has "
            "trains start; points normal): never from the loop, and never to cure a call that "
            "returned false. After a loss of power or a watchdog reset nothing is "
            "remembered: leave the memory not started, which keeps all signals at stop, until a "
            "person has seen to that and says so, with a push button."
        )
    if face.clocks:
        yield _prose(
            "TIME: elapsed_ms is how many whole milliseconds ago the last call was. A call counts "
            f"no more than {LONGEST_CALL} of them, since nobody looked in between. Delays are "
            "never shorter than the file says, and longer by two calls at most."
        )
    yield _prose(
        "It calls no library, allocates nothing, has no loop and no recursion, and keeps nothing "
        "between calls"
        + (" but what is in the memory it is given" if face.memory else "")
        + ": a call is over after at most the work written below."
    )
