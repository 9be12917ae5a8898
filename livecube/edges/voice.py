"""The voice: hints said aloud by the speech program that the system has.

Each text is said by a process of its own, so that it can be cut short at any moment, and so
that speech which hangs or crashes hurts nothing else.
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

__all__ = ["SystemVoice", "Voice", "VoiceSink", "speech_command"]

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
"""Programs that say what they read, in the order in which they are looked for."""
_REMEDY: Final = "install espeak-ng, see to the sound, or leave out --voice"


def speech_command() -> Sequence[str] | None:
    """The first of the known speech programs that is there; None if none is."""
    return next((command for command in _COMMANDS if shutil.which(command[0])), None)


class Voice(Protocol):
    """Says one thing at a time."""

    async def say(self, text: str) -> None:
        """Begin to say this now, instead of whatever is being said."""
        ...

    async def hush(self) -> None:
        """Stop at once."""
        ...


class SystemVoice:
    """Speaks by a program that reads its text from standard input.

    ``complain`` is called once, with a sentence, if there is none or it fails; after that
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
        """Begin to say this now, instead of whatever is being said."""
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

    async def _attend(self, process: Process, text: str) -> None:
        """Give a process its text and wait for its end."""
        _, told = await process.communicate(text.encode())
        lines = told.decode(errors="replace").strip().splitlines()
        last = lines[-1] if lines else f"status {process.returncode}"
        # Without a sound device espeak-ng says so, and ends as if all were well.
        failed = process.returncode or last.startswith("error")
        if failed and process is self._process:  # it was not hushed
            self._give_up(last)

    def _give_up(self, reason: str) -> None:
        if self._command is not None:
            program = self._command[0]
            self._command = None
            self._complain(f"{program} cannot speak ({reason}); {_REMEDY}.")


class VoiceSink:
    """Says hints aloud. A new one takes the place of what is being said, nothing waits.

    ``words``: what is said of what happens, the cube held as stated: as
    :func:`livecube.composition.items.item_words`.
    """

    name = "voice"

    def __init__(self, voice: Voice, words: Callable[[News, Holding | None], str | None]) -> None:
        self._voice = voice
        self._words = words
        self._stated: Holding | None = None
        self._said = ""
        """What was said last and still holds."""
        self._hints: set[str] = set()
        """What was said of hints in this solve: nothing is said twice."""

    async def take(self, item: Item) -> None:
        """Say what is worth it; returns at once."""
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
        """Nothing more is said."""
        await self._voice.hush()
