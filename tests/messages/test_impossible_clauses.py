"""What is said of clauses of drivers, detectors, relays and locks that cannot do what they say."""

import pytest

from verifier.api import load_text
from verifier.language.diagnostics.diagnostic import InputError

Said = tuple[str, str, str, str]  # code, what is underlined, message, hint

MISSING = "driver B1 drives 2 when input missing shows red"
OCCUPIED = "output closed when occupied"


def wired(*, contacts: str = "", detector: str = "", driver: str = "", power: str = "Bus") -> str:
    return f"""edge West, East
bumper End
supply Rail track power
booster Boost fed by Rail
supply Bus
district North fed by {"Boost" if power == "Boost" else "Rail"}
block Main in North feeders m1
block Spur in North feeders p1
block Switch
turnout T1 in Switch {contacts}
track West = Switch | T1 normal | Main = East
track End = Spur | T1 reverse
signal 2 at Switch | T1
  Clear when T1 normal and Main clear
  Stop otherwise
detector D1 current-sensing through m1 powered by {power} {detector}
{driver}
""".replace("| T1 reverse", "| reverse T1").replace("T1 normal | Main", "normal T1 | Main")


def track(*, steps: str, reads: str = "2-route up and", more: str = "") -> str:
    return f"""edge West, East, North, South
block Main, Switch, Single, Upper, Lower
track West = Main | Switch | Single = East
track North = Upper | Lower = South
button Set
relay 2-route
  picks when Set pressed
  releases after {steps}
signal 2 at Main | Switch
  Clear when {reads} Switch, Single clear
  Stop otherwise
signal 4 at Upper | Lower
  Clear when Lower clear
  Stop otherwise
{more}
"""


def locked(lock: str, *, contacts: str = "no contacts", under: str = "thrown by hand") -> str:
    return f"""edge West, East
bumper End, Tail-End
block Main, Spur, Switch, Single, Yard-Track, Tail
turnout T1 in Switch
  thrown by hand
  {contacts}
turnout T3 in Single
  {under}
  {lock}
  contacts normal, reverse
track West = Main | normal  T1 | T3 normal | Yard-Track = East
track End  = Spur | reverse T1
track T3 reverse | Tail = Tail-End
signal 2 at Main | T1
  Stop otherwise
"""


