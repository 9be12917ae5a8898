"""A group: several cubes at once, and what they share."""

from __future__ import annotations

import asyncio
import json
import sys
import time
from collections import Counter
from contextlib import suppress
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import aiomqtt
import numpy as np
import pytest
from broker import MISSING, Broker
from command import started
from examples import thorough
from rich.console import Console
from test_formats import validator

from livecube.advice.speaker import Manner
from livecube.composition.group import DeskPlan, GroupRun, _Desk
from livecube.composition.live import Followed, Solver
from livecube.composition.pipeline import Pipeline
from livecube.composition.publishing import Publishing
from livecube.composition.run import Wishes
from livecube.composition.sharing import SharedAdvisors, SharedRadio, SharedSearch
from livecube.cube.notation import parse_turns
from livecube.dashboard.desks import DeskNow
from livecube.dashboard.group_screen import DeskRow, GroupScreen
from livecube.decoding import Advertisement
from livecube.edges.automaton_file import load_hands
from livecube.edges.memory import kept_small, note_map
from livecube.edges.radio import Sighting
from livecube.errors import RadioError
from livecube.events import Turn
from livecube.history.folder import data_folder
from livecube.history.people import HANDS, People
from livecube.history.store import History
from livecube.solves.people import known_person
from livecube.solves.records import Wanted
from livecube.stages.progress import HelpWanted
from livecube.stages.tracker import Tracker
from livecube.techniques.base import Level
from livecube.views.live_screen import LiveScreen
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterable

    from livecube.cube.position import Array
    from livecube.hands.automaton import Automaton

FIXTURES = Path(__file__).parent.parent / "fixtures"
SHORT = str(FIXTURES / "given-start.jsonl")


