"""What somebody says of what he did and saw: read, or refused with a reason."""

from random import Random

import pytest

import verifier
from tests.diagnosis.test_diagnose import SIDING, SPECS, bench_of, looks_of
from tests.junction_files import spec
from verifier.diagnosis.observations import observations
from verifier.language.diagnostics.diagnostic import InputError
from verifier.reports.diagnosis import setup_words


def test_every_test_can_be_typed_as_it_is_printed() -> None:
    for path in (SIDING, *SPECS):
        bench = bench_of(path)
        signal = next(iter(bench.plan.signals.values()))
        for setup in looks_of(path)[::5]:
            words = f"{setup_words(setup, bench.given)}: {signal.heads[0].name} dark"
            if words.startswith("everything as usual"):
                words = f"{signal.heads[0].name} dark"
            (read,) = observations(bench, [words])
            for group in ((), *((s,) for s in bench.suspects[::7])):
                ways = [
                    {m.truth.situation for m in bench.moments(each, group)}
                    for each in (setup, read.setup)
                ]
                assert ways[0] == ways[1], words


SAME = [
    "locomotive at m2, T1 reverse, lever 4 left: 4L red over red",
    "Locomotive at m2; T1 reverse and 4 left then 4L shows red over red.",
    "the engine stands on Main at m2, turnout T1 lies reverse, lever 4 is left, 4L showed Stop",
    "loco at m2 T1 REVERSE 4 left 4L.upper red, 4L.lower red",
    "loco at m2, T1 reverse, 4 left: 4L upper red, 4L lower red",
    "loco at m2, T1 reverse, 4 left: 4L.upper, 4L.lower red",
    "loco at m2, T1 reverse, 4 left: 4L at stop",
]


@pytest.mark.parametrize("text", SAME)
def test_many_ways_to_say_one_thing(text: str) -> None:
    bench = bench_of(SIDING)
    wanted, read = observations(bench, [SAME[0], text])
    assert read.sights == wanted.sights
    for name in ("stands", "told", "lies", "facts"):
        assert getattr(read.setup, name) == getattr(wanted.setup, name)


MESSAGES = [
    ("locomotive on Mian: 4L Clear", "CP620", "no block or feeder is called `Mian`", "`Main`"),
    ("Mian occupied: 4L Clear", "CP620", "nothing on this layout is called `Mian`", "`Main`"),
    ("4LA red", "CP620", "nothing on this layout is called `4LA`", "4"),
    ("T1 sideways: 4L Clear", "CP621", "turnout `T1` is never `sideways`", "normal, reverse"),
    ("lever 4 lefft: 4L Clear", "CP621", "lever `4` is never `lefft`", "`left`"),
    ("4L Claer", "CP621", "`4L` never shows `Claer`", "`Clear`"),
    ("4L yellow over red", "CP621", "`4L` never shows `yellow over red`", "4L.upper green, red"),
    ("T1 normal, T1 reverse: 4L Clear", "CP622", "`T1` is in two states at once", ""),
    ("4L Clear, 4L Stop", "CP622", "`4L` is in two states at once", ""),
    ("T1 reverse", "CP623", "the observation does not say what any signal showed", "4L"),
    ("T1: 4L Clear", "CP623", "nothing is said about `T1`", "what state it was in"),
    ("T1 reverse: 4L", "CP623", "nothing is said about `4L`", "what it showed"),
    ("m2: 4L Clear", "CP623", "nothing is said about feeder `m2`", "`locomotive at m2`"),
    ("locomotive: 4L Clear", "CP620", "no block or feeder is called `:`", ""),
    ("", "CP623", "the observation does not say what any signal showed", ""),
    ("4L red", "CP624", "signal `4L` has 2 heads, so it shows 2 colors, not 1", "4L.upper"),
    ("4RA red over red", "CP624", "signal `4RA` has one head, so it shows one color, not 2", ""),
    ("T1 thrown open: 4L Stop", "CP621", "`T1` cannot be thrown to open", "normal or reverse"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "code", "message", "hint"), MESSAGES)
def test_what_cannot_be_understood_is_said(text: str, code: str, message: str, hint: str) -> None:
    with pytest.raises(InputError) as caught:
        observations(bench_of(SIDING), ["4L dark", text])
    (diagnostic,) = caught.value.diagnostics
    assert (diagnostic.code, diagnostic.message) == (code, message)
    assert hint in diagnostic.hint
    assert diagnostic.span.source.name == "observation 2"


def test_any_words_are_read_or_refused_with_a_code() -> None:
    bench, random = bench_of(SIDING), Random(7)
    start = ["locomotive at m2", "train on Main", "T1 reverse", "4 left", "Main occupied", "4L", ""]
    words = ["on", "at", "over", "Main", "m2", "T1", "thrown", "4", "left", "normal", "4L", "4RA",
             "red", "green", "over", "Clear", "dark", ",", "?", "4L.."]  # fmt: skip
    read = 0
    for _ in range(3_000):
        text = " ".join([random.choice(start), *random.choices(words, k=random.randint(0, 5))])
        try:
            read += len(observations(bench, [text]))
        except InputError as error:
            assert all(d.code.startswith("CP62") for d in error.diagnostics), text
    assert read > 20


def test_what_is_remembered_can_be_part_of_an_observation() -> None:
    plan = verifier.load_text(
        "edge West, East\nblock Main, Single\nbutton N\ntrack West = Main | Single = East\n"
        "relay R picks when N pressed\nsignal 2 at Main | Single\n  Clear when R up\n"
        "  Stop otherwise\n"
    )

    def verdict(*texts: str) -> str:
        return verifier.diagnose(plan, texts).verdict

    assert verdict("relay R up: 2 Clear", "R down: 2 Stop") == "nothing wrong"
    assert verdict("relay R is up: 2 Stop") != "nothing wrong"
    with pytest.raises(InputError) as raised:
        verdict("R sideways: 2 Stop")
    assert raised.value.diagnostics[0].hint == "It can be down or up."


@pytest.mark.parametrize(
    ("said", "stands"),
    [("over spots 1 and 3", True), ("over spots 4 to 6", True), ("over spots 6 to 4", True),
     ("over spots 1 to 3 to 5", False), ("over spots 1 and 2", False), ("over spot 99", False)],
)  # fmt: skip
def test_spots_that_were_said_are_read_or_refused(said: str, stands: bool) -> None:
    bench = bench_of(spec("lock-between-spots-mended"))
    words = [f"train on Switch {said}: 4L Stop"]
    if stands:
        assert len(observations(bench, words)) == 1
        return
    with pytest.raises(InputError):
        observations(bench, words)
