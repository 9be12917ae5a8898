"""Keys on a terminal, which is always restored."""

from __future__ import annotations

import os
import pty
import select
import signal
import sys
import termios
import time
from typing import TYPE_CHECKING, Any

import pytest
from forked import Forked

from livecube.composition.keyboard import next_holding, stating
from livecube.cube.holding import Holding, parse_colour
from livecube.events import HeldAs

if TYPE_CHECKING:
    from pathlib import Path


def test_holdings_go_round_with_the_cross_down_and_end_with_none_stated() -> None:
    for cross in range(6):
        held, seen = next_holding(None, cross), []
        while held is not None:
            assert held.faces[5] == cross
            seen.append(held)
            held = next_holding(held, cross)
        assert len(set(seen)) == len(seen) == 4
    white_down = Holding.of(parse_colour("yellow"), parse_colour("green"))
    following = next_holding(white_down, parse_colour("blue"))  # another cross is followed now
    assert following is not None
    assert following.up == "green"


def test_what_is_stated_is_an_event() -> None:
    assert stating(None)(1.5) == HeldAs(1.5, None)
    held = Holding.of(5, 2)
    assert stating(held)(1.5) == HeldAs(1.5, Holding.of(5, 2))


class Terminal:
    """``livecube live`` on a pseudo terminal."""

    def __init__(self, log: Path) -> None:
        self._ours, theirs = pty.openpty()
        self.log = log
        self.before = self.settings()
        self.process = Forked(
            [sys.executable, "-m", "livecube", "live", "--simulated", "--seed", "5",
             "--no-hints", "--log", str(log)],
            stdin=theirs, stdout=theirs, stderr=theirs, preexec_fn=lambda: _own(theirs),
            env={**os.environ, "TERM": "xterm", "COLUMNS": "90", "LINES": "30"},
        )  # fmt: skip
        os.close(theirs)
        self.shown = ""

    def settings(self) -> list[Any]:
        return termios.tcgetattr(self._ours)

    def press(self, key: str) -> None:
        os.write(self._ours, key.encode())

    def wait_for(self, text: str) -> None:
        while text not in self.shown:
            assert self.process.poll() is None, self.shown
            self._read(0.1)

    def _read(self, seconds: float) -> None:
        if select.select([self._ours], [], [], seconds)[0]:
            try:
                self.shown += os.read(self._ours, 65536).decode(errors="replace")
            except OSError:
                time.sleep(seconds)  # the other end is closed

    def status(self) -> int:
        while self.process.poll() is None:
            self._read(0.05)
        self._read(0.05)
        return self.process.returncode

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self._ours)


def _own(terminal: int) -> None:
    """Make a terminal the controlling terminal of this process."""
    import fcntl

    os.setsid()
    fcntl.ioctl(terminal, termios.TIOCSCTTY, 0)


@pytest.mark.parametrize(
    ("end", "status"),
    [("q", 0), (signal.SIGTERM, 143), (signal.SIGINT, 130)],
    ids=["q", "terminated", "interrupted"],
)
def test_keys_work_and_the_terminal_is_given_back(
    end: str | signal.Signals, status: int, tmp_path: Path
) -> None:
    terminal = Terminal(tmp_path / "log.jsonl")
    try:
        terminal.wait_for("h holding: cheapest front")
        assert not terminal.settings()[3] & (termios.ICANON | termios.ECHO)
        terminal.press("\x1b[A")  # an arrow means nothing
        terminal.press("h")
        terminal.wait_for("h holding: yellow up, orange front")
        if isinstance(end, str):
            terminal.press(end)
        else:
            terminal.process.send_signal(end)
        assert terminal.status() == status
        assert "Traceback" not in terminal.shown
        assert "\x1b[?1049l" in terminal.shown  # the earlier screen is back
        assert terminal.settings()[3] == terminal.before[3]
        lines = terminal.log.read_text(encoding="utf-8").splitlines()
        assert any('"up": "yellow", "front": "orange"' in line for line in lines)
    finally:
        terminal.close()
