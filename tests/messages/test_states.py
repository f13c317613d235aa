"""Conditions that ask for states things are never in, or that nobody can know: CP20x."""

from tests.messages.expecting import STATION, expect


def test_no_state() -> None:
    expect(
        STATION + "condition X is Main",
        code="CP204",
        underlined="Main",
        message="`Main` is a block, but its state is missing",
        hint=(
            "It can be `clear` or `occupied`; in `prove` and `assume` also `vacant`. Put "
            "several in one state with commas: `Main, Switch clear`."
        ),
    )
    expect(
        STATION + "condition X is T1",
        code="CP204",
        underlined="T1",
        message="`T1` is a turnout, but its state is missing",
        hint=(
            "It can be `normal`, `reverse` or `moving`; in `prove` and `assume` also "
            "`lies normal`, `lies reverse` or `lies open`. Put several in one state with "
            "commas: `T1, T2 normal`."
        ),
    )
    expect(
        STATION + "condition X is 4L",
        code="CP204",
        underlined="4L",
        message="`4L` is a signal, but its state is missing",
        hint=(
            "It can be `at stop`, `proceeds`, `shows Clear` or `green`. Put several in "
            "one state with commas: `4L, 4R at stop`."
        ),
    )
    expect(
        STATION + "condition X is B1",
        code="CP204",
        underlined="B1",
        message="`B1` is a button, but its state is missing",
        hint="It can be `pressed`; for the opposite, write `not B1 pressed`.",
    )
    expect(
        STATION + "condition X is 4",
        code="CP204",
        underlined="4",
        message="`4` is a lever, but its state is missing",
        hint="It can be `left`, `normal` or `right`.",
    )
    expect(
        STATION + "condition X is West",
        code="CP204",
        underlined="West",
        message="`West` is an edge, but its state is missing",
        hint="Nothing is known about what is beyond the edge of the plan.",
    )
    expect(
        STATION + "condition X is G1",
        code="CP204",
        underlined="G1",
        message="`G1` is a gate, but its state is missing",
        hint=(
            "It can be `seated` or `open`; in `prove` and `assume` also `lies "
            "seated` or `lies open`."
        ),
    )
    expect(
        STATION + "condition X is Main and Switch clear",
        code="CP204",
        underlined="Main",
        message="`Main` is a block, but its state is missing",
        hint=(
            "It can be `clear` or `occupied`; in `prove` and `assume` also `vacant`. Put "
            "several in one state with commas: `Main, Switch clear`."
        ),
    )
    expect(
        STATION + "condition X is Ready, Ready",
        code="CP204",
        underlined="Ready, Ready",
        message="the state of `Ready, Ready` is missing",
        hint=(
            "Join conditions with `and` or `or`. After the names of other things, write "
            "their state."
        ),
    )
    expect(
        STATION + "condition X is any of Ready, Ready",
        code="CP204",
        underlined="any of Ready, Ready",
        message="the state of `Ready, Ready` is missing",
        hint=(
            "Join conditions with `and` or `or`. After the names of other things, write "
            "their state."
        ),
    )
    expect(
        STATION + "condition X is Ready, Main",
        code="CP204",
        underlined="Ready, Main",
        message="`Main` is a block, but its state is missing",
        hint=(
            "It can be `clear` or `occupied`; in `prove` and `assume` also `vacant`. Put "
            "several in one state with commas: `Main, Switch clear`."
        ),
    )


def test_block() -> None:
    expect(
        STATION + "condition X is Main normal",
        code="CP204",
        underlined="Main normal",
        message="`Main` is a block, and a block is never `normal`",
        hint="It can be `clear` or `occupied`; in `prove` and `assume` also `vacant`.",
    )
    expect(
        STATION + "condition X is Main pressed",
        code="CP204",
        underlined="Main pressed",
        message="`Main` is a block, and a block is never `pressed`",
        hint="It can be `clear` or `occupied`; in `prove` and `assume` also `vacant`.",
    )
    expect(
        STATION + "condition X is Main ocupied",
        code="CP204",
        underlined="Main ocupied",
        message="`Main` is a block, and a block is never `ocupied`",
        hint=(
            "Did you mean `occupied`? It can be `clear` or `occupied`; in `prove` "
            "and `assume` also `vacant`."
        ),
    )


