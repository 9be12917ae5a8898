"""A real Home Assistant for checks: made once in a folder of its own with a newer Python, then run.

It is made by Debian's ``mmdebstrap`` and runs by ``chroot``, so this needs root, Linux, and the
network for as long as it is made. Nothing outside that folder is touched.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import time
import urllib.error
import urllib.parse
import urllib.request
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["RealHome", "make_home"]

_RELEASE: Final = "trixie"
"""Debian's release; it has Python 3.13, which Home Assistant needs."""
_MIRROR: Final = "http://deb.debian.org/debian"
_PACKAGES: Final = "python3,python3-venv,python3-dev,ca-certificates,gcc,libc6-dev"
_MADE: Final = "made"
"""A file that marks a complete folder."""
_USER: Final = ("eve", "a word of eve")
_PATIENCE_S: Final = 600.0
_AGREED: Final = {"client_id": "http://127.0.0.1/", "redirect_uri": "http://127.0.0.1/"}
_CONFIGURATION: Final = """homeassistant:
  name: Home
  unit_system: metric
  time_zone: UTC
http:
  server_host: 127.0.0.1
  server_port: {port}
api:
config:
logger:
  default: warning
"""


def make_home(folder: Path, version: str) -> None:
    """Make it if it does not exist: about 300 MB from the network, and some minutes.

    ``version``: as pip takes it, like ``homeassistant==2026.2.*``. Raises
    :class:`subprocess.CalledProcessError` with what failed on the terminal.
    """
    if (folder / _MADE).exists():
        return
    subprocess.run(
        ["mmdebstrap", "--variant=minbase", f"--include={_PACKAGES}", _RELEASE, folder, _MIRROR],
        check=True,
    )
    for file in ("/etc/resolv.conf", "/etc/ssl/certs/ca-certificates.crt"):
        shutil.copy(file, folder / file[1:])  # this machine may reach the network by its own ways
    _inside(folder, "python3", "-m", "venv", "/home-venv")
    _inside(folder, "/home-venv/bin/pip", "install", "-q", version)
    there = "home-venv/lib/*/site-packages/homeassistant/components/mqtt/manifest.json"
    (manifest,) = folder.glob(there)
    needs = json.loads(manifest.read_text())["requirements"]
    _inside(folder, "/home-venv/bin/pip", "install", "-q", *needs)
    (folder / _MADE).write_text(version + "\n")


def _inside(folder: Path, *command: str) -> None:
    subprocess.run(["chroot", folder, *command], check=True)


@dataclass
class RealHome:
    """One Home Assistant, in a folder that :func:`make_home` has made, on a ``port``."""

    folder: Path
    port: int
    _process: subprocess.Popen[bytes] | None = None
    _token: str = ""
    _logged: list[str] = field(default_factory=list)

    @property
    def version(self) -> str:
        """The version that it reports."""
        return str(self._asked("/api/config")["version"])

    def set_up(self, broker_port: int) -> None:
        """Reset it: no memory, one user, MQTT added as a person would add it."""
        shutil.rmtree(self._own, ignore_errors=True)
        self._own.mkdir()
        (self._own / "configuration.yaml").write_text(_CONFIGURATION.format(port=self.port))
        hass = "/home-venv/bin/hass"
        _inside(self.folder, hass, "--script", "auth", "-c", "/config", "add", *_USER)
        self.start()
        self._sign_in()
        flow = self._asked("/api/config/config_entries/flow", {"handler": "mqtt"})
        if flow["type"] == "menu":
            flow = self._asked(f"/api/config/config_entries/flow/{flow['flow_id']}",
                               {"next_step_id": "broker"})  # fmt: skip
        done = self._asked(
            f"/api/config/config_entries/flow/{flow['flow_id']}",
            {"broker": "127.0.0.1", "port": broker_port},
        )
        if done["type"] != "create_entry":
            raise AssertionError(f"MQTT could not be added: {done}")

    def start(self) -> None:
        """Start; returns when it answers. The first start installs further packages."""
        command = ["chroot", str(self.folder), "/home-venv/bin/hass", "-c", "/config"]
        self._process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        before = time.monotonic()
        while time.monotonic() - before < _PATIENCE_S:
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{self.port}/manifest.json", timeout=5)
            except urllib.error.HTTPError:
                return
            except OSError:
                time.sleep(0.5)
            else:
                return
        raise AssertionError("Home Assistant does not answer")

    def stop(self) -> None:
        """End it in order."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(60)
            self._process = None
            self._note()

    def states(self, device: str) -> dict[str, str | None]:
        """The state of each entity of a device by its name; None: unknown.

        For an event: the kind that was fired last.
        """
        found = {}
        for one in self._asked("/api/states"):
            name = str(one["attributes"].get("friendly_name", ""))
            if not name.startswith(f"{device} "):
                continue
            state = one["state"]
            if one["entity_id"].startswith("event.") and state != "unavailable":
                state = one["attributes"].get("event_type")
            found[name.removeprefix(f"{device} ")] = None if state in ("unknown", None) else state
        return found

    def log_lines(self, word: str) -> list[str]:
        """The lines of its log, over all starts, that hold a word in any case."""
        self._note()
        return [line for line in self._logged if word in line.lower()]

    def _note(self) -> None:
        log = self._own / "home-assistant.log"
        lines = log.read_text(errors="replace").splitlines() if log.exists() else []
        self._logged += [line for line in lines if line not in self._logged]

    @property
    def _own(self) -> Path:
        return self.folder / "config"

    def _sign_in(self) -> None:
        name, word = _USER
        flow = self._asked("/auth/login_flow", {"handler": ["homeassistant", None], **_AGREED})
        said = {"username": name, "password": word, "client_id": _AGREED["client_id"]}
        code = self._asked(f"/auth/login_flow/{flow['flow_id']}", said)["result"]
        asked = {"grant_type": "authorization_code", "code": code,
                 "client_id": _AGREED["client_id"]}  # fmt: skip
        form = urllib.parse.urlencode(asked).encode()
        self._token = self._asked("/auth/token", form)["access_token"]

    def _asked(self, path: str, body: Any = None) -> Any:
        data = body if isinstance(body, bytes | None) else json.dumps(body).encode()
        request = urllib.request.Request(f"http://127.0.0.1:{self.port}{path}", data)
        if not isinstance(body, bytes):
            request.add_header("Content-Type", "application/json")
        if self._token:
            request.add_header("Authorization", f"Bearer {self._token}")
        with urllib.request.urlopen(request, timeout=30) as answer:
            return json.loads(answer.read())
