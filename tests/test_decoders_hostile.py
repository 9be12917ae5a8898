"""Hostile input for every installed decoder, and for the example in protocols/README.md."""

from __future__ import annotations

import doctest
import re
from importlib.metadata import entry_points
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import pytest

from livecube.conformance import decoder_tests
from livecube.cube.position import turn_name
from livecube.errors import UsageError
from livecube.profiles.decoder import decoder_class
from livecube.profiles.parsing import parse_profile
from livecube.virtual.cube import GROUP, simulated_cube

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.decoding import Decoder

PARTS = re.MULTILINE | re.DOTALL
README = (Path(__file__).parent.parent / "protocols/README.md").read_text(encoding="utf-8")


def block(language: str) -> str:
    found = re.findall(rf"^```{language}\n(.*?)^```$", README, PARTS)
    return str(found[0])


def example() -> dict[str, Any]:
    namespace: dict[str, Any] = {}
    exec(compile(block("python"), "README.md", "exec"), namespace)
    return namespace


DECODERS: dict[str, Callable[[], Decoder]] = {
    **{point.name: point.load() for point in entry_points(group="livecube.decoders")},
    "the README's example": example()["PlainDecoder"],
}


for name in entry_points(group="livecube.decoders").names:
    # Without a simulated cube there are no packets for an installed decoder.
    cube = simulated_cube(name)
    globals()[f"Test{''.join(filter(str.isalnum, name.title()))}"] = decoder_tests(
        DECODERS[name], cube
    )


def plain_tests() -> type[Any]:
    """The README's one line, unchanged."""
    (line,) = re.findall(r"^TestPlain = .*$", README, re.MULTILINE)
    namespace = {**example(), "decoder_tests": decoder_tests}
    exec(line, namespace)
    return cast("type[Any]", namespace["TestPlain"])


TestPlain = plain_tests()


def test_the_readmes_packets_stand_with_their_turns() -> None:
    (lines,) = re.findall(r"^TOLD = .*\nTestTold = .*$", README, re.MULTILINE)
    namespace = {**example(), "decoder_tests": decoder_tests, "turn_name": turn_name}
    exec(lines, namespace)
    told = namespace["TestTold"]()
    told.test_packets_tell_the_turns_that_are_given_with_them()
    assert told.turns == tuple((n % 18,) for n in range(256))


def test_the_readmes_example_does_what_it_shows() -> None:
    test = doctest.DocTestParser().get_doctest(
        block("pycon"), example(), "README.md", "README.md", None
    )
    result = doctest.DocTestRunner().run(test)
    assert result.attempted > 1
    assert result.failed == 0


def test_the_readmes_profile_does_what_it_shows() -> None:
    text, shown = block("toml profile"), re.findall(r"^```pycon\n(.*?)^```$", README, PARTS)[1]
    decoder = decoder_class(parse_profile(text, "README.md"))()
    names = {"decoder": decoder, "EVENTS": decoder.notify[0]}
    test = doctest.DocTestParser().get_doctest(shown, names, "README.md", "README.md", None)
    result = doctest.DocTestRunner().run(test)
    assert result.attempted == 1
    assert result.failed == 0


def test_every_simulated_cube_speaks_to_a_decoder_of_its_name() -> None:
    assert "turnwire" in entry_points(group=GROUP).names
    for name in entry_points(group=GROUP).names:
        cube = simulated_cube(name)()
        assert DECODERS[name]().claims(cube.advertisement)
        assert cube.events in DECODERS[name]().notify


def test_a_simulated_cube_that_is_not_installed_is_said_so() -> None:
    with pytest.raises(UsageError, match="no simulated cube speaks 'nothing'"):
        simulated_cube("nothing")