def test_turnout() -> None:
    expect(
        STATION + "condition X is T1 occupied",
        code="CP204",
        underlined="T1 occupied",
        message="`T1` is a turnout, and a turnout is never `occupied`",
        hint=(
            "It can be `normal`, `reverse` or `moving`; in `prove` and `assume` also "
            "`lies normal`, `lies reverse` or `lies open`."
        ),
    )
    expect(
        STATION + "condition X is T1 at stop",
        code="CP204",
        underlined="T1 at stop",
        message="`T1` is a turnout, and a turnout is never `at stop`",
        hint=(
            "It can be `normal`, `reverse` or `moving`; in `prove` and `assume` also "
            "`lies normal`, `lies reverse` or `lies open`."
        ),
    )
    expect(
        STATION + "condition X is T1 stuck",
        code="CP204",
        underlined="T1 stuck",
        message="`T1` is a turnout, and a turnout is never `stuck`",
        hint=(
            "It can be `normal`, `reverse` or `moving`; in `prove` and `assume` also "
            "`lies normal`, `lies reverse` or `lies open`."
        ),
    )
    expect(
        STATION + "condition X is T1 revers",
        code="CP204",
        underlined="T1 revers",
        message="`T1` is a turnout, and a turnout is never `revers`",
        hint=(
            "Did you mean `reverse`? It can be `normal`, `reverse` or `moving`; in "
            "`prove` and `assume` also `lies normal`, `lies reverse` or `lies open`."
        ),
    )
    expect(
        STATION + "condition X is T1 lies seated",
        code="CP204",
        underlined="T1 lies seated",
        message="`T1` is a turnout, and a turnout is never `lies seated`",
        hint=(
            "It can be `normal`, `reverse` or `moving`; in `prove` and `assume` also "
            "`lies normal`, `lies reverse` or `lies open`."
        ),
    )
    expect(
        STATION + 'prove "a question" never T1 lies derailing',
        code="CP204",
        underlined="T1 lies derailing",
        message="`T1` is a turnout, and a turnout is never `lies derailing`",
        hint=(
            "It can be `normal`, `reverse` or `moving`; in `prove` and `assume` also "
            "`lies normal`, `lies reverse` or `lies open`."
        ),
    )


def test_signal() -> None:
    expect(
        STATION + "condition X is 4L clear",
        code="CP204",
        underlined="4L clear",
        message="`4L` is a signal, and a signal is never `clear`",
        hint="Write `4L shows Clear`.",
    )
    expect(
        STATION + "condition X is 4L Clear",
        code="CP204",
        underlined="4L Clear",
        message="`4L` is a signal, and a signal is never `Clear`",
        hint="Write `4L shows Clear`.",
    )
    expect(
        STATION + "condition X is 4L approach",
        code="CP204",
        underlined="4L approach",
        message="`4L` is a signal, and a signal is never `approach`",
        hint="Write `4L shows Approach`.",
    )
    expect(
        STATION + "condition X is 4L red",
        code="CP204",
        underlined="4L red",
        message="signal `4L` has several heads, so `red` could be any of them",
        hint="Name the head: `4L.upper red` or `4L.lower red`.",
    )
    expect(
        STATION + "condition X is 4L normal",
        code="CP204",
        underlined="4L normal",
        message="`4L` is a signal, and a signal is never `normal`",
        hint="It can be `at stop`, `proceeds`, `shows Clear` or `green`.",
    )
    expect(
        STATION + "condition X is 4R grean",
        code="CP204",
        underlined="4R grean",
        message="`4R` is a signal, and a signal is never `grean`",
        hint="Did you mean `green`?",
    )
    expect(
        STATION + "condition X is 4R pressed",
        code="CP204",
        underlined="4R pressed",
        message="`4R` is a signal, and a signal is never `pressed`",
        hint="It can be `at stop`, `proceeds`, `shows Clear` or `green`.",
    )
    expect(
        STATION + "condition X is 4L shows Approch",
        code="CP404",
        underlined="shows Approch",
        message="no aspect is called `Approch`",
        hint="Did you mean `Approach`?",
    )
    expect(
        STATION + "condition X is 4L shows Proceed",
        code="CP404",
        underlined="shows Proceed",
        message="no aspect is called `Proceed`",
        hint=(
            "The chart has Clear, Approach, Diverging-Clear, Diverging-Approach, Restricting, Stop."
        ),
    )
    expect(
        STATION + "condition X is 4L occupied",
        code="CP204",
        underlined="4L occupied",
        message="`4L` is a signal, and a signal is never `occupied`",
        hint="It can be `at stop`, `proceeds`, `shows Clear` or `green`.",
    )


