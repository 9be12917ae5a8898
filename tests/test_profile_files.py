"""Profiles as files: refusals with their words, and the places of profiles."""

from __future__ import annotations

import json
import re
import tomllib
from typing import TYPE_CHECKING, Any

import jsonschema
import pytest
from changed_tables import changed_table
from click.testing import CliRunner
from examples import examples, thorough
from hypothesis import given
from hypothesis import strategies as st
from profile_texts import EVENTS, NAMES, PLAIN, PROFILES, TEXTS

from livecube.cli.profile import profile as profile_command
from livecube.composition.decoders import known_decoders
from livecube.decoding import Advertisement
from livecube.edges.profile_files import load_profile, user_profiles
from livecube.errors import ProfileError, UsageError
from livecube.profiles.decoder import decoder_class
from livecube.profiles.lines import _first_statement, line_of
from livecube.profiles.parsing import check_name, parse_profile, profile_schema_text
from livecube.profiles.schema import _shown, first_fault
from livecube.profiles.writing import _value, profile_text
from livecube.views.profile import profile_lines

if TYPE_CHECKING:
    from pathlib import Path

SCHEMA: dict[str, Any] = json.loads(profile_schema_text())
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


# Refusals.


def refusal(text: str) -> ProfileError:
    with pytest.raises(ProfileError) as caught:
        parse_profile(text, "mine.toml")
    assert str(caught.value).startswith("mine.toml, line ")
    return caught.value


@pytest.mark.parametrize(
    ("before", "after", "on", "said"),
    [
        ('order = "little"', 'order = "middle"', 'order = "middle"', "must be 'little' or 'big'"),
        ("profile = 1", "profile = 2", "profile = 2", "must be 1, not 2"),
        ("per_second = 1024", 'per_second = "ms"', '"ms"', "must be a whole number"),
        ('"U" = 0', '"Uw" = 0', '"Uw"', "is unknown here"),
        ('"U" = 0', '"U" = 3', '"L\'" = 3', "has the code 3 of another turn"),
        ('"D\'" = 11', '"D\'" = 15', "turn = {", "which is the code of a turn"),
        ('"D\'" = 11', '"D\'" = 99', '"D\'" = 99', "which 4 bits cannot hold"),
        ("length = 17", "length = 12", "check = {", "lies beyond the 12 bytes"),
        ("length = 17\n", "", "[[packet]]", "packet 1 lacks 'length'"),
        ("counter = { at = 1, bits = 8 }\n", "", "turn = {", "needs a counter"),
        ('"UFR", ', '"UFX", ', "corners = [", "must look like"),
        ('"UFR", ', '"ULR", ', "corners = [", "no piece lies in the faces"),
        ('"UFR", "UFL"', '"UFR", "UFR"', "corners = [", "names UFR twice"),
        ("polynomial = 0x07, ", "", "check = {", "must have a polynomial if it is a crc"),
        ("flips = { at = 15, bits = 1 }\n", "", "[[packet]]", "must have corners, twists, edges"),
        ('name = "skerry"', "name = skerry", "name = skerry", "this is not TOML"),
        ("[clock]\nper_second = 1024\n", "", "clock = {", "needs a table [clock]"),
        ("stride = 16, none", "stride = 2, none", "turn = {", "a stride that is less"),
        ('{ to = "1660e46b', '{ to = "1660E46B', "connect = [", "must look like"),
        ("value = 0x70", "value = 0x170", "match = [{", "which 8 bits cannot hold"),
    ],
)
def test_a_wrong_profile_is_refused_with_file_line_and_reason(
    before: str, after: str, on: str, said: str
) -> None:
    assert before in TEXTS["skerry"]
    text = TEXTS["skerry"].replace(before, after, 1)
    error = refusal(text)
    assert said in error.reason
    assert on in text.splitlines()[error.line - 1]


