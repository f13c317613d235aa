"""What a wrong file looks like to the person who wrote it."""

from verifier.api import load_text
from verifier.language.diagnostics.diagnostic import Correction, Diagnostic, InputError, render

# A station to write wrong things about.
STATION = """\
edge West, East
block Main, Siding, Switch, Single
turnout T1 in Switch
bumper End
lever 4 positions left, normal, right
button B1
condition Ready is Main clear
derail D1 on Siding toward T1
gate G1 on Single
track West = Main | normal T1 | Single = East
track End = Siding | reverse T1
signal 4L at Single | T1
  heads upper, lower
  Clear when T1 normal and Switch, Main clear
  Stop otherwise
signal 4R at Main | T1
  Clear when T1 normal and Switch, Single clear
  Stop otherwise
"""

# A station with its wiring. What is added at the end stands below a turnout.
WIRED = """\
edge West, East
bumper End
lever T1-lever positions normal, reverse
lever 4 positions left, normal, right
supply Track-A track power 15 V 5 A
supply Bus-1 12 V 3 A
district North fed by Track-A
block Main 2400 mm in North
  feeders m1, m2
block Siding 96 in in North
  feeders s1
block Switch, Single
block Team undetected
track West = Main | normal T1 | Single = East
track End = Siding | Team | reverse T1
signal 4L at Single | T1
  heads upper, lower
  Clear when T1 normal and Switch, Main clear
  Stop otherwise
signal 4R at Main | T1
  Stop otherwise
detector D-Main current-sensing through m1, m2
driver B1 drives 4L.upper
turnout T1 in Switch
"""

# Words added at the end of that station, or words of it and what stands there instead.
Change = str | tuple[str, str]

# The same track and nothing on it.
TRACK = """\
edge West, East
bumper End
block Main, Siding, Switch, Single
turnout T1 in Switch
track West = Main | normal T1 | Single = East
track End = Siding | reverse T1
"""

# Things to draw track between.
PIECES = """\
edge West, East
bumper End
block Main, Siding, Switch, Single
turnout T1 in Switch
"""


def wired(change: Change) -> str:
    """The wired station, changed."""
    if isinstance(change, str):
        return WIRED + change
    old, new = change
    assert old in WIRED
    return WIRED.replace(old, new, 1)


def errors(text: str) -> tuple[Diagnostic, ...]:
    """Everything that is wrong with a file."""
    try:
        load_text(text, "station.ixl")
    except InputError as error:
        return error.diagnostics
    raise AssertionError("the file was read without a complaint")


def underlined(shown: str) -> str:
    """What is marked in a message, from what is printed alone."""
    _, line, marks, *_ = shown.split("\n")
    first, last = marks.index("^"), marks.rindex("^")
    assert set(marks[first : last + 1]) == {"^"}
    return line[first : last + 1]


def expect(
    text: str, *, code: str, underlined: str, message: str, hint: str, more: tuple[str, ...] = ()
) -> None:
    """The file has exactly one error, and it looks like this.

    ``more``: the words at further places that belong to it."""
    found = errors(text)
    assert [d.code for d in found] == [code], "\n".join(map(render, found))
    shown = render(found[0])
    place, *lines = shown.split("\n")
    if found[0].fix is not None:
        assert lines.pop().startswith(f"  {found[0].fix.span.line} + ")
        assert not still_wrong(text, found[0], found[0].fix), shown
    last = lines[-1]
    span = found[0].span
    assert place == f"station.ixl:{span.line}:{span.column}: {code}: {message}"
    assert _marked(shown) == underlined
    assert last == (f"  = {hint}" if hint else last) and bool(hint) == bool(found[0].hint)
    assert tuple(words for _, words in found[0].others) == more


def still_wrong(text: str, error: Diagnostic, fix: Correction) -> bool:
    """Whether a file is wrong at the same place in the same way once an error is corrected as it
    says."""
    assert fix.span.source.text == text
    corrected = text[: fix.span.start] + fix.text + text[fix.span.end :]
    try:
        load_text(corrected, "station.ixl")
    except InputError as left:
        return any(
            (d.code, d.span.start) == (error.code, error.span.start) for d in left.diagnostics
        )
    return False


_marked = underlined