def test_head() -> None:
    expect(
        STATION + "condition X is 4L.uper green",
        code="CP201",
        underlined="4L.uper",
        message="no head is called `4L.uper`",
        hint="Did you mean `4L.upper`?",
    )
    expect(
        STATION + "condition X is 4L.upper clear",
        code="CP204",
        underlined="4L.upper clear",
        message="`4L.upper` is a head, and a head is never `clear`",
        hint=("It can be `green`, `yellow`, `red`, `lunar`, `white`, `dark` or `flashing green`."),
    )
    expect(
        STATION + "condition X is 8.upper green",
        code="CP201",
        underlined="8.upper",
        message="no head is called `8.upper`",
        hint="Did you mean `4L.upper`?",
    )
    expect(
        STATION + "condition X is Main.upper green",
        code="CP201",
        underlined="Main.upper",
        message="no head is called `Main.upper`",
        hint="Name a head by its signal, a dot, and the head: `4L.upper`.",
    )
    expect(
        STATION + "condition X is 4L.upper at stop",
        code="CP204",
        underlined="4L.upper at stop",
        message="`4L.upper` is a head, and a head is never `at stop`",
        hint=("It can be `green`, `yellow`, `red`, `lunar`, `white`, `dark` or `flashing green`."),
    )


def test_lever_and_button() -> None:
    expect(
        STATION + "condition X is 4 west",
        code="CP204",
        underlined="4 west",
        message="`4` is a lever, and a lever is never `west`",
        hint="It can be `left`, `normal` or `right`.",
    )
    expect(
        STATION + "condition X is 4 reverse",
        code="CP204",
        underlined="4 reverse",
        message="`4` is a lever, and a lever is never `reverse`",
        hint="It can be `left`, `normal` or `right`.",
    )
    expect(
        STATION + "condition X is B1 clear",
        code="CP204",
        underlined="B1 clear",
        message="`B1` is a button, and a button is never `clear`",
        hint="It can be `pressed`; for the opposite, write `not B1 pressed`.",
    )
    expect(
        STATION + "condition X is B1 normal",
        code="CP204",
        underlined="B1 normal",
        message="`B1` is a button, and a button is never `normal`",
        hint="It can be `pressed`; for the opposite, write `not B1 pressed`.",
    )


def test_derail_and_gate() -> None:
    expect(
        STATION + "condition X is D1 normal",
        code="CP204",
        underlined="D1 normal",
        message="`D1` is a derail, and a derail is never `normal`",
        hint=(
            "It can be `derailing`, `non-derailing` or `moving`; in `prove` and `assume` "
            "also `lies derailing`, `lies non-derailing` or `lies open`."
        ),
    )
    expect(
        STATION + "condition X is D1 open",
        code="CP204",
        underlined="D1 open",
        message="`D1` is a derail, and a derail is never `open`",
        hint=(
            "It can be `derailing`, `non-derailing` or `moving`; in `prove` and `assume` "
            "also `lies derailing`, `lies non-derailing` or `lies open`."
        ),
    )
    expect(
        STATION + "condition X is G1 normal",
        code="CP204",
        underlined="G1 normal",
        message="`G1` is a gate, and a gate is never `normal`",
        hint=(
            "It can be `seated` or `open`; in `prove` and `assume` also `lies "
            "seated` or `lies open`."
        ),
    )
    expect(
        STATION + "condition X is G1 derailing",
        code="CP204",
        underlined="G1 derailing",
        message="`G1` is a gate, and a gate is never `derailing`",
        hint=(
            "It can be `seated` or `open`; in `prove` and `assume` also `lies "
            "seated` or `lies open`."
        ),
    )


def test_things_without_a_state() -> None:
    expect(
        STATION + "condition X is End clear",
        code="CP204",
        underlined="End clear",
        message="`End` is a bumper, and a bumper is never `clear`",
        hint="Nothing reports from a bumper. Use the block in front of it.",
    )
    expect(
        STATION + "condition X is West occupied",
        code="CP204",
        underlined="West occupied",
        message="`West` is an edge, and an edge is never `occupied`",
        hint="Nothing is known about what is beyond the edge of the plan.",
    )
    expect(
        STATION + "condition X is Ready clear",
        code="CP204",
        underlined="Ready clear",
        message="`Ready` stands for a condition and has no state `clear`",
        hint="Use a condition by its name alone, without a state.",
    )


def test_crossing_and_limits() -> None:
    expect(
        STATION + ("interlocking limits North is 4L, 4R\ncondition X is North clear"),
        code="CP204",
        underlined="North clear",
        message="`North` stands for interlocking limits and has no state `clear`",
        hint="Limits are a stretch of track. Use the blocks inside them.",
    )