def told(*arguments: str) -> list[dict[str, Any]]:
    """The JSON output of a command."""
    done = started(*arguments)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def without_hints(objects: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What happened, but for events that depend on when the machine has loaded something."""
    return [one for one in objects if one["event"] not in ("end", "battery")]


@pytest.mark.thorough
def test_each_desk_of_a_group_hears_of_its_own_cube_what_it_would_hear_alone() -> None:
    quickly = ("--speed", "1000", "--no-hints", "--json")
    whole = told("group", "ada=simulated:3", "bo=simulated:4", f"carl={SHORT}", *quickly)
    apart = {
        "ada": told("live", "--simulated", "--seed", "3", *quickly),
        "bo": told("live", "--simulated", "--seed", "4", *quickly),
        "carl": told("replay", SHORT, "--no-hints", "--json"),
    }
    for name, alone in apart.items():
        own = [{key: one[key] for key in one if key != "desk"} for one in whole
               if one["desk"] == name]  # fmt: skip
        assert own[-1]["event"] == "end"
        assert own[-1]["solves"] == 1
        assert without_hints(own) == without_hints(alone), name
    for one in whole:
        validator("events").validate({key: one[key] for key in one if key != "desk"})


@pytest.mark.skipif(bool(MISSING), reason=MISSING)
@pytest.mark.parametrize("solves", [1, thorough(2)])
def test_each_desk_has_its_lines_its_solves_its_prices_and_its_topics(
    tmp_path: Path, solves: int
) -> None:
    broker = Broker(tmp_path / "broker").start()
    try:
        desks = ("ada=simulated:3", "bo=simulated:4")
        quickly = ("--solves", str(solves), "--speed", "1000", "--keep")
        done = started("group", *desks, *quickly, "--mqtt", broker.url)
        assert done.returncode == 0, done.stderr
        begins = {line.split(":")[0] for line in done.stdout.splitlines() if line}
        assert begins == {"ada", "bo"}
        assert asyncio.run(_published(broker.port)) >= {"livecube/ada", "livecube/bo"}
    finally:
        broker.stop()
    with History(data_folder(), reading=True) as history:
        for name in ("ada", "bo"):
            assert len(history.list(Wanted(person=name))) == solves
            text = People(history).learned(known_person(history.roster(), name), HANDS)
            assert text is not None
            assert '"mark"' in text


async def _published(port: int) -> set[str]:
    """The first two parts of the topics that a broker keeps."""
    found: set[str] = set()
    async with aiomqtt.Client("127.0.0.1", port) as client:
        await client.subscribe("livecube/#")
        with suppress(TimeoutError):
            async with asyncio.timeout(1.0):
                async for message in client.messages:
                    found.add("/".join(str(message.topic).split("/")[:2]))
    return found


class _Part:
    """Takes the keys of a desk."""

    def __init__(self) -> None:
        self.keys: list[str] = []

    def press(self, key: str, end: Callable[[], None]) -> None:
        self.keys.append(key)
        end()


def test_a_digit_shows_a_cube_in_full_which_then_takes_the_keys_but_not_q() -> None:
    plans = [
        _plan("ada", _Broken(RadioError("other", ""))),
        _plan("bo", _Broken(RadioError("other", ""))),
    ]
    run = GroupRun(plans, _UNPUBLISHED, Console(file=StringIO()), as_json=False)
    parts = [_Part(), _Part()]
    for desk, part in zip(run.desks, parts, strict=True):
        desk._part = cast("Any", part)
    shown = []
    for key in ("h", "2", "c", "Q", "9", "h", "0", "h"):
        run._press(key)
        shown.append(run._screen().shown)
    assert shown == [None, 2, 2, 2, 9, 9, None, None]
    assert [part.keys for part in parts] == [[], ["c"]]
    assert run._over.is_set(), "q ends the group"
    run.desks[1].press("q")
    assert parts[1].keys == ["c"], "and not a desk"


@pytest.mark.parametrize(
    ("desks", "words"),
    [
        ((), "name a desk"),
        (("ada",), "'ada' is no desk"),
        (("ada=",), "is no desk"),
        (("ada=simulated", "ada=simulated"), "two desks are called 'ada'"),
        (("ada=Ice", "bo=Ice"), "two desks have the cube 'Ice'"),
        (("ada=simulated:x",), "'x' is no seed"),
        (("ada=none.jsonl",), "none.jsonl"),
        (tuple(f"d{n}=simulated" for n in range(9)), "at most 8 desks"),
    ],
)
def test_what_is_no_group_is_told(desks: tuple[str, ...], words: str) -> None:
    done = started("group", *desks)
    assert done.returncode == 2
    assert words in done.stderr


class _Broken:
    """A source that ends in an error."""

    title = name = link = "broken"
    clock = "host"
    typed = None
    speed = 1.0

    def __init__(self, error: Exception) -> None:
        self.error = error
        self.looked = 0

    async def find(self) -> None:
        self.looked += 1
        raise self.error


def _plan(name: str, source: _Broken) -> DeskPlan:
    solver = Solver(None, Wishes(None, None, Manner(), voice=False))
    return DeskPlan(name, cast("Any", source), Followed(solver, None), asyncio.Event())


_UNPUBLISHED = Publishing(None, None, plain=False, off=True)


@pytest.mark.parametrize(
    ("error", "words", "looks"),
    [
        (RadioError("not found", "nothing was heard"), "nothing was heard", 3),
        (ZeroDivisionError("oh"), "stopped (ZeroDivisionError: oh); this is a bug", 1),
    ],
)
async def test_an_error_at_one_desk_stays_there(
    error: Exception, words: str, looks: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A cube that is not found is looked for again; what broke is not begun again."""
    monkeypatch.setattr("livecube.composition.group._AGAIN_S", 0.001)
    source = _Broken(error)
    desk = _Desk(_plan("ada", source), _UNPUBLISHED, as_json=False, drawn=True)
    following = asyncio.create_task(desk.follow(SharedAdvisors(), SharedSearch()))
    async with asyncio.timeout(20):
        while source.looked < looks:  # noqa: ASYNC110 - a thread is waited for
            await asyncio.sleep(0.01)
        if looks == 1:
            await following
    assert words in desk.board.shown.over
    desk.end(following)
    await asyncio.wait([following])
    assert (source.looked == 1) == (looks == 1)
    assert any(words in one for one in desk.last_words())


async def test_the_first_colour_of_every_desk_comes_before_the_second_of_any() -> None:
    order: list[str] = []

    def steps(name: str, _position: Any, faces: int, _holding: Any) -> Generator[None, None, Any]:
        for number in range(faces):
            order.append(f"{name}{number}")
            if number < faces - 1:
                yield
        return [name]

    class _Asked:
        position = holding = None

        def __init__(self, faces: int) -> None:
            self.faces = faces

    search = SharedSearch(steps)

    def find(name: str, faces: int, stopped: Callable[[], bool] = lambda: False) -> Any:
        return search.find(cast("Any", name), cast("Any", _Asked(faces)), stopped)

    asked = [asyncio.create_task(find(name, faces)) for name, faces in
             (("a", 6), ("b", 1), ("c", 2))]  # fmt: skip
    asked.append(asyncio.create_task(find("d", 3, lambda: "d0" in order)))
    await asyncio.sleep(0)
    running = asyncio.create_task(search.run())
    assert await asyncio.gather(*asked) == [["a"], ["b"], ["c"], None]
    running.cancel()
    assert order == ["a0", "b0", "c0", "d0", "a1", "c1", "a2", "a3", "a4", "a5"]


async def test_a_question_that_cannot_be_answered_stops_no_other() -> None:
    def steps(name: Any, *_: Any) -> Generator[None, None, Any]:
        yield
        if name == "bad":
            raise ZeroDivisionError
        return [name]

    class _Asked:
        position = faces = holding = None

    search = SharedSearch(steps)
    running = asyncio.create_task(search.run())
    asked: list[Any] = [
        search.find(cast("Any", name), cast("Any", _Asked()), lambda: False)
        for name in ("bad", "good", "better")
    ]
    bad, *good = await asyncio.gather(*asked, return_exceptions=True)
    running.cancel()
    assert isinstance(bad, ZeroDivisionError)
    assert good == [["good"], ["better"]]


async def test_desks_with_the_same_hands_share_tables_and_others_have_their_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    loaded: list[Automaton] = []

    class _Advisor:
        def __init__(self, hands: Automaton) -> None:
            self.hands, self.answers, self.level = hands, self, Level.CALM

        def at(self, level: Level) -> _Advisor:
            self.level = level
            return self

    def load(hands: Automaton) -> tuple[_Advisor, _Advisor]:
        loaded.append(hands)
        return _Advisor(hands), _Advisor(hands)

    monkeypatch.setattr("livecube.composition.sharing._loaded", load)
    right, left = load_hands("right"), load_hands("left")
    sharing = SharedAdvisors()
    asked = await asyncio.gather(
        *(sharing.of("bold", hands) for hands in (None, right, left, right))
    )
    found = [cast("_Advisor", here) for here, _ in asked]
    assert len(loaded) == 2
    assert [one.hands.fingerprint == left.fingerprint for one in found] == [
        False, False, True, False
    ]  # fmt: skip
    assert {one.level for one in found} == {Level.BOLD}


def sighting(address: str) -> Sighting:
    return Sighting(address, None, -50, Advertisement(None, (), ()))


async def test_those_who_listen_at_the_same_time_share_one_search() -> None:
    begun = []

    class _Radio:
        label = "radio"

        async def scan(self, seconds: float, enough: Callable[[Sighting], bool]) -> None:
            begun.append(seconds)
            if len(begun) == 2:
                raise RadioError("switched off", "the radio is off")
            for address in "abc":
                enough(sighting(address))
                await asyncio.sleep(0.01)
            await asyncio.sleep(60)

    radio = SharedRadio(cast("Any", _Radio()))

    def look(address: str, seconds: float = 20.0) -> Any:
        return radio.scan(seconds, lambda seen: seen.address == address)

    found = await asyncio.gather(look("a"), look("c"), look("none", 0.2))
    assert found[0][-1].address == "a"
    assert found[1][-1].address == "c"
    assert len(found[2]) == 3
    assert len(begun) == 1
    with pytest.raises(RadioError, match="is off"):
        await look("a")


def asked(turns: Iterable[tuple[float, int]]) -> list[int]:
    """After which turns, counted from 0, help is wanted, or not any more."""
    pipeline, told = Pipeline(Tracker(), lambda: 0.0), []
    for at, (t, turn) in enumerate(turns):
        told += [at for one in pipeline.feed(Turn(t, turn)) if isinstance(one, HelpWanted)]
    return told


def in_step(turns: str, each_s: float) -> list[tuple[float, int]]:
    return [(each_s * at, turn) for at, turn in enumerate(parse_turns(turns))]


@pytest.mark.parametrize(
    "turns",
    ["R2 L2 R2 L2", "R R L L R R L L", "R L R L R L R L", "L' R L' R R2 L2", "U2 D D D2 U' U'"],
)
def test_two_opposite_layers_a_half_turn_each_and_once_more_ask_for_help(turns: str) -> None:
    count = len(parse_turns(turns))
    assert asked(in_step(f"{turns} {turns}", 0.4)) == [count - 1, 2 * count - 1]
    assert asked(in_step(f"R U F {turns} {turns}", 0.4)) == [count + 2, 2 * count + 2]


@pytest.mark.parametrize(
    "turns",
    ["R2 L2 R2 L'", "R L' R L R' L R L", "R2 U2 R2 U2", "R2 L2 F2 B2", "R2 R2 R2 R2",
     "R L R' L' R L R' L'", "M2 U M2 U2 M2 U M2"],
)  # fmt: skip
def test_other_turns_ask_for_nothing(turns: str) -> None:
    assert asked(in_step(turns.replace("M2", "R2 L2"), 0.1)) == []
    assert asked(in_step("R2 L2 R2 L2", 2.0)) == []


def test_no_solve_holds_the_gesture() -> None:
    assert asked((turn.t, turn.turn) for turn in session(5, 6).turns) == []


# The screen


def drawn(screen: GroupScreen, width: int = 80, height: int = 24) -> str:
    out = StringIO()
    Console(file=out, width=width).print(screen, height=height)
    return out.getvalue()


def rows(count: int) -> tuple[DeskRow, ...]:
    return tuple(DeskRow(f"desk {n}", LiveScreen("a cube")) for n in range(1, count + 1))


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (120, 40)])
@pytest.mark.parametrize("count", [1, 8])
def test_all_rows_and_the_keys_are_on_every_screen(size: tuple[int, int], count: int) -> None:
    text = drawn(GroupScreen(rows(count), keys=True), *size)
    lines = text.rstrip("\n").split("\n")
    assert len(lines) <= size[1]
    assert max(map(len, lines)) <= size[0]
    for number in range(1, count + 1):
        assert f"desk {number}" in text
    assert lines[-1].startswith("1" if count == 1 else "1 to 8")


