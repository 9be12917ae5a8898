"""The dashboard's topics, messages by their schemas, discovery, listeners."""

from __future__ import annotations

import functools
import itertools
import json
import random
import re
from dataclasses import fields, replace
from hashlib import sha256
from pathlib import Path
from types import MappingProxyType, SimpleNamespace
from typing import TYPE_CHECKING, Any, get_args

import jsonschema
import numpy as np
import pytest
from dashboard_chaos import happenings
from examples import examples
from home import Home
from hypothesis import given
from hypothesis import strategies as st

from livecube.cube.code import parse_position
from livecube.cube.notation import facelets_text
from livecube.dashboard.desks import MOST_BYTES, Desks
from livecube.dashboard.discovery import (
    Form,
    birth_topic,
    configurations,
    discovery_topics,
    is_birth,
    is_death,
    is_known,
)
from livecube.dashboard.drilling import HOW_WELL, BeatDone, DrillDone, FingersDone
from livecube.dashboard.figures import FIGURE_KINDS
from livecube.dashboard.messages import Cube, Message, Messenger
from livecube.dashboard.payloads import StagesSoFar, availability, seq_of
from livecube.dashboard.settings import parse_address
from livecube.dashboard.sink import schema_names, schema_text, tree_text
from livecube.dashboard.topics import NAMES, Tree, desk_name, desk_part
from livecube.errors import UsageError
from livecube.events import Battery, Gap, LinkChange, SolveMark, SolvePhase, Turn
from livecube.practice.attempts import Attempt, Attempts
from livecube.practice.news import Corrected, Discarded, Judged, Tally
from livecube.stages.progress import (
    HelpWanted,
    Reopened,
    SolveBegun,
    SolveOver,
    StageDone,
    Turned,
)
from livecube.timing.averages import mean
from livecube.timing.results import Penalty, Result
from livecube.trends.measures import Month

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

HOME_SCHEMA = json.loads(Path(__file__).with_name("home_assistant.schema.json").read_text())
SCHEMAS = {
    name: jsonschema.Draft202012Validator(json.loads(schema_text(name))) for name in schema_names()
}
TREE = Tree("livecube", desk_part("Küche/1 +#"))
STATES = ("battery", "drill/latest", "fingers", "beat", *(kind.topic for kind in FIGURE_KINDS))
"""All states that entities may wait for."""


