"""CP70x, CP71x: memory, time and locking, as a file says it."""

from verifier.language.diagnostics.code import Code

_TRACK = """\
edge West, East
bumper End
block Main, Spur, Switch, Single
track West = Main | normal  T1 | Single = East
track End  = Spur | reverse T1
"""
_SIGNAL = """\
signal 2 at Single | T1
  Stop otherwise
"""
_PLAIN = f"{_TRACK}turnout T1 in Switch\n{_SIGNAL}"

LOCKING = (
    Code(
        "CP701",
        "a relay that never picks",
        """\
A relay comes up when its `picks when` holds, and stays up while its `sticks
while` does. Without the first it would stay down for good, and whatever asks
for it would never get an answer.

Say when it picks: `picks when Clear-2 pressed and Switch clear`.""",
        f"{_PLAIN}relay 2-route\n  sticks while Switch clear\n",
        f"{_PLAIN}button Clear-2\nrelay 2-route\n  picks when Clear-2 pressed\n"
        "  sticks while Switch clear\n",
    ),
    Code(
        "CP702",
        "an electric lock without a hand-thrown switch",
        """\
An electric lock is a bolt in the switch stand: whoever stands there cannot
move the points until it is released. Points that are moved from the panel have
nothing it could hold.

Add `thrown by hand`, or hold the points with `locked while`, which says when
they may not be moved.""",
        f"{_TRACK}turnout T1 in Switch\n  electric lock released when Main clear\n{_SIGNAL}",
        f"{_TRACK}turnout T1 in Switch\n  thrown by hand\n"
        f"  electric lock released when Main clear\n{_SIGNAL}",
    ),
    Code(
        "CP703",
        "a turnout thrown in two ways",
        """\
A turnout thrown by a rule lies as the rule says at every moment. A lever,
buttons or a hand that also throw it would be overruled at once, so the file
says two things of which one cannot be so.

Keep one of the two. What a person does can be a part of the rule:
`thrown reverse when R-button pressed and Switch clear`.""",
        f"{_TRACK}relay 2-spur\n  picks when Spur clear\nturnout T1 in Switch\n"
        f"  thrown by hand\n  thrown reverse when 2-spur up\n{_SIGNAL}",
        f"{_TRACK}relay 2-spur\n  picks when Spur clear\nturnout T1 in Switch\n"
        f"  thrown reverse when 2-spur up\n{_SIGNAL}",
    ),
    Code(
        "CP704",
        "buttons that cannot throw a turnout",
        """\
Two buttons throw a turnout: while the first is pressed it is told to lie
normal, while the second is, reverse. One button would have to mean both, and
of three nobody could tell what the third is for.

Name two different buttons, the one for normal first:
`thrown by N-button, R-button`.""",
        f"{_TRACK}button N-button\nturnout T1 in Switch\n  thrown by N-button\n{_SIGNAL}",
        f"{_TRACK}button N-button, R-button\nturnout T1 in Switch\n"
        f"  thrown by N-button, R-button\n{_SIGNAL}",
    ),
    Code(
        "CP705",
        "a route that leads elsewhere",
        """\
Routes are found from the track: each leads from a signal over the track beyond
it to the next signal the same way, or to the end of the plan. A name can be
given to a route there is, and not make one.

The message lists where routes from this signal end. For a longer way, name
each of the routes it is made of.""",
        f"{_PLAIN}route 2-out from 2 to East\n",
        f"{_PLAIN}route 2-in from 2 to West\n",
    ),
    Code(
        "CP706",
        "a name that fits several routes",
        """\
More than one way leads from this signal to this end, so the name does not tell
which of them is meant, and a rule that asks whether the route is lined could
not be answered.

Say how the points lie that tell them apart: `via T1 normal`.""",
        "edge West, East\nblock A, B, C, S, N\nturnout T1 in S\nturnout T2 in N\n"
        "track West = A | T1 normal | B | normal T2 | C = East\n"
        "track T1 reverse | reverse T2\nsignal 2 at A | T1\n  Stop otherwise\n"
        "route 2-on from 2 to East\n",
        "edge West, East\nblock A, B, C, S, N\nturnout T1 in S\nturnout T2 in N\n"
        "track West = A | T1 normal | B | normal T2 | C = East\n"
        "track T1 reverse | reverse T2\nsignal 2 at A | T1\n  Stop otherwise\n"
        "route 2-on from 2 to East via T1 normal\n",
    ),
    Code(
        "CP707",
        "points that are not on the route",
        """\
`via` says how points on the way lie. No route between these two runs over the
points named, or none does with the points lying so.

The message shows the ways there are: choose one, or leave `via` out.""",
        f"{_PLAIN}route 2-in from 2 to West via T1 reverse\n",
        f"{_PLAIN}route 2-in from 2 to West via T1 normal\n",
    ),
    Code(
        "CP708",
        "traffic that turns one way only",
        """\
The direction of traffic on a stretch of single track is remembered: it stays
as it is until it is turned. It needs a line for each way, or, once turned, it
would stay so for good. `rightward` and `leftward` are as the track is drawn.

Give both lines: `rightward when East-button pressed` and `leftward when
West-button pressed`.""",
        f"{_PLAIN}button E\ntraffic Way on Single\n  rightward when E pressed\n",
        f"{_PLAIN}button E, W\ntraffic Way on Single\n  rightward when E pressed\n"
        "  leftward when W pressed\n",
    ),
    Code(
        "CP709",
        "trains that reverse and never do",
        """\
`trains reverse on …` lists the only blocks on which trains may stop and go
back, `trains never reverse` says that there are none. What is proved would
rest on whichever of the two is right.

Keep the one that is so on your railroad.""",
        f"{_PLAIN}trains never reverse\ntrains reverse on Spur\n",
        f"{_PLAIN}trains reverse on Spur\n",
    ),
    Code(
        "CP710",
        "trains enter where they only leave",
        """\
An edge that is `leaving only` lets no train in, so saying when one comes in
there contradicts it. What is proved would leave out trains that come.

Leave out `leaving only`, or the condition.""",
        f"{_PLAIN}edge North leaving only entering when Main clear\n"
        "bumper Post\nblock Lead\ntrack North = Lead = Post\n",
        f"{_PLAIN}edge North leaving only\nbumper Post\nblock Lead\ntrack North = Lead = Post\n",
    ),
)
