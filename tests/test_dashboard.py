"""What a dashboard is told: topics, messages by their schemas, discovery, listeners."""

from __future__ import annotations

import itertools
import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jsonschema
import pytest
from dashboard_chaos import happenings
from home import Home
from hypothesis import given
from hypothesis import strategies as st

from livecube.dashboard.desks import MOST_BYTES, Desks
from livecube.dashboard.discovery import Form, configurations, discovery_topics
from livecube.dashboard.messages import Cube, Message, Messenger, availability
from livecube.dashboard.settings import parse_address
from livecube.dashboard.topics import NAMES, Tree, desk_name, desk_part
from livecube.edges.dashboard_files import schema_names, schema_text, tree_text
from livecube.errors import UsageError
from livecube.events import SolveMark, SolvePhase
from livecube.stages.progress import BatteryLevel, LinkChanged, SolveOver, Turned

if TYPE_CHECKING:
    from collections.abc import Sequence

HOME_SCHEMA = json.loads(Path(__file__).with_name("home_assistant.schema.json").read_text())
SCHEMAS = {name: json.loads(schema_text(name)) for name in schema_names()}
TREE = Tree("livecube", desk_part("Küche/1 +#"))
STATES = ("battery",)
"""All that entities may have to wait for."""


def schema_name(name: str) -> str:
    if name.startswith("figures/"):
        return "figure"
    return {"solve/latest": "solve", "solve/recent": "recent"}.get(name, name)


def told(solves: int = 3, *, battery: bool = True) -> tuple[list[Message], list[SolveOver]]:
    ids = itertools.count()
    messenger = Messenger(
        "Küche", Cube("cube-1", "n"), lambda t: f"at {t:.3f}", lambda: f"id-{next(ids)}"
    )
    messages, over = messenger.begin(), []
    if battery:
        messages += messenger.take(BatteryLevel(0.0, 71))
    for item in itertools.chain.from_iterable(happenings(4, solves)):
        messages += messenger.take(item)
        if isinstance(item, SolveOver):
            over.append(item)
    messages += messenger.take(LinkChanged(99.0, False))
    return [*messages, messenger.dropped(3, 1), *messenger.end()], over


def test_every_message_is_as_its_published_schema_says_and_every_schema_is_met() -> None:
    messages, _ = told()
    for message in messages:
        jsonschema.validate(json.loads(message.payload), SCHEMAS[schema_name(message.name)])
    jsonschema.validate(availability("d", "online", "i"), SCHEMAS["availability"])
    met = {message.name for message in messages} | {"availability"}
    assert met >= set(NAMES)
    assert {schema_name(name) for name in met} == set(SCHEMAS)


def test_a_schema_refuses_what_is_not_so() -> None:
    solve = next(m for m in told()[0] if m.name == "solve")
    changes: list[dict[str, Any]] = [
        {"seconds": -1}, {"stages": []}, {"solved": "yes"}, {"event_type": "pair"}
    ]  # fmt: skip
    for broken in changes:
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(solve.body | broken, SCHEMAS["solve"])


def test_ids_are_unique_and_messages_of_a_solve_share_its_id() -> None:
    messages, over = told()
    assert len({message.id for message in messages}) == len(messages)
    assert [message.seq for message in messages] == list(range(1, len(messages) + 1))
    solves = [m for m in messages if m.name == "solve"]
    assert len({solve.body["solve"] for solve in solves}) == len(over) == 3
    for solve, end in zip(solves, over, strict=True):
        assert solve.body["seconds"] == round(end.solve.seconds, 3)
        mine = [m for m in messages if m.name == "stage" and m.body["solve"] == solve.body["solve"]]
        assert sum(m.body["stage"] == "pair" for m in mine) == 4
        assert all(m.body["technique"] for m in mine if m.body["stage"] == "pair")
        assert all(m.seq < solve.seq and m.detail and not m.retain for m in mine)
    assert [m.body["solves"] for m in messages if m.name == "solve/recent"] == [
        [solve.body for solve in solves[: n + 1]] for n in range(3)
    ]


def test_the_session_follows_the_phases() -> None:
    messenger = Messenger("d", Cube("c", "c"), str, lambda: "x")
    messenger.begin()
    seen = []
    phases: tuple[SolvePhase, ...] = (
        "scramble", "inspect", "start", "end", "scramble", "abandon"
    )  # fmt: skip
    for phase in phases:
        told = messenger.take(SolveMark(1.0, 1, phase))
        seen += [m.body["state"] for m in told if m.name == "session"]
    assert seen == ["scrambling", "inspecting", "solving", "idle", "scrambling", "idle"]


