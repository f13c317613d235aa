"""Random statements that can be read: as lists of words, and as text with any spacing and
comments between the words."""

from hypothesis import strategies as st

from verifier.language.syntax.parse import is_name
from verifier.plan.signals.aspects import INDICATIONS

Words = st.SearchStrategy[list[str]]

names = st.one_of(
    st.sampled_from(["Main", "Siding", "T1", "4L", "West-Main", "9", "Überweg", "x_1", "4L.upper"]),
    st.from_regex(r"[A-Za-z0-9äß][A-Za-z0-9äß_-]{0,6}", fullmatch=True).filter(is_name),
)
texts = st.text(
    st.characters(codec="utf-8", exclude_characters='"', exclude_categories=("Cc", "Cs", "Cf")),
    max_size=12,
).filter(lambda text: "\ufffe" not in text and "\uffff" not in text)
strings = texts.map(lambda text: f'"{text}"')
legs = st.sampled_from(["normal", "reverse", "along", "across"])
colors = st.sampled_from(["green", "yellow", "red", "lunar", "white", "dark"])
modes = st.sampled_from(["never", "always"])


def seq(*parts: Words | st.SearchStrategy[str] | str) -> Words:
    """One after the other."""
    each = [st.just(part) if isinstance(part, str) else part for part in parts]
    return st.tuples(*each).map(
        lambda found: [w for part in found for w in ([part] if isinstance(part, str) else part)]
    )


def maybe(*parts: Words | st.SearchStrategy[str] | str) -> Words:
    return st.one_of(st.just([]), seq(*parts))


def joined(item: Words | st.SearchStrategy[str], sign: str, most: int = 3) -> Words:
    """One or several, with a sign between them."""
    return st.lists(seq(item), min_size=1, max_size=most).map(
        lambda found: [w for i, part in enumerate(found) for w in ([sign] * (i > 0) + part)]
    )


listed = joined(names, ",")
color = seq(maybe("flashing"), colors)
plates = st.sampled_from(["number plate", "letter plate", "marker plate"])
states = st.one_of(
    st.sampled_from(
        [
            "clear", "occupied", "vacant", "normal", "reverse", "moving", "derailing",
            "non-derailing", "seated", "open", "proceed", "proceeds", "pressed",
        ]
    ).map(lambda word: [word]),
    seq(
        st.sampled_from(["lies", "lie"]),
        st.sampled_from(["normal", "reverse", "open", "derailing", "non-derailing", "seated"]),
    ),
    seq("at", "stop"),
    seq("shows", names),
    color,
    names.map(lambda name: [name]),
)  # fmt: skip
quantity = st.sampled_from([[], ["any", "of"], ["all", "of"]])
facts = st.one_of(seq(quantity, listed, states), seq(names), seq("train", "on", quantity, listed))
conditions: Words = st.recursive(
    facts,
    lambda inner: st.one_of(
        seq("(", inner, ")"),
        seq("not", inner),
        seq(inner, "and", inner),
        seq(inner, "or", inner),
    ),
    max_leaves=8,
)
steps = st.one_of(seq(names), seq(legs, names), seq(names, legs), seq(legs, names, legs))
joins = st.one_of(
    st.sampled_from([["="], ["|"], ["||"]]),
    seq(st.sampled_from(["=", "|", "||"]), "(", names, ")"),
)
shown = names.filter(lambda name: "." not in name)
rules = st.lists(
    seq(maybe("flashing"), shown, st.one_of(seq("when", conditions), seq("otherwise"))),
    min_size=1,
    max_size=3,
).map(lambda found: [word for rule in found for word in rule])
indications = st.sampled_from(sorted(INDICATIONS))
claims = st.one_of(names, strings)
subjects = joined(claims, ",")

