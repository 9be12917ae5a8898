"""Offers of a coach: checked, bounded, shown, taken or declined; who may make them."""

from __future__ import annotations

import asyncio
import json
import re
import subprocess
from contextlib import suppress
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

import pytest
from broker import MISSING, Broker
from command import started
from test_tasks import CODE, TASK

from livecube.composition.dashboard import Dashboard, time_now
from livecube.composition.far import FarDesks
from livecube.composition.offers import OfferDesk
from livecube.cube.code import parse_code
from livecube.dashboard.broker import Access, Parcel, connected
from livecube.dashboard.desks import DeskNow
from livecube.dashboard.messages import Cube
from livecube.dashboard.offers import (
    MOST_BYTES,
    Flood,
    Offer,
    Waiting,
    offer_payload,
    offers_topic,
    read_offer,
)
from livecube.dashboard.outbox import Outbox
from livecube.dashboard.sending import Plan
from livecube.dashboard.settings import parse_address
from livecube.dashboard.tools import send_offer
from livecube.errors import BrokerError
from livecube.history.folder import data_folder
from livecube.history.store import History
from livecube.lessons.keeping import LessonBook
from livecube.stages.progress import HelpWanted, Turned

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

GUIDE = Path(__file__).parent.parent / "livecube/guide/coaching.md"
GOOD: dict[str, Any] = {"livecube_offer": 1, "id": "x", "at": "now", "task": TASK}


def read(body: object) -> Offer | None:
    payload = body if isinstance(body, bytes) else json.dumps(body).encode()
    return read_offer(payload, "bo", {})


def small(identity: str = "5f0c2a9be1d34477", **changed: object) -> dict[str, Any]:
    task = TASK | {"task": identity, "parts": [{"codes": [CODE]}]} | changed
    return GOOD | {"task": task}


def test_an_offer_is_read_and_only_what_was_understood_is_kept() -> None:
    offer = read(GOOD | {"run": "rm -rf /", "task": TASK | {"hidden": "\x1b[2J"}})
    assert offer is not None
    assert (offer.coach, offer.identity, offer.title) == ("bo", TASK["task"], TASK["title"])
    assert offer.sentence.startswith(
        "bo offers Until Friday: 3 positions for keyhole-corner, hard;"
    )
    assert json.loads(offer.text) == TASK
    assert read(json.loads(offer_payload("x", "now", offer.text))) == offer


@pytest.mark.parametrize(
    "body",
    [
        b"", b"\xff", b"null", b"[]", b"[" * 100_000, b'{"livecube_offer": 1}', b'{"task": {}}',
        GOOD | {"livecube_offer": 2}, GOOD | {"task": 3}, GOOD | {"task": None},
        GOOD | {"task": "x" * MOST_BYTES},
        small(title="\x1b[2J"), small(title="a\nb"), small(title="a\u202eb"), small(title=""),
        small(title="x" * 201), small(title=7), small("../../etc"), small("A" * 16),
        small(by="9999-99-99"), small(given="now"), small(parts=[]), small(parts={}),
        small(parts=[{"codes": ["\x1b[2J"]}]), small(parts=[{"codes": [{}]}]),
        small(parts=[{"codes": [CODE] * 51}]),
        small(parts=[{"codes": [CODE] * 31}] * 2), small(parts=[{"drill": ["x"], "count": 1}]),
        small(parts=[{"drill": "\x1b[2J", "count": 1}]),
        small(parts=[{"drill": "plain", "count": 10**9}]),
        small(parts=[{"drill": "plain", "count": float("inf")}]),
        small(parts=[{"lesson": "none"}]), small(parts=[{"lesson": "x", "text": "\x1b[2J"}]),
        small(parts=[{"codes": [CODE]}] * 21), small(title="\ud800"),
    ],
)  # fmt: skip
def test_what_is_no_offer_is_left_out(body: object) -> None:
    assert read(body) is None


def test_nothing_of_an_offer_can_move_a_cursor() -> None:
    lesson = "# A title\x9b2J\n"
    for body in (small(), GOOD, small(parts=[{"lesson": "x", "text": lesson}])):
        offer = read(body)
        if offer is not None:
            assert offer.sentence.isprintable()


def test_more_than_five_in_ten_seconds_are_a_flood() -> None:
    flood = Flood()
    assert [flood.is_too_much(0.1 * at) for at in range(7)] == [False] * 5 + [True] * 2
    assert not flood.is_too_much(10.05)
    assert flood.is_too_much(10.06)
    slow = Flood()
    assert not any(slow.is_too_much(2.1 * at) for at in range(50))


