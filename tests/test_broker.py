"""Publishing on a real broker: refusals, lost messages, and everything that can go wrong."""

from __future__ import annotations

import asyncio
import contextlib
import datetime
import functools
import gc
import itertools
import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import aiomqtt
import pytest
import trustme
from broker import MISSING, Broker, free_port
from consumer import Consumer
from dashboard_chaos import happenings, numbered
from home import Home
from wire import Wire

from livecube.composition.dashboard import BrokerWish, Dashboard, plan_of, time_now
from livecube.dashboard.broker import Access, Parcel, connected, explain
from livecube.dashboard.messages import Cube, Message
from livecube.dashboard.outbox import Outbox
from livecube.dashboard.own_desk import outbox_path
from livecube.dashboard.sending import _HOME_BACK_S, Plan
from livecube.dashboard.settings import parse_address
from livecube.dashboard.sink import DashboardSink
from livecube.dashboard.tools import check_broker, forget_desk, waiting_messages
from livecube.edges.configuration import Configuration
from livecube.errors import BrokerError, UsageError
from livecube.events import Battery
from livecube.stages.progress import SolveOver

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Iterator
    from pathlib import Path

    from livecube.stages.progress import Progress

pytestmark = pytest.mark.skipif(bool(MISSING), reason=MISSING)

CUBE = Cube("cube-1", "a cube")


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    broker = Broker(tmp_path / "broker").start()
    yield broker
    broker.stop()


def plan(url: str, **changes: Any) -> Plan:
    access = Access(parse_address(url), keepalive_s=changes.pop("keepalive_s", 30))
    return replace(Plan(access, "Küche/+#"), **changes)


@contextlib.asynccontextmanager
async def publishing(
    plan: Plan, outbox: Outbox | None = None, said: list[str] | None = None
) -> AsyncIterator[DashboardSink]:
    complain = [] if said is None else said
    dashboard = Dashboard(plan, outbox or Outbox(None, print), CUBE, time_now, complain.append)
    dashboard.start()
    sink = DashboardSink(dashboard)
    try:
        yield sink
    finally:
        await sink.close()
        complain += dashboard.last_words


def ended(consumer: Consumer, solves: int = 1) -> bool:
    """Whether this many solves are over, with all their messages."""
    return any(body["solves"] == solves for body in consumer.bodies("session"))


def said_of_itself(consumer: Consumer, times: int) -> bool:
    """Whether the desk appeared or left ``times`` times."""
    return len(consumer.bodies("availability")) >= times


def items(number: int = 1) -> list[Progress]:
    return [item for solve in happenings(3, number) for item in solve]


async def test_a_dashboard_learns_all_and_the_truth_about_being_there(broker: Broker) -> None:
    said: list[str] = []
    async with Consumer(broker.port) as consumer:
        async with publishing(plan(broker.url), said=said) as sink:
            for item in items():
                await sink.take(item)
            await consumer.until(lambda: bool(consumer.bodies("figures/session-mean")))
            assert [b["state"] for b in consumer.bodies("availability")] == ["online"]
        await consumer.until(lambda: len(consumer.bodies("availability")) == 2)
    assert consumer.bodies("availability")[-1]["state"] == "offline"
    assert [b["stage"] for b in consumer.bodies("stage")] == [
        "cross", "pair", "pair", "pair", "pair", "orient", "permute", "auf"
    ]  # fmt: skip
    assert len(consumer.bodies("solve")) == len(consumer.bodies("latest")) == 1
    # The link is reported as down at first only if the broker connects before the cube.
    *first, up, last = [b["up"] for b in consumer.bodies("link")]
    assert (first in ([], [False]), up, last) == (True, True, False)
    assert all(h.topic.split("/")[1] == "K_C3_BCche_2F_2B_23" for h in consumer.heard)
    numbered = [h.body["seq"] for h in consumer.heard if "seq" in h.body]
    assert numbered == sorted(numbered)
    assert said == []