numbers = st.one_of(
    st.integers(0, 99_999).map(str),
    st.decimals(0, 9_999, places=2).map(str),
)
spots = seq(numbers, ",", numbers)
units = st.sampled_from(["mm", "cm", "m", "in", "ft", "V", "mA", "A", "kohm", "AWG", "s"])
glued = st.tuples(numbers, units).map("".join)
amounts = st.one_of(seq(numbers, units), seq(glued))
lengths = st.one_of(amounts, seq(numbers, "ft", numbers, "in"))
runs = maybe("over", lengths, "of", amounts)
sides = st.sampled_from([["normal"], ["reverse"]])
starting = st.sampled_from(
    [["normal"], ["reverse"], ["derailing"], ["non-derailing"], ["seated"], ["open"]]
)
throw_clauses: Words = st.one_of(
    seq("thrown", "by", listed),
    seq("thrown", "by", "hand"),
    seq("thrown", "reverse", "when", conditions),
    seq("locked", "while", conditions),
    seq("electric", "lock", "released", "when", conditions),
    seq("motor", st.sampled_from(["slow", "snap"]), maybe(amounts)),
    seq("pulse", amounts),
    seq("starts", starting),
)
from_points = st.one_of(
    seq("before", names), seq("beyond", st.sampled_from([["normal"], ["reverse"]]), names)
)
machine_clauses: Words = st.one_of(
    throw_clauses,
    seq("points", "at", joined(seq(lengths, from_points), ",")),
    seq("bonded", "over", lengths, "of", numbers, "AWG"),
    seq("powered", "by", names),
    seq("draws", amounts),
    seq(st.sampled_from(["contact", "contacts"]), joined(sides, ",")),
    seq("no", "contacts"),
    seq("fouling", "point", lengths),
    seq("gap", joined(seq(sides, lengths), ",")),
    seq("frog", "dead"),
    seq("frog", "live", "by", st.sampled_from([["points"], ["contacts"]])),
    seq("frog", "live", "by", st.sampled_from([["contacts", "of"], ["lever"]]), names),
)
track_power = st.sampled_from([["track", "power"]])
kinds_of_current = st.sampled_from([["DC"], ["AC"], ["DCC"]])
fuses = seq(
    "fuse", amounts, maybe(st.sampled_from(["UL", "IEC", "resettable", "electronic"])),
    maybe("trips", "at", amounts),
)  # fmt: skip
supply_clauses = st.one_of(track_power, kinds_of_current, amounts, fuses)
places = seq(
    lengths,
    maybe("over", joined(seq(maybe(st.sampled_from([["normal"], ["along"]])), names), "and")),
)
detector_clauses: Words = st.one_of(
    seq("on", names),
    seq("at", joined(places, ",")),
    seq("by", st.sampled_from([["coil"], ["diodes"], ["biased", "diodes"]])),
    seq("through", listed),
    seq("turns", numbers),
    seq("sensitivity", amounts),
    seq("hold", amounts),
    seq("powered", "by", names),
    seq("draws", amounts),
    seq("output", "closed", "when", st.sampled_from(["clear", "occupied"])),
    seq("isolated", "output"),
    seq("without", "track", "power", "reads", "occupied"),
)
driver_clauses: Words = st.one_of(
    seq(
        st.sampled_from(
            [
                "throws",
                "unlocks",
                "two-color",
                "three-color",
                "target",
                "position-light",
                "incandescent",
                "semaphore",
                "approach-lit",
                "tested-unlit",
                "common-anode",
                "common-cathode",
            ]
        ),
        listed,
    ),
    seq("series", "of", numbers, "in", listed),
    seq("inputs", numbers),
    seq("outputs", numbers, maybe(seq("of", amounts))),
    seq("powered", "by", names, runs, maybe(fuses)),
    seq("reads", joined(seq(names, maybe("contacts")), ",")),
    seq("when", "input", "missing", "shows", color),
    seq("when", "lamp", "out", "shows", color),
    seq("draws", amounts),
    seq("lamps", amounts),
    seq("needs", amounts),
)
train_clauses: Words = st.one_of(
    seq("detectable", st.sampled_from([["throughout"], ["at", "the", "locomotive", "only"],
                                       ["at", "both", "ends"]])),
    seq("wheelsets", amounts),
    seq("load", amounts, maybe("to", amounts)),
)  # fmt: skip