def test_train_on() -> None:
    expect(
        STATION + 'prove "a question" never train on T1',
        code="CP204",
        underlined="T1",
        message="`train on` needs a block, but `T1` is a turnout",
        hint="Name its block.",
    )
    expect(
        STATION + 'prove "a question" never train on West',
        code="CP204",
        underlined="West",
        message="`train on` needs a block, but `West` is an edge",
        hint="Name a block.",
    )
    expect(
        STATION + 'prove "a question" never train on 4L',
        code="CP204",
        underlined="4L",
        message="`train on` needs a block, but `4L` is a signal",
        hint="Name a block.",
    )


def test_any_or_all() -> None:
    expect(
        STATION + "condition X is Main, Switch occupied",
        code="CP205",
        underlined="Main, Switch occupied",
        message="`Main, Switch occupied` can mean any of them or all of them",
        hint="Write `any of Main, Switch occupied` or `all of Main, Switch occupied`.",
    )
    expect(
        STATION + "condition X is 4L, 4R proceed",
        code="CP205",
        underlined="4L, 4R proceed",
        message="`4L, 4R proceed` can mean any of them or all of them",
        hint="Write `any of 4L, 4R proceed` or `all of 4L, 4R proceed`.",
    )
    expect(
        STATION + "condition X is 4L, 4R shows Clear",
        code="CP205",
        underlined="4L, 4R shows Clear",
        message="`4L, 4R shows Clear` can mean any of them or all of them",
        hint="Write `any of 4L, 4R shows Clear` or `all of 4L, 4R shows Clear`.",
    )
    expect(
        STATION + 'prove "a question" never train on Main, Switch',
        code="CP205",
        underlined="train on Main, Switch",
        message="`train on Main, Switch` can mean any of them or all of them",
        hint="Write `train on any of Main, Switch` or `train on all of Main, Switch`.",
    )


def test_truth_in_a_rule() -> None:
    expect(
        STATION + "condition X is train on Main",
        code="CP206",
        underlined="Main",
        message="a rule cannot know where trains really are",
        hint=(
            "Rules see only what the equipment reports. Write `Main occupied`. What is "
            "true belongs in `prove` and `assume`."
        ),
    )
    expect(
        STATION + "condition X is Main vacant",
        code="CP206",
        underlined="Main",
        message="a rule cannot know where trains really are",
        hint=(
            "Rules see only what the equipment reports. Write `Main clear`. What is true "
            "belongs in `prove` and `assume`."
        ),
    )
    expect(
        STATION + "condition X is T1 lies normal",
        code="CP206",
        underlined="T1",
        message="a rule cannot know how `T1` really lies",
        hint=(
            "Rules see only what the equipment reports. Write `T1 normal`. What is true "
            "belongs in `prove` and `assume`."
        ),
    )
    expect(
        STATION + "condition X is T1 lies open",
        code="CP206",
        underlined="T1",
        message="a rule cannot know how `T1` really lies",
        hint=(
            "Rules see only what the equipment reports. Write `T1 moving`. What is true "
            "belongs in `prove` and `assume`."
        ),
    )
    expect(
        STATION + "condition X is G1 lies open",
        code="CP206",
        underlined="G1",
        message="a rule cannot know how `G1` really lies",
        hint=(
            "Rules see only what the equipment reports. Write `G1 open`. What is true "
            "belongs in `prove` and `assume`."
        ),
    )
    expect(
        STATION + "condition X is D1 lies non-derailing",
        code="CP206",
        underlined="D1",
        message="a rule cannot know how `D1` really lies",
        hint=(
            "Rules see only what the equipment reports. Write `D1 non-derailing`. What "
            "is true belongs in `prove` and `assume`."
        ),
    )


def test_undetected() -> None:
    expect(
        STATION
        + (
            "block Team undetected\n"
            "bumper Team-West, Team-East\n"
            "track Team-West = Team = Team-East\n"
            "condition X is Team clear"
        ),
        code="CP207",
        underlined="Team",
        message="block `Team` is undetected, so nothing reports that it is clear",
        hint=(
            "Remove the word `undetected` if it has a detector, or write the rule "
            "without this block."
        ),
    )
    expect(
        STATION
        + (
            "block Team undetected\n"
            "bumper Team-West, Team-East\n"
            "track Team-West = Team = Team-East\n"
            "condition X is Main, Team clear"
        ),
        code="CP207",
        underlined="Team",
        message="block `Team` is undetected, so nothing reports that it is clear",
        hint=(
            "Remove the word `undetected` if it has a detector, or write the rule "
            "without this block."
        ),
    )
