"""A generated single-track line: passing sidings, two control points each, four signals a
control point, fully signalled and safe (levers for the direction of traffic, approach
aspects all along, routes lined before a signal clears)."""


def line(control_points: int) -> str:
    """The junction file of a line with that many control points (an even number)."""
    stations = control_points // 2
    parts = ['layout "A generated line"', "edge West, East"]
    parts += [_single(k) for k in range(stations + 1)]
    parts += [_station(k) for k in range(stations)]
    parts.append(f"track West = A0\ntrack B{stations} = East")
    parts.append(_end_signals(stations))
    return "\n".join(parts) + "\n"


def _single(k: int) -> str:
    """The single track west of station ``k``: two blocks, a lever for its direction."""
    return f"block A{k}, B{k}\ntrack A{k} | B{k}\nlever F{k} positions east, west"


def _end_signals(last: int) -> str:
    """The approach signals of the single track beyond the outermost stations."""
    return f"""
signal W0app at B0 | A0
  Clear when F0 west and A0 clear
  Stop  otherwise
signal E{last}app at A{last} | B{last}
  Clear when F{last} east and B{last} clear
  Stop  otherwise
"""


def _station(k: int) -> str:
    n = k + 1
    return f"""
block W{k}, E{k}, M{k}, S{k}
turnout TW{k} in W{k}
turnout TE{k} in E{k}
lever FM{k}, FS{k} positions east, west
track B{k} | TW{k} normal | M{k} | normal TE{k} | A{n}
track TW{k} reverse | S{k} | reverse TE{k}

# west control point
{_entrance(f"E{k}in", f"B{k} | TW{k}", f"TW{k}", f"W{k}", k, f"F{k} east", "E")}
{_leaving(f"W{k}main", f"M{k} | TW{k}", f"TW{k} normal", f"F{k} west", f"W{k}, B{k}", f"W{k}app")}
{_leaving(f"W{k}side", f"S{k} | TW{k}", f"TW{k} reverse", f"F{k} west", f"W{k}, B{k}", f"W{k}app")}
{_approach(f"E{k}app", f"A{k} | B{k}", f"F{k} east", f"B{k}", f"E{k}in")}
# east control point
{_entrance(f"W{k}in", f"A{n} | TE{k}", f"TE{k}", f"E{k}", k, f"F{n} west", "W")}
{_leaving(f"E{k}main", f"M{k} | TE{k}", f"TE{k} normal", f"F{n} east", f"E{k}, A{n}", f"E{n}app")}
{_leaving(f"E{k}side", f"S{k} | TE{k}", f"TE{k} reverse", f"F{n} east", f"E{k}, A{n}", f"E{n}app")}
{_approach(f"W{n}app", f"B{n} | A{n}", f"F{n} west", f"A{n}", f"W{k}in")}
"""


def _entrance(
    name: str, at: str, points: str, switch: str, k: int, traffic: str, letter: str
) -> str:
    way = traffic.split()[1]
    main = f"{points} normal and {traffic} and FM{k} {way} and {switch}, M{k} clear"
    side = f"{points} reverse and {traffic} and FS{k} {way} and {switch}, S{k} clear"
    return f"""signal {name} at {at}
  heads upper, lower
  Clear              when {main} and {letter}{k}main proceeds
  Approach           when {main}
  Diverging-Clear    when {side} and {letter}{k}side proceeds
  Diverging-Approach when {side}
  Stop               otherwise"""


def _leaving(name: str, at: str, points: str, traffic: str, blocks: str, ahead: str) -> str:
    when = f"{points} and {traffic} and {blocks} clear"
    return f"""signal {name} at {at}
  Clear    when {when} and {ahead} proceeds
  Approach when {when}
  Stop     otherwise"""


def _approach(name: str, at: str, traffic: str, block: str, ahead: str) -> str:
    return f"""signal {name} at {at}
  Clear    when {traffic} and {block} clear and {ahead} proceeds
  Approach when {traffic} and {block} clear
  Stop     otherwise"""
