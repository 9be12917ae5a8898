"""Profiles in files: a named one, those of the user, and installed ones."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING, Final

import platformdirs

from livecube.edges.log_files import regular
from livecube.errors import LivecubeError, UsageError
from livecube.installed import installed
from livecube.profiles.parsing import MOST_BYTES, parse_profile

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from livecube.profiles.values import Profile

__all__ = ["GROUP", "installed_profiles", "load_profile", "profile_folder", "user_profiles"]

GROUP: Final = "livecube.profiles"
"""Entry points of this group name packages; every ``.toml`` file in one is a profile."""


def profile_folder() -> Path:
    """The folder of the user's own profiles."""
    return platformdirs.user_config_path("livecube") / "profiles"


def load_profile(path: Path) -> Profile:
    """The profile in a file.

    Raises :class:`~livecube.errors.ProfileError` with file, line and reason, and
    :class:`~livecube.errors.UsageError` if the file cannot be read.
    """
    try:
        with regular(path).open("rb") as file:
            text = file.read(MOST_BYTES + 1).decode("utf-8-sig")
    except OSError as error:
        raise UsageError(f"{path} cannot be read: {error.strerror}") from None
    except UnicodeDecodeError as error:
        raise UsageError(f"{path} is not UTF-8: {error.reason}") from None
    return parse_profile(text, str(path))


def user_profiles(
    folder: Path, complain: Callable[[str], None] = lambda sentence: None
) -> Iterator[Profile]:
    """The profiles in a folder, in the order of their files' names; none if it is missing.

    ``complain`` gets a sentence for each file that is not a profile; the others still count.
    """
    for path in sorted(folder.glob("*.toml")):
        try:
            yield load_profile(path)
        except LivecubeError as error:
            complain(f"{error}; livecube leaves this profile out")


def installed_profiles() -> Iterator[Profile]:
    """The profiles in installed packages.

    Raises :class:`~livecube.errors.ProfileError` if one is wrong.
    """
    for entry in sorted(installed(GROUP)):
        for file in sorted(files(entry.value).iterdir(), key=lambda file: file.name):
            if file.name.endswith(".toml"):
                yield parse_profile(file.read_text(encoding="utf-8"), f"{entry.value}/{file.name}")
