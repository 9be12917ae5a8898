"""The example of a dashboard, in a real browser, against a real broker."""

from __future__ import annotations

import json
import subprocess
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import aiomqtt
import pytest
from broker import MISSING as NO_BROKER
from broker import Broker, free_port
from browser import AXE, sized
from browser import MISSING as NO_BROWSER
from test_dashboard import TREE, practised, told

from livecube.dashboard.sink import page_text

if TYPE_CHECKING:
    from pathlib import Path

    from selenium.webdriver import Chrome

pytestmark = [
    pytest.mark.skipif(bool(NO_BROKER), reason=NO_BROKER),
    pytest.mark.skipif(bool(NO_BROWSER), reason=NO_BROWSER),
]

EVIL = "<img src=x onerror=document.title='harmed'>"


async def test_the_page_shows_desks_of_a_real_broker_and_obeys_nothing(
    tmp_path: Path, driver: Chrome
) -> None:
    from selenium.webdriver.support.ui import WebDriverWait

    page = tmp_path / "page.html"
    page.write_text(page_text(), encoding="utf-8")
    broker = Broker(tmp_path / "broker", web_port=free_port()).start()
    messages, over = told(1)
    try:
        driver.get(f"{page.as_uri()}#ws://127.0.0.1:{broker.web_port}")
        wait = WebDriverWait(driver, 20, poll_frequency=0.05)
        wait.until(lambda d: "listening" in d.find_element("id", "state").text)
        async with aiomqtt.Client("127.0.0.1", broker.port) as client:
            evil = {"id": "e", "state": EVIL, "cube": {"name": EVIL}}
            for payload in (b"{", b"[]", b"\xff", b"x" * 300_000, json.dumps(evil).encode()):
                await client.publish("livecube/evil/session", payload, qos=1)
            stage = {"stage": "pair", "technique": EVIL, "seconds": 1.0, "solve": EVIL}
            await client.publish(
                "livecube/evil/solve/stages", json.dumps({"stages": [None, stage]}), qos=1
            )
            await client.publish("livecube/evil/__proto__", b"{}", qos=1)
            for message in messages[:-3]:
                await client.publish(TREE.topic(message.name), message.payload, qos=1)
                await client.publish(TREE.topic(message.name), message.payload, qos=1)
            for message in practised(7):
                await client.publish(f"livecube/z/{message.name}", message.payload, qos=1)
        seconds = f"{over[0].solve.seconds:.2f}"
        wait.until(lambda d: len(d.find_elements("tag name", "article")) == 3)
        driver.find_element("id", "kind").click()  # three are rows, unless somebody chooses
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
            " · position 3KYP-SG2S-WBJX-U8TB"
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
        fits_and_prints(driver)
    finally:
        broker.stop()


SEEN = """
const styled = one => getComputedStyle(document.querySelector(one));
return [document.documentElement.scrollWidth, styled('body').backgroundColor, styled('h2').color,
        styled('#other').display, styled('.bar').printColorAdjust,
        [...document.querySelectorAll('.under span')].at(-1).getBoundingClientRect().height]
"""


def fits_and_prints(of: Chrome) -> None:
    """On a phone nothing is wider than the screen, and no name is broken; dark ink is on paper."""
    driver: Any = of
    dark = [{"name": "prefers-color-scheme", "value": "dark"}]
    sized(of, 360, 800, mobile=True)
    seen = {}
    for media in ("", "print"):
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media, "features": dark})
        width, *seen[media], height = driver.execute_script(SEEN)
        assert width <= 360
        assert height < 45, "the drill and its technique stand in one line"
    assert seen[""][:2] == ["rgb(20, 24, 26)", "rgb(236, 234, 228)"]
    assert seen["print"] == ["rgb(255, 255, 255)", "rgb(0, 0, 0)", "none", "exact"]


@pytest.mark.thorough
def test_whoever_is_refused_or_not_there_gets_the_form_back_and_a_password_can_be_typed(
    tmp_path: Path, driver: Chrome
) -> None:
    """Earlier there was no way back, and no place for a password beside an address after #."""
    from selenium.webdriver.support.ui import WebDriverWait

    page, folder = tmp_path / "page.html", tmp_path / "broker"
    page.write_text(page_text(), encoding="utf-8")
    folder.mkdir()
    (folder / "passwords").write_text("ann:secret of ann\n")
    subprocess.run(["mosquitto_passwd", "-U", str(folder / "passwords")], check=True)
    line = f"password_file {folder}/passwords"
    broker = Broker(folder, (line,), web_port=free_port()).start()
    there, nobody = f"ws://127.0.0.1:{broker.web_port}/home", f"ws://127.0.0.1:{free_port()}"
    try:
        wait = WebDriverWait(driver, 20, poll_frequency=0.05)

        def said(words: str) -> None:
            wait.until(lambda d: words in d.find_element("id", "state").text)

        def typed(**fields: str) -> None:
            for name, value in fields.items():
                field = driver.find_element("id", name)
                field.clear()
                field.send_keys(value)
            driver.find_element("css selector", "#where button").click()

        driver.get(f"{page.as_uri()}#{nobody}")
        said("No broker answers")
        typed(url="http://127.0.0.1")
        said("begins with ws:// or wss://")
        typed(url=there)
        said("does not accept anybody without")
        typed(user="ann", password="secret of eve")
        said("does not accept the user ann")
        assert "eve" not in driver.find_element("id", "state").text
        typed(password="secret of ann")
        said("listening")
        driver.find_element("id", "other").click()
        assert driver.find_element("id", "where").is_displayed()
        driver.get("about:blank")
        driver.get(f"{page.as_uri()}#{there.replace('//', '//ann@')}")
        said("type it here")
        assert driver.switch_to.active_element.get_attribute("id") == "password"
        typed(password="secret of ann")
        said("listening")
    finally:
        broker.stop()


