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


# ------------------------------------------------------------------ the same, wired


def wired_line(control_points: int) -> str:
    """The same line with all its wiring: three feeders and a detector a block, contacts and
    machines at the turnouts, a driver a signal, a booster and a bus for each station. Safe
    with any one thing broken."""
    stations = control_points // 2
    text = line(control_points)
    parts = ["scale HO", "trains 300 mm to 2 m, detectable throughout, wheelsets 1 kohm"]
    parts += ["supply Mains-Side track power 15 V 20 A"]
    for k in range(stations + 1):
        parts += [f"booster Boost{k} fed by Mains-Side 14 V 5 A", f"supply Bus{k} 12 V 5 A"]
        parts += [f"district D{k} fed by Boost{k}"]
    if stations > 0:
        parts.append("common return " + ", ".join(f"Bus{k}" for k in range(stations + 1)))
    blocks: list[str] = []
    lines = []
    for row in text.splitlines():
        words = row.replace(",", "").split()
        if row.startswith("block "):
            for name in words[1:]:
                blocks.append(name)
                length = "600 mm" if name[0] in "WE" else "3 m"
                lines.append(
                    f"block {name} {length} in D{name[1:]} feeders {name}f1, {name}f2, {name}f3"
                )
        elif row.startswith("turnout "):
            bus = words[1][2:]
            lines.append(f"{row} motor snap powered by Bus{bus} contacts normal, reverse")
        else:
            lines.append(row)
    for name in blocks:
        parts.append(
            f"detector Det{name} current-sensing through {name}f1, {name}f2, {name}f3 "
            f"sensitivity 1 mA powered by Bus{name[1:]} output closed when clear "
            "without track power reads occupied"
        )
    for row in lines:
        if row.startswith("signal "):
            name = row.split()[1]
            number = "".join(c for c in name if c.isdigit())
            heads = (
                f"{name}.upper, {name}.lower"
                if name.endswith("in") and not name.endswith("main")
                else name
            )
            parts.append(
                f"driver Dr{name} drives {heads} powered by Bus{number} when lamp out shows red"
            )
    return "\n".join([*lines, *parts]) + "\n"
