"""Values that every command refuses: numbers beyond 64 bits, and text that is not UTF-8.

A command's own ranges and choices are checked first. Names of files are not text: any name that the
system allows is accepted.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any, Final

import click

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["refusing_the_unstorable"]

_WHOLE: Final = 2**63
"""Numbers are stored in 64 bits with a sign."""


def refusing_the_unstorable(command: click.Command) -> click.Command:
    """Make the command, and all below it, refuse values that cannot be stored.

    It is harmless to do this twice.
    """
    for param in command.params:
        then = param.callback
        if not (isinstance(then, partial) and then.func is _checked):
            param.callback = partial(_checked, then)
    if isinstance(command, click.Group):
        for below in command.commands.values():
            refusing_the_unstorable(below)
    return command


def _checked(
    then: Callable[..., Any] | None, context: click.Context, param: click.Parameter, value: Any
) -> Any:
    for one in value if isinstance(value, tuple) else (value,):
        if isinstance(one, int) and not -_WHOLE <= one < _WHOLE:
            raise click.BadParameter(f"{str(one)[:24]} is too large a number.", param=param)
        if isinstance(one, str):
            try:
                one.encode("utf-8")
            except UnicodeEncodeError:
                raise click.BadParameter(f"{one!r} is not UTF-8.", param=param) from None
    return value if then is None else then(context, param, value)
