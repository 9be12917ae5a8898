"""The example of a dashboard, in a real browser, against a real broker."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import aiomqtt
import pytest
from broker import MISSING as NO_BROKER
from broker import Broker, free_port
from browser import MISSING as NO_BROWSER
from browser import browser
from test_dashboard import TREE, practised, told

from livecube.dashboard.sink import page_text

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = [
    pytest.mark.skipif(bool(NO_BROKER), reason=NO_BROKER),
    pytest.mark.skipif(bool(NO_BROWSER), reason=NO_BROWSER),
]

EVIL = "<img src=x onerror=document.title='harmed'>"


async def test_the_page_shows_desks_of_a_real_broker_and_obeys_nothing(tmp_path: Path) -> None:
    from selenium.webdriver.support.ui import WebDriverWait

    page = tmp_path / "page.html"
    page.write_text(page_text(), encoding="utf-8")
    broker = Broker(tmp_path / "broker", web_port=free_port()).start()
    messages, over = told(1)
    try:
        with browser("--window-size=1280,900") as driver:
            driver.get(f"{page.as_uri()}#ws://127.0.0.1:{broker.web_port}")
            wait = WebDriverWait(driver, 20, poll_frequency=0.05)
            wait.until(lambda d: "listening" in d.find_element("id", "state").text)
            async with aiomqtt.Client("127.0.0.1", broker.port) as client:
                evil = {"id": "e", "state": EVIL, "cube": {"name": EVIL}}
                for payload in (b"{", b"[]", b"\xff", b"x" * 300_000, json.dumps(evil).encode()):
                    await client.publish("livecube/evil/session", payload, qos=1)
                stage = {"stage": "pair", "technique": EVIL, "seconds": 1.0, "solve": EVIL}
                await client.publish("livecube/evil/stage", json.dumps(stage), qos=1)
                await client.publish("livecube/evil/__proto__", b"{}", qos=1)
                for message in messages[:-3]:
                    await client.publish(TREE.topic(message.name), message.payload, qos=1)
                    await client.publish(TREE.topic(message.name), message.payload, qos=1)
                for message in practised(7):
                    await client.publish(f"livecube/z/{message.name}", message.payload, qos=1)
            seconds = f"{over[0].solve.seconds:.2f}"
            wait.until(lambda d: len(d.find_elements("tag name", "article")) == 3)
            evil_card, card, practice = driver.find_elements("tag name", "article")
            wait.until(lambda _: card.find_element("class name", "time").text == seconds)
            assert card.find_element("tag name", "h2").text == "Küche/1 +#"
            assert "battery 71 %" in card.find_element("class name", "about").text
            assert len(card.find_elements("tag name", "li")) == 8
            assert EVIL in evil_card.text
            wait.until(lambda _: "drill" in practice.find_element("class name", "under").text)
            told_of = practice.find_element("class name", "under").text
            assert told_of == (
                "last solve, in seconds · +2 counted in · thrown away · drill keyhole-corner: sound"
            )
            assert practice.find_element("class name", "time").text == "20.34"
            names = [one.text for one in practice.find_elements("tag name", "dt")]
            assert names == [
                "session mean",
                "session best",
                "mean of 3",
                "average of 5",
                "month before",
            ]
            means = [float(one.text) for one in practice.find_elements("tag name", "dd")]
            assert means[1] == 12.34
            assert means[4] == 20.0
            assert driver.title == "livecube desks"
            assert not driver.find_elements("tag name", "img")
            said: list[dict[str, str]] = driver.get_log("browser")  # type: ignore[no-untyped-call]
            assert [one for one in said if one["level"] == "SEVERE"] == []
    finally:
        broker.stop()