def several(clause: Words, most: int = 4) -> Words:
    """No clause, one, or some, in any order."""
    return st.lists(clause, max_size=most).map(lambda found: [w for part in found for w in part])


wiring: Words = st.one_of(
    seq("supply", names, several(supply_clauses)),
    seq("booster", names, several(st.one_of(seq("fed", "by", names), amounts))),
    seq("reverser", names, "fed", "by", names, maybe("draws", amounts)),
    seq("district", names, maybe("on", listed), "fed", "by", names, runs, maybe(fuses)),
    seq("common", "return", listed),
    seq("wire", numbers, "AWG", "carries", amounts),
    seq("detector", names, st.sampled_from(["current-sensing", "spot"]), several(detector_clauses)),
    seq("driver", names, maybe("drives", listed), several(driver_clauses)),
    seq("trains", lengths, "to", lengths, several(seq(maybe(","), train_clauses), 2)),
    seq("sub-bus", names, "feeds", listed, runs, maybe(fuses)),
    seq(
        "rail", "code", numbers,
        maybe("of", amounts, "to", amounts, "per", st.sampled_from(["m", "ft", "in"])),
        maybe("soldered"), maybe("on", listed),
    ),
    seq("scale", st.one_of(seq(names.filter(lambda n: not n.isdecimal())), seq("1", ":", numbers))),
    seq("stopping", "distance", lengths),
    seq(
        "block", listed, maybe(lengths), maybe("in", listed), maybe("undetected"), maybe(strings),
        several(
            seq("feeders", joined(seq(names, maybe("at", lengths, maybe(from_points))), ","),
                maybe("on", names), runs, maybe(fuses)), 2
        ),
    ),
    seq("turnout", listed, "in", names, several(machine_clauses)),
    seq(
        "signal", names, "at", steps, joins, steps, "stands", lengths, "before", "gap",
        maybe("heads", listed), maybe(rules),
    ),
)  # fmt: skip

relay_clauses: Words = st.one_of(
    seq("picks", "when", conditions),
    seq("sticks", "while", conditions),
    seq("slow", "to", st.sampled_from(["pick", "release"]), lengths),
)
traffic_clauses: Words = st.one_of(
    seq(st.sampled_from(["rightward", "leftward"]), "when", conditions),
    seq("locked", "while", conditions),
)
locking: Words = st.one_of(
    seq("relay", names, several(relay_clauses)),
    seq("timer", names, lengths, "runs", "while", conditions, maybe("powered", "by", names)),
    seq("route", names, "from", names, "to", names, maybe("via", joined(seq(names, sides), ","))),
    seq("traffic", names, "on", listed, several(traffic_clauses)),
    seq("trains", st.sampled_from([["obey", "signals"], ["never", "reverse"]])),
    seq("trains", "need", lengths, "to", "stop"),
    seq("built", st.sampled_from([["of", "relays"], ["as", "one", "program"]]),
        maybe("on", names), maybe("powered", "by", names)),
    seq("written", "for", "version", numbers),
    seq("at most", numbers, st.sampled_from(["train", "trains"])),
    seq("trains", st.sampled_from(["reverse", "start"]), "on", listed),
    seq(
        "crew", "promises", "not", "to", "throw", st.one_of(seq("points"), listed),
        st.sampled_from(
            [
                ["under", "a", "train"],
                ["ahead", "of", "a", "train"],
                ["under", "clear", "signals"],
                ["before", "a", "train", "can", "stop"],
            ]
        ),
    ),
    seq(
        "crew", "promises", "one", st.sampled_from(["train", "direction"]), "at", "a", "time",
        "on", listed,
    ),
    seq("crew", "promises", "not", "to", "reverse", maybe("on", listed)),
    seq(
        "edge", listed, maybe(st.sampled_from(["entering", "leaving"]), "only"),
        "entering", "when", conditions,
    ),
    seq("slip", listed, "in", names, several(throw_clauses)),
)  # fmt: skip