@pytest.mark.parametrize(
    "name", ["a.b", "rows, 0", "rows, 1", "rows, 0, deep", "text", "late.key", "late"]
)
def test_lines_are_found_whatever_toml_allows(name: str) -> None:
    text = (
        "a.b = 1\n\n# rows\n\n[[rows]]\nx = [\n  1,\n]\ndeep = { y = 2 }\n[[rows]]\n"
        'text = """\n[late]\n"""\n[late]\n"key" = 1\n'
    )
    lines = {"a.b": 1, "rows, 0": 5, "rows, 0, deep": 9, "rows, 1": 10, "text": 11}
    lines |= {"late": 14, "late.key": 15}
    path: tuple[str | int, ...] = tuple(
        int(word) if word.isdigit() else word for word in name.replace(".", ", ").split(", ")
    )
    assert line_of(text, ("rows", 1, "text") if name == "text" else path) == lines[name]


@pytest.mark.parametrize(("longer", "line"), [(99, 300), (100, 1)])
def test_in_a_statement_of_more_than_a_hundred_lines_the_search_for_a_line_ends(
    longer: int, line: int
) -> None:
    # Halving 300 lines begins with 150: the statement's first line, and so many more follow.
    before, inside, behind = ["#"] * 148, ["1,"] * (longer - 1), ["#"] * (149 - longer)
    lines = ["a = 1", *before, "x = [", *inside, "]", *behind, "late = 1"]
    assert len(lines) == 300
    assert line_of("\n".join(lines), ("late",)) == line


values = st.recursive(
    st.one_of(
        st.booleans(),
        st.sampled_from([-1, 0, 1, 2, 7, 8, 16, 17, 48, 53, 54, 65536, 2**32, 2**33]),
        st.sampled_from(["", "little", "UFR", "UF", "crc", "50 51", "5", EVENTS, "x" * 50]),
        st.just(0.5),
    ),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from("at bits".split()), inner)
    ),
    max_leaves=4,
)
keys = st.sampled_from(
    ["at", "bits", "bit", "count", "none", "turn", "U2", "says", "gap", "stickers"]
)


@st.composite
def tables(draw: st.DrawFn) -> dict[str, Any]:
    """A profile's table with a few entries changed, removed or added."""
    usual = tomllib.loads(TEXTS[draw(st.sampled_from(NAMES))])
    return changed_table(draw, usual, values, keys)


@examples(60)
@given(tables())
def test_our_judge_of_the_schema_and_the_reference_implementation_agree(
    table: dict[str, Any],
) -> None:
    assert (first_fault(table, SCHEMA) is None) == VALIDATOR.is_valid(table)


def test_the_schema_is_one_and_uses_nothing_that_our_judge_does_not_know() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    known = {
        "$ref", "type", "const", "enum", "minimum", "maximum", "minLength", "pattern", "minItems",
        "maxItems", "minProperties", "properties", "required", "additionalProperties", "items",
        "description", "title", "$schema", "$defs",
    }  # fmt: skip

    def look(rule: dict[str, Any]) -> None:
        assert set(rule) <= known
        assert rule.get("additionalProperties", False) is False
        for below in (*rule.get("properties", {}).values(), *rule.get("$defs", {}).values()):
            look(below)
        if "items" in rule:
            look(rule["items"])

    look(SCHEMA)


@pytest.mark.parametrize("name", NAMES)
def test_a_profile_is_written_and_read_back_the_same(name: str) -> None:
    assert parse_profile(profile_text(PROFILES[name], "a\n\nb"), "again.toml") == PROFILES[name]


def test_where_a_counter_begins_anew_is_written_too() -> None:
    counter = "counter = { at = 1, bits = 8"
    text = TEXTS["skerry"].replace(counter, f"{counter}, wrap = 240")
    profile = parse_profile(text, "wrapped.toml")
    assert 240 in [layout.wrap for layout in profile.layouts]
    assert parse_profile(profile_text(profile, "a"), "again.toml") == profile