def offer_of(identity: str) -> Offer:
    found = read(small(identity))
    assert found is not None
    return found


def test_three_wait_and_none_comes_twice() -> None:
    waiting = Waiting()
    offers = [offer_of(f"{number:08d}") for number in range(5)]
    assert [waiting.add(one) for one in [offers[0], *offers]] == [
        True,
        False,
        True,
        True,
        False,
        False,
    ]
    assert waiting.first == offers[0] == waiting.answer()
    assert not waiting.add(offers[0]), "it was answered"
    assert waiting.add(offers[3])
    assert [waiting.answer() for _ in range(4)] == [*offers[1:4], None]


class _Output:
    """The part of an output that offers need."""

    screen = object()

    def __init__(self) -> None:
        self.board = self
        self.offer = ""
        self.said: list[str] = []

    def change(self, offer: str) -> None:
        self.offer = offer

    def complain(self, sentence: str) -> None:
        self.said.append(sentence)


async def settled(condition: Callable[[], object]) -> None:
    async with asyncio.timeout(30):
        while not condition():  # noqa: ASYNC110 - threads are waited for
            await asyncio.sleep(0.01)


def tasks_of(person: str) -> list[str]:
    with History(data_folder()) as history:
        return LessonBook.of(history, person).tasks()


async def test_an_offer_is_taken_or_declined_by_a_key_and_does_nothing_by_itself() -> None:
    output = _Output()
    desk = OfferDesk(cast("Any", output), "ada")
    assert not desk.press("t"), "the key has its other meaning"
    for number in range(2):
        desk.offered(offer_of(f"{number:08d}"))
    assert output.offer.startswith("Offer, t takes it, d declines (and 1 more): bo offers Until")
    assert not desk.press("x")
    assert desk.press("d")
    assert tasks_of("ada") == []
    assert desk.press("T")
    assert output.offer == ""
    await settled(lambda: output.said)
    assert output.said == ["Taken: Until Friday. livecube task lists it."]
    assert [json.loads(text)["task"] for text in tasks_of("ada")] == ["00000001"]
    assert "Until Friday" in started("task", "--person", "ada").stdout
    strange = read(small("00000009", parts=[{"drill": "no-such", "count": 1}]))
    assert strange is not None
    desk.offered(strange)
    assert desk.press("t")
    await settled(lambda: len(output.said) == 2)
    assert "'no-such' is no technique" in output.said[1]
    nobody = OfferDesk(cast("Any", output), None)
    nobody.offered(offer_of("00000003"))
    assert nobody.press("t")
    assert "leave out --no-history" in output.said[2]
    assert output.offer, "it still waits"


async def test_an_offer_that_comes_twice_is_told_once_and_a_declined_one_is_not_taken() -> None:
    output = _Output()
    output.screen = None
    desk = OfferDesk(cast("Any", output), "ada")
    for number in (1, 1, 2):
        desk.offered(offer_of(f"{number:08d}"))
    assert len(output.said) == 2
    assert desk.press("d")
    assert desk.press("t")
    await settled(lambda: len(output.said) == 3)
    assert [json.loads(text)["task"] for text in tasks_of("ada")] == ["00000002"]