def test_more_desks_than_lines_are_counted_and_whoever_wants_help_is_named() -> None:
    far = tuple(DeskNow(f"far {n}", online=True, wants_help=n == 30) for n in range(40))
    own = (rows(1)[0].after(HelpWanted(1.0, wanted=True)),)
    text = drawn(GroupScreen(own, far, keys=True))
    assert "desk 1, far 30 want help" in text
    assert "HELP" in text
    lines = Counter(line.split()[0] for line in text.split("\n") if line.strip())
    assert lines["and"] == 1
    assert "and 22 more" in text


def resident_kb(table: Array) -> int:
    """Pages of a mapped table that are in memory, as the system counts them."""
    text = Path("/proc/self/smaps").read_text(encoding="utf-8")
    own = f"{table.ctypes.data & -4096:x}-"
    part = text[text.index(own) :]
    return int(part[part.index("\nRss:") :].split()[1])


@pytest.mark.skipif(sys.platform != "linux", reason="needs Linux's account of maps")
def test_the_pages_of_tables_are_given_back_while_a_run_is_large(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = np.arange(3_000_000)
    np.save(tmp_path / "table.npy", made)
    mapped = np.load(tmp_path / "table.npy", mmap_mode="c")
    table: Array = np.asarray(mapped)
    note_map(mapped)
    assert int(table.sum()) == int(made.sum())
    assert resident_kb(mapped) > 20_000
    monkeypatch.setattr("livecube.edges.memory._LARGE_MB", 1.0)
    with kept_small():
        while resident_kb(mapped) > 1_000:
            time.sleep(0.01)
    assert (table == made).all()