def test_a_charge_stands_for_its_cube_only() -> None:
    messenger = Messenger("d", Cube("c", "c"), str, lambda: "x")
    last = {m.name: m.body for m in [*messenger.begin(), *messenger.take(BatteryLevel(1.0, 50))]}
    same = Messenger("d", Cube("c", "c"), str, lambda: "x", last=last)
    assert "battery" not in [m.name for m in same.begin()]
    assert [m.name for m in same.take(BatteryLevel(2.0, 50))] == ["link"]
    other = Messenger("d", Cube("o", "o"), str, lambda: "x", last=last)
    assert [m.body["percent"] for m in other.begin() if m.name == "battery"] == [None]


def test_a_cube_that_is_turned_is_connected_and_states_are_said_when_they_change_only() -> None:
    messenger = Messenger("d", Cube("c", "c"), str, lambda: "x")
    messenger.begin()
    turned = Turned(1.0, 0, 1, b"", None, None, ())
    assert [m.body["up"] for m in messenger.take(turned)] == [True]
    assert messenger.take(turned) == []
    assert len(messenger.take(BatteryLevel(1.0, 50))) == 1
    assert messenger.take(BatteryLevel(2.0, 50)) == []


names = st.text(min_size=1, max_size=40).filter(str.isprintable)


@given(names, names)
def test_desks_names_become_parts_of_topics_and_ids_and_stay_different(a: str, b: str) -> None:
    assert re.fullmatch(r"[A-Za-z0-9_-]+", desk_part(a))
    assert desk_name(desk_part(a)) == a
    assert (desk_part(a) == desk_part(b)) == (a == b)


@pytest.mark.parametrize("name", ["", "x" * 41, "a\nb", "a\x00", "\ud800"])
def test_names_that_cannot_be_shown_are_refused(name: str) -> None:
    with pytest.raises(UsageError):
        desk_part(name)


def test_addresses() -> None:
    a = parse_address("mqtts://me%40home@broker.example/a/b")
    assert (a.host, a.port, a.tls, a.user, a.prefix) == ("broker.example", 8883, True, "me@home",
                                                         "a/b")  # fmt: skip
    b = parse_address("mqtt://[::1]:1884")
    assert (b.host, b.port, b.is_local, b.prefix, b.place) == ("::1", 1884, True, "livecube",
                                                               "[::1]:1884")  # fmt: skip
    assert not parse_address("mqtt://127.0.0.1.example").is_local


@pytest.mark.parametrize(
    "url",
    ["", "http://h", "mqtt://", "mqtt://h:x", "mqtt://h:99999", "mqtt://h/a//b", "mqtt://h/a+",
     "mqtt://h/%23", "mqtt://h/$SYS", "mqtt://h?x=1", "mqtt://h:0", "mqtt://[::1", "mqtt://@h",
     "mqtt://u:SECRET@h", "mqtts://:SECRET@h", "mqtt://SECRET:@h", "SECRET://u:SECRET@h/SECRET"],
)  # fmt: skip
def test_addresses_that_make_no_sense_are_refused_and_passwords_not_repeated(url: str) -> None:
    with pytest.raises(UsageError) as refused:
        parse_address(url)
    assert "SECRET" not in str(refused.value)


# Discovery


@pytest.mark.parametrize("form", ["device", "entities"])
@pytest.mark.parametrize("known", [(), STATES], ids=["nothing is known", "all is known"])
def test_both_forms_are_as_the_documentation_says(form: Any, known: Sequence[str]) -> None:
    made = configurations(TREE, "Küche", "0.1", form, "homeassistant", known)
    for topic, payload in made:
        assert re.fullmatch(r"homeassistant/(\w+/)+config", topic.replace("-", "_"))
        if form == "entities" and not payload:
            continue  # it is taken back
        kind = "device" if form == "device" else topic.split("/")[1]
        schema = {"$ref": f"#/$defs/{kind}", "$defs": HOME_SCHEMA["$defs"]}
        jsonschema.validate(json.loads(payload), schema)
    assert {topic for topic, _ in made} <= set(discovery_topics(TREE, "homeassistant"))


def at_home(known: Sequence[str] = STATES, form: Form = "device", home: Home | None = None) -> Home:
    """A home to which the desk has introduced itself."""
    home = home or Home("homeassistant")
    for topic, payload in configurations(TREE, "d", "0.1", form, "homeassistant", known):
        home.take(topic, payload.encode(), retained=True)
    return home


