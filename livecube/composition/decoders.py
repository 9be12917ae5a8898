"""All decoders that there are: written in code, and described by profiles."""

from __future__ import annotations

from importlib.metadata import entry_points
from typing import TYPE_CHECKING, Final, cast

from livecube.edges.profile_files import installed_profiles, profile_folder, user_profiles
from livecube.errors import UsageError
from livecube.profiles.decoder import decoder_class

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from livecube.decoding import Decoder
    from livecube.profiles.values import Profile

__all__ = ["GROUP", "known_decoders"]

GROUP: Final = "livecube.decoders"


def known_decoders(
    profiles: Iterable[Profile] = (), folder: Path | None = None
) -> dict[str, type[Decoder]]:
    """All decoders by name, in the order in which they are to be asked whether they know a cube.

    First ``profiles`` (which the user names on the command line), then those in the user's
    folder (``folder`` instead of the usual one), then decoders in code, then installed profiles;
    of two of one name the first counts.

    Raises :class:`~livecube.errors.ProfileError` if a profile is wrong, and
    :class:`~livecube.errors.UsageError` if a decoder or a transform cannot be loaded.
    """
    found: dict[str, type[Decoder]] = {}
    for profile in (*profiles, *user_profiles(folder or profile_folder())):
        found.setdefault(profile.name, decoder_class(profile))
    for entry in entry_points(group=GROUP):
        try:
            found.setdefault(entry.name, cast("type[Decoder]", entry.load()))
        except Exception as error:
            raise UsageError(
                f"decoder {entry.name!r} ({entry.value}) cannot be loaded: {error}; "
                "repair or uninstall it"
            ) from None
    for profile in installed_profiles():
        found.setdefault(profile.name, decoder_class(profile))
    return found
