"""Layouts the tests of findings share."""

# Nothing keeps the two ends apart: 4L and 4RA, 4L and 4RB clear into each other.
BROKEN = """
layout "Heron Falls, east switch"
edge  West-Main, West-Siding, Quarry
block Main, Siding, Switch, Single
turnout T1 in Switch
track West-Main   = Main   | normal  T1 | Single = Quarry
track West-Siding = Siding | reverse T1
signal 4L at Single | T1
  heads upper, lower
  Clear             when T1 normal  and Switch, Main clear
  Diverging-Clear   when T1 reverse and Switch, Siding clear
  Stop              otherwise
signal 4RA at Main | T1
  Clear             when T1 normal  and Switch, Single clear
  Stop              otherwise
signal 4RB at Siding | T1
  Clear             when T1 reverse and Switch, Single clear
  Stop              otherwise
"""

# The same with a lever between them: everything is proved.
SAFE = (
    BROKEN.replace(
        "turnout T1 in Switch", "turnout T1 in Switch\nlever 4 positions left, normal, right"
    )
    .replace("when T1 normal  and Switch, Main", "when 4 left and T1 normal and Switch, Main")
    .replace("when T1 reverse and Switch, Siding", "when 4 left and T1 reverse and Switch, Siding")
    .replace("Switch, Single clear", "Switch, Single clear and 4 right")
)
