"""Published formats: real logs and real output follow their JSON Schemas."""

from __future__ import annotations

import json
from collections import Counter
from copy import deepcopy
from functools import cache
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import jsonschema
import pytest
from command import started
from examples import thorough
from hasty import set_ups_in_haste as set_ups_in_haste
from referencing import Registry, Resource
from reviewed import each_review_once as each_review_once
from test_lessons import played, small
from test_practice_golden import evening_told

from livecube.cli.scan import sighting_json
from livecube.composition.benchmark import Figure, figure_json
from livecube.composition.items import item_json
from livecube.cube.geometry import OPPOSITE
from livecube.cube.holding import parse_colour
from livecube.cube.position import turn_name
from livecube.decoding import Advertisement
from livecube.edges.radio import Sighting
from livecube.events import SOLVE_PHASES
from livecube.logs.lines import parse_event, parse_header
from livecube.practice.news import PracticeNews, Reviewed
from livecube.practice.text import practice_json

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

FOLDER: Final = Path(__file__).parent.parent / "livecube/formats"
FIXTURES: Final = Path(__file__).parent.parent / "fixtures"
EVENING: Final = FIXTURES / "evening.jsonl"
SHORT: Final = FIXTURES / "given-start.jsonl"
LOGS: Final = sorted(p for p in FIXTURES.glob("*.jsonl") if not p.name.endswith(".golden.jsonl"))
SUFFIX: Final = ".schema.json"
SCHEMAS: Final[dict[str, Any]] = {
    path.name.removesuffix(SUFFIX): json.loads(path.read_text(encoding="utf-8"))
    for path in sorted(FOLDER.glob("*" + SUFFIX))
}
SCRAMBLE: Final = "R D L2 R F U' L R2 D' R B' U' L U2 B2 U D2 L' F U' F2 B' U' F' D' R F2 U2 R2"
EVERY_MARK: Final = (
    '{"livecube_log": 1, "started": "", "source": "x", "clock": "host", "link": "keyboard"}',
    '{"t": 0.0, "mark": "link", "up": true}',
    '{"t": 0.0, "mark": "device", "maker": "a", "firmware": "b"}',
    '{"t": 0.1, "mark": "battery", "percent": 71}',
    '{"t": 0.2, "mark": "asked", "turns": "R U\'"}',
    '{"t": 0.2, "mark": "asked", "turns": null}',
    '{"t": 0.3, "mark": "packet", "char": "a", "hex": "00ff", "host": 0.4}',
    '{"t": 0.4, "mark": "holding", "up": "yellow", "front": "green"}',
    '{"t": 0.5, "turn": "R", "host": 0.6, "seq": 1}',
    '{"t": 0.6, "turn": "U2", "inferred": true}',
    '{"t": 0.7, "mark": "attitude", "quaternion": [1.0, 0.0, 0.0, 0.0]}',
    '{"t": 0.8, "mark": "any-holding"}',
    '{"t": 0.9, "mark": "gap", "lost": 3}',
    '{"t": 0.9, "mark": "gap", "lost": null, "since": 0.1}',
    f'{{"t": 1.0, "mark": "state", "facelets": "{"".join(face * 9 for face in "ULFRBD")}"}}',
    '{"t": 1.1, "mark": "solve", "id": 1, "phase": "abandon"}',
    '{"t": 1.2, "mark": "clock", "drift_ppm": 34.2, "late_ms": 21.5}',
    '{"t": 1.2, "mark": "clock", "drift_ppm": null, "late_ms": 50.0}',
    '{"t": 1.3, "mark": "link", "up": false}',
    '{"t": 1.4, "mark": "reset"}',
    '{"t": 1.5, "mark": "clue"}',
)
"""A log with every kind of event."""
_ALIKE: Final = 1
"""Of objects with the same keys, only this many are validated, since validation is slow."""


def _closed(schema: Any, within: str = "items") -> Any:
    """The schema, refusing keys that it does not name: everything in the output is described."""
    if isinstance(schema, list):
        return [_closed(one, within) for one in schema]
    if not isinstance(schema, dict):
        return schema
    if within in ("properties", "$defs"):
        below = "items" if within == "properties" else "named"
        return {key: _closed(value, below) for key, value in schema.items()}
    closed = {
        key: _closed(value, key) if key in _BELOW else deepcopy(value)
        for key, value in schema.items()
    }
    if within not in ("allOf", "named") and {"properties", "$ref"} & {*schema}:
        closed.setdefault("unevaluatedProperties", False)
    return closed


_BELOW: Final = ("properties", "$defs", "items", "oneOf", "allOf", "additionalProperties")
REGISTRY: Final[Any] = Registry().with_resources(
    [(f"{name}{SUFFIX}", Resource.from_contents(_closed(one))) for name, one in SCHEMAS.items()]
)


