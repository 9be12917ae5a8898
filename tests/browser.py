"""A real browser for tests: the system's Chromium, without a window."""

from __future__ import annotations

import os
import shutil
import sys
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

    from selenium.webdriver import Chrome

__all__ = ["AXE", "MISSING", "browser", "emptied", "sized"]

AXE = Path(__file__).parent.parent / "node_modules" / "axe-core" / "axe.min.js"
"""Looks for what not everybody can read; tests/test_report.py says how to install it."""

_CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
_DRIVER = shutil.which("chromedriver")
MISSING = "" if _CHROMIUM and _DRIVER else (
    "Chromium is not installed (Debian: apt install chromium chromium-driver)"
)  # fmt: skip
"""Why tests with a browser are skipped; empty: they are not."""


@contextmanager
def browser() -> Iterator[Chrome]:
    """A browser. It fetches nothing by itself."""
    from selenium.webdriver import Chrome, ChromeOptions
    from selenium.webdriver.chrome.service import Service

    options = ChromeOptions()
    options.binary_location = str(_CHROMIUM)
    for argument in (
        "--headless=new",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--disable-background-networking",
        "--disable-component-update",
        "--no-first-run",
        *(["--no-sandbox"] if sys.platform == "linux" else []),  # a container has no sandbox
        "--window-size=1280,900",
    ):
        options.add_argument(argument)
    # Chromium leaves a folder behind; processes that have not ended yet may still write into it.
    with TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        service = Service(str(_DRIVER), env={**os.environ, "TMPDIR": folder})
        driver = Chrome(options=options, service=service)
        try:
            yield driver
        finally:
            driver.quit()


def sized(driver: Chrome, width: int, height: int, *, mobile: bool = False) -> None:
    """Make the page as large as a screen of so many pixels."""
    screen = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": mobile}
    _told(driver, "Emulation.setDeviceMetricsOverride", screen)


def emptied(driver: Chrome) -> None:
    """Forget what another test left: its page, its size and light, its messages."""
    driver.get("about:blank")
    _told(driver, "Emulation.clearDeviceMetricsOverride", {})
    _told(driver, "Emulation.setEmulatedMedia", {"media": "", "features": []})
    driver.get_log("browser")  # type: ignore[no-untyped-call]


def _told(driver: Any, command: str, values: dict[str, Any]) -> None:
    driver.execute_cdp_cmd(command, values)
