"""Layouts with locks for the tests of properties over time."""

# Two turnouts one after the other behind one signal, with plain track between.
THROAT = """
edge West entering only
edge North-End, Middle-End, South-End leaving only
block A, B, T, C, U, N, M, S
lever T1-lever, T2-lever positions normal, reverse
turnout T1 in T
  thrown by T1-lever
  locked while T occupied
turnout T2 in U
  thrown by T2-lever
  locked while U occupied
track West = A | B | T1 normal  | C | T2 normal  | N = North-End
track                             T1 reverse | S = South-End
track                                          T2 reverse | M = Middle-End
signal In at A | B
  heads upper, lower
  Clear            when T1 normal and T2 normal and B, T, C, U, N clear
  Diverging-Clear  when T1 normal and T2 reverse and B, T, C, U, M clear
  Stop             otherwise
"""

END_OF_SIDING = """
edge West-Main, West-Siding, East
block Main, Siding, Switch, Single
lever T1-lever positions normal, reverse
turnout T1 in Switch
  thrown by T1-lever
  locked while Switch occupied
trains need 20 s to stop
track West-Main   = Main   | normal  T1 | Single = East
track West-Siding = Siding | reverse T1
signal 4L at Single | T1
  heads upper, lower
  Clear            when T1 normal and Switch, Main clear
  Diverging-Clear  when T1 reverse and Switch, Siding clear
  Stop             otherwise
signal 4RA at Main | T1
  Clear  when T1 normal and Switch, Single clear
  Stop   otherwise
signal 4RB at Siding | T1
  Clear  when T1 reverse and Switch, Single clear
  Stop   otherwise
"""