@cache
def validator(name: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(_closed(SCHEMAS[name]), registry=REGISTRY)


@cache
def kind_validator(name: str, kind: str) -> jsonschema.Draft202012Validator:
    """The validator for one of the kinds of objects in a schema."""
    return jsonschema.Draft202012Validator(
        {"$ref": f"{name}{SUFFIX}#/$defs/{kind}"}, registry=REGISTRY
    )


def objects(*arguments: str) -> list[dict[str, Any]]:
    """The JSON output of a command."""
    done = started(*arguments)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def repaired_log(folder: Path) -> Path:
    """A solve in which a pair comes out again after the fourth, and stays out."""
    lines = EVENING.read_text(encoding="utf-8").splitlines()
    (solve, *_) = [one for one in objects("replay", str(EVENING), "--json", "--no-hints")
                   if one["event"] == "solve"]  # fmt: skip
    turns = [number for number, line in enumerate(lines) if '"turn"' in line]
    kept = lines[: turns[solve["stages"][4]["end_turn"] - 1] + 1]
    cross = parse_colour(solve["cross"])
    side = next(face for face in range(6) if face not in (cross, OPPOSITE[cross]))
    out = (3 * side, 3 * OPPOSITE[cross], 3 * side + 2)
    t = json.loads(kept[-1])["t"]
    kept += [
        json.dumps({"t": t + 0.2 * number, "turn": turn_name(turn)})
        for number, turn in enumerate(out, start=1)
    ]
    kept.append(json.dumps({"t": t + 9.0, "turn": turn_name(3 * OPPOSITE[cross])}))
    log = folder / "repaired.jsonl"
    log.write_text("\n".join(kept) + "\n", encoding="utf-8")
    return log


_QUICKLY = ("--simulated", "--speed", "1000", "--seed", "1", "--json")


@pytest.fixture(scope="module")
def stream(tables: None, tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """The output of ``live``, ``replay`` and ``practice`` with many options."""
    folder = tmp_path_factory.mktemp("formats")
    marks = folder / "marks.jsonl"
    marks.write_text("\n".join(EVERY_MARK) + "\n", encoding="utf-8")
    asking = folder / "asking.jsonl"
    turns = [json.dumps({"t": 1.0 + 0.3 * at, "turn": turn})
             for at, turn in enumerate("R2 L2 R2 L2".split())]  # fmt: skip
    asking.write_text("\n".join((EVERY_MARK[0], *turns)) + "\n", encoding="utf-8")
    golden = [json.loads(line) for path in FIXTURES.glob("*.golden.jsonl")
              for line in path.read_text(encoding="utf-8").splitlines()]  # fmt: skip
    evenings = [practice_json(one) for one in evening_told(0).told if isinstance(one, PracticeNews)]
    lesson = [item_json(one) for one in played(small(), slips=1, found=1).told]
    return [
        *golden,
        *lesson,
        *json.loads(json.dumps(evenings)),
        practice_json(Reviewed(1.0, 2, 14, ("The grip was wrong.",))),
        *objects("replay", str(SHORT), "--json", "--level", "bold"),
        *objects("replay", str(marks), "--json", "--no-hints"),
        *objects("replay", str(asking), "--json", "--no-hints"),
        *objects("live", *_QUICKLY, "--no-hints"),
    ]


@pytest.fixture(scope="module")
def whole_stream(
    stream: list[dict[str, Any]], tmp_path_factory: pytest.TempPathFactory
) -> list[dict[str, Any]]:
    """That of the commands with a virtual solver, of more options and of seldom events, too."""
    folder = tmp_path_factory.mktemp("formats")
    seldom = list[dict[str, Any]]()
    for seed in ("1", "48"):  # these seeds have such events
        log = str(folder / f"{seed}.jsonl")
        started("simulate", log, "--seed", seed, "--solves", "3")
        seldom += [one for one in objects("replay", log, "--json", "--no-hints")
                   if one["event"] in ("reopened", "cross-colour")]  # fmt: skip
    evenings = [
        practice_json(one)
        for seed in (1, 2)
        for one in evening_told(seed).told
        if isinstance(one, PracticeNews)
    ]
    return [
        *stream,
        *seldom,
        *json.loads(json.dumps(evenings)),
        *objects("replay", str(SHORT), "--json", "--when", "after"),
        *objects("replay", str(SHORT), "--json", "--clues", "2"),
        *objects("replay", str(repaired_log(folder)), "--json"),
        *objects("practice", *_QUICKLY, "--solves", "2"),
        *objects("again", "1", "--log", str(EVENING), *_QUICKLY, "--tries", "1", "--level", "keen"),
        *objects("drill", "made-pair", *_QUICKLY, "--count", "2"),
        *objects("drill", "fingers", *_QUICKLY, "--rounds", "2"),
        *objects("drill", "beat", *_QUICKLY),
    ]


def some_of_each(told: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """The first objects of each kind with each set of keys."""
    alike = Counter[tuple[str, ...]]()
    for one in told:
        keys = (one.get("event") or one.get("mark", ""), *sorted(one))
        alike[keys] += 1
        if alike[keys] <= _ALIKE:
            yield one


def test_every_event_is_described(stream: list[dict[str, Any]]) -> None:
    for told in some_of_each(stream):
        kind_validator("events", told["event"]).validate(told)
    for told in islice({one["event"]: one for one in stream}.values(), 0, None, 8):
        validator("events").validate(told)  # slow: it tries every kind
    assert len({told["event"] for told in stream}) > len(SCHEMAS["events"]["$defs"]) / 2


@pytest.mark.thorough
def test_every_event_is_described_and_met(whole_stream: list[dict[str, Any]]) -> None:
    for told in some_of_each(whole_stream):
        kind_validator("events", told["event"]).validate(told)
    met = Counter(told["event"] for told in whole_stream)
    # These events belong to tries that are given up or shown.
    assert {*SCHEMAS["events"]["$defs"]} - {*met} <= {"anew", "shown"}


@pytest.mark.parametrize("log", LOGS, ids=lambda path: path.stem)
def test_recorded_logs_are_as_the_schema_says(log: Path) -> None:
    lines = log.read_text(encoding="utf-8").splitlines()
    for one in some_of_each(map(json.loads, lines)):
        validator("log").validate(one)


def test_every_kind_of_line_is_described_and_read() -> None:
    parse_header(EVERY_MARK[0])
    assert all(parse_event(line) is not None for line in EVERY_MARK[1:])
    for line in EVERY_MARK:
        validator("log").validate(json.loads(line))
    marks = {json.loads(line).get("mark") for line in EVERY_MARK} - {None}
    assert {*SCHEMAS["log"]["$defs"]} == marks | {"header", "turn"}
    phases = SCHEMAS["log"]["$defs"]["solve"]["properties"]["phase"]["enum"]
    assert phases == [*SOLVE_PHASES]


@pytest.mark.parametrize(
    "line",
    [
        '{"turn": "R"}',
        '{"t": 1.0, "turn": "X"}',
        '{"t": 1e12, "turn": "R"}',
        '{"t": 1.0, "turn": "R", "seq": -1}',
        '{"t": 1.0, "mark": "battery", "percent": 101}',
        '{"t": 1.0, "mark": "battery"}',
        '{"t": 1.0, "mark": "gap", "lost": "three"}',
        '{"t": 1.0, "mark": "link", "up": 1}',
        '{"t": 1.0, "mark": "packet", "char": "a", "hex": "0"}',
        '{"t": 1.0, "mark": "solve", "id": 1, "phase": "over"}',
        '{"t": 1.0, "mark": "holding", "up": "pink", "front": "green"}',
        '{"t": 1.0, "mark": "attitude", "quaternion": [1.0, 0.0]}',
        '{"t": 1.0, "mark": "state", "facelets": "U"}',
    ],
)
def test_the_schema_of_a_log_refuses_what_the_reader_refuses(line: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        parse_event(line)
    assert not validator("log").is_valid(json.loads(line))


@pytest.mark.usefixtures("tables")
@pytest.mark.parametrize("moves", ["R U R'", "R U R' D", "", thorough(f"{SCRAMBLE} F2 L")])
def test_hints_are_as_the_schema_says(moves: str) -> None:
    """Those of a scramble are looked at below."""
    (told,) = objects("hints", moves, "--json")
    validator("hints").validate(told)


@pytest.mark.usefixtures("tables")
@pytest.mark.parametrize(
    ("moves", "cross", "level"),
    [thorough(SCRAMBLE, "any", "calm"), ("R U R' D", "yellow", "bold")],
)
def test_inspections_are_as_the_schema_says(moves: str, cross: str, level: str) -> None:
    (told,) = objects("inspect", moves, "--cross", cross, "--level", level, "--json")
    validator("inspect").validate(told)


@pytest.mark.usefixtures("tables")
def test_reviews_are_as_the_schema_says() -> None:
    (told,) = objects("review", str(EVENING), "--solve", "2", "--level", "bold", "--json")
    validator("review").validate(told)
    assert any(stage["alternatives"] for stage in told["stages"])
    assert told["openings"]


def test_written_solves_are_as_the_schema_says() -> None:
    told = objects("write", str(EVENING), "--json")
    assert len(told) == 5
    for one in told:
        validator("write").validate(one)


@pytest.mark.usefixtures("tables")
def test_the_history_and_its_trends_are_as_the_schemas_say() -> None:
    objects("history", "import", str(EVENING), "--json")
    objects("history", "penalty", "2", "+2", "--json")
    # For hands of their own, learned from these solves, every answer would be searched for.
    objects("review", "--kept", "2", "--level", "bold", "--hands", "right", "--json")
    (shown,) = objects("history", "show", "2", "--json")
    assert shown["chances"]
    assert shown["prices"]
    solves = [*objects("history", "--json"), *objects("history", "export", "--json"), shown]
    assert len(solves) == 11
    for one in solves:
        validator("history").validate(one)
    for arguments in ((), ("--focus", "plain"), ("--focus", "pseudo-pair", "--within", "0")):
        (told,) = objects("trends", "--json", *arguments)
        validator("trends").validate(told)
        assert told["figures"]
        assert bool(told["focus"]) == bool(arguments)


def test_objects_of_other_commands_are_as_the_schema_says(tmp_path: Path) -> None:
    from livecube.composition.radio_benchmark import RadioFigures, radio_json

    own = ("--cross", "white yellow", "--within", "0.5", "--no-voice", "--cube", "Ice")
    people = [*objects("people", "add", "Eve", *own, "--json")]
    people += objects("people", "add", "Bo", "--json") + objects("people", "--json")
    assert len(people) == 4
    heard = Sighting("AA:BB", None, -40, Advertisement(None, ("abcd",), ((0x1F, b"\x01\xff"),)))
    told: dict[str, list[dict[str, Any]]] = {
        "scan": [sighting_json(heard, "turnwire"), sighting_json(heard, None)],
        "bench": [
            figure_json(Figure("a", 1.5, "s", "")),
            figure_json(Figure("b", {"p50": 1.0}, "ms", "")),
        ],
        "bench-radio": [
            radio_json(
                RadioFigures(9, 0, 0, 1.0, 9, 1, 2, (1.0, 2.0, 3.0), (1.0, 2.0, 3.0), 9.0, 9.0)
            )
        ],
        "config": objects("config", "--json"),
        "reviewed": [
            {"event": "reviewed", "number": 3, "person": "Eve", "chances": 9, "trouble": None}
        ],
        "import": objects("history", "import", str(EVENING), "--person", "Eve", "--json"),
        "tag": objects("history", "tag", "calm", "1", "2", "--json"),
        "delete": objects("history", "delete", "1", "--json"),
        "undo": objects("history", "undo", "--json"),
        "rescue": objects("history", "rescue", "--json"),
        "people-move": objects("people", "move", "Eve", "Bo", "2", "--json"),
        "people-export": objects("people", "export", "Bo", str(tmp_path / "bo.zip"), "--json"),
        "people-forget": objects("people", "forget", "Bo", "--yes", "--json"),
    }
    for one in people:
        validator("people").validate(one)
    for kind, some in told.items():
        for one in some:
            kind_validator("commands", kind).validate(one)
            validator("commands").validate(one)
            assert not kind_validator("commands", kind).is_valid(dict([*one.items()][1:]))
    assert {*told, "listen"} == {*SCHEMAS["commands"]["$defs"]}


def test_scrambles_are_as_the_schema_says() -> None:
    for one in objects("scramble", "--count", "3", "--seed", "4", "--json"):
        validator("scramble").validate(one)


@pytest.mark.parametrize("whose", ["right", "left"])
def test_the_table_of_the_hands_is_as_the_schema_says(whose: str) -> None:
    (told,) = objects("hands", "--table", "--json", "--hands", whose)
    validator("hands-table").validate(told)


@pytest.mark.parametrize("name", SCHEMAS)
def test_a_schema_is_one_and_says_that_more_keys_may_come(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[name])
    assert SCHEMAS[name]["$id"] == name + SUFFIX
    assert "unevaluatedProperties" not in json.dumps(SCHEMAS[name])


SPOILED: Final[tuple[Callable[[Any], object], ...]] = (
    lambda told: told.update(extra=1),
    lambda told: told["opportunities"][0].update(extra=1),
    lambda told: told["opportunities"][0].update(up="pink"),
    lambda told: told["opportunities"][0].pop("door"),
    lambda told: told["plan"]["steps"][0].update(slots=["red"]),
    lambda told: told["plans"][0].update(turns=-1),
)


@pytest.mark.usefixtures("tables")
def test_what_is_not_described_is_refused() -> None:
    (good,) = objects("hints", SCRAMBLE, "--json")
    validator("hints").validate(good)
    for spoil in SPOILED:
        bad = deepcopy(good)
        spoil(bad)
        assert not validator("hints").is_valid(bad)
