"""A real broker for tests: the system's mosquitto, on free ports of this machine."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import threading
from dataclasses import dataclass, field
from typing import IO, TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["MISSING", "Broker", "free_port"]

_PROGRAM = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
MISSING = "" if _PROGRAM else "mosquitto is not installed (Debian: apt install mosquitto)"
"""Why tests with a broker are skipped; empty: they are not."""


def free_port() -> int:
    """A port that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@dataclass
class Broker:
    """One broker; ``lines`` of mosquitto's configuration are added to ours.

    It stores acknowledged messages and the sessions of absent clients as soon as it can.
    """

    folder: Path
    lines: tuple[str, ...] = ()
    port: int = field(default_factory=free_port)
    web_port: int | None = None
    keeps: bool = True
    """Whether it stores on disk; if not, it forgets everything when it is killed."""
    process: subprocess.Popen[str] | None = None
    _reader: threading.Thread | None = None

    @property
    def url(self) -> str:
        return f"mqtt://127.0.0.1:{self.port}"

    def start(self) -> Broker:
        """Start it; returns when it listens."""
        self.folder.mkdir(parents=True, exist_ok=True)
        file = self.folder / "mosquitto.conf"
        file.write_text("\n".join(self._configuration()) + "\n")
        command = [str(_PROGRAM), "-c", str(file)]
        self.process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        said: IO[str] | None = self.process.stderr
        assert said is not None
        told = []
        for line in said:
            told.append(line)
            if "running" in line:
                # Output that nobody reads would stop it in the end.
                self._reader = threading.Thread(target=said.read, daemon=True)
                self._reader.start()
                return self
        raise AssertionError("mosquitto did not start: " + "".join(told))

    def kill(self) -> None:
        """Kill it as a power cut does: it saves nothing."""
        self._end(kill=True)

    def stop(self) -> None:
        """End it in order: it saves its data."""
        self._end(kill=False)

    def _end(self, *, kill: bool) -> None:
        if self.process is None:
            return
        if kill:
            self.process.kill()
        else:
            self.process.terminate()
        self.process.wait(20)
        if self._reader is not None:
            self._reader.join(20)
        if self.process.stderr is not None:
            self.process.stderr.close()
        self.process = None

    def _configuration(self) -> list[str]:
        anonymous = not any(line.startswith("password_file") for line in self.lines)
        web = [f"listener {self.web_port} 127.0.0.1", "protocol websockets"]
        return [
            "per_listener_settings false",
            *(["user root"] if os.geteuid() == 0 else []),  # without this it may not use our folder
            f"allow_anonymous {str(anonymous).lower()}",
            "log_dest stderr",
            "log_type notice",
            "log_type error",
            "log_type warning",
            "log_type information",
            "connection_messages false",
            "max_queued_messages 1000000",
            f"persistence {str(self.keeps).lower()}",
            f"persistence_location {self.folder}/",
            "autosave_on_changes true",
            "autosave_interval 1",
            f"listener {self.port} 127.0.0.1",
            "set_tcp_nodelay true",
            *(line for line in self.lines if not line.startswith("password_file")),
            *(web if self.web_port else ()),
            *(line for line in self.lines if line.startswith("password_file")),
        ]