@pytest.mark.parametrize("form", ["device", "entities"])
async def test_a_home_has_a_state_for_every_entity_and_after_a_death_all_but_the_live_ones(
    broker: Broker, form: Any
) -> None:
    """The network is cut silently: the broker reports it after one and a half keepalives."""
    keepalive_s = 1
    home = Home("homeassistant")
    async with Wire(broker.port) as wire, Consumer(broker.port, "#") as consumer:
        asked = plan(wire.url, form=form, keepalive_s=keepalive_s)
        async with publishing(asked) as sink:
            for item in items():
                await sink.take(item)
            await consumer.until(lambda: ended(consumer))
            await consumer.until(lambda: "Session mean" in _now(home, consumer).states())
            assert len(home.states()) == 20  # these items have no battery
            assert None not in home.states().values()
            await sink.take(Battery(99.0, 71))
            await consumer.until(lambda: "Battery" in _now(home, consumer).states())
            assert home.states()["Battery"] == "71"
            wire.silent = True
            began = asyncio.get_running_loop().time()
            await consumer.until(lambda: consumer.bodies("availability")[-1]["state"] == "offline")
            took = asyncio.get_running_loop().time() - began
            states = _now(home, consumer).states()
            gone = {name for name, state in states.items() if state == "unavailable"}
            assert gone == {"Session", "Link", "Battery"}
            assert took < 15  # mosquitto looks every few seconds; ordinary keepalives are longer
            wire.silent = False
            wire.cut()
            await consumer.until(lambda: consumer.bodies("availability")[-1]["state"] == "online")


def _now(home: Home, consumer: Consumer) -> Home:
    """The home after all messages that were heard."""
    for heard in consumer.heard[home.heard :]:
        home.take(heard.topic, heard.payload, retained=heard.retained)
    home.heard = len(consumer.heard)
    return home


async def test_states_are_right_before_the_desk_is_said_to_be_there(
    broker: Broker, tmp_path: Path
) -> None:
    """After a death it was reported first, and automations saw old states."""
    path = tmp_path / "outbox.sqlite"
    async with Consumer(broker.port) as consumer:
        async with publishing(plan(broker.url), Outbox(path, print)) as sink:
            for item in items():
                await sink.take(item)
            await consumer.until(lambda: ended(consumer))
        await consumer.until(lambda: consumer.bodies("availability")[-1]["state"] == "offline")
        before = len(consumer.heard)
        async with publishing(plan(broker.url), Outbox(path, print)):
            await consumer.until(lambda: consumer.bodies("availability")[-1]["state"] == "online")
    names = [heard.topic.split("/", 2)[2] for heard in consumer.heard[before:]]
    told_first = {*names[: names.index("availability")]}
    assert {"link", "session", "battery", "solve/latest", "solve/stages"} <= told_first


async def test_on_a_birth_the_desk_introduces_itself_again_and_junk_does_nothing(
    broker: Broker,
) -> None:
    async with Consumer(broker.port, "#") as consumer, publishing(plan(broker.url)) as sink:
        for item in items():
            await sink.take(item)
        await consumer.until(lambda: bool(consumer.bodies("figures/session-mean")))
        async with aiomqtt.Client("127.0.0.1", broker.port) as home:
            for junk in (b"", b"offline", b"\xff\xfe", b"online" * 10_000, b"x" * 1_000_000):
                await home.publish("homeassistant/status", junk, qos=1)
            await home.publish("livecube/other/stage", b"{}", qos=1)
            await consumer.until(lambda: consumer.heard[-1].topic == "livecube/other/stage")
            count, introduced = len(consumer.heard), len(consumer.bodies("config"))
            await home.publish("homeassistant/status", b"online", qos=1)
        await consumer.until(lambda: len(consumer.heard) >= count + 9)
        again = consumer.heard[count + 1 :]
        assert again[0].topic.endswith("/config")
        await consumer.until(lambda: consumer.heard[-1].topic.endswith("/availability"))
        assert {"latest", "link"} <= {h.topic.split("/")[-1] for h in again[2:]}
        assert len(consumer.bodies("config")) == introduced + 1


