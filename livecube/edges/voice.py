"""The voice: hints spoken by a speech program of the system.

A process of its own speaks each text. So it can be stopped at any moment, and speech that hangs or
crashes does no harm.
"""

from __future__ import annotations

import asyncio
import shutil
from asyncio.subprocess import DEVNULL, PIPE, Process
from contextlib import suppress
from typing import TYPE_CHECKING, Final, Protocol

from livecube.advice.speaker import OfHint
from livecube.events import Cause, HeldAs
from livecube.stages.progress import SolveOver

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.cube.holding import Holding
    from livecube.drills.news import News
    from livecube.edges.sinks import Item

__all__ = ["SystemVoice", "Voice", "VoiceSink", "speak", "speech_command"]

_COMMANDS: Final[tuple[tuple[str, ...], ...]] = (
    ("espeak-ng", "--stdin"),
    ("espeak", "--stdin"),
    ("say",),
    (
        "powershell",
        "-NoProfile",
        "-Command",
        "Add-Type -AssemblyName System.Speech; (New-Object System.Speech.Synthesis."
        "SpeechSynthesizer).Speak([Console]::In.ReadToEnd())",
    ),
)
"""Programs that speak the text on their input, in the order of search."""
_REMEDY: Final = "install espeak-ng, check the sound, or leave out --voice"


def speech_command() -> Sequence[str] | None:
    """The first known speech program that is installed; None if there is none."""
    return next((command for command in _COMMANDS if shutil.which(command[0])), None)


class Voice(Protocol):
    """Says one thing at a time."""

    async def say(self, text: str) -> None:
        """Begin to say this now, in the place of the present text."""
        ...

    async def hush(self) -> None:
        """Stop at once."""
        ...


class SystemVoice:
    """Speaks by a program that reads its text from standard input.

    ``complain`` is called once, with a sentence, if there is none or it fails. After that
    nothing is said.
    """

    def __init__(self, command: Sequence[str] | None, complain: Callable[[str], None]) -> None:
        self._command = command
        self._complain = complain
        self._process: Process | None = None
        self._saying: asyncio.Task[None] | None = None
        if command is None:
            complain(f"No speech program was found, so nothing is said; {_REMEDY}.")

    async def say(self, text: str) -> None:
        """Begin to say this now, in the place of the present text."""
        await self.hush()
        if self._command is None:
            return
        try:
            self._process = await asyncio.create_subprocess_exec(
                *self._command, stdin=PIPE, stdout=DEVNULL, stderr=PIPE
            )
        except OSError as error:
            self._give_up(error.strerror or "it cannot be started")
            return
        self._saying = asyncio.create_task(self._attend(self._process, text), name="speech")

    async def hush(self) -> None:
        """Stop at once."""
        process, saying = self._process, self._saying
        self._process = self._saying = None
        if process is not None and saying is not None:
            with suppress(ProcessLookupError):
                process.kill()
            await saying

    async def finish(self) -> None:
        """Wait until the present text has been spoken."""
        if self._saying is not None:
            await self._saying

    async def _attend(self, process: Process, text: str) -> None:
        """Give a process its text and wait for its end."""
        _, told = await process.communicate(text.encode())
        lines = told.decode(errors="replace").strip().splitlines()
        last = lines[-1] if lines else f"status {process.returncode}"
        # Without a sound device espeak-ng complains, but ends with exit status 0.
        failed = process.returncode or last.startswith("error")
        if failed and process is self._process:  # it was not stopped on purpose
            self._give_up(last)

    def _give_up(self, reason: str) -> None:
        if self._command is not None:
            program = self._command[0]
            self._command = None
            self._complain(f"{program} cannot speak ({reason}); {_REMEDY}.")


async def speak(text: str, complain: Callable[[str], None]) -> None:
    """Say one text to its end; ``complain`` as of :class:`SystemVoice`."""
    voice = SystemVoice(speech_command(), complain)
    try:
        await voice.say(text)
        await voice.finish()
    finally:
        await voice.hush()


class VoiceSink:
    """Says hints aloud. A new hint replaces the one being spoken; nothing waits.

    ``words``: the text for an item, with the stated holding, as from
    :func:`livecube.composition.items.item_words`.
    """

    name = "voice"

    def __init__(self, voice: Voice, words: Callable[[News, Holding | None], str | None]) -> None:
        self._voice = voice
        self._words = words
        self._stated: Holding | None = None
        self._said = ""
        """The last text, if it is still valid."""
        self._hints: set[str] = set()
        """Texts of hints in this solve: none is said twice."""

    async def take(self, item: Item) -> None:
        """Say the text of an item, if it has one; returns at once."""
        if isinstance(item, Cause):
            return
        if isinstance(item, HeldAs):
            self._stated = item.holding
        if isinstance(item, SolveOver):
            self._hints.clear()
        words = self._words(item, self._stated)
        if words is None or words == self._said:
            return
        if words and isinstance(item, OfHint):
            if words in self._hints:
                return
            self._hints.add(words)
        self._said = words
        if not words:
            await self._voice.hush()
        else:
            await self._voice.say(words)

    async def close(self) -> None:
        """Stop speaking."""
        await self._voice.hush()
