"""Starts ``livecube`` in a process of its own that has loaded everything already.

It is forked off the test process: that takes 50 ms of processor time, and a new interpreter half a
second. For tests of what a command does when it is killed or interrupted, or has a terminal. New
processes are started where that matters: for completions, for help on a full disk, for what is
imported, and by ``test_the_tests.py``. Workers of a command are new processes, as ever.
"""

from __future__ import annotations

import os
import runpy
import signal
import subprocess
import sys
import traceback
from multiprocessing import resource_tracker
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, Final, NoReturn

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

__all__ = ["Forked"]


_LIVECUBE: Final = ["-m", "livecube"]
_CHECKS: Final = Path(__file__).parent / "checks"


class Forked(subprocess.Popen[Any]):
    """Like :class:`subprocess.Popen`, but ``livecube`` and checks are forked off this process."""

    def _execute_child(  # the part of Popen that starts the process
        self,
        args: Sequence[str],
        executable: None,
        preexec_fn: Callable[[], object] | None,
        close_fds: bool,
        pass_fds: tuple[int, ...],
        cwd: str | None,
        env: Mapping[str, str] | None,
        startupinfo: None,
        creationflags: int,
        shell: bool,
        p2cread: int,
        p2cwrite: int,
        c2pread: int,
        c2pwrite: int,
        errread: int,
        errwrite: int,
        restore_signals: bool,
        gid: int,
        gids: object,
        uid: int,
        umask: int,
        start_new_session: bool,
        process_group: int,
    ) -> None:
        given = [*map(str, args)]
        if not _is_ours(given):
            super()._execute_child(  # type: ignore[misc]
                args, executable, preexec_fn, close_fds, pass_fds, cwd, env, startupinfo,
                creationflags, shell, p2cread, p2cwrite, c2pread, c2pwrite, errread, errwrite,
                restore_signals, gid, gids, uid, umask, start_new_session, process_group,
            )  # fmt: skip
            return
        self.pid = os.fork()
        if self.pid == 0:
            _become(
                given[1:], preexec_fn, env, (p2cread, c2pwrite, errwrite), cwd, start_new_session
            )
        self._child_created = True
        self._close_pipe_fds(p2cread, p2cwrite, c2pread, c2pwrite, errread, errwrite)  # type: ignore[attr-defined]


def _is_ours(given: Sequence[str]) -> bool:
    python, *args = given
    known = args[:2] == _LIVECUBE or args[0] == "-c" or Path(args[0]).parent == _CHECKS
    return python == sys.executable and known


def _run(args: Sequence[str]) -> None:
    """Do what Python does with these arguments."""
    if args[0] == "-c":
        sys.argv = ["-c", *args[2:]]
        exec(args[1], {"__name__": "__main__"})
    elif args[:2] == _LIVECUBE:
        from livecube.cli import main

        sys.argv = ["livecube", *args[2:]]
        main()
    else:
        sys.argv = [*args]
        runpy.run_path(args[0], run_name="__main__")


def _become(
    args: Sequence[str],
    prepare: Callable[[], object] | None,
    env: Mapping[str, str] | None,
    ends: tuple[int, int, int],
    folder: str | None,
    apart: bool,
) -> NoReturn:
    """Be the command, and never return."""
    status = 1
    try:
        for number, end in enumerate(ends):
            if end != -1:
                os.dup2(end, number)
        signal.signal(signal.SIGINT, signal.default_int_handler)  # as in a new process
        if apart:
            os.setsid()
        if folder is not None:
            os.chdir(folder)
        if prepare is not None:
            prepare()
        os.closerange(3, 256)
        # What this process has to do with the workers of the other one, and what they would import.
        tracker: Any = resource_tracker._resource_tracker
        tracker._fd = tracker._pid = None
        sys.modules["__main__"] = ModuleType("__main__")
        if env is not None:
            os.environ.clear()
            os.environ.update(env)
        sys.stdin, sys.stdout, sys.stderr = (
            open(number, mode, encoding="utf-8", closefd=False)  # noqa: SIM115 - numbers
            for number, mode in ((0, "r"), (1, "w"), (2, "w"))
        )
        try:
            _run(args)
            status = 0
        except SystemExit as over:
            status = over.code if isinstance(over.code, int) else int(over.code is not None)
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
    except BaseException:
        traceback.print_exc()
        status = 1
    finally:
        os._exit(status)