class RealisticHome:
    """A home's connection: it gets messages only while it is connected."""

    def __init__(self, port: int) -> None:
        self._port = port
        self.heard: dict[str, int] = {}
        """``seq`` of each event, by its id."""
        self._news = asyncio.Condition()

    @contextlib.asynccontextmanager
    async def there(self) -> AsyncIterator[None]:
        """Connected inside the context; announces itself after subscribing."""
        async with aiomqtt.Client("127.0.0.1", self._port) as client:
            for topic in ("homeassistant/+/+/config", "livecube/+/#"):
                await client.subscribe(topic, qos=1)
            await client.publish("homeassistant/status", b"online", qos=1)
            listening = asyncio.create_task(self._listen(client))
            yield
            await client.publish("homeassistant/status", b"offline", qos=1)
            listening.cancel()
            with contextlib.suppress(asyncio.CancelledError, aiomqtt.MqttError):
                await listening

    async def _listen(self, client: aiomqtt.Client) -> None:
        async for message in client.messages:
            assert isinstance(message.payload, bytes)
            name = str(message.topic).rsplit("/", 1)[1]
            if name in ("stage", "solve"):
                body = json.loads(message.payload)
                self.heard.setdefault(body["id"], body["seq"])
                async with self._news:
                    self._news.notify_all()

    async def until(self, number: int) -> None:
        """Wait for this many different events."""
        async with asyncio.timeout(60), self._news:
            await self._news.wait_for(lambda: len(self.heard) >= number)


@pytest.mark.thorough
async def test_events_wait_for_a_home_that_reconnects_later_after_a_broker_restart(
    broker: Broker,
) -> None:
    """They were sent while nobody had subscribed yet, and reached nobody."""
    home, said, told = RealisticHome(broker.port), list[str](), items(3)
    third = len(told) // 3
    async with publishing(plan(broker.url), said=said) as sink:
        async with home.there():
            for item in told[:third]:
                await sink.take(item)
            await home.until(9)
        broker.kill()
        for item in told[third : 2 * third]:
            await sink.take(item)
        broker.start()
        async with Consumer(broker.port) as consumer:
            await consumer.until(lambda: bool(consumer.bodies("availability")))
            await asyncio.sleep(1.0)  # longer than sending the waiting messages takes
        async with home.there():
            for item in told[2 * third :]:
                await sink.take(item)
            await home.until(27)
    assert [*home.heard.values()] == sorted(home.heard.values())


