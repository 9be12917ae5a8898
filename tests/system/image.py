"""The image of the system test: a small Debian whose kernel has a virtual Bluetooth controller.

It is one cpio archive that the kernel unpacks into memory: no disk, no network. It holds
Debian's bluetoothd, D-Bus and Python, and the packages that livecube needs; livecube itself
comes from a shared folder. It is made again only when this recipe or the packages change.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tempfile
import tomllib
from pathlib import Path

import platformdirs

ROOT = Path(__file__).parent.parent.parent
SUITE = "bookworm"
PYTHON = "3.11"  # that of the suite
DEBIAN = ("dbus", "bluez", "python3", "kmod", "iproute2")
MODULES = (
    *("hci_vhci", "9p", "9pnet_virtio", "virtio_pci"),
    *("ecdh_generic", "cmac", "ecb", "ccm", "ctr", "hmac", "sha512_generic", "drbg"),
)
NEEDED = {
    "qemu-system-x86_64": "qemu-system-x86",
    "debootstrap": "debootstrap",
    "cpio": "cpio",
    "modprobe": "kmod",
    "depmod": "kmod",
    "dpkg-deb": "dpkg",
    "apt-get": "apt",
}
"""Programs, and the Debian packages that bring them."""
WITHOUT = ("numba",)
"""Packages that the test does not use: it follows without hints, and compiling is slow there."""
PLATFORMS = ("manylinux_2_28_x86_64", "manylinux_2_17_x86_64", "manylinux2014_x86_64")


def missing_programs() -> list[str]:
    """Debian packages that have to be installed first."""
    return sorted({package for program, package in NEEDED.items() if not shutil.which(program)})


def image() -> Path:
    """The folder with ``vmlinuz`` and ``initrd``; made if it is not there. Needs root then."""
    home = _cache() / "system-test"
    folder = home / _key()
    if folder.is_dir():
        return folder
    home.mkdir(parents=True, exist_ok=True)
    for old in home.iterdir():
        shutil.rmtree(old, ignore_errors=True)
    with tempfile.TemporaryDirectory(dir=home) as work:
        made = Path(work) / "made"
        made.mkdir()
        tree = Path(work) / "root"
        _run("debootstrap", "--variant=minbase", f"--include={','.join(DEBIAN)}", SUITE, tree)
        _add_kernel(Path(work), tree, made)
        _add_packages(tree)
        shutil.copy2(Path(__file__).with_name("init"), tree / "init")
        (tree / "init").chmod(0o755)
        _pack(tree, made / "initrd")
        made.rename(folder)
    return folder


def _cache() -> Path:
    named = os.environ.get("LIVECUBE_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("livecube"))


def _key() -> str:
    recipe = [Path(__file__).read_bytes(), Path(__file__).with_name("init").read_bytes()]
    return hashlib.sha256(b"\0".join([*recipe, *map(str.encode, _packages())])).hexdigest()[:16]


def _packages() -> list[str]:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["virtual"]]
    return [package for package in wanted if not package.startswith(WITHOUT)]


def _add_kernel(work: Path, tree: Path, made: Path) -> None:
    """The ordinary kernel, and of its modules those that are used."""
    _run("apt-get", "download", _kernel_package(), cwd=work)
    unpacked = work / "kernel"
    _run("dpkg-deb", "-x", next(work.glob("linux-image-*.deb")), unpacked)
    modules = next((unpacked / "lib/modules").iterdir())
    version = modules.name
    shutil.copy2(unpacked / f"boot/vmlinuz-{version}", made / "vmlinuz")
    _run("depmod", "-b", unpacked, version)
    files = set()
    for module in MODULES:
        shown = _run("modprobe", "-d", unpacked, "-S", version, "-D", module)
        files |= {line.split()[1] for line in shown.splitlines() if line.startswith("insmod")}
    for file in files:
        inside = Path(file).relative_to(unpacked)
        (tree / inside).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(file, tree / inside)
    for name in ("modules.order", "modules.builtin", "modules.builtin.modinfo"):
        shutil.copy2(modules / name, tree / "lib/modules" / version / name)
    _run("depmod", "-b", tree, version)


def _kernel_package() -> str:
    """The package of the ordinary kernel; the lists of packages are got if need be."""
    for prepare in ((), ("apt-get", "update")):
        if prepare:
            _run(*prepare)
        shown = subprocess.run(
            ["apt-cache", "depends", "linux-image-amd64"],
            capture_output=True, text=True, check=False,
        ).stdout  # fmt: skip
        for line in shown.splitlines():
            if "Depends:" in line:
                return line.split()[1]
    raise SystemExit("system test: apt knows no linux-image-amd64; it needs Debian on amd64")


def _add_packages(tree: Path) -> None:
    platforms = [f"--platform={platform}" for platform in PLATFORMS]
    _run(
        *("python3", "-m", "pip", "install", "--quiet", "--target", tree / "opt/packages"),
        *("--only-binary=:all:", f"--python-version={PYTHON}", *platforms, *_packages()),
    )


def _pack(tree: Path, archive: Path) -> None:
    for useless in ("usr/share/doc", "usr/share/man", "usr/share/locale", "var/cache/apt",
                    "var/lib/apt/lists"):  # fmt: skip
        shutil.rmtree(tree / useless, ignore_errors=True)
    names = _run("find", ".", "-print0", cwd=tree)
    with archive.open("wb") as out:
        subprocess.run(
            ["cpio", "--quiet", "--null", "-o", "-H", "newc"],
            cwd=tree, input=names.encode(), stdout=out, check=True,
        )  # fmt: skip


def _run(*command: str | Path, cwd: Path | None = None) -> str:
    done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, check=False)
    if done.returncode:
        shown = " ".join(map(str, command))
        raise SystemExit(f"system test: {shown} failed:\n{(done.stdout + done.stderr)[-2000:]}")
    return done.stdout
