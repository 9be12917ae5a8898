"""What is said aloud, by which program, and what happens if there is none."""

from __future__ import annotations

import asyncio
import re
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from livecube.advice.rows import Opportunity, PlainWay
from livecube.advice.speaker import Clue, Spoken, Telling, Withdrawn
from livecube.composition.items import item_words, said_aloud
from livecube.cube.holding import Holding, parse_colour
from livecube.cube.notation import parse_moves, parse_turns
from livecube.edges.voice import SystemVoice, VoiceSink, speech_command
from livecube.events import Battery, HeldAs, Turn
from livecube.techniques.base import about
from livecube.techniques.registry import TECHNIQUES

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import pytest

    from livecube.edges.sinks import Item

HELD = Holding.of(parse_colour("yellow"), parse_colour("red"))


def row(technique: str, *slots: str) -> Opportunity:
    title = technique.replace("-", " ").capitalize()
    return Opportunity(
        technique, title, slots, tuple(parse_turns("R U R'")), tuple(parse_moves("R U R'")), HELD,
        3, PlainWay(5, 0.6, 0.2), 2, 0, 0.3, 0.2, "because.",
    )  # fmt: skip


HINT = Spoken(1.0, row("keyhole-corner", "green-red"))
OTHER = Spoken(2.0, row("made-pair", "blue-red"))


def test_a_hint_is_said_in_four_words_at_most_slot_and_technique_and_never_moves() -> None:
    assert said_aloud(HINT, HELD) == "front right, keyhole corner"
    assert said_aloud(HINT, None) == "green red, keyhole corner"
    assert said_aloud(OTHER, HELD) == "front left, made pair"
    assert said_aloud(Spoken(0.0, row("cross"), inspection=True), HELD) == "Cross"
    assert said_aloud(Clue(0.0, HINT.opportunity, Telling.WHERE), HELD) == "look front right"
    assert said_aloud(Clue(0.0, row("cross"), Telling.WHERE), None) == "look"
    assert said_aloud(Clue(0.0, HINT.opportunity, Telling.WHAT), HELD) == said_aloud(HINT, HELD)
    assert said_aloud(Battery(0.0, 50), HELD) is None
    for technique in TECHNIQUES:
        told = row("keyhole-corner", "green-red", "blue-red")
        told = replace(told, title=about(technique).title)
        for stated in (HELD, None):
            assert len(re.findall(r"[\w-]+", said_aloud(Spoken(0.0, told), stated) or "")) <= 4


class Mouth:
    """A voice that only notes its orders."""

    def __init__(self) -> None:
        self.done: list[str] = []

    async def say(self, text: str) -> None:
        self.done.append(text)

    async def hush(self) -> None:
        self.done.append("(hush)")


async def test_a_new_hint_is_said_at_once_none_twice_and_a_withdrawn_one_silences() -> None:
    mouth = Mouth()
    sink = VoiceSink(mouth, item_words)
    items: list[Item] = [
        HeldAs(0.0, HELD), HINT, HINT, Turn(1.1, 0), OTHER, Withdrawn(2.5, OTHER.opportunity),
        OTHER, HeldAs(3.0, None), HINT,
    ]  # fmt: skip
    for item in items:
        await sink.take(item)
    await sink.close()
    assert mouth.done == [
        "front right, keyhole corner",
        "front left, made pair",
        "(hush)",
        "green red, keyhole corner",
        "(hush)",
    ]


def program(tmp_path: Path, ending: str) -> tuple[list[str], Path]:
    """A speech program that notes the beginning and the end of each text."""
    notes = tmp_path / "notes.txt"
    script = tmp_path / "speech.py"
    script.write_text(
        "import sys, time\n"
        "text = sys.stdin.read()\n"
        f"notes = open({str(notes)!r}, 'a')\n"
        "print('begins', text, file=notes, flush=True)\n"
        f"{ending}\n"
        "print('ends', text, file=notes, flush=True)\n",
        encoding="utf-8",
    )
    return [sys.executable, "-S", str(script)], notes


def noted(notes: Path) -> str:
    return notes.read_text(encoding="utf-8") if notes.exists() else ""


async def until(condition: Callable[[], object]) -> None:
    async with asyncio.timeout(300):
        while not condition():  # noqa: ASYNC110 - another process is waited for
            await asyncio.sleep(0.01)


async def test_what_is_being_said_is_cut_short_and_nothing_waits(tmp_path: Path) -> None:
    command, notes = program(tmp_path, "time.sleep(0 if text == 'third' else 60)")
    complaints: list[str] = []
    voice = SystemVoice(command, complaints.append)
    await voice.say("first")
    await until(lambda: "begins first" in noted(notes))
    await voice.say("second")
    await voice.say("third")
    await until(lambda: "ends third" in noted(notes))
    await voice.hush()
    said = noted(notes).splitlines()
    assert "ends first" not in said
    assert "ends second" not in said
    assert complaints == []


async def test_a_broken_voice_says_so_once_and_hurts_nothing(tmp_path: Path) -> None:
    for ending in ("sys.exit('no tongue')", "sys.stderr.write('error: no ears\\n'); sys.exit(0)"):
        command, notes = program(tmp_path, ending)
        complaints: list[str] = []
        voice = SystemVoice(command, complaints.append)
        await voice.say("one")
        await until(complaints.copy)
        await voice.say("two")
        await voice.hush()
        assert len(complaints) == 1
        assert "cannot speak" in complaints[0]
        assert "leave out --voice" in complaints[0]
        assert "two" not in noted(notes)


async def test_a_program_that_is_missing_or_cannot_start_is_said_too(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert speech_command() is None
    for command in (None, [str(tmp_path / "nothing")]):
        complaints: list[str] = []
        voice = SystemVoice(command, complaints.append)
        await voice.say("one")
        await voice.say("two")
        assert len(complaints) == 1
        assert "install espeak-ng" in complaints[0]
    fake = tmp_path / "espeak-ng"
    fake.write_text("#!/bin/sh\n", encoding="utf-8")
    fake.chmod(0o755)
    assert speech_command() == ("espeak-ng", "--stdin")