@pytest.mark.thorough
async def test_events_wait_for_a_home_that_starts_again(broker: Broker) -> None:
    home, told = RealisticHome(broker.port), items(2)
    async with Consumer(broker.port) as consumer, publishing(plan(broker.url)) as sink:
        async with home.there():
            for item in told[: len(told) // 2]:
                await sink.take(item)
            await home.until(9)
        for item in told[len(told) // 2 :]:
            await sink.take(item)
        await asyncio.sleep(1.0)
        assert len(consumer.bodies("solve")) == 1
        async with home.there():
            await home.until(18)
    assert [*home.heard.values()] == sorted(home.heard.values())


@pytest.mark.thorough
async def test_nobody_waits_for_a_home_that_was_never_there(broker: Broker) -> None:
    said, told = list[str](), items(2)
    async with Consumer(broker.port) as consumer, publishing(plan(broker.url), said=said) as sink:
        for item in told[: len(told) // 2]:
            await sink.take(item)
        await consumer.until(lambda: ended(consumer))
        broker.kill()
        for item in told[len(told) // 2 :]:
            await sink.take(item)
        broker.start()
        await consumer.until(lambda: ended(consumer, 2), limit_s=_HOME_BACK_S / 2)


async def test_forget_leaves_no_trace(
    broker: Broker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LIVECUBE_STATE", str(tmp_path / "state"))
    for form in ("device", "entities"):
        asked = plan(broker.url, form=form)
        async with publishing(asked) as sink:
            for item in items():
                await sink.take(item)
    async with Consumer(broker.port, "#", "there") as there:
        # entities, states, figure, mark
        assert await forget_desk(asked) == 20 + 7 + 1 + 1
        await there.until(lambda: sum(not heard.payload for heard in there.heard) == 29)
    emptied = [heard.topic.endswith("/config") for heard in there.heard if not heard.payload]
    assert emptied == [True] * 20 + [False] * 9  # a home loses an entity before its values
    async with Consumer(broker.port, "#", "late") as consumer:
        async with aiomqtt.Client("127.0.0.1", broker.port) as client:
            await client.publish("end", b"{}", qos=1)
        await consumer.until(lambda: bool(consumer.heard))
        assert [heard.topic for heard in consumer.heard] == ["end"]


@pytest.mark.thorough
async def test_a_home_that_is_told_in_another_form_has_lost_the_old_one_first(
    broker: Broker, tmp_path: Path
) -> None:
    said = list[str]()
    async with Consumer(broker.port, "homeassistant/#") as consumer:
        for form in ("entities", "device", "off"):
            async with publishing(
                plan(broker.url, form=form), Outbox(tmp_path / "o.sqlite", said.append), said
            ) as sink:
                for item in items():
                    await sink.take(item)
        async with aiomqtt.Client("127.0.0.1", broker.port) as client:
            await client.publish("homeassistant/end", b"{}", qos=1)
        await consumer.until(lambda: consumer.heard[-1].topic == "homeassistant/end")
    standing: dict[str, bytes] = {}
    for heard in consumer.heard[:-1]:
        standing[heard.topic] = heard.payload
        full = [topic for topic, payload in standing.items() if payload]
        assert len({"/device/" in topic for topic in full}) <= 1  # never both forms at once
    assert not any(standing.values())
    assert said == []


@pytest.mark.thorough
async def test_a_form_that_an_older_outbox_did_not_keep_is_taken_back_too(
    broker: Broker, tmp_path: Path
) -> None:
    old = tmp_path / "o.sqlite"
    async with publishing(plan(broker.url, form="entities"), Outbox(old, print)) as sink:
        for item in items():
            await sink.take(item)
    outbox = Outbox(old, print)
    outbox.form = 0
    outbox.close()
    async with (
        Consumer(broker.port, "homeassistant/#", "late") as consumer,
        publishing(plan(broker.url), Outbox(old, print)),
    ):
        await consumer.until(lambda: any("/device/" in one.topic for one in consumer.heard))
    standing = {heard.topic: heard.payload for heard in consumer.heard}
    assert {topic.split("/")[1] for topic, payload in standing.items() if payload} == {"device"}


async def test_a_forget_that_reaches_nobody_throws_nothing_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LIVECUBE_STATE", str(tmp_path / "state"))
    asked = plan(f"mqtt://127.0.0.1:{free_port()}")
    path = outbox_path(asked.access.address, asked.desk)
    path.parent.mkdir(parents=True)
    outbox = Outbox(path, lambda _: None)
    outbox.add([Message(1, "solve", {"id": "1"}, retain=False)])
    outbox.close()
    with pytest.raises(BrokerError):
        await forget_desk(asked)
    assert waiting_messages(asked) == 1


async def test_what_waited_while_the_broker_was_away_comes_in_order_and_once(
    broker: Broker, tmp_path: Path
) -> None:
    said: list[str] = []
    told = items(3)
    async with Consumer(broker.port) as consumer:
        broker.stop()
        outbox = Outbox(tmp_path / "outbox.sqlite", said.append)
        async with publishing(plan(broker.url), outbox, said) as sink:
            for item in told[: len(told) // 2]:
                await sink.take(item)
        assert any("will be sent at the next start" in sentence for sentence in said)
        assert any("gets nothing for now" in sentence for sentence in said)
        broker.start()
        outbox = Outbox(tmp_path / "outbox.sqlite", said.append)
        async with publishing(plan(broker.url), outbox, said) as sink:
            for item in told[len(told) // 2 :]:
                await sink.take(item)
            await consumer.until(lambda: len(consumer.bodies("solve")) == 3)
            await consumer.until(lambda: ended(consumer, 2))  # since the second start
        async with publishing(plan(broker.url), Outbox(tmp_path / "outbox.sqlite", print)):
            count = len(consumer.bodies("availability"))
            await consumer.until(lambda: len(consumer.bodies("availability")) > count)
    over = [item.solve for item in told if isinstance(item, SolveOver)]
    assert [b["turns"] for b in consumer.bodies("solve")] == [solve.turns for solve in over]
    events = [h.body["seq"] for h in consumer.heard if h.topic.endswith(("/stage", "/solve"))]
    assert events == sorted(set(events))
    assert len(events) == 3 * 9


@pytest.mark.thorough
async def test_what_a_broker_acknowledged_and_forgot_is_told_again_in_order(
    tmp_path: Path,
) -> None:
    """More solves are forgotten, and more wait, than solve/recent holds."""
    broker = Broker(tmp_path / "broker", keeps=False).start()
    different = happenings(3, 6)
    told = [numbered(different[n % 6], n) for n in range(1, 37)]
    try:
        async with Wire(broker.port) as wire, publishing(plan(wire.url)) as sink:
            async with Consumer(broker.port, name="early") as early:
                for item in itertools.chain(*told[:20]):
                    await sink.take(item)
                await early.until(lambda: ended(early, 20))
                wire.silent = True
                broker.kill()
                for item in itertools.chain(*told[20:]):
                    await sink.take(item)
                broker.start()
            async with Consumer(broker.port, name="late") as late:
                wire.silent = False
                wire.cut()
                await late.until(lambda: ended(late, 36))
        (solves,) = late.solves.values()
        assert [solve["turns"] for solve in solves] == list(range(1, 37))
        again = [body["turns"] for body in late.bodies("solve") if body.get("again")]
        assert again == list(range(1, len(again) + 1))
        assert len(again) > 12
    finally:
        broker.kill()


async def test_a_slow_broker_gets_everything(broker: Broker) -> None:
    async with Wire(broker.port, slow_s=0.3) as wire, Consumer(broker.port) as consumer:
        async with publishing(plan(wire.url, form="off")) as sink:
            for item in items():
                await sink.take(item)
            await consumer.until(lambda: bool(consumer.bodies("figures/session-mean")))
        assert len(consumer.bodies("stage")) == 8


# Errors in words.


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


def tls_broker(folder: Path, authority: trustme.CA, *names: str, **changes: Any) -> Broker:
    folder.mkdir(parents=True, exist_ok=True)
    authority.cert_pem.write_to_path(str(folder / "ca.pem"))
    server = authority.issue_cert(*names, **changes)
    server.cert_chain_pems[0].write_to_path(str(folder / "server.pem"))
    server.private_key_pem.write_to_path(str(folder / "server.key"))
    lines = (f"cafile {folder}/ca.pem", f"certfile {folder}/server.pem",
             f"keyfile {folder}/server.key")  # fmt: skip
    return Broker(folder, lines)


# A socket that the TLS library has refused is closed by paho when it is collected, not before.
paho_leaves_sockets = pytest.mark.filterwarnings(
    "ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning"
)


async def trouble(asked: Plan) -> tuple[str, str]:
    with pytest.raises(BrokerError) as raised:
        await check_broker(asked)
    told = raised.value.trouble, str(raised.value)
    del raised
    gc.collect()
    return told


@pytest.mark.thorough
@paho_leaves_sockets
async def test_a_private_authority_is_believed_only_if_it_is_named(
    tmp_path: Path, authority: trustme.CA
) -> None:
    broker = tls_broker(tmp_path / "b", authority, "127.0.0.1", "localhost").start()
    try:
        url = f"mqtts://localhost:{broker.port}"
        named = Access(parse_address(url), authority=tmp_path / "b" / "ca.pem")
        assert await check_broker(Plan(named, "d")) > 0
        assert (await trouble(plan(url)))[0] == "certificate"
        assert "authority = FILE" in (await trouble(plan(url)))[1]
        kind, words = await trouble(plan(f"mqtt://localhost:{broker.port}"))
        assert kind == "closed"
        assert "mqtts://" in words
    finally:
        broker.stop()


@paho_leaves_sockets
async def test_certificates_that_have_expired_or_are_for_others_are_refused(
    tmp_path: Path, authority: trustme.CA
) -> None:
    past = datetime.datetime(2020, 1, 1, tzinfo=datetime.UTC)
    for name, names, changes, words in (
        ("old", ("localhost",), {"not_before": past, "not_after": past.replace(month=2)},
         "expired"),
        ("other", ("elsewhere.example",), {}, "is not for localhost"),
    ):  # fmt: skip
        broker = tls_broker(tmp_path / name, authority, *names, **changes).start()
        try:
            address = parse_address(f"mqtts://localhost:{broker.port}")
            access = Access(address, authority=tmp_path / name / "ca.pem")
            kind, said = await trouble(Plan(access, "d"))
            assert kind == "certificate"
            assert words in said
        finally:
            broker.stop()


@paho_leaves_sockets
async def test_a_broker_may_want_a_certificate(tmp_path: Path, authority: trustme.CA) -> None:
    broker = tls_broker(tmp_path / "b", authority, "localhost")
    broker.lines += ("require_certificate true",)
    broker.start()
    try:
        mine = authority.issue_cert("me@home.example")
        mine.cert_chain_pems[0].write_to_path(str(tmp_path / "me.pem"))
        mine.private_key_pem.write_to_path(str(tmp_path / "me.key"))
        access = Access(
            parse_address(f"mqtts://localhost:{broker.port}"),
            authority=tmp_path / "b" / "ca.pem",
            certificate=tmp_path / "me.pem",
            key=tmp_path / "me.key",
        )
        assert await check_broker(Plan(access, "d")) > 0
        kind, words = await trouble(Plan(replace(access, certificate=None), "d"))
        assert kind in ("closed", "certificate")
        assert "certificate" in words
        with pytest.raises(UsageError, match=r"nowhere\.pem is not a file"):
            await check_broker(Plan(replace(access, authority=tmp_path / "nowhere.pem"), "d"))
    finally:
        broker.stop()


async def test_passwords_and_access_rules(tmp_path: Path) -> None:
    folder = tmp_path / "b"
    folder.mkdir()
    (folder / "passwords").write_text("ann:secret of ann\nbob:secret of bob\n")
    hashing = ("mosquitto_passwd", "-U", str(folder / "passwords"))
    await (await asyncio.create_subprocess_exec(*hashing)).wait()
    (folder / "rules").write_text(
        "user ann\ntopic readwrite #\nuser bob\ntopic read #\ntopic readwrite livecube/d/link\n"
    )
    broker = Broker(folder, (f"password_file {folder}/passwords", f"acl_file {folder}/rules"))
    broker.start()
    try:
        url = f"127.0.0.1:{broker.port}"
        ann = Access(parse_address(f"mqtt://ann@{url}"), password="secret of ann")
        assert await check_broker(Plan(ann, "d")) > 0
        kind, words = await trouble(Plan(replace(ann, password="secret of eve"), "d"))
        assert kind == "bad password"
        assert "'ann'" in words
        assert "eve" not in words
        assert (await trouble(plan(f"mqtt://{url}")))[0] == "bad password"
        bob = Access(parse_address(f"mqtt://bob@{url}"), password="secret of bob")
        kind, words = await trouble(Plan(bob, "d"))
        assert kind == "not allowed"
        assert "'bob' to publish on livecube/d/check" in words
        said: list[str] = []
        outbox = Outbox(None, print)
        async with publishing(Plan(bob, "d"), outbox, said) as sink:
            for item in items():
                await sink.take(item)
        assert any("not allow the user 'bob' to publish" in sentence for sentence in said)
        assert any("will be sent at the next start" in sentence for sentence in said)
        assert "secret" not in "".join(said) + repr(bob)
    finally:
        broker.stop()


@pytest.mark.thorough
async def test_who_may_not_read_its_mark_tells_again_all_that_may_be_forgotten(
    tmp_path: Path,
) -> None:
    folder, said = tmp_path / "b", list[str]()
    folder.mkdir()
    (folder / "passwords").write_text("ann:a\nbob:b\n")
    hashing = ("mosquitto_passwd", "-U", str(folder / "passwords"))
    await (await asyncio.create_subprocess_exec(*hashing)).wait()
    (folder / "rules").write_text("user ann\ntopic readwrite #\nuser bob\ntopic write livecube/#\n")
    broker = Broker(folder, (f"password_file {folder}/passwords", f"acl_file {folder}/rules"))
    broker.start()
    again = {}
    try:
        for user in ("ann", "bob"):
            access = Access(parse_address(broker.url), password=user[0])
            access = replace(access, address=replace(access.address, user=user))
            asked, file = Plan(access, user, form="off"), tmp_path / f"{user}.sqlite"
            async with Consumer(
                broker.port, f"livecube/{user}/#", user, user="ann", password="a"
            ) as consumer:
                async with publishing(asked, Outbox(file, said.append), said) as sink:
                    for item in items(2):
                        await sink.take(item)
                    await consumer.until(functools.partial(ended, consumer, 2))
                async with publishing(asked, Outbox(file, said.append), said):
                    pass  # it signs off when everything is sent
                await consumer.until(functools.partial(said_of_itself, consumer, 4))
                again[user] = [b["seq"] for b in consumer.bodies("solve") if b.get("again")]
                assert len(consumer.bodies("solve")) == 2 + len(again[user])
    finally:
        broker.stop()
    assert again["ann"] == []
    assert len(again["bob"]) == 2
    assert said == []


async def test_a_broker_that_allows_everything_but_discovery_still_gets_the_messages(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "b"
    folder.mkdir()
    (folder / "rules").write_text("topic readwrite livecube/#\ntopic read #\n")
    broker = Broker(folder, (f"acl_file {folder}/rules",)).start()
    said: list[str] = []
    try:
        async with (
            Consumer(broker.port) as consumer,
            publishing(plan(broker.url), said=said) as sink,
        ):
            for item in items():
                await sink.take(item)
            await consumer.until(lambda: len(consumer.bodies("solve")) == 1)
    finally:
        broker.stop()
    assert len(said) == 1
    assert "is not introduced" in said[0]


@paho_leaves_sockets
async def test_nobody_there_no_such_name_no_tls_and_one_who_hangs_up() -> None:
    kind, words = await trouble(plan(f"mqtt://127.0.0.1:{free_port()}"))
    assert kind == "refused"
    assert "no program listens" in words
    assert (await trouble(plan("mqtt://no.such.name.invalid")))[0] == "name not found"

    async def hang_up(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.close()

    async def babble(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1)
        writer.write(b"HTTP/1.1 400 Bad Request\r\n\r\n" * 100)
        writer.close()

    for rude, kinds in ((hang_up, {"closed"}), (babble, {"closed", "no answer", "lost"})):
        server = await asyncio.start_server(rude, "127.0.0.1", 0)
        async with server:
            port = server.sockets[0].getsockname()[1]
            kind, words = await trouble(plan(f"mqtt://127.0.0.1:{port}"))
            assert kind in kinds
            assert ("if it speaks TLS there, write mqtts://" in words) == (kind == "closed")
            kind, words = await trouble(plan(f"mqtts://127.0.0.1:{port}"))
            assert kind in {"closed", "no tls"}
            assert "write mqtts" not in words


@pytest.mark.parametrize("url", ["mqtt://h", "mqtts://h"])
@pytest.mark.parametrize(
    "error",
    [aiomqtt.MqttError("Server busy."), aiomqtt.MqttError("[code:137] quota exceeded;"),
     ConnectionResetError("by peer."), ValueError("a bad property. ")],
)  # fmt: skip
def test_a_sentence_about_a_broker_ends_well_and_promises_nothing(
    error: Exception, url: str
) -> None:
    """A library's text ended it with a stop and a semicolon; commands promised to try again."""
    words = str(explain(error, parse_address(url)))
    assert not {".;", ". ;", ";;"} & {words[at : at + 2] for at in range(len(words))}
    assert words.rstrip(".; ") == words
    assert "again" not in words


async def test_an_old_broker_is_spoken_to_in_its_own_version() -> None:
    """A stand-in that knows only MQTT 3.1.1 and refuses 5 as the standard says."""
    levels = []

    async def old(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        head = await reader.readexactly(9)
        levels.append(head[8])
        writer.write(bytes([0x20, 2, 0, 0 if head[8] == 4 else 1]))
        with contextlib.suppress(OSError):
            await reader.read()
        writer.close()

    server = await asyncio.start_server(old, "127.0.0.1", 0)
    async with server:
        port = server.sockets[0].getsockname()[1]
        async with connected(Access(parse_address(f"mqtt://127.0.0.1:{port}")), "i"):
            pass
    assert levels == [5, 4]


@pytest.mark.parametrize("plain", [False, True])
def test_plain_text_to_another_machine_is_refused_unless_told(plain: bool, tmp_path: Path) -> None:
    nothing = Configuration(tmp_path / "config.toml", exists=False, tables={})
    wish = BrokerWish("mqtt://broker.example", "d", plain)
    if plain:
        assert plan_of(wish, nothing).access.address.host == "broker.example"
    else:
        with pytest.raises(UsageError, match="others can read"):
            plan_of(wish, nothing)
    assert plan_of(BrokerWish("mqtt://localhost", "d"), nothing)
    assert plan_of(BrokerWish("mqtts://broker.example", "d"), nothing)


async def test_a_will_is_said_at_once_when_the_process_dies(broker: Broker) -> None:
    """A process that dies closes its sockets without a message."""
    async with Consumer(broker.port) as consumer, Wire(broker.port) as wire:
        will = Parcel("livecube/d/availability", json.dumps({"state": "offline"}), retain=True)
        async with connected(Access(parse_address(wire.url)), "dying", will):
            wire.cut()
            await consumer.until(lambda: bool(consumer.bodies("availability")))