@functools.cache
def home_validator(kind: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(
        {"$ref": f"#/$defs/{kind}", "$defs": HOME_SCHEMA["$defs"]}
    )


def schema_name(name: str) -> str:
    if name.startswith("figures/"):
        return "figure"
    shared = {
        "solve/latest": "solve",
        "solve/recent": "recent",
        "solve/stages": "stages",
        "drill/latest": "drill",
    }
    return shared.get(name, name)


def told(solves: int = 3, *, battery: bool = True) -> tuple[list[Message], list[SolveOver]]:
    ids = itertools.count()
    messenger = Messenger(
        "Küche", Cube("cube-1", "n"), lambda t: f"at {t:.3f}", lambda: f"id-{next(ids)}"
    )
    messages, over = messenger.begin(), []
    if battery:
        messages += messenger.take(Battery(0.0, 71))
    for item in itertools.chain.from_iterable(happenings(4, solves)):
        messages += messenger.take(item)
        if isinstance(item, SolveOver):
            over.append(item)
    messages += messenger.take(LinkChange(99.0, False))
    return [*messages, messenger.dropped(3, 1), *messenger.end()], over


DRILL = DrillDone(
    50.0, 3, "keyhole-corner", "front right; corner up, edge home", "easy", "sound", True,
    2140, 1800, 8, 7, "3KYP-SG2S-WBJX-U8TB",
)  # fmt: skip


FINGERS = FingersDone(51.0, 2, 14, 4.0, 0.25, 5.0, 10 / 3, 1)
BEAT = BeatDone(52.0, 1.5, 48, 5, 3, True)


def test_rounds_are_told_in_figures_worked_out_by_hand() -> None:
    from livecube.composition.dashboard import drill_told
    from livecube.drills.beat import BeatJudged, judged_beat
    from livecube.drills.fingers import PATTERNS, FingerRound, FingersOver

    left = FingerRound(9.0, 1, PATTERNS[0], ((1, 0.2),) * 7, 0)
    right = FingerRound(51.0, 2, PATTERNS[1], ((3, 0.2), (3, 0.4)) * 3 + ((3, 0.3),), 1)
    told = drill_told(FingersOver(51.0, (left, right), None))
    assert isinstance(told, FingersDone)
    assert (told.rounds, told.turns, told.slips) == (2, 14, 1)
    figures = (told.turns_per_second, told.variation, told.left_per_second, told.right_per_second)
    # 14 turns in 1.4 + 2.1 s; variations 0 and 0.1 / 0.3.
    assert figures == pytest.approx((4.0, 1 / 6, 5.0, 10 / 3))
    assert drill_told(FingersOver(1.0, (), None)) == FingersDone(
        1.0, 0, 0, None, None, None, None, 0
    )
    result = judged_beat([(t, "cross") for t in (0.0, 1.0, 2.4, 3.0, 5.0)], 1.0)
    assert drill_told(BeatJudged(5.0, result, solved=False)) == BeatDone(5.0, 1.0, 5, 1, 1, False)


def test_a_judged_drill_is_told_in_the_words_of_the_dashboard() -> None:
    from livecube.composition.dashboard import drill_told
    from livecube.drills.judging import HOW_WELL as THEIRS
    from livecube.drills.judging import DrillJudged

    row: Any = SimpleNamespace(technique="keyhole-corner", turns=7)
    case = "front right; corner up, edge home"
    place: Any = SimpleNamespace(row=row, case=case, grade="easy")
    measured: dict[str, Any] = dict.fromkeys(one.name for one in fields(DrillJudged))
    measured |= {"t": 50.0, "number": 3, "place": place, "turns": 8, "ms": 2140, "look_ms": 1800}
    measured["began"] = parse_position(DRILL.code)[0].tobytes()
    tried = DrillJudged(**measured | {"how_well": "sound", "as_advised": True})
    assert drill_told(tried) == DRILL
    assert HOW_WELL == THEIRS
    turn = Turn(1.0, 0)
    assert drill_told(turn) is turn


class Practised:
    """A session in which each solve is judged, and the messages of its desk."""

    def __init__(self, last: Mapping[str, dict[str, Any]] = MappingProxyType({})) -> None:
        ids = itertools.count(len(last))
        self.attempts = Attempts()
        self.messenger = Messenger(
            "Küche", Cube("cube-1", "n"), str, lambda: f"p-{next(ids)}", last=last, judged=True
        )
        self.messages = self.messenger.begin()
        self.number = 0

    @property
    def states(self) -> dict[str, dict[str, Any]]:
        return {m.name: m.body for m in self.messages if m.retain}

    def take(self, item: object) -> list[Message]:
        told = self.messenger.take(item)
        self.messages += told
        return told

    def solve(self, ms: int, penalties: tuple[Penalty, ...]) -> list[Message]:
        self.number += 1
        told = []
        for item in SOLVES[self.number % len(SOLVES)]:
            told += self.take(item)
            if isinstance(item, SolveOver):
                assert not any(m.name == "solve" for m in told)  # it waits for its judgement
        told += self.take(SolveMark(9.0, self.number, "end"))
        self.attempts.add(Attempt(self.number, ms, penalties))
        tally = self.attempts.tally
        return told + self.take(Judged(9.0, self.number, ms, None, penalties, tally))

    def penalty(self) -> list[Message]:
        if (one := self.attempts.next_penalty()) is None:
            return []
        tally = self.attempts.tally
        return self.take(Corrected(9.0, one.number, one.ms, one.measured, one.corrected, tally))

    def discard(self) -> list[Message]:
        if (one := self.attempts.toggle_discarded()) is None:
            return []
        away = one.is_discarded
        return self.take(Discarded(9.0, one.number, away, self.attempts.tally))


SOLVES = happenings(4, 3)


def practised(solves: int = 6) -> list[Message]:
    """All messages of a practice session with this many solves."""
    session = Practised()
    session.take(Month(20.0, 30, 12, 8, 3))
    for number in range(solves):
        session.solve(12_345 + 1000 * number, (Penalty("+2", "inspection"),) * (number % 2))
    session.penalty()
    session.discard()
    for drilled in (DRILL, FINGERS, BEAT):
        session.take(drilled)
    return session.messages


START = parse_position("3KYP-SG2S-WBJX-U8TB")[0].tobytes()


def helped() -> list[Message]:
    """The messages of whoever publishes a position, asks for help, and leaves."""
    messenger = Messenger("d", Cube("c", "n"), str, lambda: "id")
    turned = Turned(0.5, 0, 1, START, None, None, ())
    told = messenger.begin() + messenger.take(turned) + messenger.position()
    assert not messenger.has_position
    assert messenger.position() == [], "it has not changed"
    told += messenger.take(HelpWanted(1.0, wanted=True))
    return told + messenger.take(HelpWanted(2.0, wanted=True)) + messenger.end()


def test_help_is_wanted_until_the_desk_ends() -> None:
    wanted = [one.body["wanted"] for one in helped() if one.name == "help"]
    assert wanted == [True, False]
    left: dict[str, dict[str, Any]] = {"help": {"wanted": True}}  # a killed desk left it
    begun = Messenger("d", Cube("c", "n"), str, lambda: "id", last=left).begin()
    assert [one.body["wanted"] for one in begun if one.name == "help"] == [False]


def test_a_position_is_told_by_its_code_and_its_stickers() -> None:
    (told,) = [one for one in helped() if one.name == "position"]
    facelets = facelets_text(np.frombuffer(START, dtype=np.uint8))
    assert (told.body["facelets"], told.retain) == (facelets, True)
    assert told.body["at"] == "0.5"  # when it was turned
    position, _ = parse_position(told.body["code"])
    assert position.tobytes() == START
    desks = Desks("p")
    assert desks.take("p/d/position", json.dumps(told.body | {"id": "a"}).encode())
    assert (desks.desks["d"].position, desks.desks["d"].code) == (START, told.body["code"])
    for wrong in (None, 3, "3KYP-SG2S-WBJX-U8TC", "\x1b[2J"):
        assert desks.take("p/d/position", json.dumps({"code": wrong}).encode())
        assert (desks.desks["d"].position, desks.desks["d"].code) == (None, "")


def test_every_message_is_as_its_published_schema_says_and_every_schema_is_met() -> None:
    messages = told()[0] + practised() + helped()
    for message in messages:
        SCHEMAS[schema_name(message.name)].validate(json.loads(message.payload))
    SCHEMAS["availability"].validate(availability("d", "online", "i"))
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
            SCHEMAS["solve"].validate(solve.body | broken)


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


def test_what_a_solve_counts_is_told_with_it_and_corrected_afterwards() -> None:
    session = Practised()
    told = session.solve(12_345, (Penalty("+2", "inspection"),))
    (solve,) = (m.body for m in told if m.name == "solve")
    assert (solve["result_seconds"], solve["penalty"]) == (14.34, "+2")
    assert solve["penalties"] == [{"kind": "+2", "reason": "inspection"}]
    (correction,) = (m for m in session.penalty() if m.name == "correction")
    assert not correction.retain
    assert correction.body["solve"] == solve["solve"]
    assert (correction.body["result_seconds"], correction.body["penalty"]) == (None, "DNF")
    session.discard()
    for state in (session.states["solve/latest"], session.states["solve/recent"]["solves"][-1]):
        assert (state["penalty"], state["discarded"], state["solve"]) == (
            "DNF", True, solve["solve"]
        )  # fmt: skip
    assert session.states["solve/recent"]["solves"][-1]["id"] == solve["id"]
    session.take(Judged(9.0, 2, 9_000, None, (), session.attempts.tally))  # it was not heard
    assert "correction" not in [m.name for m in session.penalty()]
    session.solve(12_345, ())
    lost = [*SOLVES[0], SolveBegun(40.0, 3, 1, 40.0)]  # nobody judges it
    unjudged = [m.body for item in lost for m in session.take(item) if m.name == "solve"]
    assert ["penalty" in body for body in unjudged] == [False]
    assert "correction" not in [m.name for m in session.penalty()]  # of no solve that we know


steps = st.lists(
    st.one_of(
        st.tuples(st.integers(5_000, 700_000), st.sampled_from([0, 1, 2])),
        st.sampled_from(["penalty", "discard"]),
    ),
    max_size=18,
)


def figures_of(tally: Tally) -> dict[str, Result | None]:
    """Figures in milliseconds; None for a missing one."""
    times = [one for one in tally.results if not isinstance(one, str)]
    return {
        **{name.replace(" ", "-"): result for name, result in tally.averages},
        "session-best": min(times, default=None),
        "session-mean": mean(times) if times else None,
        "session-against-month": int(mean(times)) - 20_000 if times else None,
        "month-mean": 20_000,
    }


@given(steps, steps)
def test_figures_are_those_of_the_session_whatever_is_corrected(first: Any, then: Any) -> None:
    last: dict[str, dict[str, Any]] = {}
    for session in (first, then):
        desk = Practised(last)
        desk.take(Month(20.0, 30, 12, 8, 3))
        for step in session:
            match step:
                case "penalty":
                    desk.penalty()
                case "discard":
                    desk.discard()
                case (ms, plus):
                    desk.solve(ms, (Penalty("+2", "inspection"),) * plus)
        last = last | desk.states
        if not desk.number:
            continue  # the figures are those of the session before
        expected = figures_of(desk.attempts.tally)
        for kind in FIGURE_KINDS[:-1]:
            result = expected.get(kind.name)
            seconds = None if result is None or isinstance(result, str) else result / 1000
            assert last.get(kind.topic, {}).get("value") == seconds
        assert last[FIGURE_KINDS[-1].topic]["value"] == 37.5


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
    last = {m.name: m.body for m in [*messenger.begin(), *messenger.take(Battery(1.0, 50))]}
    same = Messenger("d", Cube("c", "c"), str, lambda: "x", last=last)
    assert "battery" not in [m.name for m in same.begin()]
    assert [m.name for m in same.take(Battery(2.0, 50))] == ["link"]
    other = Messenger("d", Cube("o", "o"), str, lambda: "x", last=last)
    assert [m.body["percent"] for m in other.begin() if m.name == "battery"] == [None]


def test_a_cube_that_is_turned_is_connected_and_states_are_said_when_they_change_only() -> None:
    messenger = Messenger("d", Cube("c", "c"), str, lambda: "x")
    messenger.begin()
    turned = Turned(1.0, 0, 1, b"", None, None, ())
    assert messenger.take(Gap(0.5, 1)) == [], (
        "a sign of life, but no item that concerns a dashboard"
    )
    assert [m.body["up"] for m in messenger.take(turned)] == [True]
    assert messenger.take(turned) == []
    assert len(messenger.take(Battery(1.0, 50))) == 1
    assert messenger.take(Battery(2.0, 50)) == []


def test_a_pair_that_is_broken_up_is_no_stage_that_is_done() -> None:
    messenger = Messenger("d", Cube("c", "c"), str, lambda: "x")
    items = list(itertools.chain.from_iterable(happenings(4, 1)))
    begun = next(item for item in items if isinstance(item, SolveBegun))
    pair = next(item for item in items if isinstance(item, StageDone) and item.split.slots)

    def done(item: object) -> int:
        (stages,) = [m.body["stages"] for m in messenger.take(item) if m.name == "solve/stages"]
        return sum(stage is not None for stage in stages)

    slots = pair.split.slots
    assert [done(begun), done(pair), done(Reopened(9.0, slots, 1))] == [0, 1, 0]


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
    assert parse_address("mqtt://localhost").is_local
    assert not parse_address("mqtt://10.0.0.1").is_local


@pytest.mark.parametrize(
    "url",
    ["", "http://h", "mqtt://", "mqtt://h:x", "mqtt://h:99999", "mqtt://h/a//b", "mqtt://h/a+", "mqtt://a%0Ab@h",
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
        home_validator(kind).validate(json.loads(payload))
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
    few = home.described()
    at_home(STATES, form, home)
    assert home.described() == at_home(STATES).described()
    assert len(home.described()) == len(few) + 1 + 2 + 2 + len(FIGURE_KINDS)
    at_home(STATES[1:], form, home)  # another cube
    assert len(home.described()) == len(few) + 2 + 2 + len(FIGURE_KINDS)


def hear(home: Home, messages: list[Message], known: set[str] | None = None) -> set[str]:
    """A home gets messages, and the configuration of each entity with its first value."""
    known = known or set()
    for message in messages:
        home.take(TREE.topic(message.name), message.payload.encode(), retained=False)
        if is_known(message.name, message.body) and message.name not in known:
            known.add(message.name)
            at_home(sorted(known), "device", home)
    return known


def test_every_entity_has_a_state_after_the_first_solve_that_is_the_solves() -> None:
    home = at_home(())
    messages, over = told(1)
    messages = messages[: next(i for i, m in enumerate(messages) if m.name == "outbox") - 1]
    home.take(TREE.topic("availability"), b'{"state":"online"}', retained=False)
    hear(home, messages)
    states = home.states()
    missing = {name for name, state in states.items() if state in (None, "unavailable")}
    assert not missing
    seconds = str(round(over[0].solve.seconds, 3))
    assert states["Last solve"] == states["Last result"] == states["Session mean"] == seconds
    assert states["Last penalty"] == "none"
    assert states["Pair 2"] == str(round(over[0].solve.splits[2].seconds, 3))
    assert states["Pair 2 technique"] == over[0].solve.splits[2].technique
    assert (states["Battery"], states["Link"]) == ("71", "ON")
    assert (states["Solve over"], states["Stage done"]) == ("solved", "auf")
    fired = len(home.events)
    for message in messages:  # as after a connection was lost
        if message.name in ("solve", "stage"):
            again = json.dumps(message.body | {"again": True})
            SCHEMAS[message.name].validate(json.loads(again))
            home.take(TREE.topic(message.name), again.encode(), retained=False)
    assert len(home.events) == fired == 9
    home.take(TREE.topic("availability"), b'{"state":"offline"}', retained=False)
    gone = {name for name, state in home.states().items() if state == "unavailable"}
    assert gone == {"Session", "Link", "Battery"}  # the others hold what was last


def test_each_stage_shows_its_split_when_it_is_done_and_is_empty_when_a_solve_begins() -> None:
    """Earlier a home's sensors changed only when a solve ended."""
    home, messenger = at_home(()), Messenger("a", Cube("c", "n"), lambda t: "", lambda: "id")
    names = ["Cross", *(f"Pair {n}" for n in range(1, 5))]
    names += ["Orientation (OLL)", "Permutation (PLL)", "Closing turn (AUF)"]
    done: list[str | None] = []
    for item in itertools.chain.from_iterable(happenings(4, 2)):
        hear(home, messenger.take(item))
        if isinstance(item, SolveBegun):
            done = []
        elif isinstance(item, StageDone):
            done.append(str(round(item.split.seconds, 3)))
        elif isinstance(item, SolveOver):
            done = [str(round(split.seconds, 3)) for split in item.solve.splits]
        else:
            continue
        assert [home.states()[name] for name in names] == [*done, *(None,) * (8 - len(done))]
    assert len(done) == 8


def test_pairs_that_are_given_up_show_no_split_and_nine_stages_find_room() -> None:
    stages = StagesSoFar()
    stages.done("cross", {"slots": [], "n": 0})
    for number, slot in enumerate(("a", "b", "c", "d"), start=1):
        stages.done("pair", {"slots": [slot], "n": number})
    stages.reopened(("b",))
    assert [one and one["n"] for one in stages.told()] == [0, 1, 3, 4, None, None, None, None]
    stages.done("pair", {"slots": ["e"], "n": 5})
    stages.done("pair", {"slots": ["f"], "n": 6})
    stages.done("auf", {"slots": [], "n": 7})
    assert [one and one["n"] for one in stages.told()] == [0, 1, 3, 4, 5, None, None, 7]


def test_in_practice_a_home_has_what_counts_and_a_state_for_whatever_it_knows() -> None:
    home, session = at_home(()), Practised()
    home.take(TREE.topic("availability"), b'{"state":"online"}', retained=False)
    session.take(Month(20.0, 30, 12, 8, 3))
    session.solve(12_345, (Penalty("+2", "inspection"),))
    known = hear(home, session.messages)
    states = home.states()
    assert None not in states.values()
    assert (states["Last result"], states["Last penalty"]) == ("14.34", "+2")
    assert states["Session against the month before"] == "-5.66"
    assert states["Chances taken in a month"] == "37.5"
    assert "Average of 5" not in states
    assert "Last drill" not in states
    told = [*(m for n in range(4) for m in session.solve(11_000 + n, ())), *session.take(DRILL)]
    hear(home, told, known)
    states = home.states()
    assert (states["Average of 5"], states["Session best"]) == ("11.0", "11.0")
    assert (states["Last drill"], states["Last drill time"]) == ("sound", "2.14")
    assert not {"Ring fingers", "Missed beats"} & set(states)
    hear(home, session.take(FINGERS) + session.take(BEAT), known)
    states = home.states()
    assert (states["Ring fingers"], states["Missed beats"]) == ("4.0", "5")
    hear(home, session.penalty() + session.penalty(), known)
    assert (home.states()["Last result"], home.states()["Last penalty"]) == (None, "DNF")


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


@examples(20)
@given(st.lists(st.tuples(st.sampled_from([*NAMES, "figures/x", "new", ""]), junk), max_size=20))
def test_a_listener_survives_whatever_arrives(arriving: list[tuple[str, Any]]) -> None:
    from rich.console import Console

    from livecube.dashboard.desks_screen import arrived_line, desks_table

    desks = Desks("livecube")
    for name, body in arriving:
        arrived = desks.take(f"livecube/a/{name}", json.dumps(body).encode())
        if arrived is not None and (line := arrived_line(desks, arrived, "12:00:00")) is not None:
            assert line.isprintable()
    with (console := Console(width=100, record=True, quiet=True)).capture():
        console.print(desks_table(desks.seen(), 5, 100))


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


@pytest.mark.parametrize("width", [80, 100, 160])
def test_a_listener_shows_several_desks_and_drops_what_comes_again(width: int) -> None:
    from rich.console import Console

    from livecube.dashboard.desks_screen import desks_table

    desks = Desks("livecube")
    for part in ("a", "b_20" * 12, "c"):
        desks.take(f"livecube/{part}/availability", b'{"state":"online"}')
    told_twice = told(1)[0][:-3]
    for message in told_twice:
        for _ in range(2):
            desks.take(f"livecube/a/{message.name}", message.payload.encode())
    assert desks.repeated == len(told_twice)
    for message in practised(7)[:-2]:
        desks.take(f"livecube/c/{message.name}", message.payload.encode())
    console = Console(width=width, color_system=None)
    with console.capture() as shown:
        console.print(desks_table(desks.seen(), 10, width))
    lines = shown.get().splitlines()
    assert all(len(line) <= width for line in lines)
    first, second, third = lines[1:4]
    assert first.startswith("a ")
    assert ("n 71 %" in first) == (width == 160)
    mean_and_stages = r"( +\d\.\d){3}" if width == 80 else r" +\d\d\.\d\d( +\d\.\d\d){7}"
    assert re.search(r"idle +1 +\d\d\.\d\d" + mean_and_stages, first)
    assert second.startswith("b b b")
    # The last one, 18.34, was made a +2.
    assert re.search(r"c +idle +7 +20\.34 \(\+2\) +\d+\.\d\d ", third)


def test_a_line_says_when_it_was() -> None:
    from livecube.dashboard.desks_screen import arrived_line

    desks, lines = Desks("livecube"), []
    for message in practised(1):
        body = message.body | {"at": "2026-03-01T21:04:11.5+00:00"}
        arrived = desks.take(f"livecube/a/{message.name}", json.dumps(body).encode())
        assert arrived is not None
        lines.append(arrived_line(desks, arrived, "12:00:00"))
    arrived = desks.take("livecube/a/availability", b'{"state":"offline"}')
    assert arrived is not None
    assert arrived_line(desks, arrived, "12:00:00") == "12:00:00  a: away"
    told_lines = [line for line in lines if line]
    assert all(re.match(r"\d\d:\d4:11  a: |\d\d:\d\d:11  a: ", line) for line in told_lines)
    ends = [line[13:] for line in told_lines if not re.search("cross|pair|tation|closing", line)]
    assert ends == [
        "solve 12.34", "corrected: penalty +2", "corrected: penalty +2, thrown away",
        "drill keyhole-corner: sound", "ring fingers 4.0 turns a second",
        "to a beat: 5 of 48 turns missed it",
    ]  # fmt: skip


def test_the_tree_names_every_topic_and_schema() -> None:
    text = tree_text()
    assert all(f"`{name}`" in text for name in NAMES)
    assert all(f"`{name}`" in text for name in SCHEMAS)


# Digests of all messages.


def garbled(body: dict[str, Any], rng: random.Random) -> Any:
    """A message with one of its values replaced."""
    strange: tuple[Any, ...]
    strange = (
        None,
        -3,
        1e12,
        7.5,
        True,
        "x" * 70,
        "a\x1bb",
        [],
        [{"stage": 3, "seconds": 1.5}],
        {},
    )
    key = rng.choice(list(body) or ["id"])
    return [body] if rng.random() < 0.05 else body | {key: rng.choice(strange)}


def heard() -> list[str]:
    """A listener's states after all messages, half of them garbled, some from elsewhere."""
    rng, desks, lines = random.Random(1), Desks("cubes"), []
    for number, message in enumerate(told()[0] + practised() + told(2)[0]):
        body = garbled(message.body, rng) if rng.random() < 0.5 else message.body
        part = rng.choice(("one", "two-2", "")) if number % 9 == 0 else "one"
        topic = f"{'cubes' if number % 11 else 'other'}/{part}/{message.name}"
        arrived = desks.take(topic, json.dumps(body).encode() if number % 23 else b"")
        lines.append(f"{arrived} {desks.seen()} {desks.repeated}")
    return lines


DIGESTS = {
    "messages": "5d003ef4",
    "practised": "7d50f9ba",
    "heard": "2583a658",
    "device 0": "c751c2a6",
    "device 14": "d68a531d",
    "entities 0": "b4802d3b",
    "entities 14": "70c293eb",
    "off 0": "e3b0c442",
    "off 14": "e3b0c442",
    "topics": "47079b8f",
}
"""Digests of all messages, and of a listener's states."""


def digests() -> dict[str, str]:
    lines = {
        "messages": [repr((m.name, m.body, m.retain)) for m in told()[0] + told(0)[0]],
        "practised": [repr((m.name, m.body, m.retain)) for m in practised()],
        "heard": heard(),
    }
    for form in get_args(Form):
        for known in ((), STATES):
            made = configurations(TREE, "Küche", "0.1", form, "homeassistant", known)
            lines[f"{form} {len(known)}"] = [repr(one) for one in made]
    lines["topics"] = [repr(discovery_topics(TREE, "homeassistant")), tree_text()]
    return {name: sha256("\n".join(of).encode()).hexdigest()[:8] for name, of in lines.items()}


def test_what_is_told_is_what_was_told() -> None:
    assert digests() == DIGESTS


def test_a_payload_may_be_so_large_and_no_larger() -> None:
    desks = Desks("p")
    body = b'{"percent": 50, "filling": "%s"}'
    room = MOST_BYTES - len(body) + 2
    assert desks.take("p/d/battery", body % (b"x" * room)) is not None
    assert desks.take("p/d/battery", body % (b"x" * (room + 1))) is None
    assert desks.senseless == 1


def test_there_is_room_for_5000_desks() -> None:
    desks = Desks("p")
    taken = [desks.take(f"p/{n}/link", b'{"up": true}') is not None for n in range(5002)]
    assert taken == [True] * 5000 + [False] * 2
    assert desks.take("p/4999/link", b'{"up": false}') is not None
    assert (len(desks.desks), desks.senseless) == (5000, 2)


def test_a_solve_that_was_broken_off_is_told_as_unfinished() -> None:
    messenger = Messenger("Küche", Cube("cube-1", "n"), str, lambda: "one")
    for item in SOLVES[0]:
        if isinstance(item, SolveOver):
            for solved, word in ((False, "unfinished"), (True, "solved")):
                ended = replace(item, solve=replace(item.solve, solved=solved))
                told = messenger.take(ended)
                assert [m.body["event_type"] for m in told if m.name == "solve"] == [word]
            return
        messenger.take(item)


@pytest.mark.parametrize(
    ("payload", "seq"),
    [
        (b'{"seq": 7}', 7), (b'{"seq": 1}', 1), (b'{"seq": 0}', 0), (b'{"seq": -1}', 0),
        (b'{"seq": "7"}', 0), (b"{}", 0), (b"[]", 0), (b"{", 0),
    ],
)  # fmt: skip
def test_the_number_of_a_message_is_read_or_none(payload: bytes, seq: int) -> None:
    assert seq_of(payload) == seq


def test_home_assistant_says_online_when_it_is_there() -> None:
    assert birth_topic("homeassistant") == "homeassistant/status"
    assert [is_birth(said) for said in (b"online", b"offline", b"")] == [True, False, False]
    assert [is_death(said) for said in (b"online", b"offline", b"")] == [False, True, False]


def test_what_is_no_desks_part_is_its_own_name() -> None:
    assert desk_name("a_FF") == "a_FF"  # no text has this byte alone
    assert desk_name("a_C3_BC") == "aü"


def test_a_stage_of_a_solve_that_began_unheard_gets_an_id_that_its_end_has_too() -> None:
    ids = itertools.count()
    messenger = Messenger("Küche", Cube("cube-1", "n"), str, lambda: f"id-{next(ids)}")
    told = [
        message
        for item in SOLVES[0]
        if not isinstance(item, SolveBegun)
        for message in messenger.take(item)
        if message.name in ("stage", "solve")
    ]
    assert len(told) > 3
    (one,) = {message.body["solve"] for message in told}
    assert one
