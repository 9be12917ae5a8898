"""A person's own settings as options: the entries of the table [hints], made from their list."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from livecube.advice.settings import HINT_ENTRIES
from livecube.cli.options import a_number, holding_option
from livecube.edges.automaton_file import load_hands
from livecube.entries import checked_table

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from livecube.entries import Entry, Value

__all__ = ["SETTINGS", "checked_settings", "said_settings", "settings_options"]

SETTINGS: Final = tuple(entry.name for entry in HINT_ENTRIES)
"""Names of the settings that a person may have of their own."""


def _option(entry: Entry) -> Callable[[Callable[..., None]], Callable[..., None]]:
    match entry.kind:
        case "flag":
            named = f"--{entry.name}/--no-{entry.name}"
            return click.option(named, default=None, help=entry.about)
        case "number":
            kind = click.FloatRange(entry.least, entry.most)
            return click.option(f"--{entry.name}", type=kind, callback=_number, help=entry.about)
        case "choice":
            return click.option(
                f"--{entry.name}", type=click.Choice(entry.choices), help=entry.about
            )
        case _:
            return click.option(f"--{entry.name}", metavar="TEXT", help=entry.about)


def _number(context: click.Context, option: click.Parameter, value: float | None) -> float | None:
    return None if value is None else a_number(context, option, value)


def settings_options(command: Callable[..., None]) -> Callable[..., None]:
    """An option for each setting; a command passes them to :func:`said_settings`."""
    for entry in reversed(HINT_ENTRIES):
        command = _option(entry)(command)
    return command


def said_settings(options: Mapping[str, Any]) -> dict[str, Value]:
    """The settings that were given, as the configuration would hold them.

    Raises :class:`~livecube.errors.UsageError` if a technique or a file of prices cannot be used.
    """
    said = {name: options[name] for name in SETTINGS if options[name] is not None}
    said = checked_table(said, HINT_ENTRIES, "option")
    if (focus := said.get("focus")) is not None:
        from livecube.composition.assembly import focus_on

        focus_on(str(focus).split(), 0.0)
    if (hands := said.get("hands")) is not None:
        load_hands(str(hands))
        if hands not in ("right", "left"):
            said["hands"] = str(Path(str(hands)).absolute())
    return said


def checked_settings(settings: Mapping[str, Value]) -> None:
    """Check settings that only make sense together.

    Raises :class:`~livecube.errors.UsageError` if ``up`` or ``front`` is missing.
    """
    up, front = (None if (v := settings.get(name)) is None else str(v) for name in ("up", "front"))
    holding_option(up, front)
