"""The system test: livecube, bleak, bluetoothd and the Linux kernel in a virtual machine.

    sudo python tests/system/run.py

Debian 12 only. The first run makes the machine's image, which is kept in livecube's cache.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from image import ROOT, image, missing_programs

LIMIT_S = 240
QEMU = (
    *("qemu-system-x86_64", "-accel", "tcg,thread=multi", "-cpu", "Nehalem", "-smp", "2"),
    *("-m", "1536", "-nodefaults", "-no-reboot", "-display", "none", "-serial", "stdio"),
    *("-append", "console=ttyS0 quiet rdinit=/init panic=-1 mitigations=off"),
)
"""Emulated even where there is KVM, which hung; numpy needs more than the plainest processor."""


def main() -> int:
    """Run it; the exit status is 0 if livecube did all it should."""
    if missing := missing_programs():
        print(f"system test: needs apt-get install {' '.join(missing)}")
        return 2
    if os.geteuid() != 0:
        print("system test: needs root, for the image and the shared folder")
        return 2
    began = time.monotonic()
    machine = image()
    print(f"system test: image ready after {time.monotonic() - began:.0f} s: {machine}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        share = Path(folder)
        _fill(share)
        began = time.monotonic()
        status = _boot(machine, share)
        print(f"system test: the machine ran for {time.monotonic() - began:.0f} s")
        if status != 0 and (log := share / "bluetoothd.log").exists():
            print(log.read_text(errors="replace")[-3000:])
    print("system: 1 passed, 0 failed" if status == 0 else "system: 0 passed, 1 failed")
    return status


def _fill(share: Path) -> None:
    """The shared folder: livecube as it is installed, and what runs inside."""
    source = share / "source"
    source.mkdir()
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy2(ROOT / name, source / name)
    for name in ("livecube", "protocols"):
        ignored = shutil.ignore_patterns("__pycache__")
        shutil.copytree(ROOT / name, source / name, ignore=ignored)
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps",
         "--target", share / "packages", source],
        check=True,
    )  # fmt: skip
    shutil.copy2(Path(__file__).with_name("guest.py"), share / "guest.py")


def _boot(machine: Path, share: Path) -> int:
    shared = f"local,path={share},mount_tag=share,security_model=none"
    kernel, initrd = str(machine / "vmlinuz"), str(machine / "initrd")
    command = [*QEMU, "-kernel", kernel, "-initrd", initrd, "-virtfs", shared]
    try:
        subprocess.run(command, stdin=subprocess.DEVNULL, timeout=LIMIT_S, check=False)
    except subprocess.TimeoutExpired:
        print(f"system test: not done after {LIMIT_S} s")
        return 1
    status = share / "status"
    return int(status.read_text()) if status.exists() else 1


if __name__ == "__main__":
    sys.exit(main())
