"""Ways of writing conditions wrong, and what is said about them."""

from tests.messages.expecting import expect


def test_condition_statement() -> None:
    expect(
        "condition",
        code="CP105",
        underlined="condition",
        message="this `condition` statement stops short after `condition`",
        hint=(
            "Expected a name. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition Ready",
        code="CP105",
        underlined="Ready",
        message="this `condition` statement stops short after `Ready`",
        hint=(
            "Expected `is`. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition is T1 normal",
        code="CP104",
        underlined="is",
        message="`is` was not expected here",
        hint=(
            "Expected a name. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition Ready = T1 normal",
        code="CP104",
        underlined="=",
        message="`=` was not expected here",
        hint=(
            "Expected `is`. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition Ready is",
        code="CP105",
        underlined="is",
        message="this `condition` statement stops short after `is`",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A named "
            "condition is written `condition Ready is T1 normal and Switch, Main "
            "clear`."
        ),
    )
    expect(
        "condition Ready T1 normal",
        code="CP104",
        underlined="T1",
        message="`T1` was not expected here",
        hint=(
            "Expected `is`. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )


def test_conditions() -> None:
    expect(
        "condition X is T1 is normal",
        code="CP104",
        underlined="is",
        message="`is` was not expected here",
        hint="Remove it: write `T1 normal`.",
    )
    expect(
        "condition X is T1 = normal",
        code="CP104",
        underlined="=",
        message="`=` was not expected here",
        hint="Remove it: write `T1 normal`.",
    )
    expect(
        "condition X is T1 not normal",
        code="CP104",
        underlined="not",
        message="`not` was not expected here",
        hint="Write `not` first: `not T1 normal`.",
    )
    expect(
        "condition X is normal T1",
        code="CP104",
        underlined="normal",
        message="`normal` was not expected here",
        hint="Write the name first: `T1 normal`.",
    )
    expect(
        "condition X is T1 normal, Main clear",
        code="CP104",
        underlined=",",
        message="`,` was not expected here",
        hint="Join two conditions with `and` or `or`.",
    )
    expect(
        "condition X is T1 normal Main clear",
        code="CP104",
        underlined="Main",
        message="`Main` was not expected here",
        hint="Put `and` or `or` between two conditions.",
    )
    expect(
        "condition X is T1 normal AND Main clear",
        code="CP104",
        underlined="AND",
        message="`AND` was not expected here",
        hint="Write `and`: the words of the language are in small letters.",
    )
    expect(
        "condition X is T1 normal an Main clear",
        code="CP104",
        underlined="an",
        message="`an` was not expected here",
        hint=(
            "Did you mean `and`? A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is T1 normal & Main clear",
        code="CP101",
        underlined="&",
        message="the character `&` has no meaning here",
        hint="Write `and`.",
    )
    expect(
        "condition X is !T1 normal",
        code="CP101",
        underlined="!",
        message="the character `!` has no meaning here",
        hint="Write `not`.",
    )
    expect(
        "condition X is T1 normal and",
        code="CP105",
        underlined="and",
        message="this `condition` statement stops short after `and`",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A named "
            "condition is written `condition Ready is T1 normal and Switch, Main "
            "clear`."
        ),
    )
    expect(
        "condition X is T1 normal and or Main clear",
        code="CP104",
        underlined="or",
        message="`or` was not expected here",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A named "
            "condition is written `condition Ready is T1 normal and Switch, Main "
            "clear`."
        ),
    )
    expect(
        "condition X is (T1 normal and Main clear",
        code="CP105",
        underlined="clear",
        message="this `condition` statement stops short after `clear`",
        hint=(
            "Expected `and`, the closing `)`, or `or`. A named condition is written "
            "`condition Ready is T1 normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is T1 normal) and Main clear",
        code="CP104",
        underlined=")",
        message="`)` was not expected here",
        hint="Remove it: no `(` before it is still open.",
    )
    expect(
        "condition X is ()",
        code="CP104",
        underlined=")",
        message="`)` was not expected here",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A named "
            "condition is written `condition Ready is T1 normal and Switch, Main "
            "clear`."
        ),
    )
    expect(
        "condition X is any Main, Siding clear",
        code="CP104",
        underlined="Main",
        message="`Main` was not expected here",
        hint=(
            "Expected `of`. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is any of clear",
        code="CP106",
        underlined="clear",
        message="`clear` is a word of the language, so it cannot be a name",
        hint=(
            "Use another spelling, such as `Clear`. A named condition is written "
            "`condition Ready is T1 normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is 4L at red",
        code="CP104",
        underlined="red",
        message="`red` was not expected here",
        hint="For a color, leave out `at`: write `4L red`.",
    )
    expect(
        "condition X is 4L at",
        code="CP105",
        underlined="at",
        message="this `condition` statement stops short after `at`",
        hint=(
            "Expected `stop`. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is 4L shows green",
        code="CP104",
        underlined="green",
        message="`green` was not expected here",
        hint="For a color, leave out `shows`: write `4L green`.",
    )
    expect(
        "condition X is 4L shows stop",
        code="CP104",
        underlined="stop",
        message="`stop` was not expected here",
        hint="After `shows`, write the name of an aspect, such as `Stop`.",
    )
    expect(
        "condition X is 4L shows",
        code="CP105",
        underlined="shows",
        message="this `condition` statement stops short after `shows`",
        hint=(
            "Expected a name. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is T1 lies",
        code="CP105",
        underlined="lies",
        message="this `condition` statement stops short after `lies`",
        hint=(
            "Expected a position (normal, reverse, open, derailing, non-derailing or "
            "seated). A named condition is written `condition Ready is T1 normal and "
            "Switch, Main clear`."
        ),
    )
    expect(
        "condition X is T1 lies clear",
        code="CP104",
        underlined="clear",
        message="`clear` was not expected here",
        hint=(
            "Expected a position (normal, reverse, open, derailing, non-derailing or "
            "seated). A named condition is written `condition Ready is T1 normal and "
            "Switch, Main clear`."
        ),
    )
    expect(
        "condition X is train in Main",
        code="CP104",
        underlined="in",
        message="`in` was not expected here",
        hint=(
            "Expected `on`. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is train on",
        code="CP105",
        underlined="on",
        message="this `condition` statement stops short after `on`",
        hint=(
            "Expected a name or `any of` or `all of`. A named condition is written "
            "`condition Ready is T1 normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is track clear",
        code="CP106",
        underlined="track",
        message="`track` is a word of the language, so it cannot be a name",
        hint=(
            "Use another spelling, such as `Track`. A named condition is written "
            "`condition Ready is T1 normal and Switch, Main clear`."
        ),
    )
    expect(
        'condition X is "Main" clear',
        code="CP104",
        underlined='"Main"',
        message='`"Main"` was not expected here',
        hint="Write a name without quotes and without spaces: `Main`.",
    )
    expect(
        "condition X is always",
        code="CP104",
        underlined="always",
        message="`always` was not expected here",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A named "
            "condition is written `condition Ready is T1 normal and Switch, Main "
            "clear`."
        ),
    )
    expect(
        "condition X is Main Clear Siding",
        code="CP104",
        underlined="Siding",
        message="`Siding` was not expected here",
        hint="Put `and` or `or` between two conditions.",
    )
    expect(
        "condition X is not",
        code="CP105",
        underlined="not",
        message="this `condition` statement stops short after `not`",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A named "
            "condition is written `condition Ready is T1 normal and Switch, Main "
            "clear`."
        ),
    )
