"""Counts of what a wired file declares, from its text alone: nothing of the program is used.

In: the text of a junction without modules and included files. Out: how many of each there are.
"""

import re
from collections import Counter


def counted(text: str) -> Counter[str]:
    """Feeders, detectors, spots, drivers, contacts, arm contacts, frogs, machines, supplies,
    boosters, fuses, levers, masts, heads, gaps and cuts."""
    lines = [re.sub(r'"[^"]*"', "", line.split("#")[0]) for line in text.splitlines()]
    lines = [line for line in lines if line.strip()]
    found: Counter[str] = Counter()
    statements: list[str] = []
    for line in lines:
        if line[0].isspace() and statements:
            statements[-1] += "\n" + line
        else:
            statements.append(line)
    for statement in statements:
        found += _of_statement(statement)
        found["fuses"] += len(re.findall(r"\bfuse\b(?!-)", statement))
    return found


def _of_statement(statement: str) -> Counter[str]:
    words = statement.split()
    names = r"\s+([\w.-]+(?:\s*,\s*[\w.-]+)*)"
    match words[0]:
        case "block":
            beside = r"\s+at\s+[\d./]+\s*(?:mm|cm|m|in|ft)\b"
            beside += r"(?:\s+(?:before|beyond\s+(?:normal|reverse))\s+[\w-]+)?"
            groups = re.findall(rf"\bfeeders?{names}", re.sub(beside, "", statement))
            return Counter({"feeders": sum(len(group.split(",")) for group in groups)})
        case "detector" if "spot" in words:
            leg = r"(?:(?:normal|reverse|along|across) )?[\w-]+"
            place = rf"\s*[\d.]+ (?:mm|cm|m)\b(?: over {leg}(?: and {leg})*)?"
            spots = re.search(rf"\bat({place}(?:\s*,{place})*)", statement)
            assert spots
            places = {" ".join(spot.split()) for spot in spots[1].split(",")}
            isolated = int("isolated output" in statement)
            return Counter({"spot detectors": 1, "spots": len(places), "isolated": isolated})
        case "detector":
            isolated = int("isolated output" in statement)
            return Counter({"current detectors": 1, "isolated": isolated})
        case "driver":
            # Arms of a board that takes note of a lamp that is out have a contact each.
            arms = re.search(rf"\bsemaphore{names}", statement)
            watched = len(arms[1].split(",")) if arms and "when lamp out" in statement else 0
            return Counter({"drivers": 1, "arm contacts": watched})
        case "turnout" | "slip" | "derail" | "gate":
            contacts = 2 * len(re.findall(r"\bcontacts [\w-]+, [\w-]+", statement))
            contacts += len(re.findall(r"\bcontact [\w-]+", statement))
            machines = len(re.findall(r"\bmotor\b", statement))
            many = len(re.match(rf"{words[0]}{names}", statement)[1].split(","))  # type: ignore[index]
            frogs = len(re.findall(r"\blive by (?:contacts|lever)\b", statement))
            return Counter(
                {"contacts": many * contacts, "machines": many * machines, "frogs": many * frogs}
            )
        case "supply" | "booster":
            return Counter({"supplies" if words[0] == "supply" else "boosters": 1})
        case "lever":
            match = re.match(rf"lever{names} positions", statement)
            assert match
            return Counter({"levers": len(match[1].split(","))})
        case "signal":
            heads = re.search(rf"\bheads?{names}", statement)
            return Counter({"masts": 1, "heads": len(heads[1].split(",")) if heads else 1})
        case "track":
            return Counter(
                gaps=len(re.findall(r"\|+", statement)), cuts=len(re.findall(r"\|", statement))
            )
    return Counter()
