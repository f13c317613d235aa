"""A small wired junction that the tests of reports share, safe as it stands."""

SAFE = """
layout "Millrace, spur switch"
edge West
edge East leaving only
edge Spur leaving only
supply Track-A track power 14 V
supply Bus-1
district North fed by Track-A
block Main in North
  feeders m1, m2
block Switch in North
  feeders w1, w2
block Yard undetected
turnout T1 in Switch
  motor snap powered by Bus-1
  contacts normal, reverse
track West = Yard | normal T1 | Main = East
track T1 reverse = Spur
detector D-Main current-sensing through m1, m2
  powered by Bus-1
  output closed when clear
  without track power reads occupied
detector D-Switch current-sensing through w1, w2
  powered by Bus-1
  output closed when clear
  without track power reads occupied
driver B1 drives 2R
  powered by Bus-1
signal 2R at Yard | T1
  Clear when T1 normal and Main, Switch clear
  Stop  otherwise
"""

# Its detectors sense the other way round, so that broken wires read clear.
OPEN_CIRCUIT = SAFE.replace("closed when clear", "closed when occupied")