BOTH = "Write `contacts normal, reverse` below `T1`: without both contacts it is never reported "
IN_ORDER = (
    "Name the blocks of the route in the order in which a train comes onto them: `releases after "
    "Switch occupied then all of Switch, Single occupied then Switch clear and Single occupied`."
)
EXCLUDE = "It asks for states that exclude each other. "
ALWAYS = "One of the states it asks for is always so. "
HELD = "locked while Switch occupied or not 2 at stop"
RELEASED = "electric lock released when Switch clear and 2 at stop"
DEAD = "Write `output closed when clear`, or power it from another supply than "
CASES: list[tuple[str, Said]] = [
    # Drivers that cannot notice a missing input.
    (wired(detector=OCCUPIED, driver=MISSING),
     ("CP650", MISSING, "`B1` cannot tell a missing input from `D1` reporting clear",
      "Write `output closed when clear` under `detector D1`, or remove `when input missing shows "
      "red`.")),
    (wired(driver=f"{MISSING} reads T1 contacts".replace(
        " when input missing shows red reads T1 contacts",
        " reads T1 contacts when input missing shows red"), contacts="contacts normal, reverse"),
     ("CP650", "driver B1 drives 2 reads T1 contacts when input missing shows red",
      "`B1` hears no detector, so no input of it can be missing",
      "Name the detectors after `reads` that its rules ask for, or remove `when input missing "
      "shows red`.")),
    (wired(driver=MISSING, contacts="contact normal"),
     ("CP650", MISSING, "`B1` cannot tell a missing input from `T1` lying reverse",
      "Give `T1` a contact for each position, or remove `when input missing shows red`.")),
    (wired(driver=MISSING, contacts="contact reverse"),
     ("CP650", MISSING, "`B1` cannot tell a missing input from `T1` lying normal",
      "Give `T1` a contact for each position, or remove `when input missing shows red`.")),
    # Detectors that go dead with their track: on its supply, on one that it feeds.
    *((wired(detector=f"{OCCUPIED} without track power reads occupied", power=power),
       ("CP651", "", "`D1` cannot report `Main` occupied without track power",
        f"{DEAD}`{power}`, which feeds the track.")) for power in ("Rail", "Boost")),
    # Releases that no train brings about.
    (track(steps="Lower occupied then Single occupied"),
     ("CP775", "Lower occupied", "no train that passes 2 makes the first step come true",
      "Name a block that the route runs through: a train that passes the signal never comes onto "
      "Lower.")),
    (track(steps="Single occupied and Switch clear then Switch occupied and Single clear"),
     ("CP775", "Switch occupied and Single clear",
      "no train that passes 2 makes step 2 come true after step 1", IN_ORDER)),
    (track(steps="Switch occupied then Switch clear and Lower occupied"),
     ("CP775", "Switch clear and Lower occupied",
      "no train that passes 2 makes step 2 come true after step 1", IN_ORDER)),
    (track(steps="Switch occupied then Switch, Single clear"),  # it is on one or the other
     ("CP775", "Switch, Single clear",
      "no train that passes 2 makes step 2 come true after step 1", IN_ORDER)),
    (track(steps="Passed then Switch clear and Lower occupied",
           more="condition Passed is Switch occupied"),
     ("CP775", "Switch clear and Lower occupied",
      "no train that passes 2 makes step 2 come true after step 1", IN_ORDER)),
    (track(steps="Lower occupied then Single occupied", reads=""),
     ("CP775", "Single occupied", "no train that passes 2 or 4 makes step 2 come true after step 1",
      IN_ORDER)),
    # Locks by contacts that report nothing.
    (locked("locked while T1 moving"),
     ("CP776", "T1 moving", "this lock of `T3` never holds", f"{BOTH}moving.")),
    (locked("locked while T1 moving and Single clear", contacts="contact normal"),
     ("CP776", "T1 moving and Single clear", "this lock of `T3` never holds", f"{BOTH}moving.")),
    (locked("locked while not T1 moving", contacts="contact reverse"),
     ("CP776", "not T1 moving", "`T3` can never move: this lock always holds", f"{BOTH}moving.")),
    (locked("electric lock released when T1 moving"),
     ("CP776", "electric lock released when T1 moving",
      "`T3` can never move: this electric lock is never released",
      f"{BOTH}moving.")),
    # Locks that hold always or never, whatever is reported.
    (locked("locked while Single occupied and Single clear"),
     ("CP777", "Single occupied and Single clear", "this lock of `T3` never holds",
      f"{EXCLUDE}Write `or` between them, or leave one out: `{HELD}`.")),
    (locked("locked while T1 normal and not (T1 normal or 2 at stop)"),
     ("CP777", "T1 normal and not (T1 normal or 2 at stop)", "this lock of `T3` never holds",
      f"{EXCLUDE}Write `or` between them, or leave one out: `{HELD}`.")),
    (locked("locked while Spur clear or Single clear or Single occupied"),
     ("CP777", "Spur clear or Single clear or Single occupied",
      "`T3` can never move: this lock always holds",
      f"{ALWAYS}Leave one out, or write `and` between them: `{HELD}`.")),
    (locked("electric lock released when Single occupied and Single clear"),
     ("CP777", "electric lock released when Single occupied and Single clear",
      "`T3` can never move: this electric lock is never released",
      f"{EXCLUDE}Leave one out: `{RELEASED}`.")),
    (locked("electric lock released when 2 at stop or 2 proceeds or 2 shows Restricting"),
     ("CP777",
      "electric lock released when 2 at stop or 2 proceeds or 2 shows Restricting",
      "this electric lock of `T3` is always released",
      f"{ALWAYS}Leave one out, or write `and` between them: `{RELEASED}`.")),
]  # fmt: skip


@pytest.mark.parametrize(("text", "said"), CASES)
def test_what_is_refused(text: str, said: Said) -> None:
    code, underlined, message, hint = said
    with pytest.raises(InputError) as refused:
        load_text(text)
    (found,) = refused.value.diagnostics
    assert (found.code, found.message, found.hint) == (code, message, hint)
    marked = text[found.span.start : found.span.end]
    assert " ".join(marked.split()) == underlined if underlined else marked.startswith("detector")


@pytest.mark.parametrize("text", [
    # What can do it.
    wired(driver=MISSING, contacts="contacts normal, reverse"),
    wired(detector="output closed when clear without track power reads occupied", power="Rail"),
    wired(detector=f"{OCCUPIED} without track power reads occupied"),
    track(steps="Switch occupied then all of Switch, Single occupied then Single occupied and "
                "Switch clear"),
    track(steps="Switch occupied then Switch clear"),
    track(steps="Main occupied then Switch occupied then Single occupied and Main, Switch clear"),
    track(steps="Switch occupied and Set pressed then any of Lower, Single occupied"),
    track(steps="Lower occupied then Upper clear", reads=""),
    locked("locked while T1 moving or Single occupied"),
    locked("locked while T1 moving", contacts="contacts normal, reverse"),
    locked("locked while T1 reverse", contacts="contact normal"),
    locked("electric lock released when T1 normal"),
])  # fmt: skip
def test_what_is_not(text: str) -> None:
    load_text(text)
