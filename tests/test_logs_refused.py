"""Logs that cannot be read: always an error with file, line and reason, never another error."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

import pytest
from examples import thorough
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from livecube.edges.log_files import LogReader
from livecube.errors import LogError
from livecube.events import CubeEvent, Reset, Turn

if TYPE_CHECKING:
    from pathlib import Path

HEADER: Final = b'{"livecube_log": 1}\n'
GOOD: Final = b'{"t": 0.0, "mark": "reset"}\n'
LATER: Final = b'{"t": 9.0, "mark": "reset"}\n'


def read(path: Path, data: bytes) -> tuple[list[CubeEvent], bool]:
    """The events of a log, and whether it was torn."""
    path.write_bytes(data)
    with LogReader(path) as reader:
        return list(reader), reader.torn


def refused(path: Path, data: bytes) -> LogError:
    with pytest.raises(LogError) as caught:
        read(path, data)
    assert caught.value.file == str(path)
    assert str(caught.value) == f"{path}, line {caught.value.line}: {caught.value.reason}"
    return caught.value


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.jsonl"


def test_files_that_are_no_logs(path: Path) -> None:
    for place in (path, path.parent):  # missing, a folder
        with pytest.raises(LogError, match="cannot be opened") as caught:
            LogReader(place)
        assert (caught.value.file, caught.value.line) == (str(place), 0)
    with pytest.raises(LogError, match="empty") as caught:
        read(path, b"")
    assert caught.value.line == 0


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("{}", "this is not a livecube log"),
        ("[]", "one JSON object"),
        ("", "not JSON"),
        ('{"livecube_log": ?}', "Expecting value at column 18"),
        ("\ufeff{}", "this is not a livecube log"),
        ("\ufeff\ufeff{}", "not JSON"),
        ('{"livecube_log": 2}', "version 2"),
        ('{"livecube_log": true}', "version True"),
        ('{"livecube_log": null}', "version None"),
        ('{"livecube_log": "1"}', "version '1'"),
        ('{"livecube_log": NaN}', "version nan"),
        ('{"livecube_log": 1, "clock": "moon"}', '"clock"'),
        ('{"livecube_log": 1, "clock": []}', '"clock"'),
        ('{"livecube_log": 1, "scramble": 7}', '"scramble"'),
        ('{"livecube_log": 1, "scramble": "R U Q"}', 'in "scramble", column 5'),
        ('{"livecube_log": 1, "x": ' + "[" * 100_000, "nested too deeply"),
    ],
)
def test_headers_that_are_refused(path: Path, line: str, says: str) -> None:
    for end in ("", "\n", '\n{"t": 0, "turn": "R"}\n'):
        if not line + end:
            continue
        error = refused(path, (line + end).encode())
        assert error.line == 1
        assert says in error.reason


LONG: Final = "9" * 5000
SOLVED_TEXT: Final = "".join(9 * face for face in "ULFRBD")


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ('{"t": 1, "turn": "Q"}', "'Q' is not a turn"),
        ('{"t": 1, "mark": "link"}', '"up" must be true or false, not missing'),
        ('{"t": 1, "mark": "link", "up": 1}', '"up" must be true or false, not 1'),
        ('{"t": 1, "mark": "device", "maker": 1}', '"maker" must be a text'),
        ('{"t": 1, "mark": "packet", "char": "", "hex": "", "host": "1"}', '"host" must be'),
        ('{"t": 1, "turn": "R2\'"}', "is not a turn"),
        ('{"t": 1, "turn": null}', '"turn" must be'),
        ('{"t": 1, "turn": ["R"]}', '"turn" must be'),
        ('{"turn": "R"}', '"t" is missing'),
        ('{"t": "1", "turn": "R"}', '"t" must be'),
        ('{"t": null, "mark": "reset"}', '"t" must be'),
        ('{"t": true, "mark": "reset"}', '"t" must be'),
        ('{"t": NaN, "turn": "R"}', "not nan"),
        ('{"t": -Infinity, "turn": "R"}', "not -inf"),
        ('{"t": 100000000000.1, "turn": "R"}', "none beyond 1e+11"),
        ('{"t": 1e999, "turn": "R"}', "not inf"),
        ('{"t": 1' + 400 * "0" + ', "turn": "R"}', '"t" must be'),
        ('{"t": ' + LONG + ', "turn": "R"}', "too long a number"),
        ('{"t": ' + 500 * "[" + 500 * "]" + ', "turn": "R"}', '"t" must be'),
        ('{"t": ' + "[" * 100_000, "nested too deeply"),
        ('{"t": 1, "turn": "R", "host": NaN}', '"host"'),
        ('{"t": 1, "turn": "R", "seq": 1.5}', '"seq"'),
        ('{"t": 1, "turn": "R", "seq": -1}', '"seq"'),
        ('{"t": 1, "turn": "R", "seq": 1' + 30 * "0" + "}", '"seq"'),
        ('{"t": 1, "turn": "R", "seq": true}', '"seq"'),
        ('{"t": 1, "turn": "R", "seq": 9223372036854775809}', "from 0 to 9223372036854775808"),
        ('{"t": 1, "mark": "battery", "percent": 1.0}', "from 0 to 100"),
        ('{"t": "' + 37 * "a" + '", "turn": "R"}', f"not '{37 * 'a'}'"),
        ('{"t": "' + 38 * "a" + '", "turn": "R"}', f"not '{35 * 'a'}…"),
        ('{"t": 1, "mark": "gap", "lost": -1}', '"lost"'),
        ('{"t": 1, "mark": "battery", "percent": 101}', '"percent"'),
        ('{"t": 1, "mark": "battery", "percent": -1}', '"percent"'),
        ('{"t": 1, "mark": "battery"}', '"percent"'),
        ('{"t": 1, "mark": "attitude"}', '"quaternion"'),
        ('{"t": 1, "mark": "attitude", "quaternion": [0, 0, 0, 0]}', "not all of them 0"),
        ('{"t": 1, "mark": "attitude", "quaternion": [1, "0", 0, 0]}', '"quaternion"'),
        ('{"t": 1, "mark": "attitude", "quaternion": [1, 0, 0, 1e999]}', '"quaternion"'),
        ('{"t": 1, "mark": "packet", "char": "a", "hex": "0"}', '"hex"'),
        ('{"t": 1, "mark": "packet", "hex": "00"}', '"char"'),
        ('{"t": 1, "mark": "solve", "id": 1, "phase": "nap"}', '"phase"'),
        ('{"t": 1, "mark": "solve", "phase": "end"}', '"id"'),
        ('{"t": 1, "mark": "holding", "up": "white", "front": "yellow"}', "cannot be held"),
        ('{"t": 1, "mark": "holding", "up": "pink", "front": "red"}', "not a colour"),
        ('{"t": 1, "mark": "holding", "up": "red"}', '"front"'),
        ('{"t": 1, "mark": "state"}', '"facelets"'),
        ("7", "one JSON object"),
        ("[1]", "one JSON object"),
        ("null", "one JSON object"),
        ('{"t": 1, "turn": "R"', "not JSON"),
        ('{"t": 1, "turn": "R"} {}', "not JSON"),
        (b'{"t": 1, "mark": "\xff"}', "byte 19 of this line is not UTF-8"),
        (b"\x00\x01", "not JSON"),
        ('{"t": -0.5, "turn": "R"}', "t = -0.5 comes after t = 0"),
    ],
)
def test_lines_that_are_refused(path: Path, line: str | bytes, says: str) -> None:
    raw = line if isinstance(line, bytes) else line.encode()
    error = refused(path, HEADER + GOOD + raw + b"\n" + LATER)
    assert error.line == 3
    assert says in error.reason
    assert len(error.reason) < 200


@pytest.mark.parametrize(
    ("changes", "law"),
    [
        # Facelets of the solved cube, numbered from 0, and their new letters.
        ({0: "UU"}, "there are 55 facelets"),
        ({0: "X"}, "facelet 1 is 'X'"),
        ({4: "D", 49: "U"}, "the centre of face U"),
        ({0: "D"}, "U (white) is shown 8 times"),
        # Of UFR, clockwise from above: U, R, F.
        ({8: "F", 27: "U", 20: "R"}, "a corner is twisted clockwise"),
        ({8: "R", 27: "F", 20: "U"}, "a corner is twisted counter-clockwise"),
        ({7: "F", 19: "U"}, "an edge is flipped"),
        ({19: "R", 28: "F"}, "two pieces are swapped"),
        ({19: "D", 52: "F"}, "no piece has the colours"),
        ({19: "R", 32: "F"}, "is shown twice"),
    ],
)
def test_illegal_facelets_name_the_law(path: Path, changes: dict[int, str], law: str) -> None:
    text = list(SOLVED_TEXT)
    for spot, letter in changes.items():
        text[spot] = letter
    line = json.dumps({"t": 1.0, "mark": "state", "facelets": "".join(text)}).encode()
    error = refused(path, HEADER + GOOD + line + b"\n" + LATER)
    assert error.line == 3
    assert error.reason.startswith('in "facelets", ')
    assert law in error.reason


def test_a_whole_but_wrong_last_line_is_not_torn(path: Path) -> None:
    assert refused(path, HEADER + GOOD + b'{"t": 1, "turn": "Q"}').line == 3
    assert refused(path, HEADER + GOOD + b'{"t": -1, "turn": "R"}').line == 3
    assert read(path, HEADER + GOOD + b'{"t": 1, "turn": "Q"') == ([Reset(0.0)], True)
    assert read(path, HEADER + GOOD + b'{"t": 1, "turn": "R"}') == (
        [Reset(0.0), Turn(1.0, 9)],
        False,
    )


# Anything at all.

values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["R", "white", "state", "solve", "end", SOLVED_TEXT, 1, 0.5]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=5,
)
MARKS: Final = [
    "state",
    "gap",
    "battery",
    "attitude",
    "packet",
    "solve",
    "holding",
    "reset",
    "lunch",
]
KEYS: Final = (
    "t turn quaternion host seq facelets lost percent char hex id phase up front clock".split()
)
objects = st.dictionaries(st.sampled_from(KEYS), values).flatmap(
    lambda line: st.sampled_from([*({**line, "mark": mark} for mark in MARKS), line])
)
unhurried = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])


def outcome(path: Path, data: bytes) -> int:
    """The line of the error, 0 if there is none."""
    try:
        read(path, data)
    except LogError as error:
        assert error.file == str(path)  # noqa: PT017 (that it may be raised is the point)
        return error.line
    return 0


@unhurried
@given(line=objects)
def test_any_object_is_read_or_refused_with_its_line(path: Path, line: dict[str, Any]) -> None:
    raw = json.dumps(line).encode() + b"\n"
    assert outcome(path, HEADER + GOOD + raw) in (0, 3)
    assert outcome(path, HEADER + raw + GOOD) in (0, 2, 3)  # 3: the good line may come too early
    assert outcome(path, json.dumps({"livecube_log": 1, **line}).encode()) in (0, 1)


@unhurried
@given(raw=st.binary(max_size=60).filter(lambda raw: b"\n" not in raw))
@example(raw=b"\xef\xbb\xbf{}")
@example(raw=b'"\\ud800"')
@example(raw=b'{"t": 1, "turn": "\\ud800"}')
def test_any_bytes_are_read_or_refused_with_their_line(path: Path, raw: bytes) -> None:
    assert outcome(path, HEADER + GOOD + raw + b"\n" + LATER) in (0, 3)
    assert outcome(path, HEADER + GOOD + raw) in (0, 3)
    assert outcome(path, raw + b"\n" + GOOD) in (0, 1)


@pytest.mark.parametrize("step", [20, thorough(1)])
def test_deep_nesting(path: Path, step: int) -> None:
    """Also nesting just below the limit, where showing the value could fail."""
    for depth in (1, 100, 500, *range(800, 1020, step), 5000):
        nest = b"[" * depth + b"]" * depth
        for line in (b'{"t": %s, "turn": "R"}\n', b'{"t": 1, "turn": %s}\n'):
            assert outcome(path, HEADER + line % nest) == 2
        assert outcome(path, b'{"livecube_log": %s}\n' % nest) == 1