async def test_far_desks_are_those_of_others_and_stay_when_the_connection_is_lost(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    far = FarDesks(cast("Any", None), ["ada"])
    desks = {name: DeskNow(name) for name in ("ada", "bo")}
    far._heard(cast("Any", SimpleNamespace(desks=desks)), None)
    assert far.seen == ((desks["bo"],), "")
    far._complain("the broker is gone")
    assert far.seen == ((desks["bo"],), "the broker is gone")

    async def cannot(*_: object, **__: object) -> None:
        raise BrokerError("other", "no such file: ca.pem")

    monkeypatch.setattr("livecube.composition.far.listen_to_desks", cannot)
    far.start()
    await settled(lambda: far.seen[1] != "the broker is gone")
    far.stop()
    assert far.seen == ((desks["bo"],), "no far desk can be heard: no such file: ca.pem")


# With a real broker


def access_list() -> str:
    """The access list of the manual."""
    found = re.search(r"```\n(# Everybody.*?)```", GUIDE.read_text(encoding="utf-8"), re.DOTALL)
    assert found is not None
    return found[1]


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A broker with the manual's access list, and the users ada, bo and carl."""
    folder = tmp_path / "broker"
    folder.mkdir()
    (folder / "passwords").write_text("".join(f"{name}:HUSH\n" for name in ("ada", "bo", "carl")))
    subprocess.run(["mosquitto_passwd", "-U", str(folder / "passwords")], check=True)
    (folder / "access").write_text(access_list())
    lines = (f"password_file {folder}/passwords", f"acl_file {folder}/access")
    broker = Broker(folder, lines).start()
    yield broker
    broker.stop()


def plan_of(broker: Broker, user: str, **more: Any) -> Plan:
    address = parse_address(f"mqtt://{user}@127.0.0.1:{broker.port}")
    return Plan(Access(address, "HUSH"), user, "off", **more)


@pytest.mark.skipif(bool(MISSING), reason=MISSING)
async def test_with_the_access_list_of_the_manual_only_the_coach_offers(
    broker: Broker, tmp_path: Path
) -> None:
    said: list[str] = []
    heard: list[Offer] = []
    plan = plan_of(broker, "ada", coach="bo", positions=True)
    outbox = Outbox(tmp_path / "outbox.sqlite", said.append)
    dashboard = Dashboard(plan, outbox, Cube("c", "c"), time_now, said.append)
    dashboard.hear_offers(heard.append)
    dashboard.start()
    payload = offer_payload("x", "now", offer_of("00000001").text)
    coach, other = plan_of(broker, "bo"), plan_of(broker, "carl")
    try:
        async with asyncio.timeout(30):
            while not await send_offer(coach, "bo", "ada", payload):  # noqa: ASYNC110 - it connects
                await asyncio.sleep(0.05)
        await settled(lambda: heard)
        assert heard == [offer_of("00000001")]
        # The coach sees what the student publishes, and the others' desks.
        start = parse_code(CODE)[0].tobytes()
        dashboard.post(Turned(1.0, 0, 1, start, None, None, ()))
        dashboard.post(HelpWanted(1.5, wanted=True))
        far = FarDesks(coach, ["bo"])
        far.start()
        await settled(lambda: far.seen[0] and far.seen[0][0].wants_help and far.seen[0][0].position)
        far.stop()
        assert [(desk.name, desk.position) for desk in far.seen[0]] == [("ada", start)]
        # A student offers nothing: not as the coach, not as themselves, not to themselves.
        for who, to in (("bo", "ada"), ("carl", "ada"), ("carl", "carl"), ("bo", "carl")):
            with pytest.raises(BrokerError, match="does not allow the user 'carl' to publish"):
                await send_offer(other, who, to, payload)
        async with connected(other.access, "carl-1") as connection:
            with pytest.raises(BrokerError, match="does not allow"):
                await connection.publish([Parcel("livecube/ada/help", "{}", retain=True)])
            await connection.publish([Parcel("livecube/carl/help", "{}", retain=True)])
            # Neither other desks nor their offers can be read.
            for topic in ("livecube/ada/#", "livecube-offers/#"):
                with suppress(BrokerError):  # some versions refuse this, others send nothing
                    await connection.subscribe(topic)
            await send_offer(coach, "bo", "ada", offer_payload("y", "now", payload_of("00000002")))
            arriving = connection.arriving()
            with pytest.raises(TimeoutError):
                await asyncio.wait_for(anext(arriving), 0.5)
        await settled(lambda: len(heard) == 2)
        # A flood from the coach, or from whoever has their password.
        async with connected(coach.access, "bo-1") as connection:
            rubbish = Parcel(offers_topic("livecube", "bo", "ada"), "\x1b[2J")
            await connection.publish([rubbish] * 200)
            await settled(lambda: any("too many offers" in one for one in said))
            await settled(lambda: True)
        assert len(heard) == 2
        assert said == [
            "an offer from bo makes no sense and is left out",
            "too many offers come from bo; none are heard for a minute",
        ]
    finally:
        await dashboard.finish()


def payload_of(identity: str) -> str:
    return offer_of(identity).text


@pytest.mark.skipif(bool(MISSING), reason=MISSING)
def test_the_command_says_whether_somebody_hears(
    broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LIVECUBE_MQTT_PASSWORD", "HUSH")
    url = ("--mqtt", f"mqtt://bo@127.0.0.1:{broker.port}")
    done = started("task", "offer", "ada", CODE, "--title", "Where to begin?", *url)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[0] == "offered to ada: Where to begin?"
    assert "nobody hears it: livecube must run at ada" in done.stdout
    other = ("--mqtt", f"mqtt://carl@127.0.0.1:{broker.port}")
    refused = started("task", "offer", "ada", CODE, *other)
    assert refused.returncode == 2
    assert "does not allow the user 'carl'" in refused.stderr