statements: Words = st.one_of(
    seq("layout", strings),
    seq("edge", listed, maybe(st.sampled_from(["entering", "leaving"]), "only")),
    seq("bumper", listed),
    seq("place", names, joined(seq(st.one_of(
        seq("at", spots), seq("from", spots, "to", spots))), "and")),
    seq("block", listed, maybe("undetected"), maybe("switching", "only"), maybe(strings)),
    seq(st.sampled_from(["turnout", "crossing"]), listed, "in", names),
    seq(
        "slip", listed, "in", names,
        maybe(
            "single", st.sampled_from([["along", "to", "across"], ["across", "to", "along"]])
        ),
    ),
    seq("derail", names, "on", names, "toward", names, maybe("starts", starting)),
    seq("gate", listed, "on", names, maybe("starts", starting)),
    seq("crossover", names, "is", listed),
    seq("interlocking", "limits", names, "is", listed),
    seq("track", steps, joins, steps, maybe(joins, steps), maybe(joins, steps)),
    seq("signal", names, "at", steps, joins, steps, maybe("with", plates), maybe("heads", listed),
        maybe(rules)),
    seq("head", names, rules),
    seq("aspect", names, joined(seq(joined(color, "over"), maybe("with", plates)), "or"),
        indications),
    seq("address", st.sampled_from(["12", "2043", "0"]), "is", names),
    seq("number", st.sampled_from(["0", "31", "99"]), "is", st.one_of(seq(names), seq(color))),
    seq("condition", names, "is", conditions),
    seq("lever", names, st.sampled_from(["normal", "reverse", "left"]), "locks",
        joined(seq(names, st.sampled_from(["normal", "right"])), ","), maybe("when", conditions)),
    seq("lever", listed, "positions", joined(st.one_of(names, st.just("normal")), ","),
        maybe("contacts", joined(st.one_of(names, st.just("normal")), ",")),
        maybe("powered", "by", names)),
    seq("button", listed, maybe("contact", st.sampled_from(["pressed", "released"])),
        maybe("powered", "by", names)),
    seq("indicator", names, "lit", "when", conditions),
    seq("bell", names, "rings", "when", conditions),
    seq("prove", strings, st.one_of(modes, st.just("possible")), conditions),
    seq("assume", strings, modes, conditions),
    seq("waive", claims, maybe("for", subjects), "because", strings),
    seq("expect", "broken", claims, maybe("for", subjects)),
    wiring,
    locking,
)  # fmt: skip

comments = st.text(
    st.characters(codec="utf-8", exclude_characters="\r\n", exclude_categories=["Cs"]),
    max_size=6,
).map(lambda text: f"#{text}")
line_ends = st.sampled_from(["\n", "\n", "\r\n", "\r"])
spaces = st.one_of(
    st.sampled_from([" ", " ", " ", "  ", "\t", "\n", "\n  ", "\n\n", "\n \n\n", "\r\n", "\r"]),
    st.tuples(st.sampled_from([" ", "", "\n", "\n  ", "\n\n"]), comments, line_ends).map("".join),
    st.tuples(st.just(" "), comments, line_ends, st.just("  "), comments, line_ends).map("".join),
)


@st.composite
def files(draw: st.DrawFn) -> str:
    """The text of a file that can be read."""
    found = draw(st.lists(statements, max_size=5))
    words = [word for statement in found for word in statement]
    apart = draw(st.lists(spaces, min_size=len(words) + 1, max_size=len(words) + 1))
    text = apart[0] + "".join(word + space for word, space in zip(words, apart[1:], strict=True))
    return text if draw(st.booleans()) else text.rstrip()
