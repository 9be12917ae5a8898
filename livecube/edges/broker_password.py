"""The password for a broker: from the environment, a file, or the system's keyring.

It is never an argument of a command, where everybody on the machine could read it.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Final

from livecube.errors import UsageError

if TYPE_CHECKING:
    from pathlib import Path

    from livecube.dashboard.settings import Address

__all__ = ["PASSWORD_VARIABLE", "password"]

PASSWORD_VARIABLE: Final = "LIVECUBE_MQTT_PASSWORD"
_SERVICE: Final = "livecube"
"""Under this name the keyring has it; the user's name there is ``user@host``."""
_MOST_BYTES: Final = 4096


def password(address: Address, file: Path | None, *, keyring: bool) -> str | None:
    """The password, from the first of the three that has one; None without a user.

    Raises :class:`~livecube.errors.UsageError` if a place that was named does not have one.
    """
    if address.user is None:
        return None
    if given := os.environ.get(PASSWORD_VARIABLE):
        return given
    if file is not None:
        return _from_file(file)
    return _from_keyring(address) if keyring else None


def _from_file(file: Path) -> str:
    try:
        with file.open("rb") as opened:
            first = opened.read(_MOST_BYTES).decode().split("\n")[0].rstrip("\r")
    except (OSError, UnicodeDecodeError):
        raise UsageError(f"the password file {file} cannot be read as UTF-8 text") from None
    if not first:
        raise UsageError(f"the first line of the password file {file} is empty")
    return first


def _from_keyring(address: Address) -> str:
    try:
        import keyring
    except ImportError:
        raise UsageError(
            "the keyring needs a package; install it: pip install 'livecube[keyring]'"
        ) from None
    who = f"{address.user}@{address.host}"
    try:
        found = keyring.get_password(_SERVICE, who)
    except Exception as error:  # each system's keyring fails in its own way
        raise UsageError(f"the keyring does not answer: {type(error).__name__}") from None
    if not found:
        raise UsageError(f"the keyring has no password; put it in: keyring set {_SERVICE} '{who}'")
    return str(found)