def test_where_a_clock_begins_anew_is_written_and_read() -> None:
    clock = "clock = { at = 2, bits = 16"
    text = TEXTS["skerry"].replace(clock, f"{clock}, wrap = 60000")
    profile = parse_profile(text, "wrapped.toml")
    assert profile.clock_values == 60000
    assert any("(16 bits, little) (wraps after 60000)" in line for line in profile_lines(profile))
    one_of_two = TEXTS["skerry"].replace(clock, f"{clock}, wrap = 9", 1)
    assert "must wrap at the same number" in str(refusal(one_of_two))
    assert decoder_class(profile).clock_wrap_ms == 60000 * 1000 / 1024
    assert parse_profile(profile_text(profile, "a"), "again.toml") == profile


def test_a_profile_has_a_plain_name() -> None:
    check_name("my-cube")
    check_name("c" * 40)
    for name in ("", "My-cube", "my cube", "../cube", "c" * 41):
        with pytest.raises(UsageError, match="like my-cube; this is"):
            check_name(name)


# Places of profiles, and what belongs to them.


def test_installed_profiles_are_decoders_like_others() -> None:
    assert {"turnwire", *NAMES} <= set(known_decoders())
    skerry = known_decoders()["skerry"]
    assert skerry.claims(Advertisement("SKERRY-7", ("b49bfd37-eff7-40a8-97d7-6d6f790bb2a3",)))
    assert not skerry.claims(Advertisement("SKERRY-7"))
    assert skerry.clock_wrap_ms == 64_000


def test_a_users_profile_goes_before_an_installed_one_of_its_name(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(PLAIN.replace('"plain"', '"skerry"'), encoding="utf-8")
    assert known_decoders(folder=tmp_path)["skerry"].notify == (EVENTS,)
    assert [one.name for one in user_profiles(tmp_path)] == ["skerry"]
    named = parse_profile(PLAIN, "named.toml")
    assert known_decoders([named], tmp_path)["plain"].notify == (EVENTS,)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("profile = 0x" + "f" * 2000, "profile must be 1, not "),
        ("profile = " + "1" * 5000, "is longer than 2048 characters"),
        ("name = " + "[" * 1000 + "]" * 1000, "is nested too deeply for a profile"),
        ("name" + ".a" * 1000 + " = 1", "name must be a text, not the given value"),
        ("a" + ".a" * 20000 + " = 1", "is longer than 2048 characters"),
        ("x = 1\n" * 20000, "it has more than 65536 bytes"),
        thorough("name = [\n" + "1,\n" * 2000 + "]", "name must be a text"),
    ],
    ids=["hex digits", "digits", "lists", "tables", "a key of 20,000 parts", "size", "lines"],
)
def test_a_monstrous_profile_is_refused_and_soon(text: str, said: str, tmp_path: Path) -> None:
    """Earlier each of these gave a traceback, or took half a minute."""
    path = tmp_path / "monster.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ProfileError, match=re.escape(said)):
        load_profile(path)