@pytest.mark.thorough
@pytest.mark.parametrize("width", [360, 390])
def test_on_a_phone_no_word_is_broken_and_names_turn_nothing_around(
    tmp_path: Path, driver: Chrome, width: int
) -> None:
    """Earlier stages' names broke inside words, and a desk's name could turn the text around it."""
    page = tmp_path / "page.html"
    page.write_text(page_text(), encoding="utf-8")
    name = "a\u202eb\u200fc\x07d e"
    messages = [message for message in told(1)[0] if message.name != "link"]
    sized(driver, width, 800)
    driver.get(page.as_uri())
    for message in messages:
        driver.execute_script(
            "take('p', arguments[0], new TextEncoder().encode(arguments[1]))",
            f"p/{quote(name)}/{message.name}", message.payload,
        )  # fmt: skip
    shown = driver.find_element("tag name", "h2").text
    assert shown == "".join(sign if sign.isprintable() else "\ufffd" for sign in name)
    assert len(driver.find_elements("tag name", "li")) == 8
    broken = driver.execute_script(_BROKEN)
    assert broken == []
    assert driver.execute_script("return document.documentElement.scrollWidth") <= width


def feed(driver: Chrome, part: str, name: str, body: dict[str, Any]) -> None:
    """A message for the page, as if it had arrived."""
    driver.execute_script(
        "take('p', arguments[0], new TextEncoder().encode(arguments[1]))",
        f"p/{part}/{name}", json.dumps(body),
    )  # fmt: skip


@pytest.mark.thorough
def test_a_group_stands_in_rows_with_whoever_wants_help(tmp_path: Path, driver: Chrome) -> None:
    page = tmp_path / "page.html"
    page.write_text(page_text(), encoding="utf-8")
    driver.get(page.as_uri())
    driver.execute_script("document.getElementById('where').hidden = true")
    stages = [{"stage": name, "seconds": 2.34} for name in ("cross", "pair", "pair")]
    for number, desk in enumerate(("Ada", "Bo", "Carl", "D", "E", "F", "G", "Gustav-Adolf")):
        assert driver.find_element("id", "desks").get_attribute("class") == (
            "rows" if number > 2 else ""
        )
        feed(driver, desk, "availability", {"state": "offline" if desk == "F" else "online"})
        feed(driver, desk, "session", {"state": "solving"})
        feed(driver, desk, "solve/stages", {"stages": [*stages, None]})
        feed(driver, desk, "solve/latest", {"seconds": 12.34, "solved": True})
        feed(driver, desk, "help", {"wanted": desk in ("Bo", "F") or 1})
    feed(driver, "Bo", "help", {"wanted": True})
    feed(driver, "F", "help", {"wanted": True})
    feed(driver, "Ada", "position", {"facelets": "ULFRBD" * 9, "code": "3KYP-SG2S-WBJX-U8TB"})
    feed(driver, "Carl", "position", {"facelets": "ULFRBD" * 8 + "<b>", "code": EVIL})
    assert driver.find_element("id", "asking").text == "Bo wants help"
    asked = [one.text for one in driver.find_elements("css selector", ".help") if one.text]
    assert asked == ["wants help: solving pair 3"]
    for width, height, scheme in ((1920, 1080, "dark"), (360, 800, "light")):
        sized(driver, width, height)
        media = [{"name": "prefers-color-scheme", "value": scheme}]
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": media})
        wide, high, name, time = driver.execute_script(_SIZES)
        assert wide <= width
        if width > 1000:  # from two metres: a page that fills a screen half a metre wide
            assert high <= height
            assert (name >= 44, time >= 80) == (True, True)
        if AXE.exists():
            driver.execute_script(AXE.read_text(encoding="utf-8"))
            found = driver.execute_async_script(
                "const done = arguments[arguments.length - 1];"
                "axe.run().then(r => done(r.violations))"
            )
            assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []
    driver.find_element("id", "kind").click()
    nets = [one for one in driver.find_elements("css selector", ".net") if one.is_displayed()]
    assert [one.get_attribute("aria-label") for one in nets] == [
        "the cube unfolded, position 3KYP-SG2S-WBJX-U8TB"
    ]
    assert nets[0].text.split()[:6] == ["W", "O", "G", "R", "B", "Y"]


_SIZES = """
const size = one => parseFloat(getComputedStyle(document.querySelector(one)).fontSize);
return [document.documentElement.scrollWidth, document.documentElement.scrollHeight,
        size('h2'), size('.time')];
"""
"""Width and height of the page, and the sizes of a name and a time, in pixels."""


_BROKEN = """
const broken = [];
const walker = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
for (let node = walker.nextNode(); node; node = walker.nextNode())
  for (const word of node.data.matchAll(/\\S+/g)) {
    const range = document.createRange();
    range.setStart(node, word.index);
    range.setEnd(node, word.index + word[0].length);
    if (range.getClientRects().length > 1) broken.push(word[0]);
  }
return broken;
"""
"""The words of the page that stand on more than one line."""
