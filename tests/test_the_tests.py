"""The test command itself: it changes nothing of the caller's, and runs anywhere."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from examples import thorough
from forked import Forked

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

ROOT = Path(__file__).parent.parent
COMMANDS = "tests/checks/every_command.py"
SOME = ("live", "task offer", "mqtt check")
"""Commands that would publish, by each of the ways to a broker."""
QUICKLY = ("live", "--simulated", "--speed", "1000", "--seed", "1", "--no-hints")


@contextmanager
def broker() -> Iterator[tuple[str, list[bytes]]]:
    """The address of a listener in place of a broker, and the bytes from each client."""
    heard: list[bytes] = []
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def listen() -> None:
            while True:
                try:
                    client, _ = listening.accept()
                except OSError:
                    return
                with client:
                    heard.append(client.recv(100))

        thread = threading.Thread(target=listen, daemon=True)
        thread.start()
        yield f"mqtt://127.0.0.1:{listening.getsockname()[1]}", heard
        listening.shutdown(socket.SHUT_RDWR)
        thread.join(10)


def callers(folder: Path, url: str) -> dict[str, str]:
    """The environment of a user who publishes to a broker."""
    configuration = folder / "config.toml"
    configuration.write_text(f'[mqtt]\nurl = "{url}"\n')
    return {
        **os.environ,
        "LIVECUBE_CONFIG": str(folder),
        "LIVECUBE_DATA": str(folder / "data"),
        "LIVECUBE_STATE": str(folder / "state"),
    }


def run_tests(*arguments: str, **options: Callable[[], object] | dict[str, str]) -> None:
    """Run tests as a caller does. They must pass."""
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:xdist", *arguments],
        capture_output=True, text=True, check=False, cwd=ROOT, **options,  # type: ignore[call-overload]
    )  # fmt: skip
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize(
    "commands",
    [tuple(f"{COMMANDS}::test_it_starts_without_a_broker[{name}]" for name in SOME),
     thorough((COMMANDS,))],
    ids=["some", "every"],
)  # fmt: skip
def test_the_callers_broker_hears_no_command_and_interrupts_are_tested_where_it_ignores_them(
    tmp_path: Path, commands: tuple[str, ...]
) -> None:
    """One process for both, since it takes seconds to start."""
    with broker() as (url, heard):
        environment = callers(tmp_path, url)
        run_tests(
            *commands,
            "tests/test_keys.py::test_keys_work_and_the_terminal_is_given_back[interrupted]",
            env=environment,
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_IGN),
        )
        assert heard == []
        assert [path.name for path in tmp_path.iterdir()] == ["config.toml"]
        # The same broker must hear a command that is not a test, or this proves nothing.
        with Forked(
            [sys.executable, "-m", "livecube", *QUICKLY],
            stdout=subprocess.DEVNULL, env=environment,
        ) as command:  # fmt: skip
            assert command.wait() == 0
        assert heard