@pytest.mark.parametrize("form", ["device", "entities"])
def test_entities_are_there_when_there_is_a_value_and_the_same_in_both_forms(form: Form) -> None:
    home = at_home((), form)
    assert not home.described().keys() & {f"livecube_{TREE.desk}_battery"}
    few = len(home.described())
    at_home(STATES, form, home)
    assert home.described() == at_home(STATES).described()
    assert len(home.described()) == few + 1 == 18
    at_home((), form, home)
    assert len(home.described()) == few


def test_every_entity_has_a_state_after_the_first_solve_that_is_the_solves() -> None:
    home = at_home()
    messages, over = told(1)
    messages = messages[: next(i for i, m in enumerate(messages) if m.name == "outbox") - 1]
    home.take(TREE.topic("availability"), b'{"state":"online"}', retained=False)
    for message in messages:
        home.take(TREE.topic(message.name), message.payload.encode(), retained=False)
    states = home.states()
    missing = {name for name, state in states.items() if state in (None, "unavailable")}
    assert not missing
    assert states["Last solve"] == str(round(over[0].solve.seconds, 3))
    assert states["Pair 2"] == str(round(over[0].solve.splits[2].seconds, 3))
    assert states["Pair 2 technique"] == over[0].solve.splits[2].technique
    assert (states["Battery"], states["Link"]) == ("71", "ON")
    assert (states["Solve over"], states["Stage done"]) == ("solved", "auf")
    fired = len(home.events)
    for message in messages:  # as after a connection was lost
        if message.name in ("solve", "stage"):
            again = json.dumps(message.body | {"again": True})
            jsonschema.validate(json.loads(again), SCHEMAS[message.name])
            home.take(TREE.topic(message.name), again.encode(), retained=False)
    assert len(home.events) == fired == 9
    home.take(TREE.topic("availability"), b'{"state":"offline"}', retained=False)
    assert set(home.states().values()) == {"unavailable"}


# Listening


junk = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4)
    | st.dictionaries(
        st.sampled_from(["id", "desk", "cube", "name", "state", "up", "percent", "solves", "solve",
                         "stage", "stages", "seconds", "solved"]), inner, max_size=8,
    ),
    max_leaves=12,
)  # fmt: skip


@given(st.lists(st.tuples(st.sampled_from([*NAMES, "figures/x", "new", ""]), junk), max_size=20))
def test_a_listener_survives_whatever_arrives(arriving: list[tuple[str, Any]]) -> None:
    from rich.console import Console

    from livecube.views.desks import arrived_line, desks_table

    desks = Desks("livecube")
    for name, body in arriving:
        arrived = desks.take(f"livecube/a/{name}", json.dumps(body).encode())
        if arrived is not None and (line := arrived_line(desks, arrived)) is not None:
            assert line.isprintable()
    with (console := Console(width=100, record=True, quiet=True)).capture():
        console.print(desks_table(desks, 5))


@pytest.mark.parametrize(
    "payload",
    [b"\xff", b"{", b"[" * 100_000, b"1" * 5000, b"[]", b'"online"', b"{}" + b" " * MOST_BYTES],
    ids=lambda p: p[:5],
)
def test_a_listener_counts_what_makes_no_sense(payload: bytes) -> None:
    desks = Desks("livecube")
    assert desks.take("livecube/a/solve", payload) is None
    assert desks.take("other/a/solve", b"{}") is None
    assert desks.senseless == 2
    assert not desks.desks


def test_a_listener_shows_several_desks_and_drops_what_comes_again() -> None:
    from rich.console import Console

    from livecube.views.desks import desks_table

    desks = Desks("livecube")
    for part in ("a", "b_20c"):
        desks.take(f"livecube/{part}/availability", b'{"state":"online"}')
    for message in told(1)[0][:-3]:
        for _ in range(2):
            desks.take(f"livecube/a/{message.name}", message.payload.encode())
    assert desks.repeated == len(told(1)[0][:-3])
    console = Console(width=120, color_system=None)
    with console.capture() as shown:
        console.print(desks_table(desks, 10))
    first, second = shown.get().splitlines()[1:3]
    assert first.startswith("a ")
    assert "n 71 %" in first
    assert re.search(r"\d\.\d\d s( +\d\.\d\d){8}", first)
    assert second.startswith("b c")


def test_the_tree_names_every_topic_and_schema() -> None:
    text = tree_text()
    assert all(f"`{name}`" in text for name in NAMES)
    assert all(f"`{name}`" in text for name in SCHEMAS)