def test_one_wrong_file_in_the_users_folder_stopped_every_command(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text("profile = 2", encoding="utf-8")
    (tmp_path / "b.toml").mkdir()
    (tmp_path / "c.toml").write_text(PLAIN, encoding="utf-8")
    (tmp_path / "d.toml").write_text(PLAIN, encoding="utf-8")
    (tmp_path / "e.toml").symlink_to("/dev/zero")
    secret = PLAIN.replace('"plain"', '"secret"', 1).replace("order", 'transform = "none"\norder')
    (tmp_path / "f.toml").write_text(secret, encoding="utf-8")
    said: list[str] = []
    found = known_decoders(folder=tmp_path, complain=said.append)
    assert {"plain", "skerry", "turnwire"} <= set(found)
    assert "secret" not in found
    told = " ".join(said)
    assert len(said) == 5
    for part in (
        "a.toml, line 1: profile must be 1",
        "b.toml is not a regular",
        "e.toml is not a regular",
        "several profiles called 'plain'",
        "your profile 'secret' is left out",
    ):
        assert part in told


def test_a_users_profile_stood_in_silence_before_a_decoder_that_is_installed(
    tmp_path: Path,
) -> None:
    (tmp_path / "mine.toml").write_text(PLAIN.replace('"plain"', '"turnwire"'), encoding="utf-8")
    said: list[str] = []
    found = known_decoders(folder=tmp_path, complain=said.append)
    assert found["turnwire"].notify == (EVENTS,)
    assert len(said) == 1
    assert "'turnwire'" in said[0]
    assert "replaces the installed decoder" in said[0]


def test_a_profile_that_cannot_be_read_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot be read"):
        load_profile(tmp_path / "none.toml")
    (tmp_path / "wrong.toml").write_bytes(b"\xff")
    with pytest.raises(UsageError, match="is not UTF-8"):
        load_profile(tmp_path / "wrong.toml")


def test_the_command_says_what_a_profile_describes(tmp_path: Path) -> None:
    path = tmp_path / "plain.toml"
    path.write_text(PLAIN, encoding="utf-8")
    done = CliRunner().invoke(profile_command, [str(path)])
    assert done.exit_code == 0
    assert "the latest 2 turns, 8 bits apart" in done.output
    assert json.loads(CliRunner().invoke(profile_command, ["--schema"]).output) == SCHEMA
    assert "skerry" in CliRunner().invoke(profile_command).output


def test_a_fault_of_a_whole_file_is_told_at_its_first_statement() -> None:
    lines = ["", "# comment", "  # another", "profile = 1", "", "name = 2", "# end"]
    assert [_first_statement(lines, start) for start in range(7)] == [4, 4, 4, 4, 6, 6, 7]


def test_a_long_value_is_cut_after_36_characters() -> None:
    for length, shown in ((37, f"'{'x' * 37}'"), (38, f"'{'x' * 35}…")):
        assert _shown("x" * length) == shown


def test_values_are_written_as_toml() -> None:
    value = {"a": [True, False, 7], "b": 'say "\\"'}
    assert _value(value) == '{ a = [true, false, 7], b = "say \\"\\\\\\"" }'
    assert tomllib.loads(f"one = {_value(value)}") == {"one": value}


@pytest.mark.parametrize(
    ("rule", "right", "wrong", "words"),
    [
        ({"const": 1}, [1], [2, True], "must be 1, not {}"),
        ({"enum": [1, "a"]}, [1, "a"], [2, True, "b"], "must be 1 or 'a', not {}"),
        ({"minimum": 3}, [3, 4], [2], "must be at least 3, not {}"),
        ({"maximum": 3}, [3, 2], [4], "must be at most 3, not {}"),
        ({"minLength": 1}, ["a", "ab"], [""], "must not be empty"),
        ({"pattern": "^a+$"}, ["a", "aa"], ["ab", "ba", "a\n"], "must look like ^a+$, not {}"),
        ({"minItems": 2}, [[1, 2], [1, 2, 3]], [[1], []], "must have 2 entries or more"),
        ({"maxItems": 2}, [[1, 2], []], [[1, 2, 3]], "must have 2 entries or fewer"),
        ({"minProperties": 1}, [{"a": 1}], [{}], "must not be empty"),
        ({"type": "integer"}, [1], [True, "a", 1.5], "must be a whole number, not {}"),
        ({"type": "boolean"}, [True], [1], "must be true or false, not {}"),
        ({"type": "string"}, ["a"], [1], "must be a text, not {}"),
        ({"type": "object"}, [{}], [[]], "must be a table, not {}"),
        ({"type": "array"}, [[]], [{}], "must be a list, not {}"),
        ({"required": ["a"], "properties": {"a": {}}}, [{"a": 1}], [{}], "lacks 'a'"),
    ],
)
def test_each_rule_of_a_schema_is_told_in_words(
    rule: dict[str, Any], right: list[Any], wrong: list[Any], words: str
) -> None:
    judge = jsonschema.Draft202012Validator(rule)
    for value in right:
        assert first_fault(value, rule) is None
        assert judge.is_valid(value)
    for value in wrong:
        assert first_fault(value, rule) == ((), words.format(repr(value)))
        assert value == "a\n" or not judge.is_valid(value)
