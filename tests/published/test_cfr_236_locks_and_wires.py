"""49 CFR 236 on locks that hear through wires: unsafe and safe, with every single fault.

[V]: the check follows the text as the sources have it.
"""

import verifier
from verifier.pipeline import prove as decide
from verifier.properties.catalog import FAILURES
from verifier.verdicts.report import Report

POWER = "without track power reads occupied"


def junction(
    *, closed: str = "clear", lock: str = "T occupied or Route up", track: str = "", more: str = ""
) -> str:
    """A one-way junction whose signal reads one wire of D-T and whose locks read another."""
    return f"""
    supply Bus 12 V
    supply Rail track power 14 V
    district North fed by Rail
    edge West entering only
    edge Main-End, Siding-End leaving only
    block A
    block T in North feeders t1, t2
    block M
    block S
    lever T1-lever positions normal, reverse
    button Set
    relay Route
      picks when Set pressed and T clear
      sticks while not Through
    relay Entered
      picks when Route up and T occupied
      sticks while Route up
    condition Through is Entered up and T clear
    turnout T1 in T
      thrown by T1-lever
      locked while {lock}
      contacts normal, reverse
    track West = A | T1 normal | M = Main-End
    track T1 reverse | S = Siding-End
    detector D-T current-sensing through t1, t2
      powered by Bus
      output closed when {closed}
      {track}
    signal In at A | T1
      heads upper, lower
      Clear            when Route up and Entered down and T1 normal and T, M clear
      Diverging-Clear  when Route up and Entered down and T1 reverse and T, S clear
      Stop             otherwise
    driver B1 drives In.upper, In.lower
      powered by Bus
      when lamp out shows red
    {more}
    """


# Locked by a relay that is up while the route is set, or by one that must be up to unlock.
BY_UP = "Route up"
BY_DOWN = "Free down"
FREE = """
    built of relays powered by Bus
    timer Release 30 s runs while Route, Entered down and T clear
    relay Free
      picks when Release done and Route, Entered down and T clear
      sticks while Route down
    trains need 20 s to stop
"""


def on_a_supply(lock: str, *, more: str = "") -> str:
    """The junction with its relays on the supply of its detectors."""
    text = junction(track=POWER, lock=f"T occupied or {lock}", more=FREE + more)
    text = text.replace("picks when Set pressed and", "picks when Set pressed and Free up and")
    text = text.replace("Free up and T clear", "Free up and Entered down and T clear")
    return text.replace("when Route up and Entered down", "when Route up and Free, Entered down")


def proved(text: str) -> Report:
    return verifier.prove(verifier.load_text(text))


def with_faults(text: str) -> Report:
    """What single faults do, without the rest."""
    return decide(verifier.load_text(text), only=sorted(FAILURES), repairs=False)


def consequences(report: Report) -> dict[str, str]:
    return {row.faults[0]: row.consequence for row in report.failures}


def test_49_cfr_236_5_V_236_302_V_locks_on_closed_circuit_safe() -> None:
    """236.5 and 236.302: a broken wire, a lost supply or no track power holds the lock."""
    report = with_faults(junction(track=POWER))
    done = consequences(report)
    for name in ("wire from D-T to the relays", "power wire of D-T", "supply Rail",
                 "bus of North", "feeder t1", "wire from T1 normal to B1"):  # fmt: skip
        assert done[name] in ("more restrictive", "none"), (name, done[name])
    assert "unlocked" not in done.values() and "undecided" not in done.values()


def test_49_cfr_236_5_V_236_302_V_a_lock_that_opens_with_its_wire_unsafe() -> None:
    """The other way round: the wire to the relays alone breaks, the signal is as it was, and the
    points move under a train."""
    report = with_faults(junction(closed="occupied", track=POWER))
    done = consequences(report)
    assert done["wire from D-T to the relays"] == "unlocked"
    (row,) = (r for r in report.failures if r.faults == ("wire from D-T to the relays",))
    assert "the points of T1 move" in row.why
    (verdict,) = (v for v in report.verdicts if v.obligation.subjects == row.faults)
    assert verdict.status == "broken" and verdict.finding and verdict.finding.story
    told = [event.text for event in verdict.finding.story.events]
    assert "wire from D-T to the relays is broken" in told


def test_49_cfr_236_5_V_track_power_lost_releases_the_route_unsafe() -> None:
    """236.5: no track power, no current. A relay that takes that for the end of the train drops."""
    done = consequences(with_faults(junction()))
    assert done["supply Rail"] == "false proceed"  # the signal, too, takes the track for clear
    done = consequences(with_faults(junction().replace("T, M clear", "M clear")))
    assert done["supply Rail"] in ("unlocked", "false proceed")


def test_49_cfr_236_5_V_relays_without_power_hold_the_lock_safe() -> None:
    """236.5: what fails on the control circuit leaves the most restrictive condition; so does the
    moment at which the supply comes back."""
    done = consequences(with_faults(on_a_supply(BY_DOWN)))
    assert done["supply Bus"] == "more restrictive" == done["supply Rail"]
    assert done["power wire of the relays"] in ("more restrictive", "none")


def test_49_cfr_236_5_V_relays_without_power_open_the_lock_unsafe() -> None:
    report = with_faults(on_a_supply(BY_UP))
    assert consequences(report)["power wire of the relays"] == "unlocked"
    assert consequences(report)["supply Bus"] == "unlocked"
    (verdict,) = (v for v in report.verdicts if v.obligation.subjects == ("supply Bus",))
    assert "A relay without power drops" in verdict.obligation.hint


def test_49_cfr_236_302_V_what_comes_back_releases_the_route_unsafe() -> None:
    """236.302: off, the detector reads occupied; back, clear. A route that is released by that is
    released in front of a train that cannot stop any more. So does a wire that is loose."""
    report = with_faults(junction(track=POWER, more="trains need 20 s to stop"))
    wire = "wire from D-T to the relays"
    for name, breaks, works in (
        ("supply Bus", "supply Bus is off", "supply Bus is on again"),
        (wire, f"{wire} is broken", f"{wire} makes contact again"),
    ):
        assert consequences(report)[name] == "unlocked"
        (verdict,) = (v for v in report.verdicts if v.obligation.subjects == (name,))
        assert verdict.finding and verdict.finding.story
        told = [event.text for event in verdict.finding.story.events]
        assert told.index(breaks) < told.index(works)


def test_49_cfr_236_302_V_half_a_lock_unsafe() -> None:
    """236.302 with nothing broken: a lock by the switch alone is open under a clear signal."""
    report = proved(junction(track=POWER, lock="T occupied"))
    broken = {v.obligation.property for v in report.verdicts if v.status == "broken"}
    assert {"points-move-under-signal", "points-move-under-train"} <= broken


def test_what_is_unlocked_without_a_fault_counts_for_none() -> None:
    """What histories without faults break already is not blamed on a fault."""
    report = proved(junction(track=POWER, lock="T1-lever reverse"))
    assert any(v.status == "broken" for v in report.verdicts)
    assert all("points of T1 move" not in row.why for row in report.failures)
