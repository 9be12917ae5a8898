"""The command line.

An error that the user can fix ends with status 2 and one message. An error of the system (a full
disk, a locked database) ends with status 1 and one message.
"""

from __future__ import annotations

import io
import os
import re
import sqlite3
import sys
import threading
from contextlib import suppress
from importlib import import_module
from typing import TYPE_CHECKING, Final

import click

from livecube import __version__
from livecube.cli.refusing import refusing_the_unstorable
from livecube.edges.folders import check_named_folders
from livecube.edges.saying import say
from livecube.errors import DrawingError, KeepingError, LivecubeError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

__all__ = ["commands", "main", "run"]

_MODULES: Final = {
    "live": "live",
    "group": "group",
    "scan": "scan",
    "practice": "practice",
    "history": "history",
    "people": "people",
    "trends": "trends",
    "report": "report",
    "archive": "archive",
    "replay": "replay",
    "review": "review",
    "again": "again",
    "bring": "again",
    "show": "show",
    "drill": "drill",
    "lesson": "lesson",
    "task": "task",
    "write": "write",
    "adapt": "adapt",
    "hints": "hints",
    "inspect": "inspection",
    "explain": "explain",
    "hands": "hands",
    "profile": "profile",
    "learn": "learn",
    "mqtt": "mqtt",
    "config": "config",
    "completion": "completion",
    "scramble": "scramble",
    "simulate": "simulate",
    "bench": "bench",
    "guide": "guide",
}
"""The commands, in the order of the help, and the modules beside this one that hold them."""
_HELP: Final = frozenset({"-h", "--help"})


_HYPHEN: Final = "\N{NON-BREAKING HYPHEN}"


class _WholeWords(click.HelpFormatter):
    """Help whose lines never end within a word, as *keyhole-corner* or *--no-history*."""

    def write_text(self, text: str) -> None:
        super().write_text(text.replace("-", _HYPHEN))

    def write_dl(self, rows: Iterable[tuple[str, str]], *args: int, **named: int) -> None:
        whole = [(name.replace("-", _HYPHEN), told.replace("-", _HYPHEN)) for name, told in rows]
        super().write_dl(whole, *args, **named)

    def getvalue(self) -> str:
        return super().getvalue().replace(_HYPHEN, "-")


click.Context.formatter_class = _WholeWords


class _Commands(click.Group):
    """Loads a command's module when it is needed: a start should not wait for the others."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_MODULES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _MODULES:
            return None
        module = import_module(f"livecube.cli.{_MODULES[cmd_name]}")
        return _in_whole_sentences(refusing_the_unstorable(getattr(module, cmd_name)))


def _in_whole_sentences(command: click.Command) -> click.Command:
    """A command whose line in a list of commands is its first sentence, however long.

    Click would cut it.
    """
    command.short_help = " ".join(re.split(r"(?<=\.)\s", command.help or "", maxsplit=1)[0].split())
    for below in getattr(command, "commands", {}).values():
        _in_whole_sentences(below)
    return command


@click.group(cls=_Commands, context_settings={"help_option_names": sorted(_HELP)})
@click.version_option(__version__, prog_name="livecube")
def _livecube() -> None:
    """Follow a 3×3×3 cube turn by turn, and hear what has become possible."""
    if not _HELP & set(sys.argv):
        check_named_folders()


def commands() -> Iterator[tuple[str, click.Command]]:
    """All commands by their names."""
    context = click.Context(_livecube)
    for name in _livecube.list_commands(context):
        command = _livecube.get_command(context, name)
        assert command is not None
        yield name, command


def main() -> None:
    """Run the command line; the exit status is 2 for any error that the user can fix.

    It is 1 for an error of the system (a full disk), or if the screen cannot be drawn, which is a
    bug in livecube.
    """
    if sys.stdout is None:  # closed by the caller: the output is not wanted
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A file name need not be valid text, and a terminal may lack some letters.
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        run()
    finally:
        _leave_compilers()


def run() -> None:
    """Run the command in a process that goes on; every known error is a ``SystemExit``."""
    try:
        _livecube.main(prog_name="livecube", standalone_mode=False)
        if sys.stdout is not None:
            sys.stdout.flush()  # a full disk shows only now
    except (DrawingError, KeepingError) as error:
        _complain(str(error))
        sys.exit(1)
    except LivecubeError as error:
        _complain(str(error))
        sys.exit(2)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except (KeyboardInterrupt, click.Abort):
        sys.exit(130)
    except BrokenPipeError:
        # The reader of our output has gone.
        _forget_output()
        sys.exit(141)
    except (OSError, sqlite3.Error) as error:
        _complain(str(error))
        _forget_output()
        sys.exit(1)


def _leave_compilers() -> None:
    """End at once if a thread still compiles: nobody needs it, and the usual end would wait."""
    if threading.active_count() == 1:
        return
    from livecube.composition.preparing import is_preparing

    error = sys.exception()
    if is_preparing() and (error is None or isinstance(error, SystemExit)):
        with suppress(OSError, ValueError, AttributeError):
            sys.stdout.flush()
            sys.stderr.flush()
        status = 0 if error is None else error.code or 0
        os._exit(status if isinstance(status, int) else 1)


def _complain(sentence: str) -> None:
    with suppress(OSError):  # then nobody can read it
        say(f"livecube: {sentence}", err=True)


def _forget_output() -> None:
    """Keep Python from trying again at exit to write output that cannot be written."""
    with suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
