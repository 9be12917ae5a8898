"""Calls every command with absurd arguments and files, made by hypothesis.

``python tests/checks/hostile_commands.py --each 500`` calls each 500 times: numbers beyond all
bounds, invalid text, files that are pipes, devices, folders, cut off or missing. A command may
refuse or obey. It must not raise, hang for ten seconds, or end with a status other than 0, 2, or 1
with a sentence. There is no Bluetooth service and no broker. Benchmarks send three notifications,
and measure nothing else.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final
from unittest.mock import patch

import beside  # noqa: F401
import click
from called import Done, called
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from livecube.cli import commands
from livecube.composition.assembly import load_advisor
from livecube.history.importing import import_log
from livecube.history.store import History

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from types import FrameType

__all__ = ["all_commands", "check"]

_FIXTURES: Final = Path(__file__).resolve().parent.parent.parent / "fixtures"
_HANG_S: Final = 10
_BOUND: Final[dict[str, tuple[tuple[str, ...], ...]]] = {
    "live": (
        ("--typed",), ("--simulated", "--speed", "1000", "--solves", "1"), (),
        ("--virtual-radio", "--speed", "1000", "--solves", "1"),
    ),
    "practice": (("--typed",), ("--simulated", "--speed", "1000", "--solves", "1"), ()),
    "again": (("--typed",), ("--simulated", "--speed", "1000", "--tries", "1"), ()),
    "drill": (("--typed",), ("--simulated", "--speed", "1000", "--count", "1"), ()),
    "drill fingers": (("--typed",), ("--simulated", "--speed", "1000", "--rounds", "1"), ()),
    "drill beat": (("--typed",), ("--simulated", "--speed", "1000"), ()),
    "bench": (("--brief",),),
    "replay": (("--speed", "max"),),
    "learn": (("--capture", "half.jsonl"), ()),
    "scan": (("--seconds", "0.1"), ()),
    "simulate": (("--solves", "1"),),
    "scramble": (("--count", "1"),),
}  # fmt: skip
"""By command: options of which one is added, so that it ends by itself; nothing is typed."""
_FILES: Final = (
    "good.jsonl", "half.jsonl", "bytes.jsonl", "empty.jsonl", "pipe.jsonl", "device.jsonl",
    "nowhere.jsonl", "folder.jsonl", "marked.jsonl", "far.jsonl", "odd-\udcff.jsonl", "logs", "",
    "none/there.jsonl", "x" * 300, "mine.toml", "half.toml", "profile.toml", "new.html",
)  # fmt: skip
_LIKELY: Final = {
    "numbers": ("1", "2", "3"),
    "texts": (
        "ada",
        "plain",
        "R U R' U'",
        "2026-03",
        "calm",
        "keyhole-corner",
        "mqtt://127.0.0.1:1",
    ),
    "files": ("good.jsonl", "marked.jsonl", "logs", "mine.toml", "new.csv", "new.html"),
}
"""By command: arguments without which it refuses everything else."""
_numbers = st.sampled_from(
    ["0", "-1", "1", "2", "5", "007", "1e3", "nan", "inf", "-inf", "1_0", "٣", "0x10", "1.5", "",
     str(2**63), str(-(2**63) - 1), str(2**64), "9" * 400, "1e999"]
)  # fmt: skip
_texts = st.sampled_from(
    ["", " ", "\udcff", "R U R' U'", "=1+1", "-", "--", "\t", "ada", "2026-02-30", "2026-03",
     "measured", "+2", "none", "DNF", "plain", "keyhole-corner", "max", "any", "é\u202e",
     "(" * 2000, "R" * 5000, "mqtt://127.0.0.1:1", "'; DROP TABLE solve; --"]
) | st.text(max_size=8).filter(lambda text: "\0" not in text)  # fmt: skip


def all_commands(
    command: click.Command | None = None, name: str = ""
) -> Iterator[tuple[str, click.Command]]:
    """All commands below one, except groups, by name."""
    if command is None:
        for first, one in commands():
            yield from all_commands(one, first)
        return
    yield name, command
    if isinstance(command, click.Group):
        for below, one in sorted(command.commands.items()):
            yield from all_commands(one, f"{name} {below}")


def _value(param: click.Parameter) -> st.SearchStrategy[str]:
    kind = param.type
    if isinstance(kind, click.Choice):
        return st.sampled_from([*map(str, kind.choices), *map(str, kind.choices), "ultramarine"])
    if isinstance(kind, click.Path):
        return st.sampled_from(_LIKELY["files"]) | st.sampled_from(_FILES)
    if isinstance(kind, click.types.IntParamType | click.types.FloatParamType):
        return st.sampled_from(_LIKELY["numbers"]) | _numbers | st.integers().map(str)
    return st.sampled_from(_LIKELY["texts"]) | _texts | _numbers | st.sampled_from(_FILES)


@st.composite
def _arguments(draw: st.DrawFn, command: click.Command) -> list[str]:
    options = [param for param in command.params if isinstance(param, click.Option)]
    found: list[str] = []
    for option in draw(st.lists(st.sampled_from(options), max_size=3)) if options else []:
        found.append(draw(st.sampled_from([*option.opts, *option.secondary_opts])))
        if not option.is_flag:
            found.append(draw(_value(option)))
    for param in command.params:
        if isinstance(param, click.Argument):
            found += draw(st.lists(_value(param), min_size=int(param.required), max_size=2))
    return found


def _world(folder: Path) -> None:
    """Files of every kind, and a history of five solves."""
    evening = _FIXTURES / "evening.jsonl"
    raw = evening.read_bytes()
    shutil.copy(_FIXTURES / "given-start.jsonl", folder / "good.jsonl")
    shutil.copy(folder / "good.jsonl", folder / "odd-\udcff.jsonl")
    (folder / "half.jsonl").write_bytes(raw[: len(raw) // 2 + 7])
    (folder / "bytes.jsonl").write_bytes(b"\xff\xfe\x00\x01" * 50)
    (folder / "empty.jsonl").touch()
    (folder / "marked.jsonl").write_bytes(b"\xef\xbb\xbf" + raw)
    (folder / "far.jsonl").write_bytes(raw.replace(b'"t": 2', b'"t": 2e300'))
    os.mkfifo(folder / "pipe.jsonl")
    (folder / "device.jsonl").symlink_to("/dev/zero")
    (folder / "nowhere.jsonl").symlink_to("nothing")
    (folder / "folder.jsonl").mkdir()
    (folder / "mine.toml").write_text(called("hands", folder=folder).out, encoding="utf-8")
    (folder / "half.toml").write_text("[a\n", encoding="utf-8")
    (folder / "profile.toml").write_text('name = "x"\n', encoding="utf-8")
    logs = folder / "logs"
    logs.mkdir()
    for name in ("good.jsonl", "half.jsonl", "bytes.jsonl"):
        shutil.copy(folder / name, logs / name)
    os.mkfifo(logs / "pipe.jsonl")
    with History(folder / "data") as history:
        import_log(history, evening, "ada")


def _bound(name: str) -> st.SearchStrategy[tuple[str, ...]]:
    return st.sampled_from(_BOUND.get(name) or _BOUND.get(name.split()[0]) or ((),))


def _call(name: str, arguments: list[str], folder: Path) -> None:
    command = [*name.split(), *arguments]
    try:
        try:
            done = _ended(command, folder, _HANG_S)
        except TimeoutError:  # it may have had to compile, on a busy machine
            done = _ended(command, folder, 6 * _HANG_S)
    except BaseException as error:
        raise AssertionError(f"livecube {command!r} raised {type(error).__name__}") from error
    assert done.status in (0, 1, 2), (command, done)
    assert not done.status or done.err.strip(), (command, done)
    assert "Traceback" not in done.err, (command, done.err)


def _ended(command: list[str], folder: Path, limit_s: int) -> Done:
    """The result of a command; raises ``TimeoutError`` if it takes longer than ``limit_s``."""

    def hangs(_number: int, _frame: FrameType | None) -> None:
        raise TimeoutError(f"it takes longer than {limit_s} s")

    before = signal.signal(signal.SIGALRM, hangs)
    signal.alarm(limit_s)
    try:
        return called(*command, folder=folder)
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def check(name: str, command: click.Command, each: int, seeded: int) -> None:
    """Call a command ``each`` times; raises if it breaks the rules."""
    home = Path.cwd()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        _world(folder)
        os.chdir(folder)  # files with relative names are written there

        @seed(seeded)
        @settings(max_examples=each, database=None, deadline=None, print_blob=False,
                  suppress_health_check=list(HealthCheck), phases=(Phase.generate,))  # fmt: skip
        @given(_arguments(command), _bound(name))
        def called_so(arguments: list[str], bound: tuple[str, ...]) -> None:
            _call(name, [*arguments, *bound], folder)

        try:
            called_so()
        finally:
            os.chdir(home)


def main() -> int:
    """Check all, or some."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--each", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="*", help="names of commands, like 'history import'")
    options = parser.parse_args()
    with (
        patch.dict(os.environ, DBUS_SYSTEM_BUS_ADDRESS="unix:path=/nowhere"),
        patch("livecube.composition.benchmark.measure", lambda step, *, brief: []),
        patch("livecube.cli.bench._BRIEF_COUNT", 3),
    ):
        return _check_all(options.only, options.each, options.seed)


def _check_all(only: Sequence[str] | None, each: int, seeded: int) -> int:
    failed = 0
    load_advisor()  # a machine's first start takes longer than the limit of a call
    for name, command in all_commands():
        if only and name not in only:
            continue
        try:
            check(name, command, each, seeded)
        except (AssertionError, ExceptionGroup) as error:  # a group: it hung only once
            failed += 1
            print(f"{name}: {error}", flush=True)
            for one in error.exceptions if isinstance(error, ExceptionGroup) else (error,):
                print(f"    {one}, by {one.__cause__!r}", flush=True)
        else:
            print(f"{name}: {each} calls", flush=True)
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main())
